//! # Near by
//!
//! Snapshots of a long run lie far apart. Whoever steps through it goes tick by tick, so that around the tick where it stands, and only
//! there, more are kept:
//!
//! ```text
//!        p                     s                     e
//!   ─────●──·──·──·──·─────────●──·──·──▲────────────●─────   ● snapshots of the recording, a span apart
//!        └── filled as one ────┘  └ played up to here         · kept here, a part of a span apart
//!            comes down to s
//! ```
//! A tick is played on from what is kept before it. Until one has come down to `s`, all of the span below must be filled: at tick `t`,
//! `(s − p) · (e − t) ÷ (e − s)` ticks of it. Down through spans of one length, that is a tick for each tick, and a part now and then:
//!
//! ```text
//! part            = max(400 ticks, span ÷ 128)
//! one step back   ≤ 2 parts, one to the tick and one to fill
//! memory          ≤ 2 · (128 + 1) loops, whatever the length
//! ```
//! A span is 800 ticks in an hour of 10 ms ticks and doubles whenever the length does; the part grows beyond 140 hours. A jump costs up to
//! a span to land and another one to fill.

use super::{Cost, Recording};
use crate::run::Loop;
use std::collections::BTreeMap;

/// Ticks of a part, at least: a millisecond or less.
const LEAST_PART: u64 = 400;

/// Parts of a span, at most.
const MOST_PARTS: usize = 128;

/// Loops that are kept at most: of two spans, each with the part that division leaves over.
pub const MOST: usize = 2 * (MOST_PARTS + 1);

/// What is kept around a tick.
#[derive(Clone, Debug)]
pub(super) struct Near<const CELLS: usize, const THERMISTORS: usize> {
    /// By the tick that comes next.
    kept: BTreeMap<u64, Loop<CELLS, THERMISTORS>>,
    least_part: u64,
    /// Ticks that were played to come to the latest one.
    played: u64,
}

impl<const CELLS: usize, const THERMISTORS: usize> Default for Near<CELLS, THERMISTORS> {
    fn default() -> Self {
        Self { kept: BTreeMap::new(), least_part: LEAST_PART, played: 0 }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Near<CELLS, THERMISTORS> {
    /// The loop as it stood before a tick, as [`Recording::at`] has it.
    pub(super) fn at(
        &mut self,
        recording: &Recording<CELLS, THERMISTORS>,
        tick: u64,
    ) -> Loop<CELLS, THERMISTORS> {
        self.played = 0;
        let Some(start) = recording.snapshot_before(tick) else { return recording.end.clone() };
        let (first, end) = (start.tick, recording.next_snapshot(start.tick));
        let below = first.checked_sub(1).and_then(|last| recording.snapshot_before(last));
        let oldest = below.map_or(first, |below| below.tick);
        self.kept.retain(|at, _| (oldest..end).contains(at));
        let here = self.play_on(start, end, tick);
        if let Some(below) = below {
            let (length, left) = (first - oldest, end.saturating_sub(tick));
            let filled = length * left / (end - first).max(1);
            self.fill(below, first, oldest + filled);
        }
        here
    }

    /// What is kept.
    pub(super) fn cost(&self, recording: &Recording<CELLS, THERMISTORS>, tick: u64) -> Cost {
        let first = recording.snapshot_before(tick).map_or(tick, |start| start.tick);
        Cost {
            snapshots: self.kept.len(),
            spacing: self.part(first, recording.next_snapshot(first)),
            bytes_each: size_of::<Loop<CELLS, THERMISTORS>>(),
        }
    }

    /// Plays from what is kept before a tick to the tick, in the span that begins with `start`.
    fn play_on(&mut self, start: &Loop<CELLS, THERMISTORS>, end: u64, tick: u64) -> Loop<CELLS, THERMISTORS> {
        let part = self.part(start.tick, end);
        let kept = self.kept.range(start.tick..=tick).next_back();
        let mut now = kept.map_or(start, |(_, kept)| kept).clone();
        while now.tick < tick && !now.over() {
            now.advance(&mut ());
            self.played += 1;
            if (now.tick - start.tick).is_multiple_of(part) && now.tick < end {
                self.kept.insert(now.tick, now.clone());
            }
        }
        now
    }

    /// Fills a span from its start up to a tick.
    fn fill(&mut self, start: &Loop<CELLS, THERMISTORS>, end: u64, tick: u64) {
        let part = self.part(start.tick, end);
        let filled = self.kept.range(start.tick..end).next_back().map_or(start.tick, |(at, _)| *at);
        // Whole parts: what is short of one is played when it is looked at.
        let wanted = start.tick + (tick - start.tick) / part * part;
        if wanted > filled {
            self.play_on(start, end, wanted);
        }
    }

    fn part(&self, first: u64, end: u64) -> u64 {
        (end.saturating_sub(first) / MOST_PARTS as u64).max(self.least_part)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::{Ask, Case, Change};
    use crate::recording::play;
    use proptest::prelude::*;
    use std::sync::{Arc, LazyLock};

    const LEAST: u64 = 30;

    /// Ten minutes, so that snapshots are 200 ticks apart, and a branch off the middle, whose own are 100 apart.
    static PLAYED: LazyLock<[Arc<Recording<16, 8>>; 2]> = LazyLock::new(|| {
        let text = "schema = 1\ntitle = ''\nstory = ''\npack = 'trainer'\nseed = 5\nduration_s = 600\nact = [{ at_s = 1, ask = 'close' }]\n\
                    duty = [{ times = 40, phases = [{ do = 'hoist' }, { do = 'lower' }] }]\n[start]\ncharge_percent = 60\ncelsius = 18\n";
        let case = Arc::new(Case::parse(text, "near.toml").unwrap());
        let original = Arc::new(play(&case, |_| true).unwrap());
        let branch = original.branch(30_050, Some(&Change::Act(Ask::Open)), |_| true).unwrap();
        assert_eq!((original.snapshots_cost().spacing, branch.snapshots_cost().spacing), (200, 100));
        [original, Arc::new(branch)]
    });

    fn near() -> Near<16, 8> {
        Near { least_part: LEAST, ..Near::default() }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]

        /// Wherever one comes from, the tick is the one of the recording.
        #[test]
        fn a_tick_is_that_of_the_recording(of in 0..2_usize, ticks in prop::collection::vec(29_000..31_000_u64, 1..10)) {
            let (recording, mut near) = (&PLAYED[of], near());
            for tick in ticks {
                let (found, known) = (near.at(recording, tick), recording.at(tick));
                prop_assert_eq!(found.tick, tick);
                prop_assert!(found.world == known.world && found.core == known.core, "tick {}", tick);
            }
        }

        /// After a jump anywhere, a step back plays two parts at most, however many of them are taken; so does one that goes on again.
        #[test]
        fn a_step_plays_two_parts_at_most(tick in 600..60_000_u64, turns in 0..500_u64) {
            let (recording, mut near) = (&PLAYED[0], near());
            near.at(recording, tick);
            let down = (tick - 500..tick).rev();
            for tick in down.chain(tick - 500..tick - 500 + turns) {
                near.at(recording, tick);
                prop_assert!(near.played <= 2 * LEAST, "{} ticks to {}", near.played, tick);
                prop_assert!(near.kept.len() <= 2 * 200_usize.div_ceil(30), "{}", near.kept.len());
            }
        }
    }
}
