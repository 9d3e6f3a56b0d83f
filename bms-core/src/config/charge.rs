//! Coulomb counting and its correction by the open-circuit voltage: what the bounds are made of.

use super::Pack;
use super::digest::section;
use crate::units::{Amps, Celsius, Milliohms, Millis, Ratio, Volts};

section! {
    /// What charge bounds rest on.
    ChargeFacts {
        /// Lowest capacity that a working cell may have, as a fraction of the rated one.
        capacity_least: Ratio,
        /// Highest capacity of a new cell, as a fraction of the rated one.
        capacity_most: Ratio,
        /// Most that the measuring front end draws from a cell.
        drain: Amps,
        /// Most that a healthy cell leaks by itself: 3 % a month of its capacity (published pack sheets).
        self_discharge: Amps,
        /// Current of one bleed resistor.
        bleed: Amps,
        /// Tolerance of that current.
        bleed_tolerance: Ratio,
        /// Rest that is needed at 25 °C before an open-circuit voltage is used.
        rest_warm: Millis,
        /// Rest that is needed in the cold ...
        rest_cold: Millis,
        /// ... from so far below `curve_temperature` on.
        rest_cold_by: Celsius,
        /// The current is averaged over so long before it is judged whether the pack rests: noise of the sensor is not a load.
        still_mean: Millis,
        /// All cells are compared again after so much more rest.
        compare_again: Millis,
        /// Worst error of the open-circuit curve between 15 and 90 % charge.
        curve_error: Volts,
        /// Worst error of the curve beyond that, where it is steep.
        curve_error_ends: Volts,
        /// Spread of the curve from cell to cell: what does not cancel in a difference between cells.
        curve_spread: Volts,
        /// Worst change of the open-circuit voltage with temperature, a kelvin away from 25 °C, in volts a kelvin.
        entropy: Volts,
        /// Half of the hysteresis between charging and discharging, at rest.
        hysteresis: Volts,
        /// After so much charge in one direction, as a part of the capacity, hysteresis holds the voltage on that side, whatever it was before.
        one_way: Ratio,
        /// So much may go the other way within that, and again after it.
        one_way_back: Ratio,
        /// After so much charge has gone through the pack, as a part of its capacity, every cell's hysteresis is that of the pack's own
        /// history.
        shared: Ratio,
        /// How far beyond full and empty a cell may be taken without being harmed at once, as a part of its capacity: a count that ended at
        /// full would be wrong for a cell that is a little overfull.
        beyond: Ratio,
        /// Polarisation left after the least rest, for the largest current before it; halves with every further rest of that length.
        relaxation: Volts,
        /// Highest credible resistance of a cell to a current that flows on and on, at 25 °C and any charge: what a current that the
        /// sensor cannot tell from none may drop at rest.
        still_resistance: Milliohms,
        /// Temperature that an entropy change is counted from.
        curve_temperature: Celsius,
    }
}

impl ChargeFacts {
    pub(super) fn for_pack(pack: &Pack) -> Self {
        Self {
            capacity_least: Ratio::percent(95),
            capacity_most: Ratio::percent(105),
            drain: Amps::from_milli(1),
            // 3 % in 720 h: one 24 000th of the hourly current.
            self_discharge: pack.one_c.scaled(Ratio::from_bits(3)),
            bleed: Amps::from_milli(100),
            bleed_tolerance: Ratio::percent(10),
            rest_warm: Millis::from_seconds(1_800),
            rest_cold: Millis::from_seconds(7_200),
            // At −25 °C. Common practice, no source, as are the two that follow.
            rest_cold_by: Celsius::from_milli(50_000),
            still_mean: Millis::from_seconds(10),
            compare_again: Millis::from_seconds(600),
            curve_error: Volts::from_milli(20),
            curve_error_ends: Volts::from_milli(10),
            curve_spread: Volts::from_milli(2),
            entropy: Volts::from_bits(16), // 0.25 mV
            hysteresis: Volts::from_milli(15),
            // Common practice, no source; of a tenth `e^(−5)` of a difference is left.
            one_way: Ratio::percent(5),
            one_way_back: Ratio::from_milli(5),
            shared: Ratio::percent(10),
            beyond: Ratio::percent(2),
            relaxation: Volts::from_milli(4),
            // All of R0, R1 and R2 is 2.4 times what a load step shows; twice that when nearly empty. Common practice, no source.
            still_resistance: pack.resistance.expected.scaled(Ratio::from_milli(5_000)),
            curve_temperature: Celsius::from_milli(25_000),
        }
    }
}
