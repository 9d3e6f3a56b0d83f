//! What is looked for in cells that rest.

use super::digest::section;
use crate::units::{Millis, Volts};

section! {
    /// What is looked for in cells that rest. Figures are common practice, no source.
    RestRules {
        /// Whether a cell falls is judged from so many times that rest on which an open-circuit voltage needs: what relaxation has left
        /// halves with each.
        settled: u8,
        /// It is judged over so long.
        fall_window: Millis,
        /// Charge lost from rest to rest is read only where the open-circuit voltage rises by so much for a hundredth of the charge.
        steep: Volts,
        /// So much time at least lies between two such readings.
        loss_between: Millis,
    }
}

impl RestRules {
    pub(super) fn usual() -> Self {
        Self {
            // An hour at 25 °C.
            settled: 2,
            fall_window: Millis::from_seconds(3_600),
            steep: Volts::from_milli(3),
            loss_between: Millis::from_seconds(24 * 3_600),
        }
    }
}
