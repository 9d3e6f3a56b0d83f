//! # What is in a file, and whether it can be believed
//!
//! A file comes from a disk that may have failed or a program that was killed, so no length in it is believed before it is compared
//! with what is there, and nothing is unpacked beyond a fixed size. Each record stands for itself:
//!
//! ```text
//! opcode (1 byte) · length (8 bytes) · contents;  a chunk: … · CRC-32 of what it unpacks to · … · packed records
//! ```
//!
//! A file that ends with the format's closing mark was finished: then everything up to the end of its data must be there and agree
//! with its check sums, or it is damaged. One without that mark was cut short: the record at its end is incomplete, and
//! those before it count. Little-endian numbers, texts with their length before them, check sums CRC-32/ISO-HDLC
//! (source: the format's specification, mcap.dev/spec).

use mcap::records::op;
use mcap::sans_io::linear_reader::{LinearReadEvent, LinearReader, LinearReaderOptions};
use std::collections::BTreeMap;

/// Most bytes that a chunk may unpack to. Those that are written here hold a second of the run: some thousand.
const MOST_UNPACKED: usize = 16 << 20;

/// Check sums of the format.
const CRC: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

/// What a file says against itself.
#[derive(Debug, PartialEq)]
pub(super) struct Damage {
    /// Where the record begins that cannot be, in bytes from the start of the file.
    pub(super) offset: usize,
    /// What is wrong there.
    pub(super) what: String,
}

/// The digest of all decisions so far.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Mark {
    pub(super) ticks: u64,
    pub(super) decisions_digest: String,
}

/// Entries of a metadata record.
pub(super) type Entries = BTreeMap<String, String>;

/// The records that matter for playing again.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Contents {
    pub(super) run: Option<Entries>,
    pub(super) case: Option<Vec<u8>>,
    pub(super) end: Option<Entries>,
    /// The last message of the decisions' channel.
    pub(super) last: Option<Mark>,
}

impl Contents {
    /// Reads a file that begins as a recording does: to its end, or as far as it goes.
    pub(super) fn gather(bytes: &[u8]) -> Result<Self, Damage> {
        let finished = bytes.strip_prefix(mcap::MAGIC).is_some_and(|rest| rest.ends_with(mcap::MAGIC));
        let mut contents = Self::default();
        let mut offset = mcap::MAGIC.len();
        loop {
            let rest = bytes.get(offset..).unwrap_or_default();
            let Some((opcode, record, length)) = record(rest) else {
                if finished {
                    return Err(Damage { offset, what: "a record that reaches beyond the end".to_owned() });
                }
                return Ok(contents);
            };
            let before = bytes.get(..offset).unwrap_or_default();
            contents.take(opcode, record, before).map_err(|what| Damage { offset, what })?;
            if opcode == op::DATA_END {
                return Ok(contents); // what follows is only an index of what was read
            }
            offset += length;
        }
    }

    fn take(&mut self, opcode: u8, record: &[u8], before: &[u8]) -> Result<(), String> {
        match opcode {
            op::METADATA => {
                let (name, entries) = metadata(record).ok_or("entries that do not fit their record")?;
                match name {
                    "run" => self.run = Some(entries),
                    "end" => self.end = Some(entries),
                    _ => {}
                }
            }
            op::ATTACHMENT => {
                let (name, data) = attachment(record)?;
                if name == "case.toml" {
                    self.case = Some(data.to_vec());
                }
            }
            op::CHUNK => {
                for message in messages(record)? {
                    self.last = serde_json::from_slice(&message).ok().or(self.last.take());
                }
            }
            op::DATA_END => {
                let stated = Fields(record).u32().ok_or("an end without check sum")?;
                agree("the data before it", stated, before)?;
            }
            _ => {}
        }
        Ok(())
    }
}

/// The first record of these bytes: opcode, contents, and its length with both. Nothing when it is not there as a whole.
fn record(bytes: &[u8]) -> Option<(u8, &[u8], usize)> {
    let mut fields = Fields(bytes);
    let [opcode] = fields.array()?;
    let length = fields.u64()?;
    let contents = fields.take(length)?;
    Some((opcode, contents, bytes.len() - fields.0.len()))
}

