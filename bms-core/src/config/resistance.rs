//! What a healthy cell with its joint resists in a load step, and how much more is a fault.

use super::digest::section;
use crate::units::{Amps, Milliohms, Millis, Ratio};

section! {
    /// Resistance as a load step shows it: mean of a short time before the step against a window after the current has settled.
    ResistanceFacts {
        /// R0 and what shows of R1 in the window, for a cell at 25 °C.
        expected: Milliohms,
        /// Fixed part of the excess that is a fault: it does not scale with temperature, because a joint does not.
        excess: Milliohms,
        /// Part of the excess that scales with what is expected at the cell's temperature: a thermistor 3 °C off is 12 % at −25 °C.
        excess_of_expected: Ratio,
        /// A step must be at least this large.
        least_step: Amps,
        /// How long the mean before the step is taken.
        before: Millis,
        /// A current that moves for longer than this makes no step.
        longest_move: Millis,
        /// From the end of the current's movement to the start of the window after it.
        settle: Millis,
        /// How long the mean after the step is taken.
        after: Millis,
        /// The most the current may move inside a window, as a fraction of the step.
        steady: Ratio,
        /// A pack whose median is further than this factor from `expected` is judged against that bound instead: otherwise a fault of all cells
        /// at once would hide itself.
        median_within: u8,
        /// Steps in a row in which the cells must move against the current before its sign is accused. Common practice, no source.
        against: u8,
        /// Where the cells together show less of a step than this part of what the pack shows, their median is not trusted: half of them may
        /// stand still. Gains, cable and fuse stay well below the rest of it. Common practice, no source.
        accounted: Ratio,
    }
}

impl ResistanceFacts {
    /// Scaled from a 100 Ah cell of 0.7 mΩ R0 (memory; published class figures are 0.4 to 1.0 mΩ DC at 100 Ah).
    pub(super) fn for_capacity(milliamp_hours: i32) -> Self {
        let per_hundred_amp_hours = |micro_ohms: i32| {
            let scaled = i64::from(micro_ohms).saturating_mul(100_000).checked_div(i64::from(milliamp_hours));
            Milliohms::from_milli(scaled.map_or(i32::MAX, |scaled| i32::try_from(scaled).unwrap_or(i32::MAX)))
        };
        Self {
            expected: per_hundred_amp_hours(715),
            excess: per_hundred_amp_hours(1_500),
            excess_of_expected: Ratio::percent(25),
            least_step: Amps::from_milli(milliamp_hours).scaled(Ratio::percent(30)),
            before: Millis(50),
            // Common practice, no source.
            longest_move: Millis(500),
            settle: Millis(100),
            after: Millis(100),
            steady: Ratio::percent(5),
            median_within: 2,
            against: 3,
            accounted: Ratio::percent(75),
        }
    }
}
