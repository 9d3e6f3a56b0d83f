//! # False alarms that are too rare to be seen
//!
//! A fault that accuses a sound pack once in a thousand years is never met by playing sound packs. This room finds its rate all the same,
//! with the real core on the real world: a pack *stands* somewhere, nothing of it moves but the noise of its sensors, and asked is how
//! often the noise alone carries a fault from Clear to Confirmed.
//!
//! ```text
//! rate an hour = ticks an hour · P(a tick begins an excursion that ends Confirmed)
//! ```
//!
//! An excursion begins when the fault becomes Suspect and ends Confirmed or Clear. Its first step, one reading beyond the trip limit, may
//! be very unlikely: there the noise of one channel [leans](lean). The way through the dwell may be too, for a dwell forgets everything when a reading is
//! inside the release limit: there the way is [split](splitting). Both are unbiased, and so is their product, since the copies
//! are chosen by their weights.
//!
//! **What the dwell is worth.** Once Suspect, a reading between release and trip keeps the dwell running. Where the band between the two is
//! many times the noise, one wild reading is enough: the dwell does not filter noise there, however long it is, and the rate is that of
//! single readings beyond the trip limit. Where the band is narrow, every reading of the dwell must stay within it, and the rate falls with each.
//! [`in_a_row`] is the closed form of both.
//!
//! **What it does not say.** The rate holds for a pack that stands so and for noise that is independent from tick to tick. How often a sound
//! pack stands there, a survey says.

mod excursion;
pub mod lean;
pub mod splitting;

pub use excursion::{Standing, StandingError};

use serde::Serialize;
use splitting::Estimate;

/// How often a standing pack is accused, by one fault.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alarms {
    /// The fault's key.
    pub fault: String,
    /// Ticks in an hour.
    pub ticks_per_hour: f64,
    /// Of a tick at which the fault is Clear: that it begins an excursion which ends Confirmed.
    pub a_tick: Estimate,
    /// False alarms an hour.
    pub per_hour: f64,
    /// Lower end of its 95 % interval.
    pub low_per_hour: f64,
    /// Upper end.
    pub high_per_hour: f64,
}

/// The closed form for independent readings: that one tick begins an excursion that ends Confirmed, when a reading lies beyond the trip limit
/// with probability `beyond`, not within the release limit with probability `not_within`, and the dwell is so many ticks after the first.
#[must_use]
pub fn in_a_row(beyond: f64, not_within: f64, ticks: u32) -> f64 {
    beyond * libm::pow(not_within, f64::from(ticks))
}

#[cfg(test)]
mod tests;
