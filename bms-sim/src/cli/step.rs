//! `step`: forwards and backwards through a case, one command a line.
//!
//! On a terminal lines are edited with history and completion; from a pipe they are read as they come, without a prompt, so that a
//! session can be written down, tested and read aloud. A line that is no command is complained of on stderr; the next one is read all the
//! same, and a pipe that held such a line ends with exit code 2.

mod command;
mod input;

use super::source::{Explains, Source, unplayed, with_progress};
use super::{ALARM, Ended, TITLE, complain, show};
use crate::case::{Case, Change, nearest};
use crate::explain::compare::Comparison;
use crate::explain::picture::{self, WIDTH, wrapped};
use crate::explain::stop::{Answer, StopShown};
use crate::explain::{self, Account, at_length, words};
use crate::recording::Recording;
use crate::recording::stepper::{Branch, Stepper, Stop};
use bms_core::Fault;
use command::{Command, Shown};
use input::{Input, Line};
use std::cell::OnceCell;
use std::sync::Arc;

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
        let stepper = Stepper::new(Arc::new(recording));
        let (json, quiet) = (self.json, self.source.is_quiet());
        let mut session = Session { stepper, json, quiet, refused: false, account: OnceCell::new() };
        if !self.json {
            written(&session.introduction(complete))?;
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

/// Someone who steps through a case.
struct Session<const CELLS: usize, const THERMISTORS: usize> {
    stepper: Stepper<CELLS, THERMISTORS>,
    json: bool,
    quiet: bool,
    /// Whether anything was refused so far.
    refused: bool,
    /// What playing again found out, once it was asked for.
    account: OnceCell<Account>,
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
            Command::Show(shown) => return self.say(typed, self.shown(shown)),
            Command::Why(fault) => return self.say(typed, self.why(fault)?),
            Command::Help(None) => return self.say(typed, command::help()),
            Command::Help(Some(term)) => return self.say(typed, wrapped(&term.told(), WIDTH)),
            Command::Quit => return Ok(()),
            Command::Branch(ref change) => return self.branch(typed, change),
            Command::Work(work) => {
                let amps = work.usual_rate().abs() * self.recording().case.pack.ampere_hours();
                return self.branch(typed, &Change::Duty(work, amps));
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
        match with_progress(&case, quiet, |progress| self.stepper.branch(change, progress)) {
            Ok(()) => {
                self.account = OnceCell::new();
                self.say(typed, vec![self.listed(self.stepper.here())])
            }
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
    fn stop(&self, typed: &str) -> Result<(), Ended> {
        let Some(stop) = self.stepper.stop() else {
            return self.say(typed, vec![words::stop::before_the_first()]);
        };
        let (case, name) = (&self.recording().case, self.stepper.here().name.as_str());
        if self.json {
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
        if self.json {
            return document(&Answer { command: typed, said: lines });
        }
        written(&(lines.join("\n") + "\n\n"))
    }

    fn shown(&self, shown: Shown) -> Vec<String> {
        let case = &self.recording().case;
        let of_stop: fn(&Stop<CELLS, THERMISTORS>, &Case) -> Vec<String> = match shown {
            Shown::Cells => |stop, _| at_length::cells(stop),
            Shown::Temperatures => |stop, _| at_length::temperatures(stop),
            Shown::Faults => |stop, _| at_length::faults(stop),
            Shown::Limits => |stop, _| at_length::limits(stop),
            Shown::Sequence => |stop, _| at_length::sequence(stop),
            Shown::Evidence => |stop, case| at_length::evidence(stop, case),
            Shown::Defects => return at_length::defects(case),
            Shown::Snapshots => {
                let branches = self.stepper.branches().iter();
                let costs = branches.map(|branch| (&branch.name, branch.recording.snapshots_cost()));
                let costs = costs.map(|(name, cost)| words::stop::snapshots(name, &cost));
                return costs.flat_map(|line| wrapped(&line, WIDTH)).collect();
            }
        };
        let stop = self.stepper.stop();
        stop.map_or_else(|| vec![words::stop::before_the_first()], |stop| of_stop(&stop, case))
    }

    fn why(&self, fault: Fault) -> Result<Vec<String>, Ended> {
        let recording = self.recording();
        let account = if let Some(account) = self.account.get() {
            account
        } else {
            let account = Account::of(recording).map_err(|error| unplayed(&error))?;
            self.account.get_or_init(|| account)
        };
        let text = explain::why(recording, account, fault).map_err(|error| unplayed(&error))?;
        Ok(text.lines().flat_map(|line| picture::hung(line, WIDTH)).collect())
    }

    /// What there is to step through, and how.
    fn introduction(&self, complete: bool) -> String {
        let recording = self.recording();
        let (case, seconds) = (&recording.case, recording.end.seconds());
        let cut = (!recording.end.over()).then(|| words::cut_short(seconds, case.duration_seconds, complete));
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
