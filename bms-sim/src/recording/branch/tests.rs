//! Laws of stepping and of branches, on a trainer that works, loses a thermistor wire and leaks.

use crate::case::{Ask, Case, Change, LimitChange, PowerLoss, RecordFate, Unchanged, Work};
use crate::defect::{Defect, DefectError, Kind, Spells};
use crate::recording::stepper::{Sought, Stepper, Way};
use crate::recording::{self, MOST_SNAPSHOTS, Recording};
use crate::repair::{self, NewCell, Repair};
use crate::run::Loop;
use bms_core::Fault;
use bms_core::frame::{Clearance, Contactor, Replaced};
use proptest::prelude::*;
use std::sync::{Arc, LazyLock};

type Trainer = Recording<16, 8>;

const STORY: &str = r#"schema = 1
title = "A trainer at work"
story = "It works, a wire breaks, a cell leaks."
pack = "trainer"
seed = 8
duration_s = 16
[start]
charge_percent = 60
celsius = 18
[[act]]
at_s = 0.5
ask = "close"
[[act]]
at_s = 13
ask = "open"
[[duty]]
times = 3
phases = [{ do = "hold", for_s = 2 }, { do = "hoist", for_s = 2 }]
[[defect]]
kind = "thermistor_open"
thermistor = 3
at_s = 6
[[defect]]
kind = "cell_leak"
cell = 2
ohms = 5
at_s = 9
[[defect]]
kind = "cell_channel_frozen"
cell = 7
at_s = 11
intermittent_period_s = 1
intermittent_duty = 0.5
"#;

static PLAYED: LazyLock<Arc<Trainer>> = LazyLock::new(|| played(&Case::parse(STORY, "trainer").unwrap()));

fn played(case: &Case) -> Arc<Trainer> {
    Arc::new(recording::play(&Arc::new(case.clone()), |_| true).unwrap())
}

/// A limit that is changed in nothing.
const fn same_limit(fault: Fault) -> LimitChange {
    LimitChange { fault, trip: None, release: None, dwell_ms: None, release_dwell_ms: None }
}

/// A defect of this kind and strength, wherever it begins.
fn defect(kind: Kind, place: usize, severity: f64) -> Defect {
    Defect { severity, ..Defect::usual(kind, place, 0.0) }
}

/// This work there.
fn repaired(work: repair::Work, place: usize) -> Change {
    let cell = match work {
        repair::Work::SwapCell => NewCell { charge: 0.58, celsius: Some(21.7), ..NewCell::USUAL },
        _ => NewCell::USUAL,
    };
    Change::Repair(Repair { work, place, cell })
}

