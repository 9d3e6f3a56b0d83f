//! `why`: the chain that led to a fault, the values against their limits, and the verdict.

use super::{CasePath, Ended, read};
use crate::case::{Case, Pack, StartError};
use crate::explain::chain::Chain;
use crate::explain::verdict::Verdict;
use crate::explain::words;
use crate::recording::{self, Recording, What};
use bms_core::Fault;
use bms_core::fault::Stage;
use bms_core::witness::Evidence;
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
        println!("{}", case.title);
        if faults.is_empty() {
            println!("No fault was Confirmed.");
        }
        for fault in faults {
            println!();
            tell(&recording, fault)?;
        }
        println!();
        for sentence in words::verdict(&Verdict::of(&recording)?, &recording.case) {
            println!("{sentence}");
        }
        println!();
        println!("{}", words::CAUTIONS);
        Ok(Ended::AsExpected)
    }
}

/// One fault: its chain, or how near it came.
fn tell<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    fault: Fault,
) -> Result<(), StartError> {
    println!("Why {}?", fault.words());
    let Some(chain) = Chain::of(recording, fault)? else {
        let near = recording.nearest.get(fault as usize).and_then(Option::as_ref);
        match near {
            Some(near) => println!(
                "It was never suspected. Nearest at {}: {}.",
                words::clock(near.seconds),
                words::assessment(&near.assessment)
            ),
            None => println!("It was never suspected, and nothing was measured that could tell."),
        }
        return Ok(());
    };
    let mut before = None;
    for link in &chain.links {
        let after = before
            .map_or_else(String::new, |before: f64| format!("+{}", words::seconds(link.seconds - before)));
        println!("{:>10}  {after:>9}  {}", words::clock(link.seconds), words::link(link, &recording.case));
        before = Some(link.seconds);
    }
    for event in &recording.events {
        if let What::Told(Evidence::StageChanged { assessment, .. }) = &event.what
            && assessment.fault == fault
            && matches!(assessment.stage, Stage::Confirmed { .. })
        {
            println!("Observed: {}.", words::assessment(assessment));
            break;
        }
    }
    if fault == Fault::CellResistanceHigh {
        println!("By hand, the last three load steps; the smallest excess counts:");
        for step in &recording.load_steps {
            println!("  {}", words::by_hand(step));
        }
    }
    Ok(())
}
