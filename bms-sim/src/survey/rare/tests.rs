//! Faults of the core at their default limits, on packs that stand near them: what is watched stands where it is said to, and what is
//! found is what is calculated, down to once in 10⁹ hours, and what plain sampling counts where that reaches.

use super::lean::{Channel, Lean};
use super::rates::{Outcome, pieces, places, rows};
use super::situations::{Crane, Situation};
use super::splitting::{Estimate, estimate};
use crate::survey::statistics::rate::Rate;
use bms_core::Fault;
use bms_core::witness::{Evidence, Witness};
use std::sync::atomic::AtomicBool;

/// What one fault sees over many ticks.
struct Seen {
    fault: Fault,
    observed: Vec<f64>,
}

impl Witness for Seen {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Assessed(seen) = evidence
            && seen.fault == self.fault
            && let Some(observed) = seen.observed
        {
            #[expect(clippy::cast_precision_loss, reason = "far below 2⁵³")]
            let value = observed.bits() as f64 / 65_536.0;
            self.observed.push(value);
        }
    }
}

fn stands(situation: Situation, distance: f64) -> Crane {
    situation.standing(distance).unwrap_or_else(|error| panic!("{error}"))
}

/// The distance is worked out from truth and the sensors' sheets. What the core shows has that mean and that noise: within four standard
/// errors, where of a smoothed value 1/29 of the ticks count ((2 − λ)/λ).
#[test]
fn what_is_watched_stands_where_it_is_said_to_and_has_that_noise() {
    for (situation, trip, side, independent) in [
        (Situation::LowCell, 2.8, 1.0, 1.0),
        (Situation::ApartSensors, 17.9993, -1.0, 1.0),
        (Situation::OffMeter, 3.0703, -1.0, 29.0),
    ] {
        let distance = situation.distances()[5];
        let standing = stands(situation, distance);
        let mut seen = Seen { fault: situation.fault(), observed: Vec::new() };
        let mut now = standing.stands().clone();
        for _ in 0..12_000 {
            now.advance(&mut seen);
        }
        let count = f64::from(u32::try_from(seen.observed.len()).unwrap());
        assert!(count >= 12_000.0, "{situation:?} is judged in every tick");
        let mean = seen.observed.iter().sum::<f64>() / count;
        let squares: f64 = seen.observed.iter().map(|value| (value - mean) * (value - mean)).sum();
        let (noise, expected) = (libm::sqrt(squares / count), situation.noise(&standing));
        let error = expected * libm::sqrt(independent / count);
        assert!((mean - trip - side * distance).abs() < 4.0 * error, "{situation:?}: {mean} ± {error}");
        assert!((noise / expected - 1.0).abs() < 0.03 * libm::sqrt(independent), "{situation:?}: {noise}");
    }
}

fn found(
    situation: Situation,
    standing: &Crane,
    (begins, copies): (usize, usize),
    repeats: usize,
) -> Estimate {
    estimate(standing, &standing.effort(situation.levels(), (begins, copies), repeats, 5))
}

/// What is found has what is calculated in its interval, from once in some minutes down to once in 10⁹ hours; a hair beside it is allowed,
/// since six intervals of 95 % need not all hold.
#[test]
fn what_is_found_is_what_is_calculated() {
    for (situation, work) in [
        (Situation::LowCell, (400, 8)),
        (Situation::ApartSensors, (400, 100)),
        (Situation::OffMeter, (60, 8)),
    ] {
        for distance in [situation.distances()[0], situation.distances()[5]] {
            let standing = stands(situation, distance);
            let found = found(situation, &standing, work, 6);
            let calculated = situation.calculated(&standing, distance);
            assert!(
                found.low / 1.1 <= calculated && calculated <= 1.1 * found.high,
                "{situation:?} at {distance}: {calculated} {found:?}"
            );
            assert!(found.high < 6.0 * found.low, "{situation:?} at {distance}: {found:?}");
        }
    }
}

