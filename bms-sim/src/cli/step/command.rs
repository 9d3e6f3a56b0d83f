//! The commands of `step`: what they are called, what they take, and what is accepted where something else was typed.

use crate::case::nearest;
use crate::recording::stepper::{Sought, Way};
use bms_core::Fault;

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
    /// What can be typed.
    Help,
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
}

impl Shown {
    const ALL: [(&'static str, Self); 6] = [
        ("cells", Self::Cells),
        ("temperatures", Self::Temperatures),
        ("faults", Self::Faults),
        ("limits", Self::Limits),
        ("sequence", Self::Sequence),
        ("evidence", Self::Evidence),
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
pub(super) const ALL: [Entry; 13] = [
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
        does: "cells, temperatures, faults, limits, sequence or evidence of this tick at length",
    },
    Entry { word: "why", takes: "FAULT", does: "what led to a fault, link by link" },
    Entry { word: "help", takes: "", does: "lists all this" },
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
        "help" => Command::Help,
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
        [] | ["help"] => ALL.map(|entry| entry.word).to_vec(),
        ["back"] => SOUGHT.map(|(word, _)| word).to_vec(),
        ["to"] => vec!["start", "end"],
        ["show"] => Shown::ALL.map(|(word, _)| word).to_vec(),
        ["why"] => Fault::ALL.map(Fault::key).to_vec(),
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
            "show: missing; accepted is cells, temperatures, faults, limits, sequence, evidence"
        );
        assert_eq!(
            said("why cell_over_voltag"),
            "why = cell_over_voltag: not known here; did you mean cell_over_voltage?"
        );
        assert_eq!(said("here now"), "here = now: nothing more is accepted after here");
    }
}
