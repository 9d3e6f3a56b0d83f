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
//! w̄ is the mean weight with which an excursion begins, where its first readings lean (see [`super`]).
//!
//! **Why it is unbiased.** Given the copies that stand at a level, the share of their offspring that comes to the next one has the mean of their
//! true probabilities; and copies are drawn in proportion to their weights, so that they stand for those that would be there. Taken from the
//! last level backwards, the mean of the whole product is the true probability, whatever the levels and however few the copies.
//!
//! **How wide it is.** The factors of one estimate are not independent, so its variance is not worked out from them: independent repeats
//! show it. The interval lies on the logarithm, where a product of many shares scatters evenly, with Student's quantile for so many
//! repeats:
//!
//! ```text
//! interval = p̄ · exp(± t · √ln(1 + c²/r))             c: standard deviation of one repeat as a part of the mean, r repeats
//! ```
//!
//! **When it fails.** With levels so far apart that hardly a copy passes, or a lean that degenerates, most repeats find nothing or next to
//! nothing, and the mean of all is too small nearly every time. [`Estimate::trusted`] says so: it demands that one repeat scatters by
//! no more than its mean and that the weights of those that begin are worth a hundred of them, in all repeats together.
//!
//! Source: P. Glasserman, P. Heidelberger, P. Shahabuddin, T. Zajic, Operations Research 47 (1999) 585; unbiasedness of the fixed-effort
//! form: M. J. J. Garvels, *The splitting method in rare event simulation* (thesis, Twente, 2000); both from memory.

use crate::world::noise::Noise;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF as _, StudentsT};

/// Something that may come far, one step at a time.
pub trait Excursion: Clone + Send + Sync {
    /// Starts from where nothing has begun yet: how far the first step comes, and its weight. The same chance gives the same.
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
    /// How many try to begin.
    pub begins: usize,
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
    /// How many equal copies those that begin are worth by their weights: (Σw)²/Σw² of each repeat, added up.
    pub worth: f64,
    /// Independent repeats.
    pub repeats: usize,
    /// Steps that were made in all.
    pub steps: u64,
}

/// With fewer equal copies than this the weights have degenerated.
const LEAST_WORTH: f64 = 100.0;

impl Estimate {
    /// Whether the work was enough for its interval: it hangs on more than a few weights, and a repeat scatters by no more than its mean.
    #[must_use]
    pub fn trusted(&self) -> bool {
        self.repeats > 1 && self.worth >= LEAST_WORTH && self.scatter.is_some_and(|scatter| scatter <= 1.0)
    }

    /// Of repeats, in any order.
    ///
    /// Where no repeat comes through, the interval is that of its levels: as many copies as there were at the level where all ended say no
    /// more than a rule of three about that step.
    #[must_use]
    pub fn of(repeats: &[Once]) -> Self {
        #[expect(clippy::cast_precision_loss, reason = "a number of repeats")]
        let count = repeats.len() as f64;
        let mean = repeats.iter().map(|once| once.probability).sum::<f64>() / count;
        let worth = repeats.iter().map(|once| once.worth).sum();
        let steps = repeats.iter().map(|once| once.steps).sum();
        if mean <= 0.0 {
            let high = repeats.iter().map(|once| once.bound).fold(0.0, f64::max) / count;
            return Self {
                probability: 0.0,
                scatter: None,
                low: 0.0,
                high,
                worth,
                repeats: repeats.len(),
                steps,
            };
        }
        let squares =
            repeats.iter().map(|once| (once.probability - mean) * (once.probability - mean)).sum::<f64>();
        let free = (count - 1.0).max(1.0);
        let scatter = libm::sqrt(squares / free) / mean;
        let tail = StudentsT::new(0.0, 1.0, free).map_or(2.0, |student| student.inverse_cdf(0.975));
        let wide = libm::sqrt(libm::log1p(scatter * scatter / count)) * tail;
        Self {
            probability: mean,
            scatter: Some(scatter),
            low: mean * libm::exp(-wide),
            high: mean * libm::exp(wide),
            worth,
            repeats: repeats.len(),
            steps,
        }
    }
}

/// Stream of chance: what a number is drawn for.
const CHANCE: u32 = 0x5717;

