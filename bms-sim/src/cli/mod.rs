//! # The command line
//!
//! One file a verb, thin over the library. Results go to stdout, all else to stderr. Exit codes: 0 done and as expected, 1 done but
//! an expectation failed, 2 wrong use or bad input, 3 could not read or write, 130 interrupted.

mod check;
mod list;
mod run;
mod why;

use crate::case::{Case, CaseError};
use crate::explain::words;
use crate::recording::file::{self, FileError};
use clap::{Parser, Subcommand};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// The case that is played when none is named.
const DEMONSTRATION: (&str, &str) =
    ("resistive-cell.toml (built in)", include_str!("../../../examples/cases/resistive-cell.toml"));

/// Plays a modelled battery pack under real firmware decisions, and says why they were made.
#[derive(Debug, Parser)]
#[command(version, about, after_help = words::CAUTIONS)]
struct Line {
    #[command(subcommand)]
    verb: Option<Verb>,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Plays a case and tells what happened. Example: run examples/cases/resistive-cell.toml
    #[command(after_help = words::CAUTIONS)]
    Run(run::Run),
    /// Says why: the chain that led to each fault, and whether the pack is dangerous. Example: why examples/cases/loose-joint.toml
    #[command(after_help = words::CAUTIONS)]
    Why(why::Why),
    /// Lists what the firmware can conclude, or what can be wrong with the pack. Example: list faults
    #[command(after_help = words::CAUTIONS)]
    List(list::List),
    /// Checks a case file without playing it. Example: check examples/cases/welded-positive.toml
    #[command(after_help = words::CAUTIONS)]
    Check(check::Check),
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
    match Line::parse().verb {
        Some(Verb::Run(run)) => run.go(),
        Some(Verb::Why(why)) => why.go(),
        Some(Verb::List(list)) => list.go(),
        Some(Verb::Check(check)) => check.go(),
        None => run::demonstrate(),
    }
    .into()
}

/// Reads a case, or says on stderr what is wrong with it.
fn read(path: &Path) -> Result<Case, Ended> {
    if file::is_recording(path) {
        let path = path.display();
        eprintln!("{path}: this is a recording, not a case: use `why {path}`");
        return Err(Ended::BadInput);
    }
    Case::read(path).map_err(|error| {
        eprintln!("{}", error.excerpt(false));
        match error {
            CaseError::Unreadable { .. } => Ended::NotWritten,
            _ => Ended::BadInput,
        }
    })
}

/// Says on stderr what is wrong with a recording.
fn refuse(error: &FileError) -> Ended {
    eprintln!("{error}");
    match error {
        FileError::Unreachable { .. } | FileError::Unwritten { .. } => Ended::NotWritten,
        _ => Ended::BadInput,
    }
}

/// Writes a result to stdout. A reader that has closed the pipe has read enough.
fn show(text: &str, ended: Ended) -> Ended {
    let mut stdout = std::io::stdout().lock();
    match stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()) {
        Ok(()) => ended,
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => ended,
        Err(error) => {
            eprintln!("the result could not be written: {error}");
            Ended::NotWritten
        }
    }
}

/// A path to a case file.
#[derive(Debug, clap::Args)]
struct CasePath {
    /// The case file; those that come with the program are in examples/cases
    case: PathBuf,
}
