//! Laws of stepping and of branches, on a trainer that works, loses a thermistor wire and leaks.

use crate::case::{Ask, Case, Change, Unchanged, Work};
use crate::defect::{DefectError, Kind};
use crate::recording::stepper::{Sought, Stepper, Way};
use crate::recording::{self, MOST_SNAPSHOTS, Recording};
use crate::run::Loop;
use bms_core::Fault;
use bms_core::frame::{Clearance, Replaced};
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

/// One of each kind of change.
fn changes() -> impl Strategy<Value = Change> {
    prop::sample::select(vec![
        Change::Limit(Fault::CellUnderVoltage, 2.9),
        Change::Limit(Fault::CellOverVoltage, 3.6),
        Change::Dwell(Fault::ThermistorOpen, 1_000),
        Change::Duty(Work::Travel, 5.0),
        Change::Duty(Work::TopUp, 8.0),
        Change::Act(Ask::Open),
        Change::Act(Ask::Clear(Clearance::Service)),
        Change::Act(Ask::Replace(Replaced::Cell(3))),
        Change::Inject(Kind::AddedResistance, 4, 20.0),
        Change::Inject(Kind::ThermistorFrozen, 6, 1.0),
        Change::Inject(Kind::ChargeOutOfLine, 9, -2.0),
        Change::Inject(Kind::ConfigurationBit, 0, 1.0),
        Change::Mend(0),
        Change::Mend(1),
        Change::Mend(2),
    ])
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
                // Before its tick nothing of the change is known yet, not even that it comes.
                let case = if visited <= tick { &PLAYED.case } else { &branch.case };
                let mut straight = Loop::<16, 8>::new(case).unwrap();
                while straight.tick < visited && !straight.over() {
                    straight.advance(&mut ());
                }
                let seen = branch.at(visited);
                prop_assert!(visited == tick || same(&seen, &straight), "{change:?} from {tick} at {visited}");
            }
            Err(error) => prop_assert!(matches!(error, Unchanged::EndedAlready { .. }), "{error}"),
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
                prop_assert!(same_run(&two, &played(&two.case)), "{first:?} from {}, {second:?} from {tick}", ticks.0);
            }
        }
    }
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
    assert!(matches!(refused(Change::Limit(Fault::CellOverVoltage, 99.0)), Unchanged::Limit { .. }));
    assert!(matches!(refused(Change::Limit(Fault::InterlockOpen, 1.0)), Unchanged::NoLimit { .. }));
    assert!(matches!(refused(Change::Duty(Work::Hoist, 1e4)), Unchanged::Amps { .. }));
    assert!(matches!(
        refused(Change::Inject(Kind::CellLeak, 16, 5.0)),
        Unchanged::Defect(DefectError::Place { .. })
    ));
    assert_eq!(PLAYED.branch(1_600, None, |_| true).map(|_| ()), Err(Unchanged::Over));
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
