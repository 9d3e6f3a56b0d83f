//! Whole talks between firmware and pack, from the first sign of trouble to its end.

use bms_core::decision::Coils;
use bms_core::{Fault, Step};
use bms_sim::case::Case;
use bms_sim::run::Loop;
use std::sync::Arc;

type Crane = Loop<96, 16>;

/// A crane that stands half full at 18 °C, with the acts, duties and defects of the story.
fn crane(story: &str) -> Crane {
    let text = format!(
        r#"
        schema = 1
        title = "A dialogue"
        story = "Told by the test."
        pack = "crane"
        seed = 11
        duration_s = 600
        {story}
        [start]
        charge_percent = 60
        celsius = 18
        "#
    );
    let case = Case::parse(&text, "dialogue.toml").unwrap_or_else(|error| panic!("{error}"));
    Loop::new(&Arc::new(case)).expect("the pack is the one of the case")
}

/// Runs until the sequence stands in this step, at most so many seconds.
fn run_until(crane: &mut Crane, step: Step, seconds: f64) {
    let latest = crane.seconds() + seconds;
    while crane.core.step() != step {
        assert!(crane.seconds() < latest, "{step:?} is not reached from {:?}", crane.core.step());
        crane.advance(&mut ());
    }
}

/// The last frame of a closed crane comes again and again, as if its sender hung.
fn steps_while_the_frame_stands(crane: &mut Crane, ticks: u32) -> Vec<(u32, Step)> {
    let frame = crane.frame();
    let mut steps = vec![];
    for tick in 0..ticks {
        let step = crane.core.tick(&frame, &mut ()).step;
        if steps.last().is_none_or(|(_, last)| *last != step) {
            steps.push((tick, step));
        }
    }
    steps
}

/// Found when the parts have missed three ticks. The grace of 2 s must end although no reading of a smaller current comes, and each
/// proof must end by its deadline although no voltage comes: then all coils are off.
#[test]
fn a_sender_that_hangs_under_load_ends_with_open_contactors() {
    let mut crane = crane(
        r#"
        act = [{ at_s = 1, ask = "close" }]
        duty = [{ do = "travel", for_s = 60 }]
        "#,
    );
    run_until(&mut crane, Step::Closed, 10.0);
    while crane.seconds() < 8.0 {
        crane.advance(&mut ());
    }
    let facts = crane.core.config().sequence;
    let steps = steps_while_the_frame_stands(&mut crane, 1_000);
    assert!(crane.core.faults().confirmed.holds(Fault::MeasurementsStale));
    let order: Vec<_> = steps.iter().map(|(_, step)| *step).collect();
    assert_eq!(order, [Step::Closed, Step::Easing, Step::Opening, Step::ProvingDead, Step::Barred]);
    let at = |step| steps.iter().find(|(_, reached)| *reached == step).map_or(0, |(tick, _)| tick * 10);
    assert!(at(Step::Easing) <= 40, "{steps:?}");
    assert!(at(Step::Opening) <= at(Step::Easing) + facts.grace.0 + 10, "{steps:?}");
    assert!(at(Step::ProvingDead) <= at(Step::Opening) + facts.step_deadline.0 + 10, "{steps:?}");
    let frame = crane.frame();
    assert_eq!(crane.core.tick(&frame, &mut ()).coils, Coils::NONE);
}

/// The sender hangs while positive has just been told to open.
#[test]
fn a_sender_that_hangs_during_an_opening_does_not_hold_it_up() {
    let mut crane = crane(r#"act = [{ at_s = 1, ask = "close" }, { at_s = 6, ask = "open" }]"#);
    run_until(&mut crane, Step::Closed, 10.0);
    run_until(&mut crane, Step::Opening, 10.0);
    let steps = steps_while_the_frame_stands(&mut crane, 1_000);
    assert_eq!(steps.last().map(|(_, step)| *step), Some(Step::Barred), "{steps:?}");
}
