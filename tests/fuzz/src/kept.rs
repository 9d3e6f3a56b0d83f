//! What stands in the memory of a target: any bytes, and any body of a record with the right head and sum. No panic, nothing is believed of a
//! record that is not whole, and a controller that restarts from anything goes on with open contactors.
//!
//! `.ci/run` says how it is built with the stable compiler; with cargo-fuzz: `cargo +nightly fuzz run --fuzz-dir tests/fuzz fuzz_kept`.
#![no_main]

use bms_core::decision::Coils;
use bms_core::kept::{self, Label, Stored};
use bms_core::units::{Instant, Millis};
use bms_core::{Config, Controller, Evidence, Frame, Witness};
use crc::{CRC_32_ISCSI, Crc};
use libfuzzer_sys::fuzz_target;

type Pack = Controller<16, 8>;

const LABEL: Label = Label { pack: 1, number: 1, holds: Millis(50) };

/// Bytes before what a fuzzer may fill: mark, version, length, numbers, checksum, size, and for how long it holds.
const HEAD_BYTES: usize = 26;
const SUM_BYTES: usize = 4;

/// How the controller says that it began.
struct Began(Option<kept::Restart>);

impl Witness for Began {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Restarted(began) = evidence {
            self.0 = Some(began);
        }
    }
}

/// Restarts from a record, and works a little.
fn restart(record: &[u8]) -> kept::Restart {
    let config = Config::trainer().fit().expect("the defaults are valid");
    let mut pack = Pack::restart(config, &Stored { record, pack: LABEL.pack, off: Some(Millis(1_000)) });
    let mut began = Began(None);
    for tick in 0..3 {
        let decision = pack.tick(&Frame::empty(Instant(tick * 10)), &mut began);
        assert_eq!(decision.coils, Coils::NONE);
    }
    let mut room = [0; Pack::RECORD_BYTES];
    let record = pack.record(LABEL, &mut room).expect("there is room");
    assert_eq!(kept::label(record), Ok(LABEL));
    began.0.expect("it was told")
}

/// A record of a new controller, with these bytes in its body.
fn filled(bytes: &[u8]) -> [u8; Pack::RECORD_BYTES] {
    let mut record = [0; Pack::RECORD_BYTES];
    let config = Config::trainer().fit().expect("the defaults are valid");
    Pack::new(config).record(LABEL, &mut record).expect("there is room");
    let end = record.len() - SUM_BYTES;
    record[HEAD_BYTES..end].iter_mut().zip(bytes).for_each(|(place, byte)| *place = *byte);
    let sum = Crc::<u32>::new(&CRC_32_ISCSI).checksum(&record[..end]);
    record[end..].copy_from_slice(&sum.to_le_bytes());
    record
}

fuzz_target!(|bytes: &[u8]| {
    restart(bytes);
    let record = filled(bytes);
    assert!(matches!(restart(&record), kept::Restart::Restored { .. }));
    // A byte that has changed since: nothing of it is believed.
    let mut spoilt = record;
    let place = bytes.iter().fold(0, |sum, byte| (sum * 31 + usize::from(*byte)) % record.len());
    spoilt[place] ^= 1;
    assert!(matches!(restart(&spoilt), kept::Restart::Refused(_)));
});
