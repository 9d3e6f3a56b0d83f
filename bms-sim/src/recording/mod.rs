//! # What happened
//!
//! A recorder listens to the firmware and keeps what is rare: changes of stage, moves of the sequence, refusals, near misses;
//! and of what is told every tick, the nearest each fault came to its limit. With a snapshot every so often any tick
//! can be visited again: [`Recording::at`] takes the snapshot before it and plays on to it. From any tick a [`branch`] goes another way,
//! beside the recording, which never changes. [`Recording::snapshots_cost`] says what the snapshots cost. [`export`] makes tables of it all.

pub mod branch;
pub mod column;
mod digest;
pub mod export;
pub mod file;
mod near;
mod playing;
mod recorder;
pub mod signals;
mod snapshots;
pub mod stepper;
pub mod values;

pub use near::MOST as MOST_NEAR;
pub use recorder::{JudgedStep, Nearest, Tightest};
pub use snapshots::{Cost, MOST as MOST_SNAPSHOTS};

use crate::case::{Ask, Case, StartError};
use crate::repair::Repair;
use crate::run::Loop;
use crate::world::truth::Breach;
use bms_core::decision::Cooling;
use bms_core::fault::Stage;
use bms_core::witness::{Assessment, Evidence, Quantity};
use bms_core::{Controller, Decision, Frame, Step, Witness};
use branch::Trunk;
pub(crate) use digest::Digest;
use playing::Playing;
use snapshots::Snapshots;
use std::sync::Arc;

/// Something that happened.
#[derive(Clone, Debug)]
pub struct Event {
    /// In which tick.
    pub tick: u64,
    /// When, in seconds from the start.
    pub seconds: f64,
    /// What.
    pub what: What,
}

/// What happened.
#[derive(Clone, Debug)]
pub enum What {
    /// A defect began; its place in the case's list.
    DefectBegan(usize),
    /// A defect ended; its place in the case's list.
    DefectEnded(usize),
    /// The operator or the workshop acted.
    Acted(Ask),
    /// The workshop put a new part in.
    Repaired(Repair),
    /// The firmware took other limits; the change's place in the case's list.
    LimitsChanged(usize),
    /// Another duty began.
    DutyBegan(&'static str),
    /// The firmware told something rare.
    Told(Evidence),
    /// Cooling was switched.
    Cooled(Cooling),
    /// A safe bound was passed in truth.
    Breached(Breach),
}

/// A case that was played, with snapshots from which any tick can be visited again.
#[derive(Debug)]
pub struct Recording<const CELLS: usize, const THERMISTORS: usize> {
    /// The case.
    pub case: Arc<Case>,
    /// What happened, in order of time.
    pub events: Vec<Event>,
    /// How near each fault came that has a limit, in the order of [`Fault::ALL`](bms_core::Fault::ALL).
    pub nearest: Vec<Option<Nearest>>,
    /// The pack and the firmware at the end.
    pub end: Loop<CELLS, THERMISTORS>,
    /// The first safe bound that truth passed.
    pub breach: Option<Breach>,
    /// The load steps that the first Confirmed resistance rests on; empty when there is none.
    pub load_steps: Vec<JudgedStep>,
    /// How far charge and discharge were held back with the contactors closed, if they were.
    pub tightest: [Option<Tightest>; 2],
    /// The cells that were bled, from 0, in the order in which they were first chosen.
    pub bled: Vec<u8>,
    /// Ticks that were played.
    pub ticks: u64,
    /// CRC-32 over every decision: equal for equal runs.
    pub digest: u32,
    snapshots: Snapshots<CELLS, THERMISTORS>,
    /// What it branches from, if it does.
    trunk: Option<Trunk<CELLS, THERMISTORS>>,
}

/// Plays a case from its start to its end. `progress` is called now and then with the time played in seconds and says whether to go on.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn play<const CELLS: usize, const THERMISTORS: usize>(
    case: &Arc<Case>,
    progress: impl FnMut(f64) -> bool,
) -> Result<Recording<CELLS, THERMISTORS>, StartError> {
    play_to(case, u64::MAX, &mut (), progress)
}

