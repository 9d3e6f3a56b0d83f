//! # Where two runs part
//!
//! Decides which true quantity of a pack, and which [channel](super::channels) of its frames, differs from the same run with something otherwise, and by how
//! much. Both runs share all their noise, so what differs at all differs by what is otherwise.
//!
//! | | departs when it differs by more than |
//! | --- | --- |
//! | what is true | the rounding of its arithmetic |
//! | a reading | one and a half of its channel's steps, so that no rounding at the edge of a step counts |
//! | a contact, a counter, an age | nothing |
//!
//! Where several depart in one instant, the one is told that departs by the most of these.

use super::channels::{self, Channel, Grain};
use crate::world::World;
use crate::world::deviation::CONTACTORS;
use crate::world::spec::SensorSpec;
use bms_core::Frame;

/// By how much something true must differ to depart.
struct Bounds {
    /// In V.
    volts: f64,
    /// In °C.
    celsius: f64,
    /// Of 1.
    charge: f64,
    /// The insulation, as a share of the other.
    insulation: f64,
}

/// More than rounding.
const ROUNDING: Bounds = Bounds { volts: 1e-6, celsius: 1e-6, charge: 1e-9, insulation: 1e-9 };

/// What somebody with good meters would care for; common practice, no source.
const WORTH_TELLING: Bounds = Bounds { volts: 1e-3, celsius: 0.1, charge: 1e-3, insulation: 0.01 };

/// Something that is otherwise in one of two runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Departure<What> {
    /// What it is.
    pub what: What,
    /// Its value.
    pub is: f64,
    /// Its value in the other run.
    pub twin: f64,
}

/// What is true of a pack. Contacts are 1 when made.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Fact {
    /// Voltage of this cell, from 0, between its taps, in V.
    CellVolts(usize),
    /// Charge of this cell, of 1.
    CellCharge(usize),
    /// Temperature inside this cell, in °C.
    CellCelsius(usize),
    /// Temperature of the joint above this cell, in °C.
    JointCelsius(usize),
    /// B+ to B−, in V.
    PackVolts,
    /// L+ to L−, in V.
    LinkVolts,
    /// How far the link floats above the pack, in V.
    LiftedVolts,
    /// The chassis above B−, in V.
    ChassisVolts,
    /// Insulation of the weaker pole from the chassis, in Ω.
    InsulationOhms,
    /// The auxiliary supply, in V.
    SupplyVolts,
    /// The precharge resistor, in °C.
    ResistorCelsius,
    /// Whether this contactor passes current: negative, precharge, positive.
    Made(usize),
    /// How often the interlock loop has broken.
    InterlockBreaks,
    /// How many edges the impact sensor has sent.
    ImpactEdges,
}

impl Fact {
    /// Its name for programs, its place if there are several, from 0, and its unit.
    #[must_use]
    pub const fn key(self) -> (&'static str, Option<usize>, &'static str) {
        match self {
            Self::CellVolts(cell) => ("cell", Some(cell), "volts"),
            Self::CellCharge(cell) => ("cell_charge", Some(cell), "of_1"),
            Self::CellCelsius(cell) => ("cell", Some(cell), "celsius"),
            Self::JointCelsius(cell) => ("joint", Some(cell), "celsius"),
            Self::PackVolts => ("pack", None, "volts"),
            Self::LinkVolts => ("link", None, "volts"),
            Self::LiftedVolts => ("link_above_pack", None, "volts"),
            Self::ChassisVolts => ("chassis", None, "volts"),
            Self::InsulationOhms => ("insulation", None, "ohms"),
            Self::SupplyVolts => ("supply", None, "volts"),
            Self::ResistorCelsius => ("precharge_resistor", None, "celsius"),
            Self::Made(which) => ("contactor", Some(which), "made"),
            Self::InterlockBreaks => ("interlock_breaks", None, "count"),
            Self::ImpactEdges => ("impact_edges", None, "count"),
        }
    }
}

/// What is true and departs, if anything does.
#[must_use]
pub fn truth<const CELLS: usize, const THERMISTORS: usize>(
    one: &World<CELLS, THERMISTORS>,
    twin: &World<CELLS, THERMISTORS>,
) -> Option<Departure<Fact>> {
    truth_by(one, twin, &ROUNDING, true).filter(|most| most.times > 1.0).map(|most| most.departure)
}

