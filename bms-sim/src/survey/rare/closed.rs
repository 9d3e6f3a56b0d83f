//! # Rates that can be calculated
//!
//! Three ways in which noise is judged have a closed form or an equation that a few hundred sums solve. They know nothing of the core: what
//! sampling finds is held against them.
//!
//! **Single readings.** A channel gives `step · round((μ + σ z)/step)`. That this lies at or beyond a limit is a tail of the normal
//! distribution, from half a step before the first reading beyond it: [`Readings`].
//!
//! **A dwell.** One reading beyond the trip limit, then n in a row that are not within the release limit, each independent of the others:
//! `p qⁿ`, [`in_a_row`]. Source: runs of successes, W. Feller, *An Introduction to Probability Theory and Its Applications*, vol. I, chapter XIII.
//!
//! **A smoothed value** `g ← (1 − λ) g + λ x` (an exponentially weighted moving average) remembers. The density of where it is, having
//! never left its limits, obeys an integral equation, solved on the nodes of Gauss and Legendre: [`Smoothed`].
//!
//! ```text
//! fₙ₊₁(y) = ∫ fₙ(u) φ((y − (1 − λ) u)/λ)/λ du          over the values within the limits, x standard normal
//! ```
//!
//! What is left of it after each reading adds up to the mean run length; once it keeps its shape, what it loses a reading is the rate of alarms.
//! The loss is summed from tails, not taken as a difference to 1, and so is right to many digits at 1e-15 too. Source: S. V.
//! Crowder, Technometrics 29 (1987) 401; J. M. Lucas, M. S. Saccucci, Technometrics 32 (1990) 1.

use crate::survey::distribution::normal_share;

/// What a channel of steps gives of a quantity that stands, in its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readings {
    /// The quantity, with the channel's offset and gain.
    pub mean: f64,
    /// Standard deviation of the channel's noise.
    pub noise: f64,
    /// Its step.
    pub step: f64,
}

impl Readings {
    /// The probability that a reading is at this limit or below it.
    #[must_use]
    pub fn up_to(&self, limit: f64) -> f64 {
        normal_share(((self.number(limit) + 0.5) * self.step - self.mean) / self.noise)
    }

    /// The probability that a reading is at this limit or above it.
    #[must_use]
    pub fn from(&self, limit: f64) -> f64 {
        Self { mean: -self.mean, ..*self }.up_to(-limit)
    }

    /// Every reading within ten deviations, with its probability.
    pub fn all(self) -> impl Iterator<Item = (f64, f64)> {
        let (first, last) =
            (self.number(self.mean - 10.0 * self.noise), self.number(self.mean + 10.0 * self.noise));
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some hundred steps")]
        let count = (last - first).max(0.0) as u32;
        (0..=count).map(move |place| {
            let reading = (first + f64::from(place)) * self.step;
            let from = (reading - 0.5 * self.step - self.mean) / self.noise;
            let to = (reading + 0.5 * self.step - self.mean) / self.noise;
            // From the nearer end, where the difference keeps its digits.
            let share = if from > 0.0 {
                normal_share(-from) - normal_share(-to)
            } else {
                normal_share(to) - normal_share(from)
            };
            (reading, share)
        })
    }

    /// The variance of its readings, that of the steps included (W. F. Sheppard, 1898: step²/12).
    #[must_use]
    pub fn variance(&self) -> f64 {
        self.noise * self.noise + self.step * self.step / 12.0
    }

    /// The number of the largest reading at or below a limit. Half a bit of the fixed point (1/131 072) is no difference.
    fn number(&self, limit: f64) -> f64 {
        libm::floor((limit + 0.5 / 65_536.0) / self.step)
    }
}

/// The probability that one tick begins an excursion that ends Confirmed, when a reading lies beyond the trip limit with probability
/// `beyond`, not within the release limit with probability `not_within`, each independent of the others, and the dwell is so many ticks after
/// the first.
#[must_use]
pub fn in_a_row(beyond: f64, not_within: f64, ticks: u32) -> f64 {
    beyond * libm::pow(not_within, f64::from(ticks))
}

/// A smoothed value of standard normal readings, and the limits that it must not leave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Smoothed {
    /// What part each reading renews, between 0 and 1.
    pub part: f64,
    /// Lower limit, in standard deviations of a reading; −∞ where there is none.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

/// Nodes of the quadrature: some for each deviation of a step of what is smoothed, for parts from 1/40 up.
const NODES: usize = 161;

/// What is smoothed is never so many of its deviations away: less than 1e-23 of the time.
const FAR: f64 = 10.0;

/// So many times what it remembers leaves nothing of its start: e⁻⁴⁰.
const FORGOTTEN: f64 = 40.0;

impl Smoothed {
    /// The mean number of readings until it leaves its limits, starting from here; right to six digits up to 10⁸, beyond which
    /// [`leaves`](Self::leaves) is the better question.
    #[must_use]
    pub fn run_length(&self, from: f64) -> f64 {
        let (grid, moves) = self.grid_and_moves();
        let mut density: Vec<f64> = grid.iter().map(|(place, _)| self.moves(from, *place)).collect();
        let mut left = mass(&grid, &density);
        // The start itself, and then all that is left after each reading, to infinity by the share that stays.
        let (mut sum, mut stays, mut readings) = (1.0 + left, left, 1.0);
        loop {
            density = next(&grid, &moves, &density);
            let before = std::mem::replace(&mut left, mass(&grid, &density));
            let share = left / before;
            sum += left;
            readings += 1.0;
            if left <= f64::EPSILON * sum {
                return sum;
            }
            // Not before it has forgotten its start, for at first next to nothing leaves; as exact as the digits of a number near 1 allow.
            let forgotten = readings * self.part > FORGOTTEN;
            if forgotten && (share - stays).abs() <= 1e-10 * (1.0 - share) + 4.0 * f64::EPSILON {
                return sum + left * share / (1.0 - share);
            }
            stays = share;
        }
    }

