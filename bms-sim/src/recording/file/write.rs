//! # Writing a run while it is played
//!
//! What is heard goes to `FILE.part` block by block, and a block is handed to the system as soon as it is whole, so that a process that is
//! killed leaves a file that is played as far as it goes. How long a block is: see [the file](super). When the run is over, or was
//! interrupted, the file is put on the disk and gets its own name.

use super::read::Mark;
use super::{FileError, GENERATOR, SCHEMA, hexadecimal};
use crate::case::{Case, StartError};
use crate::recording::digest::Digest;
use crate::recording::signals::{self, Moment, Signals};
use crate::recording::values::EventShown;
use crate::recording::{Event, Follow, Recording, play_to};
use crate::run::Loop;
use mcap::records::{MessageHeader, Metadata};
use mcap::{Attachment, Compression, McapError, WriteOptions, Writer};
use serde::Serialize;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Time between two messages with signals, in milliseconds.
const SIGNALS_MS: u64 = 100;

/// Time between two digests, in milliseconds.
const DIGEST_MS: u64 = 1_000;

/// In so many parts a case is complete in the file at most.
const PARTS: f64 = 1_000.0;

/// Says in a sentence what happened.
pub type Sentence = fn(&Case, &Event) -> String;

/// A recording that is written while its case is played.
pub struct Writing {
    case: Arc<Case>,
    messages: Messages,
    path: PathBuf,
    part: PathBuf,
    force: bool,
    /// What went wrong first; nothing is written after it.
    failed: Option<McapError>,
}

impl Writing {
    /// Makes the file and writes of which case it is. `force` allows to write over a file; `sentence` says what an event was.
    ///
    /// # Errors
    /// When the file exists and `force` is not given, or it cannot be written.
    pub fn begin(path: &Path, force: bool, case: &Arc<Case>, sentence: Sentence) -> Result<Self, FileError> {
        let file = || path.display().to_string();
        if path.exists() && !path.is_file() {
            return Err(FileError::NotAFile { file: file() });
        }
        if path.exists() && !force {
            return Err(FileError::Exists { file: file() });
        }
        let part = unfinished(path);
        let mut options = File::options();
        options.write(true).create(true).truncate(true).create_new(!force);
        let to = options.open(&part).map_err(|source| match source.kind() {
            std::io::ErrorKind::AlreadyExists => {
                FileError::Unfinished { file: file(), part: part.display().to_string() }
            }
            _ => FileError::Unreachable { file: file(), source },
        })?;
        let messages =
            Messages::begin(BufWriter::new(to), case, sentence).map_err(|error| unwritten(file(), error))?;
        Ok(Self { case: Arc::clone(case), messages, path: path.to_owned(), part, force, failed: None })
    }

