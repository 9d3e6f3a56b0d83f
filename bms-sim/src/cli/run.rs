//! `run`: plays a case with progress and tells what happened as a short story.

use super::{CasePath, DEMONSTRATION, Ended, read, show};
use crate::case::{Case, Pack};
use crate::explain::story;
use crate::explain::verdict::Verdict;
use crate::recording::{self, Recording};
use indicatif::{ProgressBar, ProgressStyle};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What a newcomer may try after the demonstration.
const NEXT: &str = "
Try next:
  cargo run --release -- why examples/cases/resistive-cell.toml
  cargo run --release -- run examples/cases/welded-positive.toml
  cargo run --release -- list defects
  cargo run --release -- --help
";

/// What `run` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Run {
    #[command(flatten)]
    path: CasePath,
}

impl Run {
    pub(super) fn go(&self) -> Ended {
        read(&self.path.case).map_or_else(|ended| ended, play)
    }
}

/// Plays the built-in case and says what to try next.
pub(super) fn demonstrate() -> Ended {
    let (name, text) = DEMONSTRATION;
    let case = match Case::parse(text, name) {
        Ok(case) => case,
        Err(error) => {
            eprintln!("{}", error.excerpt(false));
            return Ended::BadInput;
        }
    };
    show(NEXT, play(case))
}

fn play(case: Case) -> Ended {
    match case.pack {
        Pack::Crane => play_pack::<96, 16>(case),
        Pack::Trainer => play_pack::<16, 8>(case),
    }
}

fn play_pack<const CELLS: usize, const THERMISTORS: usize>(case: Case) -> Ended {
    static INTERRUPTED: AtomicBool = AtomicBool::new(false);
    if let Err(error) = ctrlc::set_handler(|| INTERRUPTED.store(true, Ordering::Relaxed)) {
        eprintln!("an interruption will lose the story: {error}");
    }
    let case = Arc::new(case);
    let bar = progress(&case);
    let played = recording::play::<CELLS, THERMISTORS>(&case, |seconds| {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "whole seconds, for show"
        )]
        bar.set_position(seconds as u64);
        !INTERRUPTED.load(Ordering::Relaxed)
    });
    bar.finish_and_clear();
    let told = played.and_then(|recording| {
        let verdict = Verdict::of(&recording)?;
        Ok(tell(&recording, &verdict, INTERRUPTED.load(Ordering::Relaxed)))
    });
    match told {
        Ok(ended) => ended,
        Err(error) => {
            eprintln!("{error}");
            Ended::BadInput
        }
    }
}

fn tell<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    verdict: &Verdict,
    interrupted: bool,
) -> Ended {
    let mut text = story::text(recording, verdict);
    if interrupted {
        text += "Interrupted: the story ends here.\n";
        return show(&text, Ended::Interrupted);
    }
    let unmet = story::unmet(recording, verdict);
    for sentence in &unmet {
        text += &format!("NOT AS EXPECTED: {sentence}\n");
    }
    show(&text, if unmet.is_empty() { Ended::AsExpected } else { Ended::Unexpected })
}

fn progress(case: &Case) -> ProgressBar {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole seconds, for show")]
    let bar = ProgressBar::new(case.duration_seconds as u64);
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos} of {len} s, {eta} left") {
        bar.set_style(style);
    }
    bar
}
