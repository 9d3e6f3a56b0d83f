//! # Blind although nothing is out of bounds?
//!
//! A protection that has lost its only measurement protects nobody: the next danger of its kind comes unseen. Whether it has is found out
//! by supposing the danger in truth and looking at what the sensors would show:
//!
//! | supposed of the whole pack | seen when | blind is |
//! | --- | --- | --- |
//! | cells at the highest voltage that is safe | the cell reads at least its second over-voltage limit | the cell |
//! | cells at the lowest voltage that is safe | the cell reads at most its second under-voltage limit | the cell |
//! | cells at the highest temperature that is safe | a sensor of the module, not at a rail, reads at least the second limit | the module |
//! | cells 5 °C too cold to be charged | a sensor of the module, not at a rail, reads below the limit of charging | the module |
//! | half as much current again as trips at once, either way | one of the two channels reads at least the trip | the current |
//! | a link half as high again as is called live | the link's reading is at least what is called live | touch |
//! | a leak at a pole | the poles' readings add up to the pack's, or the firmware throws them away | insulation |
//!
//! A part of a frame that comes too old to be believed shows nothing, whatever is in it: one that stands still, all of a frame that is
//! late by more than the oldest age, all of it when so many frames are lost that the last one is too old on average.
//!
//! A reading that lies but would still tell of the danger blinds nobody, and one of two sensors is enough. What a defect does to a sensor
//! is not asked: only what the sensor shows.

use crate::world::World;
use crate::world::deviation::{TransitDeviation, age_mut};
use crate::world::probe::Supposed;
use crate::world::spec::PackSpec;
use crate::world::thermistor;
use bms_core::Config;
use bms_core::Frame;
use bms_core::sense::PartName;
use bms_core::units::Millis;

/// A protection without any measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Blind {
    /// What is not seen any more.
    pub unseen: Unseen,
    /// When it was found, in seconds of the world's time.
    pub seconds: f64,
}

/// What would not be seen.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Unseen {
    /// A voltage of this cell (from 0) that is too high.
    CellHigh(usize),
    /// A voltage of this cell that is too low.
    CellLow(usize),
    /// That a module (from 0) is too hot.
    ModuleHot(usize),
    /// That a module is too cold to be charged.
    ModuleCold(usize),
    /// Too much current into the pack.
    Charge,
    /// Too much current out of it.
    Discharge,
    /// That the link is live to touch.
    LinkLive,
    /// A leak to the chassis.
    Leak,
}

/// So much colder than the limit of charging, in °C: more than a sensor's error.
const COLDER: f64 = 5.0;

/// So many times the current that trips at once, and the voltage that makes a link live.
const MORE: f64 = 1.5;

/// The first protection of this pack that has lost its only measurement at this moment, in the order of the table.
#[must_use]
pub fn look<const CELLS: usize, const THERMISTORS: usize>(
    world: &World<CELLS, THERMISTORS>,
    config: &Config,
) -> Option<Blind> {
    let (bounds, spec, limits) = (&world.spec().safe, world.spec(), &config.faults);
    let milli = |thousandths: i32| f64::from(thousandths) / 1_000.0;
    let charge = milli(limits.over_current_charge.trip.milli());
    let discharge = milli(limits.over_current_discharge.trip.milli());
    let too_cold = milli(limits.charging_too_cold.trip.milli());
    let pack = milli(config.pack.nominal.milli());
    let part = milli(config.sequence.live_fraction.milli());
    let live = milli(limits.link_stays_live.trip.milli()).min(part * pack);
    let shown = |supposed| reaching(world.suppose(supposed), &world.deviations().transit, config);
    let high = shown(Supposed {
        cell_volts: bounds.cell_high_volts,
        cell_celsius: bounds.cell_celsius,
        amps: MORE * charge,
        link_volts: MORE * live,
    });
    let low = shown(Supposed {
        cell_volts: bounds.cell_low_volts,
        cell_celsius: too_cold - COLDER,
        amps: -MORE * discharge,
        link_volts: 0.0,
    });
    let unseen_cell = |frame: &Frame<CELLS, THERMISTORS>, seen: &dyn Fn(i32) -> bool| {
        let stale = frame.cells.within(config.pack.oldest_age).is_none();
        frame.cells.value.iter().position(|volts| stale || !seen(volts.milli()))
    };
    let unseen_module = |frame: &Frame<CELLS, THERMISTORS>, seen: &dyn Fn(f64) -> bool| {
        let stale = frame.thermistors.within(config.pack.oldest_age).is_none();
        let ratios: Vec<f64> =
            frame.thermistors.value.iter().map(|ratio| f64::from(ratio.parts_per_million()) / 1e6).collect();
        ratios
            .chunks(spec.thermistors_a_module)
            .position(|sensors| stale || !sensors.iter().any(|ratio| seen(*ratio)))
    };
    let seen_current = |frame: &Frame<CELLS, THERMISTORS>, seen: &dyn Fn(f64) -> bool| {
        let channels = [&frame.current, &frame.current_check];
        let fresh = channels.into_iter().filter_map(|channel| channel.within(config.pack.oldest_age));
        fresh.into_iter().any(|amps| seen(milli(amps.milli())))
    };
    let hot = rail_to(spec, milli(limits.over_temperature_far.trip.milli()));
    let cold = rail_to(spec, too_cold);
    let rail = f64::from(config.sensing.rail.parts_per_million()) / 1e6;
    let unseen = unseen_cell(&high, &|volts| volts >= limits.cell_over_voltage_far.trip.milli())
        .map(Unseen::CellHigh)
        .or_else(|| {
            unseen_cell(&low, &|volts| volts <= limits.cell_under_voltage_far.trip.milli())
                .map(Unseen::CellLow)
        })
        .or_else(|| unseen_module(&high, &|ratio| ratio > rail && ratio <= hot).map(Unseen::ModuleHot))
        .or_else(|| unseen_module(&low, &|ratio| ratio < 1.0 - rail && ratio >= cold).map(Unseen::ModuleCold))
        .or_else(|| (!seen_current(&high, &|amps| amps >= charge)).then_some(Unseen::Charge))
        .or_else(|| (!seen_current(&low, &|amps| amps <= -discharge)).then_some(Unseen::Discharge))
        .or_else(|| (!sees_link(&high, live, config)).then_some(Unseen::LinkLive))
        .or_else(|| (!sees_leaks(&high, config)).then_some(Unseen::Leak));
    unseen.map(|unseen| Blind { unseen, seconds: world.seconds })
}

