//! What operator and workshop do, what is told at the end of a story, and what came out otherwise than expected.

use super::evidence::assessment;
use super::names::{contactor, rule, step};
use super::numbers::{amps, clock, seconds};
use crate::case::{Ask, RecordFate};
use crate::explain::chain::Since;
use crate::recording::file::GENERATOR;
use crate::recording::{Nearest, Recording, Tightest};
use bms_core::Step;
use bms_core::decision::Cooling;
use bms_core::fault::Fault;
use bms_core::frame::{Clearance, Replaced};
use bms_core::limit::Side;
use bms_core::witness::Assessment;
use std::time::Duration;

/// Somebody acts.
#[must_use]
pub fn acted(ask: Ask) -> String {
    match ask {
        Ask::Close => "the operator asks to close".to_owned(),
        Ask::Open => "the operator asks to open".to_owned(),
        Ask::Clear(Clearance::Panel) => "the operator clears the memory at the panel".to_owned(),
        Ask::Clear(Clearance::Service) => "the workshop clears the memory".to_owned(),
        Ask::Replace(part) => format!("the workshop reports that {} was replaced", replaced(part)),
        Ask::LosePower(loss) => {
            let left = match loss.record {
                RecordFate::Kept => "the firmware has stored its last record",
                RecordFate::Torn => "the firmware is cut off while it stores its last record",
                RecordFate::Lost => "nothing that the firmware stored is left",
            };
            let gone = seconds(Duration::from_millis(loss.for_ms).as_secs_f64());
            format!("the auxiliary supply is gone for {gone}: every coil drops, and {left}")
        }
    }
}

fn replaced(part: Replaced) -> String {
    match part {
        Replaced::Cell(cell) => format!("cell {}", u16::from(cell) + 1),
        Replaced::Contactor(which) => format!("the {} contactor", contactor(which)),
    }
}

/// Another duty begins.
#[must_use]
pub fn duty_begins(work: &str) -> String {
    format!("the duty is now {work}")
}

/// Cooling is switched.
#[must_use]
pub fn cooled(cooling: Cooling) -> String {
    match cooling {
        Cooling::Off => "cooling stops".to_owned(),
        Cooling::On => "cooling starts".to_owned(),
    }
}

/// The like of an ordinary event that was told twice came so often again.
#[must_use]
pub fn again_and_again(times: usize, last: f64) -> String {
    match times {
        1 => format!("  and once more, at {}", clock(last)),
        _ => format!("  and {times} times more, the last at {}", clock(last)),
    }
}

/// The question that a chain answers.
#[must_use]
pub fn why(fault: Fault) -> String {
    format!("Why {}?\n", fault.words())
}

/// Nothing of a tick asks for an explanation.
#[must_use]
pub fn nothing_then(at: f64) -> String {
    format!("At {} the firmware refused nothing, moved nothing and held no current back.", clock(at))
}

/// A fault became Confirmed, and how long after the onset of what caused it.
#[must_use]
pub fn confirmed(at: f64, seen: &Assessment, onset: Option<f64>) -> String {
    let name = seen.fault.words();
    let mut letters = name.chars();
    let name: String =
        letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect());
    let after = onset.map_or_else(String::new, |onset| format!(", {} after the onset", seconds(at - onset)));
    format!("{name}: {}{after}.", assessment(seen))
}

/// No fault became Confirmed.
#[must_use]
pub fn none_confirmed() -> String {
    "No fault was Confirmed.".to_owned()
}

/// How long it took to open the contactors.
#[must_use]
pub fn until_open(since: Since, took: f64) -> String {
    match since {
        Since::Onset => format!("From onset to open contactors: {}.", seconds(took)),
        Since::Start => {
            format!("From the start, with the defect already there, to open contactors: {}.", seconds(took))
        }
    }
}

/// Where the contactors stand at the end.
#[must_use]
pub fn ends(at: Step) -> String {
    format!("The contactors end in {}.", step(at))
}

/// The tightest limit of the run on one side; whether anybody wanted more, it does not say.
#[must_use]
pub fn tightest(limit: &Tightest) -> String {
    let side = match limit.side {
        Side::Charge => "charge",
        Side::Discharge => "discharge",
    };
    format!(
        "Tightest {side} limit while closed: {} at {}, bound by {}.",
        amps(limit.allows),
        clock(limit.seconds),
        rule(limit.rule)
    )
}

/// What balancing did to the true spread of charge.
#[must_use]
pub fn balanced(bled: usize, before_ah: f64, after_ah: f64) -> String {
    let cells = if bled == 1 { "1 cell was".to_owned() } else { format!("{bled} cells were") };
    format!(
        "{cells} bled; in truth the fullest and the emptiest lay {before_ah:.2} Ah apart, and end {after_ah:.2} Ah apart."
    )
}

/// Heading of the faults that came near.
#[must_use]
pub fn nearest_heading() -> String {
    "Faults that came near without being Confirmed:".to_owned()
}

/// How near a fault came.
#[must_use]
pub fn nearest(near: &Nearest) -> String {
    let seen = &near.assessment;
    format!("{} at {}: {}", seen.fault.words(), clock(near.seconds), assessment(seen))
}

/// What was played, by which program, and how to play the same again.
#[must_use]
pub fn played<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> String {
    let (case, ticks, decisions) = (&recording.case, recording.ticks, recording.digest);
    let (tick_ms, seed, digest) = (case.tick_ms, case.seed, case.digest);
    format!(
        "{GENERATOR}: {ticks} ticks of {tick_ms} ms, seed {seed}, case {digest:08x}, decisions {decisions:08x}."
    )
}

/// What came out otherwise than expected.
pub mod unmet {
    use super::{Fault, Step, seconds, step};

    /// A fault that is missing.
    #[must_use]
    pub fn missing(fault: Fault) -> String {
        format!("{} was not Confirmed", fault.words())
    }

    /// A fault too many.
    #[must_use]
    pub fn unwanted(fault: Fault) -> String {
        format!("{} was Confirmed", fault.words())
    }

    /// Another step at the end.
    #[must_use]
    pub fn ends(found: Step, expected: Step) -> String {
        format!("the contactors end in {}, not in {}", step(found), step(expected))
    }

    /// Another verdict.
    #[must_use]
    pub fn critical(expected: bool) -> String {
        format!("the pack is {}critical", if expected { "not " } else { "" })
    }

    /// Cooling is otherwise.
    #[must_use]
    pub fn cooling(expected: bool) -> String {
        format!("cooling {} at the end", if expected { "does not run" } else { "runs" })
    }

    /// The cells are further apart.
    #[must_use]
    pub fn spread(found_ah: f64, most_ah: f64) -> String {
        format!("the cells end {found_ah:.2} Ah apart, at most {most_ah:.2} Ah")
    }

    /// A fault came late.
    #[must_use]
    pub fn late(fault: Fault, took: f64, most: f64) -> String {
        format!("{} took {}, at most {}", fault.words(), seconds(took), seconds(most))
    }
}
