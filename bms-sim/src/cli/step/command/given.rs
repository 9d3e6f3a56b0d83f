//! What follows the word of a command: each part is read here, or it is said what is accepted.

use super::{
    ASKED, ASKS, CLEARANCES, Command, Entry, MOST_SECONDS, MOST_TICKS, Mistake, SOUGHT, Shown, sought,
};
use crate::case::{Ask, LimitChange, PowerLoss, RecordFate, Work, nearest};
use crate::cli::rationale::Question;
use crate::defect::{Defect, Kind, PlaceKind, Spells};
use crate::explain::words::glossary::{self, GLOSSARY};
use crate::recording::stepper::Way;
use crate::repair::{self, NewCell, Repair};
use bms_core::Fault;
use bms_core::frame::{Contactor, Replaced};
use std::str::SplitWhitespace;

/// What follows the word of a command.
pub(super) struct Given<'a> {
    place: &'static str,
    takes: &'static str,
    words: SplitWhitespace<'a>,
}

impl<'a> Given<'a> {
    pub(super) const fn new(entry: &Entry, words: SplitWhitespace<'a>) -> Self {
        Self { place: entry.word, takes: entry.takes, words }
    }

    /// That the line ends here.
    pub(super) fn nothing_more(mut self) -> Result<(), Mistake> {
        let Some(stray) = self.words.next() else { return Ok(()) };
        let line = format!("{} {}", self.place, self.takes);
        Err(Mistake::value(self.place, stray, format!("nothing more is accepted after {}", line.trim())))
    }
}

