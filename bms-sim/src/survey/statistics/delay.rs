//! # How long it takes
//!
//! Half of the times are below the median, 95 % below the 95th percentile; both are times that were measured, the ⌈q n⌉-th in order.

use serde::Serialize;

/// Times in order, in a few numbers.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Delay {
    /// The shortest, in seconds.
    pub least_seconds: f64,
    /// Median, in seconds.
    pub median_seconds: f64,
    /// 95th percentile, in seconds.
    pub percentile_95_seconds: f64,
    /// The longest, in seconds.
    pub worst_seconds: f64,
}

impl Delay {
    /// Of times in seconds; nothing of none.
    #[must_use]
    pub fn of(mut seconds: Vec<f64>) -> Option<Self> {
        seconds.sort_by(f64::total_cmp);
        let at = |percent: usize| {
            let place = (percent * seconds.len()).div_ceil(100).max(1) - 1;
            seconds.get(place).copied()
        };
        Some(Self {
            least_seconds: *seconds.first()?,
            median_seconds: at(50)?,
            percentile_95_seconds: at(95)?,
            worst_seconds: *seconds.last()?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `numpy.percentile(range(1, 101), [50, 95], method="inverted_cdf")` gives 50 and 95; of 1, 2, 3, 4: 2 and 4.
    #[test]
    fn percentiles_are_those_of_numpy() {
        let of = |count: i32| Delay::of((1..=count).rev().map(f64::from).collect()).unwrap();
        assert_eq!((of(100).median_seconds, of(100).percentile_95_seconds), (50.0, 95.0));
        assert_eq!((of(4).median_seconds, of(4).percentile_95_seconds, of(4).worst_seconds), (2.0, 4.0, 4.0));
        assert_eq!(Delay::of(Vec::new()), None);
    }
}
