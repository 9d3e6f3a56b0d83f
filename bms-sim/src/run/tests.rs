//! The control side's trouble, seen by the core.

use super::*;
use crate::defect::{Defect, Kind, Spells};
use bms_core::fault::Fault;
use bms_core::sense::PartName;
use bms_core::units::Millis;

type Crane = Loop<96, 16>;

/// A sound crane at work, its insulation measured and its contactors closed after three seconds.
fn at_work() -> Crane {
    let text = "schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"crane\"\nduration_s = 600\nseed = 5\n\
        [start]\ncharge_percent = 60\ncelsius = 15\n[[act]]\nat_s = 0.5\nask = \"close\"\n\
        [[duty]]\ndo = \"hold\"\nfor_s = 600\n";
    let mut played = Crane::new(&Arc::new(Case::parse(text, "t").unwrap())).unwrap();
    run(&mut played, 300);
    assert_eq!(played.core.step(), Step::Closed);
    played
}

fn run(played: &mut Crane, ticks: u32) {
    for _ in 0..ticks {
        played.advance(&mut ());
    }
}

fn confirmed(played: &Crane, fault: Fault) -> bool {
    let faults = played.core.faults();
    faults.confirmed.holds(fault) || faults.latched.holds(fault)
}

fn with(played: &mut Crane, kind: Kind, place: usize, severity: f64) -> crate::defect::DefectId {
    let onset_seconds = played.world.seconds;
    played.world.inject(Defect { severity, ..Defect::usual(kind, place, onset_seconds) }).unwrap()
}

/// A third of the frames lost: three in a row are lost once in 27 ticks (p³), and the core, which believes what is three ticks old, hears
/// of every fourth; none lost, none repeated.
#[test]
fn lost_frames_come_as_the_last_one_again() {
    let mut played = at_work();
    with(&mut played, Kind::FramesLost, 0, 33.333);
    run(&mut played, 2);
    let (mut last, mut repeats, ticks) = (None, 0, 3_000);
    for _ in 0..ticks {
        let at = played.frame().at;
        repeats += u32::from(last == Some(at));
        last = Some(at);
        played.advance(&mut ());
    }
    // Binomial, n = 3 000, p = 1/3: 1 000 ± 4 σ of 26.
    assert!((896..=1_104).contains(&repeats), "{repeats}");
}

/// All lost: no newer frame ever comes, which is what stale measurements are, and the contactors open.
#[test]
fn without_frames_the_measurements_are_stale() {
    let mut played = at_work();
    with(&mut played, Kind::FramesLost, 0, 100.0);
    run(&mut played, 300);
    assert!(confirmed(&played, Fault::MeasurementsStale));
    assert_eq!(played.world.truth().made, [false; 3]);
}

/// Every frame 80 ms late: after 80 ms in which none is newer, each is that of eight ticks ago.
#[test]
fn late_frames_are_those_of_some_ticks_ago() {
    let mut played = at_work();
    let id = with(&mut played, Kind::FramesLate, 0, 80.0);
    played.advance(&mut ());
    let onset = played.frame().at;
    let delays: Vec<u64> = (0..20)
        .map(|_| {
            let delay = played.at_ms - u64::from(played.frame().at.0);
            played.advance(&mut ());
            delay
        })
        .collect();
    assert_eq!(delays[..8], [10, 20, 30, 40, 50, 60, 70, 80], "from {onset:?}");
    assert!(delays[8..].iter().all(|delay| *delay == 80), "{delays:?}");
    played.world.clear(id);
    assert_eq!(u64::from(played.frame().at.0), played.at_ms);
}

