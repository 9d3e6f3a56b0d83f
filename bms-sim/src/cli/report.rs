//! `report`: one HTML file that says what happened and why, with pictures.

use super::aside::Aside;
use super::rationale::{self, is_long};
use super::source::{Explains, Source};
use super::{Ended, complain, refuse, show};
use crate::explain::distance;
use crate::recording::Recording;
use crate::recording::file::FileError;
use crate::report::{self, ReportError};
use std::io::Write as _;
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
        let free = self.to.as_ref().map_or(Ok(()), |path| Aside::is_free(path, self.force));
        free.map_or_else(|error| refuse(&error), |()| self.source.go(self))
    }

    fn write(&self, path: &Path, html: &str) -> Result<(), FileError> {
        let aside = Aside::begin(path, self.force)?;
        let written = aside.file().write_all(html.as_bytes());
        written.map_err(|source| FileError::Unreachable { file: path.display().to_string(), source })?;
        aside.keep()?;
        eprintln!("written to {}", path.display());
        Ok(())
    }
}

fn made<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    complete: bool,
    quiet: bool,
) -> Result<String, ReportError> {
    let questions = if is_long(recording) { Vec::new() } else { distance::usual_questions(recording) };
    let (account, answers) = rationale::found(recording, questions, quiet)?;
    report::html(recording, &account, &answers, complete)
}

impl Explains for ReportOf {
    fn explain<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Result<Ended, Ended> {
        let made = self::made(&recording, complete, self.source.is_quiet());
        match (made, &self.to) {
            (Ok(html), Some(path)) => {
                self.write(path, &html).map(|()| Ended::AsExpected).map_err(|error| refuse(&error))
            }
            (Ok(html), None) => Ok(show(&html, Ended::AsExpected)),
            (Err(error), _) => {
                complain(&error);
                Err(Ended::BadInput)
            }
        }
    }
}
