//! # Named distributions
//!
//! What varies is drawn by the inverse of its distribution function: a share `u`, equally likely everywhere inside of 0 … 1, becomes
//! the value below which that share of all values lies. So one draw is one number, whatever the distribution.
//!
//! | name | value at `u` |
//! | --- | --- |
//! | `fixed = v` | v |
//! | `uniform = [a, b]` | a + u (b − a) |
//! | `log_uniform = [a, b]` | a (b/a)^u: each factor of two is as likely as any other |
//! | `normal = [m, s]` | m + s Φ⁻¹(u), cut at the ends of what is accepted: `u` is taken between their shares |
//! | `whole = [a, b]` | a whole number, each as likely as any other |
//! | `choice = [v, w, …]` | one of them, each as likely as any other |

/// How a value is distributed.
#[derive(Clone, Debug, PartialEq)]
pub enum Distribution {
    /// Always this.
    Fixed(f64),
    /// Equally likely everywhere between two values.
    Uniform(f64, f64),
    /// Its logarithm is; both are above zero.
    LogUniform(f64, f64),
    /// Normal, cut at two ends.
    Normal {
        /// Mean before it is cut.
        mean: f64,
        /// Standard deviation before it is cut, above zero.
        deviation: f64,
        /// Nothing lies below.
        low: f64,
        /// Nothing lies above.
        high: f64,
    },
    /// A whole number between two, both included.
    Whole(f64, f64),
    /// One of these.
    Choice(Vec<f64>),
}

impl Distribution {
    /// The value below which this share of all values lies.
    #[must_use]
    pub fn value(&self, share: f64) -> f64 {
        match self {
            Self::Fixed(value) => *value,
            Self::Uniform(low, high) => low + share * (high - low),
            Self::LogUniform(low, high) => low * libm::pow(high / low, share),
            Self::Normal { mean, deviation, low, high } => {
                let below = |value: f64| normal_share((value - mean) / deviation);
                let (from, to) = (below(*low), below(*high));
                (mean + deviation * normal_value(from + share * (to - from))).clamp(*low, *high)
            }
            Self::Whole(low, high) => libm::floor(low + share * (high - low + 1.0)).min(*high),
            Self::Choice(values) => {
                #[expect(
                    clippy::cast_precision_loss,
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "a place in a short list"
                )]
                let place = (share * values.len() as f64) as usize;
                values.get(place.min(values.len().saturating_sub(1))).copied().unwrap_or_default()
            }
        }
    }

    /// The least and the greatest value that can come.
    #[must_use]
    pub fn range(&self) -> (f64, f64) {
        match self {
            Self::Fixed(value) => (*value, *value),
            Self::Uniform(low, high)
            | Self::LogUniform(low, high)
            | Self::Whole(low, high)
            | Self::Normal { low, high, .. } => (*low, *high),
            Self::Choice(values) => {
                values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                    (low.min(*value), high.max(*value))
                })
            }
        }
    }
}

/// The share of a standard normal distribution below a value.
#[must_use]
pub fn normal_share(value: f64) -> f64 {
    0.5 * libm::erfc(-value * core::f64::consts::FRAC_1_SQRT_2)
}

/// The value below which this share of a standard normal distribution lies, between −8 and 8.
///
/// Halved sixty times from the distribution function, with the same bits on every machine: a survey draws few of them.
#[must_use]
pub fn normal_value(share: f64) -> f64 {
    // The upper half by its mirror image: there the share itself has no digits left.
    if share > 0.5 {
        return -normal_value(1.0 - share);
    }
    let (mut low, mut high) = (-8.0, 0.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if normal_share(middle) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SciPy 1.17.1: `norm.ppf([1e-9, 0.025, 0.5, 0.9])`, and `truncnorm.ppf(0.3, -1, 2)`.
    #[test]
    fn normal_values_are_those_of_scipy() {
        for (share, value) in [
            (1e-9, -5.997_807_015_007_687),
            (0.025, -1.959_963_984_540_054),
            (0.5, 0.0),
            (0.9, 1.281_551_565_544_600_4),
        ] {
            assert!((normal_value(share) - value).abs() < 1e-9, "{share}: {}", normal_value(share));
        }
        let cut = Distribution::Normal { mean: 0.0, deviation: 1.0, low: -1.0, high: 2.0 };
        assert!((cut.value(0.3) - -0.242_403_817_889_226_9).abs() < 1e-9, "{}", cut.value(0.3));
    }

    #[test]
    fn every_distribution_keeps_its_range_and_its_middle() {
        for (of, middle) in [
            (Distribution::Fixed(3.0), 3.0),
            (Distribution::Uniform(-1.0, 2.0), 0.5),
            (Distribution::LogUniform(0.5, 8.0), 2.0),
            (Distribution::Whole(1.0, 5.0), 3.0),
            (Distribution::Choice(vec![7.0, 9.0]), 9.0),
        ] {
            let (low, high) = of.range();
            for share in [1e-17, 0.2, 0.5, 0.999_999, 1.0 - f64::EPSILON / 2.0] {
                assert!((low..=high).contains(&of.value(share)), "{of:?} at {share}: {}", of.value(share));
            }
            assert!((of.value(0.5) - middle).abs() < 1e-12, "{of:?}");
        }
    }
}