/// SciPy 1.17.1 and NumPy 2.4.6, a tick: the tail of one cell's readings; p q²⁰ over all pairs of steps (the limits are 17.99927 and 16.19922 A in the
/// fixed point of the core); the integral equation with 161 nodes
/// and 800 powers, from the sheets of the sensors. The farthest of each is once in 10⁹ hours or less.
#[test]
fn what_is_calculated_is_what_scipy_calculates() {
    for (situation, distance, share) in [
        (Situation::LowCell, 1.8e-3, 2.273_591_685_896_560_7e-4),
        (Situation::LowCell, 4.0e-3, 1.327_851_841_891_803_4e-15),
        (Situation::ApartSensors, 1.35, 4.238_111_438_155_127e-6),
        (Situation::ApartSensors, 1.85, 1.717_454_166_441_129_5e-15),
        (Situation::OffMeter, 85e-3, 0.596_000_481_264_923_6 / 360_000.0),
        (Situation::OffMeter, 148e-3, 5.067_666_609_258_609e-10 / 360_000.0),
    ] {
        let found = situation.calculated(&stands(situation, distance), distance);
        assert!((found / share - 1.0).abs() < 1e-6, "{situation:?} at {distance}: {found}");
    }
    for situation in Situation::ALL {
        let distance = situation.distances()[5];
        assert!(
            situation.calculated(&stands(situation, distance), distance) * 360_000.0 <= 1e-9,
            "{situation:?}"
        );
    }
}

/// Plain sampling of the two that cost least, near the limit. It counts the same; how often is chance, so both intervals are wide.
#[test]
fn plain_sampling_counts_the_same_where_it_reaches() {
    for (situation, distance, work, hours) in
        [(Situation::LowCell, 1.5e-3, (400, 8), 0.05), (Situation::ApartSensors, 1.1, (400, 100), 0.1)]
    {
        let standing = stands(situation, distance);
        let found = found(situation, &standing, work, 6);
        let watched = standing.watched(hours, 3, &AtomicBool::new(false)).expect("nobody stops it");
        #[expect(clippy::cast_precision_loss, reason = "some thousand ticks")]
        let plain = Rate::of(watched.alarms, watched.ticks as f64);
        assert!(watched.alarms >= 5, "{situation:?}: {watched:?}");
        assert!(plain.low_per_hour <= found.high, "{plain:?} {found:?}");
        assert!(plain.high_per_hour.is_some_and(|high| found.low <= high), "{plain:?} {found:?}");
    }
}

/// Noise that leans the wrong way, or twice as far as it should, finds far too little. It is not believed: its weights are worth next to nothing.
#[test]
fn a_lean_that_degenerates_is_noticed() {
    let situation = Situation::LowCell;
    let distance = situation.distances()[3];
    for (times, trusted) in [(1.0, true), (-0.5, false), (2.2, false)] {
        let leant = Lean::once(Channel::Cell(36), -times * distance / 0.5e-3);
        let standing = stands(situation, distance).upright().leaning(leant);
        let found = found(situation, &standing, (1_000, 8), 4);
        assert_eq!(found.trusted(), trusted, "{times}: {found:?}");
    }
}

/// The pieces in any order come to the same rows, to the last bit, and go to a file and back.
#[test]
fn pieces_come_to_the_same_in_any_order() {
    let place = [places()[1]];
    let mut outcomes: Vec<Outcome> = pieces(&place, false)
        .iter()
        .take(3)
        .map(|piece| piece.work(1, &AtomicBool::new(false)).unwrap().expect("nobody stops it"))
        .collect();
    let once = rows(&place, &outcomes).unwrap();
    outcomes.reverse();
    let kept = serde_json::to_string(&outcomes).unwrap();
    let again: Vec<Outcome> = serde_json::from_str(&kept).unwrap();
    assert_eq!(rows(&place, &again).unwrap(), once);
    assert_eq!(once[0].a_tick.repeats, 3);
    assert!(once[0].agrees() && once[0].plain.is_none());
}
