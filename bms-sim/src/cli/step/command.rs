//! The commands of `step`: what they are called, what they take, and what is accepted where something else was typed.

mod given;

use crate::case::{Change, Work, nearest};
use crate::cli::rationale::{Asked, Question};
use crate::defect::{Kind, PlaceKind};
use crate::explain::at_length::AtLength;
use crate::explain::picture::{WIDTH, hung};
use crate::explain::words::glossary::{GLOSSARY, Term};
use crate::recording::stepper::{Sought, Way};
use crate::repair;
use bms_core::Fault;
use bms_core::frame::Clearance;
use given::Given;

/// What was typed.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Command {
    /// So many ticks.
    By(Way, u64),
    /// To the next tick in which this happened.
    Next(Sought, Way),
    /// To a time in seconds.
    To(f64),
    /// The same stop again.
    Here,
    /// More of the stop.
    Show(Shown),
    /// What led to a fault, and what would have changed it.
    Why(Question),
    /// Go another way from here.
    Branch(Change),
    /// The crane does this work, with so many amperes or with its usual strength.
    Work(Work, Option<f64>),
    /// The branches.
    Branches,
    /// Stand in another branch.
    Go(String),
    /// Two branches side by side.
    Compare(String, String),
    /// The branch in a file of this name.
    Save(String),
    /// What can be typed, or what a word means.
    Help(Option<Term>),
    /// Leave.
    Quit,
}

impl Command {
    /// Which way it looks.
    pub(super) const fn way(&self) -> Way {
        match self {
            Self::By(way, _) | Self::Next(_, way) => *way,
            _ => Way::On,
        }
    }
}

/// What can be shown.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Shown {
    /// Of a stop, at length.
    AtLength(AtLength),
    /// What the stepper itself keeps.
    Snapshots,
}

impl Shown {
    /// All of it.
    fn all() -> impl Iterator<Item = Self> {
        AtLength::ALL.into_iter().map(Self::AtLength).chain([Self::Snapshots])
    }

    const fn word(self) -> &'static str {
        match self {
            Self::AtLength(what) => what.key(),
            Self::Snapshots => "snapshots",
        }
    }
}

/// A command for people who look for one.
pub(super) struct Entry {
    pub(super) word: &'static str,
    /// What comes after the word.
    pub(super) takes: &'static str,
    pub(super) does: &'static str,
}

