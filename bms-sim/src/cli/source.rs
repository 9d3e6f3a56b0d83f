//! What a verb explains: a case that is played now, or a recording that is played again.

use super::progress::Progress;
use super::{Ended, complain, read, refuse, seed};
use crate::case::{Case, Pack, StartError};
use crate::recording::file::{self, Kept};
use crate::recording::{self, Recording};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What is explained.
#[derive(Debug, clap::Args)]
pub(super) struct Source {
    /// A case file, or - for standard input, or a recording that `run --record` wrote
    #[arg(value_name = "RECORDING-or-CASE")]
    path: PathBuf,
    /// Seed of all noise and scatter, instead of the case's; a recording has its own
    #[arg(long, value_name = "NUMBER", value_parser = seed, allow_hyphen_values = true)]
    seed: Option<u64>,
    /// Show no progress
    #[arg(short, long)]
    quiet: bool,
}

/// What is done with a run once it is played, whatever its pack.
pub(super) trait Explains {
    /// `complete` unless the run comes from a file that was cut short.
    fn explain<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        recording: Recording<CELLS, THERMISTORS>,
        complete: bool,
    ) -> Result<Ended, Ended>;
}

impl Source {
    /// Whether no progress is to be shown.
    pub(super) const fn is_quiet(&self) -> bool {
        self.quiet
    }

    /// Whether it comes from standard input.
    pub(super) fn is_stdin(&self) -> bool {
        self.path == Path::new("-")
    }

    /// Plays it and explains it.
    pub(super) fn go(&self, explains: &impl Explains) -> Ended {
        let explained =
            if file::is_recording(&self.path) { self.by_recording(explains) } else { self.by_case(explains) };
        explained.unwrap_or_else(|ended| ended)
    }

    fn by_case(&self, explains: &impl Explains) -> Result<Ended, Ended> {
        let mut case = read(&self.path)?;
        case.seed = self.seed.unwrap_or(case.seed);
        let case = Arc::new(case);
        match case.pack {
            Pack::Crane => explains.explain(self.play::<96, 16>(&case)?, true),
            Pack::Trainer => explains.explain(self.play::<16, 8>(&case)?, true),
        }
    }

    /// A recording is played again from the case inside it, and held to the decisions that it vouches for.
    fn by_recording(&self, explains: &impl Explains) -> Result<Ended, Ended> {
        let kept = file::case_of(&self.path).map_err(|error| refuse(&error))?;
        if let Some(seed) = self.seed {
            let (file, own) = (self.path.display(), kept.case.seed);
            complain(&format!(
                "--seed = {seed}: not accepted with the recording {file}, whose seed is {own}"
            ));
            return Err(Ended::BadInput);
        }
        match kept.case.pack {
            Pack::Crane => explains.explain(self.replay::<96, 16>(&kept)?, kept.complete),
            Pack::Trainer => explains.explain(self.replay::<16, 8>(&kept)?, kept.complete),
        }
    }

    fn play<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        case: &Arc<Case>,
    ) -> Result<Recording<CELLS, THERMISTORS>, Ended> {
        let played = with_progress(case, self.quiet, |progress| recording::play(case, progress));
        played.map_err(|error| unplayed(&error))
    }

    fn replay<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        kept: &Kept,
    ) -> Result<Recording<CELLS, THERMISTORS>, Ended> {
        let played = with_progress(&kept.case, self.quiet, |progress| kept.replay(progress));
        played.map_err(|error| refuse(&error))
    }
}

/// Plays with progress.
pub(super) fn with_progress<T>(
    case: &Case,
    quiet: bool,
    play: impl FnOnce(&mut dyn FnMut(f64) -> bool) -> T,
) -> T {
    until_asked(case, quiet, &AtomicBool::new(false), play)
}

/// Plays with progress, no further than until it is asked to stop.
pub(super) fn until_asked<T>(
    case: &Case,
    quiet: bool,
    stop: &AtomicBool,
    play: impl FnOnce(&mut dyn FnMut(f64) -> bool) -> T,
) -> T {
    let mut progress = Progress::of(case, quiet);
    let played = play(&mut |seconds| {
        progress.at(seconds);
        !stop.load(Ordering::Relaxed)
    });
    progress.done();
    played
}

/// Says on stderr that the case cannot be played.
pub(super) fn unplayed(error: &StartError) -> Ended {
    complain(error);
    Ended::BadInput
}
