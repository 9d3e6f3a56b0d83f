//! `list`: what can be concluded, what can be wrong, and what the words mean. Made from the two lists themselves.

use super::{Ended, show, show_json};
use crate::case::{NEW_CELL, Pack, severity_key};
use crate::defect::{Kind, PlaceKind};
use crate::explain::words;
use crate::explain::words::glossary::{GLOSSARY, Term};
use crate::recording::file::GENERATOR;
use crate::recording::values::Values;
use crate::repair::Work;
use bms_core::Fault;
use bms_core::fault::{Reaction, Shown};
use bms_core::witness::Quantity;
use serde::Serialize;

/// What `list` takes.
#[derive(Debug, clap::Args)]
pub(super) struct List {
    /// Which list
    #[arg(value_enum)]
    of: Of,
    /// Print one JSON document instead of the table
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Of {
    /// What the firmware can conclude, with the default limits of the crane
    Faults,
    /// What can be wrong with the pack, with the keys, names and ranges that a case file takes
    Defects,
    /// What a workshop can mend, with the keys that a case file takes
    Repairs,
    /// The words that reports and explanations use, and what they mean
    Words,
}

/// The pack whose limits are shown.
const PACK: Pack = Pack::Crane;

impl List {
    pub(super) fn go(&self) -> Ended {
        let ended = Ended::AsExpected;
        match (self.of, self.json) {
            (Of::Faults, false) => show(&faults(), ended),
            (Of::Defects, false) => show(&defects(), ended),
            (Of::Repairs, false) => show(&repairs(), ended),
            (Of::Words, false) => show(&glossary(), ended),
            (Of::Words, true) => show_json(&WordsShown::new(), ended),
            (Of::Repairs, true) => show_json(&RepairsShown::new(), ended),
            (Of::Faults, true) => show_json(&FaultsShown::new(), ended),
            (Of::Defects, true) => show_json(&DefectsShown::new(), ended),
        }
    }
}

fn faults() -> String {
    let limits = PACK.config().faults;
    let heading = format!("{:<26} {:<42} {:>16}  {:<14} reaction\n", "key", "fault", "limit", "dwell");
    Fault::ALL.into_iter().fold(heading, |lines, fault| {
        let shown = limits.shown(fault);
        let limit = shown.trip.map_or_else(|| "by its own rule".to_owned(), words::quantity);
        let (key, name, dwell) = (fault.key(), fault.words(), words::dwell(shown.dwell));
        let reaction = words::reaction(shown.reaction);
        let (meaning, ends) = (fault.meaning(), ends(&shown));
        lines
            + &format!(
                "{key:<26} {name:<42} {limit:>16}  {dwell:<14} {reaction}\n    {meaning}\n    {ends}\n"
            )
    })
}

/// How a fault ends: what its condition must be for how long, and whether it ends with that.
fn ends(shown: &Shown) -> String {
    let back = shown.release.map_or_else(
        || "when its own rule says".to_owned(),
        |limit| format!("at {}", words::quantity(limit)),
    );
    let (for_time, clearing) = (words::duration(shown.release_dwell), words::clearing(shown.clearing));
    match shown.reaction {
        Reaction::Report | Reaction::Derate => {
            format!("gone {back} for {for_time}, and ends then; its record is cleared {clearing}")
        }
        Reaction::OpenSoon | Reaction::OpenNow => {
            format!("gone {back} for {for_time}, and holds until cleared {clearing}")
        }
    }
}

/// As a case file writes them: below each kind what it changes, then the keys that it takes.
fn defects() -> String {
    let heading = format!("{:<28} defect\n", "kind");
    Kind::ALL.iter().fold(heading, |lines, kind| {
        let (key, name, changes) = (kind.key(), kind.name(), kind.changes());
        let takes: Vec<String> = [place(kind.place()), severity(*kind)].into_iter().flatten().collect();
        let takes = if takes.is_empty() { "no more than its kind".to_owned() } else { takes.join("; ") };
        lines + &format!("{key:<28} {name}\n    {changes}\n    takes {takes}\n")
    })
}

/// As a case file writes them: below each kind what it does, then the keys that it takes and the defects that go with the old part.
fn repairs() -> String {
    let heading = format!("{:<28} repair\n", "kind");
    Work::ALL.iter().fold(heading, |lines, work| {
        let (key, name, does) = (work.key(), work.name(), work.does());
        let of_cell = (*work == Work::SwapCell).then(|| NEW_CELL.join(", "));
        let takes: Vec<String> = place(work.place()).into_iter().chain(of_cell).collect();
        let takes = if takes.is_empty() { "no more than its kind".to_owned() } else { takes.join("; ") };
        let mends: Vec<&str> = work.mends().iter().map(|kind| kind.key()).collect();
        lines + &format!("{key:<28} {name}\n    {does}\n    takes {takes}\n    mends {}\n", mends.join(", "))
    })
}

/// Each word, and below it what it means.
fn glossary() -> String {
    GLOSSARY.iter().fold(String::new(), |lines, term| lines + &format!("{}\n    {}\n", term.term, term.means))
}

/// The key of a place and what it accepts.
fn place(kind: PlaceKind) -> Option<String> {
    let key = kind.key()?;
    Some(match kind.names() {
        [] => format!("{key} = a number from 1"),
        names => {
            let quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
            format!("{key} = {}", quoted.join(" or "))
        }
    })
}

/// The key of a severity, its range and what it usually is.
fn severity(kind: Kind) -> Option<String> {
    let (key, (low, high), usual) = (severity_key(kind.unit())?, kind.range(), kind.usual());
    Some(format!("{key} = {low} to {high}, usually {usual}"))
}

#[derive(Serialize)]
struct FaultsShown {
    schema: u32,
    generator: &'static str,
    pack: Pack,
    faults: Vec<Values>,
}

impl FaultsShown {
    fn new() -> Self {
        let limits = PACK.config().faults;
        let of = |fault: Fault| {
            let shown = limits.shown(fault);
            let named = Values::default().with("key", fault.key()).with("name", fault.words());
            let mut values = named.with("meaning", fault.meaning());
            for (key, limit) in [("trip", shown.trip), ("release", shown.release)] {
                if let Some(limit) = limit {
                    values = values.and(key, limit);
                }
            }
            values
                .and("dwell", Quantity::Millis(shown.dwell))
                .and("release_dwell", Quantity::Millis(shown.release_dwell))
                .with("reaction", words::reaction(shown.reaction))
                .with("clearing", words::clearing(shown.clearing))
        };
        Self { schema: 1, generator: GENERATOR, pack: PACK, faults: Fault::ALL.map(of).to_vec() }
    }
}

#[derive(Serialize)]
struct WordsShown {
    schema: u32,
    generator: &'static str,
    words: Vec<WordShown>,
}

#[derive(Serialize)]
struct WordShown {
    word: &'static str,
    forms: &'static [&'static str],
    means: &'static str,
}

