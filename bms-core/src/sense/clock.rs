//! # How much time has passed
//!
//! Decides how much time lies between two ticks, from nothing but the counter in the frames:
//!
//! ```text
//! newer frame:     elapsed = at − at before − what was counted while it stood      (never below zero)
//! any other frame: elapsed = one tick, and all its parts are a tick older
//! waited         = at − at before, or what was counted since a newer frame came, whichever is more
//! ```
//!
//! Why a tick and not nothing: whoever hangs sends the same frame for ever. Without time no reading would grow old, no dwell and no
//! grace would end, and closed contactors would stay closed on the readings of a dead sender. The controller is called once a
//! tick, so that its own calls are a clock; a coarse one, and used only while there is no better.

use crate::units::{Instant, Millis};
use crate::witness::{Evidence, Witness};

/// The counter of the frames, as far as it has been followed.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Clock {
    at: Option<Instant>,
    /// Counted in ticks since the counter stands where it is.
    stood: Millis,
    /// Counted in ticks since a frame was newer than the one before it.
    unrenewed: Millis,
    /// Time from the newest frame but one to the newest, or for which the newest has been the last.
    waited: Millis,
}

impl Clock {
    pub(super) const NEW: Self =
        Self { at: None, stood: Millis::ZERO, unrenewed: Millis::ZERO, waited: Millis::ZERO };

    /// Takes the counter of the next frame, and says how much time has passed since the tick before.
    pub(super) fn pass(&mut self, at: Instant, tick: Millis, witness: &mut impl Witness) -> Millis {
        let Some(before) = self.at.replace(at) else { return Millis::ZERO };
        if let Some(gap) = at.since(before).filter(|gap| *gap > Millis::ZERO) {
            let elapsed = gap - self.stood;
            // Of a sender that stood together with its counter, only the ticks tell how long.
            self.waited = gap.max(self.unrenewed);
            (self.stood, self.unrenewed) = (Millis::ZERO, Millis::ZERO);
            return elapsed;
        }
        witness.tell(|| Evidence::FrameNotNewer { at: at.0, before: before.0 });
        self.unrenewed = self.unrenewed + tick;
        self.waited = self.unrenewed;
        // A counter that was set back has begun a new measure: nothing of it is counted yet.
        self.stood = if at == before { self.stood + tick } else { Millis::ZERO };
        tick
    }

    /// Whether there was a frame.
    pub(super) const fn has_begun(&self) -> bool {
        self.at.is_some()
    }

    /// Time since a newer frame came; zero in the tick of one.
    pub(super) const fn unrenewed(&self) -> Millis {
        self.unrenewed
    }

    /// How long a newer frame took to come, or has not come by now; zero before the second one.
    pub(super) const fn waited(&self) -> Millis {
        self.waited
    }

    /// Whether the last frame was the one before it once more.
    pub(super) fn stands(&self) -> bool {
        self.stood > Millis::ZERO
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TICK: Millis = Millis(10);

    #[derive(Default)]
    struct Ear(Vec<Evidence>);

    impl Witness for Ear {
        fn saw(&mut self, evidence: Evidence) {
            self.0.push(evidence);
        }
    }

    #[test]
    fn a_counter_that_stands_still_counts_ticks_and_is_told() {
        let (mut clock, mut ear) = (Clock::NEW, Ear::default());
        let elapsed = [100, 100, 100].map(|at| clock.pass(Instant(at), TICK, &mut ear).0);
        assert_eq!((elapsed, clock.unrenewed(), clock.stands()), ([0, 10, 10], Millis(20), true));
        assert_eq!(ear.0, [Evidence::FrameNotNewer { at: 100, before: 100 }; 2]);
        // It moves again: 500 ms have passed, 20 of which are counted. Had it stood with its sender, 10 would be no new time.
        let mut asleep = clock;
        assert_eq!((clock.pass(Instant(600), TICK, &mut ()), clock.unrenewed()), (Millis(480), Millis::ZERO));
        assert_eq!(
            (asleep.pass(Instant(110), TICK, &mut ()), asleep.unrenewed()),
            (Millis::ZERO, Millis::ZERO)
        );
    }

    /// Due every 10 ms: one frame is lost, then the sender hangs for two ticks with its counter, then its counter alone goes on.
    #[test]
    fn how_long_a_newer_frame_took_is_counted_through_repetitions() {
        let mut clock = Clock::NEW;
        let waited = [100, 110, 130, 130, 130, 140, 140, 180].map(|at| {
            clock.pass(Instant(at), TICK, &mut ());
            clock.waited().0
        });
        assert_eq!(waited, [0, 10, 20, 10, 20, 20, 10, 40]);
    }

    #[test]
    fn a_counter_that_was_set_back_is_followed_from_there() {
        let (mut clock, mut ear) = (Clock::NEW, Ear::default());
        let elapsed = [100, 90, 110, 120].map(|at| clock.pass(Instant(at), TICK, &mut ear).0);
        assert_eq!(elapsed, [0, 10, 20, 10]);
        assert_eq!(ear.0, [Evidence::FrameNotNewer { at: 90, before: 100 }]);
        assert!(!clock.stands());
    }

    /// Eight ticks after the first, six of them without a newer counter; the two newer ones show less than was counted before.
    #[test]
    fn time_goes_on_whatever_the_counter_does() {
        let mut clock = Clock::NEW;
        let counters = [7, 7, 3, 3, 9, u32::MAX, u32::MAX, 2, 0];
        let passed = counters.map(|at| clock.pass(Instant(at), TICK, &mut ()).0);
        assert_eq!(passed, [0, 10, 10, 10, 0, 10, 10, 0, 10]);
    }
}
