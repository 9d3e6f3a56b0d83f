//! # Results that outlive an interruption
//!
//! A text file of JSON, one document a line. The first line says what it is the result of: program, build, settings; every other line is
//! one finished piece. Lines are only ever appended, each with one write, so that a run that is killed leaves at most a torn last line,
//! which the next run drops. A file whose first line is another one is refused: results of two builds or two settings never mix.

use crate::recording::file::GENERATOR;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Read as _, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};

/// What went wrong with a file of results.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ResultsError {
    /// It cannot be read or written.
    #[error("{file}: {source}")]
    Unreachable {
        /// The file.
        file: String,
        /// Why.
        source: io::Error,
    },
    /// Another process is at work on it.
    #[error("{file}: another run is at work on it; accepted is another name, or to wait for that run")]
    InUse {
        /// The file.
        file: String,
    },
    /// It begins with something else than results.
    #[error(
        "{file}:1: begins with no results of this program; accepted is a new name, or --force to begin anew"
    )]
    Foreign {
        /// The file.
        file: String,
    },
    /// It holds results of something else.
    #[error(
        "{file}:1: {key} = {found}: accepted is {accepted}, as asked for; or a new name, or --force to begin anew"
    )]
    OfAnother {
        /// The file.
        file: String,
        /// Which entry of its first line differs.
        key: String,
        /// What stands there.
        found: String,
        /// What would be the same.
        accepted: String,
    },
    /// A piece was done twice and came out differently.
    #[error(
        "{file}:{line}: is another outcome of a piece that {other} holds too; accepted are results of the same program"
    )]
    Contradicts {
        /// The file.
        file: String,
        /// The line, counted from 1.
        line: usize,
        /// The file that holds the other outcome.
        other: String,
    },
    /// A line in the middle is no result.
    #[error("{file}:{line}: {reason}; accepted is a line as it was written, or --force to begin anew")]
    Damaged {
        /// The file.
        file: String,
        /// The line, counted from 1.
        line: usize,
        /// What is wrong with it.
        reason: String,
    },
}

/// What results are the results of: the program with its build, and the settings of the survey.
#[derive(Clone, Debug, PartialEq)]
pub struct Header(Map<String, Value>);

impl Header {
    /// Of a survey by this very program: its name and version, and the CRC-32 of the executable, since another build may decide otherwise.
    ///
    /// # Errors
    /// When the executable cannot be read.
    pub fn new(survey: &str) -> Result<Self, ResultsError> {
        let reach =
            |file: &Path, source| ResultsError::Unreachable { file: file.display().to_string(), source };
        let program = std::env::current_exe().map_err(|source| reach(Path::new("this program"), source))?;
        let bytes = std::fs::read(&program).map_err(|source| reach(&program, source))?;
        let build = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&bytes);
        let header = Self(Map::new()).with("results_of", survey).with("generator", GENERATOR);
        Ok(header.with("build", format!("{build:08x}")))
    }

    /// A setting.
    #[must_use]
    pub fn with(mut self, key: &str, value: impl Into<Value>) -> Self {
        self.0.insert(key.to_owned(), value.into());
        self
    }

    fn line(&self) -> String {
        Value::Object(self.0.clone()).to_string() + "\n"
    }

    /// The first entry in which a line differs: key, what it holds, what it should.
    fn differs(&self, line: &str) -> Option<Result<(String, String, String), ()>> {
        let Ok(Value::Object(found)) = serde_json::from_str(line) else { return Some(Err(())) };
        if !found.contains_key("results_of") {
            return Some(Err(()));
        }
        let keys = self.0.keys().chain(found.keys());
        let shown = |value: Option<&Value>| value.map_or_else(|| "nothing".to_owned(), Value::to_string);
        let mut differing = keys.filter(|key| self.0.get(*key) != found.get(*key));
        differing.next().map(|key| Ok((key.clone(), shown(found.get(key)), shown(self.0.get(key)))))
    }
}

