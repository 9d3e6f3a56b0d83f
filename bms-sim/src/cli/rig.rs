//! `rig`: plays a case against the same core on a target, and tells what happened as `run` does.

use super::aside::Aside;
use super::run::{self, Wishes};
use super::{Ended, complain, interrupt, read, refuse, show};
use crate::case::{Case, Pack};
use crate::rig::{Address, Line, Pace, Target, Times, Trouble, Waves, drawn};
use std::io::BufWriter;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// What `rig` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Rig {
    /// The case file, or - for standard input; those that come with the program are in examples/cases
    #[arg(required_unless_present = "drawn")]
    case: Option<PathBuf>,
    /// Where the target is: serial:DEVICE, serial:DEVICE@BAUD, tcp:HOST:PORT, unix:SOCKET; or qemu:IMAGE, qemu-pipes:IMAGE, for which QEMU is
    /// started
    #[arg(long, value_name = "ADDRESS")]
    to: Address,
    /// How fast it goes on
    #[arg(long, value_name = "PACE", default_value = "lock-step")]
    pace: Pace,
    /// End the story after so many seconds of it, and expect nothing of it
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..))]
    first: Option<u64>,
    /// Instead of a case: play so many stories drawn by chance, one after another, and only compare
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u64).range(1..))]
    #[arg(conflicts_with_all = ["case", "waves", "first", "json", "record"])]
    drawn: Option<u64>,
    /// The pack that stories are drawn for
    #[arg(long, value_name = "PACK", default_value = "crane", requires = "drawn")]
    pack: Pack,
    /// Also write coils, feedback contacts, voltages and current for a logic viewer (a value change dump, IEEE 1364)
    #[arg(long, value_name = "FILE")]
    waves: Option<PathBuf>,
    #[command(flatten)]
    wishes: Wishes,
}

impl Rig {
    pub(super) fn go(&self) -> Ended {
        let played = match &self.case {
            Some(path) => read(path).and_then(|case| match case.pack {
                Pack::Crane => self.play::<96, 16>(case),
                Pack::Trainer => self.play::<16, 8>(case),
            }),
            None => match self.pack {
                Pack::Crane => self.compare::<96, 16>(),
                Pack::Trainer => self.compare::<16, 8>(),
            },
        };
        played.unwrap_or_else(|ended| ended)
    }

    fn play<const CELLS: usize, const THERMISTORS: usize>(&self, case: Case) -> Result<Ended, Ended> {
        let aside = self.waves.as_deref().map(|path| {
            Aside::is_free(path, self.wishes.force).and_then(|()| Aside::begin(path, self.wishes.force))
        });
        let aside = aside.transpose().map_err(|error| refuse(&error))?;
        let waves = aside.as_ref().map(|aside| Waves::begin(BufWriter::new(aside.file()), &case.title));
        let mut waves = waves.transpose().map_err(|error| unwritten(&error))?;
        let mut target = self.begin::<CELLS, THERMISTORS>(&case)?.until_seconds(self.first);
        let played = match &mut waves {
            Some(waves) => run::play_followed(case, &self.wishes, &mut (&mut target, waves)),
            None => run::play_followed(case, &self.wishes, &mut target),
        };
        let was_long_enough = target.has_reached_its_end();
        let (trouble, times) = target.end();
        self.tell(&times);
        waves.map_or(Ok(()), Waves::finish).map_err(|error| unwritten(&error))?;
        aside.map_or(Ok(()), Aside::keep).map_err(|error| refuse(&error))?;
        match trouble {
            Some(trouble) => Err(troubled(&trouble)),
            None if was_long_enough => Ok(Ended::AsExpected),
            None => Ok(played),
        }
    }

    /// Stories drawn by chance, until one in which host and target differ; its text is shown, so that it can be played again.
    fn compare<const CELLS: usize, const THERMISTORS: usize>(&self) -> Result<Ended, Ended> {
        let interrupted = interrupt::asked("what was compared");
        let (seed, count) = (self.wishes.seed.unwrap_or(1), self.drawn.unwrap_or_default());
        let mut ticks = 0;
        for number in 1..=count {
            let case = drawn(self.pack, seed, number).map_err(|error| {
                complain(&error);
                Ended::BadInput
            })?;
            let mut target = self.begin::<CELLS, THERMISTORS>(&case)?;
            let played = target.play(&Arc::new(case.clone()), |_| !interrupted.load(Ordering::Relaxed));
            if let Err(error) = played {
                complain(&error);
                return Err(Ended::BadInput);
            }
            let (trouble, times) = target.end();
            ticks += times.ticks();
            if let Some(trouble) = trouble {
                show(&case.file(), Ended::Unexpected);
                return Err(troubled(&trouble));
            }
            if interrupted.load(Ordering::Relaxed) {
                return Err(Ended::Interrupted);
            }
            if !self.wishes.is_quiet() {
                let wrong: Vec<&str> = case.defects.iter().map(|defect| defect.kind.name()).collect();
                show(
                    &format!("{number:>5}  {:>6} ticks  {}\n", times.ticks(), wrong.join(", ")),
                    Ended::AsExpected,
                );
            }
        }
        let sum = format!(
            "{count} stories of seed {seed}: {ticks} ticks, and every decision and every state was equal.\n"
        );
        Ok(show(&sum, Ended::AsExpected))
    }

    fn begin<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        case: &Case,
    ) -> Result<Target<CELLS, THERMISTORS>, Ended> {
        let line = Line::open(&self.to).map_err(|trouble| troubled(&trouble))?;
        Target::begin(line, case, self.pace).map_err(|trouble| troubled(&trouble))
    }

    fn tell(&self, times: &Times) {
        if !self.wishes.is_quiet() {
            anstream::eprintln!("{}", times);
        }
    }
}

fn unwritten(error: &std::io::Error) -> Ended {
    complain(&format!("the waves could not be written: {error}"));
    Ended::NotWritten
}

/// Says on stderr what is wrong with the line or the target.
fn troubled(trouble: &Trouble) -> Ended {
    complain(trouble);
    match trouble {
        Trouble::Different { .. } | Trouble::OtherRecord { .. } => Ended::Unexpected,
        Trouble::NoAddress { .. }
        | Trouble::Version { .. }
        | Trouble::OtherPack { .. }
        | Trouble::Rests { .. }
        | Trouble::OtherConfiguration { .. } => Ended::BadInput,
        Trouble::Unreachable { .. }
        | Trouble::Broken { .. }
        | Trouble::NoAnswer { .. }
        | Trouble::WasReset { .. }
        | Trouble::GaveUp { .. }
        | Trouble::OutOfStep { .. } => Ended::NotWritten,
    }
}
