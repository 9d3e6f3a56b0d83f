//! What comes over the wire: any bytes, and any body with the right sum around it. No panic; what was received is the same when it is
//! sent again; and whatever it was, the next whole message is heard.
//!
//! `.ci/run` says how it is built with the stable compiler; with cargo-fuzz: `cargo +nightly fuzz run --fuzz-dir tests/fuzz fuzz_wire`.
#![no_main]

use bms_core::Config;
use bms_core::sequence::Wear;
use bms_core::serial::{LONGEST, Receiver, Station, ToHost, ToTarget, VERSION, send};
use bms_core::units::Millis;
use libfuzzer_sys::fuzz_target;
use serde::ser::{Serialize, SerializeTuple, Serializer};

type Message = ToTarget<16, 8>;

/// Bytes as they are, without their count: so any body gets its sum.
struct Body<'a>(&'a [u8]);

impl Serialize for Body<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut to = serializer.serialize_tuple(self.0.len())?;
        self.0.iter().try_for_each(|byte| to.serialize_element(byte))?;
        to.end()
    }
}

struct Target {
    station: Station<16, 8>,
    receiver: Receiver,
}

impl Target {
    /// The answers to these bytes.
    fn hear(&mut self, bytes: &[u8]) -> Vec<ToHost<16>> {
        let mut answers = Vec::new();
        for byte in bytes {
            match self.receiver.take::<Message>(*byte) {
                None => {}
                Some(Err(_)) => self.station.count_garbled(),
                Some(Ok(message)) => {
                    assert_eq!(again(&message), message);
                    let answer = self.station.answer(&message, &mut ());
                    assert_eq!(again(&answer), answer);
                    answers.push(answer);
                }
            }
        }
        answers
    }
}

/// The same, over the wire once more.
fn again<T: Serialize + serde::de::DeserializeOwned>(message: &T) -> T {
    let mut room = [0; LONGEST];
    let bytes = send(message, &mut room).expect("there is room");
    let mut receiver = Receiver::new();
    bytes.iter().find_map(|byte| receiver.take(*byte)).expect("a message").expect("a sound one")
}

fuzz_target!(|bytes: &[u8]| {
    let mut target = Target { station: Station::new(), receiver: Receiver::new() };
    if bytes.len() % 2 == 1 {
        // One that works already.
        let (config, wear, silence) = (Config::trainer(), Wear::NONE, Millis(1_000));
        target.station.answer(&Message::Start { config, wear, silence }, &mut ());
    }
    target.hear(bytes);
    // One body after another, each with its sum: the first byte says how long it is.
    let mut rest = bytes;
    target.hear(&[0]);
    while let Some((length, after)) = rest.split_first() {
        let (body, after) = after.split_at(usize::from(*length).min(after.len()));
        let mut room = [0; LONGEST];
        target.hear(send(&Body(body), &mut room).expect("there is room"));
        rest = after;
    }
    let mut room = [0; LONGEST];
    let hello = send(&Message::Hello { version: VERSION }, &mut room).expect("there is room");
    let heard = target.hear(hello);
    assert_eq!(heard, [ToHost::Hello { version: VERSION, cells: 16, thermistors: 8 }]);
});
