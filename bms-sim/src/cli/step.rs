//! `step`: forwards and backwards through a case, one command a line.
//!
//! On a terminal lines are edited with history and completion; from a pipe they are read as they come, without a prompt, so that a
//! session can be written down, tested and read aloud. A line that is no command is complained of on stderr; the next one is read all the
//! same, and a pipe that held such a line ends with exit code 2.

mod asked;
mod command;
mod input;
mod save;

use super::rationale::Question;
use super::source::{Explains, Source, unplayed, until_asked};
use super::{ALARM, Ended, TITLE, complain, interrupt, show};
use crate::case::{Change, nearest};
use crate::explain::compare::Comparison;
use crate::explain::picture::{self, WIDTH, wrapped};
use crate::explain::stop::{Answer, StopShown};
use crate::explain::{Account, words};
use crate::recording::Recording;
use crate::recording::stepper::{Branch, Stepper};
use asked::Found;
use command::{Command, Shown};
use input::{Input, Line};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// What `step` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Step {
    #[command(flatten)]
    source: Source,
    /// Print one JSON document a line for each stop and each answer
    #[arg(long)]
    json: bool,
}

impl Step {
    pub(super) fn go(&self) -> Ended {
        if self.source.is_stdin() {
            complain(
                &"RECORDING-or-CASE = -: standard input has the commands; accepted is the name of a file",
            );
            return Ended::BadInput;
        }
        self.source.go(self)
    }
}

impl Explains for Step {
    fn explain<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Result<Ended, Ended> {
        let mut input = Input::open().map_err(|error| broken(&error))?;
        interrupt::listen("the branches");
        let stepper = Stepper::new(Arc::new(recording));
        let answers = if self.json { Answers::Documents } else { Answers::Pictures };
        let quiet = self.source.is_quiet();
        let mut session =
            Session { stepper, answers, quiet, complete, refused: false, accounts: BTreeMap::new() };
        if !self.json {
            written(&session.introduction())?;
        }
        session.follow(&mut input)
    }
}

fn broken(error: &str) -> Ended {
    complain(&format!("the commands could not be read: {error}"));
    Ended::NotWritten
}

/// Writes an answer; whoever closed the pipe has read enough.
fn written(text: &str) -> Result<(), Ended> {
    match show(text, Ended::AsExpected) {
        Ended::AsExpected => Ok(()),
        ended => Err(ended),
    }
}

/// Writes an answer as one document on a line.
fn document(document: &impl serde::Serialize) -> Result<(), Ended> {
    match serde_json::to_string(document) {
        Ok(text) => written(&(text + "\n")),
        Err(error) => {
            complain(&format!("the document could not be written: {error}"));
            Err(Ended::NotWritten)
        }
    }
}

/// As what answers are written.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Answers {
    /// Pictures and sentences.
    Pictures,
    /// One JSON document a line.
    Documents,
}

/// Someone who steps through a case.
struct Session<const CELLS: usize, const THERMISTORS: usize> {
    stepper: Stepper<CELLS, THERMISTORS>,
    answers: Answers,
    quiet: bool,
    /// Whether the file that it comes from is.
    complete: bool,
    /// Whether anything was refused so far.
    refused: bool,
    /// What playing again found out of each branch of which it was asked for, by the branch's place.
    accounts: BTreeMap<usize, Arc<Account>>,
}

impl<const CELLS: usize, const THERMISTORS: usize> Session<CELLS, THERMISTORS> {
    fn follow(&mut self, input: &mut Input) -> Result<Ended, Ended> {
        loop {
            let ended = if self.refused && input.is_pipe() { Ended::BadInput } else { Ended::AsExpected };
            let line = match input.next() {
                Line::Typed(line) => line,
                Line::Over => return Ok(ended),
                Line::Broken(error) => return Err(broken(&error)),
            };
            match command::parse(&line) {
                Ok(Some(Command::Quit)) => return Ok(ended),
                Ok(Some(command)) => self.answer(line.trim(), &command)?,
                Ok(None) => {}
                Err(mistake) => self.refuse(&mistake),
            }
        }
    }

