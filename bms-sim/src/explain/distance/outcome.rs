//! Whether something came in a run, and when.

use crate::case::{Case, StartError};
use crate::run::Loop;
use bms_core::fault::{Fault, Reaction};
use bms_core::frame::Wanted;
use bms_core::{Decision, Witness};
use std::sync::Arc;

/// Something that comes in a run or does not.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Outcome {
    /// This fault is Confirmed.
    Confirmed(Fault),
    /// Some fault is Confirmed.
    Any,
    /// Some fault demands that the contactors open.
    Trip,
    /// The pack was connected and is not any more, in truth, while the operator still wants it closed.
    Opened,
    /// A safe bound is passed, in truth.
    Hazard,
}

/// When something came for the first time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Came {
    /// In which tick.
    pub tick: u64,
    /// When that tick began, in seconds from the start.
    pub seconds: f64,
    /// The fault that it came by, where it came by one.
    pub by: Option<Fault>,
}

/// Plays a case until the outcome comes, to its end, or to that time; and says when it came, if it did.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn replayed<const CELLS: usize, const THERMISTORS: usize>(
    case: &Arc<Case>,
    outcome: Outcome,
    until_ms: u64,
    witness: &mut impl Witness,
) -> Result<Option<Came>, StartError> {
    let mut now = Loop::<CELLS, THERMISTORS>::new(case)?;
    let bounds = now.world.spec().safe;
    let mut connected = false;
    while !now.over() && now.at_ms < until_ms {
        let mut this = Came { tick: now.tick, seconds: now.seconds(), by: None };
        let wanted = case.asked_at(now.at_ms, 1).contactors;
        let decision = now.advance(witness);
        let here = match outcome {
            Outcome::Confirmed(fault) => decision.faults.confirmed.holds(fault),
            Outcome::Any => !decision.faults.confirmed.is_empty(),
            Outcome::Trip => trips(&decision),
            Outcome::Opened => {
                let joined = now.world.bus.joined(&now.world.deviations().contactors);
                let parted = connected && !joined;
                connected = joined;
                parted && wanted == Wanted::Closed
            }
            Outcome::Hazard => bounds.first_breach(&now.world.truth()).is_some(),
        };
        if here {
            this.by = match outcome {
                Outcome::Confirmed(fault) => Some(fault),
                Outcome::Any => decision.faults.confirmed.iter().next(),
                Outcome::Trip | Outcome::Opened => decision.faults.reaction.map(|(_, fault)| fault),
                Outcome::Hazard => None,
            };
            return Ok(Some(this));
        }
    }
    Ok(None)
}

fn trips<const CELLS: usize>(decision: &Decision<CELLS>) -> bool {
    decision.faults.reaction.is_some_and(|(reaction, _)| reaction >= Reaction::OpenSoon)
}
