//! The commands of `step`: what they are called, what they take, and what is accepted where something else was typed.

use crate::case::{Ask, Change, Work, nearest};
use crate::defect::Kind;
use crate::explain::words::glossary::{self, GLOSSARY, Term};
use crate::recording::stepper::{Sought, Way};
use bms_core::Fault;
use bms_core::frame::{Clearance, Replaced};

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
    /// What led to a fault.
    Why(Fault),
    /// Go another way from here.
    Branch(Change),
    /// The crane does this work, with its usual strength.
    Work(Work),
    /// The branches.
    Branches,
    /// Stand in another branch.
    Go(String),
    /// Two branches side by side.
    Compare(String, String),
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

/// What can be shown of a stop at length.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Shown {
    Cells,
    Temperatures,
    Faults,
    Limits,
    Sequence,
    Evidence,
    Defects,
    Snapshots,
}

impl Shown {
    const ALL: [(&'static str, Self); 8] = [
        ("cells", Self::Cells),
        ("temperatures", Self::Temperatures),
        ("faults", Self::Faults),
        ("limits", Self::Limits),
        ("sequence", Self::Sequence),
        ("evidence", Self::Evidence),
        ("defects", Self::Defects),
        ("snapshots", Self::Snapshots),
    ];
}

/// A command for people who look for one.
pub(super) struct Entry {
    pub(super) word: &'static str,
    /// What comes after the word.
    pub(super) takes: &'static str,
    pub(super) does: &'static str,
}

/// THE list of commands: help, completion and suggestions are made from it.
pub(super) const ALL: [Entry; 22] = [
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
    Entry { word: "why", takes: "FAULT", does: "what led to a fault, link by link" },
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
    Entry { word: "ask", takes: "WHAT", does: "branches: close, open, clear, clear service or replace CELL" },
    Entry {
        word: "inject",
        takes: "KIND …",
        does: "branches: a defect with its place and severity, as cell_leak 5 10",
    },
    Entry {
        word: "mend",
        takes: "NUMBER",
        does: "branches: without a defect, by its number in show defects",
    },
    Entry { word: "branches", takes: "", does: "lists the branches; none changes what it came from" },
    Entry { word: "go", takes: "BRANCH", does: "stands in another branch, at the same tick" },
    Entry {
        word: "compare",
        takes: "ONE OTHER",
        does: "when two branches part, and what happened in one only",
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
const ASKS: [&str; 4] = ["close", "open", "clear", "replace"];

/// Most ticks that a command goes.
const MOST_TICKS: u64 = u32::MAX as u64;

/// The latest time that a command goes to, in seconds.
const MOST_SECONDS: f64 = 1e9;

/// The list of commands, line by line.
pub(super) fn help() -> Vec<String> {
    ALL.iter()
        .map(|Entry { word, takes, does }| format!("{:<16} {does}", format!("{word} {takes}")))
        .collect()
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
    let mut given = Given { place: entry.word, takes: entry.takes, words };
    let command = match entry.word {
        "tick" => Command::By(Way::On, given.ticks()?),
        "back" => given.back()?,
        "to" => Command::To(given.time()?),
        "here" => Command::Here,
        "show" => Command::Show(given.shown()?),
        "why" => Command::Why(given.fault()?),
        "limit" => {
            Command::Branch(Change::Limit(given.fault()?, given.number("a limit in the unit of the fault")?))
        }
        "dwell" => {
            Command::Branch(Change::Dwell(given.fault()?, given.whole("a whole number of milliseconds")?))
        }
        "duty" => given.duty()?,
        "ask" => Command::Branch(Change::Act(given.ask()?)),
        "inject" => Command::Branch(given.defect()?),
        "mend" => Command::Branch(Change::Mend(given.counted("a number of show defects")?)),
        "branches" => Command::Branches,
        "go" => Command::Go(given.name()?),
        "compare" => Command::Compare(given.name()?, given.name()?),
        "help" => given.help()?,
        "quit" => Command::Quit,
        word => match sought(word) {
            Some(sought) => Command::Next(sought, Way::On),
            None => return Err(Mistake::unknown("command", word, &all)),
        },
    };
    match given.words.next() {
        None => Ok(Some(command)),
        Some(stray) => {
            let accepted = format!(
                "nothing more is accepted after {}",
                format!("{} {}", given.place, given.takes).trim()
            );
            Err(Mistake::value(given.place, stray, accepted))
        }
    }
}

fn sought(word: &str) -> Option<Sought> {
    SOUGHT.iter().find(|(known, _)| *known == word).map(|(_, sought)| *sought)
}

/// What follows the word of a command.
struct Given<'a> {
    place: &'static str,
    takes: &'static str,
    words: std::str::SplitWhitespace<'a>,
}

impl Given<'_> {
    fn ticks(&mut self) -> Result<u64, Mistake> {
        self.words.next().map_or(Ok(1), |typed| ticks(self.place, typed))
    }

    /// So many ticks back, or back to what is looked for.
    fn back(&mut self) -> Result<Command, Mistake> {
        let Some(typed) = self.words.next() else { return Ok(Command::By(Way::Back, 1)) };
        match sought(typed) {
            Some(sought) => Ok(Command::Next(sought, Way::Back)),
            None if typed.starts_with(char::is_alphabetic) => {
                Err(Mistake::unknown(self.place, typed, &SOUGHT.map(|(known, _)| known)))
            }
            None => ticks(self.place, typed).map(|ticks| Command::By(Way::Back, ticks)),
        }
    }

    fn time(&mut self) -> Result<f64, Mistake> {
        let accepted = "a time in seconds from the start, start or end";
        match self.words.next() {
            None => Err(Mistake::missing(self.place, accepted)),
            Some("start") => Ok(f64::NEG_INFINITY),
            Some("end") => Ok(f64::INFINITY),
            Some(typed) => {
                let seconds =
                    typed.parse().ok().filter(|seconds: &f64| (0.0..=MOST_SECONDS).contains(seconds));
                seconds.ok_or_else(|| Mistake::value(self.place, typed, format!("accepted is {accepted}")))
            }
        }
    }

    fn shown(&mut self) -> Result<Shown, Mistake> {
        let words = Shown::ALL.map(|(word, _)| word);
        let typed = self.words.next().ok_or_else(|| Mistake::missing(self.place, &words.join(", ")))?;
        let known = Shown::ALL.iter().find(|(word, _)| *word == typed).map(|(_, shown)| *shown);
        known.ok_or_else(|| Mistake::unknown(self.place, typed, &words))
    }

    fn fault(&mut self) -> Result<Fault, Mistake> {
        let accepted = "a key that `list faults` prints";
        let typed = self.words.next().ok_or_else(|| Mistake::missing(self.place, accepted))?;
        Fault::ALL.into_iter().find(|fault| fault.key() == typed).ok_or_else(|| {
            match nearest(typed, Fault::ALL.into_iter().map(Fault::key)) {
                Some(near) => {
                    Mistake::value(self.place, typed, format!("not known here; did you mean {near}?"))
                }
                None => Mistake::value(self.place, typed, format!("not known here; accepted is {accepted}")),
            }
        })
    }
}

impl Given<'_> {
    /// All commands, or a word of the glossary.
    fn help(&mut self) -> Result<Command, Mistake> {
        let typed = self.words.by_ref().collect::<Vec<_>>().join(" ");
        if typed.is_empty() {
            return Ok(Command::Help(None));
        }
        let terms: Vec<&str> = GLOSSARY.iter().map(|term| term.term).collect();
        let found = glossary::explained(&typed).ok_or_else(|| Mistake::unknown(self.place, &typed, &terms));
        found.map(|term| Command::Help(Some(term)))
    }

