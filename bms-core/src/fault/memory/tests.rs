//! What is remembered, through the controller where that shows it and by itself where memory must be full.

use super::*;
use crate::fault::{Reading, Stage};
use crate::frame::{Asked, Clearance, Frame, Part};
use crate::units::{Instant, Ratio};
use crate::{Config, Controller, Each};

/// A trainer that ticks every 10 ms, all cells at 3.3 V but for the one in place 4.
struct Trainer {
    controller: Controller<16, 8>,
    tick: u32,
}

impl Trainer {
    fn new() -> Self {
        Self {
            controller: Controller::new(Config::trainer().fit().expect("the defaults are valid")),
            tick: 0,
        }
    }

    /// The cell reads so many millivolts for so many ticks.
    fn reads(&mut self, millivolts: i32, ticks: u32) {
        self.asks(millivolts, ticks, Asked::NOTHING);
    }

    fn asks(&mut self, millivolts: i32, ticks: u32, asked: Asked) {
        for _ in 0..ticks {
            let mut frame = Frame::empty(Instant(self.tick * 10));
            let mut cells = Each::all(Volts::from_milli(3_300));
            *cells.at_mut(4).expect("there is a cell 5") = Volts::from_milli(millivolts);
            frame.cells = Part::fresh(cells);
            frame.thermistors = Part::fresh(Each::all(Ratio::percent(50)));
            frame.asked = asked;
            self.controller.tick(&frame, &mut ());
            self.tick += 1;
        }
    }

    fn record(&self, fault: Fault) -> Option<Record> {
        self.controller.memory().records().find(|record| record.fault == fault).cloned()
    }
}

fn volts(milli: i32) -> Quantity {
    Quantity::Volts(Volts::from_milli(milli))
}

/// Beyond 3.75 V for 300 ms, worse and better again: the fault stays Confirmed for the second after it has healed.
#[test]
fn the_worst_of_a_high_fault_is_the_highest_and_healing_does_not_touch_it() {
    let mut trainer = Trainer::new();
    for (millivolts, ticks) in [(3_300, 10), (3_800, 40), (3_900, 1), (3_760, 10), (3_720, 10), (3_300, 200)]
    {
        trainer.reads(millivolts, ticks);
    }
    assert!(trainer.controller.faults().latched.holds(Fault::CellOverVoltageFar));
    let record = trainer.record(Fault::CellOverVoltageFar).expect("it was confirmed");
    assert_eq!(
        (record.worst, record.limit, record.place),
        (Some(volts(3_900)), Some(volts(3_750)), Place::Cell(4))
    );
    // Beyond from 100 ms on; last beyond in the tick at 600 ms, before it fell between the limits.
    assert_eq!((record.first, record.last), (Uptime(400), Uptime(600)));
}

/// Beyond 2.5 V for 300 ms, at 25 °C.
#[test]
fn the_worst_of_a_low_fault_is_the_lowest_and_healing_does_not_touch_it() {
    let mut trainer = Trainer::new();
    for (millivolts, ticks) in [(3_300, 10), (2_400, 40), (2_200, 1), (2_450, 10), (2_520, 10), (3_300, 200)]
    {
        trainer.reads(millivolts, ticks);
    }
    let record = trainer.record(Fault::CellUnderVoltageFar).expect("it was confirmed");
    assert_eq!(
        (record.worst, record.limit, record.place),
        (Some(volts(2_200)), Some(volts(2_500)), Place::Cell(4))
    );
    assert_eq!((record.first, record.last), (Uptime(400), Uptime(600)));
}

#[test]
fn confirmations_and_near_misses_are_counted_apart() {
    let mut trainer = Trainer::new();
    trainer.reads(3_300, 1);
    trainer.reads(3_800, 20); // 200 of 300 ms
    trainer.reads(3_300, 1);
    let near = trainer.record(Fault::CellOverVoltageFar).expect("it was near");
    assert_eq!((near.count, near.near_misses, near.worst, near.freeze), (0, 1, None, None));
    assert_eq!((near.first, near.last), (Uptime(210), Uptime(210)));
    for _ in 0..2 {
        trainer.reads(3_800, 40);
        trainer.reads(3_300, 110); // the release dwell is 1 s
    }
    let record = trainer.record(Fault::CellOverVoltageFar).expect("it was confirmed");
    assert_eq!((record.count, record.near_misses, record.first), (2, 1, Uptime(210)));
}

/// The tick in which the dwell ends, and the five before it that are 100 ms apart.
#[test]
fn the_freeze_frame_shows_the_tick_of_the_confirmation_and_the_history_what_came_before() {
    let mut trainer = Trainer::new();
    trainer.reads(3_300, 60);
    trainer.reads(3_800, 30);
    assert!(trainer.record(Fault::CellOverVoltageFar).is_none(), "290 of 300 ms");
    trainer.reads(3_810, 1);
    trainer.reads(3_900, 5);
    let record = trainer.record(Fault::CellOverVoltageFar).expect("it was confirmed");
    let freeze = record.freeze.expect("it was confirmed");
    assert_eq!((freeze.at, freeze.highest), (Uptime(900), Some((4, Volts::from_milli(3_810)))));
    assert_eq!((freeze.lowest, freeze.amps), (Some((0, Volts::from_milli(3_300))), None));
    let history = record.history.iter().map(|before| before.at.0);
    assert!(history.eq([400, 500, 600, 700, 800]), "{:?}", record.history);
}