/// Follows a run while it is played.
pub(crate) trait Follow<const CELLS: usize, const THERMISTORS: usize> {
    /// Before a tick.
    fn before(&mut self, _now: &Loop<CELLS, THERMISTORS>) {}

    /// Decides a tick: the firmware does, unless a follower holds it against something.
    fn decide<W: Witness>(
        &mut self,
        core: &mut Controller<CELLS, THERMISTORS>,
        frame: &Frame<CELLS, THERMISTORS>,
        witness: &mut W,
    ) -> Decision<CELLS> {
        core.tick(frame, witness)
    }

    /// After it, with what happened in it and the digest of all decisions so far.
    fn after(&mut self, _now: &Loop<CELLS, THERMISTORS>, _events: &[Event], _digest: &Digest) {}

    /// Why the run does not go on, if it does not: the end of a sentence.
    fn ends(&self) -> Option<&'static str> {
        None
    }
}

/// Nobody follows.
impl<const CELLS: usize, const THERMISTORS: usize> Follow<CELLS, THERMISTORS> for () {}

/// Two follow; the first one decides.
impl<const CELLS: usize, const THERMISTORS: usize, A, B> Follow<CELLS, THERMISTORS> for (&mut A, &mut B)
where
    A: Follow<CELLS, THERMISTORS>,
    B: Follow<CELLS, THERMISTORS>,
{
    fn before(&mut self, now: &Loop<CELLS, THERMISTORS>) {
        self.0.before(now);
        self.1.before(now);
    }

    fn decide<W: Witness>(
        &mut self,
        core: &mut Controller<CELLS, THERMISTORS>,
        frame: &Frame<CELLS, THERMISTORS>,
        witness: &mut W,
    ) -> Decision<CELLS> {
        self.0.decide(core, frame, witness)
    }

    fn after(&mut self, now: &Loop<CELLS, THERMISTORS>, events: &[Event], digest: &Digest) {
        self.0.after(now, events, digest);
        self.1.after(now, events, digest);
    }

    fn ends(&self) -> Option<&'static str> {
        self.0.ends().or_else(|| self.1.ends())
    }
}

/// Plays a case from its start to its end, or to that number of ticks.
pub(crate) fn play_to<const CELLS: usize, const THERMISTORS: usize>(
    case: &Arc<Case>,
    most_ticks: u64,
    follower: &mut impl Follow<CELLS, THERMISTORS>,
    progress: impl FnMut(f64) -> bool,
) -> Result<Recording<CELLS, THERMISTORS>, StartError> {
    Ok(play_on(Playing::begin(case)?, None, most_ticks, follower, progress))
}

/// Plays on from where a run stands.
fn play_on<const CELLS: usize, const THERMISTORS: usize>(
    mut playing: Playing<CELLS, THERMISTORS>,
    trunk: Option<Trunk<CELLS, THERMISTORS>>,
    most_ticks: u64,
    follower: &mut impl Follow<CELLS, THERMISTORS>,
    mut progress: impl FnMut(f64) -> bool,
) -> Recording<CELLS, THERMISTORS> {
    let mut snapshots = Snapshots::new(playing.now.tick);
    while !playing.now.over() && playing.now.tick < most_ticks && follower.ends().is_none() {
        if snapshots.are_due(playing.now.tick) {
            snapshots.take(&mut playing);
            if !progress(playing.now.seconds()) {
                break;
            }
        }
        playing.tick(follower);
    }
    playing.recorded(snapshots, trunk)
}

