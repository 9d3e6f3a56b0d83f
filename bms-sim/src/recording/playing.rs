//! A run while it is played: the loop, and what was heard of it so far.

use super::branch::Trunk;
use super::digest::Digest;
use super::recorder::Recorder;
use super::snapshots::Snapshots;
use super::{Follow, Recording, What};
use crate::case::{Case, Change, StartError};
use crate::run::Loop;
use crate::world::truth::{Breach, SafeBounds};
use std::sync::Arc;
use std::time::Duration;

/// A run while it is played. A clone is played on as the original is.
#[derive(Clone, Debug)]
pub(super) struct Playing<const CELLS: usize, const THERMISTORS: usize> {
    pub(super) now: Loop<CELLS, THERMISTORS>,
    pub(super) recorder: Recorder,
    bounds: SafeBounds,
    breach: Option<Breach>,
    digest: Digest,
    /// Time of the tick before, in seconds.
    before: f64,
}

impl<const CELLS: usize, const THERMISTORS: usize> Playing<CELLS, THERMISTORS> {
    /// A case at its start.
    pub(super) fn begin(case: &Arc<Case>) -> Result<Self, StartError> {
        let now = Loop::new(case)?;
        Ok(Self {
            bounds: now.world.spec().safe,
            now,
            recorder: Recorder::new(case.config()),
            breach: None,
            digest: Digest::new(),
            before: -1.0,
        })
    }

    /// Plays one tick.
    pub(super) fn tick(&mut self, follower: &mut impl Follow<CELLS, THERMISTORS>) {
        let Self { now, recorder, bounds, breach, digest, before } = self;
        (recorder.tick, recorder.seconds) = (now.tick, now.seconds());
        let told = recorder.events.len();
        tell_story(now.case(), recorder, *before);
        *before = now.seconds();
        follower.before(now);
        let decision =
            now.advance_deciding(&now.measured(), |core, frame| follower.decide(core, frame, recorder));
        digest.feed(&decision);
        recorder.decided(&decision);
        if breach.is_none() {
            *breach = bounds.first_breach(&now.world.truth());
            if let Some(breach) = breach {
                recorder.note(What::Breached(*breach));
            }
        }
        follower.after(now, recorder.events.get(told..).unwrap_or_default(), digest);
    }

    /// The same without the events, which the recording has.
    pub(super) fn without_events(&mut self) -> Self {
        let events = std::mem::take(&mut self.recorder.events);
        let same = self.clone();
        self.recorder.events = events;
        same
    }

    /// The run as it was played.
    pub(super) fn recorded(
        self,
        snapshots: Snapshots<CELLS, THERMISTORS>,
        trunk: Option<Trunk<CELLS, THERMISTORS>>,
    ) -> Recording<CELLS, THERMISTORS> {
        Recording {
            case: Arc::clone(self.now.case()),
            events: self.recorder.events,
            nearest: self.recorder.nearest,
            ticks: self.now.tick,
            end: self.now,
            breach: self.breach,
            load_steps: self.recorder.steps_of_fault,
            tightest: self.recorder.tightest,
            bled: self.recorder.bled,
            digest: self.digest.value(),
            snapshots,
            trunk,
        }
    }
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
        if passed(Duration::from_millis(repaired.at_ms).as_secs_f64()) {
            recorder.note(What::Repaired(repaired.repair));
        }
    }
    for act in &case.acts {
        if passed(Duration::from_millis(act.at_ms).as_secs_f64()) {
            recorder.note(What::Acted(act.ask));
        }
    }
    for (place, changed) in case.changes.iter().enumerate() {
        if matches!(changed.change, Change::Limits(_)) && passed(changed.seconds()) {
            recorder.note(What::LimitsChanged(place));
        }
    }
    let begun = case.demand_at(now).work.name();
    if begun != recorder.duty {
        recorder.duty_before = recorder.duty;
        recorder.duty = begun;
        recorder.note(What::DutyBegan(begun));
    }
}
