//! # So many of so many
//!
//! The share of runs that ended so, with the interval of Clopper and Pearson: all shares under which what was counted, or less, and what
//! was counted, or more, are each at least α/2 likely.
//!
//! ```text
//! low  = B⁻¹(α/2;     x,     n − x + 1)        0 when x = 0
//! high = B⁻¹(1 − α/2; x + 1, n − x)            1 when x = n
//! ```
//!
//! It never promises more than it holds, at 0 of n and n of n too, where the interval of the textbook has no width. The price: it is
//! somewhat wider than it must be. Source: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404.
//!
//! Runs that share a prefix are no independent ones. Their interval is that of as many independent runs as would vary as much:
//!
//! ```text
//! n* = p (1 − p) / v        v = m/(m − 1) Σ (xᵢ − p nᵢ)² / n²        over m prefixes; at most n, and m where p is 0 or 1
//! ```
//!
//! Source: E. L. Korn, B. I. Graubard, Survey Methodology 24 (1998) 193, without their factor for few clusters; from memory.

use super::CONFIDENCE;
use serde::Serialize;
use statrs::distribution::{Beta, ContinuousCDF as _};

/// A share that was counted, with its interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Proportion {
    /// How many ended so.
    pub count: u64,
    /// Of how many.
    pub of: u64,
    /// The share; nothing of none.
    pub share: Option<f64>,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Proportion {
    /// So many of so many.
    #[must_use]
    pub fn of(count: u64, of: u64) -> Self {
        Self::with(count, of, CONFIDENCE)
    }

    /// The same with an interval of another confidence, between 0 and 1.
    #[must_use]
    pub fn with(count: u64, of: u64, confidence: f64) -> Self {
        let (successes, all) = (number(count.min(of)), number(of));
        let (low, high) = clopper_pearson(successes, all, confidence);
        Self { count, of, share: (of > 0).then(|| successes / all), low, high }
    }

    /// Of prefixes, each with how many of its runs ended so and how many it has.
    #[must_use]
    pub fn clustered(prefixes: &[(u64, u64)]) -> Self {
        Self::clustered_with(prefixes, CONFIDENCE)
    }

    /// The same with an interval of another confidence, between 0 and 1.
    #[must_use]
    pub fn clustered_with(prefixes: &[(u64, u64)], confidence: f64) -> Self {
        let (count, of) = prefixes.iter().fold((0, 0), |sum, prefix| (sum.0 + prefix.0, sum.1 + prefix.1));
        if prefixes.iter().all(|(_, of)| *of <= 1) {
            return Self::with(count, of, confidence);
        }
        let (all, clusters) = (number(of), number(prefixes.iter().filter(|(_, of)| *of > 0).count() as u64));
        let share = number(count) / all;
        let squares: f64 =
            prefixes.iter().map(|(count, of)| libm::pow(number(*count) - share * number(*of), 2.0)).sum();
        let variance = clusters / (clusters - 1.0).max(1.0) * squares / (all * all);
        let worth = if variance > 0.0 { (share * (1.0 - share) / variance).min(all) } else { clusters };
        let (low, high) = clopper_pearson(share * worth, worth, confidence);
        Self { count, of, share: Some(share), low, high }
    }

    /// Half the width of its interval.
    #[must_use]
    pub fn half_width(&self) -> f64 {
        0.5 * (self.high - self.low)
    }
}

/// The interval, for counts that need not be whole.
pub(super) fn clopper_pearson(successes: f64, all: f64, confidence: f64) -> (f64, f64) {
    let tail = 0.5 * (1.0 - confidence);
    let quantile = |share: f64, a: f64, b: f64| Beta::new(a, b).ok().map(|beta| beta.inverse_cdf(share));
    let failures = all - successes;
    let low = if successes > 0.0 { quantile(tail, successes, failures + 1.0) } else { None };
    let high = if failures > 0.0 { quantile(1.0 - tail, successes + 1.0, failures) } else { None };
    (low.unwrap_or(0.0), high.unwrap_or(1.0))
}

/// A count as a number.
#[expect(clippy::cast_precision_loss, reason = "2⁵³ runs are more than anybody plays")]
pub(super) const fn number(count: u64) -> f64 {
    count as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_none_nothing_is_known() {
        let none = Proportion::of(0, 0);
        assert_eq!((none.share, none.low, none.high), (None, 0.0, 1.0));
    }

    /// `statsmodels` 0.15.0, `proportion_confint(count, of, method="beta")`; 81 of 263 stands in R. G. Newcombe, Statistics in Medicine 17
    /// (1998) 857, table I, as 0.2527 to 0.3676.
    #[test]
    fn the_interval_is_that_of_clopper_and_pearson() {
        for (count, of, low, high) in [
            (81, 263, 0.252_737, 0.367_622),
            (15, 148, 0.057_844, 0.161_650),
            (0, 20, 0.0, 0.168_433),
            (1, 29, 0.000_873, 0.177_644),
            (10, 100, 0.049_005, 0.176_223),
            (95, 100, 0.887_165, 0.983_568),
            (298, 300, 0.976_127, 0.999_192),
            (0, 3_000, 0.0, 0.001_229),
        ] {
            let found = Proportion::of(count, of);
            assert!((found.low - low).abs() < 1e-6 && (found.high - high).abs() < 1e-6, "{found:?}");
        }
        // No failure in n, to one side: 1 − 0.05^(1/n).
        assert!((Proportion::with(0, 300, 0.9).high - 0.009_936).abs() < 1e-6);
    }

    /// Prefixes whose runs all end alike are worth one run each; runs that do not care for their prefix are worth themselves.
    #[test]
    fn runs_that_share_a_prefix_count_for_what_they_add() {
        let alike: Vec<(u64, u64)> =
            (0..40).map(|prefix| if prefix < 10 { (5, 5) } else { (0, 5) }).collect();
        let (found, single) = (Proportion::clustered(&alike), Proportion::of(10, 40));
        assert!(
            (found.low - single.low).abs() < 0.01 && (found.high - single.high).abs() < 0.01,
            "{found:?} {single:?}"
        );
        assert_eq!((found.count, found.of), (50, 200));
        let all = Proportion::clustered(&[(5, 5); 40]);
        assert!((all.low - Proportion::of(40, 40).low).abs() < 1e-12 && all.high >= 1.0);
        assert_eq!(Proportion::clustered(&[(1, 1), (0, 1)]), Proportion::of(1, 2));
    }

    /// Measured over every outcome of n runs, so without chance: the share of surveys whose interval holds the true share.
    #[test]
    fn the_interval_holds_the_truth_at_least_as_often_as_it_promises() {
        for (of, truths) in [(20_u64, 40), (100, 25)] {
            let intervals: Vec<Proportion> = (0..=of).map(|count| Proportion::of(count, of)).collect();
            for place in 1..truths {
                let truth = f64::from(place) / f64::from(truths);
                let mut likely = libm::pow(1.0 - truth, number(of));
                let mut held = 0.0;
                for interval in &intervals {
                    if (interval.low..=interval.high).contains(&truth) {
                        held += likely;
                    }
                    likely *=
                        number(of - interval.count) / number(interval.count + 1) * truth / (1.0 - truth);
                }
                assert!(held >= CONFIDENCE - 1e-9, "{held} of the surveys of {of} runs hold {truth}");
                assert!(
                    held < 0.995 || !(0.1..=0.9).contains(&truth),
                    "{held} for {truth} of {of}: far too wide"
                );
            }
        }
    }
}
