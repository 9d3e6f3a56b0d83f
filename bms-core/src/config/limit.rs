//! The rules that hold the current back.

use super::digest::section;
use super::{ConfigError, Pack};
use crate::fault::FaultLimits;
use crate::units::{Amps, Celsius, Milliohms, Millis, Ratio, Volts};

section! {
    /// What limits the current.
    LimitRules {
        /// Most charge current of a warm, half full pack.
        charge: Amps,
        /// Most discharge current of a warm, half full pack.
        discharge: Amps,
        /// How far the voltage rule looks ahead.
        ahead: Millis,
        /// What the voltage rule keeps to the first-step limits.
        margin: Volts,
        /// Highest credible resistance of a cell over the look-ahead at 25 °C.
        resistance: Milliohms,
        /// No charging below this.
        cold_charge_none: Celsius,
        /// Up to this, charging at `cold_charge_least`.
        cold_charge_some: Celsius,
        /// Up to this, charging at `cold_charge_more`.
        cold_charge_warm: Celsius,
        /// Charge current between `cold_charge_none` and `cold_charge_some`.
        cold_charge_least: Amps,
        /// Charge current between `cold_charge_some` and `cold_charge_warm`.
        cold_charge_more: Amps,
        /// From here on the current falls with temperature ...
        hot_from: Celsius,
        /// ... and is zero here.
        hot_none: Celsius,
        /// What Derate leaves of the limits.
        derate: Ratio,
        /// What is left when a reading that the rules need is missing.
        blind: Amps,
        /// The most a limit may rise or fall in one tick.
        step: Amps,
    }
}

impl LimitRules {
    pub(super) fn for_pack(pack: &Pack) -> Self {
        Self {
            charge: pack.rate(100),
            discharge: pack.rate(400),
            ahead: Millis::from_seconds(10),
            margin: Volts::from_milli(50),
            // 1.25 mΩ at 100 Ah: R0 and what shows of R1 and R2 in ten seconds, with a tenth to spare.
            resistance: Milliohms::from_bits(
                i64::from(pack.resistance.expected.bits())
                    .saturating_mul(7)
                    .checked_div(4)
                    .map_or(0, |bits| bits as i32),
            ),
            cold_charge_none: Celsius::ZERO,
            cold_charge_some: Celsius::from_milli(5_000),
            cold_charge_warm: Celsius::from_milli(15_000),
            cold_charge_least: pack.rate(20),
            cold_charge_more: pack.rate(50),
            hot_from: Celsius::from_milli(45_000),
            hot_none: Celsius::from_milli(60_000),
            derate: Ratio::percent(50),
            blind: pack.rate(20),
            step: pack.rate(10),
        }
    }

    pub(super) fn check(&self, _: &Pack, faults: &FaultLimits) -> Result<(), ConfigError> {
        if self.hot_from >= self.hot_none {
            return Err(ConfigError::OutOfOrder { smaller: "limits.hot_from", larger: "limits.hot_none" });
        }
        if self.cold_charge_none > self.cold_charge_some || self.cold_charge_some > self.cold_charge_warm {
            return Err(ConfigError::OutOfOrder {
                smaller: "limits.cold_charge_none, _some",
                larger: "limits.cold_charge_warm",
            });
        }
        if self.hot_none > faults.over_temperature_far.trip {
            return Err(ConfigError::OutOfOrder {
                smaller: "limits.hot_none",
                larger: "faults.over_temperature_far.trip",
            });
        }
        if self.step <= Amps::ZERO || self.resistance <= Milliohms::ZERO {
            return Err(ConfigError::NotPositive { field: "limits.step or resistance" });
        }
        Ok(())
    }
}
