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
        anew: bool,
    ) -> Result<(Results, Vec<Piece>), Ended> {
        let path = self.results.clone().unwrap_or_else(|| PathBuf::from(format!("{survey}.results")));
        let header = Header::new(survey)
            .map(|header| settings.into_iter().fold(header, |header, (key, value)| header.with(key, value)));
        header.and_then(|header| Results::open(&path, &header, anew)).map_err(|error| {
            complain(&error);
            match error {
                ResultsError::Unreachable { .. } => Ended::NotWritten,
                _ => Ended::BadInput,
            }
        })
    }

    /// Works on what is not done yet and keeps it; gives the outcomes of all pieces in their order, or says on stderr why there are not all.
    /// `place` says of which piece an outcome is.
    ///
    /// What is done is kept in the file alone and read back in the end. Kept in memory, each small outcome would stand in the place of the world
    /// it came from, the next world would need another place, and a long survey as many as it has runs.
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
        let (mut results, kept) = self.open::<Outcome>(survey, settings.clone(), self.force)?;
        let mut is_done = vec![false; pieces.len()];
        for place in kept.iter().filter_map(&place) {
            if let Some(done) = is_done.get_mut(place) {
                *done = true;
            }
        }
        drop(kept);
        let missing: Vec<usize> = (0..pieces.len()).filter(|place| !is_done[*place]).collect();
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
            is_done[missing[place]] = true;
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
        let (done, all) = (is_done.iter().filter(|done| **done).count(), pieces.len());
        if done < all {
            complain(&format!(
                "interrupted: {done} of {all} pieces are done and kept; the same line goes on from there"
            ));
            return Err(Ended::Interrupted);
        }
        drop(results);
        let (_, kept) = self.open::<Outcome>(survey, settings, false)?;
        let mut outcomes: Vec<Option<Outcome>> = pieces.iter().map(|_| None).collect();
        for outcome in kept {
            if let Some(known) = place(&outcome).and_then(|place| outcomes.get_mut(place)) {
                *known = Some(outcome);
            }
        }
        Ok(outcomes.into_iter().flatten().collect())
    }
}
