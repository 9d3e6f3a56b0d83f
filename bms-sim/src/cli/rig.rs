//! `rig`: plays a case against the same core on a target, and tells what happened as `run` does.

use super::aside::Aside;
use super::run::{self, Wishes};
use super::{CasePath, Ended, complain, read, refuse};
use crate::case::{Case, Pack};
use crate::rig::{Address, Line, Pace, Target, Times, Trouble, Waves};
use std::io::BufWriter;
use std::path::PathBuf;

/// What `rig` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Rig {
    #[command(flatten)]
    path: CasePath,
    /// Where the target is: serial:DEVICE, serial:DEVICE@BAUD, tcp:HOST:PORT, unix:SOCKET; or qemu:IMAGE, qemu-pipes:IMAGE, for which QEMU is
    /// started
    #[arg(long, value_name = "ADDRESS")]
    to: Address,
    /// How fast it goes on
    #[arg(long, value_name = "PACE", default_value = "lock-step")]
    pace: Pace,
    /// Also write coils, feedback contacts, voltages and current for a logic viewer (a value change dump, IEEE 1364)
    #[arg(long, value_name = "FILE")]
    waves: Option<PathBuf>,
    #[command(flatten)]
    wishes: Wishes,
}

impl Rig {
    pub(super) fn go(&self) -> Ended {
        let played = read(&self.path.case).and_then(|case| match case.pack {
            Pack::Crane => self.play::<96, 16>(case),
            Pack::Trainer => self.play::<16, 8>(case),
        });
        played.unwrap_or_else(|ended| ended)
    }

    fn play<const CELLS: usize, const THERMISTORS: usize>(&self, case: Case) -> Result<Ended, Ended> {
        let aside = self.waves.as_deref().map(|path| {
            Aside::is_free(path, self.wishes.force).and_then(|()| Aside::begin(path, self.wishes.force))
        });
        let aside = aside.transpose().map_err(|error| refuse(&error))?;
        let waves = aside.as_ref().map(|aside| Waves::begin(BufWriter::new(aside.file()), &case.title));
        let mut waves = waves.transpose().map_err(|error| unwritten(&error))?;
        let line = Line::open(&self.to).map_err(|trouble| troubled(&trouble))?;
        let mut target = Target::<CELLS, THERMISTORS>::begin(line, &case, self.pace)
            .map_err(|trouble| troubled(&trouble))?;
        let played = match &mut waves {
            Some(waves) => run::play_followed(case, &self.wishes, &mut (&mut target, waves)),
            None => run::play_followed(case, &self.wishes, &mut target),
        };
        let (trouble, times) = target.end();
        self.tell(&times);
        waves.map_or(Ok(()), Waves::finish).map_err(|error| unwritten(&error))?;
        aside.map_or(Ok(()), Aside::keep).map_err(|error| refuse(&error))?;
        trouble.map_or(Ok(played), |trouble| Err(troubled(&trouble)))
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
        Trouble::Different { .. } => Ended::Unexpected,
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
