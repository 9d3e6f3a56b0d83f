//! `why`: the chain that led to a fault, the values against their limits, and the verdict.

use super::source::{Explains, Source, unplayed};
use super::{Ended, show, show_json, titled};
use crate::case::{StartError, nearest};
use crate::explain::{self, Account, document, words};
use crate::recording::Recording;
use bms_core::Fault;

/// What `why` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Why {
    #[command(flatten)]
    source: Source,
    /// The fault, by its key in `list faults`; every one that was Confirmed when left out
    #[arg(value_parser = fault)]
    fault: Option<Fault>,
    /// Print one JSON document with every fault instead of the text
    #[arg(long, conflicts_with = "fault")]
    json: bool,
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
        self.source.go(self)
    }
}

impl Explains for Why {
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
}

impl Why {
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
