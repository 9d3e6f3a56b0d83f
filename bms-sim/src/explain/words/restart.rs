//! How a controller began that had worked before, as sentences.

use super::numbers::duration;
use bms_core::kept::{Restart, Unusable};
use bms_core::units::Millis;

/// From what it goes on.
pub(super) fn restart(began: Restart) -> String {
    match began {
        Restart::Restored { number, holds, off } => {
            let worked = match holds {
                Millis::ZERO => String::new(),
                holds => format!(", after which it may have worked for up to {}", duration(holds)),
            };
            let off = match off {
                Some(off) => format!("it was without supply for at most {}", duration(off)),
                None => "nobody knows how long it was without supply, so a cell may have lost any charge"
                    .to_owned(),
            };
            format!("the firmware goes on from record {number}{worked}; {off}")
        }
        Restart::Refused(reason) => format!(
            "the firmware starts without a record, because {}: each cell may hold 0 to 100 %, and closing is barred until somebody clears, since \
nobody knows what was latched",
            unusable(reason)
        ),
    }
}

fn unusable(reason: Unusable) -> String {
    match reason {
        Unusable::Blank => "there is none".to_owned(),
        Unusable::TooShort { found, needed } => {
            format!("what is stored ends after {found} of the {needed} bytes that it should have")
        }
        Unusable::NoRecord { found } => {
            let [a, b, c, d] = found;
            format!("what is stored is no record: it begins with {a:02X} {b:02X} {c:02X} {d:02X}")
        }
        Unusable::WrongSum { found, stated } => {
            format!(
                "a part of the record was not written or has changed: its sum is {found:08X}, and it says {stated:08X}"
            )
        }
        Unusable::OtherVersion { found, known } => {
            format!("the record is of version {found}, and only version {known} is read")
        }
        Unusable::OtherPack { found, expected } => {
            format!("the record is of pack number {found}, and this is pack number {expected}")
        }
        Unusable::OtherSize { found, expected } => format!(
            "the record is of a pack of {} cells and {} thermistors, and this one has {} and {}",
            found.0, found.1, expected.0, expected.1
        ),
        Unusable::OtherConfiguration { found, expected } => format!(
            "the record was written under another configuration: the checksum of that one is {found:08X}, of this one {expected:08X}"
        ),
    }
}
