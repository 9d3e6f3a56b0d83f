//! # What a pack showed over time
//!
//! A few values of a tick that say most: the extreme cells, current with its limits, pack and link voltage, true temperatures, the step.
//! Files hold them ten times a second, [tables](super::export) begin with them; [`series`] plays a recording again and takes as many as a
//! picture needs, and how near the faults that the picture is about came to their limits.
//!
//! All of a moment belongs together: measured and true at the instant of its frame, decided from that frame.

use super::column::{Column, Kind, Shown, Unit, Value, decimal, millionths};
use super::recorder::distance;
use super::{Recording, number};
use crate::run::Loop;
use crate::world::truth::Truth;
use bms_core::units::{Amps, Volts};
use bms_core::witness::{Assessment, Evidence};
use bms_core::{Decision, Fault, Frame, Witness};
use serde::Serialize;
use std::ops::Range;

/// A tick while what it showed is written down.
pub(super) struct Moment<'a, const CELLS: usize, const THERMISTORS: usize> {
    /// The pack as it was measured.
    pub(super) before: &'a Loop<CELLS, THERMISTORS>,
    /// What is true of it.
    pub(super) truth: Truth,
    /// What reached the firmware.
    pub(super) frame: &'a Frame<CELLS, THERMISTORS>,
    /// What it answered.
    pub(super) decision: &'a Decision<CELLS>,
    /// Pack and firmware after it.
    pub(super) after: &'a Loop<CELLS, THERMISTORS>,
}

impl<'a, const CELLS: usize, const THERMISTORS: usize> Moment<'a, CELLS, THERMISTORS> {
    pub(super) fn of(
        before: &'a Loop<CELLS, THERMISTORS>,
        frame: &'a Frame<CELLS, THERMISTORS>,
        decision: &'a Decision<CELLS>,
        after: &'a Loop<CELLS, THERMISTORS>,
    ) -> Self {
        Self { before, truth: before.world.truth(), frame, decision, after }
    }

    /// The cell that reads lowest, from 1, and its voltage: the first of several equal ones, as in a list read from the top.
    fn lowest(&self) -> (Volts, usize) {
        self.cells().min_by_key(|(volts, _)| *volts).unwrap_or_default()
    }

    /// The cell that reads highest, likewise.
    fn highest(&self) -> (Volts, usize) {
        self.cells().max_by_key(|(volts, cell)| (*volts, std::cmp::Reverse(*cell))).unwrap_or_default()
    }

    fn cells(&self) -> impl Iterator<Item = (Volts, usize)> {
        self.frame.cells.value.iter().copied().zip(1..)
    }
}

/// A value of the list below, as the words of its line say.
pub(super) struct Signal {
    key: &'static str,
    kind: Kind,
    unit: Option<Unit>,
    says: &'static str,
    pub(super) of: fn(&Signals) -> Value,
}

impl Signal {
    /// Its column in a table.
    pub(super) fn column(&self) -> Column {
        let name = match self.unit {
            // What is only a unit by name is a time.
            Some(unit) => {
                self.key.strip_suffix(unit.word()).map_or(self.key, |name| name.trim_end_matches('_'))
            }
            None => self.key,
        };
        Column::new(if name.is_empty() { "time" } else { name }, self.kind, self.unit, self.says)
    }
}

