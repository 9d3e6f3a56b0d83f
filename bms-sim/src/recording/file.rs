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
//! | channel `/events` | what happened: `tick`, `seconds`, `kind`, `sentence`, [`values`](super::values) |
//! | channel `/signals` | ten times a second: what the firmware measured and decided, and true temperatures |
//! | channel `/decisions` | at the start, once a second and at the end: ticks played and CRC-32 over every decision so far |
//! | metadata `end` | `ticks` and `decisions_digest` at the end, also of a run that was interrupted; missing when the file was cut short |
//!
//! Messages are JSON with a JSON Schema for each channel; their time stamps count nanoseconds from the start. Metadata and case stand
//! first, so that a file that was cut short still says what it is of: it is then played to its last whole block, that is to the last
//! `/decisions` message, and every verb says how far that is.
//!
//! ```text
//! block = 1 s of the run, or one step of a rest
//!         a thousandth of a case that is longer than 1000 s: many small blocks make a large file
//! ```
//!
//! A block is a chunk of the container, or a few when much happens. A process that is killed, at whatever moment, loses less than one
//! block of what it had played. What the system itself had not yet put on the disk can be lost with the machine's power: then the file
//! ends at some earlier block, and is read just as well.
//!
//! A file is written while its case is played, as `FILE.part`, and renamed when it is complete ([`Writing`]). Nothing is overwritten
//! unless that is asked for, and that is settled before the run begins.

mod read;
mod write;

pub use write::{Sentence, Writing, unfinished};

use super::{Recording, play_to};
use crate::case::{Case, CaseError, MOST_SEED, StartError};
use mcap::McapError;
use read::{Contents, Damage, Entries};
use std::fs::File;
use std::io::Read as _;
use std::path::Path;
use std::sync::Arc;

/// Name and version of this program, as everything that it writes names it.
pub const GENERATOR: &str = concat!("bms-sim ", env!("CARGO_PKG_VERSION"));

/// The only schema that there is.
const SCHEMA: &str = "1";

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
    /// Something else than a file has this name: a folder, a device.
    #[error("{file}: is not a file; accepted is the name of a file to write")]
    NotAFile {
        /// What was named.
        file: String,
    },
    /// What an earlier run left behind stands where this one would write.
    #[error(
        "{file}: {part} exists already, of a run that was killed or still goes on; accepted is a new name, or --force to write \
over it"
    )]
    Unfinished {
        /// The file.
        file: String,
        /// Where it stands until it is complete.
        part: String,
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
    /// It was cut short before anything of the run was in it.
    #[error(
        "{file}: was cut short before anything of its run was whole; accepted is an MCAP file as written by run --record"
    )]
    CutEarly {
        /// The file.
        file: String,
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

/// Whether a file begins as a recording does, or is shorter than that beginning under the name of one: a run that is killed as it starts
/// leaves an empty file.
#[must_use]
pub fn is_recording(path: &Path) -> bool {
    let mut start = Vec::new();
    let most = mcap::MAGIC.len() as u64;
    let read = File::open(path).and_then(|file| file.take(most).read_to_end(&mut start)).is_ok();
    let named = path.extension().is_some_and(|ending| ending == "mcap" || ending == "part");
    read && (start == mcap::MAGIC || (named && mcap::MAGIC.starts_with(&start)))
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
    if mcap::MAGIC.starts_with(&bytes) {
        return Err(FileError::CutEarly { file });
    }
    if !bytes.starts_with(mcap::MAGIC) {
        let found = bytes.iter().take(mcap::MAGIC.len()).copied();
        let found: String = found.flat_map(std::ascii::escape_default).map(char::from).collect();
        return Err(FileError::NotRecording { file, found: format!("\"{found}\"") });
    }
    match Contents::gather(&bytes) {
        Ok(contents) => contents.kept(file, bytes.ends_with(mcap::MAGIC)),
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
        let recording = play_to(&self.case, self.ticks, &mut (), |seconds| {
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
    /// The run that the file is of; `finished` unless it was cut short.
    fn kept(self, file: String, finished: bool) -> Result<Kept, FileError> {
        let missing = |missing| {
            let file = file.clone();
            if finished { FileError::Missing { file, missing } } else { FileError::CutEarly { file } }
        };
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
        case.seed = seed
            .parse()
            .ok()
            .filter(|seed| *seed <= MOST_SEED)
            .ok_or_else(|| refused("seed", &seed, &format!("a whole number from 0 to {MOST_SEED}")))?;
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

/// A digest as people compare it.
pub(crate) fn hexadecimal(digest: u32) -> String {
    format!("{digest:08x}")
}

#[cfg(test)]
mod tests;
