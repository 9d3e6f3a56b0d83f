//! # How long the pack has rested
//!
//! Decides whether cell voltages may be taken for open-circuit voltages. The pack rests while the mean of each ten seconds of
//! current is no more than the sensor's own worst error: then nothing else can be told from no current. The true current may
//! still be twice that error, and what it drops is part of the voltage's error.
//!
//! The rest that is needed grows in the cold, in a straight line from 25 down to −25 °C, because relaxation is slower there.
//! A current above a twentieth of C, or a reading lost for longer than a second, ends the rest at once.

use super::{Moment, StringCurrent};
use crate::config::ChargeFacts;
use crate::units::{Celsius, Coulombs, Millis, Ratio, Volts};

/// Time at rest, judged block by block.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Rest {
    moved: Coulombs,
    credible: Coulombs,
    time: Millis,
    rested: Millis,
}

impl Rest {
    pub(super) const NONE: Self =
        Self { moved: Coulombs::ZERO, credible: Coulombs::ZERO, time: Millis::ZERO, rested: Millis::ZERO };

    /// Takes one reading with its worst error; nothing is credited for a missing one. Proof counts for all the time since the
    /// frame before, a reading only for what it credits.
    pub(super) fn advance<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        moment: &Moment<'_, CELLS, THERMISTORS>,
    ) {
        let (Some(current), believed, config) = (&moment.current, moment.believed, moment.config) else {
            return;
        };
        let credit = if current.proven { believed.elapsed } else { believed.credit };
        let calm = believed.current.is_some_and(|reading| reading.calm > Millis::ZERO);
        self.take(current, credit, calm, config.charge.still_mean);
    }

    fn take(&mut self, current: &StringCurrent, credit: Millis, calm: bool, mean: Millis) {
        if !calm && !current.proven {
            *self = Self::NONE;
            return;
        }
        self.moved = self.moved + current.amps.over(credit);
        self.credible = self.credible + current.error.over(credit);
        self.time = self.time + credit;
        if self.time >= mean {
            let still = self.moved.abs() <= self.credible;
            let rested = if still { self.rested + self.time } else { Millis::ZERO };
            *self = Self { rested, ..Self::NONE };
        }
    }

    /// Full blocks of rest.
    pub(super) const fn rested(&self) -> Millis {
        self.rested
    }
}

/// The rest that is needed at this temperature.
pub(super) fn needed(coldest: Option<Celsius>, facts: &ChargeFacts) -> Millis {
    let by = facts.rest_cold_by;
    let below = coldest.map_or(by, |coldest| facts.curve_temperature - coldest);
    let depth = below.held_between(Celsius::ZERO, by).fraction_of(by).unwrap_or(Ratio::ONE);
    let more = u64::from((facts.rest_cold - facts.rest_warm).0)
        .saturating_mul(u64::try_from(depth.bits()).unwrap_or(0))
        >> 16;
    facts.rest_warm + Millis(u32::try_from(more).unwrap_or(u32::MAX))
}

/// What is left of relaxation: the stated bound after the least rest, half of it after each further one.
pub(super) fn relaxation(rested: Millis, needed: Millis, facts: &ChargeFacts) -> Volts {
    let halvings = rested.0.checked_div(needed.0).unwrap_or(0).saturating_sub(1).min(31);
    // Rounded up: the bound never vanishes altogether.
    Volts::from_bits((facts.relaxation.bits() >> halvings).saturating_add(1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;

    const MEAN: Millis = Millis::from_seconds(10);

    fn after(rest: &mut Rest, milliamps: i32, ticks: u32) -> Millis {
        let reading = super::super::tests::reading(milliamps);
        let current = StringCurrent { amps: reading.amps, error: reading.error, proven: false };
        for _ in 0..ticks {
            rest.take(&current, Millis(10), reading.calm > Millis::ZERO, MEAN);
        }
        rest.rested()
    }

    #[test]
    fn proof_counts_across_a_gap_between_frames() {
        let mut rest = Rest::NONE;
        let none =
            StringCurrent { amps: crate::units::Amps::ZERO, error: crate::units::Amps::ZERO, proven: true };
        rest.take(&none, Millis(20_000), false, MEAN);
        assert_eq!(rest.rested(), Millis(20_000));
    }

    #[test]
    fn what_the_sensor_cannot_tell_from_nothing_is_rest() {
        let mut rest = Rest::NONE;
        assert_eq!(after(&mut rest, 99, 2_000), Millis(20_000));
        assert_eq!(after(&mut rest, -99, 999), Millis(20_000));
        assert_eq!(after(&mut rest, 300, 1_001), Millis::ZERO);
    }

    #[test]
    fn a_load_ends_the_rest_at_once() {
        let mut rest = Rest::NONE;
        after(&mut rest, 0, 2_000);
        assert_eq!(after(&mut rest, -20_000, 1), Millis::ZERO);
    }

    /// By the configuration 30 min at 25 °C and 2 h at −25 °C; half way 75 min; unknown counts as cold.
    #[test]
    fn the_cold_needs_longer() {
        let facts = Config::crane().charge;
        let at = |milli: i32| needed(Some(Celsius::from_milli(milli)), &facts).0 / 1_000;
        assert_eq!(
            [at(40_000), at(25_000), at(0), at(-25_000), at(-40_000)],
            [1_800, 1_800, 4_500, 7_200, 7_200]
        );
        assert_eq!(needed(None, &facts), facts.rest_cold);
    }

    #[test]
    fn relaxation_halves_with_each_further_rest() {
        let facts = Config::crane().charge;
        let left = |rested| relaxation(Millis(rested), Millis(1_000), &facts).milli();
        assert_eq!([left(1_000), left(1_999), left(2_000), left(3_500)], [4, 4, 2, 1]);
        assert!(relaxation(Millis::MAX, Millis(1), &facts) > Volts::ZERO);
    }
}
