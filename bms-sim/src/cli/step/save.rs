//! A branch, or the recording itself, in a file: as a case that is played again, or as a recording.

use crate::cli::aside::Aside;
use crate::cli::interrupt;
use crate::cli::source::until_asked;
use crate::explain::story;
use crate::explain::words;
use crate::recording::Recording;
use crate::recording::file::{FileError, Writing};
use std::io::Write as _;
use std::path::Path;
use std::sync::atomic::Ordering;

/// Saves a recording under a name that says as what; gives what is said of it, or what is wrong.
pub(super) fn save<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    name: &str,
    quiet: bool,
) -> Result<String, String> {
    let path = Path::new(name);
    match path.extension().and_then(|ending| ending.to_str()) {
        Some("toml") => as_case(recording, path),
        Some("mcap") => as_recording(recording, path, quiet),
        _ => Err(format!(
            "save = {name}: accepted is a name that ends in .toml, for a case, or in .mcap, for a recording"
        )),
    }
}

fn as_case<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    path: &Path,
) -> Result<String, String> {
    let name = path.display();
    let unwritten = |source| FileError::Unreachable { file: name.to_string(), source };
    let aside = Aside::begin(path, false).map_err(refused)?;
    aside.file().write_all(recording.case.file().as_bytes()).map_err(|error| refused(unwritten(error)))?;
    aside.keep().map_err(refused)?;
    Ok(words::stop::saved_as_case(&name.to_string(), &recording.case))
}

/// The case of a branch is the branch, so that it is written as it is played from its start.
fn as_recording<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    path: &Path,
    quiet: bool,
) -> Result<String, String> {
    let case = &recording.case;
    let mut writing = Writing::begin(path, false, case, story::happened).map_err(refused)?;
    let (played, interrupted) = interrupt::during(|stop| {
        let played = until_asked(case, quiet, stop, |progress| writing.play::<CELLS, THERMISTORS>(progress));
        (played, stop.load(Ordering::Relaxed))
    });
    let played = played.map_err(|error| error.to_string())?;
    if interrupted {
        writing.discard().map_err(refused)?;
        return Err(words::stop::interrupted("nothing was saved"));
    }
    writing.finish().map_err(refused)?;
    Ok(words::stop::saved_as_recording(&path.display().to_string(), played.ticks))
}

/// What is wrong with a file, for somebody who has no options to give.
fn refused(error: FileError) -> String {
    match error {
        FileError::Exists { file } | FileError::Unfinished { part: file, .. } => {
            format!("{file}: there is a file already; accepted is a new name")
        }
        other => other.to_string(),
    }
}