    fn word(&mut self, accepted: &str) -> Result<&str, Mistake> {
        self.words.next().ok_or_else(|| Mistake::missing(self.place, accepted))
    }

    fn name(&mut self) -> Result<String, Mistake> {
        self.word("a name that branches lists").map(str::to_owned)
    }

    fn number(&mut self, accepted: &str) -> Result<f64, Mistake> {
        let place = self.place;
        let typed = self.word(accepted)?;
        let number = typed.parse().ok().filter(|number: &f64| number.is_finite());
        number.ok_or_else(|| Mistake::value(place, typed, format!("accepted is {accepted}")))
    }

    fn whole(&mut self, accepted: &str) -> Result<u64, Mistake> {
        let place = self.place;
        let typed = self.word(accepted)?;
        typed.parse().map_err(|_| Mistake::value(place, typed, format!("accepted is {accepted}")))
    }

    /// A number from 1, as a place from 0.
    fn counted(&mut self, accepted: &str) -> Result<usize, Mistake> {
        let place = self.place;
        let typed = self.word(accepted)?;
        let from_0 = typed.parse().ok().and_then(|number: usize| number.checked_sub(1));
        from_0.ok_or_else(|| Mistake::value(place, typed, format!("accepted is {accepted}")))
    }

    fn duty(&mut self) -> Result<Command, Mistake> {
        let works = Work::ALL.map(Work::name);
        let place = self.place;
        let typed = self.word(&works.join(", "))?;
        let work = Work::ALL.into_iter().find(|work| work.name() == typed);
        let work = work.ok_or_else(|| Mistake::unknown(place, typed, &works))?;
        if self.words.clone().next().is_none() {
            return Ok(Command::Work(work));
        }
        Ok(Command::Branch(Change::Duty(work, self.number("an amount of amperes")?)))
    }

