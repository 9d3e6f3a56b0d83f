//! How insulation is measured: the known resistor, the meters, and when a reading counts.

use super::Pack;
use super::digest::section;
use crate::units::{Amps, Millis, Ohms, Ratio, Volts};

section! {
    /// How insulation is measured. What names no source is common practice.
    InsulationFacts {
        /// The known resistor between a pole and the chassis: the required Ω/V times the nominal voltage, within 20 % (UN R100).
        known: Ohms,
        /// The divider by which each pole is measured, always there. It leaks too and is taken out of the result.
        meter: Ohms,
        /// Most Y-capacitance of pack and load together, all of it between the poles and the chassis, in nanofarads.
        nanofarads: u32,
        /// A reading is the mean over this time.
        window: Millis,
        /// A reading counts as settled while it can move no further than this part of the pack voltage.
        settled: Ratio,
        /// A reading that has not settled after this time is given up.
        patience: Millis,
        /// A pair of readings during which the pack voltage moved by this part of it is thrown away.
        moved: Ratio,
        /// There is no pack to measure below this voltage: the string is open.
        least: Volts,
        /// Time between the end of one pair of readings and the beginning of the next. While the last one was low there is none.
        pause: Millis,
        /// A result older than this says nothing any more: no pack closes on it, and while no younger one comes insulation is unknown.
        oldest: Millis,
        /// A current of this much into the pack charges it ...
        charging: Amps,
        /// ... from a charger, once it has flowed for this long: a lowering load feeds back for seconds. The charger has gone when it has
        /// not flowed for as long.
        charging_for: Millis,
        /// So many readings in a row below the first step make a fault.
        readings: u8,
        /// So many below the second step.
        readings_far: u8,
        /// Whether a pack without measuring points at its poles may close at all.
        unmeasured_closes: bool,
    }
}

impl InsulationFacts {
    pub(super) fn for_pack(pack: &Pack) -> Self {
        Self {
            known: two_digits(500_u32.saturating_mul(whole(pack.nominal))),
            meter: Ohms(2_000_000),
            nanofarads: 1_000,
            window: Millis(250),
            settled: Ratio::from_milli(3),
            patience: Millis(10_000),
            moved: Ratio::percent(2),
            least: pack.nominal.scaled(Ratio::percent(50)),
            pause: Millis(5_000),
            oldest: Millis::from_seconds(300),
            charging: pack.rate(5),
            charging_for: Millis::from_seconds(30),
            readings: 3,
            readings_far: 2,
            unmeasured_closes: true,
        }
    }

    /// The slowest time constant with which a pole settles: both meters side by side on all Y-capacitance. Leaks and the known resistor
    /// make it shorter.
    #[must_use]
    pub fn slowest(&self) -> Millis {
        let nanoseconds = (u64::from(self.meter.0) / 2).saturating_mul(self.nanofarads.into());
        millis(nanoseconds / 1_000_000)
    }

    /// The time after which the slowest reading is settled: `τ · ln(1/settled)`, and the windows in which that is seen. The logarithm is
    /// that of the next higher power of two: no shorter, and longer by ln 2 at most.
    #[must_use]
    pub fn settles_in(&self) -> Millis {
        // ln 2 = 0.693 < 710/1024.
        let halvings = match self.settled.bits() {
            bits if bits > 0 => 16_u32.saturating_sub(31_u32.saturating_sub(bits.leading_zeros())),
            _ => 16,
        };
        let settling = u64::from(self.slowest().0).saturating_mul(halvings.into()).saturating_mul(710) >> 10;
        millis(settling.saturating_add(u64::from(self.window.0).saturating_mul(3)))
    }
}

fn millis(whole: u64) -> Millis {
    Millis(u32::try_from(whole).unwrap_or(u32::MAX))
}

/// Whole volts.
fn whole(volts: Volts) -> u32 {
    u32::try_from(volts.milli() / 1_000).unwrap_or(0)
}

/// A resistor of two digits, the next below.
fn two_digits(ohms: u32) -> Ohms {
    let step = 10_u32.saturating_pow(ohms.checked_ilog10().unwrap_or(0).saturating_sub(1));
    Ohms(ohms.checked_div(step).unwrap_or(0).saturating_mul(step))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 500 Ω/V times 307 V are 153.5 kΩ, times 51 V 25.5 kΩ; 1 MΩ on 1 µF is 1 s.
    #[test]
    fn the_known_resistor_follows_the_pack() {
        let [crane, trainer] = [Pack::crane(), Pack::trainer()].map(|pack| InsulationFacts::for_pack(&pack));
        assert_eq!([crane.known, trainer.known], [Ohms(150_000), Ohms(25_000)]);
        assert_eq!(crane.slowest(), Millis(1_000));
        assert_eq!([two_digits(0), two_digits(99), two_digits(1_607)].map(|ohms| ohms.0), [0, 99, 1_600]);
    }
}
