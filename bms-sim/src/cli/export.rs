//! `export`: a run as tables that general tools read.

use super::aside::Aside;
use super::progress::Progress;
use super::source::{Explains, Source};
use super::{Ended, complain, interrupt, refuse};
use crate::explain::{story, words};
use crate::recording::Recording;
use crate::recording::column::Column;
use crate::recording::export::csv::{self, Described};
use crate::recording::export::{About, Events, ExportError, Format, Ticks};
use std::ffi::OsString;
use std::io::{ErrorKind, IsTerminal as _, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

/// What the metadata says of the table of ticks.
const TICKS_SAY: &str = "One row a tick: what was measured, true and decided in it.";

/// What it says of the table of events.
const EVENTS_SAY: &str = "One row for everything that happened.";

/// What `export` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Export {
    #[command(flatten)]
    source: Source,
    /// Write to this file, whose name ends with .csv or .parquet, and the events to a second one beside it; - for standard output, which
    /// takes one table. A CSV file gets its description by the W3C's rules beside it, FILE-metadata.json
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    /// The format, where the name of the file does not say it
    #[arg(long = "as", value_name = "FORMAT", value_enum)]
    format: Option<As>,
    /// Of the ticks only the first in each such time, instead of all
    #[arg(long, value_name = "SECONDS", value_parser = apart)]
    every: Option<u64>,
    /// Only the columns with these names beside tick and time, * for any letters. Example: `--channels 'cell_37_*,current_A,*_stage'`
    #[arg(long, value_name = "NAME,…", value_delimiter = ',')]
    channels: Vec<String>,
    /// Only the table of events
    #[arg(long, conflicts_with_all = ["every", "channels"])]
    events: bool,
    /// Write over existing files
    #[arg(long)]
    force: bool,
}

/// A format on the command line.
#[derive(Clone, Copy, Debug, Eq, PartialEq, clap::ValueEnum)]
enum As {
    /// Text, a line a row; opens in spreadsheets and notebooks
    Csv,
    /// Columns, packed; much smaller and faster to read
    Parquet,
}

/// A time between two rows, in milliseconds.
fn apart(typed: &str) -> Result<u64, String> {
    let known = typed.parse().ok().filter(|seconds: &f64| (0.001..=1e9).contains(seconds));
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0.001 s to 10⁹ s")]
    known
        .map(|seconds| (seconds * 1_000.0).round() as u64)
        .ok_or_else(|| "accepted are seconds, 0.001 or more".to_owned())
}

/// Why there is no table.
enum Failed {
    /// It was said already.
    Said(Ended),
    Table(ExportError),
    /// Whoever ran it wants no more of it.
    Interrupted,
}

impl From<ExportError> for Failed {
    fn from(error: ExportError) -> Self {
        Self::Table(error)
    }
}

impl Export {
    pub(super) fn go(&self) -> Ended {
        let ready = self.format().and_then(|format| {
            let free = |path: &PathBuf| Aside::is_free(path, self.force).map_err(|error| refuse(&error));
            self.files(format).iter().try_for_each(free)
        });
        ready.map_or_else(|ended| ended, |()| self.source.go(self))
    }

    fn is_stdout(&self) -> bool {
        self.to == Path::new("-")
    }

    /// The format that was asked for, or else that of the file's name.
    fn format(&self) -> Result<Format, Ended> {
        let ending = self.to.extension().map(std::ffi::OsStr::to_ascii_lowercase);
        let format = match (self.format, ending.as_deref().and_then(std::ffi::OsStr::to_str)) {
            (Some(As::Csv), _) | (None, Some("csv")) => Format::Csv,
            (Some(As::Parquet), _) | (None, Some("parquet")) => Format::Parquet,
            (None, _) => {
                let to = self.to.display();
                complain(&format!(
                    "--to = {to}: accepted is a name that ends with .csv or .parquet, or --as csv or --as parquet"
                ));
                return Err(Ended::BadInput);
            }
        };
        if format == Format::Parquet && self.is_stdout() && std::io::stdout().is_terminal() {
            complain(&"--to = -: Parquet is not for a terminal; accepted is a pipe or the name of a file");
            return Err(Ended::BadInput);
        }
        Ok(format)
    }

    /// The files that it writes: those of the tables, and for CSV what says what they hold.
    fn files(&self, format: Format) -> Vec<PathBuf> {
        if self.is_stdout() {
            return Vec::new();
        }
        let mut files = vec![self.to.clone()];
        if !self.events {
            files.push(beside(&self.to));
        }
        if format == Format::Csv {
            files.push(described(&self.to));
        }
        files
    }

