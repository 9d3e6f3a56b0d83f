//! `run`: plays a case with progress and tells what happened as a short story.

use super::progress::Progress;
use super::{
    ALARM, CasePath, DEMONSTRATION, Ended, complain, interrupt, read, refuse, seed, show, show_json, titled,
};
use crate::case::{Case, Pack};
use crate::explain::{Account, document, story};
use crate::recording::file::Writing;
use crate::recording::{self, Follow, Recording};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;

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
    #[command(flatten)]
    wishes: Wishes,
}

/// How it is played and shown.
#[derive(Debug, Default, clap::Args)]
#[expect(clippy::struct_excessive_bools, reason = "each is a switch of the command line")]
pub(super) struct Wishes {
    /// Print one JSON document instead of the story
    #[arg(long)]
    json: bool,
    /// Also write a recording, from which every tick can be visited again
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    /// Write over an existing file
    #[arg(long)]
    pub(super) force: bool,
    /// Seed of all noise and scatter, instead of the case's
    #[arg(long, value_name = "NUMBER", value_parser = seed, allow_hyphen_values = true)]
    pub(super) seed: Option<u64>,
    /// Print only what is not as expected
    #[arg(short, long, conflicts_with = "json")]
    quiet: bool,
    /// Also say on stderr how fast it was played
    #[arg(short, long, conflicts_with = "quiet")]
    verbose: bool,
}

impl Wishes {
    /// Whether nothing is to be said that is as expected.
    pub(super) const fn is_quiet(&self) -> bool {
        self.quiet
    }
}

impl Run {
    pub(super) fn go(&self) -> Ended {
        read(&self.path.case).map_or_else(|ended| ended, |case| play(case, &self.wishes))
    }
}

/// Plays the built-in case and says what to try next.
pub(super) fn demonstrate() -> Ended {
    let (name, text) = DEMONSTRATION;
    let case = match Case::parse(text, name) {
        Ok(case) => case,
        Err(error) => {
            anstream::eprintln!("{}", error.excerpt(true));
            return Ended::BadInput;
        }
    };
    show(NEXT, play(case, &Wishes::default()))
}

fn play(case: Case, wishes: &Wishes) -> Ended {
    match case.pack {
        Pack::Crane => play_followed::<96, 16>(case, wishes, &mut ()),
        Pack::Trainer => play_followed::<16, 8>(case, wishes, &mut ()),
    }
}

/// Plays a case, decided and watched by a follower, and tells what happened.
pub(super) fn play_followed<const CELLS: usize, const THERMISTORS: usize>(
    mut case: Case,
    wishes: &Wishes,
    follower: &mut impl Follow<CELLS, THERMISTORS>,
) -> Ended {
    case.seed = wishes.seed.unwrap_or(case.seed);
    let interrupted = interrupt::asked("the story");
    let case = Arc::new(case);
    let open = |path: &PathBuf| Writing::begin(path, wishes.force, &case, story::happened);
    let mut writing = match wishes.record.as_ref().map(open).transpose() {
        Ok(writing) => writing,
        Err(error) => return refuse(&error),
    };
    let begun = Instant::now();
    let mut progress = Progress::of(&case, wishes.quiet);
    let go_on = |seconds| {
        progress.at(seconds);
        !interrupted.load(Ordering::Relaxed)
    };
    let played = match &mut writing {
        Some(writing) => writing.play_followed(follower, go_on),
        None => recording::play_to(&case, u64::MAX, follower, go_on),
    };
    progress.done();
    let took = begun.elapsed().as_secs_f64();
    let told = played.and_then(|recording| {
        if wishes.verbose {
            let played = recording.end.seconds();
            eprintln!("{played:.1} s were played in {took:.3} s: {:.0} times as fast as time", played / took);
        }
        let written = writing.map_or(Ok(()), Writing::finish);
        let account = Account::of(&recording)?;
        let cut = (!recording.end.over()).then(|| Cut { by_follower: follower.ends() });
        let ended = tell(&recording, &account, cut.as_ref(), wishes);
        Ok(written.map_or_else(|error| refuse(&error), |()| ended))
    });
    match told {
        Ok(ended) => ended,
        Err(error) => {
            complain(&error);
            Ended::BadInput
        }
    }
}

/// A story that ends before its time: what was to come is not missed.
struct Cut {
    /// Why, where it was not the person at the terminal.
    by_follower: Option<&'static str>,
}

fn tell<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    account: &Account,
    cut: Option<&Cut>,
    wishes: &Wishes,
) -> Ended {
    let unmet = if cut.is_some() { Vec::new() } else { story::unmet(recording, account) };
    let ended = match (cut.is_some(), unmet.is_empty()) {
        (true, _) => Ended::Interrupted,
        (false, true) => Ended::AsExpected,
        (false, false) => Ended::Unexpected,
    };
    if wishes.json {
        return show_json(&document::document(recording, account, cut.is_some()), ended);
    }
    let mut text = if wishes.quiet { String::new() } else { titled(&story::text(recording, account)) };
    if let Some(Cut { by_follower }) = cut {
        let how = match by_follower {
            Some(_) if wishes.quiet => String::new(),
            Some(why) => format!("The story ends here: {why}.\n"),
            None => format!("{ALARM}Interrupted:{ALARM:#} the story ends here.\n"),
        };
        text += &how;
    }
    for sentence in &unmet {
        text += &format!("{ALARM}NOT AS EXPECTED:{ALARM:#} {sentence}\n");
    }
    show(&text, ended)
}
