//! What a clear finds, and what every fault makes of a frame in which nothing was measured.

use super::*;
use crate::frame::{Frame, Part};
use crate::units::Instant;
use crate::{Config, Controller};

/// Keeps what is told.
#[derive(Default)]
struct Ear(Vec<Evidence>);

impl Witness for Ear {
    fn saw(&mut self, evidence: Evidence) {
        self.0.push(evidence);
    }
}

const SUSPECT: Stage = Stage::Suspect { held: Millis(10), was: Was::Clear };
const SUSPECT_AGAIN: Stage = Stage::Suspect { held: Millis(10), was: Was::Latched };
const CONFIRMED: Stage = Stage::Confirmed { well: Millis::ZERO };

/// What a clear at the panel makes of a fault, and what it says.
fn clears(stage: Stage, reading: Reading, pending: bool, clearing: Clearing) -> (Stage, Option<Evidence>) {
    let fault = Fault::CellOverVoltage;
    let dwell = Millis::ZERO;
    let seen = Assessment { fault, place: Place::Pack, observed: None, limit: None, reading, stage, dwell };
    let dwells = Dwells { trip: dwell, release: dwell, counter: Counter::Resetting };
    let terms = Terms { dwells, reaction: Reaction::Derate, clearing, worse: Worse::Higher, pending };
    let mut ear = Ear::default();
    let after = clear(seen, Clearance::Panel, &terms, &mut ear);
    assert!(ear.0.len() <= 1);
    (after, ear.0.pop())
}

