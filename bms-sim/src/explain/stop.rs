//! # A tick as a JSON document
//!
//! For programs: what the [picture](super::picture) shows, as data. `step --json` prints one a line.
//!
//! | key | holds |
//! | --- | --- |
//! | `branch` | text: in which branch it stands |
//! | `tick`, `seconds` | the tick, from 0, and when its frame was taken |
//! | `cells_volts` | list of numbers: each cell as measured |
//! | `thermistors_celsius` | list of numbers: each thermistor as measured; `null` for one at a rail |
//! | `pack_volts`, `link_volts`, `supply_volts`, `current_amps` | as measured; current positive into the pack |
//! | `charge_limit_amps`, `discharge_limit_amps` | what is allowed, as amounts |
//! | `step`, `coils`, `feedback`, `closed_in_truth` | the sequence; of the negative, precharge and positive contactor: coil on, contact closed, and what is true |
//! | `bled_cells` | list of the cells that bleed |
//! | `suspect`, `confirmed`, `latched` | lists of fault keys |
//! | `reaction` | object: `reaction` and `fault`, or `null` |
//! | `charge_least_of_1`, `charge_most_of_1` | what is believed of the charge |
//! | `true_charge_least_of_1`, `true_charge_most_of_1`, `true_coldest_cell_celsius`, `true_warmest_cell_celsius` | what is true at the end of the tick |
//! | `events` | list of what happened in the tick, as in [`document`](super::document) |
//!
//! Anything that is no stop is answered with `command`, what was typed, and `said`, a list of lines.

use super::story::happened;
use crate::case::Case;
use crate::recording::stepper::Stop;
use crate::recording::values::EventShown;
use bms_core::decision::Coil;
use bms_core::fault::{Fault, FaultSet, Reaction};
use bms_core::frame::{Contact, Contactor};
use bms_core::units::{Amps, Ratio, Volts};
use serde::Serialize;

/// What the module's head describes.
#[derive(Clone, Debug, Serialize)]
pub struct StopShown {
    branch: String,
    tick: u64,
    seconds: f64,
    cells_volts: Vec<f64>,
    thermistors_celsius: Vec<Option<f64>>,
    pack_volts: f64,
    link_volts: f64,
    supply_volts: f64,
    current_amps: f64,
    charge_limit_amps: f64,
    discharge_limit_amps: f64,
    step: bms_core::Step,
    coils: [bool; 3],
    feedback: [bool; 3],
    closed_in_truth: [bool; 3],
    bled_cells: Vec<u16>,
    suspect: Vec<&'static str>,
    confirmed: Vec<&'static str>,
    latched: Vec<&'static str>,
    reaction: Option<Demanded>,
    charge_least_of_1: f64,
    charge_most_of_1: f64,
    true_charge_least_of_1: f64,
    true_charge_most_of_1: f64,
    true_coldest_cell_celsius: f64,
    true_warmest_cell_celsius: f64,
    events: Vec<EventShown>,
}

/// A reaction, and which fault demands it.
#[derive(Clone, Copy, Debug, Serialize)]
struct Demanded {
    reaction: Reaction,
    fault: &'static str,
}

/// What is answered to a command that goes nowhere.
#[derive(Clone, Debug, Serialize)]
pub struct Answer<'a> {
    /// What was typed.
    pub command: &'a str,
    /// The answer, line by line.
    pub said: Vec<String>,
}

impl StopShown {
    /// A stop as data.
    #[must_use]
    pub fn of<const CELLS: usize, const THERMISTORS: usize>(
        stop: &Stop<CELLS, THERMISTORS>,
        case: &Case,
        branch: &str,
    ) -> Self {
        let volts = |volts: Volts| f64::from(volts.milli()) / 1_000.0;
        let amps = |amps: Amps| f64::from(amps.milli()) / 1_000.0;
        let share = |ratio: Ratio| f64::from(ratio.parts_per_million()) / 1e6;
        let keys = |set: FaultSet| set.iter().map(Fault::key).collect();
        let (frame, decision, truth) = (&stop.frame, &stop.decision, stop.after.world.truth());
        let (around, feedback) = (&frame.voltages.value, &frame.feedback.value);
        let sensing = &stop.after.core.config().sensing;
        let celsius =
            |ratio: &Ratio| sensing.celsius(*ratio).map(|celsius| f64::from(celsius.milli()) / 1_000.0);
        let (charge_least, charge_most) = stop.after.core.estimated().state_of_charge();
        let each = [Contactor::Negative, Contactor::Precharge, Contactor::Positive];
        Self {
            branch: branch.to_owned(),
            tick: stop.tick,
            seconds: stop.seconds,
            cells_volts: frame.cells.value.iter().map(|cell| volts(*cell)).collect(),
            thermistors_celsius: frame.thermistors.value.iter().map(celsius).collect(),
            pack_volts: volts(around.pack),
            link_volts: volts(around.link),
            supply_volts: volts(frame.supply.value),
            current_amps: amps(frame.current.value),
            charge_limit_amps: amps(decision.limits.charge),
            discharge_limit_amps: amps(decision.limits.discharge),
            step: decision.step,
            coils: each.map(|which| decision.coils.of(which) == Coil::On),
            feedback: [feedback.negative, feedback.precharge, feedback.positive]
                .map(|says| says == Contact::Made),
            closed_in_truth: truth.made,
            bled_cells: decision.bleed.iter().map(|cell| u16::from(cell) + 1).collect(),
            suspect: keys(decision.faults.suspect),
            confirmed: keys(decision.faults.confirmed),
            latched: keys(decision.faults.latched),
            reaction: decision
                .faults
                .reaction
                .map(|(reaction, fault)| Demanded { reaction, fault: fault.key() }),
            charge_least_of_1: share(charge_least),
            charge_most_of_1: share(charge_most),
            true_charge_least_of_1: truth.charge_low.value,
            true_charge_most_of_1: truth.charge_high.value,
            true_coldest_cell_celsius: truth.celsius_low.value,
            true_warmest_cell_celsius: truth.celsius_high.value,
            events: stop.events.iter().map(|event| EventShown::of(event, happened(case, event))).collect(),
        }
    }
}
