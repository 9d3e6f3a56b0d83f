//! # So many in so many hours
//!
//! Events that come by chance and independently of each other, with the exact interval of Garwood for their rate:
//!
//! ```text
//! low  = G⁻¹(α/2;     k)     / T       0 when k = 0
//! high = G⁻¹(1 − α/2; k + 1) / T       G: the gamma distribution of that shape and scale 1
//! ```
//!
//! No event in T hours: at most 3.69 / T. A pack is watched to its first alarm or to its end, and T is the sum of what was watched; a
//! test measures that the interval holds there too. Source: F. Garwood, Biometrika 28 (1936) 437.

use super::CONFIDENCE;
use super::proportion::number;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF as _, Gamma};

/// A rate that was counted, with its interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Rate {
    /// How many events.
    pub count: u64,
    /// In how many hours.
    pub hours: f64,
    /// Events an hour; nothing in no time.
    pub per_hour: Option<f64>,
    /// Lower end of its 95 % interval, an hour.
    pub low_per_hour: f64,
    /// Upper end; nothing where there is none.
    pub high_per_hour: Option<f64>,
}

impl Rate {
    /// So many in so many hours.
    #[must_use]
    pub fn of(count: u64, hours: f64) -> Self {
        Self::with(count, hours, CONFIDENCE)
    }

    /// The same with an interval of another confidence, between 0 and 1.
    #[must_use]
    pub fn with(count: u64, hours: f64, confidence: f64) -> Self {
        if hours <= 0.0 {
            return Self { count, hours, per_hour: None, low_per_hour: 0.0, high_per_hour: None };
        }
        let tail = 0.5 * (1.0 - confidence);
        let quantile = |share, shape| Gamma::new(shape, 1.0).ok().map(|gamma| gamma.inverse_cdf(share));
        let low = if count > 0 { quantile(tail, number(count)) } else { None };
        Self {
            count,
            hours,
            per_hour: Some(number(count) / hours),
            low_per_hour: low.unwrap_or(0.0) / hours,
            high_per_hour: quantile(1.0 - tail, number(count) + 1.0).map(|events| events / hours),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::noise::Noise;

    /// SciPy 1.17.1: `chi2.ppf(0.025, 2 * k) / 2` and `chi2.ppf(0.975, 2 * k + 2) / 2`.
    #[test]
    fn the_interval_is_that_of_garwood() {
        for (count, low, high) in [
            (0, 0.0, 3.688_879_454_114),
            (1, 0.025_317_807_984, 5.571_643_390_939),
            (5, 1.623_486_390_118, 11.668_332_079_323),
            (100, 81.363_991_250_923, 121.626_793_792_026),
        ] {
            let found = Rate::of(count, 2.0);
            let ends = (2.0 * found.low_per_hour, found.high_per_hour.map(|high| 2.0 * high));
            assert!((ends.0 - low).abs() < 1e-6, "{found:?}");
            assert!(ends.1.is_some_and(|end| (end - high).abs() < 1e-6), "{found:?}");
        }
        assert_eq!(Rate::of(0, 0.0).high_per_hour, None);
    }

    /// Six hundred surveys of 30 packs that are watched to their first alarm or for ten hours, at rates around one alarm in as many: at least
    /// 95 % hold, but for what 600 surveys can be off by chance (three standard deviations: 2.7 %).
    #[test]
    fn it_holds_where_packs_are_watched_to_their_first_alarm() {
        let noise = Noise::new(5);
        for (which, rate) in (0..).zip([0.01_f64, 0.05, 0.1]) {
            let mut held = 0;
            for survey in 0..600_u64 {
                let (mut alarms, mut hours) = (0, 0.0);
                for pack in 0..30 {
                    #[expect(clippy::cast_precision_loss, reason = "32 bits")]
                    let share =
                        ((noise.of_run(30 * survey + pack, which) >> 32) as f64 + 0.5) / 4_294_967_296.0;
                    let alarm = -libm::log(share) / rate;
                    alarms += u64::from(alarm < 10.0);
                    hours += alarm.min(10.0);
                }
                let found = Rate::of(alarms, hours);
                held += u32::from(
                    found.low_per_hour <= rate && found.high_per_hour.is_some_and(|high| rate <= high),
                );
            }
            let share = f64::from(held) / 600.0;
            assert!(share > CONFIDENCE - 0.027, "{share} at {rate} an hour");
        }
    }
}