/// One of each kind of change, with whatever can be said of it.
fn changes() -> impl Strategy<Value = Change> {
    let limits = |change| Change::Limits(vec![change]);
    let (low, high) = (Fault::CellUnderVoltage, Fault::CellOverVoltage);
    let spells = Some(Spells { period_seconds: 1.7, duty: 0.3 });
    let spoken = Defect { end_seconds: Some(40.0), spells, ..defect(Kind::CellChannelOffset, 1, 33.3) };
    prop::sample::select(vec![
        limits(LimitChange { trip: Some(2.9), ..same_limit(low) }),
        limits(LimitChange { trip: Some(3.6), release: Some(3.511), ..same_limit(high) }),
        limits(LimitChange { dwell_ms: Some(1_000), ..same_limit(Fault::ThermistorOpen) }),
        Change::Limits(vec![
            LimitChange { trip: Some(0.4 / 3.0), ..same_limit(Fault::CellSpread) },
            LimitChange { release_dwell_ms: Some(730), ..same_limit(low) },
        ]),
        Change::Duty { work: Work::Travel, rate_c: 5.0 / 7.0 },
        Change::Duty { work: Work::TopUp, rate_c: 0.4 },
        Change::Duty { work: Work::Hold, rate_c: 0.0 },
        Change::Act(Ask::Open),
        Change::Act(Ask::Clear(Clearance::Service)),
        Change::Act(Ask::Clear(Clearance::Panel)),
        Change::Act(Ask::Replace(Replaced::Cell(3))),
        Change::Act(Ask::Replace(Replaced::Contactor(Contactor::Positive))),
        Change::Act(Ask::LosePower(PowerLoss { for_ms: 1_230, record: RecordFate::Kept, clock: true })),
        Change::Act(Ask::LosePower(PowerLoss { for_ms: 40, record: RecordFate::Torn, clock: false })),
        Change::Defect(Defect { grows_seconds: 2.2, ..defect(Kind::AddedResistance, 4, 20.0) }),
        Change::Defect(defect(Kind::ThermistorFrozen, 6, 1.0)),
        Change::Defect(defect(Kind::ChargeOutOfLine, 9, -2.0)),
        Change::Defect(defect(Kind::ConfigurationBit, 0, 1.0)),
        Change::Defect(defect(Kind::CurrentDead, 1, 1.0)),
        Change::Defect(spoken),
        Change::Mend(0),
        Change::Mend(1),
        Change::Mend(2),
        repaired(repair::Work::SwapCell, 4),
        repaired(repair::Work::ReplaceThermistor, 6),
        repaired(repair::Work::ReplaceContactor, 2),
        repaired(repair::Work::ReplaceCurrentSensor, 1),
    ])
}

/// What a change of this list may be refused for, where it comes: it has ended by then.
const fn refusable(error: &Unchanged) -> bool {
    matches!(error, Unchanged::EndedAlready { .. } | Unchanged::Defect(DefectError::Time { .. }))
}

/// The case that is read from a text.
fn read(text: &str) -> Case {
    Case::parse(text, "trainer").unwrap_or_else(|error| panic!("{}", error.excerpt(false)))
}

/// Pack, firmware and answer are the same, bit for bit.
fn same(one: &Loop<16, 8>, other: &Loop<16, 8>) -> bool {
    one.tick == other.tick
        && one.at_ms == other.at_ms
        && one.world == other.world
        && one.core == other.core
        && one.decision == other.decision
}

