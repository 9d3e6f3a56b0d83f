//! The wire and what can befall a message on it. Whatever that is, no other message than one that was sent comes out, and the next one is heard.
//!
//! CRC-32/ISCSI finds every change within 32 bits of a body. Where damage moves the zeros of COBS, or a part is missing, more bits change, and the sum
//! fits by chance once in 2³² times: these tests draw some thousands.

use super::{Answer, Message, frame, hello, received, sent, start};
use crate::Each;
use crate::config::Config;
use crate::decision::CellSet;
use crate::frame::{Asked, Frame, Inputs, Part, Pulled, Wanted};
use crate::kept::Label;
use crate::serial::{LONGEST, PIECE, Piece, Refusal, Station, ToHost, ToTarget};
use crate::units::{Amps, Instant, Millis, Ratio, Volts};
use proptest::prelude::*;
use proptest::sample::Index;

/// What comes out of damaged bytes with two sound messages behind them: the last of these at least, and nothing that was never sent.
fn survives(damaged: Vec<u8>, message: &Message, next: &Message) -> Result<(), TestCaseError> {
    let bytes = [damaged, sent(next), sent(next)].concat();
    let whole: Vec<Message> = received(&bytes).into_iter().flatten().collect();
    prop_assert_eq!(whole.last(), Some(next), "in step again");
    for one in &whole {
        prop_assert!(one == message || one == next, "{:?} was never sent", one);
    }
    Ok(())
}

proptest! {
    /// What is sent comes back, one message after another, whatever stood on the line before the first zero.
    #[test]
    fn round_trip_after_babble(
        babble in prop::collection::vec(1..=255_u8, 0..40),
        messages in prop::collection::vec(any_message(), 1..4),
    ) {
        let mut bytes = babble.clone();
        bytes.push(0);
        for message in &messages {
            bytes.extend(sent(message));
        }
        let heard = received::<Message>(&bytes);
        let whole: Vec<_> = heard.iter().flatten().cloned().collect();
        prop_assert_eq!(&whole, &messages);
        prop_assert!(heard.len() - messages.len() <= 1, "babble is at most one lost message");
    }

    /// Answers come back too.
    #[test]
    fn answers_come_back(answers in prop::collection::vec(any_answer(), 1..4)) {
        let bytes: Vec<u8> = answers.iter().flat_map(sent).collect();
        let whole: Vec<Answer> = received(&bytes).into_iter().flatten().collect();
        prop_assert_eq!(whole, answers);
    }

    /// A byte that is changed, missing, or there twice; and a wrong byte that the line puts in between.
    #[test]
    fn a_wrong_byte_is_found(message in any_message(), next in any_message(), at: Index, byte: u8, how in 0..4_u8) {
        let mut bytes = sent(&message);
        let at = at.index(bytes.len());
        match how {
            0 => bytes[at] = byte,
            1 => { bytes.remove(at); }
            2 => { let twice = bytes[at]; bytes.insert(at, twice); }
            _ => bytes.insert(at, byte),
        }
        survives(bytes, &message, &next)?;
    }

    /// A burst: many bytes in a row that are others.
    #[test]
    fn a_burst_is_found(
        message in any_message(), next in any_message(), at: Index, burst in prop::collection::vec(any::<u8>(), 2..60),
    ) {
        let mut bytes = sent(&message);
        let at = at.index(bytes.len());
        bytes.iter_mut().skip(at).zip(burst).for_each(|(byte, other)| *byte = other);
        survives(bytes, &message, &next)?;
    }

    /// A message that ends early, as where a target is reset while it speaks; or of which the beginning is missing.
    #[test]
    fn a_torn_message_is_found(message in any_message(), next in any_message(), at: Index, end: bool) {
        let bytes = sent(&message);
        let at = at.index(bytes.len());
        let (begin, rest) = bytes.split_at(at);
        survives(if end { rest } else { begin }.to_vec(), &message, &next)?;
    }

    /// Two parts of a message that come in the wrong order, or one of them twice.
    #[test]
    fn parts_out_of_order_are_found(message in any_message(), next in any_message(), cuts: [Index; 3], twice: bool) {
        let bytes = sent(&message);
        let mut cuts = cuts.map(|cut| cut.index(bytes.len()));
        cuts.sort_unstable();
        let [from, middle, to] = cuts;
        let (one, other) = (&bytes[from..middle], &bytes[middle..to]);
        let mixed = if twice { [one, one, other] } else { [&[], other, one] };
        survives([&bytes[..from], &mixed.concat(), &bytes[to..]].concat(), &message, &next)?;
    }

    /// Whole messages that come twice or in another order come out so: their numbers tell, to the station (see `each_number_is_decided_once`).
    #[test]
    fn whole_messages_keep_the_order_of_the_line(
        messages in prop::collection::vec(any_message(), 1..4), order in prop::collection::vec(any::<Index>(), 1..8),
    ) {
        let order: Vec<&Message> = order.iter().map(|place| place.get(&messages)).collect();
        let bytes: Vec<u8> = order.iter().flat_map(|message| sent(*message)).collect();
        let whole: Vec<Message> = received(&bytes).into_iter().flatten().collect();
        prop_assert_eq!(whole.iter().collect::<Vec<_>>(), order);
    }

    /// Any bytes at all: no panic, and nothing held against the next message.
    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..2 * LONGEST), next in any_message()) {
        let mut all = bytes;
        all.push(0);
        all.extend(sent(&next));
        let last = received::<Message>(&all).pop();
        prop_assert_eq!(last, Some(Ok(next)));
    }
}

