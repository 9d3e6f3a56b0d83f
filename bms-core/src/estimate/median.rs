//! The median of a value that every cell has, without sorting and without a copy.
//!
//! Found by halving the range of a 32-bit number: 32 passes of counting, whatever the values are. A sort would leave a panic path
//! and need a copy of all cells.

/// The lower median: the smallest value that at least half of the values do not exceed. Zero for none.
pub(super) fn median<'a>(values: &(impl Iterator<Item = &'a i32> + Clone)) -> i32 {
    let count = count_where(values.clone(), |_| true);
    let needed = count.saturating_add(1) / 2;
    let (mut low, mut high) = (i64::from(i32::MIN), i64::from(i32::MAX));
    if count == 0 {
        return 0;
    }
    for _ in 0..u32::BITS {
        let middle = low.saturating_add(high) >> 1;
        let at_most = count_where(values.clone(), |value| i64::from(value) <= middle);
        if at_most >= needed {
            high = middle;
        } else {
            low = middle.saturating_add(1);
        }
    }
    i32::try_from(high).unwrap_or(i32::MAX)
}

/// How many values pass. `Iterator::count` adds with a plain `+`, which the proof of "no panic" with overflow checks refuses; there are
/// never 2³² values, so nothing wraps (a saturating sum made the dearest healthy tick a sixth dearer on a Cortex-M4).
fn count_where<'a>(values: impl Iterator<Item = &'a i32>, passes: impl Fn(i32) -> bool) -> u32 {
    values.fold(0, |count: u32, value| count.wrapping_add(u32::from(passes(*value))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The same as the middle of the sorted values.
        #[test]
        fn it_is_the_middle_of_the_sorted_values(values in proptest::collection::vec(any::<i32>(), 1..130)) {
            let mut sorted = values.clone();
            sorted.sort_unstable();
            prop_assert_eq!(median(&values.iter()), sorted[(sorted.len() - 1) / 2]);
        }
    }
}
