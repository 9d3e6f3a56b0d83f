//! Cases: one reproducible story each, written in a TOML file.
//!
//! A [`Case`] says which pack, how it stands, what is asked of it, what is wrong with it and since when, and what must come out. It is
//! checked when it is read: what holds a [`Case`] never meets a cell 97. The same case and seed give the same run, bit for bit.
//!
//! # The file
//!
//! Unknown keys are refused, with the nearest known one as a suggestion. The unit ends each key: `_s` seconds from the start, `_ms`
//! milliseconds, `_c` multiples of the current that moves the rated capacity in one hour. Cells, joints, wires, thermistors and
//! modules are numbered from 1. A file named `gust.toml`:
//!
//! ```
//! # let text = r#"
//! schema = 1                      # the only one there is
//! title = "A joint that is fine until the crane hoists"
//! story = "One or two sentences for people."
//! pack = "crane"                  # crane: 96 cells, 100 Ah; trainer: 16 cells, 20 Ah
//! seed = 7                        # of all noise and all scatter between parts
//! duration_s = 120
//! tick_ms = 10                    # 1 to 10, 10 when left out
//!
//! [start]                         # how the pack stands, at rest for hours
//! charge_percent = 60
//! celsius = 18
//! [[start.cell]]                  # single cells that stand differently
//! cell = 5
//! missing_ah = 2.0                # less than the others; or charge_percent = 58
//!
//! [[start.contactor]]             # contactors that are not new
//! contactor = "positive"
//! worn_percent = 40               # of its life, by closings and openings; at 100 it has welded
//! counted_percent = 45            # what the firmware has stored of it; the same when left out
//!
//! [[surroundings]]                # temperature around the pack, straight between two entries; start.celsius when left out
//! at_s = 0
//! celsius = 18
//! [[surroundings]]
//! at_s = 60
//! celsius = -25
//!
//! [[duty]]                        # phases in order; parked after the last one
//! do = "hoist"                    # park, hold, hoist, travel, lower, fast-lower, top-up
//! for_s = 8                       # the usual length when left out
//! rate_c = 1.2                    # the usual strength when left out; an amount, the work knows its sign
//! [[duty]]                        # or several of them, repeated
//! times = 5
//! phases = [{ do = "travel" }, { do = "hoist" }, { do = "hold" }, { do = "lower" }]
//!
//! [[act]]                         # what operator and workshop do
//! at_s = 1
//! ask = "close"                   # close, open: hold until the next one; clear, replace: for one tick
//! [[act]]
//! at_s = 100
//! ask = "clear"
//! by = "service"                  # or panel, when left out
//! [[act]]
//! at_s = 110
//! ask = "lose-power"              # nobody's wish: the auxiliary supply is gone, all coils drop, and the firmware begins anew
//! for_s = 2.5                     # 1 when left out
//! record = "torn"                 # kept (when left out), torn: the one before it is left, lost: the memory is empty
//! clock = false                   # whether a clock tells it afterwards for how long; true when left out
//! [[act]]
//! at_s = 0
//! ask = "replace"                 # tells the firmware that this cell, or this contactor = "positive", was replaced
//! cell = 5
//!
//! [[defect]]                      # up to 32; `list defects` prints the kinds with their units and ranges
//! kind = "loose_joint_tap_above"
//! joint = 37                      # the place: see below
//! milliohms = 4.0                 # the severity in the unit of the kind: see below; the usual one when left out
//! at_s = 30                       # onset, 0 when left out
//! until_s = 90                    # stays when left out
//! ramp_s = 5                      # grows over this time; at once when left out; only where the severity can grow
//! intermittent_period_s = 10      # comes and goes: present for this share of each period from the onset on; both keys or none
//! intermittent_duty = 0.4
//!
//! [[repair]]                      # the workshop puts a new part in; `list repairs` prints the kinds
//! kind = "swap_cell"
//! at_s = 95
//! cell = 5                        # the place: as for defects
//! charge_percent = 58             # of a cell that comes in: 50 when left out; and
//! capacity_percent = 98           # its capacity, resistance_percent (100 when left out), celsius (as the old one)
//!
//! [[change]]                      # from here on something is otherwise: one thing each, in order of time; `step` writes branches so
//! at_s = 70
//! limits = { cell_over_voltage = { dwell_ms = 500 } }     # as below
//! [[change]]
//! at_s = 80
//! duty = { do = "travel", rate_c = 0.2 }                  # this to the end of the story
//! [[change]]
//! at_s = 85
//! defect = { kind = "cell_leak", cell = 5, ohms = 20 }    # begins now; or act = { ask = "open" }, as above without at_s
//! [[change]]
//! at_s = 88
//! mend = 1                        # a defect of the list above ends, or one that a change began: they count on
//! [[change]]
//! at_s = 89
//! repair = { kind = "mend_wire", wire = 7 }               # the workshop puts a new part in, now
//!
//! [rest]                          # optional: larger steps while the contactors stand and nothing is asked of the pack
//! step_s = 10
//!
//! [safe]                          # optional: what truth may be before it is dangerous: see below
//! cell_celsius = 65
//!
//! [limits.cell_over_voltage]      # optional: the firmware's limits by fault, in the unit that `list faults` prints
//! trip = 3.70
//! dwell_ms = 1000                 # and release, release_dwell_ms
//!
//! [expect]                        # optional: what must come out
//! faults = ["cell_resistance_high"]               # exactly these become Confirmed, nothing else
//! ends = "Open"                                   # step of the contactor sequence at the end
//! critical = true                                 # dangerous as it stands, or does only a reading lie
//! cooling = false                                 # whether cooling runs at the end
//! spread_ah = 3.0                                 # true charge of the fullest less the emptiest cell at the end, at most
//! within_s = { cell_resistance_high = 60 }        # Confirmed so long after the first onset (the start when there is none)
//! # "#;
//! # let case = bms_sim::case::Case::parse(text, "gust.toml").map_err(|error| error.to_string());
//! # let case = case.expect("the example in the documentation is accepted");
//! # assert_eq!((case.duty.len(), case.defects.len(), case.defects[0].end_seconds), (9, 2, Some(88.0)));
//! ```
//!
//! A limit is accepted between a quarter and four times of the usual one, and within what its sensor can read.
//!
//! # What is safe
//!
//! The [bounds of truth](crate::world::truth::SafeBounds), by which a pack is dangerous or not whatever the firmware makes of it:
//! `cell_low_volts`, `cell_high_volts`, `cell_celsius`, `frozen_celsius`, `frozen_charge_amps`, `plated_ampere_hours`,
//! `reacted_percent`, `joint_watts`, `joint_celsius`, `link_volts`, `link_s`, `closing_volts`, `opening_amps`, `resistor_celsius`,
//! `insulation_ohms_a_volt`. Each is accepted between a quarter and four times of the usual one, but for `frozen_celsius`.
//!
//! # Places and severities of defects
//!
//! A place is `cell`, `joint` (from this cell to the next one), `wire` (a sense wire, from the bottom up: the cells below and above the
//! fuse have a front end each, with one wire more than cells), `thermistor` or `module` with a number from 1, `current_sensor` with
//! `"main"` or `"check"`, `contactor` with `"negative"`, `"precharge"` or `"positive"`, or `part` with a part of the frame (`"cells"`,
//! `"thermistors"`, `"current"`, `"current_check"`, `"voltages"`, `"supply"`, `"feedback"`, `"poles"`, `"contacts"`); nothing where the
//! pack has only one. A
//! severity is `milliohms`, `ohms`, `kiloohms`, `ampere_hours`, `percent`, `watts`, `millivolts`, `amps`, `amps_per_hour`, `celsius`,
//! `milliseconds`, `per_minute` or `edges`; nothing where the defect is only present or absent. Which of them a kind takes stands in the list of defects.
//!
//! # The duties
//!
//! | do | wants | usual length |
//! | --- | --- | --- |
//! | `park` | nothing | 60 s |
//! | `hold` | nothing: the mechanical brake holds the load | 5 s |
//! | `hoist` | 1.5C out of the pack | 8 s |
//! | `travel` | 0.3C out of the pack | 20 s |
//! | `lower` | 0.3C into the pack, the rest to the brake resistor | 8 s |
//! | `fast-lower` | 0.6C into the pack, the rest to the brake resistor | 8 s |
//! | `top-up` | 0.5C into the pack from the charger | 600 s |

