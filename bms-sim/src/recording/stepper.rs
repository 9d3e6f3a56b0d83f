//! # Forwards and backwards through what was played
//!
//! A stepper stands in a recording after some number of ticks, from none to all of them. It goes on or back by ticks, to a time, or to the
//! tick in which something happened, and shows the tick that was played last: what reached the firmware, what it answered, what
//! it said of it, and how the pack stood then.
//!
//! Going back is playing again: from the snapshot before the tick, at most [`spacing`](super::Cost::spacing) ticks. The same tick looks the same
//! from either side, bit for bit.

use super::{Event, Recording, What};
use crate::run::Loop;
use bms_core::{Decision, Evidence, Frame, Witness};
use std::sync::Arc;

/// Where a stepper stands in a recording.
#[derive(Clone, Debug)]
pub struct Stepper<const CELLS: usize, const THERMISTORS: usize> {
    recording: Arc<Recording<CELLS, THERMISTORS>>,
    played: u64,
}

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
    pub const fn new(recording: Arc<Recording<CELLS, THERMISTORS>>) -> Self {
        Self { recording, played: 0 }
    }

    /// What it steps through.
    #[must_use]
    pub const fn recording(&self) -> &Arc<Recording<CELLS, THERMISTORS>> {
        &self.recording
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
        self.stand(self.recording.played_at(seconds))
    }

    /// Goes on or back to the next tick in which this happened. Stays where it is when there is none.
    pub fn to_next(&mut self, sought: Sought, way: Way) -> bool {
        let ticks =
            self.recording.events.iter().filter(|event| sought.is(&event.what)).map(|event| event.tick + 1);
        let found = match way {
            Way::On => ticks.into_iter().find(|played| *played > self.played),
            Way::Back => ticks.into_iter().rfind(|played| *played < self.played),
        };
        found.is_some_and(|played| self.stand(played))
    }

    fn stand(&mut self, played: u64) -> bool {
        let before = self.played;
        self.played = played.min(self.recording.ticks);
        self.played != before
    }

    /// The tick that was played last; nothing before the first one.
    #[must_use]
    pub fn stop(&self) -> Option<Stop<CELLS, THERMISTORS>> {
        self.played.checked_sub(1).map(|tick| self.recording.stop(tick))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Recording<CELLS, THERMISTORS> {
    /// A tick as it was played. Beyond the end it is the one that would come next.
    #[must_use]
    pub fn stop(&self, tick: u64) -> Stop<CELLS, THERMISTORS> {
        let mut now = self.at(tick);
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