impl WordsShown {
    fn new() -> Self {
        let of = |term: &Term| WordShown { word: term.term, forms: term.forms, means: term.means };
        Self { schema: 1, generator: GENERATOR, words: GLOSSARY.iter().map(of).collect() }
    }
}

#[derive(Serialize)]
struct RepairsShown {
    schema: u32,
    generator: &'static str,
    repairs: Vec<RepairShown>,
}

#[derive(Serialize)]
struct RepairShown {
    kind: &'static str,
    name: &'static str,
    does: &'static str,
    place: Option<PlaceShown>,
    mends: Vec<&'static str>,
}

impl RepairsShown {
    fn new() -> Self {
        let of = |work: &Work| RepairShown {
            kind: work.key(),
            name: work.name(),
            does: work.does(),
            place: work.place().key().map(|key| PlaceShown { key, names: work.place().names() }),
            mends: work.mends().iter().map(|kind| kind.key()).collect(),
        };
        Self { schema: 1, generator: GENERATOR, repairs: Work::ALL.iter().map(of).collect() }
    }
}

#[derive(Serialize)]
struct DefectsShown {
    schema: u32,
    generator: &'static str,
    defects: Vec<DefectShown>,
}

#[derive(Serialize)]
struct DefectShown {
    kind: &'static str,
    name: &'static str,
    changes: &'static str,
    place: Option<PlaceShown>,
    severity: Option<SeverityShown>,
    grows: bool,
    comes_and_goes: bool,
}

#[derive(Serialize)]
struct PlaceShown {
    key: &'static str,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    names: &'static [&'static str],
}

#[derive(Serialize)]
struct SeverityShown {
    key: &'static str,
    unit: &'static str,
    least: f64,
    most: f64,
    usual: f64,
}

impl DefectsShown {
    fn new() -> Self {
        let of = |kind: &Kind| {
            let (unit, (least, most), usual) = (kind.unit(), kind.range(), kind.usual());
            DefectShown {
                kind: kind.key(),
                name: kind.name(),
                changes: kind.changes(),
                place: kind.place().key().map(|key| PlaceShown { key, names: kind.place().names() }),
                severity: severity_key(unit).map(|key| SeverityShown { key, unit, least, most, usual }),
                grows: kind.grows(),
                comes_and_goes: kind.comes_and_goes(),
            }
        };
        Self { schema: 1, generator: GENERATOR, defects: Kind::ALL.iter().map(of).collect() }
    }
}
