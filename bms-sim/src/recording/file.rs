//! # Recordings in files
//!
//! A recording is an [MCAP](https://mcap.dev) file, an open container for messages with time stamps. A run is determined by case and
//! seed, so the file holds the case itself and enough to prove that it is played again as it was: [`read`] plays the case and compares
//! the digest of all decisions. Then any tick can be visited, as in the run itself.
//!
//! | in the file | holds |
//! | --- | --- |
//! | metadata `run` | `schema` (1), `generator`, `case_name`, `case_digest`, `seed` |
//! | attachment `case.toml` | the case's text |
//! | channel `/events` | what happened, as [`document`](super::document) shows it |
//! | channel `/signals` | ten times a second: what the firmware measured and decided, and true temperatures |
//! | channel `/decisions` | once a second and at the end: ticks played and CRC-32 over every decision so far |
//! | metadata `end` | `ticks` and `decisions_digest` at the end; missing when the file was cut short |
//!
//! Messages are JSON with a JSON Schema for each channel; their time stamps count nanoseconds from the start. Metadata and case stand
//! first, so that a file that was cut short still says what it is of: it is then played to its last `/decisions` message.
//!
//! A file is written aside and renamed when it is complete. Nothing is overwritten unless that is asked for.

mod read;

use super::digest::Digest;
use super::document::{EventShown, GENERATOR, hexadecimal};
use super::{Recording, play_to};
use crate::case::{Case, CaseError, StartError};
use crate::run::Loop;
use bms_core::units::{Amps, Volts};
use bms_core::{Decision, Frame};
use mcap::records::{MessageHeader, Metadata};
use mcap::{Attachment, Compression, McapError, WriteOptions, Writer};
use read::{Contents, Damage, Entries, Mark};
use serde::Serialize;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, Read, Seek, Write};
use std::path::Path;
use std::sync::Arc;

/// The only schema that there is.
const SCHEMA: &str = "1";

/// Time between two messages with signals, in milliseconds.
const SIGNALS_MS: u64 = 100;

/// Time between two digests, in milliseconds.
const DIGEST_MS: u64 = 1_000;

/// What went wrong with the file of a recording.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FileError {
    /// It cannot be read or written.
    #[error("{file}: {source}")]
    Unreachable {
        /// The file.
        file: String,
        /// Why.
        source: std::io::Error,
    },
    /// There is such a file already.
    #[error("{file}: exists already; accepted is a new name, or --force to write over it")]
    Exists {
        /// The file.
        file: String,
    },
    /// It does not begin as a recording does.
    #[error("{file}: begins with {found}; accepted is an MCAP file as written by run --record")]
    NotRecording {
        /// The file.
        file: String,
        /// How it begins.
        found: String,
    },
    /// The container holds no run that this program knows.
    #[error("{file}: {missing} is missing; accepted is an MCAP file as written by run --record")]
    Missing {
        /// The file.
        file: String,
        /// What is not there.
        missing: &'static str,
    },
    /// Some entry has a value that makes no sense.
    #[error("{file}: {entry} = {found}: accepted is {accepted}")]
    NotAccepted {
        /// The file.
        file: String,
        /// Which entry.
        entry: &'static str,
        /// Its value.
        found: String,
        /// What it may be.
        accepted: String,
    },
    /// The container is damaged.
    #[error("{file}: damaged at offset {offset}: {what}")]
    Damaged {
        /// The file.
        file: String,
        /// Where the record begins that cannot be, in bytes from the start of the file.
        offset: usize,
        /// What is wrong there.
        what: String,
    },
    /// The case inside is not accepted.
    #[error("{file}: {source}")]
    Case {
        /// The file.
        file: String,
        /// What is wrong with the case.
        source: CaseError,
    },
    /// The case does not fit the model.
    #[error("{file}: {source}")]
    Start {
        /// The file.
        file: String,
        /// Why it does not start.
        source: StartError,
    },
    /// Played again, the decisions are others than in the file.
    #[error(
        "{file}: decisions_digest = {found} after {ticks} ticks, but {GENERATOR} decides {accepted}; the file was written by \
{generator}: another program decides differently"
    )]
    Differs {
        /// The file.
        file: String,
        /// In the file.
        found: String,
        /// After how many ticks.
        ticks: u64,
        /// As played now.
        accepted: String,
        /// What wrote the file.
        generator: String,
    },
    /// A message cannot be written.
    #[error("{file}: {source}")]
    Unwritten {
        /// The file.
        file: String,
        /// Why.
        source: Box<McapError>,
    },
}

/// Whether a file begins as a recording does.
#[must_use]
pub fn is_recording(path: &Path) -> bool {
    let mut start = [0; mcap::MAGIC.len()];
    File::open(path).and_then(|mut file| file.read_exact(&mut start)).is_ok() && start == mcap::MAGIC
}

