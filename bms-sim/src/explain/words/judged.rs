//! Whether the firmware was right.

use super::seconds;
use crate::explain::judged::Judged;

/// How the firmware did, in a sentence or two.
#[must_use]
pub fn judged(judged: &Judged) -> String {
    match judged {
        Judged::InTime { fault: Some(fault), left_seconds: Some(left) } => format!(
            "The firmware was right: {} was Confirmed {} before the hazard, and no bound was passed in this run.",
            fault.words(),
            seconds(*left)
        ),
        Judged::InTime { fault: Some(fault), left_seconds: None } => format!(
            "The firmware was right: {} was Confirmed, and it did not switch where a pack without the defect would have been switched.",
            fault.words()
        ),
        Judged::InTime { fault: None, .. } => {
            "The firmware was right: its limits on current kept truth inside the bounds.".to_owned()
        }
        Judged::InVain { fault, before_seconds } => format!(
            "The firmware was right, but opening could not stop it: {} was Confirmed {} before the bound was passed.",
            fault.words(),
            seconds(*before_seconds)
        ),
        Judged::Late { fault, after_seconds } => format!(
            "The firmware was late: {} was Confirmed {} after the bound was passed.",
            fault.words(),
            seconds(*after_seconds)
        ),
        Judged::Blind => "The firmware was blind: it Confirmed nothing that answers this danger.".to_owned(),
        Judged::Untested { after_end_seconds } => format!(
            "The firmware was not put to the test: the hazard would come {} after the end of this run, and nothing was Confirmed so far.",
            seconds(*after_end_seconds)
        ),
        Judged::Misled { fault } => format!(
            "The firmware was misled, to the safe side: {} rests on a reading that lies. Opening on it is right all the same, since \
             the firmware cannot know.",
            fault.words()
        ),
        Judged::Early { fault } => format!(
            "The firmware was early: {} rests on something that is there, but truth would have stayed inside its bounds for half an hour.",
            fault.words()
        ),
        Judged::Told { fault } => format!(
            "The firmware was right: it Confirmed {}, so that somebody knows of the lost measurement.",
            fault.words()
        ),
        Judged::Calm => "The firmware was right: nothing is dangerous, and it opened nothing.".to_owned(),
    }
}
