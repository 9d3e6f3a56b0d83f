//! # Two settings on the same runs
//!
//! Two settings are tried on the very same runs, so what the runs have in common cancels and only those count in which the settings part.
//! Of d runs that part, b for the first and c for the second, b is binomial with one half if neither is better (McNemar's test, exact):
//!
//! ```text
//! p = min(1, 2 Σ_{k ≥ max(b,c)} C(d,k) / 2^d)          difference = (b − c) / n
//! ```
//!
//! The interval of the difference takes the d of n that part as they are, and for the share b/d the interval of Clopper and Pearson:
//! difference = d/n (2 share − 1). Source: Q. McNemar, Psychometrika 12 (1947) 153; the exact form is the sign test.

use super::CONFIDENCE;
use super::proportion::{clopper_pearson, number};
use serde::Serialize;
use statrs::distribution::{Binomial, DiscreteCDF as _};

/// How two settings differ on the same runs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Paired {
    /// Runs.
    pub of: u64,
    /// In which only the first found it.
    pub only_first: u64,
    /// In which only the second did.
    pub only_second: u64,
    /// The share of the first less that of the second.
    pub difference: f64,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// How likely a difference this large or larger is if there is none.
    pub p_value: f64,
}

impl Paired {
    /// Of runs, each with what the first and the second setting made of it; nothing of none.
    #[must_use]
    pub fn of(runs: impl Iterator<Item = (bool, bool)>) -> Option<Self> {
        let (mut of, mut only_first, mut only_second) = (0, 0, 0);
        for (first, second) in runs {
            of += 1;
            only_first += u64::from(first && !second);
            only_second += u64::from(second && !first);
        }
        let parted = only_first + only_second;
        if of == 0 {
            return None;
        }
        let share = number(parted) / number(of);
        let (low, high) = clopper_pearson(number(only_first), number(parted), CONFIDENCE);
        let more = only_first.max(only_second);
        let p_value = match (parted, Binomial::new(0.5, parted)) {
            (1.., Ok(even)) => {
                (2.0 * (1.0 - more.checked_sub(1).map_or(0.0, |below| even.cdf(below)))).min(1.0)
            }
            _ => 1.0,
        };
        let difference = (number(only_first) - number(only_second)) / number(of);
        let at = |end: f64| share * (2.0 * end - 1.0);
        Some(Self { of, only_first, only_second, difference, low: at(low), high: at(high), p_value })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(both: usize, first: usize, second: usize, neither: usize) -> Paired {
        let runs = [
            ((true, true), both),
            ((true, false), first),
            ((false, true), second),
            ((false, false), neither),
        ];
        Paired::of(runs.into_iter().flat_map(|(run, count)| std::iter::repeat_n(run, count))).unwrap()
    }

    /// SciPy 1.17.1: `binomtest(b, b + c).pvalue` and, for the ends, `binomtest(b, b + c).proportion_ci(method="exact")`.
    #[test]
    fn it_is_the_sign_test_of_scipy() {
        for ((first, second), p_value, (low, high)) in [
            ((8, 2), 0.109_375, (0.443_904_537_692, 0.974_789_273_673)),
            ((15, 4), 0.019_210_815_430, (0.544_346_918_108, 0.939_475_462_291)),
            ((3, 3), 1.0, (0.118_117_248_757, 0.881_882_751_243)),
        ] {
            let found = of(50, first, second, 50 - first - second);
            assert!((found.p_value - p_value).abs() < 1e-9, "{found:?}");
            let parted = f64::from(u32::try_from(first + second).unwrap()) / 100.0;
            assert!((found.low - parted * (2.0 * low - 1.0)).abs() < 1e-6, "{found:?}");
            assert!((found.high - parted * (2.0 * high - 1.0)).abs() < 1e-6, "{found:?}");
        }
    }

    #[test]
    fn settings_that_never_part_do_not_differ() {
        let same = of(7, 0, 0, 3);
        assert_eq!((same.difference, same.low, same.high, same.p_value), (0.0, 0.0, 0.0, 1.0));
    }
}
