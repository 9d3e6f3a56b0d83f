//! `list`: what can be concluded, and what can be wrong. Made from the two lists themselves.

use super::Ended;
use crate::defect::Kind;
use crate::explain::words;
use bms_core::{Config, Fault};

/// What `list` takes.
#[derive(Debug, clap::Args)]
pub(super) struct List {
    /// Which list
    #[arg(value_enum)]
    of: Of,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Of {
    /// What the firmware can conclude, with the default limits of the crane
    Faults,
    /// What can be wrong with the pack, with unit and sensible range
    Defects,
}

impl List {
    pub(super) fn go(&self) -> Ended {
        match self.of {
            Of::Faults => {
                let limits = Config::crane().faults;
                for fault in Fault::ALL {
                    let shown = limits.shown(fault);
                    let limit = shown.trip.map_or_else(|| "by its own rule".to_owned(), words::quantity);
                    println!(
                        "{:<26} {:<42} {:>16}  after {:<8} {}",
                        fault.key(),
                        fault.words(),
                        limit,
                        words::duration(shown.dwell),
                        words::reaction(shown.reaction)
                    );
                }
            }
            Of::Defects => {
                for kind in Kind::ALL {
                    let (low, high) = kind.range();
                    let range = if kind.unit().is_empty() {
                        "present or absent".to_owned()
                    } else {
                        format!("{low} to {high} {}, usually {}", kind.unit(), kind.usual())
                    };
                    println!("{:<28} {:<44} {range}", kind.key(), kind.name());
                }
            }
        }
        Ended::AsExpected
    }
}