    /// The share of readings with which it leaves its limits, once it has forgotten where it started.
    #[must_use]
    pub fn leaves(&self) -> f64 {
        let (grid, moves) = self.grid_and_moves();
        let deviation = self.deviation();
        let mut density: Vec<f64> =
            grid.iter().map(|(place, _)| libm::exp(-0.5 * place * place / (deviation * deviation))).collect();
        let mut leaves = f64::INFINITY;
        loop {
            let all = mass(&grid, &density);
            for value in &mut density {
                *value /= all;
            }
            let lost: f64 = grid
                .iter()
                .zip(&density)
                .map(|((place, weight), density)| {
                    let middle = (1.0 - self.part) * place;
                    let beyond = normal_share((middle - self.high) / self.part)
                        + normal_share((self.low - middle) / self.part);
                    weight * density * beyond
                })
                .sum();
            if (lost / leaves - 1.0).abs() < 1e-9 {
                return lost;
            }
            leaves = lost;
            density = next(&grid, &moves, &density);
        }
    }

    /// Its own standard deviation, in those of a reading: √(λ/(2 − λ)).
    #[must_use]
    pub fn deviation(&self) -> f64 {
        libm::sqrt(self.part / (2.0 - self.part))
    }

    fn moves(&self, from: f64, to: f64) -> f64 {
        let z = (to - (1.0 - self.part) * from) / self.part;
        libm::exp(-0.5 * z * z) / (self.part * libm::sqrt(2.0 * core::f64::consts::PI))
    }

    /// Places and weights between the limits, and for each place the density with which it is reached from all of them.
    fn grid_and_moves(&self) -> (Vec<(f64, f64)>, Vec<Vec<f64>>) {
        let far = FAR * self.deviation();
        let ends = |limit: f64| if limit.is_finite() { limit } else { far.copysign(limit) };
        let (low, high) = (ends(self.low), ends(self.high));
        let (middle, half) = (0.5 * (high + low), 0.5 * (high - low));
        let grid: Vec<(f64, f64)> = legendre(NODES)
            .into_iter()
            .map(|(place, weight)| (middle + half * place, half * weight))
            .collect();
        let to = |(to, _): &(f64, f64)| grid.iter().map(|(from, _)| self.moves(*from, *to)).collect();
        let moves = grid.iter().map(to).collect();
        (grid, moves)
    }
}

/// The density after one more reading.
fn next(grid: &[(f64, f64)], moves: &[Vec<f64>], density: &[f64]) -> Vec<f64> {
    let flows: Vec<f64> = grid.iter().zip(density).map(|((_, weight), density)| weight * density).collect();
    moves.iter().map(|from| flows.iter().zip(from).map(|(flow, moves)| flow * moves).sum()).collect()
}

fn mass(grid: &[(f64, f64)], density: &[f64]) -> f64 {
    grid.iter().zip(density).map(|((_, weight), density)| weight * density).sum()
}

/// Nodes and weights of the quadrature of Gauss and Legendre on −1 … 1: the zeros of the Legendre polynomial by Newton's steps, and
/// 2/((1 − x²) P′(x)²).
fn legendre(count: usize) -> Vec<(f64, f64)> {
    #[expect(clippy::cast_precision_loss, reason = "some hundred nodes")]
    let number = |place: usize| place as f64;
    let all = number(count);
    (1..=count)
        .map(|place| {
            let mut x = -libm::cos(core::f64::consts::PI * (number(place) - 0.25) / (all + 0.5));
            let mut slope = 1.0;
            for _ in 0..8 {
                let (mut before, mut value) = (0.0, 1.0);
                for degree in 1..=count {
                    let degree = number(degree);
                    let next = ((2.0 * degree - 1.0) * x * value - (degree - 1.0) * before) / degree;
                    (before, value) = (value, next);
                }
                slope = all * (x * value - before) / (x * x - 1.0);
                x -= value / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SciPy 1.17.1: `norm.cdf((2.80005 - 2.803) / 5e-4)`; the reading of 2.8000 V counts as at the limit, that of 2.8001 V does not.
    #[test]
    fn a_reading_is_beyond_from_half_a_step_before_its_limit() {
        let cell = Readings { mean: 2.803, noise: 5e-4, step: 1e-4 };
        let expected = 1.817_507_863_104_139_8e-9;
        assert!((cell.up_to(2.8) / expected - 1.0).abs() < 1e-6, "{}", cell.up_to(2.8));
        let other = Readings { mean: -2.803, ..cell };
        assert!((other.from(-2.8) / expected - 1.0).abs() < 1e-6);
        let sum: f64 = cell.all().map(|(_, share)| share).sum();
        assert!((sum - 1.0).abs() < 1e-10, "{sum}");
    }

    /// The nodes of seven, by `numpy.polynomial.legendre.leggauss(7)` of NumPy 2.4.6.
    #[test]
    fn the_nodes_are_those_of_gauss_and_legendre() {
        let nodes = legendre(7);
        for (place, (node, weight)) in [
            (0, (-0.949_107_912_342_758_5, 0.129_484_966_168_870_1)),
            (2, (-0.405_845_151_377_397_2, 0.381_830_050_505_118_9)),
            (3, (0.0, 0.417_959_183_673_469_4)),
        ] {
            assert!(
                (nodes[place].0 - node).abs() < 1e-14 && (nodes[place].1 - weight).abs() < 1e-14,
                "{nodes:?}"
            );
        }
    }
}
