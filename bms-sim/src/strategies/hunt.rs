//! # Hunting for a story that breaks a law
//!
//! [`hunt`] plays stories until one breaks the law, shrinks it, and writes it as a case file with its reason. From there the simulator's own
//! verbs say more than any assertion: `run FILE` tells what happened, `why FILE` what led to it, `step FILE` goes through it.
//!
//! [`danger`] is the question most laws ask: whether truth passes a safe bound, and what the firmware knew, and when.

use super::story::Story;
use crate::case::{Case, Pack, StartError};
use crate::explain::words;
use crate::run::Loop;
use crate::world::truth::Breach;
use bms_core::Fault;
use proptest::prelude::*;
use proptest::test_runner::{TestError, TestRunner};
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A story that breaks a law, and where it was written.
#[derive(Clone, Debug)]
pub struct Broken {
    /// The story, shrunk.
    pub story: Story,
    /// How it breaks the law.
    pub reason: String,
    /// Its case file.
    pub file: PathBuf,
}

impl fmt::Display for Broken {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        let file = self.file.display();
        write!(
            to,
            "{}\nits case file: {file}\nwhat happens: bms-sim run {file}\nand why: bms-sim why {file}",
            self.reason
        )
    }
}

/// Why a hunt came to nothing.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum HuntError {
    /// The case file cannot be written.
    #[error("{file}: {source}")]
    NotWritten {
        /// The file.
        file: String,
        /// Why.
        source: std::io::Error,
    },
    /// proptest gave up before it had drawn as many stories as asked for.
    #[error("given up: {0}")]
    GivenUp(String),
}

/// Plays as many stories as the configuration says, and gives the one that breaks the law, shrunk and written as `name.toml` into this folder;
/// nothing when the law holds for all of them.
///
/// # Errors
/// When the file cannot be written.
pub fn hunt(
    stories: impl Strategy<Value = Story>,
    config: &ProptestConfig,
    (folder, name): (&Path, &str),
    law: impl Fn(&Story) -> Result<(), String>,
) -> Result<Option<Broken>, HuntError> {
    let mut runner = TestRunner::new(ProptestConfig { failure_persistence: None, ..config.clone() });
    let held = runner.run(&stories, |story| law(&story).map_err(TestCaseError::fail));
    let (reason, story) = match held {
        Ok(()) => return Ok(None),
        Err(TestError::Abort(reason)) => return Err(HuntError::GivenUp(reason.to_string())),
        Err(TestError::Fail(reason, story)) => (reason.to_string(), story),
    };
    let file = folder.join(format!("{name}.toml"));
    let text =
        story.told(&format!("Found by a property test: {name}"), &format!("The law is broken: {reason}."));
    let written = std::fs::create_dir_all(folder).and_then(|()| std::fs::write(&file, text));
    written.map_err(|source| HuntError::NotWritten { file: file.display().to_string(), source })?;
    Ok(Some(Broken { story, reason, file }))
}

/// How a pack comes to be dangerous, and what the firmware knew.
#[derive(Clone, Debug, PartialEq)]
pub struct Danger {
    /// The first safe bound that truth passes, while the firmware drives.
    pub breach: Breach,
    /// The faults that became Confirmed in the whole story, each with its time in seconds.
    pub known: Vec<(Fault, f64)>,
}

impl Danger {
    /// Whether any fault was Confirmed by so many seconds after the bound was passed.
    #[must_use]
    pub fn known_within(&self, seconds: f64) -> bool {
        self.known.iter().any(|(_, at)| *at <= self.breach.seconds + seconds)
    }
}

impl fmt::Display for Danger {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(to, "at {:.2} s {}", self.breach.seconds, words::breach(&self.breach))?;
        match self.known.as_slice() {
            [] => to.write_str(", and no fault is Confirmed"),
            known => {
                let told =
                    known.iter().map(|(fault, seconds)| format!("{} at {seconds:.2} s", fault.words()));
                write!(to, "; Confirmed: {}", told.collect::<Vec<_>>().join(", "))
            }
        }
    }
}

/// Plays a case to its end, and gives the first safe bound that truth passes; nothing where none is passed.
///
/// # Errors
/// When its world cannot be built.
pub fn danger(case: &Arc<Case>) -> Result<Option<Danger>, StartError> {
    match case.pack {
        Pack::Crane => of_pack::<96, 16>(case),
        Pack::Trainer => of_pack::<16, 8>(case),
    }
}

fn of_pack<const CELLS: usize, const THERMISTORS: usize>(
    case: &Arc<Case>,
) -> Result<Option<Danger>, StartError> {
    let mut now = Loop::<CELLS, THERMISTORS>::new(case)?;
    let (mut passed, mut known) = (None, Vec::<(Fault, f64)>::new());
    while !now.over() {
        let seconds = now.seconds();
        for fault in now.advance(&mut ()).faults.confirmed.iter() {
            if known.iter().all(|(before, _)| *before != fault) {
                known.push((fault, seconds));
            }
        }
        passed = passed.or_else(|| case.safe.first_breach(&now.world.truth()));
    }
    Ok(passed.map(|breach| Danger { breach, known }))
}