impl<const CELLS: usize, const THERMISTORS: usize> Recording<CELLS, THERMISTORS> {
    /// The loop as it stood before a tick, played on from the snapshot before it. Beyond the end: the end.
    #[must_use]
    pub fn at(&self, tick: u64) -> Loop<CELLS, THERMISTORS> {
        let Some(snapshot) = self.snapshot_before(tick) else { return self.end.clone() };
        let mut visited = snapshot.clone();
        while visited.tick < tick && !visited.over() {
            visited.advance(&mut ());
        }
        visited
    }

    /// The last snapshot before a tick, or at it.
    fn snapshot_before(&self, tick: u64) -> Option<&Loop<CELLS, THERMISTORS>> {
        match self.trunk.as_ref().filter(|trunk| tick < trunk.tick) {
            Some(trunk) => trunk.recording.snapshot_before(tick),
            None => self.snapshots.before(|now| now.tick <= tick).map(|playing| &playing.now),
        }
    }

    /// The tick of the first snapshot behind a tick; that of the end when there is none.
    fn next_snapshot(&self, tick: u64) -> u64 {
        match self.trunk.as_ref().filter(|trunk| tick < trunk.tick) {
            Some(trunk) => trunk.recording.next_snapshot(tick).min(trunk.tick),
            None => self.snapshots.after(tick).unwrap_or(self.ticks),
        }
    }

    /// What its snapshots cost; those of what it branches from are counted there.
    #[must_use]
    pub fn snapshots_cost(&self) -> Cost {
        self.snapshots.cost()
    }

    /// The faults that became Confirmed, each with its first time and assessment, in order of time.
    #[must_use]
    pub fn confirmed(&self) -> Vec<(f64, Assessment)> {
        let mut found: Vec<(f64, Assessment)> = Vec::new();
        for event in &self.events {
            if let What::Told(Evidence::StageChanged { assessment, .. }) = &event.what
                && matches!(assessment.stage, Stage::Confirmed { .. })
                && !found.iter().any(|(_, known)| known.fault == assessment.fault)
            {
                found.push((event.seconds, *assessment));
            }
        }
        found
    }

    /// The step at the end.
    #[must_use]
    pub fn ends(&self) -> Step {
        self.end.core.step()
    }

    /// True charge of the fullest less the emptiest cell, in ampere-hours: at the start, and at the end.
    #[must_use]
    pub fn spread_ampere_hours(&self) -> (f64, f64) {
        let spread = |of: &Loop<CELLS, THERMISTORS>| {
            let truth = of.world.truth();
            (truth.charge_high.value - truth.charge_low.value) * self.case.pack.ampere_hours()
        };
        (spread(&self.at(0)), spread(&self.end))
    }

    /// Whether cooling ran at the end.
    #[must_use]
    pub fn cools(&self) -> bool {
        self.end.decision.is_some_and(|decision| decision.cooling == Cooling::On)
    }
}

/// A quantity as a bare number with the name of its unit, for files.
#[must_use]
pub fn number(quantity: Quantity) -> (f64, &'static str) {
    let milli = |thousandths: i32| f64::from(thousandths) / 1_000.0;
    match quantity {
        Quantity::Volts(q) => (milli(q.milli()), "volts"),
        Quantity::Amps(q) => (milli(q.milli()), "amps"),
        Quantity::Celsius(q) => (milli(q.milli()), "celsius"),
        Quantity::CelsiusPerSecond(q) => (milli(q.milli()), "celsius_per_second"),
        Quantity::Milliohms(q) => (milli(q.milli()), "milliohms"),
        Quantity::Ohms(q) => (f64::from(q.0), "ohms"),
        Quantity::OhmsPerVolt(q) => (f64::from(q.0), "ohms_per_volt"),
        Quantity::Ratio(q) => (f64::from(q.parts_per_million()) / 1e6, "of_1"),
        Quantity::Coulombs(q) => (milli(q.milliamp_hours()), "amp_hours"),
        Quantity::Millis(q) => (milli(i32::try_from(q.0).unwrap_or(i32::MAX)), "seconds"),
        Quantity::Count(count) => (f64::from(count), "count"),
    }
}
