//! Whether bytes are a record, and whose.

use super::{HEAD_BYTES, Label, MARK, Reader, SUM_BYTES, Stored, VERSION};
use crate::config::digest::CRC;

/// Why bytes are not the record that was looked for, with what was found and what was needed. The first reason of this order is given.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Unusable {
    /// Nothing was ever written there, or it was erased: all bytes are zeros, or all are ones.
    Blank,
    /// Shorter than any record, or than it says it is: the end is missing.
    TooShort {
        /// Bytes that are there.
        found: u32,
        /// Bytes that are needed.
        needed: u32,
    },
    /// It does not begin with the mark.
    NoRecord {
        /// What it begins with.
        found: [u8; 4],
    },
    /// The sum is another one: a part of it was not written, or has changed since.
    WrongSum {
        /// The sum of its bytes.
        found: u32,
        /// What it says.
        stated: u32,
    },
    /// Whole, but of a version that this program does not read.
    OtherVersion {
        /// Its version.
        found: u16,
        /// The one that is read.
        known: u16,
    },
    /// Whole, but of another pack.
    OtherPack {
        /// The number of that one.
        found: u32,
        /// The number of this one.
        expected: u32,
    },
    /// Whole, but of a pack of another size.
    OtherSize {
        /// Its cells and thermistors.
        found: (u8, u8),
        /// Those of this one.
        expected: (u8, u8),
    },
    /// Whole, but written under another configuration, or by a program with other faults.
    OtherConfiguration {
        /// Its checksum.
        found: u32,
        /// That of this one.
        expected: u32,
    },
}

/// The head of a record.
struct Head {
    label: Label,
    config: u32,
    size: (u8, u8),
}

/// Of two places that are written in turn, the one to restart from: the record that is whole and has the higher number. Where neither is
/// whole, the one that holds something, so that its reason is told.
#[must_use]
pub fn newer<'a>(one: &'a [u8], other: &'a [u8]) -> &'a [u8] {
    let takes_other = match (head(one), head(other)) {
        (Ok((one, _)), Ok((other, _))) => other.label.number > one.label.number,
        (Ok(_), Err(_)) => false,
        (Err(_), Ok(_)) => true,
        (Err(reason), Err(_)) => reason == Unusable::Blank,
    };
    if takes_other { other } else { one }
}

/// What the writer of a record said of it.
///
/// # Errors
///
/// When it is not whole, or of another version.
pub fn label(record: &[u8]) -> Result<Label, Unusable> {
    head(record).map(|(head, _)| head.label)
}

/// The label of a record of this pack, and the bytes behind the part that every record has alike.
pub(crate) fn opened<'a>(
    stored: &Stored<'a>,
    size: (u8, u8),
    config: u32,
) -> Result<(Label, Reader<'a>), Unusable> {
    let (head, rest) = head(stored.record)?;
    if head.label.pack != stored.pack {
        return Err(Unusable::OtherPack { found: head.label.pack, expected: stored.pack });
    }
    if head.size != size {
        return Err(Unusable::OtherSize { found: head.size, expected: size });
    }
    if head.config != config {
        return Err(Unusable::OtherConfiguration { found: head.config, expected: config });
    }
    Ok((head.label, rest))
}

/// The head of a whole record.
fn head(bytes: &[u8]) -> Result<(Head, Reader<'_>), Unusable> {
    if [0x00, 0xFF].iter().any(|blank| bytes.iter().all(|byte| byte == blank)) {
        return Err(Unusable::Blank);
    }
    let length = |bytes: usize| u32::try_from(bytes).unwrap_or(u32::MAX);
    let needed = length(HEAD_BYTES.saturating_add(SUM_BYTES));
    let found = length(bytes.len());
    if found < needed {
        return Err(Unusable::TooShort { found, needed });
    }
    let mut reader = Reader::new(bytes);
    let mark = reader.take();
    if mark != MARK {
        return Err(Unusable::NoRecord { found: mark });
    }
    let version = reader.next();
    let stated: u16 = reader.next();
    let whole = bytes.get(..usize::from(stated)).filter(|_| u32::from(stated) >= needed);
    let Some((body, sum)) = whole.and_then(<[u8]>::split_last_chunk::<SUM_BYTES>) else {
        return Err(Unusable::TooShort { found, needed: needed.max(stated.into()) });
    };
    let (found, stated) = (CRC.checksum(body), u32::from_le_bytes(*sum));
    if found != stated {
        return Err(Unusable::WrongSum { found, stated });
    }
    if version != VERSION {
        return Err(Unusable::OtherVersion { found: version, known: VERSION });
    }
    let (number, pack, config) = (reader.next(), reader.next(), reader.next());
    let size = (reader.next(), reader.next());
    let label = Label { pack, number, holds: reader.next() };
    Ok((Head { label, config, size }, reader))
}