/// A metadata record: its name, and the entries.
fn metadata(record: &[u8]) -> Option<(&str, Entries)> {
    let mut fields = Fields(record);
    let name = fields.text()?;
    let length = fields.u32()?;
    let mut inner = Fields(fields.take(length)?);
    let mut entries = Entries::new();
    while !inner.0.is_empty() {
        entries.insert(inner.text()?.to_owned(), inner.text()?.to_owned());
    }
    Some((name, entries))
}

/// An attachment: its name, and the data.
fn attachment(record: &[u8]) -> Result<(&str, &[u8]), String> {
    let parts = || {
        let mut fields = Fields(record);
        let (_log_time, _create_time) = (fields.u64()?, fields.u64()?);
        let (name, _media_type) = (fields.text()?, fields.text()?);
        let length = fields.u64()?;
        let data = fields.take(length)?;
        let summed = record.get(..record.len() - fields.0.len())?;
        Some((name, data, summed, fields.u32()?))
    };
    let (name, data, summed, stated) = parts().ok_or("an attachment that does not fit its record")?;
    agree("the attachment", stated, summed)?;
    Ok((name, data))
}

/// The messages of a chunk, which is unpacked only when what it states of itself can be.
fn messages(record: &[u8]) -> Result<Vec<Vec<u8>>, String> {
    let parts = || {
        let mut fields = Fields(record);
        let (_start_time, _end_time) = (fields.u64()?, fields.u64()?);
        let (unpacked, stated, compression) = (fields.u64()?, fields.u32()?, fields.text()?);
        let packed = fields.u64()?;
        fields.take(packed)?;
        Some((unpacked, stated, compression))
    };
    let (unpacked, stated, compression) = parts().ok_or("a chunk that does not fit its record")?;
    if compression != "zstd" {
        return Err(format!("a chunk packed by \"{}\"; accepted is \"zstd\"", compression.escape_debug()));
    }
    if stated == 0 {
        return Err("a chunk without check sum".to_owned());
    }
    if unpacked > MOST_UNPACKED as u64 {
        return Err(format!("a chunk of {unpacked} bytes; accepted are at most {MOST_UNPACKED}"));
    }
    unpacked_messages(record).map_err(|error| format!("a chunk that cannot be unpacked: {error}"))
}

/// Unpacks a chunk and takes its messages out, after its check sum was compared.
fn unpacked_messages(chunk: &[u8]) -> Result<Vec<Vec<u8>>, mcap::McapError> {
    let mut reader = LinearReader::new_with_options(
        LinearReaderOptions::default()
            .with_skip_start_magic(true)
            .with_skip_end_magic(true)
            .with_prevalidate_chunk_crcs(true)
            .with_record_length_limit(MOST_UNPACKED),
    );
    let whole: Vec<u8> = [op::CHUNK]
        .into_iter()
        .chain((chunk.len() as u64).to_le_bytes())
        .chain(chunk.iter().copied())
        .collect();
    let mut left = whole.as_slice();
    let mut messages = Vec::new();
    while let Some(event) = reader.next_event() {
        match event? {
            LinearReadEvent::ReadRequest(wanted) => {
                let (given, rest) = left.split_at(wanted.min(left.len()));
                reader.insert(given.len()).copy_from_slice(given);
                reader.notify_read(given.len());
                left = rest;
            }
            LinearReadEvent::Record { opcode: op::MESSAGE, data } => {
                let mut fields = Fields(data);
                let _channel_sequence_and_times = fields.take(2_u64 + 4 + 8 + 8);
                messages.push(fields.0.to_vec());
            }
            LinearReadEvent::Record { .. } => {}
        }
    }
    Ok(messages)
}

/// Compares a check sum with the one of what it stands for.
fn agree(of: &str, stated: u32, summed: &[u8]) -> Result<(), String> {
    let found = CRC.checksum(summed);
    if stated == found {
        return Ok(());
    }
    Err(format!("check sum {stated:08x}, but {of} has {found:08x}"))
}

/// What is left of a record: fields are taken from its front, as long as they are there.
struct Fields<'a>(&'a [u8]);

impl<'a> Fields<'a> {
    fn take(&mut self, count: impl Into<u64>) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(usize::try_from(count.into()).ok()?)?;
        self.0 = rest;
        Some(taken)
    }

    fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (taken, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(*taken)
    }

    fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    fn u64(&mut self) -> Option<u64> {
        self.array().map(u64::from_le_bytes)
    }

    fn text(&mut self) -> Option<&'a str> {
        let length = self.u32()?;
        std::str::from_utf8(self.take(length)?).ok()
    }
}
