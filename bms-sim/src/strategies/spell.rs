//! A reading that lies for a stretch of time.

use super::lie::{Lie, Manner, lies};
use bms_core::Config;
use bms_core::frame::Frame;
use proptest::prelude::*;

/// A stretch of time in which one channel lies.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Spell {
    /// The lie.
    pub lie: Lie,
    /// The first tick of it.
    pub from: u32,
    /// For so many ticks.
    pub lasts: u32,
}

impl Spell {
    /// Whether it lies in this tick.
    #[must_use]
    pub const fn lies_at(&self, tick: u32) -> bool {
        tick >= self.from && tick - self.from < self.lasts
    }

    /// Writes it into the frame of a tick, if it lies then. `began_with` is the spell's own memory of its first frame.
    pub fn spoil<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        tick: u32,
        frame: &mut Frame<CELLS, THERMISTORS>,
        began_with: &mut Option<Frame<CELLS, THERMISTORS>>,
        config: &Config,
    ) {
        if self.lies_at(tick) {
            let began = *began_with.get_or_insert(*frame);
            self.lie.spoil(frame, &began, config);
        }
    }
}

/// Longest spell, as a power of two of ticks.
const LONGEST: u32 = 9;

/// Up to so many spells that begin within so many ticks: from eight ticks to five hundred, what is wild for one only. Shrinks to fewer,
/// earlier and shorter ones.
pub fn spells<const CELLS: usize, const THERMISTORS: usize>(
    ticks: u32,
    most: usize,
) -> impl Strategy<Value = Vec<Spell>> {
    let spell = (lies::<CELLS, THERMISTORS>(), 0..ticks, 3..=LONGEST).prop_map(|(lie, from, doublings)| {
        let wild = matches!(lie.manner, Manner::Wild { .. });
        Spell { lie, from, lasts: if wild { 1 } else { 1 << doublings } }
    });
    proptest::collection::vec(spell, 0..=most)
}
