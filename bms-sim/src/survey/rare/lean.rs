//! # Noise that leans
//!
//! A reading far below its limit is beyond it once in many years of noise. So the noise of one channel is drawn with its mean shifted
//! by s of its standard deviations, and each outcome counts as much as it is likelier without the shift:
//!
//! ```text
//! z′ = z + s          weight = φ(z′)/φ(z′ − s) = exp(−s z − s²/2)
//! ```
//!
//! **Why it is unbiased.** The mean of (weight × outcome) under the shifted noise is ∫ f(z′) φ(z′)/φ(z′ − s) φ(z′ − s) dz′ = ∫ f(z′) φ(z′) dz′:
//! what the unshifted noise gives, whatever the shift. With the shift near the limit it scatters least. The drawn z end at 6.3 σ, the
//! shifted ones at s ± 6.3 σ: what lies beyond is less than 1.5e-10 of the shifted noise.
//!
//! **A value that is smoothed** forgets slowly: one wild reading moves it little. Then the readings before lean too, each by a fixed part
//! of the one after it, and the weights multiply. For `g ← g + λ (x − g)` the likeliest way up is a lean that fades by 1 − λ a reading:
//!
//! ```text
//! sᵢ = s (1 − λ)ⁱ, i readings before the last          Σ λ (1 − λ)ⁱ sᵢ σ = k σ_g   with   s = k √(λ (2 − λ))
//! ```
//!
//! **When it fails.** Where the noise leans the wrong way or much too far, nearly all of what is found hangs on a few copies with large
//! weights (the weights *degenerate*), and the estimate is far too small nearly every time. What shows it is how many equal copies they
//! are worth, (Σw)²/Σw² (L. Kish, *Survey Sampling*, 1965; from memory): see [`Estimate::worth`](super::splitting::Estimate::worth).
//!
//! Source: the likelihood ratio of importance sampling, P. Glasserman, *Monte Carlo Methods in Financial Engineering* (2003), section 4.6.

pub use crate::world::sensor::Channel;

/// How far the noise of a channel leans, in its standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lean {
    /// Which.
    pub channel: Channel,
    /// How far in the last reading, positive towards larger readings.
    pub sigmas: f64,
    /// In how many readings, the last one included.
    pub readings: u32,
    /// What part of the lean of a reading the one before it has.
    pub fades: f64,
}

/// A reading that leans by less than this part of the last one leans no more.
const FADED: f64 = 0.01;

impl Lean {
    /// In one reading.
    #[must_use]
    pub const fn once(channel: Channel, sigmas: f64) -> Self {
        Self { channel, sigmas, readings: 1, fades: 1.0 }
    }

    /// So that a value of which each reading renews this part is moved by so many of its own standard deviations.
    #[must_use]
    pub fn smoothed(channel: Channel, sigmas: f64, part: f64) -> Self {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some dozens")]
        let readings = libm::ceil(libm::log(FADED) / libm::log(1.0 - part)).clamp(1.0, 1e6) as u32;
        Self { channel, sigmas: sigmas * libm::sqrt(part * (2.0 - part)), readings, fades: 1.0 - part }
    }

    /// By how many standard deviations the reading leans that comes so many before the last one.
    #[must_use]
    pub fn before_last(&self, readings: u32) -> f64 {
        self.sigmas * libm::pow(self.fades, f64::from(readings))
    }
}

/// What an outcome counts of which a reading leant by so many standard deviations, and whose draw was this before.
#[must_use]
pub fn weight(sigmas: f64, drawn: f64) -> f64 {
    libm::exp(-sigmas * drawn - 0.5 * sigmas * sigmas)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::noise::Noise;

    /// `norm.sf(z)` of SciPy 1.17.1.
    #[test]
    fn leaning_noise_finds_the_tail_of_the_normal_distribution() {
        for (sigmas, tail) in [
            (3.0, 1.349_898_031_630_094_5e-3),
            (5.0, 2.866_515_718_791_933e-7),
            (8.0, 6.220_960_574_271_785e-16),
        ] {
            let (mut sum, mut square, mut count) = (0.0, 0.0, 0.0);
            for tick in 0..200 {
                for drawn in Noise::new(3).draws::<96, 16>(tick).cells() {
                    let drawn = f64::from(*drawn);
                    let counts = if drawn + sigmas > sigmas { weight(sigmas, drawn) } else { 0.0 };
                    sum += counts;
                    square += counts * counts;
                    count += 1.0;
                }
            }
            let mean: f64 = sum / count;
            let error = libm::sqrt((square / count - mean * mean) / count);
            assert!((mean - tail).abs() < 4.0 * error, "{sigmas}: {mean} ± {error}");
            assert!(error < 0.03 * tail, "{sigmas}: {error}");
        }
    }

    /// The lean of all readings together moves the smoothed value as far as it says.
    #[test]
    fn a_lean_that_fades_moves_what_is_smoothed_as_far_as_it_says() {
        let part = 1.0 / 15.0;
        let lean = Lean::smoothed(Channel::Pack, 6.0, part);
        let mut smoothed = 0.0;
        for back in (0..lean.readings).rev() {
            smoothed += part * (lean.before_last(back) - smoothed);
        }
        let own = libm::sqrt(part / (2.0 - part));
        assert!((smoothed / own - 6.0).abs() < 0.01, "{smoothed}");
    }
}