mod accepted;
mod act;
mod change;
mod changes;
mod check;
mod defects;
mod duty;
pub(crate) mod edit;
mod error;
mod file;
mod knob;
mod limits;
mod pack;
mod place;
mod read;
mod repairs;
mod safe;
mod start;

pub use act::{Act, Ask, PowerLoss, RecordFate};
pub(crate) use change::LaterLimits;
pub use change::{Change, Changed, Unchanged};
pub(crate) use check::MOST_SEED;
pub use duty::{Duty, Phase, Surrounding, Work};
pub(crate) use error::nearest;
pub use error::{Accepted, CaseError, Mistake, Problem};
pub use file::severity_key;
pub use knob::{Grid, Knob, Unturned};
pub use limits::LimitChange;
pub use pack::Pack;
pub(crate) use place::{Path, Source};
pub(crate) use read::{parse as parse_file, text as text_of};
pub(crate) use repairs::NEW_CELL;
pub use repairs::Repaired;
pub use start::{CellStart, ContactorStart, Start, StartError};

use crate::defect::Defect;
use crate::world::load::Demand;
use crate::world::spec::PackSpec;
use crate::world::truth::SafeBounds;
use bms_core::fault::FaultLimits;
use bms_core::frame::Asked;
use bms_core::{Config, Fault, Step};
use serde::{Serialize, Serializer};
use std::sync::Arc;

