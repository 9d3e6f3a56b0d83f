//! # What happened
//!
//! A recorder listens to the firmware and keeps what is rare: changes of stage, moves of the sequence, refusals, near misses;
//! and of what is told every tick, the nearest each fault came to its limit. With a snapshot every so often any tick
//! can be visited again: [`Recording::at`] takes the snapshot before it and plays on to it.

mod digest;
pub mod file;
mod recorder;
pub mod signals;
pub mod stepper;
pub mod values;

pub use recorder::{JudgedStep, Nearest, Tightest};

use crate::case::{Ask, Case, StartError};
use crate::repair::Repair;
use crate::run::Loop;
use crate::world::truth::{Breach, SafeBounds};
use bms_core::Step;
use bms_core::decision::Cooling;
use bms_core::fault::Stage;
use bms_core::witness::{Assessment, Evidence, Quantity};
use digest::Digest;
use recorder::Recorder;
use std::sync::Arc;

/// Snapshots that are kept at most; when there are more, every second one goes and they are taken half as often.
const SNAPSHOTS: usize = 512;

/// Ticks between two snapshots, at first.
const FIRST_SPACING: u64 = 100;

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
    snapshots: Vec<Loop<CELLS, THERMISTORS>>,
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
trait Follow<const CELLS: usize, const THERMISTORS: usize> {
    /// Before a tick.
    fn before(&mut self, now: &Loop<CELLS, THERMISTORS>);

    /// After it, with what happened in it and the digest of all decisions so far.
    fn after(&mut self, now: &Loop<CELLS, THERMISTORS>, events: &[Event], digest: &Digest);
}

/// Nobody follows.
impl<const CELLS: usize, const THERMISTORS: usize> Follow<CELLS, THERMISTORS> for () {
    fn before(&mut self, _now: &Loop<CELLS, THERMISTORS>) {}
    fn after(&mut self, _now: &Loop<CELLS, THERMISTORS>, _events: &[Event], _digest: &Digest) {}
}

/// Plays a case from its start to its end, or to that number of ticks.
fn play_to<const CELLS: usize, const THERMISTORS: usize>(
    case: &Arc<Case>,
    most_ticks: u64,
    follower: &mut impl Follow<CELLS, THERMISTORS>,
    mut progress: impl FnMut(f64) -> bool,
) -> Result<Recording<CELLS, THERMISTORS>, StartError> {
    let mut now = Loop::<CELLS, THERMISTORS>::new(case)?;
    let bounds = SafeBounds::of(now.world.spec());
    let mut recorder = Recorder::new(case.config());
    let (mut snapshots, mut spacing) = (Vec::new(), FIRST_SPACING);
    let mut breach = None::<Breach>;
    let mut digest = Digest::new();
    let mut before = -1.0;
    while !now.over() && now.tick < most_ticks {
        if now.tick.is_multiple_of(spacing) {
            snapshots.push(now.clone());
            if snapshots.len() > SNAPSHOTS {
                let mut keep = false;
                snapshots.retain(|_| {
                    keep = !keep;
                    keep
                });
                spacing *= 2;
            }
            if !progress(now.seconds()) {
                break;
            }
        }
        (recorder.tick, recorder.seconds) = (now.tick, now.seconds());
        let told = recorder.events.len();
        tell_story(case, &mut recorder, before);
        before = now.seconds();
        follower.before(&now);
        let decision = now.advance(&mut recorder);
        digest.feed(&decision);
        recorder.decided(&decision);
        if breach.is_none() {
            breach = bounds.first_breach(&now.world.truth());
            if let Some(breach) = breach {
                recorder.note(What::Breached(breach));
            }
        }
        follower.after(&now, recorder.events.get(told..).unwrap_or_default(), &digest);
    }
    Ok(Recording {
        case: Arc::clone(case),
        events: recorder.events,
        nearest: recorder.nearest,
        ticks: now.tick,
        end: now,
        breach,
        load_steps: recorder.steps_of_fault,
        tightest: recorder.tightest,
        bled: recorder.bled,
        digest: digest.value(),
        snapshots,
    })
}

/// Notes what the case itself does between the tick before and this one.
fn tell_story(case: &Case, recorder: &mut Recorder, before: f64) {
    let now = recorder.seconds;
    let passed = |at: f64| at > before && at <= now;
    for (place, defect) in case.defects.iter().enumerate() {
        if passed(defect.onset_seconds) {
            recorder.note(What::DefectBegan(place));
        }
        if defect.end_seconds.is_some_and(passed) {
            recorder.note(What::DefectEnded(place));
        }
    }
    for repaired in &case.repairs {
        if passed(std::time::Duration::from_millis(repaired.at_ms).as_secs_f64()) {
            recorder.note(What::Repaired(repaired.repair));
        }
    }
    for act in &case.acts {
        if passed(std::time::Duration::from_millis(act.at_ms).as_secs_f64()) {
            recorder.note(What::Acted(act.ask));
        }
    }
    let begun = case.demand_at(now).work.name();
    if begun != recorder.duty {
        recorder.duty_before = recorder.duty;
        recorder.duty = begun;
        recorder.note(What::DutyBegan(begun));
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Recording<CELLS, THERMISTORS> {
    /// The loop as it stood before a tick, played on from the snapshot before it. Beyond the end: the end.
    #[must_use]
    pub fn at(&self, tick: u64) -> Loop<CELLS, THERMISTORS> {
        let before = self.snapshots.partition_point(|snapshot| snapshot.tick <= tick);
        let Some(snapshot) = before.checked_sub(1).and_then(|place| self.snapshots.get(place)) else {
            return self.end.clone();
        };
        let mut visited = snapshot.clone();
        while visited.tick < tick && !visited.over() {
            visited.advance(&mut ());
        }
        visited
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
        (spread(self.snapshots.first().unwrap_or(&self.end)), spread(&self.end))
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