/// As the table of the module's documentation has them.
#[test]
fn kinds_are_those_of_the_table() {
    let (config, silence, label) =
        (Config::trainer(), Millis(1_000), Label { pack: 7, number: 300, holds: Millis(10_000) });
    let to_target = [
        (1, start()),
        (2, frame(1)),
        (3, ToTarget::Keep(label)),
        (4, ToTarget::Read { from: 0 }),
        (5, ToTarget::Store { from: 0, bytes: Piece::new() }),
        (6, ToTarget::Restart { config, silence, pack: 7, off: None }),
        (7, ToTarget::Limits(config.faults)),
        (8, ToTarget::Spoil(config)),
    ];
    let to_host: [(u8, Answer); 5] = [
        (1, ToHost::Started { config: 1 }),
        (3, ToHost::Stored { length: 1 }),
        (4, ToHost::Piece { from: 1, bytes: Piece::new() }),
        (5, ToHost::Changed),
        (6, ToHost::Refused(Refusal::WasSilent)),
    ];
    // Behind COBS's first distance stands the body's first byte, where that is no zero.
    for (kind, message) in to_target {
        assert_eq!(sent(&message)[1], kind, "{message:?}");
    }
    for (kind, answer) in to_host {
        assert_eq!(sent(&answer)[1], kind, "{answer:?}");
    }
}

/// Every other value of every byte of short messages and of a frame; every single bit of a start.
#[test]
fn every_single_byte_that_is_wrong_is_found() {
    let every: Vec<u8> = (1..=255).collect();
    let bits: Vec<u8> = (0..8).map(|bit| 1 << bit).collect();
    let keep = Message::Keep(Label { pack: 7, number: 300, holds: Millis(10_000) });
    for (message, changes) in [(hello(), &every), (keep, &every), (frame(1), &every), (start(), &bits)] {
        let sound = sent(&message);
        for at in 0..sound.len() {
            for change in changes {
                let mut bytes = sound.clone();
                bytes[at] ^= change;
                // The zero at the end may be what is wrong: then the next one ends it.
                bytes.push(0);
                let whole: Vec<Message> = received(&bytes).into_iter().flatten().collect();
                assert!(whole.is_empty(), "byte {at} ^ {change:02X}: {whole:?}");
                bytes.extend(sent(&hello()));
                assert_eq!(
                    received(&bytes).pop(),
                    Some(Ok(hello())),
                    "byte {at} ^ {change:02X}: in step again"
                );
            }
        }
    }
}

fn any_message() -> impl Strategy<Value = Message> {
    let measured = (any::<[i32; 16]>(), any::<[i32; 8]>(), any::<[u32; 4]>(), any::<i32>(), any::<bool>());
    let frames = (any::<u32>(), measured).prop_map(|(number, (cells, ratios, ages, amps, odd))| {
        let mut frame = Frame::empty(Instant(ages[0]));
        let cells = Each(cells.map(Volts::from_bits));
        frame.cells = Part { value: cells, age: Millis(ages[1]) };
        frame.thermistors = Part { value: Each(ratios.map(Ratio::from_bits)), age: Millis(ages[2]) };
        frame.current = Part { value: Amps::from_bits(amps), age: Millis(ages[3]) };
        let inputs = if odd { Inputs::Odd } else { Inputs::Even };
        frame.cells_pulled = Part::fresh(Pulled { inputs, cells });
        frame.bleed_flows = Part::fresh((0..16).filter(|cell| amps >> cell & 1 == 1).fold(
            CellSet::EMPTY,
            |mut set, cell| {
                set.insert(cell);
                set
            },
        ));
        frame.asked = Asked { contactors: if odd { Wanted::Closed } else { Wanted::Open }, ..Asked::NOTHING };
        ToTarget::Frame { number, frame }
    });
    prop_oneof![
        any::<u8>().prop_map(|version| ToTarget::Hello { version }),
        Just(start()),
        any_label().prop_map(ToTarget::Keep),
        any::<u16>().prop_map(|from| ToTarget::Read { from }),
        (any::<u16>(), any_piece()).prop_map(|(from, bytes)| ToTarget::Store { from, bytes }),
        (any::<u32>(), any::<Option<u32>>()).prop_map(|(pack, off)| ToTarget::Restart {
            config: Config::trainer(),
            silence: Millis(1_000),
            pack,
            off: off.map(Millis),
        }),
        frames,
        Just(ToTarget::Limits(Config::crane().faults)),
        Just(ToTarget::Spoil(Config::crane())),
    ]
}

fn any_label() -> impl Strategy<Value = Label> {
    any::<[u32; 3]>().prop_map(|[pack, number, holds]| Label { pack, number, holds: Millis(holds) })
}

fn any_piece() -> impl Strategy<Value = Piece> {
    prop::collection::vec(any::<u8>(), 0..=PIECE).prop_map(|bytes| bytes.into_iter().collect())
}

/// Of decisions those that a station makes of the frames above.
fn any_answer() -> impl Strategy<Value = Answer> {
    let decided = any_message().prop_map(|message| {
        let mut station = Station::<16, 8>::new();
        station.answer(&start(), &mut ());
        let message = match message {
            ToTarget::Frame { frame, .. } => ToTarget::Frame { number: 1, frame },
            other => other,
        };
        station.answer(&message, &mut ())
    });
    prop_oneof![
        4 => decided,
        1 => any::<[u8; 3]>().prop_map(|[version, cells, thermistors]| ToHost::Hello { version, cells, thermistors }),
        1 => any::<u32>().prop_map(|config| ToHost::Started { config }),
        1 => any::<u16>().prop_map(|length| ToHost::Stored { length }),
        1 => (any::<u16>(), any_piece()).prop_map(|(from, bytes)| ToHost::Piece { from, bytes }),
        1 => any::<u32>().prop_map(|due| ToHost::Refused(Refusal::OutOfTurn { due })),
        1 => Just(ToHost::Refused(Refusal::WasSilent)),
    ]
}
