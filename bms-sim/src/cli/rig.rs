//! `rig`: plays a case against the same core on a target, and tells what happened as `run` does.

use super::run::{self, Wishes};
use super::{CasePath, Ended, complain, read};
use crate::case::{Case, Pack};
use crate::rig::{Address, Line, Pace, Target, Times, Trouble, Waves};
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

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
        let waves = self.waves.as_deref().map(|path| self.begin_waves::<CELLS, THERMISTORS>(path, &case));
        let mut waves = waves.transpose()?;
        let line = Line::open(&self.to).map_err(|trouble| refuse(&trouble))?;
        let mut target = Target::<CELLS, THERMISTORS>::begin(line, &case, self.pace)
            .map_err(|trouble| refuse(&trouble))?;
        let played = match &mut waves {
            Some(waves) => run::play_followed(case, &self.wishes, &mut (&mut target, waves)),
            None => run::play_followed(case, &self.wishes, &mut target),
        };
        let (trouble, times) = target.end();
        self.tell(&times);
        if let Some(error) = waves.and_then(|waves| waves.finish().err()) {
            complain(&format!("the waves could not be written: {error}"));
            return Err(Ended::NotWritten);
        }
        match trouble {
            None => Ok(played),
            Some(trouble) => Err(refuse(&trouble)),
        }
    }

    fn begin_waves<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        path: &Path,
        case: &Case,
    ) -> Result<Waves<CELLS, THERMISTORS, BufWriter<File>>, Ended> {
        let mut options = File::options();
        options.write(true).create(true).truncate(true).create_new(!self.wishes.force);
        let to = options.open(path).map_err(|error| {
            let path = path.display();
            if error.kind() == std::io::ErrorKind::AlreadyExists {
                complain(&format!("{path}: exists already; accepted is another name, or --force"));
                Ended::BadInput
            } else {
                complain(&format!("{path}: {error}"));
                Ended::NotWritten
            }
        })?;
        Waves::begin(BufWriter::new(to), &case.title).map_err(|error| {
            complain(&format!("{}: {error}", path.display()));
            Ended::NotWritten
        })
    }

    fn tell(&self, times: &Times) {
        if !self.wishes.is_quiet() {
            anstream::eprintln!("{}", times);
        }
    }
}

/// Says on stderr what is wrong with the line or the target.
fn refuse(trouble: &Trouble) -> Ended {
    complain(trouble);
    match trouble {
        Trouble::Different { .. } => Ended::Unexpected,
        Trouble::NoAddress { .. }
        | Trouble::Version { .. }
        | Trouble::OtherPack { .. }
        | Trouble::OtherConfiguration { .. } => Ended::BadInput,
        Trouble::Unreachable { .. }
        | Trouble::Broken { .. }
        | Trouble::NoAnswer { .. }
        | Trouble::WasReset { .. }
        | Trouble::GaveUp { .. }
        | Trouble::OutOfStep { .. } => Ended::NotWritten,
    }
}