/// The text of one file of results that holds what all of these hold, in the order of the pieces' numbers; `number` finds it in a line.
///
/// It does not matter which parts are put together first, nor whether they overlap. A torn last line counts as not done.
///
/// # Errors
/// When one cannot be read, is no file of results or of something else than the first, or contradicts another one.
pub fn merged(parts: &[PathBuf], number: impl Fn(&str) -> Option<u64>) -> Result<String, ResultsError> {
    let mut header: Option<(String, Header)> = None;
    let mut pieces: BTreeMap<u64, (String, &Path)> = BTreeMap::new();
    for part in parts {
        let file = || part.display().to_string();
        let bytes =
            std::fs::read(part).map_err(|source| ResultsError::Unreachable { file: file(), source })?;
        let whole = bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        let text = String::from_utf8_lossy(bytes.get(..whole).unwrap_or_default());
        let mut lines = text.lines();
        let first = lines.next().unwrap_or_default();
        match &header {
            None => {
                let Ok(Value::Object(found)) = serde_json::from_str(first) else {
                    return Err(ResultsError::Foreign { file: file() });
                };
                if !found.contains_key("results_of") {
                    return Err(ResultsError::Foreign { file: file() });
                }
                header = Some((first.to_owned(), Header(found)));
            }
            Some((_, header)) => match header.differs(first) {
                None => {}
                Some(Err(())) => return Err(ResultsError::Foreign { file: file() }),
                Some(Ok((key, found, accepted))) => {
                    return Err(ResultsError::OfAnother { file: file(), key, found, accepted });
                }
            },
        }
        for (place, line) in lines.enumerate() {
            let damaged = || ResultsError::Damaged {
                file: file(),
                line: place + 2,
                reason: "no finished piece".to_owned(),
            };
            let known = pieces.entry(number(line).ok_or_else(damaged)?).or_insert((line.to_owned(), part));
            if known.0 != line {
                let other = known.1.display().to_string();
                return Err(ResultsError::Contradicts { file: file(), line: place + 2, other });
            }
        }
    }
    let lines = header.into_iter().map(|(line, _)| line).chain(pieces.into_values().map(|(line, _)| line));
    Ok(lines.map(|line| line + "\n").collect())
}

/// An open file of results, to which finished pieces are appended.
#[derive(Debug)]
pub struct Results {
    file: File,
    path: PathBuf,
}

impl Results {
    /// Opens the file, or makes it, and gives what is done already; `anew` throws away whatever it holds.
    ///
    /// # Errors
    /// When it cannot be read or written, is in use, or is not of this program, build and settings.
    pub fn open<Piece: DeserializeOwned>(
        path: &Path,
        header: &Header,
        anew: bool,
    ) -> Result<(Self, Vec<Piece>), ResultsError> {
        let file_name = || path.display().to_string();
        let reach = |source| ResultsError::Unreachable { file: file_name(), source };
        let mut options = OpenOptions::new();
        let mut file =
            options.read(true).write(true).create(true).truncate(false).open(path).map_err(reach)?;
        file.try_lock().map_err(|error| match error {
            TryLockError::WouldBlock => ResultsError::InUse { file: file_name() },
            TryLockError::Error(source) => reach(source),
        })?;
        let mut bytes = Vec::new();
        if !anew {
            file.read_to_end(&mut bytes).map_err(reach)?;
        }
        // A run that was killed leaves at most a line without its end.
        let whole = bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        if whole == 0 && !header.line().as_bytes().starts_with(&bytes) {
            return Err(ResultsError::Foreign { file: file_name() });
        }
        bytes.truncate(whole);
        let text = String::from_utf8_lossy(&bytes);
        let mut lines = text.lines();
        match lines.next().and_then(|first| header.differs(first)) {
            None => {}
            Some(Err(())) => return Err(ResultsError::Foreign { file: file_name() }),
            Some(Ok((key, found, accepted))) => {
                return Err(ResultsError::OfAnother { file: file_name(), key, found, accepted });
            }
        }
        let piece = |(place, line)| {
            let damaged = |error: serde_json::Error| error.to_string();
            serde_json::from_str(line).map_err(damaged).map_err(|reason| ResultsError::Damaged {
                file: file_name(),
                line: place + 2,
                reason,
            })
        };
        let done = lines.enumerate().map(piece).collect::<Result<Vec<Piece>, _>>()?;
        let end = u64::try_from(whole).unwrap_or(u64::MAX);
        file.set_len(end).and_then(|()| file.seek(SeekFrom::Start(end))).map_err(reach)?;
        if whole == 0 {
            file.write_all(header.line().as_bytes()).map_err(reach)?;
        }
        Ok((Self { file, path: path.to_owned() }, done))
    }

    /// Keeps one finished piece.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn append(&mut self, piece: &impl Serialize) -> Result<(), ResultsError> {
        let reach = |source| ResultsError::Unreachable { file: self.path.display().to_string(), source };
        let line = serde_json::to_string(piece).map_err(|error| reach(error.into()))? + "\n";
        self.file.write_all(line.as_bytes()).map_err(reach)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(seed: u64) -> Header {
        Header::new("test").unwrap().with("seed", seed)
    }

