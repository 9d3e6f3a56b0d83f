//! # Dangerous as it stands?
//!
//! Decides from truth, never from a table, whether a case is *critical*: whether some true quantity passes its safe bound, or would
//! within half an hour of the present duty if nothing reacted.
//!
//! The run without reactions has the world of the case, defects and all, but drives it with the decisions of its *twin*: the same
//! pack, the same seed, the same firmware, without the defects. A twin sees nothing wrong, so it goes on working; and since
//! the operator's last wish to open would end the duty, it is left out. The time at which a bound is passed then is the time to
//! the hazard, and what the firmware needed less is its margin. Only where the hazard is the switching itself (a contactor closed onto
//! a difference, or made to break too much) is that time no margin: it is when a healthy pack is switched, and the firmware is right
//! not to.
//!
//! A third class lies between: *critical by [blindness](super::blind)*. Nothing is out of bounds, but a protection has lost its only
//! measurement. It is looked for in the same run.

use super::blind::{self, Blind};
use crate::case::{Ask, Case, StartError};
use crate::recording::Recording;
use crate::run::Loop;
use crate::world::truth::{Bound, Breach};
use crate::world::{Actuators, World};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// How far the run without reactions looks beyond the first onset, in seconds.
const HORIZON_SECONDS: f64 = 1_800.0;

/// From the first onset to the first look for a lost measurement, in seconds: time for an input to follow.
pub(super) const FIRST_LOOK_SECONDS: f64 = 1.0;

/// From one look to the next.
pub(super) const LOOKS_APART_SECONDS: f64 = 60.0;

/// Whether a case is dangerous, and how soon.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    /// The bound that truth passed in the run itself.
    pub passed: Option<Breach>,
    /// The bound that would have been passed had nothing reacted.
    pub without_reactions: Option<Breach>,
    /// The protection that has lost its only measurement meanwhile.
    pub blind: Option<Blind>,
}

/// How dangerous a pack is, in rising order.
#[derive(Clone, Copy, Debug, Deserialize, Eq, Ord, PartialEq, PartialOrd, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Criticality {
    /// Truth stays inside its bounds, and whatever leaves them would be seen.
    NotCritical,
    /// Truth stays inside its bounds, but a protection has lost its only measurement.
    ByBlindness,
    /// A bound is passed.
    Critical,
}

impl Verdict {
    /// Whether the pack is dangerous as it stands.
    #[must_use]
    pub const fn critical(&self) -> bool {
        self.passed.is_some() || self.without_reactions.is_some()
    }

    /// How dangerous it is.
    #[must_use]
    pub const fn criticality(&self) -> Criticality {
        if self.critical() {
            Criticality::Critical
        } else if self.blind.is_some() {
            Criticality::ByBlindness
        } else {
            Criticality::NotCritical
        }
    }

    /// From the first onset to the hazard, in seconds, had nothing reacted. Nothing where the hazard is the switching itself: its moment is
    /// that of a healthy start or stop, and no time that the defect needs.
    #[must_use]
    pub fn seconds_to_hazard(&self, case: &Case) -> Option<f64> {
        let hazard = self.without_reactions.as_ref()?;
        let switching = matches!(hazard.bound, Bound::ClosedOntoDifference | Bound::OpenedAboveLimit);
        (!switching).then(|| (hazard.seconds - first_onset(case)).max(0.0))
    }

    /// From this second of the story to the hazard, had nothing reacted; less than none where it would have come before. Nothing where no
    /// bound would have been passed, or where the hazard is the switching itself.
    #[must_use]
    pub fn seconds_left(&self, case: &Case, from_seconds: f64) -> Option<f64> {
        self.seconds_to_hazard(case)?;
        self.without_reactions.map(|hazard| hazard.seconds - from_seconds)
    }

    /// The verdict on a case that was played.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack.
    pub fn of<const CELLS: usize, const THERMISTORS: usize>(
        recording: &Recording<CELLS, THERMISTORS>,
    ) -> Result<Self, StartError> {
        let case = &recording.case;
        if case.defects.is_empty() {
            return Ok(Self { passed: recording.breach, without_reactions: None, blind: None });
        }
        let going = going_on(case, first_onset(case));
        let driven = driven::<CELLS, THERMISTORS>(&going)?;
        Self::driven_on::<CELLS, THERMISTORS>(&going, recording.breach, driven)
    }

    /// The verdict on a case that goes on and is driven so, of which a run has passed this bound.
    ///
    /// # Errors
    /// When the driving is that of another pack.
    pub fn driven_on<const CELLS: usize, const THERMISTORS: usize>(
        going: &Case,
        passed: Option<Breach>,
        driven: impl Iterator<Item = Driven>,
    ) -> Result<Self, StartError> {
        let mut world: World<CELLS, THERMISTORS> = going.world()?;
        let bounds = world.spec().safe;
        let mut verdict = Self { passed, without_reactions: None, blind: None };
        let mut next_look = first_onset(going) + FIRST_LOOK_SECONDS;
        for Driven { seconds, step_seconds, actuators } in driven {
            world.step(step_seconds, &actuators, &going.demand_at(seconds).demand);
            if verdict.blind.is_none() && world.seconds >= next_look {
                verdict.blind = blind::look(&world, going.config());
                next_look += LOOKS_APART_SECONDS;
            }
            verdict.without_reactions = bounds.first_breach(&world.truth());
            if verdict.without_reactions.is_some() {
                break;
            }
        }
        Ok(verdict)
    }
}

/// What the firmware of a healthy pack drives over one step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Driven {
    /// When the step begins, in seconds from the start.
    pub seconds: f64,
    /// How long it is, in seconds.
    pub step_seconds: f64,
    /// What is driven.
    pub actuators: Actuators,
}

/// What the twin of a case decides, step by step to the end: the same for all cases that differ in nothing but their defects.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn driven<const CELLS: usize, const THERMISTORS: usize>(
    case: &Case,
) -> Result<impl Iterator<Item = Driven> + use<CELLS, THERMISTORS>, StartError> {
    let mut twin = Loop::<CELLS, THERMISTORS>::new(&Arc::new(case.without_defects()))?;
    Ok(core::iter::from_fn(move || {
        if twin.over() {
            return None;
        }
        let seconds = twin.seconds();
        let actuators = Actuators::from(&twin.advance(&mut ()));
        Some(Driven { seconds, step_seconds: twin.seconds() - seconds, actuators })
    }))
}

/// When the first defect begins, in seconds; infinite without one.
fn first_onset(case: &Case) -> f64 {
    case.defects.iter().map(|defect| defect.onset_seconds).fold(f64::INFINITY, f64::min)
}

/// The case as it goes on when nothing reacts: its duty repeated until half an hour after the onset, no wish to open, no loss of supply,
/// and no workshop.
#[must_use]
pub fn going_on(case: &Case, onset_seconds: f64) -> Case {
    let until_seconds = onset_seconds + HORIZON_SECONDS;
    let mut going = case.clone();
    going.acts.retain(|act| !matches!(act.ask, Ask::Open | Ask::LosePower(_)));
    going.repairs.clear();
    going.rest_ms = None;
    let length = case.duty.last().map_or(0.0, |last| last.from_seconds + last.seconds);
    let mut shift = length;
    while length > 0.0 && shift < until_seconds {
        going.duty.extend(case.duty.iter().map(|phase| {
            let mut again = *phase;
            again.from_seconds += shift;
            again
        }));
        shift += length;
    }
    going.duration_seconds = until_seconds;
    going
}