    /// Plays the case and writes it. `progress` as for [`play`](crate::recording::play). What cannot be written is told by
    /// [`finish`](Self::finish): the run itself goes on.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack.
    pub fn play<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        progress: impl FnMut(f64) -> bool,
    ) -> Result<Recording<CELLS, THERMISTORS>, StartError> {
        self.play_followed(&mut (), progress)
    }

    /// The same, decided and watched by a follower.
    pub(crate) fn play_followed<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        follower: &mut impl Follow<CELLS, THERMISTORS>,
        progress: impl FnMut(f64) -> bool,
    ) -> Result<Recording<CELLS, THERMISTORS>, StartError> {
        let case = Arc::clone(&self.case);
        let mut following = Following {
            writing: self,
            begun: None,
            next_signals_ms: 0,
            next_digest_ms: DIGEST_MS,
            next_complete_seconds: 0.0,
        };
        let recording = play_to(&case, u64::MAX, &mut (follower, &mut following), progress)?;
        self.attempt(|messages| messages.end(recording.ticks, recording.digest));
        Ok(recording)
    }

    /// Leaves nothing behind, of a run that nobody wants any more.
    ///
    /// # Errors
    /// When what was written cannot be removed.
    pub fn discard(self) -> Result<(), FileError> {
        let file = self.path.display().to_string();
        std::fs::remove_file(&self.part).map_err(|source| FileError::Unreachable { file, source })
    }

    /// Gives the file its name.
    ///
    /// # Errors
    /// When anything could not be written, or another file took the name meanwhile.
    pub fn finish(self) -> Result<(), FileError> {
        let file = self.path.display().to_string();
        if let Some(error) = self.failed {
            return Err(unwritten(file, error));
        }
        let unreachable = |source| FileError::Unreachable { file: file.clone(), source };
        let buffered = self.messages.to.into_inner();
        let written = buffered.into_inner().map_err(|error| unreachable(error.into_error()))?;
        written.sync_all().map_err(unreachable)?;
        let part = tempfile::TempPath::try_from_path(&self.part).map_err(unreachable)?;
        let renamed = if self.force { part.persist(&self.path) } else { part.persist_noclobber(&self.path) };
        renamed.map_err(|error| {
            let _kept = error.path.keep();
            match error.error.kind() {
                std::io::ErrorKind::AlreadyExists => FileError::Exists { file: file.clone() },
                _ => unreachable(error.error),
            }
        })
    }

    fn attempt(&mut self, write: impl FnOnce(&mut Messages) -> Result<(), McapError>) {
        if self.failed.is_none() {
            self.failed = write(&mut self.messages).err();
        }
    }
}

/// Where a file stands until it is complete.
#[must_use]
pub fn unfinished(path: &Path) -> PathBuf {
    let mut part = path.as_os_str().to_owned();
    part.push(".part");
    part.into()
}

fn unwritten(file: String, error: McapError) -> FileError {
    match error {
        McapError::Io(source) => FileError::Unreachable { file, source },
        other => FileError::Unwritten { file, source: Box::new(other) },
    }
}

/// Listens to a run and writes what is due.
struct Following<'a, const CELLS: usize, const THERMISTORS: usize> {
    writing: &'a mut Writing,
    /// The tick that is being played.
    begun: Option<Begun<CELLS, THERMISTORS>>,
    next_signals_ms: u64,
    next_digest_ms: u64,
    next_complete_seconds: f64,
}

/// A tick of which only the beginning is known; with the pack as it is measured when signals are due.
struct Begun<const CELLS: usize, const THERMISTORS: usize> {
    at_ms: u64,
    shown: Option<Loop<CELLS, THERMISTORS>>,
}

impl<const CELLS: usize, const THERMISTORS: usize> Follow<CELLS, THERMISTORS>
    for Following<'_, CELLS, THERMISTORS>
{
    fn before(&mut self, now: &Loop<CELLS, THERMISTORS>) {
        let shown = (now.at_ms >= self.next_signals_ms).then(|| now.clone());
        self.begun = Some(Begun { at_ms: now.at_ms, shown });
    }

    fn after(&mut self, now: &Loop<CELLS, THERMISTORS>, events: &[Event], digest: &Digest) {
        let (Some(Begun { at_ms, shown }), Some(decision)) = (self.begun.take(), now.decision) else {
            return;
        };
        for event in events {
            self.writing.attempt(|messages| messages.event(at_ms, event));
        }
        if let Some(before) = shown {
            self.next_signals_ms = (at_ms / SIGNALS_MS + 1) * SIGNALS_MS;
            let signals = Signals::of(&Moment::of(&before, &before.frame(), &decision, now));
            self.writing.attempt(|messages| messages.message(messages.signals, at_ms, &signals));
        }
        if at_ms >= self.next_digest_ms || now.over() {
            self.next_digest_ms = (at_ms / DIGEST_MS + 1) * DIGEST_MS;
            self.writing.attempt(|messages| messages.mark(at_ms, now.tick, digest));
            if now.seconds() >= self.next_complete_seconds {
                self.next_complete_seconds = now.seconds() + now.case().duration_seconds / PARTS;
                self.writing.attempt(|messages| messages.to.flush());
            }
        }
    }
}

