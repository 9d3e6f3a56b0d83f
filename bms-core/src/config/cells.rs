//! How cell voltages are judged beside their limits.

use super::digest::section;
use crate::units::{Celsius, Millis, Ratio, Volts};

section! {
    /// How cell voltages are judged beside their limits. Unless a source is named, figures are common practice, no source.
    CellRules {
        /// By how much the limits of under-voltage fall in the cold. Source: a cell sheet (Lishen LP54173207-202Ah, 2020-03-09) cuts off at
        /// 2.5 V above 0 °C and at 2.0 V at or below.
        cold_reduction: Volts,
        /// They hold in full from 0 °C up and have fallen by all of it here, linear in between.
        cold_full: Celsius,
        /// The spread is judged after so much time of no more than `sensing.calm`: then it means charge and not resistance.
        spread_after: Millis,
        /// The curve is flat from this state of charge ...
        flat_from: Ratio,
        /// ... to this one, where the limits of the spread hold.
        flat_to: Ratio,
        /// Where not every cell is known to lie between the two, healthy cells lie further apart: so many times the limits are allowed.
        steep_times: u8,
    }
}

impl CellRules {
    pub(crate) const fn usual() -> Self {
        Self {
            cold_reduction: Volts::from_milli(500),
            cold_full: Celsius::from_milli(-20_000),
            spread_after: Millis::from_seconds(300),
            flat_from: Ratio::percent(20),
            flat_to: Ratio::percent(90),
            steep_times: 3,
        }
    }

    /// By how much the limits from below have fallen at this temperature.
    pub(crate) fn reduction_at(&self, celsius: Celsius) -> Volts {
        let depth = celsius.held_between(self.cold_full, Celsius::ZERO).fraction_of(self.cold_full);
        self.cold_reduction.scaled(depth.unwrap_or(Ratio::ZERO))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Full from 0 °C up, half a volt from −20 °C down, a quarter half way.
    #[test]
    fn the_limits_fall_in_the_cold() {
        let at = |milli| CellRules::usual().reduction_at(Celsius::from_milli(milli)).milli();
        assert_eq!([at(25_000), at(0), at(-20_000), at(-40_000)], [0, 0, 500, 500]);
        assert_eq!(at(-10_000), 250);
    }
}
