//! The readings of two frames, side by side.

use crate::explain::channels::{self, Channel};
use crate::world::spec::SensorSpec;
use bms_core::Frame;

/// A reading that separates two worlds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// What is read.
    pub channel: Channel,
    /// When, in seconds from the start.
    pub seconds: f64,
    /// The reading here.
    pub here: f64,
    /// The reading there.
    pub there: f64,
}

/// The channels that separate two frames for the first time, beside those that are known.
pub(super) fn differences<const CELLS: usize, const THERMISTORS: usize>(
    frames: (&Frame<CELLS, THERMISTORS>, &Frame<CELLS, THERMISTORS>),
    sensors: &SensorSpec,
    seconds: f64,
    known: &[Difference],
) -> Vec<Difference> {
    let mut found = Vec::new();
    channels::each(frames, sensors, |channel, (here, there), grain| {
        let apart = (here - there).abs() > grain.noise();
        if apart && !known.iter().any(|known| known.channel == channel) {
            found.push(Difference { channel, seconds, here, there });
        }
    });
    found
}