#[test]
fn a_clear_needs_a_reading_that_says_that_the_condition_is_gone() {
    let cleared = Some(Evidence::Cleared { fault: Fault::CellOverVoltage, by: Clearance::Panel });
    let unmeasured = Some(Evidence::Refused(Refusal::ConditionUnmeasured { fault: Fault::CellOverVoltage }));
    for reading in [Reading::Within, Reading::Between, Reading::Beyond, Reading::Unknown] {
        for pending in [false, true] {
            // Nothing to clear, nothing to say.
            for stage in [Stage::Clear, SUSPECT] {
                assert_eq!(clears(stage, reading, pending, Clearing::AtPanel), (stage, None));
            }
            for stage in [SUSPECT_AGAIN, CONFIRMED, Stage::Latched] {
                let (after, told) = clears(stage, reading, pending, Clearing::AtPanel);
                match (stage, reading) {
                    (_, Reading::Unknown) if pending => assert_eq!((after, told), (Stage::Clear, cleared)),
                    (_, Reading::Unknown) => assert_eq!((after, told), (stage, unmeasured)),
                    (Stage::Latched, Reading::Within | Reading::Between) => {
                        assert_eq!((after, told), (Stage::Clear, cleared));
                    }
                    _ => {
                        assert_eq!(after, stage);
                        assert!(
                            matches!(told, Some(Evidence::Refused(Refusal::ConditionPresent(_)))),
                            "{told:?}"
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn the_panel_clears_nothing_that_is_for_the_workshop() {
    let refused = Refusal::NotAllowed { fault: Fault::CellOverVoltage, by: Clearing::AtService };
    for (reading, pending) in [(Reading::Within, false), (Reading::Unknown, true)] {
        let (after, told) = clears(Stage::Latched, reading, pending, Clearing::AtService);
        assert_eq!((after, told), (Stage::Latched, Some(Evidence::Refused(refused))));
    }
}

/// The trainer with nothing measured but these cells.
fn frame(tick: u32, cells: Option<i32>) -> Frame<16, 8> {
    let mut frame = Frame::empty(Instant(tick * 10));
    if let Some(millivolts) = cells {
        frame.cells = Part::fresh(Each::all(Volts::from_milli(millivolts)));
    }
    frame
}

#[test]
fn a_latched_fault_is_not_cleared_while_its_measurement_is_missing() {
    let mut trainer = Controller::<16, 8>::new(Config::trainer().fit().expect("the defaults are valid"));
    let mut ticks = 0..;
    let mut run = |cells, count, clear, ear: &mut Ear| {
        let mut decision = None;
        for tick in ticks.by_ref().take(count) {
            let mut frame = frame(tick, cells);
            frame.asked.clear = clear;
            decision = Some(trainer.tick(&frame, ear));
        }
        decision.expect("at least one tick").faults
    };
    let said = |ear: Ear| {
        let about = |evidence: &Evidence| match evidence {
            Evidence::Refused(Refusal::ConditionUnmeasured { fault }) => Some((*fault, false)),
            Evidence::Cleared { fault, .. } => Some((*fault, true)),
            _ => None,
        };
        ear.0.iter().filter_map(about).find(|(fault, _)| *fault == Fault::CellOverVoltageFar)
    };
    run(Some(3_800), 40, None, &mut Ear::default());
    let faults = run(Some(3_300), 110, None, &mut Ear::default());
    assert!(faults.latched.holds(Fault::CellOverVoltageFar));
    let mut ear = Ear::default();
    let faults = run(None, 1, Some(Clearance::Service), &mut ear);
    assert!(faults.latched.holds(Fault::CellOverVoltageFar));
    assert_eq!(said(ear), Some((Fault::CellOverVoltageFar, false)));
    let mut ear = Ear::default();
    let faults = run(Some(3_300), 1, Some(Clearance::Panel), &mut ear);
    assert!(!faults.latched.holds(Fault::CellOverVoltageFar));
    assert_eq!(said(ear), Some((Fault::CellOverVoltageFar, true)));
}

/// What keeps a record, and a warning, does not lose it in the dwell in which it comes again.
#[test]
fn a_latched_fault_that_rises_again_stays_latched_until_it_is_confirmed() {
    let mut trainer = Controller::<16, 8>::new(Config::trainer().fit().expect("the defaults are valid"));
    let mut ticks = 0..;
    let mut run = |cells, count| {
        let mut faults = crate::decision::FaultSummary::default();
        for tick in ticks.by_ref().take(count) {
            faults = trainer.tick(&frame(tick, Some(cells)), &mut ()).faults;
        }
        [faults.suspect, faults.confirmed, faults.latched].map(|set| set.holds(Fault::CellOverVoltageFar))
    };
    assert_eq!(run(3_800, 10), [true, false, false]);
    assert_eq!(run(3_800, 30), [false, true, false]);
    assert_eq!(run(3_300, 110), [false, false, true]);
    assert_eq!(run(3_800, 10), [true, false, true]);
    assert_eq!(run(3_800, 30), [false, true, false]);
}

/// From 50 to 60 °C by the published table (4 158 and 3 019 Ω beside 10 kΩ: ratios 0.2937 and 0.2319), in 20 s: half a kelvin a
/// second. The dwell is 5 s. Readings that have stopped coming say nothing of the time since.
#[test]
fn a_rise_is_not_confirmed_by_readings_that_are_missing() {
    let rising = |stale_from: u32| {
        let mut trainer = Controller::<16, 8>::new(Config::trainer().fit().expect("the defaults are valid"));
        let mut confirmed = None;
        for tick in 0..1_500_u32 {
            let mut frame = frame(tick, Some(3_300));
            let milli = 294 - i32::try_from(tick * 62 / 2_000).expect("it is small");
            if tick < stale_from {
                frame.thermistors = Part::fresh(Each::all(Ratio::from_milli(milli)));
            }
            let faults = trainer.tick(&frame, &mut ()).faults;
            if faults.confirmed.holds(Fault::TemperatureRisingFast) {
                confirmed.get_or_insert(tick);
            }
        }
        confirmed
    };
    assert!(rising(1_500).is_some_and(|tick| (500..900).contains(&tick)), "{:?}", rising(1_500));
    assert_eq!(rising(450), None);
}

/// Those that judge the absence of something, the controller's own state, or a sum that stands still while nothing is seen. Every
/// other fault knows nothing, and says so: no value is made up.
#[test]
fn with_nothing_measured_only_these_faults_have_a_reading() {
    let mut trainer = Controller::<16, 8>::new(Config::trainer().fit().expect("the defaults are valid"));
    let mut ear = Ear::default();
    trainer.tick(&Frame::empty(Instant(0)), &mut ear);
    let mut known = Vec::new();
    for evidence in ear.0 {
        if let Evidence::Assessed(seen) = evidence
            && seen.reading != Reading::Unknown
        {
            known.push(seen.fault);
        }
    }
    let expected = [
        Fault::ModuleWithoutSensor,
        Fault::ThermalCurrentNear,
        Fault::ThermalCurrentOver,
        Fault::PrechargeResistorHot,
        Fault::ContactorWorn,
        Fault::ContactorWornOut,
        Fault::InsulationUnknown,
        Fault::MeasurementsStale,
        Fault::TickLate,
        Fault::ConfigurationInvalid,
    ];
    assert_eq!(known, expected);
}
