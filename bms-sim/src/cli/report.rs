//! `report`: one HTML file that says what happened and why, with pictures.

use super::source::{Explains, Source};
use super::why::LONG_TICKS;
use super::{Ended, complain, show};
use crate::explain::{Account, distance};
use crate::recording::Recording;
use crate::report::{self, ReportError};
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

/// What `report` takes.
#[derive(Debug, clap::Args)]
pub(super) struct ReportOf {
    #[command(flatten)]
    source: Source,
    /// Write the report to this file instead of printing it
    #[arg(long, value_name = "FILE")]
    to: Option<PathBuf>,
    /// Write over an existing file
    #[arg(long, requires = "to")]
    force: bool,
}

impl ReportOf {
    pub(super) fn go(&self) -> Ended {
        // Settled before the run begins.
        match &self.to {
            Some(path) if path.exists() && !self.force => taken(path),
            _ => self.source.go(self),
        }
    }

    fn write(&self, path: &Path, html: &str) -> Ended {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        let mut builder = tempfile::Builder::new();
        // For whom the user's own files are readable, this one is too.
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let written = builder.tempfile_in(folder.unwrap_or(Path::new("."))).and_then(|mut aside| {
            aside.write_all(html.as_bytes())?;
            let kept = if self.force { aside.persist(path) } else { aside.persist_noclobber(path) };
            kept.map(|_| ()).map_err(|error| error.error)
        });
        match written {
            Ok(()) => {
                eprintln!("written to {}", path.display());
                Ended::AsExpected
            }
            Err(error) if error.kind() == ErrorKind::AlreadyExists => taken(path),
            Err(error) => {
                complain(&format!("{}: {error}", path.display()));
                Ended::NotWritten
            }
        }
    }
}

fn taken(path: &Path) -> Ended {
    complain(&format!("{}: there is a file already; --force writes over it", path.display()));
    Ended::NotWritten
}

fn made<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    complete: bool,
) -> Result<String, ReportError> {
    let questions =
        if recording.ticks > LONG_TICKS { Vec::new() } else { distance::usual_questions(recording) };
    let answers = questions.into_iter().map(|(outcome, fault)| distance::answer(recording, outcome, fault));
    let answers = answers.collect::<Result<Vec<_>, _>>()?;
    report::html(recording, &Account::of(recording)?, &answers, complete)
}

impl Explains for ReportOf {
    fn explain<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Result<Ended, Ended> {
        let made = self::made(&recording, complete);
        match (made, &self.to) {
            (Ok(html), Some(path)) => Ok(self.write(path, &html)),
            (Ok(html), None) => Ok(show(&html, Ended::AsExpected)),
            (Err(error), _) => {
                complain(&error);
                Err(Ended::BadInput)
            }
        }
    }
}