/// A record goes with the clear, and with it what was counted.
#[test]
fn a_clear_takes_the_record_and_a_refused_one_leaves_it() {
    let clear = Asked { clear: Some(Clearance::Panel), ..Asked::NOTHING };
    let mut trainer = Trainer::new();
    trainer.reads(3_300, 1);
    trainer.reads(3_800, 40);
    trainer.asks(3_800, 1, clear);
    assert!(trainer.record(Fault::CellOverVoltageFar).is_some(), "the condition is present");
    trainer.reads(3_300, 99);
    assert!(
        trainer.controller.faults().confirmed.holds(Fault::CellOverVoltageFar),
        "990 of 1 000 ms are over"
    );
    trainer.asks(3_300, 1, clear); // the tick in which it would become Latched
    assert_eq!(trainer.record(Fault::CellOverVoltageFar), None);
    assert!(!trainer.controller.faults().latched.holds(Fault::CellOverVoltageFar));
}

/// The limit from below falls in the cold: a value at the lower limit is worse than one beyond the higher limit before it.
#[test]
fn a_limit_that_moves_does_not_turn_worse_round() {
    let mut memory = Memory::EMPTY;
    let seen = |millivolts, limit| Assessment {
        fault: Fault::CellUnderVoltage,
        place: Place::Cell(4),
        observed: Some(volts(millivolts)),
        limit: Some(volts(limit)),
        reading: Reading::Beyond,
        stage: Stage::Confirmed { well: Millis::ZERO },
        dwell: Millis::ZERO,
    };
    let first = (seen(2_600, 2_800), Worse::Lower);
    memory.confirm(first, Reaction::Derate, Uptime(0), Freeze::default(), &mut ());
    memory.persist(seen(2_300, 2_300), Worse::Lower, Uptime(10));
    memory.persist(seen(2_400, 2_800), Worse::Lower, Uptime(20));
    let record = memory.records().next().expect("it was confirmed");
    assert_eq!(
        (record.worst, record.limit, record.last),
        (Some(volts(2_300)), Some(volts(2_300)), Uptime(20))
    );
}

/// Keeps what is said of lost records.
#[derive(Default)]
struct Losses(std::vec::Vec<(Fault, u16)>);

impl Witness for Losses {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::RecordDropped { fault, dropped } = evidence {
            self.0.push((fault, dropped));
        }
    }
}

/// Sixteen records fit. Each thermistor has its own.
#[test]
fn a_full_memory_drops_the_weakest_and_oldest_and_never_a_stronger_one() {
    let seen = |fault, sensor| {
        let at = Assessment {
            fault,
            place: Place::Thermistor(sensor),
            observed: None,
            limit: None,
            reading: Reading::Beyond,
            stage: Stage::Confirmed { well: Millis::ZERO },
            dwell: Millis::ZERO,
        };
        (at, Worse::Higher)
    };
    let (mut memory, mut losses) = (Memory::EMPTY, Losses::default());
    let mut confirm = |memory: &mut Memory, fault, sensor: u8, reaction, at| {
        memory.confirm(seen(fault, sensor), reaction, Uptime(at), Freeze::default(), &mut losses);
    };
    // The oldest is the strongest; the second oldest is the oldest of the weakest.
    confirm(&mut memory, Fault::ThermistorShorted, 0, Reaction::Derate, 1);
    for sensor in 1..16 {
        confirm(&mut memory, Fault::ThermistorOpen, sensor, Reaction::Report, 10 + u64::from(sensor));
    }
    assert_eq!((memory.records().count(), memory.dropped()), (16, 0));
    confirm(&mut memory, Fault::ThermistorStray, 1, Reaction::Report, 100);
    let kept = |memory: &Memory, fault, sensor| {
        memory.records().any(|record| record.fault == fault && record.place == Place::Thermistor(sensor))
    };
    assert_eq!((memory.records().count(), memory.dropped()), (16, 1));
    assert!(kept(&memory, Fault::ThermistorStray, 1) && kept(&memory, Fault::ThermistorShorted, 0));
    assert!(!kept(&memory, Fault::ThermistorOpen, 1) && kept(&memory, Fault::ThermistorOpen, 2));
    // Fifteen stronger ones push the others out; then nothing weaker gets in.
    for sensor in 0..15 {
        confirm(&mut memory, Fault::ThermistorFrozen, sensor, Reaction::OpenSoon, 200);
    }
    confirm(&mut memory, Fault::ThermistorStray, 2, Reaction::Report, 300);
    assert!(!kept(&memory, Fault::ThermistorStray, 2) && kept(&memory, Fault::ThermistorShorted, 0));
    assert_eq!((memory.records().count(), memory.dropped()), (16, 17));
    assert_eq!(losses.0.first(), Some(&(Fault::ThermistorOpen, 1)));
    assert_eq!(losses.0.last(), Some(&(Fault::ThermistorStray, 17)));
}
