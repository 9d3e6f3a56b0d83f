//! # Why this and not that
//!
//! Decides what separates two faults in one run ([`faults`]), and two defects: the one of the case, and another one that is put in its place. Both worlds are played with the same
//! seed, so that all their noise is the same and every difference between their frames is the defects' doing.
//!
//! ```text
//! seen: | reading here − reading there | > 6 σ of the channel's noise + 1.5 steps
//! ```
//!
//! That much a single reading shows, whatever the noise: a channel that never differs by more does not separate them. The frames are
//! compared until the firmware acts differently on them; from there on they differ by what it does.
//!
//! If nothing separates them up to the end, something must be done: each [`Trial`] is played in both worlds from there on, and the
//! first reading that differs is told. An act that shows the same in both worlds is told too: it need not be tried.

pub mod faults;
mod reading;
mod trial;

pub use super::channels::Channel;
pub use reading::Difference;
pub use trial::Trial;

use crate::case::{Case, StartError};
use crate::defect::Defect;
use crate::run::Loop;
use bms_core::Fault;
use std::sync::Arc;
use trial::Questioned;

/// What separates a case from the same one with another defect.
#[derive(Clone, Debug, PartialEq)]
pub struct Contrast {
    /// The defect that is put in, as it begins and grows there.
    pub instead: Defect,
    /// The one of the case that it replaces, by its place in the list; nothing where the case has none.
    pub of: Option<usize>,
    /// What both worlds show as they are played.
    pub played: Compared,
    /// What each act would show, where nothing separated them before: the acts in order, with the first reading that differs.
    pub trials: Vec<(Trial, Option<Difference>)>,
}

/// What two worlds show side by side.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Compared {
    /// The first difference of each channel that shows one, in order of time.
    pub differences: Vec<Difference>,
    /// When the firmware first acts differently, in seconds from the start.
    pub acts_apart: Option<f64>,
    /// The faults that became Confirmed, here and there.
    pub confirmed: [Vec<Fault>; 2],
    /// Until when they were compared, in seconds from the start.
    pub until: f64,
}

impl Contrast {
    /// The contrast of a case, in which the defect at `of` is the one in question, and another defect.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack, or the pack has no such place.
    pub fn between<const CELLS: usize, const THERMISTORS: usize>(
        case: &Arc<Case>,
        of: Option<usize>,
        other: Defect,
    ) -> Result<Self, StartError> {
        let replaced = of.and_then(|place| case.defects.get(place));
        let instead = replaced.map_or(other, |replaced| begun_as(replaced, other));
        let mut there = (**case).clone();
        match of.and_then(|place| there.defects.get_mut(place)) {
            Some(defect) => *defect = instead,
            None => there.defects.push(instead),
        }
        let there = Arc::new(there);
        let played = Compared::of::<CELLS, THERMISTORS>([case, &there], 0)?;
        let mut trials = Vec::new();
        if played.differences.is_empty() && played.acts_apart.is_none() {
            let spec = case.pack.spec();
            let both = [Some(&instead), replaced].into_iter().flatten();
            let questioned =
                both.fold(Questioned::default(), |places, defect| places.with_defect(defect, &spec));
            for trial in Trial::all(&questioned, 1) {
                trials.push((trial, trial.parts_worlds::<CELLS, THERMISTORS>([case, &there])?));
            }
        }
        Ok(Self { instead, of, played, trials })
    }
}

/// Another defect that begins, grows and ends like the one that it replaces, as far as its kind can.
fn begun_as(replaced: &Defect, other: Defect) -> Defect {
    Defect {
        onset_seconds: replaced.onset_seconds,
        end_seconds: replaced.end_seconds,
        grows_seconds: if other.kind.grows() { replaced.grows_seconds } else { 0.0 },
        spells: replaced.spells.filter(|_| other.kind.comes_and_goes()),
        ..other
    }
}

impl Compared {
    /// Plays two cases in step and compares their frames from an instant on.
    ///
    /// # Errors
    /// When the type has other counts than the cases' pack.
    fn of<const CELLS: usize, const THERMISTORS: usize>(
        cases: [&Arc<Case>; 2],
        from_ms: u64,
    ) -> Result<Self, StartError> {
        let [one, other] = cases;
        let mut here = Loop::<CELLS, THERMISTORS>::new(one)?;
        let mut there = Loop::<CELLS, THERMISTORS>::new(other)?;
        let sensors = here.world.spec().sensors.clone();
        let mut compared = Self::default();
        // Once one of them rests in larger steps they are not in step, and nothing can be compared.
        while !here.over() && !there.over() && here.at_ms == there.at_ms && compared.acts_apart.is_none() {
            compared.until = here.seconds();
            if here.at_ms >= from_ms {
                compared.differences.extend(reading::differences(
                    (&here.frame(), &there.frame()),
                    &sensors,
                    here.seconds(),
                    &compared.differences,
                ));
            }
            let decisions = (here.advance(&mut ()), there.advance(&mut ()));
            compared.note(&here, &there);
            let hardware = |decision: &bms_core::Decision<CELLS>| {
                (decision.step, decision.coils, decision.bleed, decision.cooling)
            };
            if hardware(&decisions.0) != hardware(&decisions.1) {
                compared.acts_apart = Some(compared.until);
            }
        }
        // What is concluded in the end is told of both, compared or not.
        while !here.over() || !there.over() {
            for played in [&mut here, &mut there] {
                if !played.over() {
                    played.advance(&mut ());
                }
            }
            compared.note(&here, &there);
        }
        Ok(compared)
    }

    /// Keeps what is Confirmed.
    fn note<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        here: &Loop<CELLS, THERMISTORS>,
        there: &Loop<CELLS, THERMISTORS>,
    ) {
        for (confirmed, played) in self.confirmed.iter_mut().zip([here, there]) {
            let now = played.core.faults().confirmed;
            if !now.is_empty() {
                confirmed.extend(now.iter().filter(|fault| !confirmed.contains(fault)).collect::<Vec<_>>());
            }
        }
    }
}