/// One reproducible story, checked.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Case {
    /// The name of the file it was read from, without its folders.
    pub name: String,
    /// CRC-32 of the file's text: two runs with the same digest and program tell the same story.
    pub digest: u32,
    /// A headline for people.
    pub title: String,
    /// One or two sentences for people.
    pub story: String,
    /// The pack.
    pub pack: Pack,
    /// Seed of all noise and scatter.
    pub seed: u64,
    /// How long it runs, in seconds.
    pub duration_seconds: f64,
    /// The step of the closed loop in milliseconds.
    pub tick_ms: u64,
    /// The step while the contactors stand and nothing is asked of the pack, in milliseconds, if larger steps are wanted.
    pub rest_ms: Option<u64>,
    /// How the pack stands.
    pub start: Start,
    /// Temperature around the pack, in order of time.
    pub surroundings: Vec<Surrounding>,
    /// What is asked of the pack, in order of time, repetitions unrolled.
    pub duty: Vec<Phase>,
    /// What operator and workshop do, in order of time.
    pub acts: Vec<Act>,
    /// What is wrong, in the order of the file.
    #[serde(serialize_with = "as_defects")]
    pub defects: Vec<Defect>,
    /// What the workshop mends, in order of time.
    pub repairs: Vec<Repaired>,
    /// What truth may be and still be safe.
    pub safe: SafeBounds,
    /// Changed limits of the firmware.
    pub limits: Vec<LimitChange>,
    /// What is otherwise from some time on, in order of time. What it makes of duty, acts and defects stands there already.
    pub changes: Vec<Changed>,
    /// What must come out, if the case says so.
    pub expect: Option<Expect>,
    /// The text of the file, from which the same case is read again.
    #[serde(skip)]
    pub text: Arc<str>,
    #[serde(skip)]
    config: Config,
    /// Limits that are taken later, in order of time.
    #[serde(skip)]
    later_limits: Vec<LaterLimits>,
    /// Defects that were taken out. Larger steps end where these change, so that a twin stays in step with its case.
    #[serde(skip)]
    taken_out: Vec<Defect>,
}