    fn answer(&mut self, typed: &str, command: &Command) -> Result<(), Ended> {
        let moved = match *command {
            Command::By(way, ticks) => self.stepper.by(way, ticks),
            Command::Next(sought, way) => self.stepper.to_next(sought, way),
            Command::To(seconds) => {
                self.stepper.to_seconds(seconds);
                true
            }
            Command::Here => true,
            Command::Show(shown) => {
                let lines = self.shown(shown);
                return self.say(typed, lines);
            }
            Command::Why(question) => {
                let lines = self.why(question)?;
                return self.say(typed, lines);
            }
            Command::Save(ref name) => match save::save(self.recording(), name, self.quiet) {
                Ok(said) => return self.say(typed, wrapped(&said, WIDTH)),
                Err(error) => {
                    self.refuse(&error);
                    return Ok(());
                }
            },
            Command::Help(None) => return self.say(typed, command::help()),
            Command::Help(Some(term)) => return self.say(typed, wrapped(&term.told(), WIDTH)),
            Command::Quit => return Ok(()),
            Command::Branch(ref change) => return self.branch(typed, change),
            Command::Work(work, amps) => {
                let hours = self.recording().case.pack.ampere_hours();
                let rate_c = amps.map_or(work.usual_rate().abs(), |amps| amps / hours);
                return self.branch(typed, &Change::Duty { work, rate_c });
            }
            Command::Branches => return self.say(typed, self.branches()),
            Command::Go(ref name) => match self.known(name) {
                Ok(_) => self.stepper.go(name),
                Err(error) => {
                    self.refuse(&error);
                    return Ok(());
                }
            },
            Command::Compare(ref one, ref other) => match (self.known(one), self.known(other)) {
                (Ok(a), Ok(b)) => {
                    let lines = Comparison::of(&self.stepper, a, b).lines(one, other);
                    let lines = lines.iter().flat_map(|line| picture::hung(line, WIDTH)).collect();
                    return self.say(typed, lines);
                }
                (Err(error), _) | (_, Err(error)) => {
                    self.refuse(&error);
                    return Ok(());
                }
            },
        };
        if moved {
            self.stop(typed)
        } else {
            self.say(typed, vec![words::stop::nothing_there(command.way())])
        }
    }

    /// Goes another way from here, and says so.
    fn branch(&mut self, typed: &str, change: &Change) -> Result<(), Ended> {
        let (case, quiet) = (Arc::clone(&self.recording().case), self.quiet);
        let branch = |stop: &AtomicBool| {
            until_asked(&case, quiet, stop, |progress| self.stepper.branch(change, progress))
        };
        match interrupt::during(branch) {
            Ok(true) => self.say(typed, wrapped(&self.listed(self.stepper.here()), WIDTH)),
            Ok(false) => self.say(typed, vec![words::stop::interrupted("there is no branch")]),
            Err(error) => {
                self.refuse(&error);
                Ok(())
            }
        }
    }

    fn branches(&self) -> Vec<String> {
        let listed = self.stepper.branches().iter().map(|branch| self.listed(branch));
        listed.flat_map(|line| wrapped(&line, WIDTH)).collect()
    }

    fn listed(&self, branch: &Branch<CELLS, THERMISTORS>) -> String {
        let trunk = branch
            .from
            .and_then(|(trunk, tick)| Some((self.stepper.branches().get(trunk)?.name.as_str(), tick)));
        words::stop::branch(
            &branch.name,
            trunk,
            branch.change.as_ref(),
            &branch.recording.case,
            branch.name == self.stepper.here().name,
        )
    }

