//! How sense wires are tested.

use super::digest::section;
use crate::units::{Millis, Volts};

section! {
    /// How sense wires are tested. Figures are common practice, no source.
    WireRules {
        /// How often the front end pulls its test current.
        every: Millis,
        /// How often while a wire is suspect, or was found and shows no more.
        again: Millis,
        /// So many tests in a row must find an open wire that the readings do not show.
        tests: u8,
        /// A cell that reads no more than this lies at the end of its channel, or its filter is empty: a further pull moves it no more.
        rail: Volts,
        /// A front end that gives no reading under the test current for so long is told of.
        answer: Millis,
    }
}

impl WireRules {
    pub(super) const fn usual() -> Self {
        Self {
            every: Millis::from_seconds(60),
            again: Millis(1_000),
            tests: 2,
            rail: Volts::from_milli(500),
            answer: Millis(1_000),
        }
    }
}