    fn ask(&mut self) -> Result<Ask, Mistake> {
        let place = self.place;
        match self.word(&ASKS.join(", "))? {
            "close" => Ok(Ask::Close),
            "open" => Ok(Ask::Open),
            "clear" => match self.words.next() {
                None | Some("panel") => Ok(Ask::Clear(Clearance::Panel)),
                Some("service") => Ok(Ask::Clear(Clearance::Service)),
                Some(typed) => Err(Mistake::unknown(place, typed, &["panel", "service"])),
            },
            "replace" => {
                let cell = self.counted("a cell, from 1")?;
                Ok(Ask::Replace(Replaced::Cell(u8::try_from(cell).unwrap_or(u8::MAX))))
            }
            typed => Err(Mistake::unknown(place, typed, &ASKS)),
        }
    }

    /// A kind of defect, its place unless the pack has only one, and its severity, the usual one when left out.
    fn defect(&mut self) -> Result<Change, Mistake> {
        let accepted = "a kind that `list defects` prints";
        let command = self.place;
        let typed = self.word(accepted)?;
        let kind = Kind::ALL.iter().find(|kind| kind.key() == typed).ok_or_else(|| {
            let near = nearest(typed, Kind::ALL.iter().map(|kind| kind.key()));
            let accepted = near
                .map_or_else(|| format!("accepted is {accepted}"), |near| format!("did you mean {near}?"));
            Mistake::value(command, typed, format!("not known here; {accepted}"))
        })?;
        let place = match (kind.place().key(), kind.place().names()) {
            (None, _) => 0,
            (Some(key), []) => self.counted(&format!("a {}, from 1", key.replace('_', " ")))?,
            (Some(_), names) => {
                let typed = self.word(&names.join(", "))?;
                let place = names.iter().position(|name| *name == typed);
                place.ok_or_else(|| Mistake::unknown(command, typed, names))?
            }
        };
        let severity = match self.words.clone().next() {
            None => kind.usual(),
            Some(typed) if kind.unit().is_empty() => {
                return Err(Mistake::value(
                    command,
                    typed,
                    "nothing more is accepted: it is there or it is not",
                ));
            }
            Some(_) => self.number(&format!("a severity in {}", kind.unit()))?,
        };
        Ok(Change::Inject(*kind, place, severity))
    }
}

