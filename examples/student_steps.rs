//! You will see a pack judge a loose joint tick by tick: what the firmware saw in the three ticks around the moment of the fault, in
//! words, and then the same ticks backwards, with the dwell that runs the other way.
#![allow(clippy::print_stdout, reason = "an example talks")]

use bms_core::fault::Stage;
use bms_core::{Evidence, Fault, Witness};
use bms_sim::case::Case;
use bms_sim::explain::words;
use bms_sim::recording::{self, What};
use std::process::ExitCode;
use std::sync::Arc;

/// Prints what concerns one fault: its assessment, its stages, what follows from it.
struct Aloud(Fault);

impl Witness for Aloud {
    fn saw(&mut self, evidence: Evidence) {
        let concerns = match evidence {
            Evidence::Assessed(seen) | Evidence::StageChanged { assessment: seen, .. } => {
                seen.fault == self.0
            }
            _ => matches!(
                evidence,
                Evidence::LoadStep(_)
                    | Evidence::Reacting { .. }
                    | Evidence::Moved { .. }
                    | Evidence::Limited { .. }
            ),
        };
        if concerns {
            println!("    {}", words::evidence(&evidence));
        }
    }
}

/// Keeps the stage of one fault.
struct StageOf(Fault, Option<Stage>);

impl Witness for StageOf {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Assessed(seen) = evidence
            && seen.fault == self.0
        {
            self.1 = Some(seen.stage);
        }
    }
}

fn main() -> ExitCode {
    let case = Case::parse(include_str!("cases/loose-joint.toml"), "loose-joint.toml")
        .expect("the case is accepted");
    println!("{}\n{}\n", case.title, case.story);
    let recording = recording::play::<96, 16>(&Arc::new(case), |_| true).expect("the crane has 96 cells");
    let confirmed = recording.events.iter().find_map(|event| match event.what {
        What::Told(Evidence::StageChanged { assessment, .. }) => {
            matches!(assessment.stage, Stage::Confirmed { .. }).then_some((event.tick, assessment.fault))
        }
        _ => None,
    });
    let Some((tick, fault)) = confirmed else {
        println!("no fault was Confirmed, there is nothing to step around");
        return ExitCode::FAILURE;
    };
    println!("“{}” becomes Confirmed in tick {tick}. Forwards:", fault.words());
    let mut now = recording.at(tick - 1);
    for _ in 0..3 {
        println!("  tick {} at {}", now.tick, words::clock(now.seconds()));
        now.advance(&mut Aloud(fault));
    }
    println!("\nBackwards:");
    let mut before = now.tick;
    let mut order = Vec::new();
    for back in [tick + 1, tick, tick - 1, tick - 2] {
        let mut visited = recording.at(back);
        let mut stage = StageOf(fault, None);
        let decision = visited.advance(&mut stage);
        let holds = decision.faults.confirmed.holds(fault);
        let stage = stage.1.map_or_else(|| "not judged".to_owned(), |stage| words::stage(stage).to_owned());
        println!("  tick {back}: {stage}, the contactors {}", words::step(decision.step));
        order.push(holds);
        before = before.min(back);
    }
    if order == [true, true, false, false] && before == tick - 2 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
