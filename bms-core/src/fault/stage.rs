//! # From a crossing to a conclusion
//!
//! Decides when a reading beyond its limit becomes a fault, and when a fault ends.
//!
//! ```text
//!            beyond                    beyond or between, until held ≥ dwell
//!   Clear ──────────► Suspect ─────────────────────────────────────────────► Confirmed
//!     ▲                  │ within: near miss (or the time leaks away)            │ within, until well ≥ release dwell
//!     └──────────────────┘                                                       ▼
//!     ▲                         cleared                                       Latched ──beyond──► Suspect (was Latched)
//!     └──────────────────────────────────────────────────────────────────────────┘
//! ```
//!
//! Two limits, two dwells. A reading is first classed against the trip and the release limit (`Within`, `Between`, `Beyond`,
//! `Unknown`), so that no stage chooses a limit. One good sample does not end a fault and one bad sample does not renew a latched
//! one: with a single limit, noise across it would change the stage hundreds of times in a thousand ticks. While noise is
//! smaller than the band between the limits, a constant quantity changes the stage at most once a dwell.
//!
//! Time is the time that the frames span, each frame crediting at most the oldest age allowed: two bad samples round a gap of
//! 3 s are not 3 s of fault. `Unknown` holds everything where it is.
//!
//! A fault that shows only in what happens next (a load step, a rest, a start) has nothing to be read once the workshop has been at it.
//! Such a one is cleared from Confirmed too, by whoever may clear it, and what happens next decides anew.

use crate::units::Millis;

/// A quantity against both its limits.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reading {
    /// Inside the release limit.
    Within,
    /// Between release and trip limit.
    Between,
    /// Past the trip limit.
    Beyond,
    /// There is no reading.
    Unknown,
}

/// What a suspect fault was before.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Was {
    /// Clear: when it heals in time it is a near miss.
    Clear,
    /// Latched from an earlier time.
    Latched,
}

/// What becomes of a suspect's time while the reading is good.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Counter {
    /// One good reading forgets it all.
    Resetting,
    /// A good reading takes back as much time as it lasts.
    Leaky,
}

/// How far a fault has come.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Stage {
    /// Nothing seen.
    #[default]
    Clear,
    /// Beyond the limit, the dwell runs.
    Suspect {
        /// Time spent beyond so far.
        held: Millis,
        /// What it was before.
        was: Was,
    },
    /// The dwell was reached: the reaction holds.
    Confirmed {
        /// Time spent within the release limit so far.
        well: Millis,
    },
    /// The condition is gone, the record stays until cleared.
    Latched,
}

/// The times a stage needs.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Dwells {
    /// Time beyond the trip limit until Confirmed; zero confirms at once.
    pub trip: Millis,
    /// Time within the release limit until Latched.
    pub release: Millis,
    /// What good readings do to a suspect.
    pub counter: Counter,
}

impl Stage {
    /// The next stage: the only place where a stage changes by observation.
    #[must_use]
    pub fn next(self, seen: Reading, elapsed: Millis, dwells: Dwells) -> Self {
        match (self, seen) {
            (Self::Clear, Reading::Beyond) => Self::suspected(Was::Clear, dwells),
            (Self::Latched, Reading::Beyond) => Self::suspected(Was::Latched, dwells),
            (Self::Suspect { held, was }, Reading::Beyond | Reading::Between) => {
                let held = held + elapsed;
                if held >= dwells.trip {
                    Self::Confirmed { well: Millis::ZERO }
                } else {
                    Self::Suspect { held, was }
                }
            }
            (Self::Suspect { held, was }, Reading::Within) => match dwells.counter {
                Counter::Leaky if held > elapsed => Self::Suspect { held: held - elapsed, was },
                Counter::Leaky | Counter::Resetting => was.stage(),
            },
            (Self::Confirmed { .. }, Reading::Beyond | Reading::Between) => {
                Self::Confirmed { well: Millis::ZERO }
            }
            (Self::Confirmed { well }, Reading::Within) => {
                let well = well + elapsed;
                if well >= dwells.release { Self::Latched } else { Self::Confirmed { well } }
            }
            (Self::Clear | Self::Latched, Reading::Within | Reading::Between | Reading::Unknown)
            | (Self::Suspect { .. } | Self::Confirmed { .. }, Reading::Unknown) => self,
        }
    }

