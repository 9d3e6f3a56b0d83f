//! # What the counters of the inputs say
//!
//! Decides how often the interlock broke shortly and how many edges the impact sensor made of late. Both may be over before the next
//! frame is taken, so that the input's hardware counts them; here the counts become numbers over a window of time.
//!
//! ```text
//! counted      = count − count before            of a counter that wraps at 256
//! short breaks = counted + (one that had begun before and is over, not having lasted long) − (one that lasts now)
//! ```
//! - A break that lasts as long as the dwell of `interlock open` is that fault, and no short one. One that lasts by now is not over.
//! - A counter that moved by more than is counted between two frames and stands near zero was restarted: it says nothing until the next
//!   frame. One that moved as far and stands elsewhere has really counted so much, over a long gap perhaps.
//! - What was counted while no contacts were believed is counted by the first frame that is.

use crate::config::Config;
use crate::frame::{Contact, Contacts};
use crate::units::Millis;

/// What was counted within the windows up to now.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub(crate) struct Counted {
    /// Breaks of the interlock that were over before `interlock open` was confirmed.
    pub(crate) short_breaks: u8,
    /// Edges of the impact sensor.
    pub(crate) impact_edges: u8,
}

/// The counters as far as they have been followed.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Counters {
    before: Option<Contacts>,
    /// For how long the interlock has been seen broken.
    broken: Millis,
    breaks: Recent<12>,
    edges: Recent<5>,
}

impl Counters {
    pub(super) const NEW: Self =
        Self { before: None, broken: Millis::ZERO, breaks: Recent::NONE, edges: Recent::NONE };

    /// Takes the contacts of a frame, or that there are none.
    pub(super) fn follow(
        &mut self,
        now: Option<Contacts>,
        (elapsed, credit): (Millis, Millis),
        config: &Config,
    ) -> Counted {
        self.breaks.pass(elapsed, config.contacts.break_window);
        self.edges.pass(elapsed, config.contacts.impact_window);
        if let Some(now) = now {
            if let Some(before) = self.before {
                let most = config.contacts.most_counts;
                self.edges.add(counted(before.impact_edges, now.impact_edges, most));
                let breaks = counted(before.interlock_breaks, now.interlock_breaks, most);
                self.follow_loop(breaks, [before.interlock, now.interlock], credit, config);
            }
            self.before = Some(now);
        }
        Counted { short_breaks: self.breaks.total(), impact_edges: self.edges.total() }
    }

    fn follow_loop(&mut self, breaks: u8, [before, now]: [Contact; 2], credit: Millis, config: &Config) {
        // Where it was made in between, whatever lasts now has just begun.
        let lasts = before == Contact::Broken && now == Contact::Broken && breaks == 0;
        let short = before == Contact::Broken && !lasts && self.broken < config.faults.interlock_open.dwell;
        self.broken = if lasts { self.broken + credit } else { Millis::ZERO };
        let over = breaks.saturating_add(u8::from(short)).saturating_sub(u8::from(now == Contact::Broken));
        self.breaks.add(over);
    }
}

/// What a counter has counted from one frame to the next; nothing where it was restarted.
const fn counted(before: u8, now: u8, most: u8) -> u8 {
    let moved = now.wrapping_sub(before);
    let restarted = moved > most && now <= most;
    if restarted { 0 } else { moved }
}

/// A number of things within a window that moves on by its `PARTS`th part.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Recent<const PARTS: usize> {
    /// The youngest part first.
    counts: [u8; PARTS],
    /// Time since the youngest part began.
    since: Millis,
}

impl<const PARTS: usize> Recent<PARTS> {
    const NONE: Self = Self { counts: [0; PARTS], since: Millis::ZERO };

    /// Lets time pass: what lies a whole window back is forgotten.
    fn pass(&mut self, elapsed: Millis, window: Millis) {
        let part = Millis(window.0.checked_div(u32::try_from(PARTS).unwrap_or(u32::MAX)).unwrap_or(0));
        self.since = self.since + elapsed;
        for _ in 0..PARTS {
            if self.since < part {
                return;
            }
            self.since = self.since - part;
            let mut younger = 0;
            for count in &mut self.counts {
                core::mem::swap(count, &mut younger);
            }
        }
        self.since = self.since.min(part);
    }

    fn add(&mut self, more: u8) {
        if let Some(youngest) = self.counts.first_mut() {
            *youngest = youngest.saturating_add(more);
        }
    }