    fn open(path: &Path, seed: u64) -> Result<(Results, Vec<f64>), ResultsError> {
        Results::open(path, &header(seed), false)
    }

    /// Values come back to the last bit, whatever they are.
    #[test]
    fn what_was_kept_comes_back_and_a_torn_line_is_dropped() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("kept");
        let kept = [0.1 + 0.2, 1.0 / 3.0, 1e-300, 123_456.789];
        {
            let (mut results, done) = open(&path, 1).unwrap();
            assert!(done.is_empty());
            for value in &kept {
                results.append(value).unwrap();
            }
        }
        assert_eq!(open(&path, 1).unwrap().1, kept);
        let text = std::fs::read_to_string(&path).unwrap();
        for torn in [text.len() - 1, text.len() - 4] {
            std::fs::write(&path, &text[..torn]).unwrap();
            let (mut results, done) = open(&path, 1).unwrap();
            assert_eq!(done, kept[..3]);
            results.append(&kept[3]).unwrap();
            drop(results);
            assert_eq!(std::fs::read_to_string(&path).unwrap(), text);
        }
        // Torn within its first line: nothing was done.
        std::fs::write(&path, &text[..5]).unwrap();
        assert!(open(&path, 1).unwrap().1.is_empty());
    }

    /// Parts are put together in any order and any grouping, twice too, and the whole is the same to the byte.
    #[test]
    fn parts_make_the_same_whole_however_they_are_put_together() {
        let folder = tempfile::tempdir().unwrap();
        let part = |name: &str, values: &[f64]| {
            let path = folder.path().join(name);
            let (mut results, _) = open(&path, 1).unwrap();
            for value in values {
                results.append(value).unwrap();
            }
            path
        };
        // The first digit is the piece, what follows belongs to its outcome.
        let number = |line: &str| line.strip_prefix("0.")?.get(..1)?.parse().ok();
        let parts = [part("a", &[0.3, 0.1]), part("b", &[0.2]), part("c", &[0.5, 0.4, 0.2])];
        let whole = merged(&parts, number).unwrap();
        assert_eq!(whole.lines().skip(1).collect::<Vec<_>>(), ["0.1", "0.2", "0.3", "0.4", "0.5"]);
        let two = folder.path().join("two");
        for (first, rest) in [([0, 1], 2), ([1, 2], 0), ([2, 0], 1)] {
            std::fs::write(&two, merged(&first.map(|place| parts[place].clone()), number).unwrap()).unwrap();
            assert_eq!(merged(&[parts[rest].clone(), two.clone()], number).unwrap(), whole);
        }
        let other = folder.path().join("other");
        drop(open(&other, 2).unwrap());
        let said = merged(&[parts[0].clone(), other.clone()], number).unwrap_err().to_string();
        assert!(said.contains("seed = 2: accepted is 1"), "{said}");
        std::fs::write(&other, whole.replace("0.3", "0.31")).unwrap();
        let said = merged(&[parts[0].clone(), other], number).unwrap_err().to_string();
        assert!(said.contains("other:4: is another outcome of a piece that"), "{said}");
    }

    #[test]
    fn what_is_of_something_else_is_refused_and_says_why() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("kept");
        drop(open(&path, 1).unwrap());
        let told = |error: Result<(Results, Vec<f64>), ResultsError>| {
            error.unwrap_err().to_string().replace(&path.display().to_string(), "kept")
        };
        assert_eq!(
            told(open(&path, 2)),
            "kept:1: seed = 1: accepted is 2, as asked for; or a new name, or --force to begin anew"
        );
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(&path, text + "oh\n1.5\n").unwrap();
        assert!(told(open(&path, 1)).starts_with("kept:2: expected value"), "{}", told(open(&path, 1)));
        for foreign in ["dear diary", "dear diary\n", "{}\n", "[1]\n"] {
            std::fs::write(&path, foreign).unwrap();
            assert_eq!(
                told(open(&path, 1)),
                "kept:1: begins with no results of this program; accepted is a new name, or --force to begin anew"
            );
            assert_eq!(std::fs::read_to_string(&path).unwrap(), foreign);
        }
        assert!(Results::open::<f64>(&path, &header(3), true).unwrap().1.is_empty());
        let (_held, _) = open(&path, 3).unwrap();
        assert!(told(open(&path, 3)).contains("another run is at work on it"));
    }
}