/// The list of signals: what each is, key, type, unit, and how it comes from a moment.
macro_rules! signals {
    ($($(#[doc = $says:literal])+ $key:ident: $type:ty, $unit:expr, |$moment:ident| $read:expr;)+) => {
        /// What is measured and decided in one tick, and what was true then.
        #[derive(Clone, Debug, PartialEq, Serialize)]
        pub struct Signals { $($(#[doc = $says])+ pub $key: $type,)+ }

        impl Signals {
            /// Those of a moment.
            pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(moment: &Moment<'_, CELLS, THERMISTORS>) -> Self {
                Self { $($key: { let $moment = moment; $read },)+ }
            }
        }

        /// All of them, in that order.
        pub(super) const LIST: &[Signal] = &[$(Signal {
            key: stringify!($key),
            kind: <$type as Shown>::KIND,
            unit: $unit,
            says: concat!($($says),+),
            of: |signals| signals.$key.shown(),
        },)+];
    };
}

signals! {
    /// Which tick, from 0.
    tick: u64, None, |moment| moment.before.tick;
    /// When, in seconds from the start.
    seconds: f64, Some(Unit::Seconds), |moment| moment.before.seconds();
    /// The cell that reads lowest, from 1; the first of several.
    lowest_cell: usize, None, |moment| moment.lowest().1;
    /// What it reads.
    lowest_cell_volts: f64, Some(Unit::Volts), |moment| volts(moment.lowest().0);
    /// The cell that reads highest, from 1; the first of several.
    highest_cell: usize, None, |moment| moment.highest().1;
    /// What it reads.
    highest_cell_volts: f64, Some(Unit::Volts), |moment| volts(moment.highest().0);
    /// Current as measured, positive into the pack.
    current_amps: f64, Some(Unit::Amps), |moment| amps(moment.frame.current.value);
    /// Pack voltage as measured.
    pack_volts: f64, Some(Unit::Volts), |moment| volts(moment.frame.voltages.value.pack);
    /// Link voltage as measured.
    link_volts: f64, Some(Unit::Volts), |moment| volts(moment.frame.voltages.value.link);
    /// Auxiliary supply as measured.
    supply_volts: f64, Some(Unit::Volts), |moment| volts(moment.frame.supply.value);
    /// Temperature of the coldest cell, in truth.
    true_coldest_cell_celsius: f64, Some(Unit::Celsius), |moment| millionths(moment.truth.celsius_low.value);
    /// Temperature of the warmest cell, in truth.
    true_warmest_cell_celsius: f64, Some(Unit::Celsius), |moment| millionths(moment.truth.celsius_high.value);
    /// Current that may flow into the pack.
    charge_limit_amps: f64, Some(Unit::Amps), |moment| amps(moment.decision.limits.charge);
    /// Current that may flow out of it.
    discharge_limit_amps: f64, Some(Unit::Amps), |moment| amps(moment.decision.limits.discharge);
    /// Where the contactor sequence stands.
    step: bms_core::Step, None, |moment| moment.decision.step;
}

fn volts(volts: Volts) -> f64 {
    decimal(volts.bits())
}

fn amps(amps: Amps) -> f64 {
    decimal(amps.bits())
}

/// JSON Schema of a message with signals.
pub(super) fn schema() -> String {
    let one = |signal: &Signal| {
        let kind = match signal.kind {
            Kind::Number => "number",
            Kind::Whole => "integer",
            Kind::Flag => "boolean",
            Kind::Text | Kind::Wholes => "string",
        };
        (signal.key.to_owned(), serde_json::json!({ "type": kind, "description": signal.says.trim() }))
    };
    let properties: serde_json::Map<_, _> = LIST.iter().map(one).collect();
    serde_json::json!({ "type": "object", "properties": properties }).to_string()
}

/// A run as a picture needs it.
#[derive(Clone, Debug, Default)]
pub struct Series {
    /// The signals, in order of time.
    pub signals: Vec<Signals>,
    /// Of each fault that was asked for, in that order: how what it watches lay against its limit.
    pub watched: Vec<Vec<Watched>>,
}

/// What a fault watches at a moment, in the unit of both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Watched {
    /// When, in seconds from the start.
    pub seconds: f64,
    /// The reading nearest to its limit, or furthest beyond it, since the moment before.
    pub observed: f64,
    /// That limit.
    pub limit: f64,
    /// The unit of both, as [`number`] names it.
    pub unit: &'static str,
}

/// Plays a recording again and takes about so many moments of it, evenly, and each tick in which something happened, so that a picture
/// shows a step where it was.
#[must_use]
pub fn series<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    moments: u32,
    faults: &[Fault],
) -> Series {
    between(recording, 0..recording.ticks, moments, faults)
}

/// The same of some of its ticks.
#[must_use]
pub fn between<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    ticks: Range<u64>,
    moments: u32,
    faults: &[Fault],
) -> Series {
    let last = ticks.end.min(recording.ticks);
    let mut now = recording.at(ticks.start);
    let mut happened = recording.events.iter().map(|event| event.tick).peekable();
    while happened.next_if(|event| *event < ticks.start).is_some() {}
    let mut due = now.seconds();
    let end = if last == recording.ticks { recording.end.seconds() } else { recording.at(last).seconds() };
    let apart = (end - due) / f64::from(moments.max(1));
    let mut watching = Watching { faults, nearest: vec![None; faults.len()] };
    let mut series = Series { signals: Vec::new(), watched: vec![Vec::new(); faults.len()] };
    while now.tick < last {
        let (tick, seconds) = (now.tick, now.seconds());
        let mut taken = seconds >= due || tick + 1 == last;
        while happened.next_if(|event| *event <= tick).is_some() {
            taken = true;
        }
        let before = taken.then(|| now.clone());
        let decision = now.advance(&mut watching);
        let Some(before) = before else { continue };
        due = if seconds >= due { seconds + apart } else { due };
        series.signals.push(Signals::of(&Moment::of(&before, &before.frame(), &decision, &now)));
        for (watched, nearest) in series.watched.iter_mut().zip(&mut watching.nearest) {
            let Some(Assessment { observed: Some(observed), limit: Some(limit), .. }) = nearest.take() else {
                continue;
            };
            let ((observed, unit), (limit, _)) = (number(observed), number(limit));
            watched.push(Watched { seconds, observed, limit, unit });
        }
    }
    series
}

/// Keeps of each fault the assessment nearest to its limit.
struct Watching<'a> {
    faults: &'a [Fault],
    nearest: Vec<Option<Assessment>>,
}

impl Witness for Watching<'_> {
    fn saw(&mut self, evidence: Evidence) {
        let Evidence::Assessed(seen) = evidence else { return };
        for (fault, nearest) in self.faults.iter().zip(&mut self.nearest) {
            let nearer = || match (distance(&seen), nearest.as_ref().and_then(distance)) {
                (Some(now), Some(kept)) => now < kept,
                (now, _) => now.is_some(),
            };
            if *fault == seen.fault && nearer() {
                *nearest = Some(seen);
            }
        }
    }
}
