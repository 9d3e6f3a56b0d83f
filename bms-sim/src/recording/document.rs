//! # A played case as one JSON document
//!
//! For programs and notebooks: what the story tells, as data. [`document`] makes it, `run CASE --json` prints it.
//!
//! | key | holds |
//! | --- | --- |
//! | `schema` | 1, the only one there is |
//! | `generator` | name and version of the program |
//! | `case` | `name`, `digest` (CRC-32 of its text, eight hexadecimal digits), `title`, `pack`, `seed`, `duration_seconds`, `tick_ms`; to run it again |
//! | `decisions_digest` | CRC-32 over every decision: equal for equal runs |
//! | `ticks`, `played_seconds`, `interrupted` | how far it was played |
//! | `events` | in order of time: `tick`, `seconds`, `kind`, `sentence`, `values` (see [`values`](super::values)) |
//! | `confirmed` | the faults that became Confirmed, in order of time: `seconds`, `sentence`, `values` |
//! | `nearest` | how near each fault came to its limit: the same |
//! | `step_at_end` | where the contactor sequence stands at the end |
//! | `breach` | the first safe bound that truth passed: the same, or `null` |
//! | `critical` | whether the pack was dangerous, also had nothing reacted |
//! | `expectations` | `met` (`null` when the case expects nothing, or was interrupted) and `unmet`: one sentence for each that failed |
//!
//! Times are seconds from the start; the unit ends each key; cells and sensors are counted from 1; what has no number is left out.

use super::Recording;
use super::file::{GENERATOR, hexadecimal};
use super::values::{EventShown, Values};
use crate::explain::{Account, story, words};
use serde::Serialize;

/// What the module's head describes.
#[derive(Clone, Debug, Serialize)]
pub struct Document {
    schema: u32,
    generator: &'static str,
    case: CaseShown,
    decisions_digest: String,
    ticks: u64,
    played_seconds: f64,
    interrupted: bool,
    events: Vec<EventShown>,
    confirmed: Vec<Shown>,
    nearest: Vec<Shown>,
    step_at_end: bms_core::Step,
    breach: Option<Shown>,
    critical: bool,
    expectations: Expectations,
}

#[derive(Clone, Debug, Serialize)]
struct CaseShown {
    name: String,
    digest: String,
    title: String,
    pack: crate::case::Pack,
    seed: u64,
    duration_seconds: f64,
    tick_ms: u64,
}

#[derive(Clone, Debug, Serialize)]
struct Shown {
    seconds: f64,
    sentence: String,
    values: Values,
}

#[derive(Clone, Debug, Serialize)]
struct Expectations {
    met: Option<bool>,
    unmet: Vec<String>,
}

/// The document of a played case; `interrupted` when it was not played to its end.
#[must_use]
pub fn document<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    account: &Account,
    interrupted: bool,
) -> Document {
    let case = &recording.case;
    let judged = |seconds: f64, seen| Shown {
        seconds,
        sentence: words::assessment(seen),
        values: Values::default().assessed(seen),
    };
    let unmet = if interrupted { Vec::new() } else { story::unmet(recording, account) };
    let judgeable = case.expect.is_some() && !interrupted;
    Document {
        schema: 1,
        generator: GENERATOR,
        case: CaseShown {
            name: case.name.clone(),
            digest: hexadecimal(case.digest),
            title: case.title.clone(),
            pack: case.pack,
            seed: case.seed,
            duration_seconds: case.duration_seconds,
            tick_ms: case.tick_ms,
        },
        decisions_digest: hexadecimal(recording.digest),
        ticks: recording.ticks,
        played_seconds: recording.end.seconds(),
        interrupted,
        events: recording
            .events
            .iter()
            .map(|event| EventShown::of(event, story::happened(case, event)))
            .collect(),
        confirmed: recording.confirmed().iter().map(|(seconds, seen)| judged(*seconds, seen)).collect(),
        nearest: recording
            .nearest
            .iter()
            .flatten()
            .map(|nearest| judged(nearest.seconds, &nearest.assessment))
            .collect(),
        step_at_end: recording.ends(),
        breach: recording.breach.as_ref().map(|breach| Shown {
            seconds: breach.seconds,
            sentence: words::breach(breach),
            values: Values::default().breached(breach),
        }),
        critical: account.verdict.critical(),
        expectations: Expectations { met: judgeable.then_some(unmet.is_empty()), unmet },
    }
}
