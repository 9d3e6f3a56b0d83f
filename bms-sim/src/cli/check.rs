//! `check`: whether a case file is accepted.

use super::{CasePath, Ended, read, show, show_json};
use crate::explain::document::{self, CaseShown};
use crate::recording::file::GENERATOR;
use serde::Serialize;
use std::path::Path;

/// What `check` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Check {
    #[command(flatten)]
    path: CasePath,
    /// Print one JSON document instead of the line
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Document {
    schema: u32,
    generator: &'static str,
    accepted: bool,
    case: CaseShown,
}

impl Check {
    pub(super) fn go(&self) -> Ended {
        let case = match read(&self.path.case) {
            Ok(case) => case,
            Err(ended) => return ended,
        };
        if self.json {
            let case = document::of_case(&case);
            let document = Document { schema: 1, generator: GENERATOR, accepted: true, case };
            return show_json(&document, Ended::AsExpected);
        }
        let typed = &self.path.case;
        let name = if typed == Path::new("-") { case.name } else { typed.display().to_string() };
        show(&format!("{name}: accepted: {}\n", case.title), Ended::AsExpected)
    }
}
