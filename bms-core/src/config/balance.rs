//! When a cell may bleed.

use super::Pack;
use super::digest::section;
use crate::units::{Celsius, Coulombs, Millis, Ratio};

section! {
    /// When a cell may bleed. Figures are common practice, no source.
    BalanceRules {
        /// For certain, a cell must miss less than the emptiest cell by more than this.
        margin: Coulombs,
        /// No cell bleeds that may be emptier than this.
        floor: Ratio,
        /// No cell bleeds below this temperature ...
        coldest: Celsius,
        /// ... or above this one.
        hottest: Celsius,
        /// Most cells of a module that bleed at once: its heat budget. At 3.3 V and 0.1 A a cell makes 0.33 W.
        most_per_module: u8,
        /// How often the choice is made anew.
        every: Millis,
        /// Observations in a row, one a second, that make a bleed switch stuck: 1 to 3.
        stuck_after: u8,
        /// How long bleeding pauses at the end of each period so that cells can be read.
        pause: Millis,
    }
}

impl BalanceRules {
    pub(super) fn for_pack(pack: &Pack) -> Self {
        Self {
            margin: pack.capacity.scaled(Ratio::from_milli(5)),
            floor: Ratio::percent(30),
            coldest: Celsius::ZERO,
            hottest: Celsius::from_milli(45_000),
            most_per_module: pack.cells_per_module,
            every: Millis::from_seconds(10),
            pause: Millis::from_seconds(1),
            stuck_after: 3,
        }
    }
}