fn ticks(place: &'static str, typed: &str) -> Result<u64, Mistake> {
    let ticks = typed.parse().ok().filter(|ticks| (1..=MOST_TICKS).contains(ticks));
    ticks.ok_or_else(|| {
        Mistake::value(place, typed, format!("accepted is a whole number of ticks from 1 to {MOST_TICKS}"))
    })
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
        ["show"] => Shown::ALL.map(|(word, _)| word).to_vec(),
        ["why" | "limit" | "dwell"] => Fault::ALL.map(Fault::key).to_vec(),
        ["duty"] => Work::ALL.map(Work::name).to_vec(),
        ["ask"] => ASKS.to_vec(),
        ["inject"] => Kind::ALL.iter().map(|kind| kind.key()).collect(),
        _ => Vec::new(),
    };
    (begun, known.into_iter().filter(|word| word.starts_with(typed)).map(str::to_owned).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(line: &str) -> String {
        parse(line).expect_err(line).to_string()
    }

    #[test]
    fn each_command_of_the_list_is_understood() {
        for entry in &ALL {
            let example = match entry.word {
                "to" => "12.5",
                "show" => "cells",
                "why" => "cell_over_voltage",
                "limit" => "cell_over_voltage 3.7",
                "dwell" => "cell_over_voltage 500",
                "duty" => "hoist 150",
                "ask" => "clear service",
                "inject" => "cell_leak 5 10",
                "mend" => "1",
                "go" => "branch-1",
                "compare" => "original branch-1",
                _ => "",
            };
            assert!(
                parse(&format!("{} {example}", entry.word)).is_ok_and(|read| read.is_some()),
                "{}",
                entry.word
            );
        }
    }

    #[test]
    fn ticks_times_and_what_is_looked_for() {
        assert_eq!(parse(""), Ok(Some(Command::By(Way::On, 1))));
        assert_eq!(parse("  tick   5 "), Ok(Some(Command::By(Way::On, 5))));
        assert_eq!(parse("back"), Ok(Some(Command::By(Way::Back, 1))));
        assert_eq!(parse("back 30"), Ok(Some(Command::By(Way::Back, 30))));
        assert_eq!(parse("stage"), Ok(Some(Command::Next(Sought::Stage, Way::On))));
        assert_eq!(parse("back stage"), Ok(Some(Command::Next(Sought::Stage, Way::Back))));
        assert_eq!(parse("to 12.5"), Ok(Some(Command::To(12.5))));
        assert_eq!(parse("to end"), Ok(Some(Command::To(f64::INFINITY))));
        assert_eq!(parse("# a remark"), Ok(None));
    }

    #[test]
    fn what_is_otherwise_in_a_branch() {
        let change = |line: &str| match parse(line) {
            Ok(Some(Command::Branch(change))) => change,
            other => panic!("{line}: {other:?}"),
        };
        assert_eq!(change("limit cell_over_voltage 3.7"), Change::Limit(Fault::CellOverVoltage, 3.7));
        assert_eq!(change("dwell cell_over_voltage 500"), Change::Dwell(Fault::CellOverVoltage, 500));
        assert_eq!(change("duty hoist 120"), Change::Duty(Work::Hoist, 120.0));
        assert_eq!(parse("duty fast-lower"), Ok(Some(Command::Work(Work::FastLower))));
        assert_eq!(change("ask clear service"), Change::Act(Ask::Clear(Clearance::Service)));
        assert_eq!(change("inject cell_leak 5"), Change::Inject(Kind::CellLeak, 4, Kind::CellLeak.usual()));
        assert_eq!(change("inject contactor_welded positive"), Change::Inject(Kind::ContactorWelded, 2, 1.0));
        assert_eq!(change("inject load_left_on 300"), Change::Inject(Kind::LoadLeftOn, 0, 300.0));
        assert_eq!(change("mend 2"), Change::Mend(1));
        assert_eq!(said("inject cell_leek 5"), "inject = cell_leek: not known here; did you mean cell_leak?");
        assert_eq!(said("inject cell_leak"), "inject: missing; accepted is a cell, from 1");
        assert_eq!(said("inject cell_leak 5 much"), "inject = much: accepted is a severity in Ω");
        assert_eq!(said("mend 0"), "mend = 0: accepted is a number of show defects");
        assert_eq!(said("duty hoyst"), "duty = hoyst: not known here; did you mean hoist?");
        assert_eq!(said("ask stop"), "ask = stop: not known here; accepted are close, open, clear, replace");
    }

    #[test]
    fn a_word_is_explained_in_whatever_form_it_is_typed() {
        let explained = |line: &str| match parse(line) {
            Ok(Some(Command::Help(Some(term)))) => term.term,
            other => panic!("{line}: {other:?}"),
        };
        assert_eq!(parse("help"), Ok(Some(Command::Help(None))));
        assert_eq!(explained("help dwell"), "dwell");
        assert_eq!(explained("help Near  Misses"), "near miss");
        assert_eq!(explained("help opensoon"), "OpenSoon");
        assert_eq!(said("help dwel"), "help = dwel: not known here; did you mean dwell?");
    }

    #[test]
    fn what_is_typed_goes_on_with_what_is_known() {
        assert_eq!(completions("st"), (0, vec!["stage".to_owned()]));
        assert_eq!(completions("back re"), (5, vec!["reaction".to_owned()]));
        assert_eq!(completions("show limits now "), (16, Vec::new()));
        assert!(completions("why cell_over_v").1.contains(&"cell_over_voltage".to_owned()));
        assert_eq!(completions("").1.len(), ALL.len());
    }

    #[test]
    fn a_mistake_names_the_word_and_what_is_accepted() {
        assert_eq!(said("tik"), "command = tik: not known here; did you mean tick?");
        assert_eq!(said("tick 0"), "tick = 0: accepted is a whole number of ticks from 1 to 4294967295");
        assert_eq!(said("back sage"), "back = sage: not known here; did you mean stage?");
        assert_eq!(said("to"), "to: missing; accepted is a time in seconds from the start, start or end");
        assert_eq!(said("to NaN"), "to = NaN: accepted is a time in seconds from the start, start or end");
        assert_eq!(
            said("show"),
            "show: missing; accepted is cells, temperatures, faults, limits, sequence, evidence, defects, snapshots"
        );
        assert_eq!(
            said("why cell_over_voltag"),
            "why = cell_over_voltag: not known here; did you mean cell_over_voltage?"
        );
        assert_eq!(said("here now"), "here = now: nothing more is accepted after here");
    }
}
