//! # Multilevel splitting
//!
//! What happens once in a billion tries is never seen by trying. But it happens in steps each of which is not rare: a dwell that has run for
//! half its time was first there for a quarter. So a thousand copies start; those that come to the first level are kept, copied anew to
//! a thousand, each with chance of its own from there on; and so from level to level:
//!
//! ```text
//! estimate = w̄ · k₁/N · k₂/N · … · kₘ/N             kᵢ of N copies come from level i − 1 to level i
//! ```
//!
//! w̄ is the mean weight with which the first step is made, where that step itself leans (see [`super`]). The mean of many such estimates is
//! the true probability, whatever the levels: each factor is an unbiased share given the copies that it starts from, and copies are
//! drawn in proportion to their weights. How much one estimate scatters shows in independent repeats, and from these comes the interval.
//!
//! Source: P. Glasserman, P. Heidelberger, P. Shahabuddin, T. Zajic, Operations Research 47 (1999) 585; unbiasedness of the fixed-effort
//! form: M. J. J. Garvels, *The splitting method in rare event simulation* (thesis, Twente, 2000); both from memory.

use crate::world::noise::Noise;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF as _, StudentsT};

/// Something that may come far, one step at a time.
pub trait Excursion: Clone + Send + Sync {
    /// Starts from where nothing has begun yet: how far the first step comes, and its weight.
    fn begin(&mut self, chance: u64) -> (Progress, f64);

    /// One step more, with chance of its own.
    fn step(&mut self, chance: u64) -> Progress;
}

/// How far something has come.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Progress {
    /// It has fallen back: it is over.
    Back,
    /// It has come so far.
    At(u32),
}

/// How much work is done.
#[derive(Clone, Debug, PartialEq)]
pub struct Effort {
    /// Progress at each level, in rising order; the last one is what is asked for.
    pub levels: Vec<u32>,
    /// Copies at each level.
    pub copies: usize,
    /// Independent repeats, two or more.
    pub repeats: usize,
    /// Seed of all chance.
    pub seed: u64,
}

/// A probability that may be very small, with what is known of its error.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// The mean of all repeats.
    pub probability: f64,
    /// Standard deviation of one repeat, as a part of the mean; nothing where none came through.
    pub scatter: Option<f64>,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Independent repeats.
    pub repeats: usize,
    /// Steps that were made in all.
    pub steps: u64,
}

/// Stream of chance: what a number is drawn for.
const CHANCE: u32 = 0x5717;

/// The probability that what begins from here comes to the last level.
///
/// Where no repeat comes through, the interval is that of its levels: as many copies as there were at the level where all ended say no more
/// than a rule of three about that step.
#[must_use]
pub fn estimate<E: Excursion>(start: &E, effort: &Effort) -> Estimate {
    let mut found = Vec::with_capacity(effort.repeats);
    let mut steps = 0;
    for repeat in 0..effort.repeats {
        let once = once(start, effort, repeat as u64);
        steps += once.steps;
        found.push(once);
    }
    summed(&found, effort, steps)
}

/// One repeat.
struct Once {
    probability: f64,
    /// What had come through before the level at which all ended.
    before: f64,
    steps: u64,
}

fn once<E: Excursion>(start: &E, effort: &Effort, repeat: u64) -> Once {
    let noise = Noise::new(effort.seed);
    let mut drawn = repeat << 40;
    let mut chance = || {
        drawn += 1;
        noise.of_run(drawn, CHANCE)
    };
    let mut steps = 0;
    // The first step, with its weight.
    let mut alive: Vec<(E, Progress, f64)> = Vec::new();
    for _ in 0..effort.copies {
        let mut copy = start.clone();
        let (progress, weight) = copy.begin(chance());
        steps += 1;
        if progress != Progress::Back && weight > 0.0 {
            alive.push((copy, progress, weight));
        }
    }
    #[expect(clippy::cast_precision_loss, reason = "a number of copies")]
    let copies = effort.copies as f64;
    let mut probability = alive.iter().map(|(.., weight)| weight).sum::<f64>() / copies;
    let mut before = 1.0;
    for level in &effort.levels {
        if alive.is_empty() {
            break;
        }
        let starts = resampled(&alive, effort.copies, &mut chance);
        alive.clear();
        for (mut copy, mut progress, _) in starts {
            while matches!(progress, Progress::At(so_far) if so_far < *level) {
                progress = copy.step(chance());
                steps += 1;
            }
            if progress != Progress::Back {
                alive.push((copy, progress, 1.0));
            }
        }
        before = probability;
        #[expect(clippy::cast_precision_loss, reason = "a number of copies")]
        let share = alive.len() as f64 / copies;
        probability *= share;
    }
    if alive.is_empty() {
        probability = 0.0;
    }
    Once { probability, before, steps }
}