/// No event in n tries is, at 95 %, no more than so many in n (two-sided, as everywhere: 3.69 of Garwood).
const NONE_SEEN: f64 = 3.7;

/// The probability that what begins from here comes to the last level.
#[must_use]
pub fn estimate<E: Excursion>(start: &E, effort: &Effort) -> Estimate {
    let repeats: Vec<Once> =
        (0..effort.repeats).map(|repeat| Once::of(start, effort, repeat as u64)).collect();
    Estimate::of(&repeats)
}

/// What one repeat found: a pure function of its start, its effort and its number.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Serialize)]
pub struct Once {
    /// Its estimate.
    pub probability: f64,
    /// Where nothing came through: what its last level with copies says at most.
    pub bound: f64,
    /// How many equal copies those that began are worth.
    pub worth: f64,
    /// Steps that were made.
    pub steps: u64,
}

impl Once {
    /// One repeat, by its number.
    #[must_use]
    pub fn of<E: Excursion>(start: &E, effort: &Effort, repeat: u64) -> Self {
        let noise = Noise::new(effort.seed);
        let mut drawn = repeat << 40;
        let mut chance = || {
            drawn += 1;
            noise.of_run(drawn, CHANCE)
        };
        let mut steps = 0;
        // Those that begin, each as its chance and its weight: a copy would be large.
        let mut begun: Vec<(u64, f64)> = Vec::new();
        for _ in 0..effort.begins {
            let its = chance();
            let (progress, weight) = start.clone().begin(its);
            steps += 1;
            if progress != Progress::Back && weight > 0.0 {
                begun.push((its, weight));
            }
        }
        let (sum, squares) = begun
            .iter()
            .fold((0.0, 0.0), |(sum, squares), (_, weight)| (sum + weight, squares + weight * weight));
        let worth = if squares > 0.0 { sum * sum / squares } else { 0.0 };
        #[expect(clippy::cast_precision_loss, reason = "numbers of copies")]
        let (begins, copies) = (effort.begins as f64, effort.copies as f64);
        let (mut probability, mut bound) = (sum / begins, (NONE_SEEN / begins).min(1.0));
        let again = |its| {
            let mut copy = start.clone();
            let (progress, _) = copy.begin(its);
            ((copy, progress), 1.0)
        };
        let mut alive: Vec<((E, Progress), f64)> =
            chosen(&begun, effort.copies, chance()).map(again).collect();
        for (place, level) in effort.levels.iter().enumerate() {
            if place > 0 {
                alive = chosen(&alive, effort.copies, chance()).map(|copy| (copy, 1.0)).collect();
            }
            if alive.is_empty() {
                break;
            }
            for ((copy, progress), _) in &mut alive {
                while matches!(progress, Progress::At(so_far) if *so_far < *level) {
                    *progress = copy.step(chance());
                    steps += 1;
                }
            }
            alive.retain(|((_, progress), _)| *progress != Progress::Back);
            bound = probability * (NONE_SEEN / copies).min(1.0);
            #[expect(clippy::cast_precision_loss, reason = "a number of copies")]
            let share = alive.len() as f64 / copies;
            probability *= share;
        }
        Self { probability, bound, worth, steps }
    }
}

/// As many as asked for, each in proportion to its weight: by evenly spaced places in the sum of all weights, with one shift by chance
/// for all, which scatters least and is unbiased.
fn chosen<T: Clone>(all: &[(T, f64)], count: usize, chance: u64) -> impl Iterator<Item = T> {
    let sum: f64 = all.iter().map(|(_, weight)| weight).sum();
    #[expect(clippy::cast_precision_loss, reason = "53 of 64 bits, and a number of copies")]
    let (shift, each) = ((chance >> 11) as f64 / 9_007_199_254_740_992.0, sum / count as f64);
    let mut places = all.iter();
    let (mut upto, mut here) = (0.0, all.first());
    (0..count).filter_map(move |copy| {
        #[expect(clippy::cast_precision_loss, reason = "a number of copies")]
        let wanted = (copy as f64 + shift) * each;
        while wanted >= upto {
            let Some(next) = places.next() else { break };
            here = Some(next);
            upto += next.1;
        }
        here.map(|(chosen, _)| chosen.clone())
    })
}

#[cfg(test)]
mod tests;
