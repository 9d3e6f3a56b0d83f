//! You will see a thermistor wire break, and the firmware wait until it is sure: tick by tick what it saw in words, how the dwell runs
//! to its end, and then the same ticks backwards, where it runs the other way. The example fails if a tick looks different then.
#![allow(clippy::print_stdout, reason = "an example talks")]

use bms_core::fault::Stage;
use bms_core::units::Millis;
use bms_core::witness::{Assessment, Place};
use bms_core::{Evidence, Fault, Witness};
use bms_sim::case::Case;
use bms_sim::explain::words;
use bms_sim::recording::{self, Recording, What};
use std::process::ExitCode;
use std::sync::Arc;

/// Ticks that are shown: the last ones of the dwell, and the one in which it is over.
const SHOWN: u64 = 4;

/// Keeps how one fault was judged at one place, and says aloud what follows from it.
struct Judged {
    fault: Fault,
    place: Place,
    seen: Option<Assessment>,
    aloud: bool,
}

impl Witness for Judged {
    fn saw(&mut self, evidence: Evidence) {
        let concerns = match evidence {
            Evidence::Assessed(seen) if (seen.fault, seen.place) == (self.fault, self.place) => {
                self.seen = Some(seen);
                true
            }
            Evidence::StageChanged { assessment: seen, .. } => seen.fault == self.fault,
            Evidence::Reacting { .. } | Evidence::Moved { .. } => true,
            _ => false,
        };
        if concerns && self.aloud {
            println!("    {}", words::evidence(&evidence));
        }
    }
}

/// Visits a tick of the recording and says how far the dwell is; gives it back, nothing when the tick did not judge the fault.
fn visit(recording: &Recording<96, 16>, tick: u64, of: &Assessment, aloud: bool) -> Option<Millis> {
    let mut visited = recording.at(tick);
    println!("  tick {tick} at {}", words::clock(visited.seconds()));
    let mut judged = Judged { fault: of.fault, place: of.place, seen: None, aloud };
    visited.advance(&mut judged);
    let seen = judged.seen?;
    let held = match seen.stage {
        Stage::Suspect { held, .. } => held,
        Stage::Confirmed { .. } => seen.dwell,
        Stage::Clear | Stage::Latched => Millis::ZERO,
    };
    let (stage, of) = (words::stage(seen.stage), words::duration(seen.dwell));
    println!("    {stage}: {} of {of} held", words::duration(held));
    Some(held)
}

fn main() -> ExitCode {
    let case = Case::parse(include_str!("cases/open-thermistor.toml"), "open-thermistor.toml")
        .expect("the case is accepted");
    println!("{}\n{}\n", case.title, case.story);
    let tick_ms = u32::try_from(case.tick_ms).expect("a tick is short");
    let recording = recording::play::<96, 16>(&Arc::new(case), |_| true).expect("the crane has 96 cells");
    let confirmed = recording.events.iter().find_map(|event| match event.what {
        What::Told(Evidence::StageChanged { assessment, .. }) => {
            matches!(assessment.stage, Stage::Confirmed { .. }).then_some((event.tick, assessment))
        }
        _ => None,
    });
    let Some((tick, seen)) = confirmed else {
        println!("no fault was Confirmed, there is nothing to step around");
        return ExitCode::FAILURE;
    };
    println!("“{}” becomes Confirmed in tick {tick}. Forwards:", seen.fault.words());
    let ticks = tick + 1 - SHOWN..=tick;
    let forwards: Vec<_> = ticks.clone().map(|tick| visit(&recording, tick, &seen, true)).collect();
    println!("\nBackwards:");
    let mut backwards: Vec<_> = ticks.rev().map(|tick| visit(&recording, tick, &seen, false)).collect();
    backwards.reverse();
    // The dwell is over in the last tick; in each one before it a tick of it is missing.
    let missing = (0..u32::try_from(SHOWN).unwrap_or(0)).rev().map(|ticks| ticks * tick_ms);
    let expected: Vec<_> = missing.map(|missing| seen.dwell.0.checked_sub(missing).map(Millis)).collect();
    if forwards == expected && backwards == expected {
        ExitCode::SUCCESS
    } else {
        println!("the dwell should have been {expected:?}");
        ExitCode::FAILURE
    }
}