/// THE list of commands: help, completion and suggestions are made from it.
pub(super) const ALL: [Entry; 24] = [
    Entry {
        word: "tick",
        takes: "[TICKS]",
        does: "goes on by one tick, or so many; an empty line does the same",
    },
    Entry { word: "back", takes: "[TICKS]", does: "goes back by one tick, or so many" },
    Entry {
        word: "event",
        takes: "",
        does: "goes on to the next tick in which anything happened; back event goes the other way",
    },
    Entry { word: "stage", takes: "", does: "to the next change of a fault's stage; back stage" },
    Entry { word: "reaction", takes: "", does: "to the next change of the reaction; back reaction" },
    Entry {
        word: "contactors",
        takes: "",
        does: "to the next move of the contactor sequence; back contactors",
    },
    Entry { word: "act", takes: "", does: "to the next act of operator or workshop; back act" },
    Entry { word: "to", takes: "SECONDS", does: "goes to a time; also to start, to end" },
    Entry { word: "here", takes: "", does: "shows this tick again" },
    Entry {
        word: "show",
        takes: "WHAT",
        does: "cells, temperatures, faults, limits, sequence, evidence, defects; snapshots",
    },
    Entry {
        word: "why",
        takes: "[FAULT] [WHAT]",
        does: "what led to a fault, what would have changed it (WHAT: confirmed, any, trip, open, hazard), the verdict",
    },
    Entry {
        word: "limit",
        takes: "FAULT VALUE",
        does: "branches: the firmware has another trip limit from here on",
    },
    Entry {
        word: "dwell",
        takes: "FAULT MS",
        does: "branches: another time until Confirmed, in milliseconds",
    },
    Entry {
        word: "duty",
        takes: "WORK [AMPS]",
        does: "branches: the crane does this work from here on, as hoist 150",
    },
    Entry {
        word: "ask",
        takes: "WHAT",
        does: "branches: close, open, clear, clear service, replace 5 (a cell), replace positive (a contactor), or lose-power 2.5 torn (the \
               supply for 2.5 s, and what is left of the last record: kept, torn or lost)",
    },
    Entry {
        word: "inject",
        takes: "KIND …",
        does: "branches: a defect with its place and severity, as cell_leak 5 10; then, if wished, as in a case file until_s=90, ramp_s=5, \
               intermittent_period_s=10 intermittent_duty=0.4",
    },
    Entry {
        word: "mend",
        takes: "NUMBER",
        does: "branches: without a defect, by its number in show defects",
    },
    Entry {
        word: "repair",
        takes: "KIND …",
        does: "branches: the workshop puts in a new part, with its place, as clean_joint 37; a new cell with its charge in percent, as \
               swap_cell 5 60",
    },
    Entry { word: "branches", takes: "", does: "lists the branches; none changes what it came from" },
    Entry { word: "go", takes: "BRANCH", does: "stands in another branch, at the same tick" },
    Entry {
        word: "compare",
        takes: "ONE OTHER",
        does: "when two branches part, and what happened in one only",
    },
    Entry {
        word: "save",
        takes: "FILE",
        does: "writes this branch, as a case (a name in .toml) or as a recording (in .mcap)",
    },
    Entry { word: "help", takes: "[WORD]", does: "this list; or what a word means, as help dwell" },
    Entry { word: "quit", takes: "", does: "leaves; so does the end of the input" },
];

/// The words for what is looked for.
const SOUGHT: [(&str, Sought); 5] = [
    ("event", Sought::Event),
    ("stage", Sought::Stage),
    ("reaction", Sought::Reaction),
    ("contactors", Sought::Contactors),
    ("act", Sought::Act),
];

/// What can be asked for.
const ASKS: [&str; 5] = ["close", "open", "clear", "replace", "lose-power"];

/// Who clears.
const CLEARANCES: [(&str, Clearance); 2] = [("panel", Clearance::Panel), ("service", Clearance::Service)];

/// What distances are about.
const ASKED: [(&str, Asked); 5] = [
    ("confirmed", Asked::Confirmed),
    ("any", Asked::Any),
    ("trip", Asked::Trip),
    ("open", Asked::Open),
    ("hazard", Asked::Hazard),
];

/// Most ticks that a command goes.
const MOST_TICKS: u64 = u32::MAX as u64;

/// The latest time that a command goes to, in seconds.
const MOST_SECONDS: f64 = 1e9;

/// The list of commands, line by line.
pub(super) fn help() -> Vec<String> {
    let lines =
        ALL.iter().map(|Entry { word, takes, does }| format!("{:<18}  {does}", format!("{word} {takes}")));
    lines.flat_map(|line| hung(&line, WIDTH)).collect()
}

/// A line that is no command: where, what was typed, what is accepted.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Mistake {
    place: &'static str,
    found: Option<String>,
    accepted: String,
}

impl std::fmt::Display for Mistake {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match &self.found {
            Some(found) => write!(to, "{} = {found}: {}", self.place, self.accepted),
            None => write!(to, "{}: {}", self.place, self.accepted),
        }
    }
}

impl Mistake {
    fn value(place: &'static str, found: &str, accepted: impl Into<String>) -> Self {
        Self { place, found: Some(found.to_owned()), accepted: accepted.into() }
    }

    fn missing(place: &'static str, accepted: &str) -> Self {
        Self { place, found: None, accepted: format!("missing; accepted is {accepted}") }
    }

