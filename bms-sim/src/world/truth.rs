//! What only the world knows: true charge, core temperatures, welds, energies; and the bounds within which all is safe.
//!
//! [`Truth`] is gathered from a world for recording and verdict; [`SafeBounds::first_breach`] says whether something
//! real (not a reading) is out of bounds. The bounds are a fact of the pack ([`PackSpec::safe`](super::spec::PackSpec::safe)), which a case may change. Default bounds: cell 2.0…3.8 V and never reversed, core of a cell below 70
//! °C, no charge above 0.05C below 0 °C and no more plated than 0.1 % of the capacity (plating does not heal), no more than 1 % of what
//! can react reacted (such a cell vents), joint below 15 W as a mean over a minute and below
//! 100 °C, link below 60 V 5 s after opening, no closing above the precharge end limit (5 % or 20 V, whichever is
//! less), no opening above the breaking limit, precharge resistor below its rating, either pole at least 100 Ω for each volt of the
//! string from the chassis. Common practice, no source, but for 60 V (the limit of class A voltage in road vehicles) and 100 Ω/V (UN
//! R100, for direct current).

use super::World;
use super::bus::{Moved, NEGATIVE, POSITIVE, PRECHARGE};
use super::deviation::CONTACTORS;
use super::ocv::Curve;
use super::spec::{BusSpec, COULOMBS_AN_AMPERE_HOUR};
use serde::Serialize;

/// The least or the greatest of many, with its place (counted from 0).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// The value.
    pub value: f64,
    /// Where it is.
    pub place: usize,
}

/// What is true at one instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    /// Time of the world in seconds.
    pub seconds: f64,
    /// Lowest state of charge of a cell, 0 to 1.
    pub charge_low: Extreme,
    /// Highest.
    pub charge_high: Extreme,
    /// Lowest voltage of a cell between its own terminals, in volts; joints not counted.
    pub volts_low: Extreme,
    /// Highest.
    pub volts_high: Extreme,
    /// Coldest cell inside, in °C.
    pub celsius_low: Extreme,
    /// Warmest.
    pub celsius_high: Extreme,
    /// Most charge that plated in a cell, in ampere-hours: it never comes back.
    pub plated_ampere_hours: Extreme,
    /// Most that has reacted in a cell, of all that can, 0 to 1.
    pub reacted: Extreme,
    /// Joint with the most heat as a mean over about a minute, in watts.
    pub joint_watts: Extreme,
    /// Hottest joint in °C.
    pub joint_celsius: Extreme,
    /// String current in amperes, positive into the pack.
    pub string_amps: f64,
    /// B+ to B− in volts.
    pub pack_volts: f64,
    /// L+ to L− in volts.
    pub link_volts: f64,
    /// Time since pack and link were parted, in seconds; 0 while any path is closed.
    pub apart_seconds: f64,
    /// Whether each contactor passes current: negative, precharge, positive.
    pub made: [bool; CONTACTORS],
    /// Whether each has welded, by wear or by a defect.
    pub welded: [bool; CONTACTORS],
    /// Largest voltage onto which a contactor has closed a complete path so far, in volts.
    pub worst_closing_volts: f64,
    /// Largest current that a contactor had to break so far, in amperes.
    pub worst_opening_amps: f64,
    /// Temperature of the precharge resistor in °C.
    pub resistor_celsius: f64,
    /// Heat of all joints since the start, in joules.
    pub joint_joules: f64,
    /// Insulation of the weaker pole for each volt of the string, in Ω/V; the controller's own meter is not counted.
    pub insulation_ohms_a_volt: f64,
}

/// Where all energy is and what came in from outside, in joules. Stored energy changes by what is received, and by
/// nothing else.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Energy {
    /// In chemistry, plated charge, polarisation, heat and the link capacitor.
    pub stored: f64,
    /// From load, motor, foreign heat and the reactions of cells that burn, less what bleeding, cables, resistors and the surroundings took.
    pub received: f64,
    /// All energy that went through the load's terminals, whichever way: the scale of the errors.
    pub scale: f64,
}

