//! `list`: what can be concluded, and what can be wrong. Made from the two lists themselves.

use super::{Ended, show};
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
        let lines = match self.of {
            Of::Faults => faults(),
            Of::Defects => defects(),
        };
        show(&lines, Ended::AsExpected)
    }
}

fn faults() -> String {
    let limits = Config::crane().faults;
    let heading = format!("{:<26} {:<42} {:>16}  {:<14} reaction\n", "key", "fault", "limit", "dwell");
    Fault::ALL.into_iter().fold(heading, |lines, fault| {
        let shown = limits.shown(fault);
        let limit = shown.trip.map_or_else(
            || "by its own rule".to_owned(),
            |trip| words::quantity(words::as_read(fault, trip)),
        );
        let (key, name, dwell) = (fault.key(), fault.words(), words::dwell(shown.dwell));
        let reaction = words::reaction(shown.reaction);
        let meaning = fault.meaning();
        lines + &format!("{key:<26} {name:<42} {limit:>16}  {dwell:<14} {reaction}\n    {meaning}\n")
    })
}

fn defects() -> String {
    let heading = format!("{:<28} {:<44} {:<15} severity\n", "key", "defect", "place");
    Kind::ALL.iter().fold(heading, |lines, kind| {
        let (low, high) = kind.range();
        let range = if kind.unit().is_empty() {
            "present or absent".to_owned()
        } else {
            format!("{low} to {high} {}, usually {}", kind.unit(), kind.usual())
        };
        let place = kind.place().key().unwrap_or("-");
        let (key, name, changes) = (kind.key(), kind.name(), kind.changes());
        lines + &format!("{key:<28} {name:<44} {place:<15} {range}\n    {changes}\n")
    })
}
