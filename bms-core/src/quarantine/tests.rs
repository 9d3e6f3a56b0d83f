//! Expectations are sums of the steps given.

use super::*;
use crate::config::Config;
use crate::fault::FaultSet;

const SHORT: Fault = Fault::InternalShort;
const HALF: Millis = Millis::from_seconds(1_800);

struct Bench {
    watch: Watch,
    config: Checked,
    sight: Sight,
    faults: FaultSummary,
    heard: Vec<Quarantine>,
}

fn set(fault: Fault) -> FaultSet {
    let mut set = FaultSet::EMPTY;
    set.insert(fault);
    set
}

impl Bench {
    /// A short that has just gone quiet, of a pack of 25 °C in which all is seen.
    fn latched() -> Self {
        let sight = Sight {
            elapsed: HALF,
            open: true,
            cells: true,
            hottest: Some(Celsius::from_milli(25_000)),
            fall: Some((3, Volts::ZERO)),
            loses: None,
        };
        let faults = FaultSummary { latched: set(SHORT), ..FaultSummary::default() };
        let config = Config::crane().check(96, 16).expect("the default is valid");
        Self { watch: Watch::new(), config, sight, faults, heard: Vec::new() }
    }

    fn tick(&mut self) {
        let (heard, sight) = (&mut self.heard, self.sight);
        let mut witness = Ear(heard);
        self.watch.advance(|| sight, &self.faults, &self.config, &mut witness);
    }

    fn ticks(&mut self, count: u32) {
        (0..count).for_each(|_| self.tick());
    }

    fn now(&self) -> Quarantine {
        self.watch.told(&self.config).expect("it is in quarantine")
    }
}

struct Ear<'a>(&'a mut Vec<Quarantine>);

impl Witness for Ear<'_> {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Quarantined(told) = evidence {
            self.0.push(told);
        }
    }
}

#[test]
fn it_begins_with_a_fault_that_opening_does_not_stop_and_ends_when_that_is_cleared() {
    let mut bench = Bench::latched();
    bench.faults = FaultSummary { confirmed: set(Fault::SupplyLow), ..FaultSummary::default() };
    bench.tick();
    assert_eq!(bench.watch, Watch::new());
    bench.faults = FaultSummary { confirmed: set(SHORT), ..FaultSummary::default() };
    bench.ticks(3);
    let (fault, needed) = (SHORT, Millis(86_400_000));
    let begun =
        Quarantine { fault, disturbance: Some(Disturbance::Holds(SHORT)), quiet: Millis::ZERO, needed };
    assert_eq!(bench.heard, [begun]);
    bench.faults = FaultSummary { latched: set(SHORT), ..FaultSummary::default() };
    bench.tick();
    assert_eq!(bench.heard, [begun, Quarantine { disturbance: None, ..begun }]);
    bench.faults = FaultSummary::default();
    bench.tick();
    assert_eq!(bench.watch, Watch::new());
}

/// 48 half hours are 24 h. Told: the beginning, each of 24 hours, the last of which reaches the time; then nothing more, and it stays.
#[test]
fn quiet_is_told_once_an_hour_until_the_time_is_reached() {
    let mut bench = Bench::latched();
    bench.ticks(1 + 47);
    assert_eq!(bench.now().quiet, Millis(47 * 1_800_000));
    assert_eq!(bench.heard.len(), 1 + 23);
    bench.ticks(100);
    let hours: Vec<u32> = bench.heard.iter().map(|told| told.quiet.0 / 3_600_000).collect();
    assert_eq!(hours, (0..=24).collect::<Vec<_>>());
    assert_eq!((bench.now().quiet, bench.now().disturbance), (Millis(86_400_000), None));
}

/// Each of them sets the time back and is named; it counts anew from the frame in which all is quiet again.
#[test]
fn a_disturbance_sets_the_quiet_time_back_and_is_named() {
    type Disturb = fn(&mut Bench);
    let disturbed: [(Disturb, Disturbance); 8] = [
        (|b| b.sight.open = false, Disturbance::NotOpen),
        (|b| b.sight.cells = false, Disturbance::Unseen(PartName::Cells)),
        (|b| b.sight.hottest = None, Disturbance::Unseen(PartName::Thermistors)),
        (|b| b.sight.fall = None, Disturbance::FallUnknown),
        (|b| b.sight.fall = Some((7, Volts::from_milli(3))), Disturbance::Falls(7)),
        (|b| b.sight.loses = Some(9), Disturbance::Loses(9)),
        (|b| b.faults.confirmed = set(Fault::InsulationLow), Disturbance::InsulationLow),
        (|b| b.faults.suspect = set(Fault::CellReversed), Disturbance::Holds(Fault::CellReversed)),
    ];
    for (disturb, name) in disturbed {
        let mut bench = Bench::latched();
        bench.ticks(4);
        assert_eq!(bench.now().quiet, Millis(3 * 1_800_000));
        let (sight, faults) = (bench.sight, bench.faults);
        disturb(&mut bench);
        bench.ticks(3);
        assert_eq!((bench.now().disturbance, bench.now().quiet), (Some(name), Millis::ZERO));
        assert_eq!(bench.heard.iter().filter(|told| told.disturbance == Some(name)).count(), 1);
        (bench.sight, bench.faults) = (sight, faults);
        bench.ticks(2);
        assert_eq!((bench.now().disturbance, bench.now().quiet), (None, Millis(1_800_000)));
    }
}

/// 1.5 °C in half an hour are 3 °C in one, which is allowed; 1.6 °C are too much. A day that warms by 1 °C an hour is quiet.
#[test]
fn a_rise_counts_by_the_hour() {
    let after = |milli_a_step: i32, steps: i32| {
        let mut bench = Bench::latched();
        for step in 0..steps {
            bench.sight.hottest = Some(Celsius::from_milli(25_000 + milli_a_step * step));
            bench.tick();
        }
        bench.now()
    };
    assert_eq!(after(500, 20).disturbance, None);
    assert_eq!(after(500, 20).quiet, Millis(19 * 1_800_000));
    assert_eq!(after(1_499, 20).disturbance, None);
    assert_eq!(after(1_600, 20).disturbance, Some(Disturbance::Warms));
}

/// Half an hour between frames was watched; a second more was not. The same frame again was not either.
#[test]
fn what_was_not_watched_counts_nothing() {
    let mut bench = Bench::latched();
    bench.ticks(3);
    assert_eq!(bench.now().quiet, Millis(3_600_000));
    for elapsed in [Millis(1_801_000), Millis(86_400_000), Millis::MAX, Millis::ZERO] {
        bench.sight.elapsed = elapsed;
        bench.tick();
        assert_eq!((bench.now().quiet, bench.now().disturbance), (Millis(3_600_000), None));
    }
    bench.sight.elapsed = Millis::from_seconds(10);
    bench.tick();
    assert_eq!(bench.now().quiet, Millis(3_610_000));
}

#[test]
fn it_is_small() {
    assert!(size_of::<Watch>() < 40, "{}", size_of::<Watch>());
}