impl<const CELLS: usize, const THERMISTORS: usize> World<CELLS, THERMISTORS> {
    /// What is true now.
    #[must_use]
    pub fn truth(&self) -> Truth {
        let bus = &self.bus;
        let cell_volts: [f64; CELLS] =
            core::array::from_fn(|cell| self.cells.own_volts(cell, self.flow.end_amps));
        let deviations = &self.deviations().contactors;
        let plated = self.cells.harm.most_plated();
        let each = |of: &dyn Fn(usize) -> bool| [of(NEGATIVE), of(PRECHARGE), of(POSITIVE)];
        let worst =
            |of: fn(&super::contactor::Contactor) -> f64| bus.contactors.iter().map(of).fold(0.0, f64::max);
        Truth {
            seconds: self.seconds,
            charge_low: least(&self.cells.charge),
            charge_high: greatest(&self.cells.charge),
            volts_low: least(&cell_volts),
            volts_high: greatest(&cell_volts),
            celsius_low: least(&self.cells.celsius),
            celsius_high: greatest(&self.cells.celsius),
            plated_ampere_hours: Extreme { value: plated.value / COULOMBS_AN_AMPERE_HOUR, ..plated },
            reacted: self.cells.harm.most_reacted(),
            joint_watts: greatest(&self.joint_watts),
            joint_celsius: greatest(&self.heat.joint_celsius),
            string_amps: self.flow.end_amps,
            pack_volts: bus.pack_volts,
            link_volts: bus.link_volts,
            apart_seconds: bus.apart_seconds,
            made: each(&|which| bus.contactors[which].made(&deviations[which])),
            welded: each(&|which| bus.contactors[which].welded() || deviations[which].welded),
            worst_closing_volts: worst(|contactor| contactor.worst_closing_volts),
            worst_opening_amps: worst(|contactor| contactor.worst_opening_amps),
            resistor_celsius: bus.resistor_celsius,
            joint_joules: self.joint_joules,
            insulation_ohms_a_volt: self.insulation_ohms() / self.cells.sum_of_open_volts(),
        }
    }

    /// Where all energy is. The heat of the last 100 ms, which is not yet in the temperatures, is settled first.
    pub fn energy(&mut self) -> Energy {
        self.renew_now();
        let Moved {
            load_joules,
            motor_joules,
            bled_joules,
            path_joules,
            resistor_joules,
            capacitor_joules,
            load_joules_both_ways,
            ..
        } = self.bus.moved;
        let harm = &self.cells.harm;
        let stored = self.cells.stored_joules(Curve::lithium_iron_phosphate())
            + harm.plated_joules
            + self.heat.stored_joules(&self.cells.celsius)
            + self.bus.link_joules();
        let taken = bled_joules
            + path_joules
            + resistor_joules
            + self.cells.bleed_joules()
            + self.heat.outside_joules;
        let heat = self.heat.added_joules + harm.reaction_joules;
        let received = load_joules + motor_joules + capacitor_joules + heat - taken;
        Energy { stored, received, scale: load_joules_both_ways }
    }
}

/// The bounds of what is safe.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SafeBounds {
    /// Least voltage of a cell in volts.
    pub cell_low_volts: f64,
    /// Most voltage of a cell in volts.
    pub cell_high_volts: f64,
    /// Most temperature inside a cell in °C.
    pub cell_celsius: f64,
    /// A cell below this is frozen, in °C ...
    pub frozen_celsius: f64,
    /// ... and may not be charged with more than this, in amperes.
    pub frozen_charge_amps: f64,
    /// Most charge that may plate in a cell, in ampere-hours.
    pub plated_ampere_hours: f64,
    /// Most of a cell that may react, 0 to 1.
    pub reacted: f64,
    /// Most heat of a joint as a mean over a minute, in watts.
    pub joint_watts: f64,
    /// Most temperature of a joint in °C.
    pub joint_celsius: f64,
    /// Most link voltage once the time below is over, in volts.
    pub link_volts: f64,
    /// The time after opening, in seconds.
    pub link_seconds: f64,
    /// Most voltage onto which a contactor may close, in volts.
    pub closing_volts: f64,
    /// Most current that a contactor may be made to break, in amperes.
    pub opening_amps: f64,
    /// Most temperature of the precharge resistor in °C.
    pub resistor_celsius: f64,
    /// Least insulation of either pole for each volt of the string, in Ω/V.
    pub insulation_ohms_a_volt: f64,
}

/// Which bound.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Bound {
    /// A cell has less than no voltage.
    CellReversed,
    /// A cell's voltage is too low.
    CellLow,
    /// A cell's voltage is too high.
    CellHigh,
    /// A cell is too hot inside.
    CellHot,
    /// A cell is charged while frozen.
    ChargedFrozen,
    /// Too much has plated in a cell.
    CellPlated,
    /// A cell vents.
    CellVents,
    /// A joint makes too much heat.
    JointHeat,
    /// A joint is too hot.
    JointHot,
    /// The link is live long after opening.
    LinkLive,
    /// A contactor closed onto too large a difference.
    ClosedOntoDifference,
    /// A contactor was opened above its breaking limit.
    OpenedAboveLimit,
    /// The precharge resistor is too hot.
    ResistorHot,
    /// A pole leaks to the chassis.
    InsulationLow,
}

