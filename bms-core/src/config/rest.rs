//! What is looked for in cells that rest.

use super::digest::section;
use crate::units::Millis;

section! {
    /// What is looked for in cells that rest. Figures are common practice, no source.
    RestRules {
        /// Whether a cell falls is judged from so many times that rest on which an open-circuit voltage needs: what relaxation has left
        /// halves with each.
        settled: u8,
        /// It is judged over so long.
        fall_window: Millis,
    }
}

impl RestRules {
    pub(super) fn usual() -> Self {
        Self {
            // An hour at 25 °C.
            settled: 2,
            fall_window: Millis::from_seconds(3_600),
        }
    }
}
