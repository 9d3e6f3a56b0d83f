//! What is looked for in cells that rest.

use super::digest::section;
use crate::units::{Millis, Ratio, Volts};

section! {
    /// What is looked for in cells that rest. Figures are common practice, no source.
    RestRules {
        /// Whether a cell falls is judged from so many times that rest on which an open-circuit voltage needs: what relaxation has left
        /// halves with each.
        settled: u8,
        /// It is judged over so long, in both halves: what moved a reading once is in one of them only.
        fall_window: Millis,
        /// The voltages at the beginning and the end of each half are means over so long, which is what their noise asks for.
        fall_mean: Millis,
        /// A window counts for no more than so many times what its lesser half shows.
        most_of_lesser: Ratio,
        /// The least leak that is called a short, as a part of the capacity in an hour. Where the curve is steep, a fall counts only from what
        /// this leak makes of it.
        least_leak: Ratio,
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
            fall_mean: Millis::from_seconds(600),
            // One half has at least a quarter of what both make.
            most_of_lesser: Ratio::percent(400),
            // A cell that empties itself in four days. It makes less than 5 mV an hour from 15 to 90 % of the charge, and 29 mV at 99 %.
            least_leak: Ratio::percent(1),
            steep: Volts::from_milli(3),
            loss_between: Millis::from_seconds(24 * 3_600),
        }
    }
}