    /// The place of a branch, or what is wrong with its name.
    fn known(&self, name: &str) -> Result<usize, String> {
        let names = || self.stepper.branches().iter().map(|branch| branch.name.as_str());
        self.stepper.place(name).ok_or_else(|| match nearest(name, names()) {
            Some(near) => format!("branch = {name}: not known here; did you mean {near}?"),
            None => format!(
                "branch = {name}: not known here; accepted are {}",
                names().collect::<Vec<_>>().join(", ")
            ),
        })
    }

    /// Says on stderr that something is not done.
    fn refuse(&mut self, error: &impl std::fmt::Display) {
        complain(error);
        self.refused = true;
    }

    fn recording(&self) -> &Arc<Recording<CELLS, THERMISTORS>> {
        &self.stepper.here().recording
    }

    /// Shows where it stands.
    fn stop(&mut self, typed: &str) -> Result<(), Ended> {
        let Some(stop) = self.stepper.stop() else {
            return self.say(typed, vec![words::stop::before_the_first()]);
        };
        let (case, name) = (&self.recording().case, self.stepper.here().name.as_str());
        if self.answers == Answers::Documents {
            return document(&StopShown::of(&stop, case, name));
        }
        let lines = picture::of(&stop, case, name);
        let text = lines.iter().map(|line| match (line.alarming, line.name) {
            (true, _) => format!("{ALARM}{}{ALARM:#}\n", line.plain()),
            (false, Some(name)) => {
                format!("{TITLE}{name}{TITLE:#}{}\n", line.plain().get(name.len()..).unwrap_or_default())
            }
            (false, None) => line.plain() + "\n",
        });
        written(&(text.collect::<String>() + "\n"))
    }

    /// Says something that is no stop.
    fn say(&self, typed: &str, lines: Vec<String>) -> Result<(), Ended> {
        if self.answers == Answers::Documents {
            return document(&Answer { command: typed, said: lines });
        }
        written(&(lines.join("\n") + "\n\n"))
    }

    fn shown(&mut self, shown: Shown) -> Vec<String> {
        match shown {
            Shown::AtLength(what) => what.lines(self.stepper.stop().as_ref(), &self.recording().case),
            Shown::Snapshots => {
                let branches = self.stepper.branches().iter();
                let costs = branches.map(|branch| (&branch.name, branch.recording.snapshots_cost()));
                let costs = costs.map(|(name, cost)| words::stop::snapshots(name, &cost));
                let near = words::stop::near_by(&self.stepper.near_cost());
                costs.chain([near]).flat_map(|line| wrapped(&line, WIDTH)).collect()
            }
        }
    }

    fn why(&mut self, question: Question) -> Result<Vec<String>, Ended> {
        let place = self.stepper.place(&self.stepper.here().name).unwrap_or_default();
        let (recording, known) = (Arc::clone(self.recording()), self.accounts.get(&place).cloned());
        let found =
            asked::found(&recording, known, question, self.quiet).map_err(|error| unplayed(&error))?;
        let Some(Found { account, answers }) = found else {
            return Ok(vec![words::stop::interrupted("nothing was found out")]);
        };
        let text = question.answered(&recording, &account, &answers, self.complete);
        self.accounts.insert(place, account);
        let text = text.map_err(|error| unplayed(&error))?;
        Ok(text.lines().flat_map(|line| picture::hung(line, WIDTH)).collect())
    }

    /// What there is to step through, and how.
    fn introduction(&self) -> String {
        let recording = self.recording();
        let (case, seconds) = (&recording.case, recording.end.seconds());
        let cut =
            (!recording.end.over()).then(|| words::cut_short(seconds, case.duration_seconds, self.complete));
        let about = words::stop::introduction(recording.ticks, seconds, recording.events.len());
        let texts = [
            Some(case.story.clone()),
            cut,
            Some(about),
            Some(words::CAUTIONS.to_owned()),
            Some(words::stop::how_to_begin()),
        ];
        let lines = texts.into_iter().flatten().flat_map(|text| wrapped(&text, WIDTH));
        format!("{TITLE}{}{TITLE:#}\n{}\n\n", case.title, lines.collect::<Vec<_>>().join("\n"))
    }
}
