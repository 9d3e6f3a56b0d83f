//! What a record says byte by byte, what is refused, and what a controller makes of the rest.

use super::*;
use crate::config::Config;
use crate::decision::Coils;
use crate::estimate::Interval;
use crate::fault::Fault;
use crate::frame::{Asked, Clearance, Frame, Part, Wanted};
use crate::sequence::Step;
use crate::units::{Amps, Coulombs, Instant, Volts};
use crate::witness::{Evidence, Witness};
use crate::{Controller, Each};
use proptest::prelude::*;
use std::vec::Vec;

type Trainer = Controller<16, 8>;

const PACK: u32 = 0x0102_0304;
const LABEL: Label = Label { pack: PACK, number: 7, holds: Millis::ZERO };

fn fresh() -> Trainer {
    Trainer::new(Config::trainer().fit().expect("the defaults are valid"))
}

fn written(controller: &Trainer, label: Label) -> Vec<u8> {
    let mut room = std::vec![0xAA; Trainer::RECORD_BYTES];
    controller.record(label, &mut room).expect("there is room").to_vec()
}

fn again(record: &[u8], off: Option<Millis>) -> Trainer {
    let config = Config::trainer().fit().expect("the defaults are valid");
    Trainer::restart(config, &Stored { record, pack: PACK, off })
}

/// How the controller says that it began.
fn told(controller: &mut Trainer) -> Restart {
    #[derive(Default)]
    struct Ear(Vec<Restart>);
    impl Witness for Ear {
        fn saw(&mut self, evidence: Evidence) {
            if let Evidence::Restarted(restart) = evidence {
                self.0.push(restart);
            }
        }
    }
    let mut ear = Ear::default();
    for at in 0..3 {
        controller.tick(&Frame::empty(Instant(at * 10)), &mut ear);
    }
    assert_eq!(ear.0.len(), 1, "told once, in the first tick");
    ear.0[0]
}

fn refusal(record: &[u8]) -> Option<Unusable> {
    match told(&mut again(record, None)) {
        Restart::Restored { .. } => None,
        Restart::Refused(reason) => Some(reason),
    }
}

/// CRC-32/ISCSI bit by bit, by the polynomial of the catalogue of parametrised CRC algorithms (0x1EDC6F41, reflected 0x82F63B78).
fn sum(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| (sum >> 1) ^ (0x82F6_3B78 & (sum & 1).wrapping_neg()))
    })
}

/// With another byte or two, and the sum that fits them.
fn altered(mut record: Vec<u8>, at: usize, bytes: &[u8]) -> Vec<u8> {
    record[at..at + bytes.len()].copy_from_slice(bytes);
    let end = record.len() - 4;
    let sum = sum(&record[..end]).to_le_bytes();
    record[end..].copy_from_slice(&sum);
    record
}

/// A pack at work on paper: one cell at this voltage, this current. The frames come every 10 ms, from a sender of their own.
fn played(controller: &mut Trainer, ticks: &[(i32, i32)], asked: Asked) {
    std::thread_local! {
        static SENT: core::cell::Cell<u32> = const { core::cell::Cell::new(0) };
    }
    for (milli, amps) in ticks {
        SENT.set(SENT.get() + 10);
        let mut frame = Frame::empty(Instant(SENT.get()));
        let mut cells = Each::all(Volts::from_milli(3_300));
        *cells.at_mut(4).expect("a cell") = Volts::from_milli(*milli);
        frame.cells = Part::fresh(cells);
        frame.current = Part::fresh(Amps::from_milli(*amps));
        frame.asked = asked;
        controller.tick(&frame, &mut ());
    }
}

