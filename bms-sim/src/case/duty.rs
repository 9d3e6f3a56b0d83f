//! Duty: what the crane wants of the pack over time, as a pure function of time.
//!
//! A phase is a kind of work, a length and a strength. Strength is written in C, the multiple of the current that moves the rated capacity
//! in one hour, so that one case fits both packs: `amps = ± strength · amps of 1C`. Positive charges the pack. The strengths and
//! lengths of the table are those of the demonstration scenario (invented): hoist 1.5C for 8 s, lowering up to 0.6C for 8 s.

use crate::world::load::{Demand, Giver};
use serde::Serialize;

/// A kind of work.
#[derive(Clone, Copy, Debug, Eq, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Work {
    /// At rest, for long.
    Park,
    /// Holding a load: the mechanical brake does it, no current flows.
    Hold,
    /// Lifting: strong discharge.
    Hoist,
    /// Driving along the aisle: mild discharge.
    Travel,
    /// Lowering: the drive brakes into the pack.
    Lower,
    /// Lowering fast: the same, stronger.
    FastLower,
    /// Charging at the dock.
    TopUp,
}

impl Work {
    /// Every kind of work.
    pub const ALL: [Self; 7] =
        [Self::Park, Self::Hold, Self::Hoist, Self::Travel, Self::Lower, Self::FastLower, Self::TopUp];

    /// Its name in files and for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Park => "park",
            Self::Hold => "hold",
            Self::Hoist => "hoist",
            Self::Travel => "travel",
            Self::Lower => "lower",
            Self::FastLower => "fast-lower",
            Self::TopUp => "top-up",
        }
    }

    /// Its usual strength in C, positive when it charges the pack.
    #[must_use]
    pub const fn usual_rate(self) -> f64 {
        match self {
            Self::Park | Self::Hold => 0.0,
            Self::Hoist => -1.5,
            Self::Travel => -0.3,
            Self::Lower => 0.3,
            Self::FastLower => 0.6,
            Self::TopUp => 0.5,
        }
    }

    /// Its usual length in seconds.
    #[must_use]
    pub const fn usual_seconds(self) -> f64 {
        match self {
            Self::Park => 60.0,
            Self::Hold => 5.0,
            Self::Hoist | Self::Lower | Self::FastLower => 8.0,
            Self::Travel => 20.0,
            Self::TopUp => 600.0,
        }
    }

    /// Who gives a positive current.
    #[must_use]
    pub const fn giver(self) -> Giver {
        match self {
            Self::TopUp => Giver::Charger,
            Self::Park | Self::Hold | Self::Hoist | Self::Travel | Self::Lower | Self::FastLower => {
                Giver::Drive
            }
        }
    }
}

/// One phase of the duty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Phase {
    /// The work.
    pub work: Work,
    /// When it begins, in seconds from the start.
    pub from_seconds: f64,
    /// How long it takes, in seconds.
    pub seconds: f64,
    /// Current wanted in amperes, positive when it charges the pack.
    pub amps: f64,
}

/// What the crane does at an instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Duty {
    /// The work.
    pub work: Work,
    /// When it began, in seconds from the start.
    pub since_seconds: f64,
    /// What it wants of the pack.
    pub demand: Demand,
}

/// The ambient temperature at one instant; between two of them it runs straight.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Surrounding {
    /// Seconds from the start.
    pub at_seconds: f64,
    /// Temperature around the pack in °C.
    pub celsius: f64,
}

/// The phase that runs at an instant, if any: after the last one the crane is parked.
pub(super) fn phase_at(phases: &[Phase], seconds: f64) -> Option<&Phase> {
    let begun = phases.partition_point(|phase| phase.from_seconds <= seconds);
    let phase = phases.get(begun.checked_sub(1)?)?;
    (seconds < phase.from_seconds + phase.seconds).then_some(phase)
}

/// The ambient temperature at an instant: straight between two points, level before the first and after the last.
pub(super) fn celsius_at(points: &[Surrounding], seconds: f64) -> Option<f64> {
    let passed = points.partition_point(|point| point.at_seconds <= seconds);
    let before = passed.checked_sub(1).and_then(|place| points.get(place));
    match (before, points.get(passed)) {
        (Some(before), Some(after)) => {
            let part = (seconds - before.at_seconds) / (after.at_seconds - before.at_seconds);
            Some(before.celsius + (after.celsius - before.celsius) * part)
        }
        (Some(only), None) | (None, Some(only)) => Some(only.celsius),
        (None, None) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RAMP: [Surrounding; 2] =
        [Surrounding { at_seconds: 10.0, celsius: 18.0 }, Surrounding { at_seconds: 20.0, celsius: -25.0 }];

    /// Straight lines by hand: 43 K in 10 s, a quarter of the way is 10.75 K.
    #[test]
    fn the_ambient_runs_straight_between_points_and_level_outside() {
        for (seconds, celsius) in [(0.0, 18.0), (10.0, 18.0), (12.5, 7.25), (20.0, -25.0), (1e6, -25.0)] {
            let found = celsius_at(&RAMP, seconds).expect("there are points");
            assert!((found - celsius).abs() < 1e-12, "{found} at {seconds} s");
        }
        assert_eq!(celsius_at(&[], 3.0), None);
    }

    #[test]
    fn a_phase_holds_from_its_first_instant_to_just_before_its_end() {
        let phase = |from_seconds, seconds| Phase { work: Work::Hoist, from_seconds, seconds, amps: -150.0 };
        let phases = [phase(0.0, 8.0), phase(8.0, 4.0)];
        let begins = |seconds| phase_at(&phases, seconds).map(|phase| phase.from_seconds);
        assert_eq!(begins(0.0), Some(0.0));
        assert_eq!(begins(7.99), Some(0.0));
        assert_eq!(begins(8.0), Some(8.0));
        assert_eq!(begins(12.0), None);
    }
}
