//! # Forwards and backwards through what was played
//!
//! A stepper stands in a recording after some number of ticks, from none to all of them. It goes on or back by ticks, to a time, or to the
//! tick in which something happened, and shows the tick that was played last: what reached the firmware, what it answered, what
//! it said of it, and how the pack stood then.
//!
//! From where it stands it may go another way: a branch beside the recording, with something otherwise from the next tick on. Branches may
//! have branches; none changes what it came from.
//!
//! Going back is playing again: from the snapshot before the tick, at most [`spacing`](super::Cost::spacing) ticks; and a small
//! part of that where one steps (`near`). The same tick looks the same from either side, bit for bit.

use super::near::Near;
use super::{Cost, Event, Recording, What};
use crate::case::{Change, Unchanged};
use crate::run::Loop;
use bms_core::{Decision, Evidence, Frame, Witness};
use std::sync::Arc;

/// Where somebody stands in a recording, and the branches beside it.
#[derive(Clone, Debug)]
pub struct Stepper<const CELLS: usize, const THERMISTORS: usize> {
    branches: Vec<Branch<CELLS, THERMISTORS>>,
    here: usize,
    played: u64,
    near: Near<CELLS, THERMISTORS>,
}

/// A recording among its branches.
#[derive(Clone, Debug)]
pub struct Branch<const CELLS: usize, const THERMISTORS: usize> {
    /// What it is called.
    pub name: String,
    /// What it branches from: the place in the list of branches, and the first tick that is played otherwise. The original from nothing.
    pub from: Option<(usize, u64)>,
    /// What is otherwise from then on.
    pub change: Option<Change>,
    /// What happened in it, from the start.
    pub recording: Arc<Recording<CELLS, THERMISTORS>>,
}

/// What the recording itself is called.
pub const ORIGINAL: &str = "original";

/// One tick as it was played.
#[derive(Clone, Debug)]
pub struct Stop<const CELLS: usize, const THERMISTORS: usize> {
    /// The tick, from 0.
    pub tick: u64,
    /// When its frame was taken, in seconds from the start.
    pub seconds: f64,
    /// What reached the firmware.
    pub frame: Frame<CELLS, THERMISTORS>,
    /// What it answered.
    pub decision: Decision<CELLS>,
    /// All that it told of it.
    pub told: Vec<Evidence>,
    /// What happened in it.
    pub events: Vec<Event>,
    /// World and firmware after it.
    pub after: Loop<CELLS, THERMISTORS>,
}

/// Which way to look.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Way {
    /// To later ticks.
    On,
    /// To earlier ones.
    Back,
}

/// What to look for.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Sought {
    /// Anything that happened.
    Event,
    /// A fault changed its stage.
    Stage,
    /// Another reaction holds, or none any more.
    Reaction,
    /// The contactor sequence moved.
    Contactors,
    /// Operator or workshop acted.
    Act,
}