/// The same from its start to its end, events and all.
fn same_run(one: &Trainer, other: &Trainer) -> bool {
    let events = |of: &Trainer| format!("{:?}", of.events);
    one.digest == other.digest && same(&one.end, &other.end) && events(one) == events(other)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// However a tick is reached, it looks the same: as from the start, without any snapshot.
    #[test]
    fn a_tick_is_the_same_from_either_side(steps in prop::collection::vec((any::<bool>(), 1_u64..700), 1..12)) {
        let mut stepper = Stepper::new(Arc::clone(&PLAYED));
        for (on, ticks) in steps {
            stepper.by(if on { Way::On } else { Way::Back }, ticks);
        }
        let mut straight = Loop::<16, 8>::new(&PLAYED.case).unwrap();
        while straight.tick < stepper.played() {
            straight.advance(&mut ());
        }
        let stop = stepper.stop();
        prop_assert_eq!(stop.is_none(), straight.tick == 0);
        prop_assert!(stop.is_none_or(|stop| same(&stop.after, &straight)), "after {} ticks", stepper.played());
    }

    /// Without a change the same happens again.
    #[test]
    fn a_branch_without_change_is_the_original(tick in 0..1_600_u64) {
        let branch = PLAYED.branch(tick, None, |_| true).unwrap();
        prop_assert!(same_run(&branch, &PLAYED));
        prop_assert_eq!(format!("{:?}", branch.nearest), format!("{:?}", PLAYED.nearest));
        prop_assert_eq!(format!("{:?}", branch.tightest), format!("{:?}", PLAYED.tightest));
    }

    /// Up to its tick it is the original, from then on its own case, and that is the same story when it is played from the start. The
    /// original is as it was.
    #[test]
    fn a_branch_is_its_case(tick in 0..1_600_u64, change in changes(), visited in 0..1_600_u64) {
        let before = format!("{:?}", PLAYED.at(visited));
        match PLAYED.branch(tick, Some(&change), |_| true) {
            Ok(branch) => {
                let branch = Arc::new(branch);
                prop_assert!(same_run(&branch, &played(&branch.case)), "{change:?} from {tick}");
                prop_assert_eq!(&read(&branch.case.file()), &*branch.case, "{}", branch.case.file());
                // Before its tick nothing of the change is known yet, not even that it comes.
                let case = if visited <= tick { &PLAYED.case } else { &branch.case };
                let mut straight = Loop::<16, 8>::new(case).unwrap();
                while straight.tick < visited && !straight.over() {
                    straight.advance(&mut ());
                }
                let seen = branch.at(visited);
                prop_assert!(visited == tick || same(&seen, &straight), "{change:?} from {tick} at {visited}");
            }
            Err(error) => prop_assert!(refusable(&error), "{error}"),
        }
        prop_assert_eq!(format!("{:?}", PLAYED.at(visited)), before);
    }

    /// A branch of a branch is its case, too.
    #[test]
    fn a_branch_of_a_branch_is_its_case(ticks in (0..800_u64, 0..800_u64), first in changes(), second in changes()) {
        let Ok(one) = PLAYED.branch(ticks.0, Some(&first), |_| true) else { return Ok(()) };
        let one = Arc::new(one);
        // Also from before the first one parted, and behind.
        for tick in [ticks.1, ticks.0 + ticks.1] {
            if let Ok(two) = one.branch(tick, Some(&second), |_| true) {
                prop_assert_eq!(&read(&two.case.file()), &*two.case, "{}", two.case.file());
                prop_assert!(same_run(&two, &played(&two.case)), "{first:?} from {}, {second:?} from {tick}", ticks.0);
            }
        }
    }
}

/// A defect that begins, and in the same instant another one that never comes: the first one begins all the same.
#[test]
fn two_changes_of_one_instant_are_both_made() {
    let one =
        PLAYED.branch(34, Some(&Change::Defect(defect(Kind::AddedResistance, 4, 20.0))), |_| true).unwrap();
    let two = Arc::new(one).branch(34, Some(&Change::Mend(0)), |_| true).unwrap();
    assert!(same_run(&two, &played(&two.case)));
}

/// What happened is found from either side, each event's tick once, in the same order.
#[test]
fn every_event_is_found_forwards_and_backwards() {
    for sought in Sought::ALL {
        let mut stepper = Stepper::new(Arc::clone(&PLAYED));
        let (mut forwards, mut backwards) = (Vec::new(), Vec::new());
        while stepper.to_next(sought, Way::On) {
            forwards.push(stepper.played());
            let stop = stepper.stop().unwrap();
            assert!(stop.events.iter().any(|event| sought.is(&event.what)), "{sought:?} in {}", stop.tick);
        }
        stepper.to_seconds(f64::INFINITY);
        while stepper.to_next(sought, Way::Back) {
            backwards.push(stepper.played());
        }
        backwards.reverse();
        assert_eq!(forwards, backwards, "{sought:?}");
        assert!(!forwards.is_empty(), "{sought:?} never happened");
    }
}

/// The tick of a time is the last one that is not later; before the start nothing was played.
#[test]
fn a_time_is_found_as_its_tick() {
    let mut stepper = Stepper::new(Arc::clone(&PLAYED));
    for (seconds, played) in [(0.0, 1), (0.009, 1), (0.01, 2), (7.255, 726), (1e9, 1_600), (-1.0, 0)] {
        stepper.to_seconds(seconds);
        assert_eq!(stepper.played(), played, "{seconds} s");
    }
}