    fn suspected(was: Was, dwells: Dwells) -> Self {
        if dwells.trip == Millis::ZERO {
            Self::Confirmed { well: Millis::ZERO }
        } else {
            Self::Suspect { held: Millis::ZERO, was }
        }
    }

    /// Whether this and the other stage differ in kind, their running times aside.
    #[must_use]
    pub const fn differs(self, other: Self) -> bool {
        !matches!(
            (self, other),
            (Self::Clear, Self::Clear)
                | (Self::Suspect { .. }, Self::Suspect { .. })
                | (Self::Confirmed { .. }, Self::Confirmed { .. })
                | (Self::Latched, Self::Latched)
        )
    }
}

impl Was {
    const fn stage(self) -> Stage {
        match self {
            Self::Clear => Stage::Clear,
            Self::Latched => Stage::Latched,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::{collection::vec, prelude::*};

    const fn dwells(trip: u32, release: u32) -> Dwells {
        Dwells { trip: Millis(trip), release: Millis(release), counter: Counter::Resetting }
    }

    proptest! {
        /// Never confirmed before the dwell, however the ticks fall; and at the first tick after it.
        #[test]
        fn confirms_after_the_dwell_and_not_before(ticks in vec(1..=50_u32, 1..200), dwell in 1..=2_000_u32) {
            let times = dwells(dwell, 1_000);
            let (mut stage, mut held) = (Stage::Clear.next(Reading::Beyond, Millis::ZERO, times), 0);
            for tick in ticks {
                held += tick;
                stage = stage.next(Reading::Beyond, Millis(tick), times);
                prop_assert_eq!(matches!(stage, Stage::Confirmed { .. }), held >= dwell);
            }
        }

        /// A constant quantity with noise inside the hysteresis band changes its stage at most once a dwell.
        #[test]
        fn noise_inside_the_band_does_not_chatter(beyond in vec(any::<bool>(), 1_000)) {
            let times = dwells(100, 100);
            let (mut stage, mut changes) = (Stage::Clear, 0);
            for beyond in beyond {
                let seen = if beyond { Reading::Beyond } else { Reading::Between };
                let next = stage.next(seen, Millis(10), times);
                changes += u32::from(next.differs(stage));
                stage = next;
            }
            prop_assert!(changes <= 2, "{} changes", changes);
        }
    }

    /// All sequences of nine readings: a Confirmed needs the dwell beyond or between after a beyond, and a Latched needs the release
    /// dwell within; nothing moves on an unknown reading.
    #[test]
    fn every_sequence_of_readings_obeys_the_drawing() {
        const READINGS: [Reading; 4] = [Reading::Within, Reading::Between, Reading::Beyond, Reading::Unknown];
        let times = dwells(30, 20);
        for sequence in 0..4_u32.pow(9) {
            let (mut stage, mut beyond, mut within) = (Stage::Clear, None::<u32>, 0_u32);
            for place in 0..9 {
                let seen = READINGS[(sequence >> (2 * place) & 3) as usize];
                let next = stage.next(seen, Millis(10), times);
                match seen {
                    Reading::Unknown => assert_eq!(next, stage),
                    Reading::Beyond => (beyond, within) = (Some(beyond.map_or(0, |time| time + 10)), 0),
                    Reading::Between => (beyond, within) = (beyond.map(|time| time + 10), 0),
                    Reading::Within => (beyond, within) = (None, within + 10),
                }
                if matches!(next, Stage::Confirmed { .. }) && !matches!(stage, Stage::Confirmed { .. }) {
                    assert!(beyond.is_some_and(|time| time >= 30));
                }
                if next == Stage::Latched && matches!(stage, Stage::Confirmed { .. }) {
                    assert!(within >= 20);
                }
                stage = next;
            }
        }
    }

    #[test]
    fn a_leaky_counter_gives_back_what_it_took() {
        let times = Dwells { counter: Counter::Leaky, ..dwells(100, 100) };
        let held = Stage::Suspect { held: Millis(40), was: Was::Clear };
        assert_eq!(
            held.next(Reading::Within, Millis(10), times),
            Stage::Suspect { held: Millis(30), was: Was::Clear }
        );
        assert_eq!(held.next(Reading::Within, Millis(40), times), Stage::Clear);
    }
}