/// What is true and differs the most, as a multiple of what somebody with good meters would care for; nothing where all is the same. Where
/// the chassis stands is left out: the firmware itself moves it, to measure the insulation, and not in the same tick in both.
#[must_use]
pub fn truth_most<const CELLS: usize, const THERMISTORS: usize>(
    one: &World<CELLS, THERMISTORS>,
    twin: &World<CELLS, THERMISTORS>,
) -> Option<Most<Fact>> {
    // The rounding of the arithmetic is no difference.
    truth(one, twin).and_then(|_| truth_by(one, twin, &WORTH_TELLING, false))
}

fn truth_by<const CELLS: usize, const THERMISTORS: usize>(
    one: &World<CELLS, THERMISTORS>,
    twin: &World<CELLS, THERMISTORS>,
    by: &Bounds,
    with_chassis: bool,
) -> Option<Most<Fact>> {
    let mut most = Held::default();
    let each = |most: &mut Held<Fact>, fact: fn(usize) -> Fact, a: &[f64], b: &[f64], by: f64| {
        a.iter().zip(b).enumerate().for_each(|(place, (a, b))| most.hold(fact(place), *a, *b, by));
    };
    each(&mut most, Fact::CellVolts, &one.cells.volts, &twin.cells.volts, by.volts);
    each(&mut most, Fact::CellCharge, &one.cells.charge, &twin.cells.charge, by.charge);
    each(&mut most, Fact::CellCelsius, &one.cells.celsius, &twin.cells.celsius, by.celsius);
    each(&mut most, Fact::JointCelsius, &one.heat.joint_celsius, &twin.heat.joint_celsius, by.celsius);
    most.hold(Fact::PackVolts, one.bus.pack_volts, twin.bus.pack_volts, by.volts);
    most.hold(Fact::LinkVolts, one.bus.link_volts, twin.bus.link_volts, by.volts);
    if with_chassis {
        most.hold(Fact::LiftedVolts, one.bus.lifted_volts(), twin.bus.lifted_volts(), by.volts);
        most.hold(Fact::ChassisVolts, one.bus.pole_volts()[0], twin.bus.pole_volts()[0], by.volts);
    }
    let insulation = twin.insulation_ohms();
    most.hold(Fact::InsulationOhms, one.insulation_ohms(), insulation, by.insulation * insulation);
    most.hold(Fact::SupplyVolts, one.supply.volts, twin.supply.volts, by.volts);
    most.hold(Fact::ResistorCelsius, one.bus.resistor_celsius, twin.bus.resistor_celsius, by.celsius);
    for which in 0..CONTACTORS {
        most.differ(Fact::Made(which), made(one, which), made(twin, which));
    }
    let (signals, its) = (&one.signals, &twin.signals);
    most.differ(Fact::InterlockBreaks, f64::from(signals.interlock_breaks), f64::from(its.interlock_breaks));
    most.differ(Fact::ImpactEdges, f64::from(signals.impact_edges), f64::from(its.impact_edges));
    most.most
}

/// The reading that departs, if any does.
#[must_use]
pub fn reading<const CELLS: usize, const THERMISTORS: usize>(
    one: &Frame<CELLS, THERMISTORS>,
    twin: &Frame<CELLS, THERMISTORS>,
    sensors: &SensorSpec,
) -> Option<Departure<Channel>> {
    let rounding = |_, grain: Grain, _| grain.rounding();
    reading_by(one, twin, sensors, rounding).filter(|most| most.times > 1.0).map(|most| most.departure)
}

/// The reading that differs the most, as a multiple of what its channel may be wrong by itself: its offset, its gain, its noise and its
/// step. Nothing where all is the same. The poles against the chassis are left out, as the chassis is of truth.
#[must_use]
pub fn reading_most<const CELLS: usize, const THERMISTORS: usize>(
    one: &Frame<CELLS, THERMISTORS>,
    twin: &Frame<CELLS, THERMISTORS>,
    sensors: &SensorSpec,
) -> Option<Most<Channel>> {
    let own = |channel, grain: Grain, value| {
        if matches!(channel, Channel::Pole(_)) { f64::INFINITY } else { grain.errors(value) }
    };
    reading_by(one, twin, sensors, own)
}

