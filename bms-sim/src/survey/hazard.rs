//! When truth would pass a safe bound if nothing reacted: as the [verdict](crate::explain::verdict) has it, for a drawn pack.

use super::vary::Build;
use crate::case::{Case, StartError};
use crate::explain::verdict::going_on;
use crate::run::Loop;
use crate::world::Actuators;
use crate::world::truth::Bound;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What was found in as much time as was looked at.
pub(super) struct Looked {
    /// From the first onset, in seconds; nothing where no bound is passed, or where the hazard is the switching itself.
    pub(super) hazard_seconds: Option<f64>,
}

/// Looks so many seconds beyond the onset of the first of these stories, which differ in nothing but limits; nothing when it was stopped.
/// `stands` is its pack shortly before the onset, if that is at hand: then it is played from there and not from its start.
pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
    cases: &[Arc<Case>],
    (build, stands): (Build, Option<Loop<CELLS, THERMISTORS>>),
    within_seconds: f64,
    stop: &AtomicBool,
) -> Result<Option<Looked>, StartError> {
    let Some(case) = cases.first() else { return Ok(Some(Looked { hazard_seconds: None })) };
    let onset_seconds = case.defects.iter().map(|defect| defect.onset_seconds).fold(f64::INFINITY, f64::min);
    let mut going = going_on(case, onset_seconds);
    going.duration_seconds = going.duration_seconds.min(onset_seconds + within_seconds);
    // What goes on without workshop and without rest is another story from its start where either comes before.
    let untouched = |pack: &Loop<CELLS, THERMISTORS>| {
        let gone = case.acts.len() != going.acts.len() || !case.repairs.is_empty() || case.rest_ms.is_some();
        !gone && pack.seconds() <= onset_seconds
    };
    let stands = stands.filter(untouched);
    let begin = |case: Case| {
        if let Some(mut pack) = stands.clone() {
            pack.turn_to(Arc::new(case));
            return Ok(pack);
        }
        let mut pack = Loop::<CELLS, THERMISTORS>::new(&Arc::new(case))?;
        build.bring(&mut pack);
        Ok::<_, StartError>(pack)
    };
    // Driven as a firmware drives it that sees nothing wrong.
    let mut twin = begin(going.without_defects())?;
    let mut world = begin(going.clone())?.world;
    let bounds = world.spec().safe;
    while !twin.over() {
        if stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        let seconds = twin.seconds();
        let actuators = Actuators::from(&twin.advance(&mut ()));
        world.step(twin.seconds() - seconds, &actuators, &going.demand_at(seconds).demand);
        if let Some(breach) = bounds.first_breach(&world.truth()) {
            let switching = matches!(breach.bound, Bound::ClosedOntoDifference | Bound::OpenedAboveLimit);
            let hazard_seconds = (!switching).then(|| (breach.seconds - onset_seconds).max(0.0));
            return Ok(Some(Looked { hazard_seconds }));
        }
    }
    Ok(Some(Looked { hazard_seconds: None }))
}
