//! Contactors, precharge resistor and link: values, deadlines and limits.

use super::digest::section;
use crate::sequence::decay;
use crate::units::{Amps, Celsius, Millis, Ohms, Ratio, Volts};

section! {
    /// The contactors and the link.
    SequenceFacts {
        /// Precharge resistor.
        precharge_ohms: Ohms,
        /// Bleed-down resistor across the link.
        bleed_down_ohms: Ohms,
        /// Link capacitance in microfarads.
        link_microfarads: u32,
        /// Time constant of the floating link behind its dividers: half a divider times the capacitance to chassis.
        floating_time_constant: Millis,
        /// Longest pull-in of a contactor, bounce included.
        pull_in: Millis,
        /// Longest release of a contactor.
        release: Millis,
        /// The link is charged within this fraction of the pack ...
        end_fraction: Ratio,
        /// ... or within this voltage, whichever is smaller.
        end_volts: Volts,
        /// No rise for so long after the coil: flat.
        flat_after: Millis,
        /// A link that rises by less than this part of the pack in a time constant, and is not charged yet, stalls.
        least_rise: Ratio,
        /// Precharge must be over after so many time constants.
        time_constants: u8,
        /// A step that expects a change has so long for it.
        step_deadline: Millis,
        /// While all is closed, pack and link must differ for so long until a contactor counts as open.
        differs_for: Millis,
        /// Contactors may be opened below this current.
        switching_limit: Amps,
        /// How long OpenSoon waits for the current to fall.
        grace: Millis,
        /// How long it waits when the auxiliary supply is low: the coils would soon drop out by themselves.
        supply_grace: Millis,
        /// Contactors must not break more than this.
        breaking_limit: Amps,
        /// How long OpenNow waits for the fuse above the breaking limit.
        fuse_wait: Millis,
        /// Touch limit of the link.
        touch_limit: Volts,
        /// A pack that never reaches the touch limit is live above this part of its nominal voltage.
        live_fraction: Ratio,
        /// The link must be below the touch limit so long after opening.
        dead_after: Millis,
        /// Closing needs at least this auxiliary supply.
        supply_for_closing: Volts,
        /// Below this the supply is low while a coil pulls in: its current makes the supply sag.
        supply_at_pull_in: Volts,
        /// How long after a coil is switched on that holds; from then on `faults.supply_low` does.
        supply_sag: Millis,
        /// Starts that may fail in a row before closing waits for a clear.
        retries: u8,
        /// Pause after a failed start.
        retry_pause: Millis,
        /// Temperature rise of the resistor for one full start, by its heat capacity.
        resistor_rise_per_start: Celsius,
        /// Most rise of the resistor with which it is used.
        resistor_rise_most: Celsius,
        /// Time constant with which the resistor cools.
        resistor_cooling: Millis,
    }
}

impl SequenceFacts {
    /// The crane: 50 Ω, 1 mF, 2.5 kΩ at 307 V.
    #[must_use]
    pub fn crane() -> Self {
        Self::of(Ohms(50), Ohms(2_500), 1_000)
    }

    /// The training bench: 10 Ω, 5 mF, 500 Ω at 51 V, and contactors of half the size.
    #[must_use]
    pub fn trainer() -> Self {
        let breaking_limit = Amps::from_milli(1_000_000);
        Self { breaking_limit, ..Self::of(Ohms(10), Ohms(500), 5_000) }
    }

    /// Usual contactors around these resistors and this link (microfarads).
    #[must_use]
    pub fn of(precharge_ohms: Ohms, bleed_down_ohms: Ohms, link_microfarads: u32) -> Self {
        Self {
            precharge_ohms,
            bleed_down_ohms,
            link_microfarads,
            floating_time_constant: Millis(100),
            pull_in: Millis(40),
            release: Millis(20),
            end_fraction: Ratio::percent(5),
            end_volts: Volts::from_milli(20_000),
            flat_after: Millis(100),
            // A healthy one still rises by 3 % or more. Common practice, no source, as are the next two.
            least_rise: Ratio::percent(2),
            time_constants: 6,
            step_deadline: Millis(500),
            differs_for: Millis(50),
            switching_limit: Amps::from_milli(10_000),
            grace: Millis(2_000),
            supply_grace: Millis(200),
            breaking_limit: Amps::from_milli(2_000_000),
            fuse_wait: Millis(1_000),
            touch_limit: Volts::from_milli(60_000),
            live_fraction: Ratio::percent(25),
            dead_after: Millis(5_000),
            supply_for_closing: Volts::from_milli(10_000),
            supply_at_pull_in: Volts::from_milli(7_000),
            supply_sag: Millis(250),
            retries: 3,
            retry_pause: Millis(5_000),
            resistor_rise_per_start: Celsius::from_milli(30_000),
            resistor_rise_most: Celsius::from_milli(90_000),
            resistor_cooling: Millis(60_000),
        }
    }

    /// Where the link ends when it charges through the resistor against the bleed-down: `R_d / (R_pre + R_d)`.
    #[must_use]
    pub fn end_ratio(&self) -> Ratio {
        let whole = u64::from(self.precharge_ohms.0).saturating_add(u64::from(self.bleed_down_ohms.0));
        let bits = (u64::from(self.bleed_down_ohms.0) << 16).checked_div(whole).unwrap_or(0);
        Ratio::from_wide(i64::try_from(bits).unwrap_or(i64::MAX))
    }

    /// Time constant of the charging link: `k · R_pre · C`, with k the end ratio.
    #[must_use]
    pub fn time_constant(&self) -> Millis {
        let micros = u64::from(self.precharge_ohms.0).saturating_mul(u64::from(self.link_microfarads));
        let scaled = micros.saturating_mul(u64::try_from(self.end_ratio().bits()).unwrap_or(0)) >> 16;
        Millis(u32::try_from(scaled / 1_000).unwrap_or(u32::MAX))
    }

    /// Time constant of the discharging link: `R_d · C`.
    #[must_use]
    pub fn discharge_time_constant(&self) -> Millis {
        let micros = u64::from(self.bleed_down_ohms.0).saturating_mul(u64::from(self.link_microfarads));
        Millis(u32::try_from(micros / 1_000).unwrap_or(u32::MAX))
    }

    /// What the charged link lacks of this pack voltage for ever: `(1 − k) · V`, with k the end ratio.
    #[must_use]
    pub fn shortage(&self, pack: Volts) -> Volts {
        pack.scaled(Ratio::ONE - self.end_ratio())
    }

    /// Above this the link of a pack is live: `touch_limit`, or `live_fraction` of the pack where that is less.
    #[must_use]
    pub fn live_above(&self, nominal: Volts) -> Volts {
        self.touch_limit.min(nominal.scaled(self.live_fraction))
    }

    /// What is left of this pack voltage at the link when it must be dead: `V · e^(−t / (R_d · C))`, with t `dead_after`.
    #[must_use]
    pub fn left_when_dead(&self, pack: Volts) -> Volts {
        pack.scaled(decay(self.dead_after, self.discharge_time_constant()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: 2 500 / 2 550 = 98.04 %, 0.9804 × 50 Ω × 1 mF = 49.0 ms, 2.5 kΩ × 1 mF = 2.5 s.
    #[test]
    fn the_crane_divides_as_worked_by_hand() {
        let crane = SequenceFacts::crane();
        assert_eq!(crane.end_ratio().milli(), 980);
        assert_eq!(crane.time_constant(), Millis(49));
        assert_eq!(crane.discharge_time_constant(), Millis(2_500));
    }
}
