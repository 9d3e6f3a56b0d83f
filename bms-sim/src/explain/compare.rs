//! # Two branches side by side
//!
//! When two branches of a recording part, and what happened in one and not in the other. Both are played in step from the first tick that
//! they do not share; they have the same noise, so that every difference comes of what was changed.

use super::departs;
use super::story::happened;
use super::words;
use crate::recording::stepper::{Branch, Stepper};
use std::collections::BTreeSet;

/// The first tick in which something differs, and its time in seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct First {
    /// The tick.
    pub tick: u64,
    /// When.
    pub seconds: f64,
}

/// What differs between two branches.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// The first tick that they do not share.
    pub parting: u64,
    /// When a true voltage, charge or temperature, or a true contact, differs first.
    pub truth: Option<First>,
    /// When a measurement differs first by more than its step.
    pub frame: Option<First>,
    /// When the firmware answers otherwise first.
    pub decision: Option<First>,
    /// What happened in one and not in the other, with its time: of the first branch, and of the second one.
    pub events: [Vec<(f64, String)>; 2],
}

impl Comparison {
    /// Two branches compared, by their places.
    #[must_use]
    pub fn of<const CELLS: usize, const THERMISTORS: usize>(
        stepper: &Stepper<CELLS, THERMISTORS>,
        one: usize,
        other: usize,
    ) -> Self {
        let (a, b) = (&stepper.branches()[one], &stepper.branches()[other]);
        let parting = stepper.parting(one, other);
        let mut found =
            Self { parting, truth: None, frame: None, decision: None, events: only(a, b, parting) };
        if one == other {
            return found;
        }
        let (mut mine, mut its) = (a.recording.at(parting), b.recording.at(parting));
        let last = a.recording.ticks.min(b.recording.ticks);
        // While one of them rests in larger steps they are not in step, and nothing can be compared.
        while mine.tick < last && mine.at_ms == its.at_ms {
            let first = First { tick: mine.tick, seconds: mine.seconds() };
            if found.truth.is_none() && departs::truth(&mine.world, &its.world).is_some() {
                found.truth = Some(first);
            }
            let sensors = &mine.world.spec().sensors;
            if found.frame.is_none() && departs::reading(&mine.frame(), &its.frame(), sensors).is_some() {
                found.frame = Some(first);
            }
            if mine.advance(&mut ()) != its.advance(&mut ()) && found.decision.is_none() {
                found.decision = Some(first);
            }
            if found.truth.is_some() && found.frame.is_some() && found.decision.is_some() {
                break;
            }
        }
        found
    }

    /// The comparison, line by line.
    #[must_use]
    pub fn lines(&self, one: &str, other: &str) -> Vec<String> {
        let mut lines = words::stop::compared(self, one, other);
        for (name, events) in [one, other].into_iter().zip(&self.events) {
            lines.push(words::stop::only_in(name, events.len()));
            lines.extend(
                events.iter().map(|(seconds, said)| format!("{:>10}  {said}", words::clock(*seconds))),
            );
        }
        lines
    }
}

/// What happened in one of them and not in the other, in the same tick.
fn only<const CELLS: usize, const THERMISTORS: usize>(
    one: &Branch<CELLS, THERMISTORS>,
    other: &Branch<CELLS, THERMISTORS>,
    parting: u64,
) -> [Vec<(f64, String)>; 2] {
    let said = |of: &Branch<CELLS, THERMISTORS>| -> Vec<(u64, f64, String)> {
        let since = of.recording.events.iter().filter(|event| event.tick >= parting);
        since.map(|event| (event.tick, event.seconds, happened(&of.recording.case, event))).collect()
    };
    let both = [said(one), said(other)];
    let known = both.each_ref().map(|events| -> BTreeSet<(u64, &str)> {
        events.iter().map(|(tick, _, said)| (*tick, said.as_str())).collect()
    });
    [(&both[0], &known[1]), (&both[1], &known[0])].map(|(events, known)| {
        let own = events.iter().filter(|(tick, _, said)| !known.contains(&(*tick, said.as_str())));
        own.map(|(_, seconds, said)| (*seconds, said.clone())).collect()
    })
}
