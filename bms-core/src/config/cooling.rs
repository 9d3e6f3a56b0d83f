//! How it is found that cooling does not cool.

use super::digest::section;
use crate::units::{Celsius, Millis, Ratio};

section! {
    /// How it is found that cooling does not cool. Figures are common practice, no source.
    CoolingRules {
        /// Whether the fan or pump has a tacho.
        tacho: bool,
        /// From this temperature of the hottest sensor on cooling runs, without any fault: well below the limit of over-temperature, well above
        /// a warm dock.
        from: Celsius,
        /// The tacho may say "standing" for so long while cooling is on, and over so long the temperature is watched.
        window: Millis,
        /// A mean at either end of the window is taken of so many readings, one a second.
        mean: u8,
        /// The hottest surroundings in which the pack works. They are not measured, and nothing cools below them.
        surroundings: Celsius,
        /// The temperature tells only from here on: so far above the surroundings that cooling must bring it down.
        hot_from: Celsius,
        /// Below this a pack that did not get colder is no longer hot.
        hot_until: Celsius,
        /// By so much of what it is above the surroundings the hottest sensor of a pack without load must fall in a window.
        least_fall: Ratio,
    }
}

impl CoolingRules {
    /// A cell of 100 Ah has 2 kJ/K and, with the fan running, some 0.5 W/K to the outside. In 5 min it falls by 7 % of what it is above it, with
    /// a fifth of the air by 1.5 %: 0.35 or 0.075 °C of the 5 °C at which it is looked at. A smaller cell falls faster.
    pub(super) fn usual() -> Self {
        Self {
            tacho: true,
            from: Celsius::from_milli(35_000),
            window: Millis::from_seconds(300),
            // A tenth of a degree of noise becomes a fiftieth, of falls of a third.
            mean: 30,
            surroundings: Celsius::from_milli(45_000),
            hot_from: Celsius::from_milli(50_000),
            hot_until: Celsius::from_milli(47_000),
            least_fall: Ratio::percent(4),
        }
    }
}
