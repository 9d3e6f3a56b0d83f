//! `why`: the chain that led to a fault, the values against their limits, and the verdict.

use super::{CasePath, Ended, read, show};
use crate::case::{Case, Pack, StartError};
use crate::explain::verdict::Verdict;
use crate::explain::{self, words};
use crate::recording;
use bms_core::Fault;
use std::sync::Arc;

/// What `why` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Why {
    #[command(flatten)]
    path: CasePath,
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
        match read(&self.path.case) {
            Ok(case) => match case.pack {
                Pack::Crane => self.explain::<96, 16>(case),
                Pack::Trainer => self.explain::<16, 8>(case),
            },
            Err(ended) => ended,
        }
    }

    fn explain<const CELLS: usize, const THERMISTORS: usize>(&self, case: Case) -> Ended {
        match self.try_explain::<CELLS, THERMISTORS>(&Arc::new(case)) {
            Ok(ended) => ended,
            Err(error) => {
                eprintln!("{error}");
                Ended::BadInput
            }
        }
    }

    fn try_explain<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        case: &Arc<Case>,
    ) -> Result<Ended, StartError> {
        let recording = recording::play::<CELLS, THERMISTORS>(case, |_| true)?;
        let faults = match self.fault {
            Some(fault) => vec![fault],
            None => recording.confirmed().iter().map(|(_, seen)| seen.fault).collect(),
        };
        let mut text = format!("{}\n", case.title);
        if faults.is_empty() {
            text += "No fault was Confirmed.\n";
        }
        for fault in faults {
            text += "\n";
            text += &explain::why(&recording, fault)?;
        }
        text += "\n";
        for sentence in words::verdict(&Verdict::of(&recording)?, &recording.case) {
            text += &format!("{sentence}\n");
        }
        text += &format!("\n{}\n", words::CAUTIONS);
        Ok(show(&text, Ended::AsExpected))
    }
}