fn reading_by<const CELLS: usize, const THERMISTORS: usize>(
    one: &Frame<CELLS, THERMISTORS>,
    twin: &Frame<CELLS, THERMISTORS>,
    sensors: &SensorSpec,
    by: impl Fn(Channel, Grain, f64) -> f64,
) -> Option<Most<Channel>> {
    if one == twin {
        return None;
    }
    let mut most = Held::default();
    channels::each((one, twin), sensors, |channel, (is, twin), grain| {
        if channel.has_steps() {
            most.hold(channel, is, twin, by(channel, grain, twin));
        } else {
            most.differ(channel, is, twin);
        }
    });
    most.most
}

/// What differs the most of several.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Most<What> {
    /// By how many times as much as it is measured by; infinitely many for what may not differ at all.
    pub times: f64,
    /// What it is.
    pub departure: Departure<What>,
}

/// What was held against its twin so far.
struct Held<What> {
    most: Option<Most<What>>,
}

impl<What> Default for Held<What> {
    fn default() -> Self {
        Self { most: None }
    }
}

impl<What> Held<What> {
    /// Holds two values against each other, measured by so much.
    fn hold(&mut self, what: What, is: f64, twin: f64, by: f64) {
        let times = (is - twin).abs() / by;
        if times > 0.0 && self.most.as_ref().is_none_or(|most| times > most.times) {
            self.most = Some(Most { times, departure: Departure { what, is, twin } });
        }
    }

    /// Holds two values against each other that may not differ at all.
    fn differ(&mut self, what: What, is: f64, twin: f64) {
        self.hold(what, is, twin, 0.0);
    }
}

/// Whether a contactor passes current, 1 if so.
fn made<const CELLS: usize, const THERMISTORS: usize>(
    world: &World<CELLS, THERMISTORS>,
    which: usize,
) -> f64 {
    let contactor = world.bus.contactors.get(which).zip(world.deviations().contactors.get(which));
    contactor.map_or(0.0, |(contactor, deviation)| f64::from(u8::from(contactor.made(deviation))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::spec::PackSpec;
    use bms_core::frame::Contact;
    use bms_core::units::{Amps, Instant, Volts};

    /// A frame in which nothing was measured, but for what is changed in it.
    fn told(change: impl Fn(&mut Frame<16, 8>)) -> Option<Departure<Channel>> {
        let twin = Frame::empty(Instant(0));
        let mut one = twin;
        change(&mut one);
        reading(&one, &twin, &PackSpec::trainer().sensors)
    }

    #[test]
    fn what_is_the_same_does_not_depart() {
        assert_eq!(told(|_| ()), None);
    }

    /// By the sheet of the front end a cell is read in steps of 0.1 mV; a volt at the shunt's hundredth of an ampere is more than that.
    #[test]
    fn the_reading_is_told_that_departs_by_the_most_of_its_steps() {
        let found = told(|frame| {
            frame.cells.value.0[4] = Volts::from_milli(1);
            frame.supply.value = Volts::from_milli(60);
        });
        let sensors = PackSpec::trainer().sensors;
        assert!(0.001 / sensors.cell.step > 0.06 / sensors.supply.step);
        assert!(matches!(found, Some(Departure { what: Channel::Cell(4), .. })), "{found:?}");
    }

    /// A contact has no step, and is told before any number.
    #[test]
    fn a_contact_that_departs_is_told_first() {
        let found = told(|frame| {
            frame.current.value = Amps::from_milli(100_000);
            frame.contacts.value.interlock = Contact::Broken;
        });
        assert_eq!(found, Some(Departure { what: Channel::Interlock, is: 0.0, twin: 1.0 }));
    }

    /// Less than one and a half steps is rounding.
    #[test]
    fn a_step_is_no_departure() {
        let step = PackSpec::trainer().sensors.cell.step;
        #[expect(clippy::cast_possible_truncation, reason = "a few bits")]
        let bits = |steps: f64| (steps * step * 65_536.0) as i32;
        assert_eq!(told(|frame| frame.cells.value.0[4] = Volts::from_bits(bits(1.4))), None);
        assert!(told(|frame| frame.cells.value.0[4] = Volts::from_bits(bits(1.8))).is_some());
    }
}