/// What a file says about the run that it is of.
#[derive(Clone, Debug)]
pub struct Kept {
    /// The case, with the seed that it was played with.
    pub case: Arc<Case>,
    /// Ticks that the file vouches for.
    pub ticks: u64,
    /// CRC-32 over the decisions of these ticks.
    pub digest: u32,
    /// Whether the file is complete; not so when it was cut short.
    pub complete: bool,
    file: String,
    generator: String,
}

/// The case in a recording, without playing it.
///
/// # Errors
/// When it cannot be read, or is no recording, or is damaged before the case.
pub fn case_of(path: &Path) -> Result<Kept, FileError> {
    let file = path.display().to_string();
    let bytes =
        std::fs::read(path).map_err(|source| FileError::Unreachable { file: file.clone(), source })?;
    if !bytes.starts_with(mcap::MAGIC) {
        let found = bytes.iter().take(mcap::MAGIC.len()).copied();
        let found: String = found.flat_map(std::ascii::escape_default).map(char::from).collect();
        let found = if found.is_empty() { "nothing".to_owned() } else { format!("\"{found}\"") };
        return Err(FileError::NotRecording { file, found });
    }
    match Contents::gather(&bytes) {
        Ok(contents) => contents.kept(file),
        Err(Damage { offset, what }) => Err(FileError::Damaged { file, offset, what }),
    }
}

/// Plays the case in a recording again and proves that it decides as it did. `progress` as for [`play`](super::play).
///
/// # Errors
/// When [`case_of`] fails, the type has other counts than the case's pack, or the decisions differ.
pub fn read<const CELLS: usize, const THERMISTORS: usize>(
    path: &Path,
    progress: impl FnMut(f64) -> bool,
) -> Result<Recording<CELLS, THERMISTORS>, FileError> {
    case_of(path)?.replay(progress)
}

impl Kept {
    /// Plays the case again, as far as the file goes, and proves that it decides as it did.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack, or the decisions differ.
    pub fn replay<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        mut progress: impl FnMut(f64) -> bool,
    ) -> Result<Recording<CELLS, THERMISTORS>, FileError> {
        let mut stopped = false;
        let recording = play_to(&self.case, self.ticks, |seconds| {
            let on = progress(seconds);
            stopped |= !on;
            on
        });
        let recording = recording.map_err(|source| FileError::Start { file: self.file.clone(), source })?;
        let same = recording.digest == self.digest && recording.ticks == self.ticks;
        if same || stopped {
            return Ok(recording);
        }
        Err(FileError::Differs {
            file: self.file.clone(),
            found: hexadecimal(self.digest),
            ticks: self.ticks,
            accepted: hexadecimal(recording.digest),
            generator: self.generator.clone(),
        })
    }
}

impl Contents {
    /// The run that the file is of.
    fn kept(self, file: String) -> Result<Kept, FileError> {
        let missing = |missing| FileError::Missing { file: file.clone(), missing };
        let run = self.run.ok_or_else(|| missing("metadata run"))?;
        let text = self.case.ok_or_else(|| missing("attachment case.toml"))?;
        let entry = |of: &Entries, key: &'static str| of.get(key).cloned().ok_or_else(|| missing(key));
        let refused = |entry: &'static str, found: &str, accepted: &str| FileError::NotAccepted {
            file: file.clone(),
            entry,
            found: found.to_owned(),
            accepted: accepted.to_owned(),
        };
        let schema = entry(&run, "schema")?;
        if schema != SCHEMA {
            return Err(refused("schema", &schema, SCHEMA));
        }
        let name = entry(&run, "case_name")?;
        let case = Case::from_bytes(&text, &name);
        let mut case = case.map_err(|source| FileError::Case { file: file.clone(), source })?;
        let digest = entry(&run, "case_digest")?;
        if digest != hexadecimal(case.digest) {
            return Err(refused("case_digest", &digest, &hexadecimal(case.digest)));
        }
        let seed = entry(&run, "seed")?;
        case.seed = seed.parse().map_err(|_| refused("seed", &seed, "a whole number from 0"))?;
        let (ticks, digest, complete) = match (&self.end, self.last) {
            (Some(end), _) => (entry(end, "ticks")?, entry(end, "decisions_digest")?, true),
            (None, Some(last)) => (last.ticks.to_string(), last.decisions_digest, false),
            (None, None) => return Err(missing("any message of /decisions")),
        };
        Ok(Kept {
            ticks: ticks.parse().map_err(|_| refused("ticks", &ticks, "a whole number from 0"))?,
            digest: u32::from_str_radix(&digest, 16)
                .map_err(|_| refused("decisions_digest", &digest, "eight hexadecimal digits"))?,
            complete,
            generator: entry(&run, "generator")?,
            case: Arc::new(case),
            file,
        })
    }
}

