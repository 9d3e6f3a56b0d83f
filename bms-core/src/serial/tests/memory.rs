//! A target's memory: its record goes to the host in pieces, and a controller restarts from what comes back.

use super::{Answer, Message, frame, start};
use crate::config::Config;
use crate::kept::{Label, Stored, Unusable};
use crate::serial::{LONGEST_RECORD, PIECE, Piece, Refusal, Station, ToHost, ToTarget};
use crate::units::{Millis, Ratio};
use crate::witness::{Evidence, Witness};
use crate::{Controller, Step, kept};

type Trainer = Controller<16, 8>;
type Target = Station<16, 8>;

const LABEL: Label = Label { pack: 3, number: 41, holds: Millis(10_000) };

/// A station that has decided some frames, and a controller that has decided the same ones.
fn worked() -> (Target, Trainer) {
    let mut station = Target::new();
    let mut controller = Trainer::new(Config::trainer().fit().expect("the defaults are valid"));
    station.answer(&start(), &mut ());
    for number in 1..300 {
        let ToTarget::Frame { frame, .. } = frame(number) else { unreachable!() };
        controller.tick(&frame, &mut ());
        station.answer(&ToTarget::Frame { number, frame }, &mut ());
    }
    (station, controller)
}

fn kept(station: &mut Target) -> Vec<u8> {
    let length = match station.answer(&Message::Keep(LABEL), &mut ()) {
        ToHost::Stored { length } => usize::from(length),
        other => panic!("{other:?}"),
    };
    let mut record = Vec::new();
    loop {
        let from = u16::try_from(record.len()).expect("a short record");
        let ToHost::Piece { from: begins, bytes } = station.answer(&Message::Read { from }, &mut ()) else {
            panic!("no piece")
        };
        assert_eq!(begins, from);
        record.extend(&bytes);
        if bytes.len() < PIECE {
            assert_eq!(record.len(), length);
            return record;
        }
    }
}

/// Puts bytes into the memory, each piece twice, as where an answer was lost.
fn store(station: &mut Target, record: &[u8]) {
    for (place, bytes) in record.chunks(PIECE).enumerate() {
        let from = u16::try_from(place * PIECE).expect("a short record");
        let length = from + u16::try_from(bytes.len()).expect("a short piece");
        let message = Message::Store { from, bytes: bytes.iter().copied().collect() };
        assert_eq!(station.answer(&message, &mut ()), ToHost::Stored { length });
        assert_eq!(station.answer(&message, &mut ()), ToHost::Stored { length });
    }
}

fn restart(station: &mut Target, off: Option<Millis>) -> Answer {
    let message =
        Message::Restart { config: Config::trainer(), silence: Millis(1_000), pack: LABEL.pack, off };
    station.answer(&message, &mut ())
}

/// The bytes are those that the controller writes, whatever the host reads twice.
#[test]
fn a_record_comes_in_pieces() {
    let (mut station, controller) = worked();
    let mut room = vec![0; Trainer::RECORD_BYTES];
    let record = controller.record(LABEL, &mut room).expect("there is room");
    assert_eq!(kept(&mut station), record);
    assert_eq!(kept(&mut station), record);
    assert_eq!(kept::label(record), Ok(LABEL));
    let beyond = Message::Read { from: u16::MAX };
    assert_eq!(station.answer(&beyond, &mut ()), ToHost::Piece { from: u16::MAX, bytes: Piece::new() });
}

/// A target that was reset is given the record, and goes on as a controller does that restarts from it.
#[test]
fn a_controller_restarts_from_what_was_given() {
    let (mut station, _) = worked();
    let record = kept(&mut station);
    let off = Some(Millis(1_500));
    let config = Config::trainer().fit().expect("the defaults are valid");
    let mut controller = Trainer::restart(config, &Stored { record: &record, pack: LABEL.pack, off });
    let mut station = Target::new();
    store(&mut station, &record);
    assert_eq!(restart(&mut station, off), ToHost::Started { config: config.checksum() });
    for number in 1..100 {
        let ToTarget::Frame { frame, .. } = frame(number) else { unreachable!() };
        let decision = controller.tick(&frame, &mut ());
        let digest = controller.digest();
        let answer = station.answer(&ToTarget::Frame { number, frame }, &mut ());
        assert_eq!(answer, ToHost::Decided { number, decision, digest, garbled: 0 });
    }
}

struct Told(Vec<Evidence>);

impl Witness for Told {
    fn saw(&mut self, evidence: Evidence) {
        self.0.push(evidence);
    }
}

/// A torn record, and none: refused with the reason, barred, and every charge is possible again.
#[test]
fn a_torn_record_bars() {
    let (mut station, _) = worked();
    let record = kept(&mut station);
    let needed = u32::try_from(record.len()).expect("a short record");
    let half = record.len() / 2;
    for (bytes, reason) in [
        (&record[..half], Unusable::TooShort { found: u32::try_from(half).expect("a short record"), needed }),
        (&[0xFF; 16][..], Unusable::Blank),
    ] {
        store(&mut station, bytes);
        restart(&mut station, None);
        let mut told = Told(Vec::new());
        station.answer(&frame(1), &mut told);
        assert!(told.0.contains(&Evidence::Restarted(kept::Restart::Refused(reason))), "{:?}", told.0);
        let controller = station.controller().expect("it works");
        assert_eq!(controller.step(), Step::Barred);
        let charge = controller.estimated().state_of_charge();
        assert_eq!(charge, (Ratio::ZERO, Ratio::ONE));
    }
}

#[test]
fn what_cannot_be_is_refused() {
    let mut station = Target::new();
    assert_eq!(station.answer(&Message::Keep(LABEL), &mut ()), ToHost::Refused(Refusal::NotStarted));
    let piece: Piece = (0..100).collect();
    let gap = Message::Store { from: 1, bytes: piece.clone() };
    assert_eq!(station.answer(&gap, &mut ()), ToHost::Refused(Refusal::OutOfTurn { due: 0 }));
    store(&mut station, &vec![7; LONGEST_RECORD]);
    let from = u16::try_from(LONGEST_RECORD).expect("a short record");
    let full = Message::Store { from, bytes: piece };
    assert_eq!(station.answer(&full, &mut ()), ToHost::Refused(Refusal::NoRoom));
}

/// The largest pack there is.
#[test]
fn there_is_room_for_every_record() {
    let longest = Controller::<128, 255>::RECORD_BYTES;
    assert!((LONGEST_RECORD * 9 / 10..=LONGEST_RECORD).contains(&longest), "{longest}");
}