/// By the table in the documentation, worked by hand for a pack of 16 cells and 8 thermistors that has never worked.
#[test]
fn the_bytes_are_those_of_the_documentation() {
    let per_thermistor = Fault::ALL.iter().filter(|fault| fault.is_per_thermistor()).count();
    let stages = Fault::COUNT - per_thermistor + 8 * per_thermistor;
    let length = 77 + 16 * 32 + stages + 2 + 1 + 16 * 334 + 4;
    assert_eq!(Trainer::RECORD_BYTES, length);
    let controller = fresh();
    let record = written(&controller, Label { holds: Millis(60_000), ..LABEL });
    let mut by_hand = b"KEPT\x01\x00".to_vec();
    by_hand.extend(u16::try_from(length).unwrap().to_le_bytes());
    by_hand.extend([7, 0, 0, 0, 4, 3, 2, 1]);
    by_hand.extend(controller.config().checksum().to_le_bytes());
    by_hand.extend([16, 8, 0x60, 0xEA, 0, 0]); // 60 000 is EA60
    by_hand.extend([0; 8 + 1 + 1 + 1 + 12 + 4 + 8 + 16]);
    assert_eq!(record[..77], by_hand[..]);
    // 20 Ah, up to 102 % of them, 5 % beyond either end: what the trainer's facts say of its cells.
    let config = Config::trainer();
    let beyond = config.pack.capacity.scaled(config.charge.beyond);
    let most = config.pack.capacity.scaled(config.charge.capacity_most) + beyond;
    assert_eq!(record[77..85], (-beyond).bits().to_le_bytes());
    assert_eq!(record[85..93], most.bits().to_le_bytes());
    let behind_cells = 77 + 16 * 32;
    assert!(record[behind_cells..length - 4].iter().all(|byte| *byte == 0));
    assert_eq!(record[length - 4..], sum(&record[..length - 4]).to_le_bytes());
}

/// Catalogue of parametrised CRC algorithms, entry CRC-32/ISCSI.
#[test]
fn the_sum_of_these_tests_has_the_catalogue_check_value() {
    assert_eq!(sum(b"123456789"), 0xE306_9283);
}

#[test]
fn a_room_that_is_too_short_is_refused_and_a_longer_one_is_not_filled() {
    let needed = Trainer::RECORD_BYTES;
    let mut short = std::vec![0; needed - 1];
    assert_eq!(fresh().record(LABEL, &mut short), Err(NoRoom { needed, found: needed - 1 }));
    let mut long = std::vec![0xEE; needed + 3];
    assert_eq!(fresh().record(LABEL, &mut long).map(<[u8]>::len), Ok(needed));
    assert_eq!(long[needed..], [0xEE; 3]);
    // What stands behind a record in its place does not matter.
    assert_eq!(refusal(&long), None);
}

/// Each place in turn; in the head, where each value means something, every value.
#[test]
fn every_record_with_another_byte_is_refused() {
    let record = written(&fresh(), LABEL);
    for at in 0..record.len() {
        let changes: Vec<u8> = if at < 77 { (1..=255).collect() } else { std::vec![1, 0x80, 0xFF] };
        for change in changes {
            let mut other = record.clone();
            other[at] ^= change;
            assert!(label(&other).is_err(), "byte {at} by {change:#x}");
        }
    }
}

#[test]
fn every_record_that_is_cut_is_refused_wherever_it_was() {
    let record = written(&fresh(), LABEL);
    for length in 0..record.len() {
        assert!(label(&record[..length]).is_err(), "{length} bytes");
        // A torn write leaves what was there before: an erased page, or an older record.
        let mut torn = std::vec![0xFF; record.len()];
        torn[..length].copy_from_slice(&record[..length]);
        assert!(label(&torn).is_err(), "{length} bytes of an erased page");
    }
}

#[test]
fn each_reason_says_what_was_found() {
    let record = written(&fresh(), LABEL);
    let checksum = fresh().config().checksum();
    let (length, short) = (u32::try_from(record.len()).unwrap(), record.len() - 1);
    assert_eq!(refusal(&record), None);
    assert_eq!(refusal(&[]), Some(Unusable::Blank));
    assert_eq!(refusal(&[0xFF; 9_000]), Some(Unusable::Blank));
    assert_eq!(refusal(&[0; 9_000]), Some(Unusable::Blank));
    assert_eq!(refusal(b"KEPT"), Some(Unusable::TooShort { found: 4, needed: 81 }));
    let cut = Some(Unusable::TooShort { found: length - 1, needed: length });
    assert_eq!(refusal(&record[..short]), cut);
    let other = altered(record.clone(), 0, b"kept");
    assert_eq!(refusal(&other), Some(Unusable::NoRecord { found: *b"kept" }));
    let mut torn = record.clone();
    torn[short] ^= 1;
    let stated = sum(&record[..record.len() - 4]);
    let reason = Unusable::WrongSum { found: stated, stated: stated ^ (1 << 24) };
    assert_eq!(refusal(&torn), Some(reason));
    let other = altered(record.clone(), 4, &[2, 0]);
    assert_eq!(refusal(&other), Some(Unusable::OtherVersion { found: 2, known: 1 }));
    let other = altered(record.clone(), 12, &[5]);
    let reason = Unusable::OtherPack { found: 0x0102_0305, expected: PACK };
    assert_eq!(refusal(&other), Some(reason));
    let other = altered(record.clone(), 20, &[17]);
    assert_eq!(refusal(&other), Some(Unusable::OtherSize { found: (17, 8), expected: (16, 8) }));
    let other = altered(record, 16, &(checksum ^ 1).to_le_bytes());
    let reason = Unusable::OtherConfiguration { found: checksum ^ 1, expected: checksum };
    assert_eq!(refusal(&other), Some(reason));
}

