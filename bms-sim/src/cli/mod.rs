//! # The command line
//!
//! One file a verb, thin over the library. Results go to stdout, all else to stderr. Exit codes: 0 done and as expected, 1 done but
//! an expectation failed, 2 wrong use or bad input, 3 could not read or write, 130 interrupted.
//!
//! An error says `place = value: what is accepted`. A terminal shows a few words bold or coloured, unless `--no-color` is given or
//! `NO_COLOR` is set; the words alone say the same.
//!
//! # JSON
//!
//! With `--json` each verb prints its result as one document. All have `schema` (1, the only one there is) and `generator` (name and
//! version of the program). The unit ends each key that holds a number with one.
//!
//! | verb | holds besides |
//! | --- | --- |
//! | `run`, `why` | what [`document`](crate::explain::document) describes, both the same but for `distances`; `why --not` and `why --against` what separates two, described there too |
//! | `step` | not one document but one a line, for each stop and each answer: see [`stop`](crate::explain::stop) |
//! | `export` | no document but tables: see [`export`](crate::recording::export) |
//! | `check` | `accepted`: true; `case`: as there. What is not accepted is said on stderr alone, with exit code 2 |
//! | `list faults` | `pack`: whose default limits they are; `faults`: a list in the firmware's order, each with `key`, `name`, `meaning`, `trip_…` and `release_…` (left out where the fault is found by its own rule), `dwell_seconds`, `reaction` |
//! | `list defects` | `defects`: a list, each with `kind`, `name`, `changes`, `place`, `severity`, and `grows`: whether `ramp_s` is accepted |
//! | `dictionary` | `seed`; `entries`: a list, each with `defect`, `place` (from 0), `observation`, `rows` and `undetected`; `confusions`; see [`dictionary`](crate::dictionary) |
//! | `false-alarms` | `seed`, `stories`, `hours`; `alarms`: a list of corner's number, corner, and what was Confirmed; `near_misses`: a list of fault and count |
//! | `survey` | `title`, `digest`, `seed`, `prefixes`, `runs`; `settings`, `curves` and `against_first`: lists, see [`Summary`](crate::survey::Summary) |
//! | `rates` | `seed`; `rates`: a list of what each place comes to, see [`Row`](crate::survey::rare::rates::Row) |
//! | `list repairs` | `repairs`: a list, each with `kind`, `name`, `does`, `place`, and `mends`: the defects that go with the old part |
//! | `list words` | `words`: a list, each with `word`, `forms` (as sentences use it) and `means` |
//! | `place` | `key` and, where places have names, `names`; `null` where there is only one place |
//! | `severity` | `key`, `unit`, `least`, `most`, `usual`; `null` where the defect is only present or absent |

mod aside;
mod check;
mod dictionary;
mod export;
mod false_alarms;
mod interrupt;
mod keeping;
mod list;
mod merge;
mod page;
mod progress;
mod rates;
mod rationale;
mod report;
mod rig;
mod run;
mod source;
mod step;
mod survey;
mod why;

use crate::case::{Case, CaseError, MOST_SEED, nearest};
use crate::explain::words;
use crate::recording::file::{self, FileError};
use anstyle::{AnsiColor, Style};
use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Parser, Subcommand};
use serde::Serialize;
use std::error::Error as _;
use std::fmt::Display;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// The case that is played when none is named.
const DEMONSTRATION: (&str, &str) =
    ("resistive-cell.toml (built in)", include_str!("../../../examples/cases/resistive-cell.toml"));

/// Headlines on a terminal.
const TITLE: Style = Style::new().bold();

/// What went wrong, on a terminal.
const ALARM: Style = AnsiColor::Red.on_default().bold();

