//! # What a pack showed over time
//!
//! A few values of a tick that say most: the extreme cells, current with its limits, pack and link voltage, true temperatures, the step.
//! Files hold them ten times a second; [`series`] plays a recording again and takes as many as a picture needs, and how near the
//! faults that the picture is about came to their limits.

use super::recorder::distance;
use super::{Recording, number};
use crate::case::StartError;
use crate::run::Loop;
use bms_core::units::{Amps, Volts};
use bms_core::witness::{Assessment, Evidence};
use bms_core::{Decision, Fault, Frame, Witness};
use serde::Serialize;

/// What is measured and decided in one tick; the temperatures are true ones at its end.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Signals {
    /// Which tick.
    pub tick: u64,
    /// When, in seconds from the start.
    pub seconds: f64,
    /// The cell that reads lowest, from 1; the first of several.
    pub lowest_cell: usize,
    /// What it reads.
    pub lowest_cell_volts: f64,
    /// The cell that reads highest, from 1; the first of several.
    pub highest_cell: usize,
    /// What it reads.
    pub highest_cell_volts: f64,
    /// Current as measured, positive into the pack.
    pub current_amps: f64,
    /// Pack voltage as measured.
    pub pack_volts: f64,
    /// Link voltage as measured.
    pub link_volts: f64,
    /// Auxiliary supply as measured.
    pub supply_volts: f64,
    /// Temperature of the coldest cell, in truth.
    pub true_coldest_cell_celsius: f64,
    /// Temperature of the warmest cell, in truth.
    pub true_warmest_cell_celsius: f64,
    /// Current that may flow into the pack.
    pub charge_limit_amps: f64,
    /// Current that may flow out of it.
    pub discharge_limit_amps: f64,
    /// Where the contactor sequence stands.
    pub step: bms_core::Step,
}

impl Signals {
    /// What is shown of a tick that was played with this frame and this decision.
    pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
        tick: u64,
        at_ms: u64,
        frame: &Frame<CELLS, THERMISTORS>,
        decision: &Decision<CELLS>,
        after: &Loop<CELLS, THERMISTORS>,
    ) -> Self {
        let volts = |volts: Volts| f64::from(volts.milli()) / 1_000.0;
        let amps = |amps: Amps| f64::from(amps.milli()) / 1_000.0;
        let cells = || frame.cells.value.0.iter().copied().zip(1..);
        // The first of several equal ones, as in a list read from the top.
        let (lowest, lowest_cell) = cells().min_by_key(|(volts, _)| *volts).unwrap_or_default();
        let (highest, highest_cell) =
            cells().max_by_key(|(volts, cell)| (*volts, std::cmp::Reverse(*cell))).unwrap_or_default();
        let truth = after.world.truth();
        Self {
            tick,
            seconds: std::time::Duration::from_millis(at_ms).as_secs_f64(),
            lowest_cell,
            lowest_cell_volts: volts(lowest),
            highest_cell,
            highest_cell_volts: volts(highest),
            current_amps: amps(frame.current.value),
            pack_volts: volts(frame.voltages.value.pack),
            link_volts: volts(frame.voltages.value.link),
            supply_volts: volts(frame.supply.value),
            true_coldest_cell_celsius: truth.celsius_low.value,
            true_warmest_cell_celsius: truth.celsius_high.value,
            charge_limit_amps: amps(decision.limits.charge),
            discharge_limit_amps: amps(decision.limits.discharge),
            step: decision.step,
        }
    }
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
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn series<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    moments: u32,
    faults: &[Fault],
) -> Result<Series, StartError> {
    let mut now = Loop::<CELLS, THERMISTORS>::new(&recording.case)?;
    let apart = recording.end.seconds() / f64::from(moments.max(1));
    let mut happened = recording.events.iter().map(|event| event.tick).peekable();
    let mut watching = Watching { faults, nearest: vec![None; faults.len()] };
    let mut series = Series { signals: Vec::new(), watched: vec![Vec::new(); faults.len()] };
    let mut due = 0.0;
    while now.tick < recording.ticks {
        let (tick, at_ms, seconds) = (now.tick, now.at_ms, now.seconds());
        let mut taken = seconds >= due || tick + 1 == recording.ticks;
        while happened.next_if(|event| *event <= tick).is_some() {
            taken = true;
        }
        let frame = taken.then(|| now.frame());
        let decision = now.advance(&mut watching);
        let Some(frame) = frame else { continue };
        due = if seconds >= due { seconds + apart } else { due };
        series.signals.push(Signals::of(tick, at_ms, &frame, &decision, &now));
        for (watched, nearest) in series.watched.iter_mut().zip(&mut watching.nearest) {
            let Some(Assessment { observed: Some(observed), limit: Some(limit), .. }) = nearest.take() else {
                continue;
            };
            let ((observed, unit), (limit, _)) = (number(observed), number(limit));
            watched.push(Watched { seconds, observed, limit, unit });
        }
    }
    Ok(series)
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

/// JSON Schema of a message with signals.
pub(super) const SCHEMA: &str = r#"{"type":"object","properties":{
"tick":{"type":"integer"},"seconds":{"type":"number"},
"lowest_cell":{"type":"integer"},"lowest_cell_volts":{"type":"number"},
"highest_cell":{"type":"integer"},"highest_cell_volts":{"type":"number"},
"current_amps":{"type":"number","description":"positive into the pack"},
"pack_volts":{"type":"number"},"link_volts":{"type":"number"},"supply_volts":{"type":"number"},
"true_coldest_cell_celsius":{"type":"number"},"true_warmest_cell_celsius":{"type":"number"},
"charge_limit_amps":{"type":"number"},"discharge_limit_amps":{"type":"number"},"step":{"type":"string"}}}"#;
