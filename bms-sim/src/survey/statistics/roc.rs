//! # Detection against false alarms
//!
//! A row of settings from the easiest to the hardest gives each run a *score*: how many of them it trips. A broken pack should score higher
//! than a sound one; the area under the curve is how often it does, ties counted half (Mann and Whitney):
//!
//! ```text
//! area = P(broken > sound) + ½ P(broken = sound)
//! variance = var(V broken) / broken + var(V sound) / sound         V: for each run, how often it is on the right side of the others
//! ```
//!
//! The interval is that of the logit of the area, so that it stays inside of 0 … 1. Where the area is 0 or 1, nothing was on the wrong
//! side and the variance says nothing: then its ends are those of the pairs that could have been, one for each run of the smaller group
//! (Clopper and Pearson, one-sided at 97.5 %), which is wider. With few settings the curve is a rough one and its area a lower bound of
//! that of all limits in between. Sources: E. R. DeLong, D. M. DeLong, D. L. Clarke-Pearson, Biometrics 44 (1988) 837; equal variances
//! and normal scores d′ apart have the area Φ(d′/√2) (D. M. Green, J. A. Swets, 1966; from memory).

use super::CONFIDENCE;
use super::proportion::{Proportion, number};
use crate::survey::distribution::normal_value;
use serde::Serialize;

/// The curve of a row of settings, with its area.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Roc {
    /// From no alarm at all to always: share of false alarms, share found.
    pub points: Vec<(f64, f64)>,
    /// Area under it.
    pub area: f64,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Roc {
    /// Of the scores of sound and of broken packs; nothing where there are none of either.
    #[must_use]
    pub fn of(sound: &[f64], broken: &[f64]) -> Option<Self> {
        if sound.is_empty() || broken.is_empty() {
            return None;
        }
        let mut at: Vec<f64> = sound.iter().chain(broken).copied().collect();
        at.sort_by(|one, other| other.total_cmp(one));
        at.dedup();
        let share = |scores: &[f64], least: f64| {
            number(scores.iter().filter(|score| **score >= least).count() as u64)
                / number(scores.len() as u64)
        };
        let mut points = vec![(0.0, 0.0)];
        points.extend(at.iter().map(|least| (share(sound, *least), share(broken, *least))));
        let (area, variance) = area(sound, broken);
        let (low, high) = interval(area, variance, sound.len().min(broken.len()) as u64);
        Some(Self { points, area, low, high })
    }
}

/// How often each of these is above each of the others, ties half.
fn right(ones: &[f64], others: &[f64]) -> Vec<f64> {
    let mut sorted = others.to_vec();
    sorted.sort_by(f64::total_cmp);
    let of = |one: &f64| {
        let below = sorted.partition_point(|other| other < one);
        let up_to = sorted.partition_point(|other| other <= one);
        0.5 * number((below + up_to) as u64) / number(sorted.len() as u64)
    };
    ones.iter().map(of).collect()
}

fn area(sound: &[f64], broken: &[f64]) -> (f64, f64) {
    let of_broken = right(broken, sound);
    let of_sound = right(sound, broken);
    let mean = |of: &[f64]| of.iter().sum::<f64>() / number(of.len() as u64);
    let over_count = |of: &[f64]| {
        let (middle, count) = (mean(of), number(of.len() as u64));
        of.iter().map(|value| (value - middle) * (value - middle)).sum::<f64>()
            / (count - 1.0).max(1.0)
            / count
    };
    (mean(&of_broken), over_count(&of_broken) + over_count(&of_sound))
}

fn interval(area: f64, variance: f64, fewer: u64) -> (f64, f64) {
    if area <= 0.0 || area >= 1.0 {
        let whole = Proportion::of(if area > 0.5 { fewer } else { 0 }, fewer);
        return (whole.low, whole.high);
    }
    let logit = libm::log(area / (1.0 - area));
    let wide = -normal_value(0.5 * (1.0 - CONFIDENCE)) * libm::sqrt(variance) / (area * (1.0 - area));
    let back = |value: f64| 1.0 / (1.0 + libm::exp(-value));
    (back(logit - wide), back(logit + wide))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::distribution::normal_share;

    /// SciPy 1.17.1: `mannwhitneyu(broken, sound).statistic / (5 * 4)` = 0.625.
    #[test]
    fn the_area_is_that_of_mann_and_whitney() {
        let (sound, broken) = ([1.0, 2.0, 2.0, 5.0], [2.0, 3.0, 4.0, 1.0, 6.0]);
        let found = Roc::of(&sound, &broken).unwrap();
        assert!((found.area - 0.625).abs() < 1e-12, "{found:?}");
        let steps =
            found.points.windows(2).map(|pair| (pair[1].0 - pair[0].0) * 0.5 * (pair[1].1 + pair[0].1));
        assert!((steps.sum::<f64>() - found.area).abs() < 1e-12, "the area is that below its points");
    }

    /// Normal scores d′ apart, at evenly spaced quantiles: Φ(d′/√2), to what a thousand quantiles leave.
    #[test]
    fn two_normal_groups_have_the_area_of_their_distance() {
        let scores = |mean: f64| -> Vec<f64> {
            (0..1_000).map(|place| mean + normal_value((f64::from(place) + 0.5) / 1_000.0)).collect()
        };
        for (distance, area) in [(0.0, 0.5), (1.0, 0.760_250), (2.0, 0.921_350), (3.0, 0.983_053)] {
            let found = Roc::of(&scores(0.0), &scores(distance)).unwrap();
            assert!((found.area - area).abs() < 2e-4, "{distance}: {}", found.area);
            assert!((normal_share(distance / core::f64::consts::SQRT_2) - area).abs() < 1e-6);
            assert!(found.low < area && area < found.high);
        }
    }

    #[test]
    fn groups_that_do_not_overlap_are_not_taken_for_proof() {
        let found = Roc::of(&[0.0; 20], &[1.0; 50]).unwrap();
        assert!(found.area >= 1.0 && found.low < 0.84 && found.high >= 1.0, "{found:?}");
    }
}