    /// Writes what was asked for to files.
    fn to_files<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        format: Format,
        recording: &Recording<CELLS, THERMISTORS>,
        about: &About,
    ) -> Result<(), Failed> {
        let files = self.files(format);
        let begin =
            |path: &PathBuf| Aside::begin(path, self.force).map_err(|error| Failed::Said(refuse(&error)));
        let asides = files.iter().map(begin).collect::<Result<Vec<_>, _>>()?;
        let to = |path: &Path| files.iter().position(|file| file == path).and_then(|place| asides.get(place));
        let mut tables = Vec::new();
        if !self.events
            && let Some(aside) = to(&self.to)
        {
            tables.push((self.to.clone(), TICKS_SAY, self.ticks(format, recording, about, aside.file())?));
        }
        let events = if self.events { self.to.clone() } else { beside(&self.to) };
        if let Some(aside) = to(&events) {
            tables.push((events, EVENTS_SAY, happened(format, recording, about, aside.file())?));
        }
        if let Some(mut file) = to(&described(&self.to)).map(Aside::file) {
            let names: Vec<_> = tables
                .iter()
                .map(|(path, ..)| path.file_name().unwrap_or_default().to_string_lossy())
                .collect();
            let tables: Vec<_> = names
                .iter()
                .zip(&tables)
                .map(|(file, (_, says, columns))| Described { file, says, columns })
                .collect();
            file.write_all(csv::metadata(about, &tables).as_bytes()).map_err(ExportError::from)?;
        }
        // The table that was named comes last: once it is there, all of it is.
        for (aside, path) in asides.into_iter().zip(&files).rev() {
            aside.keep().map_err(|error| Failed::Said(refuse(&error)))?;
            if !self.source.is_quiet() {
                eprintln!("written to {}", path.display());
            }
        }
        Ok(())
    }

    /// Writes the table of ticks and says which columns it has.
    fn ticks<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        format: Format,
        recording: &Recording<CELLS, THERMISTORS>,
        about: &About,
        to: impl Write + Send,
    ) -> Result<Vec<Column>, Failed> {
        let ticks = Ticks::of(recording, self.every.unwrap_or(0), &self.channels)?;
        let columns = ticks.columns();
        let interrupted = interrupt::asked("nothing but the tables");
        let mut progress = Progress::writing(recording.end.seconds(), self.source.is_quiet());
        let mut table = format.begin(to, &columns, about)?;
        let all = ticks.write(&mut *table, |seconds| {
            progress.at(seconds);
            !interrupted.load(Ordering::Relaxed)
        });
        progress.done();
        if !all? {
            return Err(Failed::Interrupted);
        }
        table.finish()?;
        Ok(columns)
    }
}

/// Writes the table of events and says which columns it has.
fn happened<const CELLS: usize, const THERMISTORS: usize>(
    format: Format,
    recording: &Recording<CELLS, THERMISTORS>,
    about: &About,
    to: impl Write + Send,
) -> Result<Vec<Column>, Failed> {
    let events = Events::of(recording, story::happened);
    let columns = events.columns();
    let mut table = format.begin(to, &columns, about)?;
    events.write(&mut *table)?;
    table.finish()?;
    Ok(columns)
}

/// The file of the events beside that of the ticks: `run-events.csv` beside `run.csv`.
fn beside(path: &Path) -> PathBuf {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push("-events");
    if let Some(ending) = path.extension() {
        name.push(".");
        name.push(ending);
    }
    path.with_file_name(name)
}

/// The file that says what a CSV file holds, where a reader looks for it.
fn described(path: &Path) -> PathBuf {
    let mut name: OsString = path.as_os_str().to_owned();
    name.push("-metadata.json");
    name.into()
}

impl Explains for Export {
    fn explain<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Result<Ended, Ended> {
        let format = self.format()?;
        if !recording.end.over() {
            let (played, case) = (recording.end.seconds(), recording.case.duration_seconds);
            eprintln!("{}", words::ends_early(played, case, complete));
        }
        let about = About::of(&recording, complete);
        let written = match (self.is_stdout(), self.events) {
            (false, _) => self.to_files(format, &recording, &about),
            (true, false) => self.ticks(format, &recording, &about, std::io::stdout()).map(|_| ()),
            (true, true) => happened(format, &recording, &about, std::io::stdout()).map(|_| ()),
        };
        match written {
            Ok(()) => Ok(Ended::AsExpected),
            Err(Failed::Said(ended)) => Err(ended),
            Err(Failed::Interrupted) => {
                let kept = if self.is_stdout() { "the table ends there" } else { "nothing was written" };
                eprintln!("interrupted: {kept}");
                Err(Ended::Interrupted)
            }
            // Whoever closed the pipe has read enough.
            Err(Failed::Table(ExportError::Written(error)))
                if self.is_stdout() && error.kind() == ErrorKind::BrokenPipe =>
            {
                Ok(Ended::AsExpected)
            }
            Err(Failed::Table(error)) => {
                complain(&error);
                Err(match error {
                    ExportError::Written(_) => Ended::NotWritten,
                    _ => Ended::BadInput,
                })
            }
        }
    }
}
