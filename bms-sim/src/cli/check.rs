//! `check`: whether a case file is accepted.

use super::{CasePath, Ended, read, show};

/// What `check` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Check {
    #[command(flatten)]
    path: CasePath,
}

impl Check {
    pub(super) fn go(&self) -> Ended {
        match read(&self.path.case) {
            Ok(case) => show(&format!("{}: accepted: {}\n", case.name, case.title), Ended::AsExpected),
            Err(ended) => ended,
        }
    }
}
