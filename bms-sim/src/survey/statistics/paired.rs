//! # Two settings on the same runs
//!
//! Two settings are tried on the very same runs, so what the runs have in common cancels and only those count in which the settings part:
//! b of n for the first, c for the second.
//!
//! ```text
//! difference = (b − c) / n         from low(b) − high(c) to high(b) − low(c)
//! p          = min(1, 2 Σ_{k ≥ max(b,c)} C(d,k) / 2^d)         of d = b + c that part, if neither setting is better
//! ```
//!
//! `low` and `high` are the ends of Clopper and Pearson for a share, each at 98.75 %, so that the two that make an end of the difference fail
//! together in 2.5 % at most (Bonferroni). That is wider than it must be, and holds where textbook intervals have no width: settings that never
//! part in 96 runs differ by 4.5 % at most, not by nothing. The test of p is the sign test (Q. McNemar, Psychometrika 12 (1947) 153, exact).
//!
//! Runs that share a prefix are no independent ones. The shares are [those of prefixes](super::proportion), and in the test each prefix
//! counts once, for the setting that did more in it.

use super::CONFIDENCE;
use super::proportion::Proportion;
use serde::Serialize;
use statrs::distribution::{Binomial, DiscreteCDF as _};
use std::cmp::Ordering;

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
    /// How likely prefixes that part as unevenly, or more so, are if neither setting is better.
    pub p_value: f64,
}

impl Paired {
    /// Of prefixes with their runs, each with what the first and the second setting made of it; nothing of none.
    #[must_use]
    pub fn of<Runs: IntoIterator<Item = (bool, bool)>>(prefixes: impl Iterator<Item = Runs>) -> Option<Self> {
        let (mut firsts, mut seconds) = (Vec::new(), Vec::new());
        for runs in prefixes {
            let (mut of, mut first_alone, mut second_alone) = (0, 0, 0);
            for (first, second) in runs {
                of += 1;
                first_alone += u64::from(first && !second);
                second_alone += u64::from(second && !first);
            }
            firsts.push((first_alone, of));
            seconds.push((second_alone, of));
        }
        // An end of the difference is made of an end of either share, so each share has half of the doubt.
        let share = |prefixes: &[(u64, u64)]| Proportion::clustered_with(prefixes, 0.5 + 0.5 * CONFIDENCE);
        let (first, second) = (share(&firsts), share(&seconds));
        Some(Self {
            of: first.of,
            only_first: first.count,
            only_second: second.count,
            difference: first.share? - second.share?,
            low: first.low - second.high,
            high: first.high - second.low,
            p_value: sign_test(firsts.iter().zip(&seconds).map(|(first, second)| first.0.cmp(&second.0))),
        })
    }
}

/// How likely so many on one side, or more, are if either is as likely; to both sides.
fn sign_test(parted: impl Iterator<Item = Ordering>) -> f64 {
    let (mut more, mut less) = (0_u64, 0_u64);
    for side in parted {
        more += u64::from(side == Ordering::Greater);
        less += u64::from(side == Ordering::Less);
    }
    let most = more.max(less);
    match (most.checked_sub(1), Binomial::new(0.5, more + less)) {
        (Some(below), Ok(even)) => (2.0 * even.sf(below)).min(1.0),
        _ => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::super::proportion::number;
    use super::*;

    fn of(first: u64, second: u64, all: u64) -> Paired {
        let runs = (0..all).map(|run| (run < first, (first..first + second).contains(&run)));
        Paired::of(runs.map(|run| [run])).unwrap()
    }

    /// SciPy 1.17.1: `binomtest(b, b + c).pvalue`; the ends from `binomtest(b, n).proportion_ci(0.975, method="exact")` and the same of c.
    #[test]
    fn it_is_what_scipy_makes_of_it() {
        for ((first, second, all), p_value, (low, high)) in [
            ((8, 2, 50), 0.109_375, (-0.089_685_969, 0.306_889_736)),
            ((15, 4, 50), 0.019_210_815, (-0.044_891_699, 0.448_139_446)),
            ((3, 3, 50), 1.0, (-0.172_429_682, 0.172_429_682)),
            ((0, 9, 96), 0.003_906_25, (-0.182_203_710, 0.005_783_398)),
            ((0, 0, 96), 1.0, (-0.044_619_999, 0.044_619_999)),
        ] {
            let found = of(first, second, all);
            assert!((found.p_value - p_value).abs() < 1e-9, "{found:?}");
            assert!((found.low - low).abs() < 1e-6 && (found.high - high).abs() < 1e-6, "{found:?}");
        }
    }

    /// Ten prefixes whose five runs all part alike are worth ten, not fifty.
    #[test]
    fn runs_that_share_a_prefix_count_once() {
        let alike = Paired::of((0..40).map(|prefix| [(prefix < 8, prefix >= 38); 5])).unwrap();
        let single = of(8, 2, 40);
        assert!((alike.p_value - single.p_value).abs() < 1e-12);
        assert_eq!((alike.of, alike.only_first, alike.only_second), (200, 40, 10));
        assert!(
            (alike.low - single.low).abs() < 0.01 && (alike.high - single.high).abs() < 0.01,
            "{alike:?} {single:?}"
        );
    }

    /// Measured over every outcome of 25 runs, so without chance: the share of surveys whose interval holds the true difference.
    #[test]
    fn the_interval_holds_the_truth_at_least_as_often_as_it_promises() {
        const RUNS: u64 = 25;
        for (only_first, only_second) in [(0.02, 0.02), (0.1, 0.02), (0.3, 0.1), (0.5, 0.4), (0.0, 0.05)] {
            let neither: f64 = 1.0 - only_first - only_second;
            let mut held = 0.0;
            for first in 0..=RUNS {
                for second in 0..=RUNS - first {
                    let ways = |of: u64, taken: u64| {
                        (0..taken).map(|k| number(of - k) / number(k + 1)).product::<f64>()
                    };
                    let power = |share: f64, times: u64| libm::pow(share, number(times));
                    let likely = ways(RUNS, first)
                        * ways(RUNS - first, second)
                        * power(only_first, first)
                        * power(only_second, second)
                        * power(neither, RUNS - first - second);
                    let found = of(first, second, RUNS);
                    if (found.low..=found.high).contains(&(only_first - only_second)) {
                        held += likely;
                    }
                }
            }
            assert!(held >= CONFIDENCE, "{held} for {only_first} and {only_second}");
        }
    }
}