    fn total(&self) -> u8 {
        self.counts.iter().fold(0, |sum, count| sum.saturating_add(*count))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const TICK: Millis = Millis(10);

    fn reads(interlock: Contact, breaks: u8, edges: u8) -> Contacts {
        Contacts { interlock, interlock_breaks: breaks, impact_edges: edges, ..Contacts::SOUND }
    }

    /// A frame every 10 ms, and what is counted at the last one.
    fn after(frames: &[(Contact, u8, u8)]) -> Counted {
        let (mut counters, config) = (Counters::NEW, Config::crane());
        frames.iter().fold(Counted::default(), |_, (interlock, breaks, edges)| {
            counters.follow(Some(reads(*interlock, *breaks, *edges)), (TICK, TICK), &config)
        })
    }

    use Contact::{Broken, Made};

    #[test]
    fn what_was_counted_before_the_first_frame_is_none_of_this_window() {
        assert_eq!(after(&[(Made, 200, 7)]), Counted::default());
    }

    /// Two breaks between two frames; then one that spans a frame and is over with the next.
    #[test]
    fn a_break_is_short_when_it_is_over_before_it_is_an_open_loop() {
        assert_eq!(after(&[(Made, 0, 0), (Made, 2, 0)]).short_breaks, 2);
        assert_eq!(after(&[(Made, 0, 0), (Broken, 1, 0)]).short_breaks, 0);
        assert_eq!(after(&[(Made, 0, 0), (Broken, 1, 0), (Made, 1, 0)]).short_breaks, 1);
        assert_eq!(after(&[(Made, 0, 0), (Broken, 1, 0), (Made, 2, 0)]).short_breaks, 2); // made and broken again between
        assert_eq!(after(&[(Made, 0, 0), (Broken, 3, 0)]).short_breaks, 2);
    }

    #[test]
    fn an_open_loop_is_no_short_break_however_long_it_lasts() {
        assert_eq!(after(&[(Made, 0, 0), (Broken, 1, 0), (Broken, 1, 0), (Made, 1, 0)]).short_breaks, 0);
        // Made and broken once more between two frames after it: that one has just begun.
        let again = [(Made, 0, 0), (Broken, 1, 0), (Broken, 1, 0), (Broken, 2, 0)];
        assert_eq!(after(&again).short_breaks, 0);
    }

    #[test]
    fn a_counter_wraps_without_counting_and_a_restart_counts_nothing() {
        assert_eq!(after(&[(Made, 255, 254), (Made, 1, 3)]), Counted { short_breaks: 2, impact_edges: 5 });
        assert_eq!(after(&[(Made, 9, 40), (Made, 0, 0)]), Counted::default());
        assert_eq!(
            after(&[(Made, 9, 40), (Made, 0, 0), (Made, 1, 2)]),
            Counted { short_breaks: 1, impact_edges: 2 }
        );
    }

    /// A controller that sleeps between frames, or lost some, still finds an impact of many edges.
    #[test]
    fn many_edges_over_a_long_gap_are_no_restart() {
        assert_eq!(after(&[(Made, 0, 0), (Made, 0, 53)]).impact_edges, 53);
        assert_eq!(after(&[(Made, 0, 100), (Made, 0, 44)]).impact_edges, 200);
    }

    /// Breaks over a minute in parts of 5 s, edges over 50 ms in parts of 10 ms: gone a whole window later, and not before all but a part.
    #[test]
    fn the_windows_move_on() {
        let (mut counters, config) = (Counters::NEW, Config::crane());
        counters.follow(Some(reads(Made, 0, 0)), (TICK, TICK), &config);
        counters.follow(Some(reads(Made, 1, 4)), (TICK, TICK), &config);
        let mut gone = [None; 2];
        for tick in 1..=6_000_u32 {
            let counted = counters.follow(Some(reads(Made, 1, 4)), (TICK, TICK), &config);
            for (gone, count) in gone.iter_mut().zip([counted.short_breaks, counted.impact_edges]) {
                if count == 0 {
                    gone.get_or_insert(tick * 10);
                }
            }
        }
        assert!(gone[0].is_some_and(|ms| (55_000..=60_000).contains(&ms)), "{gone:?}");
        assert!(gone[1].is_some_and(|ms| (40..=50).contains(&ms)), "{gone:?}");
    }

    #[test]
    fn a_gap_without_contacts_loses_no_count_and_a_long_one_forgets_the_window() {
        let (mut counters, config) = (Counters::NEW, Config::crane());
        counters.follow(Some(reads(Made, 0, 0)), (TICK, TICK), &config);
        counters.follow(Some(reads(Made, 1, 0)), (TICK, TICK), &config);
        assert_eq!(counters.follow(None, (TICK, TICK), &config).short_breaks, 1);
        assert_eq!(counters.follow(Some(reads(Made, 4, 0)), (TICK, TICK), &config).short_breaks, 4);
        let long = Millis::from_seconds(60);
        assert_eq!(counters.follow(Some(reads(Made, 4, 0)), (long, TICK), &config), Counted::default());
    }

    proptest! {
        /// Any counts at any pace: no panic, and a loop that is never seen broken has no more short breaks than were counted.
        #[test]
        fn never_more_breaks_than_counted(steps in proptest::collection::vec((0..=32_u8, 0..100_u32), 1..200)) {
            let (mut counters, config) = (Counters::NEW, Config::crane());
            counters.follow(Some(reads(Made, 0, 0)), (TICK, TICK), &config);
            let (mut count, mut sum) = (0_u8, 0_u32);
            for (step, ms) in steps {
                count = count.wrapping_add(step);
                sum += u32::from(step);
                let counted = counters.follow(Some(reads(Made, count, count)), (Millis(ms), Millis(ms.min(30))), &config);
                prop_assert!(u32::from(counted.short_breaks) <= sum && counted.short_breaks >= step);
            }
        }
    }
}
