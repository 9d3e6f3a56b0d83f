//! # Why nothing was said of a defect
//!
//! Decides, of each defect that no Confirmed fault begins with, what it did all the same: how far truth departed from the twin, how
//! far a reading did, and which fault it brought nearer to its limit. All of it is read from the case and its twin without that defect,
//! played in step to the end; how bad the defect must be to be heard of is a [distance](super::distance).
//!
//! ```text
//! nothing true differs           → it has harmed nothing
//! no reading differs by more
//!   than its channel's own errors → nobody who reads the channels could tell
//! one does, no fault is nearer    → it could be seen, but no fault holds it against a limit
//! a fault is nearer               → it is watched, and stays short of that limit
//! ```

use super::chain::Chain;
use super::channels::Channel;
use super::departs::{self, Fact, Most};
use super::story::relative;
use crate::case::StartError;
use crate::recording::{self, Nearest, Recording};
use crate::run::Loop;
use bms_core::Fault;
use std::sync::Arc;

/// What a defect did of which nothing was said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quiet {
    /// The defect, by its place in the case's list.
    pub defect: usize,
    /// What was true and differed the most, and when, in seconds from the start; nothing if truth was the twin's.
    pub truth: Option<(f64, Most<Fact>)>,
    /// The reading that differed by the most of its channel's own errors, and when.
    pub reading: Option<(f64, Most<Channel>)>,
    /// The fault that it brought nearer to its limit by the largest part of the way.
    pub nearer: Option<Nearer>,
}

/// How near a fault came, with a defect and without.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nearer {
    /// In the case.
    pub with: Nearest,
    /// In the twin.
    pub without: Nearest,
}

/// Nearer by less than this part of the way is as near.
const NEARER: f64 = 0.01;

/// Every defect of which nothing was said, in the order of the list.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    chains: &[Chain],
) -> Result<Vec<Quiet>, StartError> {
    let told = |defect: &usize| chains.iter().any(|chain| chain.cause() == Some(*defect));
    let begun = |defect: &usize| recording.case.defects[*defect].onset_seconds < recording.end.seconds();
    let quiet = (0..recording.case.defects.len()).filter(|defect| begun(defect) && !told(defect));
    quiet.map(|defect| quiet_of(recording, defect)).collect()
}

fn quiet_of<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    defect: usize,
) -> Result<Quiet, StartError> {
    let mut played = Loop::<CELLS, THERMISTORS>::new(&recording.case)?;
    let mut twin = Loop::<CELLS, THERMISTORS>::new(&Arc::new(recording.case.without_defect(defect)))?;
    let mut quiet = Quiet { defect, truth: None, reading: None, nearer: nearer(recording, defect)? };
    let onset = recording.case.defects[defect].onset_seconds;
    // While one of them rests in larger steps they are not in step, and nothing can be compared.
    while played.tick < recording.ticks && !twin.over() && played.at_ms == twin.at_ms {
        let seconds = played.seconds();
        if seconds >= onset {
            keep(&mut quiet.truth, seconds, departs::truth_most(&played.world, &twin.world));
            let sensors = &played.world.spec().sensors;
            keep(&mut quiet.reading, seconds, departs::reading_most(&played.frame(), &twin.frame(), sensors));
        }
        played.advance(&mut ());
        twin.advance(&mut ());
    }
    Ok(quiet)
}

/// Keeps what differs by more than before.
fn keep<What>(kept: &mut Option<(f64, Most<What>)>, seconds: f64, now: Option<Most<What>>) {
    if let Some(now) = now
        && kept.as_ref().is_none_or(|(_, most)| now.times > most.times)
    {
        *kept = Some((seconds, now));
    }
}

/// The fault that a defect brought nearer to its limit by the largest part of the way that is left without it, of those that were not
/// Confirmed.
fn nearer<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    defect: usize,
) -> Result<Option<Nearer>, StartError> {
    let twin = Arc::new(recording.case.without_defect(defect));
    let until = recording.end.seconds();
    let twin: Recording<CELLS, THERMISTORS> = recording::play(&twin, |seconds| seconds < until)?;
    let confirmed: Vec<Fault> = recording.confirmed().iter().map(|(_, seen)| seen.fault).collect();
    let both = recording.nearest.iter().zip(&twin.nearest).filter_map(|(with, without)| {
        let (with, without) = ((*with)?, (*without)?);
        let (left, way) = (relative(&with.assessment)?, relative(&without.assessment)?);
        let by = (way - left) / way.abs();
        let open = !confirmed.contains(&with.assessment.fault);
        (open && by > NEARER).then_some((by, Nearer { with, without }))
    });
    Ok(both.max_by(|(one, _), (other, _)| one.total_cmp(other)).map(|(_, nearer)| nearer))
}

/// The fault that the first defect with any effect on one brought nearer to its limit.
pub(super) fn brought_nearer<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Option<Fault> {
    let defects = 0..recording.case.defects.len();
    // The same case was played already: its twins can be.
    let found = defects.into_iter().find_map(|defect| nearer(recording, defect).ok().flatten());
    found.map(|nearer| nearer.with.assessment.fault)
}