/// What the firmware gets of what the sensors show: each part as old as it is by then. One that stands still shows nothing new ever again;
/// where a frame is lost with the probability p, `p/(1 − p)` of them have been lost since the last that came.
fn reaching<const CELLS: usize, const THERMISTORS: usize>(
    mut frame: Frame<CELLS, THERMISTORS>,
    transit: &TransitDeviation,
    config: &Config,
) -> Frame<CELLS, THERMISTORS> {
    let lost_ms = f64::from(config.pack.tick.0) * transit.lost / (1.0 - transit.lost);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "where all are lost it saturates"
    )]
    let lost = Millis(lost_ms as u32);
    let late = Millis(u32::try_from(transit.late_ms).unwrap_or(u32::MAX)) + lost;
    for part in PartName::ALL {
        let age = age_mut(&mut frame, part);
        *age = if transit.stands(part) { Millis::MAX } else { *age + late };
    }
    frame
}

fn sees_link<const CELLS: usize, const THERMISTORS: usize>(
    frame: &Frame<CELLS, THERMISTORS>,
    live_volts: f64,
    config: &Config,
) -> bool {
    let seen = frame.voltages.within(config.pack.oldest_age);
    seen.is_some_and(|seen| f64::from(seen.link.milli()) >= 1_000.0 * live_volts)
}

/// Three meters in error may lie between the poles and the pack. A pack without measuring points at its poles has lost nothing.
fn sees_leaks<const CELLS: usize, const THERMISTORS: usize>(
    frame: &Frame<CELLS, THERMISTORS>,
    config: &Config,
) -> bool {
    let oldest = config.pack.oldest_age;
    let (poles, voltages) = (frame.poles.within(oldest), frame.voltages.within(oldest));
    !config.sensing.points.poles
        || poles.zip(voltages).is_some_and(|(poles, seen)| {
            let apart = poles.negative + poles.positive - seen.pack;
            apart.milli().abs() <= 3 * config.sensing.voltage_error.milli()
        })
}

