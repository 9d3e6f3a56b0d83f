//! # What could be done to tell two defects, or two faults, apart
//!
//! | act | what is played from the end of the case on |
//! | --- | --- |
//! | load steps | the workshop clears, the contactors close, hoisting as usual for 8 s and holding for 5 s: once between defects, three times between faults, since the firmware believes no resistance of fewer steps |
//! | charging | the same, and charging at the dock for ten minutes |
//! | a rest | the contactors opened, half an hour without current |
//! | opening and closing | the contactors opened and closed again after ten seconds |
//! | bleeding | the contactors opened, and the cell bled for five seconds, with a meter across its bleed resistor at the end; only where a cell, a joint or a sense wire is in question |
//! | swapping thermistors | the plugs of the thermistor in question and its neighbour exchanged; only where a thermistor is in question |
//! | a meter | between defects nothing is played: a meter at each cell and from the pack to the chassis, a thermometer at each cell and joint; between faults the duty goes on for two seconds with a meter's readings in place of those that lie |
//!
//! The firmware bleeds no cell that it would not choose, so that bleeding is played as what a stuck switch does: the current takes the same
//! way, through the sense wires. One cell alone, since a wire between two cells that both bleed carries the difference of their currents.
//! The cells are read with bleeding paused, which hides what a corroded wire takes unless its filter is slow; across the resistor it shows:
//!
//! ```text
//! U = cell · R / (R + r)      R the bleed resistor, r what both wires of the cell resist
//! ```
//!
//! Where the frames of two defects are the same after an act, the meter and the thermometer are tried once more. A meter's figures are
//! common practice, no source: 2 mV, 1 °C, a tenth of an insulation.

use super::Compared;
use super::{Channel, Difference};
use crate::case::{Act, Ask, Case, Phase, StartError, Work};
use crate::defect::{Defect, Kind, PlaceKind};
use crate::run::Loop;
use crate::world::World;
use crate::world::spec::PackSpec;
use bms_core::frame::Clearance;
use bms_core::witness::Place;
use std::sync::Arc;

/// Something that can be done.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Trial {
    /// Hoisting so often.
    LoadSteps(usize),
    /// Charging for ten minutes.
    Charge,
    /// Half an hour of rest.
    Rest,
    /// Opening and closing.
    Reclose,
    /// Bleeding this cell, from 0.
    Bleed(usize),
    /// Swapping this thermistor, from 0, and its neighbour.
    SwapThermistors(usize),
    /// A meter and a thermometer.
    Meter,
}

/// A rest, in seconds.
const REST_SECONDS: f64 = 1_800.0;

/// Time to clear and to start, in seconds.
const START_SECONDS: f64 = 6.0;

/// From opening to closing again, in milliseconds.
const OPEN_MS: u64 = 10_000;

/// Until a pack that was closed again is left alone, in seconds.
const RECLOSED_SECONDS: f64 = 20.0;

/// How long a cell bleeds, in seconds: the filters of the inputs settle in milliseconds.
const BLED_SECONDS: f64 = 5.0;

/// How long the duty goes on while a meter is read, in seconds.
const METERED_SECONDS: f64 = 2.0;

/// What a hand-held meter tells apart at a cell, in volts.
const METER_VOLTS: f64 = 2e-3;

/// What a thermometer held to a part tells apart, in °C.
const THERMOMETER_CELSIUS: f64 = 1.0;

/// What an insulation meter tells apart, as a share.
const INSULATION_SHARE: f64 = 0.1;

impl Trial {
    /// All that can be done, the acts at what is in question last.
    pub(super) fn all(questioned: &Questioned, hoisted: usize) -> Vec<Self> {
        let mut all = vec![Self::LoadSteps(hoisted), Self::Charge, Self::Rest, Self::Reclose, Self::Meter];
        all.extend(questioned.cells.iter().map(|cell| Self::Bleed(*cell)));
        all.extend(questioned.thermistor.map(Self::SwapThermistors));
        all
    }