/// The part stays bit for bit what it was, and its age says so; the others go on.
#[test]
fn a_stale_part_keeps_its_value_and_grows_old() {
    for (place, part) in PartName::ALL.into_iter().enumerate() {
        let mut played = at_work();
        with(&mut played, Kind::PartStale, place, 1.0);
        let caught = played.frame();
        run(&mut played, 5);
        let frame = played.frame();
        let ages = [
            frame.cells.age,
            frame.thermistors.age,
            frame.current.age,
            frame.current_check.age,
            frame.voltages.age,
            frame.supply.age,
            frame.feedback.age,
            frame.poles.age,
            frame.contacts.age,
        ];
        for (which, age) in ages.into_iter().enumerate() {
            assert_eq!(age, Millis(if which == place { 50 } else { 0 }), "{part:?}");
        }
        // Noise alone makes 96 readings differ.
        assert_eq!(frame.cells.value == caught.cells.value, place == 0);
        run(&mut played, 60);
        assert!(confirmed(&played, Fault::MeasurementsStale) || place >= 7, "{part:?}");
    }
}

/// One bit of the configuration: the checksum finds it within a pass over its sections, the contactors open; written anew, it is whole.
#[test]
fn a_flipped_bit_is_found_by_the_checksum_alone() {
    let mut played = at_work();
    let sound = **played.core.config();
    let id = with(&mut played, Kind::ConfigurationBit, 0, 1.0);
    run(&mut played, 1);
    assert!(**played.core.config() != sound);
    run(&mut played, 300);
    assert!(confirmed(&played, Fault::ConfigurationInvalid));
    assert_eq!(played.world.truth().made, [false; 3]);
    played.world.clear(id);
    run(&mut played, 1);
    assert!(**played.core.config() == sound);
}

/// 1 % fast: after 100 s the frames are stamped a second later than true time, while the pack lived for 100 s; nobody can tell.
#[test]
fn a_fast_clock_gains_and_nothing_tells() {
    let mut played = at_work();
    let start = (u64::from(played.frame().at.0), played.world.seconds);
    with(&mut played, Kind::ClockFast, 0, 1.0);
    run(&mut played, 10_000);
    let gone = u64::from(played.frame().at.0) - start.0;
    assert!((gone - 100_000).abs_diff(1_000) <= 1, "{gone}");
    assert!((played.world.seconds - start.1 - 100.0).abs() < 1e-6);
    assert!(played.core.faults().confirmed.is_empty() && played.core.faults().suspect.is_empty());
}

/// A tick that comes 150 ms late once a second (200 of them take 2.6 s): the pack goes on meanwhile, and the frames are that far apart.
#[test]
fn a_late_tick_lets_the_pack_go_on() {
    let mut played = at_work();
    let spells = Some(Spells { period_seconds: 1.0, duty: 0.01 });
    let onset_seconds = played.world.seconds;
    let late = Defect { severity: 150.0, spells, ..Defect::usual(Kind::TickLate, 0, onset_seconds) };
    played.world.inject(late).unwrap();
    let mut steps = Vec::new();
    for _ in 0..200 {
        let (before, seconds) = (played.frame().at.0, played.world.seconds);
        played.advance(&mut ());
        let step = played.frame().at.0 - before;
        assert!((played.world.seconds - seconds - f64::from(step) / MS).abs() < 1e-9);
        steps.push(step);
    }
    let late = steps.iter().filter(|step| **step == 160).count();
    assert!((3..=4).contains(&late) && steps.iter().all(|step| matches!(step, 10 | 160)), "{steps:?}");
}

/// Whatever befell the frames, cleared it is as if it had not: the next frame is the one that a sound loop has, at the same instant.
#[test]
fn cleared_trouble_leaves_the_frames_alone() {
    for kind in [Kind::FramesLost, Kind::FramesLate, Kind::PartStale] {
        let (mut played, mut twin) = (at_work(), at_work());
        let id = with(&mut played, kind, 0, kind.usual());
        assert_eq!(played.frame().cells, twin.frame().cells, "the first one still comes through");
        run(&mut played, 2);
        run(&mut twin, 2);
        played.world.clear(id);
        assert_eq!(played.frame(), twin.frame(), "{}", kind.name());
    }
}
