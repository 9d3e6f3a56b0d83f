//! # A case whose defect nobody may see
//!
//! An instructor hides a case; a class finds out what is wrong from what the pack shows. So nothing that only the world knows leaves the
//! server, in whatever answer: neither truth, nor defects with their times, nor a safe bound that was passed, nor title, story, name,
//! seed and digest by which the case could be found, nor its text. What is left is what the firmware measures, decides and says, what a meter shows,
//! and what the class did itself. Whoever has said what is wrong is shown all of it.
//!
//! Larger steps at rest end where a defect begins, and would tell its time: a case with them is not hidden.

use super::command::{Command, Mistake, Other};
use super::guard::secret;
use super::session::Refused;
use crate::case::Case;
use crate::explain::at_length::AtLength;
use crate::recording::{Event, What};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// What a hidden case is called.
pub(super) const NAME: &str = "hidden";
/// Its headline.
pub(super) const TITLE: &str = "Something may be wrong with this pack";
/// Its story.
pub(super) const STORY: &str = "Find out what, where, and whether it is dangerous as it stands. Step, measure, try; then say what you found.";

/// Hidden cases at most.
const MOST: usize = 64;

/// The hidden cases, by words that nobody guesses.
#[derive(Default)]
pub struct Hidden(Mutex<HashMap<String, Arc<Case>>>);

impl Hidden {
    /// Hides a case; gives the word by which it is found.
    pub(super) fn hide(&self, case: &Arc<Case>) -> Result<String, Refused> {
        if case.rest_ms.is_some() {
            return Err(Mistake::new(
                "hide",
                "a case with [rest]",
                "accepted is one without: its steps would tell when a defect begins",
            )
            .into());
        }
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= MOST {
            return Err(
                Mistake::new("hide", MOST, "so many cases are hidden already; begin the page anew").into()
            );
        }
        let word = secret().map_err(|error| Refused::Nothing(error.to_string()))?;
        kept.insert(word.clone(), Arc::clone(case));
        Ok(word)
    }

    /// The case that this word was given for.
    pub(super) fn find(&self, word: &str) -> Result<Arc<Case>, Refused> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let accepted = "accepted is the word of a case that was hidden since this page was begun";
        kept.get(word).cloned().ok_or_else(|| Mistake::new("hidden", "that", accepted).into())
    }
}

/// Whether an event may be seen.
pub(super) const fn is_public(event: &Event) -> bool {
    match event.what {
        What::DefectBegan(_) | What::DefectEnded(_) | What::Breached(_) => false,
        What::Acted(_)
        | What::Repaired(_)
        | What::LimitsChanged(_)
        | What::DutyBegan(_)
        | What::Told(_)
        | What::Cooled(_) => true,
    }
}

/// Refuses what would tell what is hidden.
pub(super) fn permitted(command: &Command) -> Result<(), Refused> {
    let refused = match command {
        Command::Why { .. } => "why",
        Command::Compare { .. } => "compare",
        Command::Hide {} => "hide",
        Command::Series { twin: true, .. } => "twin",
        Command::Show { what: AtLength::Defects } => "defects",
        Command::Change(Other::Inject { .. }) => "inject",
        Command::Change(Other::Mend { .. }) => "mend",
        Command::Load(_)
        | Command::Story {}
        | Command::Look {}
        | Command::Play { .. }
        | Command::Pause {}
        | Command::Frame {}
        | Command::Step { .. }
        | Command::Next { .. }
        | Command::To { .. }
        | Command::Go { .. }
        | Command::Undo {}
        | Command::Change(_)
        | Command::Show { .. }
        | Command::Meter { .. }
        | Command::Dead {}
        | Command::Diagnose { .. }
        | Command::Series { .. } => return Ok(()),
    };
    Err(Refused::Nothing(format!("{refused}: not while the case is hidden; first say what is wrong")))
}