    /// A word that is none of those that have a meaning here.
    fn unknown(place: &'static str, found: &str, accepted: &[&str]) -> Self {
        let said = match nearest(found, accepted.iter().copied()) {
            Some(near) => format!("not known here; did you mean {near}?"),
            None => format!("not known here; accepted are {}", accepted.join(", ")),
        };
        Self::value(place, found, said)
    }
}

/// Reads a line. An empty one goes on by a tick; one that begins with # is a remark.
pub(super) fn parse(line: &str) -> Result<Option<Command>, Mistake> {
    let mut words = line.split_whitespace();
    let Some(first) = words.next() else { return Ok(Some(Command::By(Way::On, 1))) };
    if first.starts_with('#') {
        return Ok(None);
    }
    let all = ALL.map(|entry| entry.word);
    let Some(entry) = ALL.iter().find(|entry| entry.word == first) else {
        return Err(Mistake::unknown("command", first, &all));
    };
    let mut given = Given::new(entry, words);
    let command = match entry.word {
        "tick" => Command::By(Way::On, given.ticks()?),
        "back" => given.back()?,
        "to" => Command::To(given.time()?),
        "here" => Command::Here,
        "show" => Command::Show(given.shown()?),
        "why" => Command::Why(given.question()?),
        "limit" | "dwell" => Command::Branch(Change::Limits(vec![given.limit()?])),
        "duty" => given.duty()?,
        "ask" => Command::Branch(Change::Act(given.ask()?)),
        "inject" => Command::Branch(Change::Defect(given.defect()?)),
        "mend" => Command::Branch(Change::Mend(given.counted("a number of show defects")?)),
        "repair" => Command::Branch(Change::Repair(given.repair()?)),
        "branches" => Command::Branches,
        "go" => Command::Go(given.name()?),
        "compare" => Command::Compare(given.name()?, given.name()?),
        "save" => Command::Save(given.file()?),
        "help" => given.help()?,
        "quit" => Command::Quit,
        word => match sought(word) {
            Some(sought) => Command::Next(sought, Way::On),
            None => return Err(Mistake::unknown("command", word, &all)),
        },
    };
    given.nothing_more().map(|()| Some(command))
}

fn sought(word: &str) -> Option<Sought> {
    SOUGHT.iter().find(|(known, _)| *known == word).map(|(_, sought)| *sought)
}

/// The words with which a line may go on: where the last one begins, and the known ones that begin like it.
pub(super) fn completions(line: &str) -> (usize, Vec<String>) {
    let begun = line.rfind(char::is_whitespace).map_or(0, |space| space + 1);
    let (before, typed) = line.split_at(begun);
    let known: Vec<&str> = match before.split_whitespace().collect::<Vec<_>>().as_slice() {
        [] => ALL.map(|entry| entry.word).to_vec(),
        ["help"] => GLOSSARY.iter().map(|term| term.term).collect(),
        ["back"] => SOUGHT.map(|(word, _)| word).to_vec(),
        ["to"] => vec!["start", "end"],
        ["show"] => Shown::all().map(Shown::word).collect(),
        ["why", _] => ASKED.map(|(word, _)| word).to_vec(),
        ["why" | "limit" | "dwell"] => Fault::ALL.map(Fault::key).to_vec(),
        ["duty"] => Work::ALL.map(Work::name).to_vec(),
        ["ask"] => ASKS.to_vec(),
        ["ask", "clear"] => CLEARANCES.map(|(word, _)| word).to_vec(),
        ["ask", "replace"] | ["repair", "replace_contactor"] => PlaceKind::Contactor.names().to_vec(),
        ["inject", kind, ..] if line.split_whitespace().count() > 2 => given::times(kind),
        ["inject"] => Kind::ALL.iter().map(|kind| kind.key()).collect(),
        ["repair"] => repair::Work::ALL.iter().map(|work| work.key()).collect(),
        _ => Vec::new(),
    };
    (begun, known.into_iter().filter(|word| word.starts_with(typed)).map(str::to_owned).collect())
}

#[cfg(test)]
mod tests;