/// Other limits are another configuration.
#[test]
fn a_record_of_other_limits_is_refused() {
    let record = written(&fresh(), LABEL);
    let mut config = Config::trainer();
    config.faults.cell_over_voltage.trip = Volts::from_milli(3_660);
    let config = config.fit().expect("a limit that is accepted");
    let mut other = Trainer::restart(config, &Stored { record: &record, pack: PACK, off: None });
    assert!(matches!(told(&mut other), Restart::Refused(Unusable::OtherConfiguration { .. })));
}

#[test]
fn the_newest_whole_one_of_two_places_wins() {
    let numbered = |number| written(&fresh(), Label { number, ..LABEL });
    let (old, new) = (numbered(7), numbered(8));
    let blank = std::vec![0xFF; old.len()];
    let mut torn = new.clone();
    torn[500..].copy_from_slice(&blank[500..]);
    let found = |one: &[u8], other: &[u8]| label(newer(one, other)).map(|label| label.number);
    assert_eq!([found(&old, &new), found(&new, &old)], [Ok(8); 2]);
    assert_eq!([found(&old, &torn), found(&torn, &old)], [Ok(7); 2]);
    assert_eq!([found(&old, &blank), found(&blank, &old)], [Ok(7); 2]);
    let reason = found(&torn, &blank);
    assert!(matches!(reason, Err(Unusable::WrongSum { .. })), "{reason:?}");
    assert_eq!(found(&blank, &torn), reason);
    assert_eq!(found(&blank, &blank), Err(Unusable::Blank));
}

/// Nothing is known, nothing closes, and the panel can end that once the voltages show that all are open (`sequence`).
#[test]
fn a_refused_record_opens_the_interval_and_bars() {
    let mut controller = again(&[0xFF; 100], Some(Millis::ZERO));
    assert_eq!(controller.step(), Step::Barred);
    assert_eq!(controller.estimated(), fresh().estimated());
    let (least, most) = controller.estimated().state_of_charge();
    assert_eq!((least.milli(), most.milli()), (0, 1_000));
    played(&mut controller, &[(3_300, 0); 50], Asked { contactors: Wanted::Closed, ..Asked::NOTHING });
    assert_eq!(controller.step(), Step::Barred);
}

/// A cell that was driven backwards is for the workshop: neither the loss of power nor the panel clears it.
#[test]
fn what_was_latched_bars_after_the_restart() {
    let mut controller = fresh();
    played(&mut controller, &[(3_300, 0); 10], Asked::NOTHING);
    played(&mut controller, &[(200, 0); 60], Asked::NOTHING);
    assert!(controller.faults().confirmed.holds(Fault::CellReversed));
    let record = written(&controller, LABEL);
    let mut again = again(&record, None);
    assert!(again.memory().records().eq(controller.memory().records()));
    assert!(again.memory().records().any(|kept| kept.fault == Fault::CellReversed && kept.freeze.is_some()));
    // The cell reads well again, the panel clears and asks to close: no coil is told on, and the workshop's fault stands.
    for clear in [None, Some(Clearance::Panel), None] {
        let asked = Asked { contactors: Wanted::Closed, clear, ..Asked::NOTHING };
        played(&mut again, &[(3_300, 0); 150], asked);
        let faults = again.faults();
        assert!(faults.latched.holds(Fault::CellReversed) || faults.confirmed.holds(Fault::CellReversed));
        assert_eq!(again.step(), Step::Barred);
    }
    let mut forgetful = fresh();
    played(&mut forgetful, &[(3_300, 0); 150], Asked::NOTHING);
    assert!(!forgetful.faults().latched.holds(Fault::CellReversed));
}

/// Ends of the first cell's intervals.
fn bounds(controller: &Trainer) -> [Coulombs; 4] {
    let estimated = controller.estimated();
    let Interval { low, high } = estimated.missing(0).expect("a cell");
    let apart = estimated.missing_against_median(0).expect("a cell");
    [low, high, apart.low, apart.high]
}