/// What a sound divider shows at a temperature: less where it is hotter.
fn rail_to(spec: &PackSpec, celsius: f64) -> f64 {
    thermistor::ratio(celsius, 0.0, spec.sensors.pull_up_ohms)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::Pack;
    use crate::defect::{Defect, Kind};
    use crate::world::Initial;

    fn seen(defects: &[(Kind, usize, f64)]) -> Option<Unseen> {
        let initial = Initial { charge: 0.6, celsius: 18.0 };
        let mut world = World::<16, 8>::new(&Pack::Trainer.spec(), 1, initial).unwrap();
        for (kind, place, severity) in defects {
            world.inject(Defect { severity: *severity, ..Defect::usual(*kind, *place, 0.0) }).unwrap();
        }
        look(&world, &Pack::Trainer.config()).map(|blind| blind.unseen)
    }

    #[test]
    fn a_sound_pack_is_not_blind() {
        assert_eq!(seen(&[]), None);
        let initial = Initial { charge: 0.6, celsius: -25.0 };
        let crane = World::<96, 16>::new(&Pack::Crane.spec(), 1, initial).unwrap();
        assert_eq!(look(&crane, &Pack::Crane.config()), None);
    }

    /// One of two sensors of a module is enough, and one of two current channels; both gone is blind, whatever makes them go.
    #[test]
    fn one_of_two_is_enough() {
        for (first, second) in [
            ((Kind::ThermistorOpen, 2, 1.0), (Kind::ThermistorFrozen, 3, 1.0)),
            ((Kind::ThermistorShort, 2, 1.0), (Kind::ThermistorOffset, 3, -60.0)),
        ] {
            assert_eq!(seen(&[first]), None, "{}", first.0.name());
            assert_eq!(seen(&[second]), None, "{}", second.0.name());
            assert_eq!(seen(&[first, second]), Some(Unseen::ModuleHot(1)));
        }
        let (dead, weak) = ((Kind::CurrentDead, 0, 1.0), (Kind::CurrentGain, 1, -80.0));
        assert_eq!((seen(&[dead]), seen(&[weak]), seen(&[dead, weak])), (None, None, Some(Unseen::Charge)));
    }

    /// A link reading that is dead, or stands still at an empty link, shows no live one. The poles add up to 53 V: 3 % of the pack's reading are
    /// more than three meters of 0.26 V, 1 % is less.
    #[test]
    fn the_link_and_the_poles_have_but_one_reading_each() {
        assert_eq!(seen(&[(Kind::LinkReadingDead, 0, 1.0)]), Some(Unseen::LinkLive));
        assert_eq!(seen(&[(Kind::LinkReadingFrozen, 0, 1.0)]), Some(Unseen::LinkLive));
        assert_eq!(seen(&[(Kind::PackVoltageGain, 0, -3.0)]), Some(Unseen::Leak));
        assert_eq!(seen(&[(Kind::PackVoltageGain, 0, 1.0)]), None);
        assert_eq!(seen(&[(Kind::LeakNegative, 0, 5.0)]), None);
    }

    /// What comes too old shows no danger; one of two current channels is enough here too. The oldest age that is believed is 30 ms: of frames that are
    /// lost, `p/(1 − p)` ticks of 10 ms are 30 ms at 75 %, 32 ms at 76 %.
    #[test]
    fn what_comes_too_old_shows_nothing() {
        let part = |part: PartName| (Kind::PartStale, part as usize, 1.0);
        let (main, check) = (part(PartName::Current), part(PartName::CurrentCheck));
        assert_eq!((seen(&[main]), seen(&[check]), seen(&[main, check])), (None, None, Some(Unseen::Charge)));
        assert_eq!(seen(&[part(PartName::Cells)]), Some(Unseen::CellHigh(0)));
        assert_eq!(seen(&[part(PartName::Thermistors)]), Some(Unseen::ModuleHot(0)));
        assert_eq!(seen(&[part(PartName::Voltages)]), Some(Unseen::LinkLive));
        assert_eq!(seen(&[part(PartName::Poles)]), Some(Unseen::Leak));
        assert_eq!(seen(&[part(PartName::Supply)]), None);
        for (kind, sees, blind) in [(Kind::FramesLate, 30.0, 31.0), (Kind::FramesLost, 75.0, 76.0)] {
            let look = |severity| seen(&[(kind, 0, severity)]);
            assert_eq!((look(sees), look(blind)), (None, Some(Unseen::CellHigh(0))), "{}", kind.name());
        }
        assert_eq!(seen(&[(Kind::FramesLost, 0, 100.0)]), Some(Unseen::CellHigh(0)));
    }

    /// A cell has one channel. By hand: a reading 60 mV too low shows 3.74 V at 3.8 V, below the limit of 3.75 V; 40 mV too low shows it. One 490 mV
    /// too high shows 2.49 V at 2.0 V, still below the limit of 2.5 V.
    #[test]
    fn a_cell_has_but_one_channel() {
        assert_eq!(seen(&[(Kind::CellChannelFrozen, 4, 1.0)]), Some(Unseen::CellHigh(4)));
        assert_eq!(seen(&[(Kind::CellChannelOffset, 4, -60.0)]), Some(Unseen::CellHigh(4)));
        assert_eq!(seen(&[(Kind::CellChannelOffset, 4, -40.0)]), None);
        assert_eq!(seen(&[(Kind::CellChannelOffset, 4, 490.0)]), None);
    }
}