/// Plays a modelled battery pack under real firmware decisions, and says why they were made.
#[derive(Debug, Parser)]
#[command(version, about, after_help = words::CAUTIONS)]
struct Line {
    #[command(subcommand)]
    verb: Option<Verb>,
    /// Show nothing bold or coloured, as if `NO_COLOR` were set
    #[arg(long, global = true)]
    no_color: bool,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Plays a case and tells what happened. Example: run examples/cases/resistive-cell.toml
    #[command(after_help = words::CAUTIONS)]
    Run(run::Run),
    /// Says why: the chain that led to each fault, and whether the pack is dangerous. Example: why examples/cases/loose-joint.toml
    #[command(after_help = words::CAUTIONS)]
    Why(why::Why),
    /// Steps through a case, forwards and backwards, and shows every tick. Example: step examples/cases/open-thermistor.toml
    #[command(after_help = words::CAUTIONS)]
    Step(step::Step),
    /// Serves a live page on which a case is played, broken and mended. Example: page examples/cases/loose-joint.toml
    #[command(after_help = words::CAUTIONS)]
    Page(page::PageOf),
    /// Writes one HTML file with what happened, why, and pictures. Example: report examples/cases/loose-joint.toml --to joint.html
    #[command(after_help = words::CAUTIONS)]
    Report(report::ReportOf),
    /// Writes everything that was measured, true and decided in each tick, and all that happened, as tables. Example: export examples/cases/loose-joint.toml --to joint.csv --every 0.1
    #[command(after_help = words::CAUTIONS)]
    Export(export::Export),
    /// Plays a case against the same firmware on a target, and holds every decision against the host's. Example: rig examples/cases/open-thermistor.toml --to tcp:localhost:4000
    #[command(after_help = words::CAUTIONS)]
    Rig(rig::Rig),
    /// Lists what the firmware can conclude, what can be wrong with the pack, or what the words mean. Example: list faults
    #[command(after_help = words::CAUTIONS)]
    List(list::List),
    /// Checks a case file without playing it. Example: check examples/cases/welded-positive.toml
    #[command(after_help = words::CAUTIONS)]
    Check(check::Check),
    /// Computes which faults every defect raises, how soon, and what it can be mistaken for. Example: dictionary --quick
    #[command(after_help = words::CAUTIONS)]
    Dictionary(dictionary::DictionaryOf),
    /// Lets sound packs work and rest in every corner of what a sound pack may be, and counts the faults found. Example: false-alarms --every 50
    #[command(after_help = words::CAUTIONS)]
    FalseAlarms(false_alarms::FalseAlarms),
    /// Measures how well limits detect and how rarely they cry wolf, over many drawn packs. Example: survey examples/surveys/loose-joint.toml
    #[command(after_help = words::CAUTIONS)]
    Survey(survey::SurveyOf),
    /// Finds how often noise alone accuses a sound pack that stands near a limit, down to once in a million years. Example: rates --quick --every 6
    #[command(after_help = words::CAUTIONS)]
    Rates(rates::Rates),
    /// Puts the results of parts of a survey together. Example: merge part-1.results part-2.results --to joint.results
    #[command(after_help = words::CAUTIONS)]
    Merge(merge::Merge),
}

/// How a verb ended.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Ended {
    AsExpected,
    Unexpected,
    BadInput,
    NotWritten,
    Interrupted,
}

impl From<Ended> for ExitCode {
    fn from(ended: Ended) -> Self {
        match ended {
            Ended::AsExpected => Self::SUCCESS,
            Ended::Unexpected => Self::from(1),
            Ended::BadInput => Self::from(2),
            Ended::NotWritten => Self::from(3),
            Ended::Interrupted => Self::from(130),
        }
    }
}

/// Reads the command line and does what it says.
#[must_use]
pub fn main() -> ExitCode {
    std::panic::set_hook(Box::new(|panic| {
        let line: Vec<String> = std::env::args().collect();
        eprintln!("defect in this program, not in the case: {panic}");
        eprintln!("please report it with the case file and this line: {}", line.join(" "));
    }));
    // Looked for before all else: what is wrong with the line itself is shown as wished too.
    if std::env::args_os().any(|word| word == NO_COLOR) {
        anstream::ColorChoice::Never.write_global();
    }
    let line = match Line::try_parse() {
        Ok(line) => line,
        Err(error) => return misused(&error),
    };
    match line.verb {
        Some(Verb::Run(run)) => run.go(),
        Some(Verb::Why(why)) => why.go(),
        Some(Verb::Step(step)) => step.go(),
        Some(Verb::Page(page)) => page.go(),
        Some(Verb::Report(report)) => report.go(),
        Some(Verb::Export(export)) => export.go(),
        Some(Verb::Rig(rig)) => rig.go(),
        Some(Verb::List(list)) => list.go(),
        Some(Verb::Check(check)) => check.go(),
        Some(Verb::Dictionary(dictionary)) => dictionary.go(),
        Some(Verb::FalseAlarms(alarms)) => alarms.go(),
        Some(Verb::Survey(survey)) => survey.go(),
        Some(Verb::Rates(rates)) => rates.go(),
        Some(Verb::Merge(merge)) => merge.go(),
        None => run::demonstrate(),
    }
    .into()
}

/// The option that the line is searched for before it is read.
const NO_COLOR: &str = "--no-color";

/// Says what is wrong with the command line, or what was asked for with `--help` and `--version`.
fn misused(error: &clap::Error) -> ExitCode {
    let said = match mistake(error) {
        Some(mistake) => {
            complain(&mistake);
            Ok(())
        }
        None => error.print(),
    };
    match (said, error.use_stderr()) {
        (Ok(()), true) => Ended::BadInput,
        (Ok(()), false) => Ended::AsExpected,
        (Err(_), _) => Ended::NotWritten,
    }
    .into()
}