/// As many copies as asked for, each in proportion to its weight: by evenly spaced places in the sum of all weights, with one shift by
/// chance for all, which scatters least and is unbiased.
fn resampled<E: Clone>(
    alive: &[(E, Progress, f64)],
    copies: usize,
    chance: &mut impl FnMut() -> u64,
) -> Vec<(E, Progress, f64)> {
    let sum: f64 = alive.iter().map(|(.., weight)| weight).sum();
    #[expect(clippy::cast_precision_loss, reason = "53 of 64 bits, and a number of copies")]
    let (shift, each) = ((chance() >> 11) as f64 / 9_007_199_254_740_992.0, sum / copies as f64);
    let mut chosen = Vec::with_capacity(copies);
    let mut places = alive.iter();
    let (mut upto, mut here) = (0.0, alive.first());
    #[expect(clippy::cast_precision_loss, reason = "a number of copies")]
    for copy in 0..copies {
        let wanted = (copy as f64 + shift) * each;
        while wanted >= upto {
            let Some(next) = places.next() else { break };
            here = Some(next);
            upto += next.2;
        }
        chosen.extend(here.cloned());
    }
    chosen
}

fn summed(found: &[Once], effort: &Effort, steps: u64) -> Estimate {
    #[expect(clippy::cast_precision_loss, reason = "a number of repeats")]
    let repeats = found.len() as f64;
    let mean = found.iter().map(|once| once.probability).sum::<f64>() / repeats;
    if mean <= 0.0 {
        let before = found.iter().map(|once| once.before).fold(0.0, f64::max);
        #[expect(clippy::cast_precision_loss, reason = "a number of copies")]
        let high = before * (3.7 / (effort.copies as f64 * repeats)).min(1.0);
        return Estimate { probability: 0.0, scatter: None, low: 0.0, high, repeats: found.len(), steps };
    }
    let squares = found.iter().map(|once| (once.probability - mean) * (once.probability - mean)).sum::<f64>();
    let scatter = libm::sqrt(squares / (repeats - 1.0).max(1.0)) / mean;
    // On the logarithm, where what is a product of many shares scatters evenly.
    let tail =
        StudentsT::new(0.0, 1.0, (repeats - 1.0).max(1.0)).map_or(2.0, |student| student.inverse_cdf(0.975));
    let wide = libm::sqrt(libm::log1p(scatter * scatter / repeats)) * tail;
    Estimate {
        probability: mean,
        scatter: Some(scatter),
        low: mean * libm::exp(-wide),
        high: mean * libm::exp(wide),
        repeats: found.len(),
        steps,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::distribution::normal_value;

    fn share(chance: u64) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "52 bits")]
        let share = ((chance >> 12) as f64 + 0.5) / 4_503_599_627_370_496.0;
        share
    }

    /// So many in a row, each with this probability.
    #[derive(Clone)]
    struct Run {
        likely: f64,
        so_far: u32,
    }

    impl Excursion for Run {
        fn begin(&mut self, chance: u64) -> (Progress, f64) {
            (self.step(chance), 1.0)
        }

        fn step(&mut self, chance: u64) -> Progress {
            if share(chance) >= self.likely {
                return Progress::Back;
            }
            self.so_far += 1;
            Progress::At(self.so_far)
        }
    }

    fn effort(levels: Vec<u32>) -> Effort {
        Effort { levels, copies: 1_000, repeats: 30, seed: 4 }
    }

    /// Eight in a row of 0.1 each: 1e-8; two of 0.00135 (three sigma): 1.8222e-6. The mean waiting times from Feller's formula,
    /// vol. I, chapter XIII, (1 − pⁿ)/((1 − p) pⁿ), are 111 111 110 (n 8, p 0.1) and 549 520.57.
    #[test]
    fn runs_of_exceedances_are_as_likely_as_feller_says() {
        for (likely, in_a_row, copies, wait) in
            [(0.1, 8, 1_000, 111_111_110.0), (0.001_349_898, 2, 20_000, 549_520.57), (0.5, 5, 1_000, 62.0)]
        {
            let effort = Effort { copies, ..effort((1..=in_a_row).collect()) };
            let found = estimate(&Run { likely, so_far: 0 }, &effort);
            // A run begins at a try with probability p, unless it goes on from the try before: the wait is (1 − P)/((1 − p) P).
            let of = |probability: f64| (1.0 - probability) / ((1.0 - likely) * probability);
            assert!(of(found.high) <= wait && wait <= of(found.low), "{wait}: {found:?}");
            assert!(found.scatter.is_some_and(|scatter| scatter < 0.6), "{found:?}");
        }
    }

    /// A sum that is held down: one-sided CUSUM, k 0.5, h 3, of standard normal values. Its mean run length in control is 117.596 (SAS/QC
    /// user's guide, figure 6.11), so a start from zero ends above h before it is zero again in a share that follows from it: with
    /// L = 117.596 values to an alarm, each excursion from zero is (values it takes)/P long. Checked against that identity.
    #[test]
    fn a_cusum_reaches_its_limit_as_often_as_its_run_length_says() {
        #[derive(Clone)]
        struct Cusum {
            sum: f64,
        }
        impl Excursion for Cusum {
            fn begin(&mut self, chance: u64) -> (Progress, f64) {
                (self.step(chance), 1.0)
            }
            fn step(&mut self, chance: u64) -> Progress {
                self.sum = (self.sum + normal_value(share(chance)) - 0.5).max(0.0);
                if self.sum <= 0.0 {
                    return Progress::Back;
                }
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "below the limit, in tenths"
                )]
                let tenths = (self.sum * 10.0).min(1e6) as u32;
                Progress::At(tenths)
            }
        }
        let start = Cusum { sum: 0.0 };
        let found = estimate(&start, &effort(vec![10, 20, 30]));
        // Values an excursion takes, to zero or beyond the limit, by plain sampling.
        let noise = Noise::new(8);
        let (mut values, mut excursions, mut reached, mut at) = (0.0, 0.0, 0.0, 0);
        while excursions < 20_000.0 {
            let mut cusum = start.clone();
            loop {
                at += 1;
                values += 1.0;
                match cusum.step(noise.of_run(at, 1)) {
                    Progress::At(tenths) if tenths < 30 => {}
                    Progress::Back => break,
                    Progress::At(_) => {
                        reached += 1.0;
                        break;
                    }
                }
            }
            excursions += 1.0;
        }
        // By renewal: run length = values an excursion / P(an excursion reaches the limit).
        let length = |probability: f64| values / excursions / probability;
        let plain = reached / excursions;
        assert!(
            length(found.high) * 0.97 <= 117.596 && 117.596 <= length(found.low) * 1.03,
            "{} {found:?}",
            length(found.probability)
        );
        assert!((plain / found.probability - 1.0).abs() < 0.25, "{plain} {found:?}");
    }

    /// The mean is right whatever the levels, and the interval holds it: forty surveys of 1e-4 with rough and with fine levels.
    #[test]
    fn the_levels_do_not_bias_it_and_the_interval_holds() {
        let run = Run { likely: 0.1, so_far: 0 };
        for levels in [vec![2, 4], vec![1, 2, 3, 4]] {
            let (mut held, mut sum) = (0, 0.0);
            for seed in 0..40 {
                let effort = Effort { levels: levels.clone(), copies: 400, repeats: 8, seed };
                let found = estimate(&run, &effort);
                held += u32::from(found.low <= 1e-4 && 1e-4 <= found.high);
                sum += found.probability / 40.0;
            }
            assert!(held >= 34, "{held} of 40 hold the truth with {levels:?}");
            assert!((sum / 1e-4 - 1.0).abs() < 0.05, "{sum}");
        }
    }

    #[test]
    fn what_never_comes_is_bounded_and_not_called_impossible() {
        let found = estimate(&Run { likely: 1e-5, so_far: 0 }, &effort(vec![1, 2, 3]));
        assert!(found.probability <= 0.0 && found.low <= 0.0 && found.high > 1e-5, "{found:?}");
    }
}
