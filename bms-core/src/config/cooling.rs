//! How it is found that cooling does not cool.

use super::digest::section;
use crate::units::{Celsius, Millis};

section! {
    /// How it is found that cooling does not cool. Figures are common practice, no source.
    CoolingRules {
        /// Whether the fan or pump has a tacho.
        tacho: bool,
        /// The tacho may say "standing" for so long while cooling is on, and over so long the temperature is watched.
        window: Millis,
        /// The temperature tells only from here on: at least 10 °C above the hottest surroundings in which the pack works, so that cooling
        /// must bring it down.
        hot_from: Celsius,
        /// By so much the hottest sensor of a pack without load must then fall in a window.
        least_fall: Celsius,
    }
}

impl CoolingRules {
    /// A cell of 100 Ah has 2 kJ/K and, with the fan running, some 0.5 W/K to the outside: 10 °C above it, it falls by 0.75 °C in 5 min,
    /// with a fifth of the air by 0.15 °C. A smaller cell falls faster.
    pub(super) fn usual() -> Self {
        Self {
            tacho: true,
            window: Millis::from_seconds(300),
            hot_from: Celsius::from_milli(50_000),
            least_fall: Celsius::from_milli(400),
        }
    }
}
