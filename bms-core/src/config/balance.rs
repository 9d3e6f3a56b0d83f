//! When a cell may bleed.

use super::digest::section;
use super::{ConfigError, Pack};
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
        }
    }

    pub(super) fn check(&self, pack: &Pack) -> Result<(), ConfigError> {
        if self.margin <= Coulombs::ZERO {
            return Err(ConfigError::NotPositive { field: "balance.margin" });
        }
        if self.floor <= Ratio::ZERO {
            return Err(ConfigError::NotPositive { field: "balance.floor" });
        }
        if self.most_per_module == 0 {
            return Err(ConfigError::NotPositive { field: "balance.most_per_module" });
        }
        if self.pause < pack.tick {
            return Err(ConfigError::OutOfOrder { smaller: "pack.tick", larger: "balance.pause" });
        }
        if self.pause >= self.every {
            return Err(ConfigError::OutOfOrder { smaller: "balance.pause", larger: "balance.every" });
        }
        if self.coldest >= self.hottest {
            return Err(ConfigError::OutOfOrder { smaller: "balance.coldest", larger: "balance.hottest" });
        }
        if self.floor >= Ratio::ONE {
            return Err(ConfigError::OutOfOrder { smaller: "balance.floor", larger: "the whole" });
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;

    #[test]
    fn a_pause_that_no_tick_falls_into_is_refused() {
        let mut config = Config::trainer();
        config.balance.pause = Millis(9);
        let refused = config.check(16, 8).err();
        assert_eq!(refused, Some(ConfigError::OutOfOrder { smaller: "pack.tick", larger: "balance.pause" }));
    }

    #[test]
    fn a_floor_of_nothing_is_refused() {
        let mut config = Config::trainer();
        config.balance.floor = Ratio::ZERO;
        assert_eq!(config.check(16, 8).err(), Some(ConfigError::NotPositive { field: "balance.floor" }));
    }
}
