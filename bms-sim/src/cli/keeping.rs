//! What long work has in common: where what is done is kept, and with how many threads it is worked on.

use super::progress::Progress;
use super::{Ended, complain};
use crate::work::results::{Header, Results, ResultsError};
use crate::work::{all_threads, spread};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::fmt::Display;
use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

/// How long work is done.
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
    fn threads(&self) -> NonZeroUsize {
        self.threads.unwrap_or_else(all_threads)
    }

    /// Opens the file of results and gives what is done; or says on stderr what is wrong with it.
    fn open<Piece: DeserializeOwned>(
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

    /// Works on what is not done yet and keeps it; gives the outcomes of all pieces in their order, or says on stderr why there are not all.
    /// `place` says of which piece an outcome is.
    pub(super) fn survey<Piece, Outcome, Trouble>(
        &self,
        survey: &str,
        settings: Vec<(&'static str, Value)>,
        pieces: &[Piece],
        (stop, progress): (&AtomicBool, impl FnOnce(usize) -> Progress),
        place: impl Fn(&Outcome) -> Option<usize>,
        work: impl Fn(&Piece) -> Result<Option<Outcome>, Trouble> + Sync,
    ) -> Result<Vec<Outcome>, Ended>
    where
        Piece: Sync,
        Outcome: DeserializeOwned + Send + Serialize,
        Trouble: Display + Send,
    {
        let (mut results, kept) = self.open::<Outcome>(survey, settings)?;
        let mut outcomes: Vec<Option<Outcome>> = pieces.iter().map(|_| None).collect();
        for outcome in kept {
            if let Some(known) = place(&outcome).and_then(|place| outcomes.get_mut(place)) {
                *known = Some(outcome);
            }
        }
        let missing: Vec<usize> = (0..pieces.len()).filter(|place| outcomes[*place].is_none()).collect();
        let mut progress = progress(pieces.len() - missing.len());
        let trouble = Mutex::new(None);
        let worked = |place: &usize| {
            work(&pieces[*place]).unwrap_or_else(|error| {
                stop.store(true, Ordering::Relaxed);
                if let Ok(mut kept) = trouble.lock() {
                    *kept = Some(error);
                }
                None
            })
        };
        let mut unwritten = None;
        spread(&missing, self.threads(), stop, worked, |place, outcome| {
            unwritten = results.append(&outcome).err();
            outcomes[missing[place]] = Some(outcome);
            progress.one_more();
            unwritten.is_none()
        });
        progress.done();
        if let Some(error) = unwritten {
            complain(&error);
            return Err(Ended::NotWritten);
        }
        if let Some(trouble) = trouble.into_inner().ok().flatten() {
            complain(&trouble);
            return Err(Ended::BadInput);
        }
        let done: Vec<Outcome> = outcomes.into_iter().flatten().collect();
        if done.len() < pieces.len() {
            let (done, all) = (done.len(), pieces.len());
            complain(&format!(
                "interrupted: {done} of {all} pieces are done and kept; the same line goes on from there"
            ));
            return Err(Ended::Interrupted);
        }
        Ok(done)
    }
}
