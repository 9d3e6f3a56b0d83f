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
//! An excursion begins when the fault becomes Suspect and ends Confirmed or Clear. Its beginning, a reading beyond the trip limit, may
//! be very unlikely: there the noise of one channel [leans](lean). The way through the dwell may be too, for a dwell forgets everything when a reading is
//! inside the release limit: there the way is [split](splitting). Both are unbiased, and so is their product, since the copies
//! are chosen by their weights. An hour means an hour in which the fault is Clear: plain sampling counts the same ([`Standing::watched`]).
//!
//! **What the dwell is worth.** Once Suspect, a reading between release and trip keeps the dwell running. Where the band between the two is
//! many times the noise, one wild reading is enough: the dwell does not filter noise there, however long it is, and the rate is that of
//! single readings beyond the trip limit. Where the band is narrow, every reading of the dwell must stay within it, and the rate falls with each.
//! [What can be calculated](closed) has both, and a third way: readings that are smoothed before they are judged.
//!
//! **Three faults** of the core stand near their default limits in [`situations`]; [`rates`] finds their rates piece by piece, and [`page`] says
//! them beside what is calculated and what plain sampling counts. `bms-sim rates` does it; `examples/false-alarm-rates.md` is what it says.
//!
//! **What it saves.** Two current sensors that differ by 1.4 A less than the limit: a false alarm in some hours, which plain sampling still
//! meets. So long until the interval of 95 % is ± 10 % wide, on one thread (x86-64 at 2.6 GHz, side by side in one run of
//! `cargo bench -p bms-sim --bench speed -- rare`):
//!
//! | plain sampling | splitting alone | leaning alone | both |
//! | --- | --- | --- | --- |
//! | 782 s | 233 s | 0.7 s | 1.0 s |
//!
//! Here most of the way is the first reading, so leaning does nearly all of it; the rarer the alarm, the more each of them saves.
//!
//! **What it does not say.** The rate holds for a pack that stands so and for noise that is independent from tick to tick. How often a sound
//! pack stands there, a survey says.

pub mod closed;
mod excursion;
pub mod lean;
pub mod page;
pub mod rates;
pub mod situations;
pub mod splitting;

pub use excursion::{Standing, StandingError, Watched};

#[cfg(test)]
mod tests;