/// A record with this first cell (in mAh missing, and apart from a typical one) that was written in this step.
fn of_cell(missing: [i32; 2], apart: [i32; 2], step: Step, holds: Millis) -> Vec<u8> {
    let bits = |milliamp_hours: i32| Coulombs::from_milliamp_hours(milliamp_hours).bits().to_le_bytes();
    let cells: Vec<u8> = missing.into_iter().chain(apart).flat_map(bits).collect();
    let record = altered(written(&fresh(), Label { holds, ..LABEL }), 77, &cells);
    altered(record, 34, &[step as u8])
}

/// The rule of the module, with the trainer's figures: drain and self-discharge over the time off; the sensor's range and the bleed
/// current over the time that the record held, the former with contactors told closed alone.
#[test]
fn the_interval_widens_by_what_nobody_counted() {
    let config = Config::trainer();
    let mah = Coulombs::from_milliamp_hours;
    let hour = Millis::from_seconds(3_600);
    let start = [mah(4_000), mah(5_000), mah(-100), mah(200)];
    let at = |step, holds, off| {
        bounds(&again(&of_cell([4_000, 5_000], [-100, 200], step, holds), off))
            .map(Coulombs::bits)
            .iter()
            .zip(start)
            .map(|(bits, from)| bits - from.bits())
            .collect::<Vec<_>>()
    };
    assert_eq!(at(Step::Open, Millis::ZERO, Some(Millis::ZERO)), [0; 4]);
    let leaks = i64::from((config.charge.drain + config.charge.self_discharge).bits()) * 3_600_000;
    assert_eq!(at(Step::Closed, Millis::ZERO, Some(hour)), [0, leaks, 0, leaks]);
    let bleed = i64::from(config.charge.bleed.bits());
    let second = at(Step::Open, Millis(1_000), Some(Millis::ZERO));
    assert_eq!((second[0], second[2]), (0, 0));
    assert!((bleed * 1_000..bleed * 1_500).contains(&second[1]) && second[1] == second[3], "{second:?}");
    let closed = at(Step::Closed, Millis(1_000), Some(Millis::ZERO));
    let range = i64::from(config.pack.current_range.bits()) * 1_000;
    assert_eq!(closed, [-range, second[1] + range, 0, second[3]]);
}

/// A cell that bled when the record was written may go on, where its switch is stuck: `0.1 A` by the facts, an hour long.
#[test]
fn a_cell_that_bled_may_have_gone_on() {
    let record = of_cell([4_000, 5_000], [-100, 200], Step::Open, Millis::ZERO);
    let hour = Some(Millis::from_seconds(3_600));
    let [.., apart] = bounds(&again(&record, hour));
    let [.., bled] = bounds(&again(&altered(record, 61, &[1]), hour));
    let an_hour = i64::from(Config::trainer().charge.bleed.bits()) * 3_600_000;
    assert!((an_hour..an_hour * 3 / 2).contains(&(bled - apart).bits()));
}

/// Nobody knows how long it was off: it may be empty by now, but it is no fuller.
#[test]
fn without_a_clock_the_upper_end_of_what_is_missing_opens() {
    let config = Config::trainer();
    let record = of_cell([4_000, 5_000], [-100, 200], Step::Open, Millis::ZERO);
    let [low, high, apart, most_apart] = bounds(&again(&record, None));
    assert_eq!(low, Coulombs::from_milliamp_hours(4_000));
    assert_eq!(high, config.pack.capacity.scaled(config.charge.capacity_most));
    assert_eq!(apart, Coulombs::from_milliamp_hours(-100));
    assert!(most_apart > high);
}

/// A start that was cut heats the resistor by what may have gone on unseen, at most as far as is allowed; a pack at rest by nothing.
#[test]
fn the_resistor_stays_hot() {
    let config = Config::trainer();
    let heat = |step, holds, kept: i32| {
        let record = of_cell([0, 0], [0, 0], step, holds);
        let record = altered(record, 49, &(kept << 16).to_le_bytes());
        let again = again(&record, None);
        let rise: [u8; 4] = written(&again, LABEL)[49..53].try_into().unwrap();
        i32::from_le_bytes(rise)
    };
    let most = config.sequence.resistor_rise_most.bits();
    assert_eq!(heat(Step::Open, Millis(60_000), 20), 20 << 16);
    assert_eq!(heat(Step::Precharging, Millis::ZERO, 20), 20 << 16);
    let shortly = heat(Step::Precharging, Millis(1), 20);
    assert!(shortly > 20 << 16 && shortly < most, "{shortly}");
    assert_eq!(heat(Step::Precharging, Millis(60_000), 20), most - 1);
    assert_eq!(heat(Step::Precharging, Millis(60_000), 200), 200 << 16);
}

