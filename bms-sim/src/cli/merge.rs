//! `merge`: puts the results of parts of a survey together.

use super::aside::Aside;
use super::{Ended, complain, refuse};
use crate::survey::Prefix;
use crate::work::results::{ResultsError, merged};
use std::io::Write as _;
use std::path::PathBuf;

/// What `merge` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Merge {
    /// The results of parts that `survey --shard` kept, or of earlier merges
    #[arg(value_name = "RESULTS", required = true)]
    parts: Vec<PathBuf>,
    /// Write them into this file: `survey --results FILE` makes the summary of it
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    /// Write over a file that is there
    #[arg(long)]
    force: bool,
}

impl Merge {
    pub(super) fn go(&self) -> Ended {
        self.merge().unwrap_or_else(|ended| ended)
    }

    fn merge(&self) -> Result<Ended, Ended> {
        Aside::is_free(&self.to, self.force).map_err(|error| refuse(&error))?;
        let number =
            |line: &str| serde_json::from_str::<Prefix>(line).ok().map(|prefix| prefix.prefix as u64);
        let text = merged(&self.parts, number).map_err(|error| {
            complain(&error);
            match error {
                ResultsError::Unreachable { .. } => Ended::NotWritten,
                _ => Ended::BadInput,
            }
        })?;
        let aside = Aside::begin(&self.to, self.force).map_err(|error| refuse(&error))?;
        let written = aside.file().write_all(text.as_bytes());
        written.map_err(|error| {
            complain(&format!("{}: {error}", self.to.display()));
            Ended::NotWritten
        })?;
        aside.keep().map_err(|error| refuse(&error))?;
        Ok(Ended::AsExpected)
    }
}
