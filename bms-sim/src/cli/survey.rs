//! What the long surveys have in common: where what is done is kept, and with how many threads it is worked on.

use super::{Ended, complain};
use crate::work::all_threads;
use crate::work::results::{Header, Results, ResultsError};
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::num::NonZeroUsize;
use std::path::PathBuf;

/// How a survey is worked on.
#[derive(Debug, clap::Args)]
pub(super) struct Keeping {
    /// Keep what is done in this file; the same line goes on from there after an interruption. NAME.results when left out
    #[arg(long, value_name = "FILE")]
    results: Option<PathBuf>,
    /// Begin anew, whatever that file holds
    #[arg(long)]
    force: bool,
    /// How many threads; as many as there are processors when left out
    #[arg(long, value_name = "NUMBER")]
    threads: Option<NonZeroUsize>,
    /// Show no progress
    #[arg(short, long)]
    pub(super) quiet: bool,
}

impl Keeping {
    pub(super) fn threads(&self) -> NonZeroUsize {
        self.threads.unwrap_or_else(all_threads)
    }

    /// Opens the file of results and gives what is done; or says on stderr what is wrong with it.
    pub(super) fn open<Piece: DeserializeOwned>(
        &self,
        survey: &str,
        settings: Vec<(&'static str, Value)>,
    ) -> Result<(Results, Vec<Piece>), Ended> {
        let path = self.results.clone().unwrap_or_else(|| PathBuf::from(format!("{survey}.results")));
        let header = Header::new(survey)
            .map(|header| settings.into_iter().fold(header, |header, (key, value)| header.with(key, value)));
        header.and_then(|header| Results::open(&path, &header, self.force)).map_err(|error| {
            complain(&error);
            match error {
                ResultsError::Unreachable { .. } => Ended::NotWritten,
                _ => Ended::BadInput,
            }
        })
    }
}
