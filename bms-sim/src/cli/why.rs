//! `why`: the chain that led to a fault, the values against their limits, and the verdict.

use super::progress::Progress;
use super::{Ended, complain, read, refuse, seed, show, show_json, titled};
use crate::case::{Case, Pack, StartError, nearest};
use crate::explain::{self, Account, document, words};
use crate::recording::file::{self, Kept};
use crate::recording::{self, Recording};
use bms_core::Fault;
use std::path::PathBuf;
use std::sync::Arc;

/// What `why` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Why {
    /// A case file, or - for standard input, or a recording that `run --record` wrote
    #[arg(value_name = "RECORDING-or-CASE")]
    source: PathBuf,
    /// The fault, by its key in `list faults`; every one that was Confirmed when left out
    #[arg(value_parser = fault)]
    fault: Option<Fault>,
    /// Print one JSON document with every fault instead of the text
    #[arg(long, conflicts_with = "fault")]
    json: bool,
    /// Seed of all noise and scatter, instead of the case's; a recording has its own
    #[arg(long, value_name = "NUMBER", value_parser = seed, allow_hyphen_values = true)]
    seed: Option<u64>,
    /// Show no progress
    #[arg(short, long)]
    quiet: bool,
}

/// A fault by its key, or the one that was probably meant.
fn fault(key: &str) -> Result<Fault, String> {
    let known = Fault::ALL.into_iter().find(|fault| fault.key() == key);
    known.ok_or_else(|| match nearest(key, Fault::ALL.into_iter().map(Fault::key)) {
        Some(near) => format!("not known here; did you mean {near}?"),
        None => "not known here; accepted is a key that `list faults` prints".to_owned(),
    })
}

impl Why {
    pub(super) fn go(&self) -> Ended {
        let explained = if file::is_recording(&self.source) { self.by_recording() } else { self.by_case() };
        explained.unwrap_or_else(|ended| ended)
    }

    fn by_case(&self) -> Result<Ended, Ended> {
        let mut case = read(&self.source)?;
        case.seed = self.seed.unwrap_or(case.seed);
        let case = Arc::new(case);
        match case.pack {
            Pack::Crane => self.explain(&self.play::<96, 16>(&case)?, true),
            Pack::Trainer => self.explain(&self.play::<16, 8>(&case)?, true),
        }
    }

    /// A recording is played again from the case inside it, and held to the decisions that it vouches for.
    fn by_recording(&self) -> Result<Ended, Ended> {
        let kept = file::case_of(&self.source).map_err(|error| refuse(&error))?;
        if let Some(seed) = self.seed {
            let (file, own) = (self.source.display(), kept.case.seed);
            complain(&format!(
                "--seed = {seed}: not accepted with the recording {file}, whose seed is {own}"
            ));
            return Err(Ended::BadInput);
        }
        match kept.case.pack {
            Pack::Crane => self.explain(&self.replay::<96, 16>(&kept)?, kept.complete),
            Pack::Trainer => self.explain(&self.replay::<16, 8>(&kept)?, kept.complete),
        }
    }

    fn play<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        case: &Arc<Case>,
    ) -> Result<Recording<CELLS, THERMISTORS>, Ended> {
        let played = self.shown(case, |progress| recording::play(case, progress));
        played.map_err(|error| unplayed(&error))
    }

    fn replay<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        kept: &Kept,
    ) -> Result<Recording<CELLS, THERMISTORS>, Ended> {
        let played = self.shown(&kept.case, |progress| kept.replay(progress));
        played.map_err(|error| refuse(&error))
    }

    /// Plays with progress.
    fn shown<T>(&self, case: &Case, play: impl FnOnce(&mut dyn FnMut(f64) -> bool) -> T) -> T {
        let mut progress = Progress::of(case, self.quiet);
        let played = play(&mut |seconds| {
            progress.at(seconds);
            true
        });
        progress.done();
        played
    }

    fn explain<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: &Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Result<Ended, Ended> {
        let account = Account::of(recording).map_err(|error| unplayed(&error))?;
        if self.json {
            let document = document::document(recording, &account, !recording.end.over());
            return Ok(show_json(&document, Ended::AsExpected));
        }
        let text = self.text(recording, &account, complete).map_err(|error| unplayed(&error))?;
        Ok(show(&titled(&text), Ended::AsExpected))
    }

    fn text<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: &Recording<CELLS, THERMISTORS>,
        account: &Account,
        complete: bool,
    ) -> Result<String, StartError> {
        let faults = match self.fault {
            Some(fault) => vec![fault],
            None => recording.confirmed().iter().map(|(_, seen)| seen.fault).collect(),
        };
        let mut text = format!("{}\n", recording.case.title);
        if !recording.end.over() {
            let (played, case) = (recording.end.seconds(), recording.case.duration_seconds);
            text += &format!("{}\n", words::cut_short(played, case, complete));
        }
        if faults.is_empty() {
            text += &(words::none_confirmed() + "\n");
        }
        for fault in faults {
            text += "\n";
            text += &explain::why(recording, account, fault)?;
        }
        text += "\n";
        for sentence in words::verdict(&account.verdict, &recording.case) {
            text += &format!("{sentence}\n");
        }
        text += &format!("\n{}\n{}\n", words::played(recording), words::CAUTIONS);
        Ok(text)
    }
}

fn unplayed(error: &StartError) -> Ended {
    complain(error);
    Ended::BadInput
}