/// A channel's number in the container.
#[derive(Clone, Copy)]
struct Topic(u16);

/// A container that is being written.
struct Messages {
    to: Writer<BufWriter<File>>,
    sequence: u32,
    events: Topic,
    signals: Topic,
    decisions: Topic,
    case: Arc<Case>,
    sentence: Sentence,
}

impl Messages {
    /// Of which case it is, and that nothing was played yet.
    fn begin(to: BufWriter<File>, case: &Arc<Case>, sentence: Sentence) -> Result<Self, McapError> {
        // Chunks of a second are too small to share among threads. A chunk is put together in memory and only ever added to the file, not
        // written with a length that is filled in later: so what a kill leaves is the beginning of the whole file.
        let options = WriteOptions::new()
            .compression(Some(Compression::Zstd))
            .compression_threads(0)
            .disable_seeking(true);
        let mut to = options.library(GENERATOR).create(to)?;
        to.write_metadata(&metadata(
            "run",
            [
                ("schema", SCHEMA.to_owned()),
                ("generator", GENERATOR.to_owned()),
                ("case_name", case.name.clone()),
                ("case_digest", hexadecimal(case.digest)),
                ("seed", case.seed.to_string()),
            ],
        ))?;
        to.attach(&Attachment {
            log_time: 0,
            create_time: 0,
            name: "case.toml".to_owned(),
            media_type: "application/toml".to_owned(),
            data: Cow::Borrowed(case.text.as_bytes()),
        })?;
        let mut topic = |name: &str, schema: &str| {
            let schema = to.add_schema(name.trim_start_matches('/'), "jsonschema", schema.as_bytes())?;
            to.add_channel(schema, name, "json", &BTreeMap::new()).map(Topic)
        };
        let (events, signals) = (topic("/events", EVENTS_SCHEMA)?, topic("/signals", &signals::schema())?);
        let decisions = topic("/decisions", DECISIONS_SCHEMA)?;
        let mut messages =
            Self { to, sequence: 0, events, signals, decisions, case: Arc::clone(case), sentence };
        messages.mark(0, 0, &Digest::new())?;
        messages.to.flush()?;
        Ok(messages)
    }

    fn event(&mut self, at_ms: u64, event: &Event) -> Result<(), McapError> {
        let sentence = (self.sentence)(&self.case, event);
        self.message(self.events, at_ms, &EventShown::of(event, sentence))
    }

    /// The digest so far: the file can be played to here, once it is complete to here.
    fn mark(&mut self, at_ms: u64, ticks: u64, digest: &Digest) -> Result<(), McapError> {
        let so_far = Mark { ticks, decisions_digest: hexadecimal(digest.value()) };
        self.message(self.decisions, at_ms, &so_far)
    }

    fn end(&mut self, ticks: u64, digest: u32) -> Result<(), McapError> {
        let entries = [("ticks", ticks.to_string()), ("decisions_digest", hexadecimal(digest))];
        self.to.write_metadata(&metadata("end", entries))?;
        self.to.finish().map(|_| ())
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
}

fn metadata<const N: usize>(name: &str, entries: [(&str, String); N]) -> Metadata {
    let metadata = entries.into_iter().map(|(key, value)| (key.to_owned(), value)).collect();
    Metadata { name: name.to_owned(), metadata }
}

/// JSON Schema of a message with an event.
const EVENTS_SCHEMA: &str = r#"{"type":"object","properties":{
"tick":{"type":"integer"},"seconds":{"type":"number"},"kind":{"type":"string"},"sentence":{"type":"string"},
"values":{"type":"object"}}}"#;

/// JSON Schema of a message with a digest.
const DECISIONS_SCHEMA: &str = r#"{"type":"object","properties":{
"ticks":{"type":"integer","description":"ticks played so far"},
"decisions_digest":{"type":"string","description":"CRC-32/ISO-HDLC over all decisions so far"}}}"#;