/// What must come out of a case.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Expect {
    /// Exactly these faults become Confirmed.
    #[serde(serialize_with = "as_keys")]
    pub faults: Vec<Fault>,
    /// Step of the contactor sequence at the end.
    pub ends: Option<Step>,
    /// Whether the pack is dangerous as it stands.
    pub critical: Option<bool>,
    /// Whether cooling runs at the end.
    pub cooling: Option<bool>,
    /// Most that the true charge of the fullest cell may exceed that of the emptiest one at the end, in ampere-hours.
    pub spread_ampere_hours: Option<f64>,
    /// How soon each fault becomes Confirmed after the first onset, or after the start when nothing is wrong.
    pub within: Vec<Bound>,
}

/// The latest time at which a fault becomes Confirmed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bound {
    /// The fault.
    #[serde(serialize_with = "as_key")]
    pub fault: Fault,
    /// Seconds after the first onset.
    pub seconds: f64,
}

impl Case {
    /// Reads and checks a file.
    ///
    /// # Errors
    /// When it cannot be read, or something in it is not accepted.
    pub fn read(path: &std::path::Path) -> Result<Self, CaseError> {
        let file = path.display().to_string();
        match std::fs::read(path) {
            Ok(bytes) => Self::from_bytes(&bytes, &file),
            Err(source) => Err(CaseError::Unreadable { file, source }),
        }
    }

    /// Checks the contents of a file; `name` is what messages call it.
    ///
    /// # Errors
    /// When something in it is not accepted.
    pub fn from_bytes(bytes: &[u8], name: &str) -> Result<Self, CaseError> {
        Self::parse(read::text(bytes, name)?, name)
    }

    /// Checks a text; `name` is what messages call it.
    ///
    /// # Errors
    /// When something in it is not accepted.
    pub fn parse(text: &str, name: &str) -> Result<Self, CaseError> {
        read::parse(text, name, accepted::at, check::checked)
    }

    /// What is bolted into its pack, and what it takes for safe.
    #[must_use]
    pub fn spec(&self) -> PackSpec {
        PackSpec { safe: self.safe, ..self.pack.spec() }
    }

    /// What the crane does at an instant, in seconds from the start: a pure function of time. Parked before the first and after the
    /// last phase.
    #[must_use]
    pub fn demand_at(&self, seconds: f64) -> Duty {
        let outside_celsius = duty::celsius_at(&self.surroundings, seconds).unwrap_or(self.start.celsius);
        let (work, since_seconds, amps) = match duty::phase_at(&self.duty, seconds) {
            Some(phase) => (phase.work, phase.from_seconds, phase.amps),
            None => (Work::Park, self.duty.last().map_or(0.0, |last| last.from_seconds + last.seconds), 0.0),
        };
        Duty { work, since_seconds, demand: Demand { amps, giver: work.giver(), outside_celsius } }
    }

    /// What is asked of the firmware in the tick at `at_ms`, when the tick before it was `step_ms` earlier; both from the start.
    #[must_use]
    pub fn asked_at(&self, at_ms: u64, step_ms: u64) -> Asked {
        act::asked_at(&self.acts, at_ms, step_ms)
    }

    /// The loss of supply that begins with the tick at `at_ms`, when the tick before it was `step_ms` earlier; both from the start.
    pub(crate) fn power_lost_at(&self, at_ms: u64, step_ms: u64) -> Option<PowerLoss> {
        act::power_lost_at(&self.acts, at_ms, step_ms)
    }

