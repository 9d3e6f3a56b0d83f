//! # Snapshots
//!
//! A run is kept whole every so many ticks, so that any tick is played again from the snapshot before it. When there are more than
//! [`MOST`], every second one goes and they are taken half as often: what they cost is bounded, whatever the length of the run.
//!
//! ```text
//! ticks between two = 100 · 2ⁿ, the least with at most 512 snapshots: 800 for an hour of 10 ms ticks
//! memory            ≤ 512 · one snapshot
//! one tick back     ≤ spacing · one tick
//!
//! an hour of the crane's shift:  450 snapshots of 81 kB, 36 MB, never above 41 MB
//!                                one step back with its picture: 1.0 ms in the mean, 2.1 ms 799 ticks behind a snapshot
//! ```
//! A snapshot is the loop (pack, firmware, wires, all their memories) and what the recorder has kept apart from events; events stand in
//! the recording once. On disk there is none: a file holds the case, from which they are made anew. `step` says the figures with
//! `show snapshots`; the times are those of a release build on one core of an x86-64 server, and the bench "step back" measures them anew.

use super::playing::Playing;
use super::recorder::{JudgedStep, Nearest};
use crate::run::Loop;

/// Snapshots that are kept at most.
pub const MOST: usize = 512;

/// Ticks between two snapshots, at first.
const FIRST_SPACING: u64 = 100;

/// What a run is played again from.
#[derive(Clone, Debug)]
pub(super) struct Snapshots<const CELLS: usize, const THERMISTORS: usize> {
    /// The tick at which the run begins: it is always kept.
    first: u64,
    spacing: u64,
    kept: Vec<Playing<CELLS, THERMISTORS>>,
}

/// What snapshots cost.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Cost {
    /// How many there are.
    pub snapshots: usize,
    /// Ticks from one to the next.
    pub spacing: u64,
    /// Memory of one of them in bytes.
    pub bytes_each: usize,
}

impl<const CELLS: usize, const THERMISTORS: usize> Snapshots<CELLS, THERMISTORS> {
    pub(super) const fn new(first: u64) -> Self {
        Self { first, spacing: FIRST_SPACING, kept: Vec::new() }
    }

    /// Whether one is taken before this tick.
    pub(super) const fn are_due(&self, tick: u64) -> bool {
        tick == self.first || tick.is_multiple_of(self.spacing)
    }

    /// Takes one.
    pub(super) fn take(&mut self, playing: &mut Playing<CELLS, THERMISTORS>) {
        self.kept.push(playing.without_events());
        if self.kept.len() > MOST {
            self.spacing *= 2;
            let (first, spacing) = (self.first, self.spacing);
            self.kept.retain(|kept| kept.now.tick == first || kept.now.tick.is_multiple_of(spacing));
        }
    }

    /// The last one of which this holds, as it holds of all before it.
    pub(super) fn before(
        &self,
        holds: impl Fn(&Loop<CELLS, THERMISTORS>) -> bool,
    ) -> Option<&Playing<CELLS, THERMISTORS>> {
        let before = self.kept.partition_point(|kept| holds(&kept.now));
        self.kept.get(before.checked_sub(1)?)
    }

    /// The tick of the first one behind a tick.
    pub(super) fn after(&self, tick: u64) -> Option<u64> {
        let next = self.kept.partition_point(|kept| kept.now.tick <= tick);
        self.kept.get(next).map(|kept| kept.now.tick)
    }

    /// What they cost.
    pub(super) fn cost(&self) -> Cost {
        let listed = self.kept.last().map_or(0, |kept| {
            let recorder = &kept.recorder;
            recorder.nearest.len() * size_of::<Option<Nearest>>()
                + (recorder.steps.len() + recorder.steps_of_fault.len()) * size_of::<JudgedStep>()
                + recorder.bled.len()
        });
        Cost {
            snapshots: self.kept.len(),
            spacing: self.spacing,
            bytes_each: size_of::<Playing<CELLS, THERMISTORS>>() + listed,
        }
    }
}