impl Sought {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Event, Self::Stage, Self::Reaction, Self::Contactors, Self::Act];

    /// Whether this is it.
    #[must_use]
    pub const fn is(self, what: &What) -> bool {
        match self {
            Self::Event => true,
            Self::Stage => matches!(what, What::Told(Evidence::StageChanged { .. })),
            Self::Reaction => matches!(what, What::Told(Evidence::Reacting { .. })),
            Self::Contactors => matches!(what, What::Told(Evidence::Moved { .. })),
            Self::Act => matches!(what, What::Acted(_) | What::Repaired(_)),
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Stepper<CELLS, THERMISTORS> {
    /// Before the first tick.
    #[must_use]
    pub fn new(recording: Arc<Recording<CELLS, THERMISTORS>>) -> Self {
        let original = Branch { name: ORIGINAL.to_owned(), from: None, change: None, recording };
        Self { branches: vec![original], here: 0, played: 0, near: Near::default() }
    }

    /// The recording and its branches, in the order in which they were made.
    #[must_use]
    pub fn branches(&self) -> &[Branch<CELLS, THERMISTORS>] {
        &self.branches
    }

    /// The one that it stands in.
    #[must_use]
    pub fn here(&self) -> &Branch<CELLS, THERMISTORS> {
        &self.branches[self.here]
    }

    /// Makes a branch in which something is otherwise from the next tick on, and stands in it, at the same tick. `progress` as for
    /// [`play`](super::play). Whether it was made: not so when `progress` did not let it go on to its end.
    ///
    /// # Errors
    /// When the change makes no sense, or no tick comes any more.
    pub fn branch(
        &mut self,
        change: &Change,
        mut progress: impl FnMut(f64) -> bool,
    ) -> Result<bool, Unchanged> {
        let mut whole = true;
        let recording = self.here().recording.branch(self.played, Some(change), |seconds| {
            whole &= progress(seconds);
            whole
        })?;
        if !whole {
            return Ok(false);
        }
        let name = format!("branch-{}", self.branches.len());
        let from = Some((self.here, self.played));
        self.branches.push(Branch {
            name,
            from,
            change: Some(change.clone()),
            recording: Arc::new(recording),
        });
        self.here = self.branches.len() - 1;
        self.near = Near::default();
        Ok(true)
    }

    /// Stands in the branch of this name, at the same tick or at its end. Whether there is one.
    pub fn go(&mut self, name: &str) -> bool {
        let Some(place) = self.place(name) else { return false };
        self.here = place;
        self.near = Near::default();
        self.stand(self.played);
        true
    }

    /// The place of the branch of this name.
    #[must_use]
    pub fn place(&self, name: &str) -> Option<usize> {
        self.branches.iter().position(|branch| branch.name == name)
    }

    /// The first tick that two branches do not share, by their places; that of the end when both are the same one.
    #[must_use]
    pub fn parting(&self, one: usize, other: usize) -> u64 {
        let (one, other) = (self.way_to(one), self.way_to(other));
        let shared = one.iter().zip(&other).take_while(|(a, b)| a == b).count();
        let ends = [one, other].map(|way| way.get(shared).map_or(u64::MAX, |(_, from)| *from));
        ends[0].min(ends[1])
    }

    /// The branches that lead to this one, from the original, each with its first tick.
    fn way_to(&self, place: usize) -> Vec<(usize, u64)> {
        let (mut way, mut at) = (Vec::new(), Some(place));
        while let Some(branch) = at.and_then(|at| self.branches.get(at)) {
            way.extend(at.map(|at| (at, branch.from.map_or(0, |(_, tick)| tick))));
            at = branch.from.map(|(trunk, _)| trunk);
        }
        way.reverse();
        way
    }

    /// What the snapshots around where it stands cost, beside those of the recording.
    #[must_use]
    pub fn near_cost(&self) -> Cost {
        self.near.cost(&self.here().recording, self.played.saturating_sub(1))
    }

    /// How many ticks were played where it stands.
    #[must_use]
    pub const fn played(&self) -> u64 {
        self.played
    }

    /// Goes so many ticks on or back, but not beyond either end. Whether it stands elsewhere now.
    pub fn by(&mut self, way: Way, ticks: u64) -> bool {
        self.stand(match way {
            Way::On => self.played.saturating_add(ticks),
            Way::Back => self.played.saturating_sub(ticks),
        })
    }

    /// Goes to the tick of this time, the last one that is not later; to an end if the story has no such time.
    pub fn to_seconds(&mut self, seconds: f64) -> bool {
        self.stand(self.here().recording.played_at(seconds))
    }

    /// Goes on or back to the next tick in which this happened. Stays where it is when there is none.
    pub fn to_next(&mut self, sought: Sought, way: Way) -> bool {
        let ticks = self
            .here()
            .recording
            .events
            .iter()
            .filter(|event| sought.is(&event.what))
            .map(|event| event.tick + 1);
        let found = match way {
            Way::On => ticks.into_iter().find(|played| *played > self.played),
            Way::Back => ticks.into_iter().rfind(|played| *played < self.played),
        };
        found.is_some_and(|played| self.stand(played))
    }

    fn stand(&mut self, played: u64) -> bool {
        let before = self.played;
        self.played = played.min(self.here().recording.ticks);
        self.played != before
    }

    /// The tick that was played last; nothing before the first one.
    #[must_use]
    pub fn stop(&mut self) -> Option<Stop<CELLS, THERMISTORS>> {
        let tick = self.played.checked_sub(1)?;
        let recording = Arc::clone(&self.here().recording);
        let before = self.near.at(&recording, tick);
        Some(recording.stopped(before))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Recording<CELLS, THERMISTORS> {
    /// A tick as it was played. Beyond the end it is the one that would come next.
    #[must_use]
    pub fn stop(&self, tick: u64) -> Stop<CELLS, THERMISTORS> {
        self.stopped(self.at(tick))
    }

    /// The tick that comes next, of this run.
    fn stopped(&self, mut now: Loop<CELLS, THERMISTORS>) -> Stop<CELLS, THERMISTORS> {
        let (tick, seconds, frame) = (now.tick, now.seconds(), now.frame());
        let mut heard = Heard(Vec::new());
        let decision = now.advance(&mut heard);
        let events = self.events.iter().skip(self.events.partition_point(|event| event.tick < tick));
        let events = events.take_while(|event| event.tick == tick).cloned().collect();
        Stop { tick, seconds, frame, decision, told: heard.0, events, after: now }
    }

    /// How many ticks had been played when that time was over: the tick of a time is the last one that is not later.
    #[must_use]
    pub fn played_at(&self, seconds: f64) -> u64 {
        let Some(snapshot) = self.snapshots.before(|now| now.seconds() <= seconds) else {
            return self.trunk.as_ref().map_or(0, |trunk| trunk.recording.played_at(seconds).min(trunk.tick));
        };
        let mut visited = snapshot.now.clone();
        while visited.tick < self.ticks && visited.seconds() <= seconds {
            visited.advance(&mut ());
        }
        visited.tick
    }
}

/// Keeps all that is told.
struct Heard(Vec<Evidence>);

impl Witness for Heard {
    fn saw(&mut self, evidence: Evidence) {
        self.0.push(evidence);
    }
}