impl Bound {
    /// The unit of its value and limit, as it ends a key.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::CellReversed
            | Self::CellLow
            | Self::CellHigh
            | Self::LinkLive
            | Self::ClosedOntoDifference => "volts",
            Self::CellHot | Self::JointHot | Self::ResistorHot => "celsius",
            Self::ChargedFrozen | Self::OpenedAboveLimit => "amps",
            Self::JointHeat => "watts",
            Self::CellPlated => "amp_hours",
            Self::CellVents => "of_1",
            Self::InsulationLow => "ohms_a_volt",
        }
    }
}

/// A bound that is passed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Breach {
    /// Which.
    pub bound: Bound,
    /// Cell or joint, counted from 0, where there are several.
    pub place: Option<usize>,
    /// What it is.
    pub value: f64,
    /// What it may be.
    pub limit: f64,
    /// When, in seconds of the world's time.
    pub seconds: f64,
}

impl SafeBounds {
    /// The default bounds of so many cells of this size between these contactors.
    #[must_use]
    pub fn usual(cells: u32, ampere_hours: f64, bus: &BusSpec) -> Self {
        let nominal_volts = 3.2 * f64::from(cells);
        Self {
            cell_low_volts: 2.0,
            cell_high_volts: 3.8,
            cell_celsius: 70.0,
            frozen_celsius: 0.0,
            frozen_charge_amps: 0.05 * ampere_hours,
            plated_ampere_hours: 0.001 * ampere_hours,
            reacted: 0.01,
            joint_watts: 15.0,
            joint_celsius: 100.0,
            link_volts: 60.0,
            link_seconds: 5.0,
            closing_volts: (0.05 * nominal_volts).min(20.0),
            opening_amps: bus.contactor.breaking_limit_amps,
            resistor_celsius: bus.precharge_rated_celsius,
            insulation_ohms_a_volt: 100.0,
        }
    }

    /// The first bound that is passed: those from below first, each in the order of [`Bound`].
    #[must_use]
    pub fn first_breach(&self, truth: &Truth) -> Option<Breach> {
        let at = |extreme: Extreme| (extreme.value, Some(extreme.place));
        let frozen = if truth.celsius_low.value < self.frozen_celsius { truth.string_amps } else { 0.0 };
        let live = if truth.apart_seconds > self.link_seconds { truth.link_volts } else { 0.0 };
        let below = [
            (Bound::CellReversed, at(truth.volts_low), 0.0),
            (Bound::CellLow, at(truth.volts_low), self.cell_low_volts),
            (Bound::InsulationLow, (truth.insulation_ohms_a_volt, None), self.insulation_ohms_a_volt),
        ];
        let above = [
            (Bound::CellHigh, at(truth.volts_high), self.cell_high_volts),
            (Bound::CellHot, at(truth.celsius_high), self.cell_celsius),
            (Bound::ChargedFrozen, (frozen, Some(truth.celsius_low.place)), self.frozen_charge_amps),
            (Bound::CellPlated, at(truth.plated_ampere_hours), self.plated_ampere_hours),
            (Bound::CellVents, at(truth.reacted), self.reacted),
            (Bound::JointHeat, at(truth.joint_watts), self.joint_watts),
            (Bound::JointHot, at(truth.joint_celsius), self.joint_celsius),
            (Bound::LinkLive, (live, None), self.link_volts),
            (Bound::ClosedOntoDifference, (truth.worst_closing_volts, None), self.closing_volts),
            (Bound::OpenedAboveLimit, (truth.worst_opening_amps, None), self.opening_amps),
            (Bound::ResistorHot, (truth.resistor_celsius, None), self.resistor_celsius),
        ];
        let low = below.into_iter().find(|(_, (value, _), limit)| value < limit);
        let found = low.or_else(|| above.into_iter().find(|(_, (value, _), limit)| value > limit));
        found.map(|(bound, (value, place), limit)| Breach {
            bound,
            place,
            value,
            limit,
            seconds: truth.seconds,
        })
    }
}

fn least(values: &[f64]) -> Extreme {
    extreme(values, |one, other| one < other)
}

fn greatest(values: &[f64]) -> Extreme {
    extreme(values, |one, other| one > other)
}

/// The first of those that none beats.
fn extreme(values: &[f64], beats: fn(f64, f64) -> bool) -> Extreme {
    let first = Extreme { value: values[0], place: 0 };
    values.iter().enumerate().fold(first, |best, (place, value)| {
        if beats(*value, best.value) { Extreme { value: *value, place } } else { best }
    })
}
