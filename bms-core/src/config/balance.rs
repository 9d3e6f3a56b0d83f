//! When a cell may bleed.

use super::digest::section;
use super::{ConfigError, Pack};
use crate::units::{Celsius, Coulombs, Millis, Ratio};

section! {
    /// When a cell may bleed.
    BalanceRules {
        /// A cell must lie above the lowest cell's upper end by this much, for certain.
        margin: Coulombs,
        /// No cell bleeds that may be emptier than this.
        floor: Ratio,
        /// No cell bleeds below this temperature ...
        coldest: Celsius,
        /// ... or above this one.
        hottest: Celsius,
        /// Most cells of a module that bleed at once: its heat budget.
        most_per_module: u8,
        /// How often the choice is made anew.
        every: Millis,
        /// How long bleeding pauses in each period so that cells can be read.
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
        }
    }

    pub(super) fn check(&self, _: &Pack) -> Result<(), ConfigError> {
        if self.margin <= Coulombs::ZERO {
            return Err(ConfigError::NotPositive { field: "balance.margin" });
        }
        if self.pause >= self.every {
            return Err(ConfigError::OutOfOrder { smaller: "balance.pause", larger: "balance.every" });
        }
        Ok(())
    }
}
