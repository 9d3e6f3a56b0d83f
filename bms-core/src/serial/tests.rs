//! The wire: what it carries, what it detects, and what a station makes of it.

use super::{Garbled, LONGEST, LONGEST_SILENCE, Receiver, Refusal, Station, ToHost, ToTarget, VERSION, send};
use crate::config::Config;
use crate::frame::{Frame, Inputs, Part, Pulled, Wanted};
use crate::sequence::{Step, Wear};
use crate::units::{Instant, Millis, Ratio, Volts};
use crate::{Each, Fault};
use proptest::prelude::*;
use serde::Serialize;
use serde::de::DeserializeOwned;

mod memory;
mod wire;

type Message = ToTarget<16, 8>;
type Answer = ToHost<16>;

fn sent(message: &impl Serialize) -> Vec<u8> {
    send(message, &mut [0; LONGEST]).expect("there is room").to_vec()
}

/// Everything that comes out of these bytes.
fn received<T: DeserializeOwned>(bytes: &[u8]) -> Vec<Result<T, Garbled>> {
    let mut receiver = Receiver::new();
    bytes.iter().filter_map(|byte| receiver.take(*byte)).collect()
}

fn hello() -> Message {
    ToTarget::Hello { version: VERSION }
}

fn start() -> Message {
    ToTarget::Start { config: Config::trainer(), wear: Wear::NONE, silence: Millis(1_000) }
}

fn frame(number: u32) -> Message {
    let mut frame = Frame::empty(Instant(number * 10));
    frame.cells = Part::fresh(Each::all(Volts::from_milli(3_300)));
    frame.asked.contactors = Wanted::Closed;
    ToTarget::Frame { number, frame }
}

/// By hand, from the rules of the format: kind 0, then the version, its sum, and the zeros taken out. The sum is computed with the catalogue's
/// parameters (poly 0x1EDC6F41 reflected, init and xorout FFFFFFFF), bit by bit in Python: bytes 00 2C give 0x9C9F36DC.
#[test]
fn a_message_byte_by_byte() {
    let message: Message = ToTarget::Hello { version: 0x2C };
    assert_eq!(sent(&message), [0x01, 0x06, 0x2C, 0xDC, 0x36, 0x9F, 0x9C, 0x00]);
}

/// Likewise: 04 AC 02 gives 0x4857CC08, and 05 00 02 AA 00 gives 0xEC501F89.
#[test]
fn pieces_of_a_record_byte_by_byte() {
    let read: Message = ToTarget::Read { from: 300 };
    assert_eq!(sent(&read), [0x08, 0x04, 0xAC, 0x02, 0x08, 0xCC, 0x57, 0x48, 0x00]);
    let store: Message = ToTarget::Store { from: 0, bytes: [0xAA, 0x00].into_iter().collect() };
    assert_eq!(sent(&store), [0x02, 0x05, 0x03, 0x02, 0xAA, 0x05, 0x89, 0x1F, 0x50, 0xEC, 0x00]);
}

/// The example of the module's documentation.
#[test]
fn a_voltage_byte_by_byte() {
    let mut room = [0; 16];
    let bytes = send(&Volts::from_milli(3_300), &mut room).expect("there is room");
    assert_eq!(bytes[1..4], [0x9A, 0xB3, 0x1A]);
}

proptest! {
    /// Frames that come twice, late, early or never: the station decides each number once, in order, as a controller that heard them once.
    #[test]
    fn each_number_is_decided_once(order in prop::collection::vec(0..12_u32, 1..60)) {
        let mut station = Station::<16, 8>::new();
        station.answer(&start(), &mut ());
        let mut due = 1;
        for number in order {
            let before = station.controller().cloned();
            let answer = station.answer(&frame(number), &mut ());
            match answer {
                ToHost::Decided { number: decided, .. } if number == due => {
                    prop_assert_eq!(decided, number);
                    due += 1;
                }
                ToHost::Decided { number: decided, .. } => {
                    prop_assert_eq!((decided, decided + 1), (number, due));
                    prop_assert!(station.controller().cloned() == before, "decided twice");
                }
                other => {
                    prop_assert_eq!(other, ToHost::Refused(Refusal::OutOfTurn { due }));
                    prop_assert!(station.controller().cloned() == before, "refused and yet changed");
                }
            }
        }
    }
}

/// The largest pack with the widest numbers.
#[test]
fn the_longest_message_has_room() {
    let mut frame = Frame::<128, 255>::empty(Instant(u32::MAX));
    let widest = Each::all(Volts::from_bits(i32::MIN));
    frame.cells = Part::never(widest);
    frame.cells_pulled = Part::never(Pulled { inputs: Inputs::Even, cells: widest });
    frame.thermistors = Part::never(Each::all(Ratio::from_bits(i32::MIN)));
    let frame = ToTarget::Frame { number: u32::MAX, frame };
    let length = sent(&frame).len();
    assert!((LONGEST / 2..LONGEST).contains(&length), "{length}");
    assert_eq!(received::<ToTarget<128, 255>>(&sent(&frame)), [Ok(frame)]);
    assert!(sent(&start()).len() < LONGEST);
}

#[test]
fn without_room_nothing_is_sent() {
    let whole = sent(&hello()).len();
    for room in 0..whole {
        assert!(send(&hello(), &mut vec![0; room]).is_err(), "{room} of {whole}");
    }
}

