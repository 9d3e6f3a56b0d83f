//! # Another way from a tick
//!
//! A branch is played on from a tick of a recording with something [changed](Change) from then on: a limit, the duty, an act, a defect
//! more or one less. Up to that tick it is the recording, which it shares and never changes; from there it has events and snapshots of its
//! own. A branch has a case of its own, too: the same story changed from that instant on, which comes out the same when it is played from
//! its start. So whatever explains a recording explains a branch.

use super::playing::Playing;
use super::{Recording, What, play_on};
use crate::case::{Change, Unchanged};
use std::sync::Arc;

/// What a recording branches from.
#[derive(Clone, Debug)]
pub(super) struct Trunk<const CELLS: usize, const THERMISTORS: usize> {
    pub(super) recording: Arc<Recording<CELLS, THERMISTORS>>,
    /// The first tick that is played otherwise.
    pub(super) tick: u64,
}

impl<const CELLS: usize, const THERMISTORS: usize> Recording<CELLS, THERMISTORS> {
    /// Goes another way from this tick on, which is the first one that is played otherwise; without any change the same way again.
    /// `progress` as for [`play`](super::play).
    ///
    /// # Errors
    /// When a change makes no sense, or the story is over by then.
    pub fn branch(
        self: &Arc<Self>,
        tick: u64,
        change: Option<&Change>,
        progress: impl FnMut(f64) -> bool,
    ) -> Result<Self, Unchanged> {
        let mut playing = self.playing_at(tick).ok_or(Unchanged::Over)?;
        if let Some(change) = change {
            let case = playing.now.case().changed(playing.now.at_ms, change)?;
            if let Change::Mend(place) = change
                && case.defects.len() < playing.now.case().defects.len()
            {
                playing.recorder.events.iter_mut().for_each(|event| move_up(&mut event.what, *place));
            }
            playing.now.turn_to(Arc::new(case));
        }
        let trunk = Trunk { recording: Arc::clone(self), tick };
        Ok(play_on(playing, Some(trunk), u64::MAX, &mut (), progress))
    }

    /// The run before a tick, with what was heard of it until then; nothing when it was over.
    fn playing_at(&self, tick: u64) -> Option<Playing<CELLS, THERMISTORS>> {
        if let Some(trunk) = self.trunk.as_ref().filter(|trunk| tick < trunk.tick) {
            return trunk.recording.playing_at(tick);
        }
        let mut playing = self.snapshots.before(|now| now.tick <= tick)?.clone();
        let known = self.events.iter().take_while(|event| event.tick < playing.now.tick);
        playing.recorder.events = known.cloned().collect();
        while playing.now.tick < tick && !playing.now.over() {
            playing.tick(&mut ());
        }
        (playing.now.tick == tick && !playing.now.over()).then_some(playing)
    }
}

/// The places of the defects behind one that never comes.
const fn move_up(what: &mut What, behind: usize) {
    if let What::DefectBegan(place) | What::DefectEnded(place) = what
        && *place > behind
    {
        *place -= 1;
    }
}

#[cfg(test)]
mod tests;
