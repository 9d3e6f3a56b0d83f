//! # Noise that leans
//!
//! A reading far below its limit is beyond it once in many years of noise. So the noise of one channel is drawn with its mean shifted
//! by s of its standard deviations, and each outcome counts as much as it is likelier without the shift:
//!
//! ```text
//! z′ = z + s          weight = φ(z′)/φ(z′ − s) = exp(−s z − s²/2)
//! ```
//!
//! The mean of (weight × outcome) is what the unshifted noise gives, whatever the shift; with the shift near the limit it scatters
//! least. The drawn z end at 6.3 σ, the shifted ones at s ± 6.3 σ: what lies beyond is less than 1.5e-10 of the shifted noise.
//! Source: the likelihood ratio of importance sampling, P. Glasserman, *Monte Carlo Methods in Financial Engineering* (2003), section 4.6.

pub use crate::world::sensor::Channel;

/// How far the noise of a channel leans, in its standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lean {
    /// Which.
    pub channel: Channel,
    /// How far, positive towards larger readings.
    pub sigmas: f64,
}

impl Lean {
    /// What an outcome counts whose draw was this before it leant.
    #[must_use]
    pub fn weight(self, drawn: f64) -> f64 {
        libm::exp(-self.sigmas * drawn - 0.5 * self.sigmas * self.sigmas)
    }
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
            let lean = Lean { channel: Channel::Cell(0), sigmas };
            let (mut sum, mut square, mut count) = (0.0, 0.0, 0.0);
            for tick in 0..200 {
                for drawn in Noise::new(3).draws::<96, 16>(tick).cells() {
                    let drawn = f64::from(*drawn);
                    let counts = if drawn + sigmas > sigmas { lean.weight(drawn) } else { 0.0 };
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
}
