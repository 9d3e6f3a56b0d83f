//! Why nothing was said.

use super::departs::{fact, reading};
use super::evidence::assessment;
use super::numbers::clock;
use super::world::defect;
use crate::case::Case;
use crate::explain::silence::{Nearer, Quiet};
use crate::recording::Nearest;

/// There was nothing to be said.
#[must_use]
pub fn nothing_wrong() -> String {
    "Nothing is wrong in this case: there was nothing to find.".to_owned()
}

/// What a defect did of which nothing was said.
#[must_use]
pub fn quiet(quiet: &Quiet, case: &Case) -> Vec<String> {
    let of = case.defects.get(quiet.defect).map_or_else(String::new, defect);
    let mut sentences = vec![format!("Not found: {of}.")];
    sentences.push(match &quiet.truth {
        None => "In truth nothing differs from the same run without it.".to_owned(),
        Some((at, most)) => {
            format!(
                "In truth this differs most from the same run without it, at {}: {}.",
                clock(*at),
                fact(&most.departure)
            )
        }
    });
    sentences.push(match &quiet.reading {
        None => "Of all that reaches the firmware nothing differs: it cannot know.".to_owned(),
        Some((at, most)) => {
            let told = format!("Of what reaches the firmware this differs most, at {}: {}", clock(*at), reading(&most.departure));
            match most.times {
                times if times.is_infinite() => format!("{told}."),
                times if times > 1.0 => format!("{told}; that is {times:.1} times what the channel may be wrong by itself."),
                times => format!("{told}; that is {times:.2} of what the channel may be wrong by itself, so nobody can tell by it."),
            }
        }
    });
    sentences.push(nearer(quiet.nearer.as_ref()));
    sentences
}

fn nearer(nearer: Option<&Nearer>) -> String {
    let Some(Nearer { with, without }) = nearer else {
        return "It brought no fault nearer to its limit by a hundredth of the way.".to_owned();
    };
    let told = |near: &Nearest| format!("at {}, {}", clock(near.seconds), assessment(&near.assessment));
    format!(
        "It brought {} nearer to its limit: {}; without it, {}.",
        with.assessment.fault.words(),
        told(with),
        told(without)
    )
}