    /// Its name for programs.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::LoadSteps(_) => "load_steps",
            Self::Charge => "charge",
            Self::Rest => "rest",
            Self::Reclose => "open_and_close",
            Self::Bleed(_) => "bleed",
            Self::SwapThermistors(_) => "swap_thermistors",
            Self::Meter => "meter",
        }
    }

    /// The first reading that separates two worlds when this is done at their end, if one does.
    ///
    /// # Errors
    /// When the type has other counts than the cases' pack.
    pub(super) fn parts_worlds<const CELLS: usize, const THERMISTORS: usize>(
        self,
        cases: [&Arc<Case>; 2],
    ) -> Result<Option<Difference>, StartError> {
        if self == Self::Meter {
            return metered::<CELLS, THERMISTORS>(cases, None);
        }
        let bled = if let Self::Bleed(cell) = self { Some(cell) } else { None };
        let done = cases.map(|case| Arc::new(self.done(case)));
        let done = [&done[0], &done[1]];
        match Compared::of::<CELLS, THERMISTORS>(done, end_ms(cases[0]))?.differences.first() {
            Some(difference) => Ok(Some(*difference)),
            None => metered::<CELLS, THERMISTORS>(done, bled),
        }
    }

    /// The case with this done at its end.
    pub(super) fn done(self, case: &Case) -> Case {
        let (end, from_ms) = (case.duration_seconds, end_ms(case));
        if self == Self::Meter {
            return with_a_meter(case);
        }
        let mut done = case.clone();
        done.rest_ms = None;
        done.duty.retain(|phase| phase.from_seconds < end);
        if let Some(last) = done.duty.last_mut() {
            last.seconds = last.seconds.min(end - last.from_seconds);
        }
        let at = |after_ms: u64, ask: Ask| Act { at_ms: from_ms + after_ms, ask };
        // What was latched would hold the contactors open.
        let close = || vec![at(0, Ask::Open), at(500, Ask::Clear(Clearance::Service)), at(1_000, Ask::Close)];
        let start = (Work::Hold, START_SECONDS);
        let usual = |work: Work| (work, work.usual_seconds());
        let (works, asks): (Vec<(Work, f64)>, Vec<Act>) = match self {
            Self::LoadSteps(times) => {
                let hoisted = [usual(Work::Hoist), usual(Work::Hold)].repeat(times);
                ([vec![start], hoisted].concat(), close())
            }
            Self::Charge => (vec![start, usual(Work::TopUp)], close()),
            Self::Rest => (vec![start, (Work::Park, REST_SECONDS)], vec![at(0, Ask::Open)]),
            Self::Reclose => {
                (vec![start, (Work::Park, RECLOSED_SECONDS)], vec![at(0, Ask::Open), at(OPEN_MS, Ask::Close)])
            }
            Self::Bleed(_) => (vec![start, (Work::Park, BLED_SECONDS)], vec![at(0, Ask::Open)]),
            Self::SwapThermistors(_) | Self::Meter => (vec![start, (Work::Park, 1.0)], Vec::new()),
        };
        for (work, seconds) in works {
            let amps = work.usual_rate() * case.pack.ampere_hours();
            done.duty.push(Phase { work, from_seconds: done.duration_seconds, seconds, amps });
            done.duration_seconds += seconds;
        }
        done.acts.retain(|act| act.at_ms < from_ms);
        done.acts.extend(asks);
        match self {
            Self::SwapThermistors(place) => {
                done.defects.push(Defect::usual(Kind::ThermistorsSwapped, place, end));
            }
            Self::Bleed(cell) => {
                done.defects.push(Defect::usual(Kind::BleedStuckOn, cell, end + START_SECONDS));
            }
            Self::LoadSteps(_) | Self::Charge | Self::Rest | Self::Reclose | Self::Meter => {}
        }
        done
    }
}

/// The places at which something can be done.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub(super) struct Questioned {
    /// Cells that carry what is in question, or lie beside it, each once.
    cells: Vec<usize>,
    thermistor: Option<usize>,
}

impl Questioned {
    /// With the place of a defect.
    pub(super) fn with_defect(self, defect: &Defect, spec: &PackSpec) -> Self {
        match defect.kind.place() {
            PlaceKind::Cell | PlaceKind::Joint => self.with_cell(defect.place),
            PlaceKind::Wire => self.with_cell(cell_at_wire(defect.place, spec)),
            PlaceKind::Thermistor => self.with_thermistor(defect.place),
            PlaceKind::Module
            | PlaceKind::CurrentSensor
            | PlaceKind::Contactor
            | PlaceKind::FramePart
            | PlaceKind::Pack => self,
        }
    }

    /// With the place at which the firmware looked.
    pub(super) fn with_place(self, place: Place, spec: &PackSpec) -> Self {
        match place {
            Place::Cell(cell) => self.with_cell(cell.into()),
            Place::Wire(wire) => self.with_cell(cell_at_wire(wire.into(), spec)),
            Place::Thermistor(thermistor) => self.with_thermistor(thermistor.into()),
            Place::Pack
            | Place::Link
            | Place::Supply
            | Place::Module(_)
            | Place::Contactor(_)
            | Place::Pole(_) => self,
        }
    }