#[test]
fn what_is_wrong_is_named() {
    assert_eq!(received::<Message>(&[0x05, 0x01, 0x00]), [Err(Garbled::Torn)]);
    assert_eq!(received::<Message>(&[0x02, 0x01, 0x00]), [Err(Garbled::Torn)], "shorter than a sum");
    let mut bytes = sent(&hello());
    bytes[2] ^= 0x10;
    assert_eq!(received::<Message>(&bytes), [Err(Garbled::WrongSum)]);
    assert_eq!(received::<Message>(&sent(&[9_u8, 9, 9])), [Err(Garbled::NoMessage)]);
    let mut long = vec![7; LONGEST + 300];
    long.push(0);
    assert_eq!(received::<Message>(&long), [Err(Garbled::TooLong)]);
}

/// A station decides as a controller does, and says so with the same digest.
#[test]
fn a_station_is_a_controller() {
    let mut station = Station::<16, 8>::new();
    let mut controller = crate::Controller::new(Config::trainer().fit().expect("the defaults are valid"));
    let checksum = controller.config().checksum();
    assert_eq!(station.answer(&start(), &mut ()), ToHost::Started { config: checksum });
    for number in 1..200 {
        let ToTarget::Frame { frame, .. } = frame(number) else { unreachable!() };
        let decision = controller.tick(&frame, &mut ());
        let digest = controller.digest();
        let answer = station.answer(&ToTarget::Frame { number, frame }, &mut ());
        assert_eq!(answer, ToHost::Decided { number, decision, digest, garbled: 0 });
    }
}

#[test]
fn hello_tells_the_pack_whatever_the_version() {
    let answer = Station::<16, 8>::new().answer(&ToTarget::Hello { version: 9 }, &mut ());
    assert_eq!(answer, ToHost::Hello { version: VERSION, cells: 16, thermistors: 8 });
}

#[test]
fn a_reset_shows() {
    let mut station = Station::<16, 8>::new();
    for message in [frame(1), ToTarget::Limits(Config::trainer().faults), ToTarget::Spoil(Config::trainer())]
    {
        assert_eq!(station.answer(&message, &mut ()), ToHost::Refused(Refusal::NotStarted));
    }
    assert!(station.decision().is_none());
}

/// After a silence nothing is driven and only a start goes on. Whatever is heard ends a silence.
#[test]
fn silence_opens() {
    let tick = Millis(10);
    let mut station = Station::<16, 8>::new();
    (0..1_000).for_each(|_| station.pass(tick));
    assert_eq!(
        station.answer(&frame(1), &mut ()),
        ToHost::Refused(Refusal::NotStarted),
        "nothing to give up"
    );
    station.answer(&start(), &mut ());
    assert!(station.decision().is_none());
    for number in 1..4 {
        station.answer(&frame(number), &mut ());
        (0..100).for_each(|_| station.pass(tick));
        assert_eq!(station.decision().map(|decision| decision.step), Some(Step::Open));
    }
    station.pass(tick);
    assert!(station.decision().is_none());
    assert_eq!(station.answer(&frame(4), &mut ()), ToHost::Refused(Refusal::WasSilent));
    station.answer(&start(), &mut ());
    assert!(matches!(station.answer(&frame(1), &mut ()), ToHost::Decided { number: 1, .. }));
}

/// A question is heard as well as a frame.
#[test]
fn whatever_is_heard_ends_a_silence() {
    let mut station = Station::<16, 8>::new();
    station.answer(&start(), &mut ());
    station.answer(&frame(1), &mut ());
    station.pass(Millis(1_000));
    station.answer(&hello(), &mut ());
    station.pass(Millis(1_000));
    assert!(station.decision().is_some());
}

/// However long a host wants its silence to be borne.
#[test]
fn no_silence_is_borne_for_ever() {
    let mut station = Station::<16, 8>::new();
    station.answer(
        &ToTarget::Start { config: Config::trainer(), wear: Wear::NONE, silence: Millis::MAX },
        &mut (),
    );
    station.answer(&frame(1), &mut ());
    station.pass(LONGEST_SILENCE);
    assert!(station.decision().is_some());
    station.pass(Millis(1));
    assert!(station.decision().is_none());
}

/// A configuration that breaks a rule makes a controller that is barred; limits that do are refused and the old ones stay.
#[test]
fn rules_hold_on_the_target() {
    let mut broken = Config::trainer();
    broken.pack.capacity = crate::units::Coulombs::ZERO;
    let mut station = Station::<16, 8>::new();
    station.answer(&ToTarget::Start { config: broken, wear: Wear::NONE, silence: Millis(1_000) }, &mut ());
    assert!(station.controller().is_some_and(|controller| controller.config().refused().is_some()));
    station.answer(&start(), &mut ());
    let before = station.controller().cloned();
    let mut faults = Config::trainer().faults;
    faults.cell_over_voltage_far.trip = Volts::ZERO;
    assert_eq!(station.answer(&ToTarget::Limits(faults), &mut ()), ToHost::Refused(Refusal::BreaksRule));
    assert_eq!(station.controller().cloned(), before);
    assert_eq!(station.answer(&ToTarget::Limits(Config::trainer().faults), &mut ()), ToHost::Changed);
    assert_eq!(station.answer(&ToTarget::Spoil(broken), &mut ()), ToHost::Changed);
    let found = (1..2_000).any(|number| match station.answer(&frame(number), &mut ()) {
        ToHost::Decided { decision, .. } => decision.faults.confirmed.holds(Fault::ConfigurationInvalid),
        _ => false,
    });
    assert!(found, "a spoilt configuration is found by its checksum");
}

/// The station counts what it could not read.
#[test]
fn garbled_messages_are_counted() {
    let mut station = Station::<16, 8>::new();
    station.answer(&start(), &mut ());
    station.count_garbled();
    let answer: Answer = station.answer(&frame(1), &mut ());
    assert!(matches!(answer, ToHost::Decided { garbled: 1, .. }));
}
