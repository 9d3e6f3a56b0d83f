//! `why`: the chain that led to a fault, the values against their limits, and the verdict.

use super::{Ended, read, refuse, show};
use crate::case::{Pack, StartError};
use crate::explain::{self, Account, words};
use crate::recording::file;
use crate::recording::{self, Recording};
use bms_core::Fault;
use std::path::PathBuf;
use std::sync::Arc;

/// What `why` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Why {
    /// A case file, or a recording that `run --record` wrote
    #[arg(value_name = "RECORDING-or-CASE")]
    source: PathBuf,
    /// The fault, by its key in `list faults`; every one that was Confirmed when left out
    #[arg(value_parser = fault)]
    fault: Option<Fault>,
}

/// A fault by its key, or the nearest keys.
fn fault(key: &str) -> Result<Fault, String> {
    let known = Fault::ALL.into_iter().find(|fault| fault.key() == key);
    known.ok_or_else(|| {
        let near = Fault::ALL
            .into_iter()
            .map(Fault::key)
            .max_by(|one, other| strsim::jaro_winkler(one, key).total_cmp(&strsim::jaro_winkler(other, key)));
        let near = near.map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        format!("not a fault that `list faults` prints{near}")
    })
}

impl Why {
    pub(super) fn go(&self) -> Ended {
        let explained = if file::is_recording(&self.source) { self.by_recording() } else { self.by_case() };
        explained.unwrap_or_else(|ended| ended)
    }

    fn by_case(&self) -> Result<Ended, Ended> {
        let case = Arc::new(read(&self.source)?);
        match case.pack {
            Pack::Crane => self.explain(
                &recording::play::<96, 16>(&case, |_| true).map_err(|error| unplayed(&error))?,
                true,
            ),
            Pack::Trainer => self
                .explain(&recording::play::<16, 8>(&case, |_| true).map_err(|error| unplayed(&error))?, true),
        }
    }

    /// A recording is played again from the case inside it, and held to the decisions that it vouches for.
    fn by_recording(&self) -> Result<Ended, Ended> {
        let kept = file::case_of(&self.source).map_err(|error| refuse(&error))?;
        match kept.case.pack {
            Pack::Crane => {
                self.explain(&kept.replay::<96, 16>(|_| true).map_err(|error| refuse(&error))?, kept.complete)
            }
            Pack::Trainer => {
                self.explain(&kept.replay::<16, 8>(|_| true).map_err(|error| refuse(&error))?, kept.complete)
            }
        }
    }

    fn explain<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: &Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Result<Ended, Ended> {
        let text = self.text(recording, complete).map_err(|error| unplayed(&error))?;
        Ok(show(&text, Ended::AsExpected))
    }

    fn text<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: &Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Result<String, StartError> {
        let faults = match self.fault {
            Some(fault) => vec![fault],
            None => recording.confirmed().iter().map(|(_, seen)| seen.fault).collect(),
        };
        let account = Account::of(recording)?;
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
            text += &explain::why(recording, &account, fault)?;
        }
        text += "\n";
        for sentence in words::verdict(&account.verdict, &recording.case) {
            text += &format!("{sentence}\n");
        }
        text += &format!("\n{}\n", words::CAUTIONS);
        Ok(text)
    }
}

fn unplayed(error: &StartError) -> Ended {
    eprintln!("{error}");
    Ended::BadInput
}