/// A value that is not accepted, said as everywhere: place, value found, what is accepted.
fn mistake(error: &clap::Error) -> Option<String> {
    let text = |kind| match error.get(kind)? {
        ContextValue::String(text) => Some(text.as_str()),
        _ => None,
    };
    let place = text(ContextKind::InvalidArg)?.split_whitespace().next()?.trim_matches(['<', '>', '[', ']']);
    let found = text(ContextKind::InvalidValue).filter(|found| !found.is_empty())?;
    let accepted = match error.kind() {
        ErrorKind::ValueValidation => error.source()?.to_string(),
        ErrorKind::InvalidValue => {
            match (text(ContextKind::SuggestedValue), error.get(ContextKind::ValidValue)?) {
                (Some(near), _) => format!("not known here; did you mean {near}?"),
                (None, ContextValue::Strings(all)) => {
                    format!("not known here; accepted are {}", all.join(", "))
                }
                (None, _) => return None,
            }
        }
        _ => return None,
    };
    Some(format!("{place} = {found}: {accepted}"))
}

/// A seed, or what is accepted as one: what a case file can hold.
fn seed(typed: &str) -> Result<u64, String> {
    let seed = typed.parse().ok().filter(|seed| *seed <= MOST_SEED);
    seed.ok_or_else(|| format!("accepted is a whole number from 0 to {MOST_SEED}"))
}

/// Says on stderr what is wrong.
fn complain(problem: &impl Display) {
    anstream::eprintln!("{ALARM}error:{ALARM:#} {problem}");
}

/// Reads a case, from standard input if the path is `-`; or says on stderr what is wrong with it.
fn read(path: &Path) -> Result<Case, Ended> {
    let case = if path == Path::new("-") { from_stdin() } else { from_file(path)? };
    case.map_err(|error| match &error {
        CaseError::Unreadable { source, .. } => {
            let near = likely(path).filter(|_| source.kind() == std::io::ErrorKind::NotFound);
            let near = near.map_or_else(String::new, |near| format!("; did you mean {}?", near.display()));
            complain(&format!("{error}{near}"));
            Ended::NotWritten
        }
        CaseError::Mistaken(_) => {
            anstream::eprintln!("{}", error.excerpt(true));
            Ended::BadInput
        }
    })
}

fn from_stdin() -> Result<Case, CaseError> {
    let (file, mut bytes) = ("stdin".to_owned(), Vec::new());
    match std::io::stdin().lock().read_to_end(&mut bytes) {
        Ok(_) => Case::from_bytes(&bytes, &file),
        Err(source) => Err(CaseError::Unreadable { file, source }),
    }
}

fn from_file(path: &Path) -> Result<Result<Case, CaseError>, Ended> {
    if file::is_recording(path) {
        let path = path.display();
        complain(&format!("{path}: this is a recording, not a case: use `why {path}`"));
        return Err(Ended::BadInput);
    }
    Ok(Case::read(path))
}

/// What was probably meant by the name of a file that is not there: the recording of a run that was killed, or the case file in the same
/// folder whose name is most like it.
fn likely(path: &Path) -> Option<PathBuf> {
    let part = file::unfinished(path);
    if part.is_file() {
        return Some(part);
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    let entries = std::fs::read_dir(folder.unwrap_or(Path::new("."))).ok()?;
    let names = entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok());
    // Compared without the ending, which makes any two names look alike.
    let mut names: Vec<String> =
        names.filter_map(|name| name.strip_suffix(".toml").map(str::to_owned)).collect();
    names.sort();
    let near = nearest(path.file_stem()?.to_str()?, names.iter().map(String::as_str))?;
    Some(path.with_file_name(format!("{near}.toml")))
}

/// Says on stderr what is wrong with a recording.
fn refuse(error: &FileError) -> Ended {
    complain(error);
    match error {
        FileError::Unreachable { .. } | FileError::Unwritten { .. } => Ended::NotWritten,
        _ => Ended::BadInput,
    }
}

/// Writes a result to stdout. A reader that has closed the pipe has read enough.
fn show(text: &str, ended: Ended) -> Ended {
    let mut stdout = anstream::stdout().lock();
    match stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()) {
        Ok(()) => ended,
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => ended,
        Err(error) => {
            complain(&format!("the result could not be written: {error}"));
            Ended::NotWritten
        }
    }
}

/// Writes a result to stdout as one JSON document.
fn show_json(document: &impl Serialize, ended: Ended) -> Ended {
    match serde_json::to_string_pretty(document) {
        Ok(text) => show(&(text + "\n"), ended),
        Err(error) => {
            complain(&format!("the document could not be written: {error}"));
            Ended::NotWritten
        }
    }
}

/// The text with its first line as a headline.
fn titled(text: &str) -> String {
    match text.split_once('\n') {
        Some((title, rest)) => format!("{TITLE}{title}{TITLE:#}\n{rest}"),
        None => text.to_owned(),
    }
}

/// A path to a case file.
#[derive(Debug, clap::Args)]
struct CasePath {
    /// The case file, or - for standard input; those that come with the program are in examples/cases
    case: PathBuf,
}