    fn with_cell(mut self, cell: usize) -> Self {
        if !self.cells.contains(&cell) {
            self.cells.push(cell);
        }
        self
    }

    fn with_thermistor(self, thermistor: usize) -> Self {
        Self { thermistor: self.thermistor.or(Some(thermistor)), ..self }
    }
}

/// A cell whose bleed current a wire carries: the one above it, or for the last wire of a front end the one below.
fn cell_at_wire(wire: usize, spec: &PackSpec) -> usize {
    let [below, above] = spec.cells_of_front_ends();
    if wire <= below.end { wire.min(below.end - 1) } else { (wire - 1).min(above.end - 1) }
}

/// When a case ends, in milliseconds.
pub(super) fn end_ms(case: &Case) -> u64 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a story is shorter than 2⁵³ ms"
    )]
    let end = (case.duration_seconds * 1_000.0) as u64;
    end
}

/// The case goes on for a moment without what only measures wrongly: its readings are then those of a meter.
fn with_a_meter(case: &Case) -> Case {
    let (mut done, end) = (case.clone(), case.duration_seconds);
    done.rest_ms = None;
    if let Some(last) = done.duty.last_mut()
        && last.from_seconds + last.seconds >= end
    {
        last.seconds = last.seconds.max(end + METERED_SECONDS - last.from_seconds);
    }
    for defect in &mut done.defects {
        let over = defect.end_seconds.is_some_and(|over| over <= end);
        if defect.kind.displaces_a_reading() && defect.onset_seconds < end && !over {
            defect.end_seconds = Some(end);
        }
    }
    done.duration_seconds = end + METERED_SECONDS;
    done
}

/// What a meter and a thermometer show at the end of both cases, with the meter at this bleed resistor too.
fn metered<const CELLS: usize, const THERMISTORS: usize>(
    cases: [&Arc<Case>; 2],
    bled: Option<usize>,
) -> Result<Option<Difference>, StartError> {
    let at_end = |case: &Arc<Case>| {
        let mut now = Loop::<CELLS, THERMISTORS>::new(case)?;
        while !now.over() {
            now.advance(&mut ());
        }
        Ok::<_, StartError>(now)
    };
    let (here, there) = (at_end(cases[0])?, at_end(cases[1])?);
    let seconds = here.seconds();
    let pairs = |one: &[f64], other: &[f64], apart: f64, channel: fn(usize) -> Channel| {
        let pairs = one.iter().zip(other).enumerate();
        let differing = pairs.filter(|(_, (one, other))| (*one - *other).abs() > apart);
        let found = differing.map(|(place, (here, there))| Difference {
            channel: channel(place),
            seconds,
            here: *here,
            there: *there,
        });
        found.max_by(|one, other| (one.here - one.there).abs().total_cmp(&(other.here - other.there).abs()))
    };
    let (one, other) = (&here.world, &there.world);
    let ohms = (one.insulation_ohms(), other.insulation_ohms());
    let insulation = ((ohms.0 / ohms.1).max(ohms.1 / ohms.0) > 1.0 + INSULATION_SHARE).then(|| Difference {
        channel: Channel::MeteredInsulation,
        seconds,
        here: ohms.0 / 1_000.0,
        there: ohms.1 / 1_000.0,
    });
    let across = bled.and_then(|cell| {
        let volts = |world: &World<CELLS, THERMISTORS>| {
            world.cells.volts[cell] * world.cells.bleed_siemens(cell) * world.spec().cell.bleed_ohms
        };
        let (here, there) = (volts(one), volts(other));
        let apart = (here - there).abs() > METER_VOLTS;
        apart.then_some(Difference { channel: Channel::MeteredBleed(cell), seconds, here, there })
    });
    Ok(pairs(&one.cells.volts, &other.cells.volts, METER_VOLTS, Channel::MeteredCell)
        .or(across)
        .or(insulation)
        .or_else(|| pairs(&one.cells.celsius, &other.cells.celsius, THERMOMETER_CELSIUS, Channel::WarmCell))
        .or_else(|| {
            let (one, other) = (&one.heat.joint_celsius, &other.heat.joint_celsius);
            pairs(one, other, THERMOMETER_CELSIUS, Channel::WarmJoint)
        }))
}
