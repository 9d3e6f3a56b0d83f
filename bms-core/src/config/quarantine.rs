//! What has to stay quiet after a fault that opening does not stop.

use super::digest::section;
use crate::units::{Celsius, Millis, Volts};

section! {
    /// What has to stay quiet after a fault that opening does not stop, and for how long. Figures are common practice, no source.
    QuarantineRules {
        /// Everything has to stay quiet for so long.
        quiet: Millis,
        /// Time between two frames counts as quiet up to so long; a longer one was not watched and counts nothing.
        longest_step: Millis,
        /// The hottest sensor may rise by so much in an hour: a warm day does, a cell that heats itself rises by more.
        rise: Celsius,
        /// A cell may fall against a typical one by so much an hour, beyond what relaxation and temperature may make.
        fall: Volts,
    }
}

impl QuarantineRules {
    pub(super) fn usual() -> Self {
        Self {
            quiet: Millis::from_seconds(24 * 3_600),
            longest_step: Millis::from_seconds(1_800),
            rise: Celsius::from_milli(3_000),
            fall: Volts::from_milli(2),
        }
    }
}