/// Starts that failed in a row, a bar and the wear go on; a request does not.
#[test]
fn a_bar_and_failed_starts_are_not_forgiven() {
    let record = of_cell([0, 0], [0, 0], Step::ProvingDead, Millis::ZERO);
    let kept = |record: &[u8]| written(&again(record, None), LABEL)[34..49].to_vec();
    let wear = [1, 0, 0, 0, 2, 0, 0, 0, 3, 0, 0, 0];
    let record = altered(record, 37, &wear);
    let open = [&[Step::Open as u8, 0, 0], &wear[..]].concat();
    assert_eq!(kept(&record), open);
    let barred = [&[Step::Barred as u8, 0, 2], &wear[..]].concat();
    assert_eq!(kept(&altered(record, 35, &[1, 2])), barred);
}

#[test]
fn one_is_due_after_a_while_and_at_every_change() {
    let mut controller = fresh();
    let (mut often, mut seldom) = (Schedule::every(Millis(100)), Schedule::every(Millis(100_000)));
    let mut due = |cell: i32, ticks: usize, asked| {
        let mut counted = [0; 2];
        for _ in 0..ticks {
            played(&mut controller, &[(cell, 0)], asked);
            counted[0] += usize::from(often.is_due(&controller));
            counted[1] += usize::from(seldom.is_due(&controller));
        }
        counted
    };
    assert_eq!(due(3_300, 1, Asked::NOTHING), [1, 1]);
    // After 200 ms a module is found without a sensor.
    assert_eq!(due(3_300, 20, Asked::NOTHING)[1], 1);
    assert_eq!(due(3_300, 30, Asked::NOTHING), [3, 0]);
    let replaced = Some(crate::frame::Replaced::Cell(3));
    assert_eq!(due(3_300, 1, Asked { replaced, ..Asked::NOTHING })[1], 1);
    // Two faults of a cell at 0.2 V are confirmed in one tick, 300 ms later.
    assert_eq!(due(200, 29, Asked::NOTHING)[1], 0);
    assert_eq!(due(200, 2, Asked::NOTHING)[1], 1);
}

proptest! {
    /// What one generation reads and writes again is what the next one reads, whatever the pack went through.
    #[test]
    fn what_is_read_is_written_again(
        ticks in proptest::collection::vec((0..4_500_i32, -40_000..40_000_i32), 1..120),
        number in any::<u32>(),
        clear in any::<bool>(),
    ) {
        let mut controller = fresh();
        let clear = clear.then_some(Clearance::Service);
        played(&mut controller, &ticks, Asked { clear, ..Asked::NOTHING });
        let label = Label { number, ..LABEL };
        let first = again(&written(&controller, label), Some(Millis::ZERO));
        prop_assert!(first.memory().records().eq(controller.memory().records()));
        prop_assert_eq!(first.memory().dropped(), controller.memory().dropped());
        prop_assert_eq!(first.wear(), controller.wear());
        prop_assert_eq!(first.uptime(), controller.uptime());
        let record = written(&first, label);
        let second = again(&record, Some(Millis::ZERO));
        prop_assert_eq!(&second, &first);
        prop_assert_eq!(written(&second, label), record);
    }

    /// Bytes that are anything are refused, and nothing panics.
    #[test]
    fn anything_else_is_refused(bytes in proptest::collection::vec(any::<u8>(), 0..2_000)) {
        prop_assert!(label(&bytes).is_err());
        let _ = (newer(&bytes, &[]), again(&bytes, None));
    }

    /// Even with the right sum, bytes that mean nothing are read as something: no tick after that panics, and nothing is told on at once.
    #[test]
    fn a_record_of_nonsense_with_a_right_sum_is_survived(bytes in proptest::collection::vec(any::<u8>(), 500), at in 0..5_500_usize) {
        let record = altered(written(&fresh(), LABEL), 26 + at, &bytes);
        let mut controller = again(&record, Some(Millis(5)));
        let decision = controller.tick(&Frame::empty(Instant(0)), &mut ());
        prop_assert_eq!(decision.coils, Coils::NONE);
        played(&mut controller, &[(3_300, 100); 20], Asked { contactors: Wanted::Closed, ..Asked::NOTHING });
        prop_assert_eq!(controller.step().commands_open(), true);
    }
}