#[test]
fn what_makes_no_sense_is_refused() {
    let refused = |change: Change| PLAYED.branch(700, Some(&change), |_| true).map(|_| ()).unwrap_err();
    assert_eq!(refused(Change::Mend(3)), Unchanged::NoSuchDefect { found: 4, count: 3 });
    let limit = |fault, trip| Change::Limits(vec![LimitChange { trip: Some(trip), ..same_limit(fault) }]);
    assert!(matches!(refused(limit(Fault::CellOverVoltage, 99.0)), Unchanged::Limit { .. }));
    assert!(matches!(refused(limit(Fault::InterlockOpen, 1.0)), Unchanged::NoLimit { .. }));
    assert!(matches!(refused(Change::Duty { work: Work::Hoist, rate_c: 1e3 }), Unchanged::Rate { .. }));
    assert!(matches!(
        refused(Change::Defect(defect(Kind::CellLeak, 16, 5.0))),
        Unchanged::Defect(DefectError::Place { .. })
    ));
    assert_eq!(PLAYED.branch(1_600, None, |_| true).map(|_| ()), Err(Unchanged::Over));
}

/// A branch whose run was broken off is none: nobody may take it for the whole.
#[test]
fn a_branch_that_is_broken_off_is_not_made() {
    let mut stepper = Stepper::new(Arc::clone(&PLAYED));
    stepper.by(Way::On, 500);
    assert_eq!(stepper.branch(&Change::Act(Ask::Open), |seconds| seconds < 8.0), Ok(false));
    assert_eq!((stepper.branches().len(), stepper.played()), (1, 500));
}

/// A pack that rests in steps of 10 s is met at the tick of a change, whatever is changed, and the same from its text.
#[test]
fn a_pack_at_rest_is_met_where_something_is_otherwise() {
    let story = "schema = 1\ntitle = ''\nstory = ''\npack = 'trainer'\nseed = 3\nduration_s = 4000\n[start]\ncharge_percent = 60\n\
                 celsius = 18\n[[defect]]\nkind = 'cell_leak'\ncell = 6\nohms = 20\nat_s = 100\n[rest]\nstep_s = 10\n";
    let case = read(story);
    let resting = played(&case);
    let wide = |of: &Trainer, ticks: std::ops::Range<u64>| {
        let at: Vec<u64> = ticks.map(|tick| of.at(tick).at_ms).collect();
        at.windows(2).any(|two| two[1] - two[0] > 1_000)
    };
    let tick = resting.ticks - 40;
    assert!(wide(&resting, tick - 20..tick), "it rests there");
    for change in [
        Change::Limits(vec![LimitChange { dwell_ms: Some(900), ..same_limit(Fault::CellOverVoltage) }]),
        Change::Duty { work: Work::Travel, rate_c: 0.3 },
        Change::Act(Ask::Close),
    ] {
        let branch = resting.branch(tick, Some(&change), |_| true).unwrap();
        assert!(same_run(&branch, &played(&read(&branch.case.file()))), "{change:?}");
        assert!(branch.case.changes.iter().all(|changed| changed.at_ms == resting.at(tick).at_ms));
        // Said in a file at an instant that no step ends at, it is not passed over.
        let changed = case.changed(3_333_330, &change).unwrap();
        let told = played(&changed);
        let found = told.events.iter().any(|event| (event.seconds - 3_333.33).abs() < 1e-9);
        assert!(found, "{change:?}: {:?}", told.events.last());
    }
}

/// Whatever the length, snapshots are no more than promised and evenly spaced, and no tick is further from one than that.
#[test]
fn snapshots_are_bounded() {
    let mut case = Case::parse(STORY, "trainer").unwrap();
    case.duration_seconds = 600.0;
    let long = played(&case);
    let cost = long.snapshots_cost();
    assert!((MOST_SNAPSHOTS / 2..=MOST_SNAPSHOTS).contains(&cost.snapshots), "{cost:?}");
    assert_eq!(cost.spacing, 200, "60 000 ticks in at most 512 pieces");
    assert!(cost.bytes_each > size_of::<Loop<16, 8>>());
}