/// Writes a recording. `force` allows to write over a file.
///
/// # Errors
/// When the file exists and `force` is not given, or it cannot be written.
pub fn write<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    path: &Path,
    force: bool,
) -> Result<(), FileError> {
    let file = path.display().to_string();
    let unreachable = |source| FileError::Unreachable { file: file.clone(), source };
    let unwritten = |source| match source {
        McapError::Io(source) => FileError::Unreachable { file: file.clone(), source },
        other => FileError::Unwritten { file: file.clone(), source: Box::new(other) },
    };
    if !force && path.exists() {
        return Err(FileError::Exists { file });
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let aside = beside(folder).map_err(unreachable)?;
    Messages::new(BufWriter::new(aside.as_file()))
        .and_then(|messages| messages.all(recording))
        .map_err(unwritten)?;
    aside.as_file().sync_all().map_err(unreachable)?;
    let renamed = if force { aside.persist(path) } else { aside.persist_noclobber(path) };
    renamed.map(|_| ()).map_err(|error| match error.error.kind() {
        std::io::ErrorKind::AlreadyExists => FileError::Exists { file: file.clone() },
        _ => unreachable(error.error),
    })
}

/// A file to be renamed, with the rights that any new file gets.
#[cfg(unix)]
fn beside(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    use std::os::unix::fs::PermissionsExt;
    tempfile::Builder::new().permissions(std::fs::Permissions::from_mode(0o666)).tempfile_in(folder)
}

/// A file to be renamed, with the rights that any new file gets.
#[cfg(not(unix))]
fn beside(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    tempfile::NamedTempFile::new_in(folder)
}

/// A container that is being written.
struct Messages<W: Write + Seek> {
    to: Writer<W>,
    sequence: u32,
}

/// A channel's number in the container.
#[derive(Clone, Copy)]
struct Topic(u16);

impl<W: Write + Seek> Messages<W> {
    fn new(to: W) -> Result<Self, McapError> {
        let options = WriteOptions::new().compression(Some(Compression::Zstd)).library(GENERATOR);
        Ok(Self { to: options.create(to)?, sequence: 0 })
    }

    fn topic(&mut self, topic: &str, schema: &str) -> Result<Topic, McapError> {
        let schema = self.to.add_schema(topic.trim_start_matches('/'), "jsonschema", schema.as_bytes())?;
        self.to.add_channel(schema, topic, "json", &BTreeMap::new()).map(Topic)
    }

    fn metadata<const N: usize>(
        &mut self,
        name: &str,
        entries: [(&str, String); N],
    ) -> Result<(), McapError> {
        let metadata = entries.into_iter().map(|(key, value)| (key.to_owned(), value)).collect();
        self.to.write_metadata(&Metadata { name: name.to_owned(), metadata })
    }

    fn message(&mut self, topic: Topic, at_ms: u64, message: &impl Serialize) -> Result<(), McapError> {
        let nanoseconds = at_ms.saturating_mul(1_000_000);
        let header = MessageHeader {
            channel_id: topic.0,
            sequence: self.sequence,
            log_time: nanoseconds,
            publish_time: nanoseconds,
        };
        self.sequence = self.sequence.wrapping_add(1);
        self.to.write_to_known_channel(&header, &serde_json::to_vec(message).map_err(std::io::Error::from)?)
    }

    /// Everything, in order of time. The run is played once more for its signals.
    fn all<const CELLS: usize, const THERMISTORS: usize>(
        mut self,
        recording: &Recording<CELLS, THERMISTORS>,
    ) -> Result<(), McapError> {
        let case = &recording.case;
        self.metadata(
            "run",
            [
                ("schema", SCHEMA.to_owned()),
                ("generator", GENERATOR.to_owned()),
                ("case_name", case.name.clone()),
                ("case_digest", hexadecimal(case.digest)),
                ("seed", case.seed.to_string()),
            ],
        )?;
        self.to.attach(&Attachment {
            log_time: 0,
            create_time: 0,
            name: "case.toml".to_owned(),
            media_type: "application/toml".to_owned(),
            data: Cow::Borrowed(case.text.as_bytes()),
        })?;
        let events = self.topic("/events", EVENTS_SCHEMA)?;
        let signals = self.topic("/signals", SIGNALS_SCHEMA)?;
        let decisions = self.topic("/decisions", DECISIONS_SCHEMA)?;
        let mut digest = Digest::new();
        let mut now = recording.start();
        let mut told = recording.events.iter().peekable();
        let (mut next_signals_ms, mut next_digest_ms) = (0, DIGEST_MS);
        while now.tick < recording.ticks {
            let (tick, at_ms) = (now.tick, now.at_ms);
            while let Some(event) = told.next_if(|event| event.tick <= tick) {
                self.message(events, at_ms, &EventShown::of(recording, event))?;
            }
            let frame = (at_ms >= next_signals_ms).then(|| now.frame());
            let decision = now.advance(&mut ());
            digest.feed(&decision);
            if let Some(frame) = frame {
                next_signals_ms = (at_ms / SIGNALS_MS + 1) * SIGNALS_MS;
                self.message(signals, at_ms, &Signals::of(tick, at_ms, &frame, &decision, &now))?;
            }
            if at_ms >= next_digest_ms || now.tick == recording.ticks {
                next_digest_ms = (at_ms / DIGEST_MS + 1) * DIGEST_MS;
                let so_far = Mark { ticks: now.tick, decisions_digest: hexadecimal(digest.value()) };
                self.message(decisions, at_ms, &so_far)?;
            }
        }
        let end = [("ticks", now.tick.to_string()), ("decisions_digest", hexadecimal(digest.value()))];
        self.metadata("end", end)?;
        self.to.finish().map(|_| ())
    }
}

/// What is measured and decided in one tick; the temperatures are true ones at its end.
#[derive(Debug, Serialize)]
struct Signals {
    tick: u64,
    seconds: f64,
    lowest_cell: usize,
    lowest_cell_volts: f64,
    highest_cell: usize,
    highest_cell_volts: f64,
    current_amps: f64,
    pack_volts: f64,
    link_volts: f64,
    supply_volts: f64,
    true_coldest_cell_celsius: f64,
    true_warmest_cell_celsius: f64,
    charge_limit_amps: f64,
    discharge_limit_amps: f64,
    step: bms_core::Step,
}

impl Signals {
    fn of<const CELLS: usize, const THERMISTORS: usize>(
        tick: u64,
        at_ms: u64,
        frame: &Frame<CELLS, THERMISTORS>,
        decision: &Decision<CELLS>,
        after: &Loop<CELLS, THERMISTORS>,
    ) -> Self {
        let volts = |volts: Volts| f64::from(volts.milli()) / 1_000.0;
        let amps = |amps: Amps| f64::from(amps.milli()) / 1_000.0;
        let cells = || frame.cells.value.0.iter().copied().zip(1..);
        // The first of several equal ones, as in a list read from the top.
        let (lowest, lowest_cell) = cells().min_by_key(|(volts, _)| *volts).unwrap_or_default();
        let (highest, highest_cell) =
            cells().max_by_key(|(volts, cell)| (*volts, std::cmp::Reverse(*cell))).unwrap_or_default();
        let truth = after.world.truth();
        Self {
            tick,
            seconds: std::time::Duration::from_millis(at_ms).as_secs_f64(),
            lowest_cell,
            lowest_cell_volts: volts(lowest),
            highest_cell,
            highest_cell_volts: volts(highest),
            current_amps: amps(frame.current.value),
            pack_volts: volts(frame.voltages.value.pack),
            link_volts: volts(frame.voltages.value.link),
            supply_volts: volts(frame.supply.value),
            true_coldest_cell_celsius: truth.celsius_low.value,
            true_warmest_cell_celsius: truth.celsius_high.value,
            charge_limit_amps: amps(decision.limits.charge),
            discharge_limit_amps: amps(decision.limits.discharge),
            step: decision.step,
        }
    }
}

/// JSON Schema of a message with an event.
const EVENTS_SCHEMA: &str = r#"{"type":"object","properties":{
"tick":{"type":"integer"},"seconds":{"type":"number"},"kind":{"type":"string"},"sentence":{"type":"string"},
"values":{"type":"object"}}}"#;

/// JSON Schema of a message with signals.
const SIGNALS_SCHEMA: &str = r#"{"type":"object","properties":{
"tick":{"type":"integer"},"seconds":{"type":"number"},
"lowest_cell":{"type":"integer"},"lowest_cell_volts":{"type":"number"},
"highest_cell":{"type":"integer"},"highest_cell_volts":{"type":"number"},
"current_amps":{"type":"number","description":"positive into the pack"},
"pack_volts":{"type":"number"},"link_volts":{"type":"number"},"supply_volts":{"type":"number"},
"true_coldest_cell_celsius":{"type":"number"},"true_warmest_cell_celsius":{"type":"number"},
"charge_limit_amps":{"type":"number"},"discharge_limit_amps":{"type":"number"},"step":{"type":"string"}}}"#;

/// JSON Schema of a message with a digest.
const DECISIONS_SCHEMA: &str = r#"{"type":"object","properties":{
"ticks":{"type":"integer","description":"ticks played so far"},
"decisions_digest":{"type":"string","description":"CRC-32/ISO-HDLC over all decisions so far"}}}"#;

#[cfg(test)]
mod tests;
