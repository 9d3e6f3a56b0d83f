//! The rules that hold the current back.

use super::Pack;
use super::digest::section;
use crate::units::{Amps, Celsius, Milliohms, Millis, Ratio, Volts};

section! {
    /// What limits the current. Figures are common practice, no source, unless one is named; currents are amounts.
    LimitRules {
        /// Most charge current of a warm, half full pack.
        charge: Amps,
        /// Most discharge current of a warm, half full pack.
        discharge: Amps,
        /// How far the voltage rule looks ahead: the time that `resistance` is for. No limit is worked out from it, since `resistance` holds
        /// what shows in that time, so the two change together; the check asks whether a limit can fall within it.
        ahead: Millis,
        /// A load follows a limit within this time.
        follows: Millis,
        /// What the voltage rule keeps to the first-step limits.
        margin: Volts,
        /// Highest credible resistance of a healthy cell with its joint over the look-ahead, at 25 °C.
        resistance: Milliohms,
        /// No charging up to this.
        cold_charge_none: Celsius,
        /// Rising to `cold_charge_least` here.
        cold_charge_some: Celsius,
        /// Rising to `cold_charge_more` here.
        cold_charge_warm: Celsius,
        /// Rising to the whole `charge` here.
        cold_charge_full: Celsius,
        /// Charge current at `cold_charge_some`, and the most below it.
        cold_charge_least: Amps,
        /// Charge current at `cold_charge_warm`, and the most below it.
        cold_charge_more: Amps,
        /// From here on the current falls with temperature ...
        hot_from: Celsius,
        /// ... and is zero here: below the first over-temperature limit, so that work alone never reaches that.
        hot_none: Celsius,
        /// Above this charge state the charge current falls ...
        near_full: Ratio,
        /// ... and below this one the discharge current.
        near_empty: Ratio,
        /// What is left of either at the end.
        end: Amps,
        /// Width of a cell's charge interval, as a part of the rated capacity, up to which its worse end counts in full.
        known: Ratio,
        /// From this used part of the heat budget on the current falls ...
        heat_from: Ratio,
        /// ... to 1C here, which uses no more of it.
        heat_full: Ratio,
        /// What Derate leaves of what the other rules allow.
        derate: Ratio,
        /// The most while the pack is too cold to work.
        too_cold: Amps,
        /// What is left when a reading that the rules need is missing.
        blind: Amps,
        /// The most a limit may rise or fall in one tick.
        step: Amps,
        /// A load that has had time to follow may pass the limit by this part of it, or by the limit of `limit not obeyed` where that is more ...
        overrun: Ratio,
        /// ... and by this part, or by that of its second step.
        overrun_far: Ratio,
        /// Where the part is more, the load obeys again within this part of it.
        overrun_back: Ratio,
    }
}

impl LimitRules {
    pub(super) fn for_pack(pack: &Pack) -> Self {
        Self {
            charge: pack.rate(100),
            discharge: pack.rate(400),
            ahead: Millis::from_seconds(10),
            follows: Millis(200),
            margin: Volts::from_milli(50),
            // 1.14 mΩ at 100 Ah: R0 with its joint, 0.75 mΩ, and what shows in ten seconds of 0.4 mΩ with a time constant of
            // 5 s (86 %) and of 0.6 mΩ with 120 s (8 %). Values of the class, from memory.
            resistance: pack.resistance.expected.scaled(Ratio::percent(160)),
            cold_charge_none: Celsius::ZERO,
            cold_charge_some: Celsius::from_milli(5_000),
            cold_charge_warm: Celsius::from_milli(15_000),
            cold_charge_full: Celsius::from_milli(20_000),
            cold_charge_least: pack.rate(20),
            cold_charge_more: pack.rate(50),
            hot_from: Celsius::from_milli(45_000),
            hot_none: Celsius::from_milli(54_000),
            near_full: Ratio::percent(95),
            near_empty: Ratio::percent(10),
            end: pack.rate(10),
            known: Ratio::percent(20),
            heat_from: Ratio::percent(50),
            heat_full: Ratio::percent(75),
            derate: Ratio::percent(50),
            too_cold: pack.rate(20),
            blind: pack.rate(20),
            step: pack.rate(10),
            overrun: Ratio::percent(10),
            overrun_far: Ratio::percent(30),
            overrun_back: Ratio::percent(90),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::config::Config;

    /// 0.75 + 0.4 · (1 − e⁻²) + 0.6 · (1 − e^(−1/12)) = 0.75 + 0.346 + 0.048 = 1.144 mΩ, worked by hand.
    #[test]
    fn the_resistance_over_the_look_ahead_is_what_its_pairs_show() {
        assert_eq!(Config::crane().limits.resistance.milli(), 1_144);
    }
}