impl Given<'_> {
    pub(super) fn ticks(&mut self) -> Result<u64, Mistake> {
        self.words.next().map_or(Ok(1), |typed| ticks(self.place, typed))
    }

    /// So many ticks back, or back to what is looked for.
    pub(super) fn back(&mut self) -> Result<Command, Mistake> {
        let Some(typed) = self.words.next() else { return Ok(Command::By(Way::Back, 1)) };
        match sought(typed) {
            Some(sought) => Ok(Command::Next(sought, Way::Back)),
            None if typed.starts_with(char::is_alphabetic) => {
                Err(Mistake::unknown(self.place, typed, &SOUGHT.map(|(known, _)| known)))
            }
            None => ticks(self.place, typed).map(|ticks| Command::By(Way::Back, ticks)),
        }
    }

    /// All commands, or a word of the glossary.
    pub(super) fn help(&mut self) -> Result<Command, Mistake> {
        let typed = self.words.by_ref().collect::<Vec<_>>().join(" ");
        if typed.is_empty() {
            return Ok(Command::Help(None));
        }
        let terms: Vec<&str> = GLOSSARY.iter().map(|term| term.term).collect();
        let found = glossary::explained(&typed).ok_or_else(|| Mistake::unknown(self.place, &typed, &terms));
        found.map(|term| Command::Help(Some(term)))
    }

    pub(super) fn time(&mut self) -> Result<f64, Mistake> {
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

    pub(super) fn shown(&mut self) -> Result<Shown, Mistake> {
        let words: Vec<&str> = Shown::all().map(Shown::word).collect();
        let typed = self.words.next().ok_or_else(|| Mistake::missing(self.place, &words.join(", ")))?;
        let known = Shown::all().find(|shown| shown.word() == typed);
        known.ok_or_else(|| Mistake::unknown(self.place, typed, &words))
    }

    /// A fault if one is named, and what the distances are about.
    pub(super) fn question(&mut self) -> Result<Question, Mistake> {
        let asked = |word: Option<&str>| {
            ASKED.iter().find(|(known, _)| Some(*known) == word).map(|(_, asked)| *asked)
        };
        let first = self.words.clone().next();
        let fault = if first.is_none() || asked(first).is_some() { None } else { Some(self.fault()?) };
        let place = self.place;
        let outcome = match self.words.next() {
            None => None,
            Some(typed) => {
                let known = asked(Some(typed));
                Some(known.ok_or_else(|| Mistake::unknown(place, typed, &ASKED.map(|(word, _)| word)))?)
            }
        };
        Ok(Question { fault, outcome })
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
    fn word(&mut self, accepted: &str) -> Result<&str, Mistake> {
        self.words.next().ok_or_else(|| Mistake::missing(self.place, accepted))
    }

    pub(super) fn name(&mut self) -> Result<String, Mistake> {
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
    pub(super) fn counted(&mut self, accepted: &str) -> Result<usize, Mistake> {
        let place = self.place;
        let typed = self.word(accepted)?;
        let from_0 = typed.parse().ok().and_then(|number: usize| number.checked_sub(1));
        from_0.ok_or_else(|| Mistake::value(place, typed, format!("accepted is {accepted}")))
    }

    /// A fault's limit, or its dwell.
    pub(super) fn limit(&mut self) -> Result<LimitChange, Mistake> {
        let fault = self.fault()?;
        let same = LimitChange { fault, trip: None, release: None, dwell_ms: None, release_dwell_ms: None };
        if self.place == "dwell" {
            return Ok(LimitChange { dwell_ms: Some(self.whole("a whole number of milliseconds")?), ..same });
        }
        Ok(LimitChange { trip: Some(self.number("a limit in the unit of the fault")?), ..same })
    }

    pub(super) fn file(&mut self) -> Result<String, Mistake> {
        self.word("the name of a file, in .toml or .mcap").map(str::to_owned)
    }

    pub(super) fn duty(&mut self) -> Result<Command, Mistake> {
        let works = Work::ALL.map(Work::name);
        let place = self.place;
        let typed = self.word(&works.join(", "))?;
        let work = Work::ALL.into_iter().find(|work| work.name() == typed);
        let work = work.ok_or_else(|| Mistake::unknown(place, typed, &works))?;
        let amps = match self.words.clone().next() {
            None => None,
            Some(_) => Some(self.number("an amount of amperes")?),
        };
        Ok(Command::Work(work, amps))
    }

    pub(super) fn ask(&mut self) -> Result<Ask, Mistake> {
        let place = self.place;
        match self.word(&ASKS.join(", "))? {
            "close" => Ok(Ask::Close),
            "open" => Ok(Ask::Open),
            "clear" => {
                let typed = self.words.next().unwrap_or("panel");
                let by = CLEARANCES.iter().find(|(word, _)| *word == typed).map(|(_, by)| Ask::Clear(*by));
                by.ok_or_else(|| Mistake::unknown(place, typed, &CLEARANCES.map(|(word, _)| word)))
            }
            "replace" => self.replaced().map(Ask::Replace),
            "lose-power" => self.power_loss().map(Ask::LosePower),
            typed => Err(Mistake::unknown(place, typed, &ASKS)),
        }
    }

    /// Seconds without supply, and what is left of the last record.
    fn power_loss(&mut self) -> Result<PowerLoss, Mistake> {
        let accepted = "0.01 to 86400 seconds, as ask lose-power 2.5 torn";
        let (place, typed) = (self.place, self.words.clone().next().unwrap_or_default());
        let seconds = self.number(accepted)?;
        let fate = self.words.next().unwrap_or(RecordFate::Kept.name());
        let record = RecordFate::ALL.into_iter().find(|known| known.name() == fate);
        let record =
            record.ok_or_else(|| Mistake::unknown(place, fate, &RecordFate::ALL.map(RecordFate::name)))?;
        let loss = PowerLoss::by_hand(seconds, record);
        loss.ok_or_else(|| Mistake::value(place, typed, format!("accepted is {accepted}")))
    }

    /// What the workshop does, where unless there is only one such place, and the charge of a cell that comes in.
    pub(super) fn repair(&mut self) -> Result<Repair, Mistake> {
        let accepted = "a repair that `list repairs` prints";
        let command = self.place;
        let typed = self.word(accepted)?;
        let work = repair::Work::ALL.iter().copied().find(|work| work.key() == typed).ok_or_else(|| {
            let near = nearest(typed, repair::Work::ALL.iter().map(|work| work.key()));
            let accepted = near
                .map_or_else(|| format!("accepted is {accepted}"), |near| format!("did you mean {near}?"));
            Mistake::value(command, typed, format!("not known here; {accepted}"))
        })?;
        let place = self.placed(work.place())?;
        let mut cell = NewCell::USUAL;
        if work == repair::Work::SwapCell
            && let Some(typed) = self.words.clone().next()
        {
            let accepted = "the new cell's charge in percent, 0 to 100";
            let percent = self.number(accepted)?;
            if !(0.0..=100.0).contains(&percent) {
                return Err(Mistake::value(command, typed, format!("accepted is {accepted}")));
            }
            cell.charge = percent / 100.0;
        }
        Ok(Repair { work, place, cell })
    }

    /// A place of this kind, from 0.
    fn placed(&mut self, kind: PlaceKind) -> Result<usize, Mistake> {
        let command = self.place;
        match (kind.key(), kind.names()) {
            (None, _) => Ok(0),
            (Some(key), []) => self.counted(&format!("a {}, from 1", key.replace('_', " "))),
            (Some(_), names) => {
                let typed = self.word(&names.join(", "))?;
                let place = names.iter().position(|name| *name == typed);
                place.ok_or_else(|| Mistake::unknown(command, typed, names))
            }
        }
    }

    /// A cell by its number, or a contactor by its name.
    fn replaced(&mut self) -> Result<Replaced, Mistake> {
        const CONTACTORS: [Contactor; 3] = [Contactor::Negative, Contactor::Precharge, Contactor::Positive];
        let typed = self.words.clone().next().filter(|typed| typed.starts_with(char::is_alphabetic));
        let Some(typed) = typed else {
            let cell = self.counted("a cell, from 1, or a contactor")?;
            return Ok(Replaced::Cell(u8::try_from(cell).unwrap_or(u8::MAX)));
        };
        let names = PlaceKind::Contactor.names();
        let known = names.iter().zip(CONTACTORS).find(|(name, _)| **name == typed);
        self.words.next();
        known
            .map(|(_, contactor)| Replaced::Contactor(contactor))
            .ok_or_else(|| Mistake::unknown(self.place, typed, names))
    }

    /// A kind of defect, its place unless the pack has only one, and its severity, the usual one when left out; then how it
    /// grows, comes, goes and ends, with the keys of a case file.
    pub(super) fn defect(&mut self) -> Result<Defect, Mistake> {
        let accepted = "a kind that `list defects` prints";
        let command = self.place;
        let typed = self.word(accepted)?;
        let kind = Kind::ALL.iter().find(|kind| kind.key() == typed).ok_or_else(|| {
            let near = nearest(typed, Kind::ALL.iter().map(|kind| kind.key()));
            let accepted = near
                .map_or_else(|| format!("accepted is {accepted}"), |near| format!("did you mean {near}?"));
            Mistake::value(command, typed, format!("not known here; {accepted}"))
        })?;
        let place = self.placed(kind.place())?;
        let severity = match self.words.clone().next().filter(|typed| !typed.contains('=')) {
            None => kind.usual(),
            Some(typed) if kind.unit().is_empty() => {
                return Err(Mistake::value(
                    command,
                    typed,
                    "no severity is accepted: it is there or it is not",
                ));
            }
            Some(_) => self.number(&format!("a severity in {}", kind.unit()))?,
        };
        // It begins where the branch does.
        let mut defect = Defect { severity, ..Defect::usual(*kind, place, 0.0) };
        self.grown(&mut defect)?;
        Ok(defect)
    }

    /// How a defect grows, comes, goes and ends.
    fn grown(&mut self, defect: &mut Defect) -> Result<(), Mistake> {
        let command = self.place;
        let (mut period, mut share) = (None, None);
        for typed in self.words.by_ref() {
            let times = times(defect.kind.key());
            let (key, value) = typed.split_once('=').unwrap_or((typed, ""));
            if !times.contains(&key) {
                return Err(Mistake::unknown(command, key, &times));
            }
            let value = value.parse().ok().filter(|value: &f64| value.is_finite() && *value >= 0.0);
            let accepted = || Mistake::value(command, typed, format!("accepted is {key}=NUMBER, from 0"));
            let value = value.ok_or_else(accepted)?;
            match key {
                UNTIL => defect.end_seconds = Some(value),
                RAMP => defect.grows_seconds = value,
                PERIOD => period = Some(value),
                _ => share = Some(value),
            }
        }
        defect.spells = match (period, share) {
            (None, None) => None,
            (Some(period_seconds), Some(duty)) => Some(Spells { period_seconds, duty }),
            (Some(_), None) | (None, Some(_)) => {
                return Err(Mistake::missing(
                    command,
                    "intermittent_period_s and intermittent_duty, both or none",
                ));
            }
        };
        Ok(())
    }
}

/// The keys for how a defect of this kind grows, comes, goes and ends.
const UNTIL: &str = "until_s";
const RAMP: &str = "ramp_s";
const PERIOD: &str = "intermittent_period_s";
const SHARE: &str = "intermittent_duty";

/// Those of them that a kind of defect takes.
pub(super) fn times(kind: &str) -> Vec<&'static str> {
    let Some(kind) = Kind::ALL.iter().find(|known| known.key() == kind) else { return Vec::new() };
    let of_growth = kind.grows().then_some(RAMP);
    let of_spells = [PERIOD, SHARE].into_iter().filter(|_| kind.comes_and_goes());
    [UNTIL].into_iter().chain(of_growth).chain(of_spells).collect()
}

fn ticks(place: &'static str, typed: &str) -> Result<u64, Mistake> {
    let ticks = typed.parse().ok().filter(|ticks| (1..=MOST_TICKS).contains(ticks));
    ticks.ok_or_else(|| {
        Mistake::value(place, typed, format!("accepted is a whole number of ticks from 1 to {MOST_TICKS}"))
    })
}
