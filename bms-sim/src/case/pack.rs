//! The packs that a case may be about: the physical facts for the world and the configuration for the firmware, under one name.

use crate::world::spec::PackSpec;
use bms_core::Config;
use serde::Serialize;

/// A pack of the demonstration scenario.
#[derive(Clone, Copy, Debug, Eq, PartialEq, Serialize, clap::ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Pack {
    /// The stacker crane's: 96 cells in series, 100 Ah, 8 modules.
    Crane,
    /// The training bench's: 16 cells in series, 20 Ah, 4 modules.
    Trainer,
}

impl Pack {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Crane, Self::Trainer];

    /// Its name in files and for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Crane => "crane",
            Self::Trainer => "trainer",
        }
    }

    /// What is bolted into it.
    #[must_use]
    pub fn spec(self) -> PackSpec {
        match self {
            Self::Crane => PackSpec::crane(),
            Self::Trainer => PackSpec::trainer(),
        }
    }

    /// What its firmware believes of it, with the usual limits.
    #[must_use]
    pub fn config(self) -> Config {
        match self {
            Self::Crane => Config::crane(),
            Self::Trainer => Config::trainer(),
        }
    }

    /// Cells in series.
    #[must_use]
    pub const fn cells(self) -> u64 {
        match self {
            Self::Crane => 96,
            Self::Trainer => 16,
        }
    }

    /// Sense wires: the cells below and above the fuse have a front end each, with one wire more than cells.
    #[must_use]
    pub const fn wires(self) -> u64 {
        self.cells() + 2
    }

    /// Thermistors.
    #[must_use]
    pub const fn thermistors(self) -> u64 {
        self.modules() * 2
    }

    /// Modules.
    #[must_use]
    pub const fn modules(self) -> u64 {
        match self {
            Self::Crane => 8,
            Self::Trainer => 4,
        }
    }

    /// Rated capacity in ampere-hours, which is also the current of 1C in amperes.
    #[must_use]
    pub const fn ampere_hours(self) -> f64 {
        match self {
            Self::Crane => 100.0,
            Self::Trainer => 20.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::spec::COULOMBS_AN_AMPERE_HOUR;

    /// The same facts stand in the world's specification and in the firmware's configuration.
    #[test]
    fn counts_and_capacity_agree_with_world_and_firmware() {
        for pack in Pack::ALL {
            let (spec, config) = (pack.spec(), pack.config());
            assert_eq!(spec.cells as u64, pack.cells());
            assert_eq!(spec.wires() as u64, pack.wires());
            assert_eq!(spec.modules() as u64, pack.modules());
            assert_eq!((spec.modules() * spec.thermistors_a_module) as u64, pack.thermistors());
            assert!(
                (spec.cell.capacity_coulombs / COULOMBS_AN_AMPERE_HOUR - pack.ampere_hours()).abs() < 1e-9
            );
            assert!((f64::from(config.pack.one_c.milli()) / 1_000.0 - pack.ampere_hours()).abs() < 1e-9);
            assert_eq!(u64::from(config.pack.modules), pack.modules());
        }
    }
}
