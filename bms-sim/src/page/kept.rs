//! What somebody takes away of the branch in which they stand: the case, a recording, tables.

use super::session::Refused;
use crate::explain::story::happened;
use crate::recording::Recording;
use crate::recording::export::{About, Events, Format, Ticks};
use crate::recording::file::Writing;
use std::fmt::Display;
use std::sync::atomic::{AtomicBool, Ordering};

/// What is taken.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Kept {
    /// The case, as a file that plays the branch from its start.
    Case,
    /// A recording of it.
    Recording,
    /// Its ticks ten times a second, as CSV.
    Ticks,
    /// What happened, as CSV.
    Events,
}

/// Milliseconds from one row of ticks to the next.
const EVERY_MS: u64 = 100;

impl Kept {
    /// By its name in an address.
    pub(super) fn named(name: &str) -> Option<Self> {
        Some(match name {
            "case.toml" => Self::Case,
            "recording.mcap" => Self::Recording,
            "ticks.csv" => Self::Ticks,
            "events.csv" => Self::Events,
            _ => return None,
        })
    }

    /// The bytes of the file.
    pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
        self,
        recording: &Recording<CELLS, THERMISTORS>,
        stop: &AtomicBool,
    ) -> Result<Vec<u8>, Refused> {
        let about = About::of(recording, true);
        let goes_on = |_: f64| !stop.load(Ordering::Relaxed);
        let mut bytes = Vec::new();
        match self {
            Self::Case => bytes = recording.case.file().into_bytes(),
            Self::Recording => return recorded(recording, goes_on),
            Self::Ticks => {
                let ticks = Ticks::of(recording, EVERY_MS, &[]).map_err(unwritten)?;
                let mut table = Format::Csv.begin(&mut bytes, &ticks.columns(), &about).map_err(unwritten)?;
                if !ticks.write(&mut *table, goes_on).map_err(unwritten)? {
                    return Err(Refused::Interrupted);
                }
                table.finish().map_err(unwritten)?;
            }
            Self::Events => {
                let events = Events::of(recording, happened);
                let mut table =
                    Format::Csv.begin(&mut bytes, &events.columns(), &about).map_err(unwritten)?;
                events.write(&mut *table).map_err(unwritten)?;
                table.finish().map_err(unwritten)?;
            }
        }
        Ok(bytes)
    }
}

/// A recording is written to a file of its own, which is gone again once it is read.
fn recorded<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    goes_on: impl FnMut(f64) -> bool,
) -> Result<Vec<u8>, Refused> {
    let folder = tempfile::tempdir().map_err(unwritten)?;
    let path = folder.path().join("recording.mcap");
    let mut writing = Writing::begin(&path, false, &recording.case, happened).map_err(unwritten)?;
    writing.play::<CELLS, THERMISTORS>(goes_on)?;
    writing.finish().map_err(unwritten)?;
    std::fs::read(&path).map_err(unwritten)
}

fn unwritten(error: impl Display) -> Refused {
    Refused::Nothing(error.to_string())
}