    /// The next instant after this one, in seconds, at which anything of the case changes: a phase or an act begins, a defect begins,
    /// ends, comes, goes or is fully grown (or did so before it was taken out), the ambient bends, something becomes otherwise, the story
    /// ends. A larger step must not reach beyond it.
    #[must_use]
    pub fn next_change_after(&self, seconds: f64) -> f64 {
        let phases = self.duty.partition_point(|phase| phase.from_seconds <= seconds);
        let phases = [phases.checked_sub(1), Some(phases)]
            .into_iter()
            .flatten()
            .filter_map(|place| self.duty.get(place));
        let phases = phases.flat_map(|phase| [phase.from_seconds, phase.from_seconds + phase.seconds]);
        let acts = self.acts.iter().map(|act| std::time::Duration::from_millis(act.at_ms).as_secs_f64());
        let defects =
            self.defects.iter().chain(&self.taken_out).map(|defect| defect.next_change_after(seconds));
        let repairs = self
            .repairs
            .iter()
            .map(|repaired| std::time::Duration::from_millis(repaired.at_ms).as_secs_f64());
        let points = self.surroundings.iter().map(|point| point.at_seconds);
        let otherwise = self.changes.iter().map(Changed::seconds);
        let changes = phases.chain(acts).chain(defects).chain(repairs).chain(points).chain(otherwise);
        changes.filter(|at| *at > seconds).fold(self.duration_seconds, f64::min)
    }

    /// The same story with nothing wrong in it: the twin.
    #[must_use]
    pub fn without_defects(&self) -> Self {
        let mut without = self.clone();
        without.taken_out.append(&mut without.defects);
        without
    }

    /// The same story with nothing else wrong in it than this.
    #[must_use]
    pub fn with_defect(&self, defect: Defect) -> Self {
        Self { defects: vec![defect], ..self.clone() }
    }

    /// The same story without one of its defects, by its place in the list; the same story if there is none there.
    #[must_use]
    pub fn without_defect(&self, place: usize) -> Self {
        let mut without = self.clone();
        if place < without.defects.len() {
            without.taken_out.push(without.defects.remove(place));
        }
        without
    }

    /// The limits that the firmware takes later, in order of time.
    #[must_use]
    pub(crate) fn later_limits(&self) -> &[LaterLimits] {
        &self.later_limits
    }

    /// The firmware's limits at an instant, in seconds from the start.
    #[must_use]
    pub fn limits_at(&self, seconds: f64) -> &FaultLimits {
        let taken =
            |later: &&LaterLimits| std::time::Duration::from_millis(later.at_ms).as_secs_f64() <= seconds;
        self.later_limits.iter().rev().find(taken).map_or(&self.config.faults, |later| &later.limits)
    }

    /// The firmware's configuration: the defaults of the pack with the changed limits of its start. The core's own check accepts it.
    #[must_use]
    pub const fn config(&self) -> &Config {
        &self.config
    }
}

/// CRC-32/ISO-HDLC of a text.
fn digest(text: &str) -> u32 {
    crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(text.as_bytes())
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
fn as_key<S: Serializer>(fault: &Fault, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(fault.key())
}

fn as_keys<S: Serializer>(faults: &[Fault], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(faults.iter().map(|fault| fault.key()))
}

fn as_defects<S: Serializer>(defects: &[Defect], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(defects.iter().map(ShownDefect::of))
}

fn as_defect<S: Serializer>(defect: &Defect, to: S) -> Result<S::Ok, S::Error> {
    ShownDefect::of(defect).serialize(to)
}

/// A defect as people read it: the kind by its key, the place from 1, the severity with its unit.
#[derive(Serialize)]
struct ShownDefect {
    kind: &'static str,
    place: usize,
    severity: f64,
    unit: &'static str,
    at_s: f64,
    until_s: Option<f64>,
    ramp_s: f64,
    intermittent_period_s: Option<f64>,
    intermittent_duty: Option<f64>,
}

impl ShownDefect {
    fn of(defect: &Defect) -> Self {
        Self {
            kind: defect.kind.key(),
            place: defect.place + 1,
            severity: defect.severity,
            unit: defect.kind.unit(),
            at_s: defect.onset_seconds,
            until_s: defect.end_seconds,
            ramp_s: defect.grows_seconds,
            intermittent_period_s: defect.spells.map(|spells| spells.period_seconds),
            intermittent_duty: defect.spells.map(|spells| spells.duty),
        }
    }
}

#[cfg(test)]
mod tests;
