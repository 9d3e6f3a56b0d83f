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

use crate::case::{Ask, Case, StartError};
use crate::recording::Recording;
use crate::run::Loop;
use crate::world::truth::{Bound, Breach, SafeBounds};
use crate::world::{Actuators, World};
use std::sync::Arc;

/// How far the run without reactions looks beyond the first onset, in seconds.
const HORIZON_SECONDS: f64 = 1_800.0;

/// Whether a case is dangerous, and how soon.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    /// The bound that truth passed in the run itself.
    pub passed: Option<Breach>,
    /// The bound that would have been passed had nothing reacted.
    pub without_reactions: Option<Breach>,
}

impl Verdict {
    /// Whether the pack is dangerous as it stands.
    #[must_use]
    pub const fn critical(&self) -> bool {
        self.passed.is_some() || self.without_reactions.is_some()
    }

    /// From the first onset to the hazard, in seconds, had nothing reacted. Nothing where the hazard is the switching itself: its moment is
    /// that of a healthy start or stop, and no time that the defect needs.
    #[must_use]
    pub fn seconds_to_hazard(&self, case: &Case) -> Option<f64> {
        let hazard = self.without_reactions.as_ref()?;
        let switching = matches!(hazard.bound, Bound::ClosedOntoDifference | Bound::OpenedAboveLimit);
        (!switching).then(|| (hazard.seconds - first_onset(case)).max(0.0))
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
            return Ok(Self { passed: recording.breach, without_reactions: None });
        }
        let going = going_on(case, first_onset(case));
        let without_reactions = hazard::<CELLS, THERMISTORS>(&going, driven::<CELLS, THERMISTORS>(&going)?)?;
        Ok(Self { passed: recording.breach, without_reactions })
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

/// The first bound that truth passes when the world of the case is driven so.
///
/// # Errors
/// When the driving is that of another pack.
pub fn hazard<const CELLS: usize, const THERMISTORS: usize>(
    case: &Case,
    driven: impl Iterator<Item = Driven>,
) -> Result<Option<Breach>, StartError> {
    let mut world: World<CELLS, THERMISTORS> = case.world()?;
    let bounds = SafeBounds::of(world.spec());
    for Driven { seconds, step_seconds, actuators } in driven {
        world.step(step_seconds, &actuators, &case.demand_at(seconds).demand);
        if let Some(breach) = bounds.first_breach(&world.truth()) {
            return Ok(Some(breach));
        }
    }
    Ok(None)
}

/// When the first defect begins, in seconds; infinite without one.
fn first_onset(case: &Case) -> f64 {
    case.defects.iter().map(|defect| defect.onset_seconds).fold(f64::INFINITY, f64::min)
}

/// The case as it goes on when nothing reacts: its duty repeated until half an hour after the onset, and no wish to open.
#[must_use]
pub fn going_on(case: &Case, onset_seconds: f64) -> Case {
    let until_seconds = onset_seconds + HORIZON_SECONDS;
    let mut going = case.clone();
    going.acts.retain(|act| act.ask != Ask::Open);
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
