//! # What held when
//!
//! One lane for the contactor sequence and one for each fault that was ever suspected, over time. A stage is told by its fill and, where
//! there is room, by its word.

use super::Clock;
use crate::explain::words;
use crate::recording::{Event, What};
use bms_core::Step;
use bms_core::fault::{Fault, Stage};
use bms_core::witness::{Evidence, Place};
use maud::{Markup, html};
use serde::Serialize;

const WIDTH: f64 = 760.0;
/// Room for the names of the lanes.
const NAMES: f64 = 210.0;
const LANE: f64 = 26.0;
/// Room for the axis.
const AXIS: f64 = 22.0;
/// A word takes this much of the width a letter.
const LETTER: f64 = 7.0;

/// A lane: its name and what held from when to when.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Lane {
    name: String,
    spans: Vec<Span>,
}

/// What held from when to when, in seconds.
#[derive(Clone, Debug, PartialEq, Serialize)]
struct Span {
    word: &'static str,
    from: f64,
    to: f64,
}

/// The lanes of a run that ended at this time.
pub(crate) fn lanes(events: &[Event], end: f64) -> Vec<Lane> {
    let mut sequence = Lane { name: words::column::SEQUENCE.to_owned(), spans: Vec::new() };
    let mut faults: Vec<(Fault, Place, Lane)> = Vec::new();
    begin(&mut sequence, words::step(Step::Open), 0.0);
    for event in events {
        match &event.what {
            What::Told(Evidence::Moved { to, .. }) => begin(&mut sequence, words::step(*to), event.seconds),
            What::Told(Evidence::StageChanged { assessment, .. }) => {
                let (fault, place) = (assessment.fault, assessment.place);
                // A fault with a stage a sensor has a lane a sensor.
                let same = |lane: &(Fault, Place, Lane)| {
                    lane.0 == fault && (!fault.is_per_thermistor() || lane.1 == place)
                };
                let found = faults.iter().position(same).unwrap_or_else(|| {
                    faults.push((fault, place, Lane { name: fault.words().to_owned(), spans: Vec::new() }));
                    faults.len() - 1
                });
                let lane = &mut faults[found].2;
                if assessment.stage == Stage::Clear {
                    finish(lane, event.seconds);
                } else {
                    begin(lane, words::stage(assessment.stage), event.seconds);
                }
            }
            _ => {}
        }
    }
    let mut all = vec![sequence];
    all.extend(faults.into_iter().map(|(_, _, lane)| lane));
    for lane in &mut all {
        finish(lane, end);
    }
    all
}

/// Another word holds from now on.
fn begin(lane: &mut Lane, word: &'static str, now: f64) {
    if lane.spans.last().is_some_and(|last| last.to.is_infinite() && last.word == word) {
        return;
    }
    finish(lane, now);
    lane.spans.push(Span { word, from: now, to: f64::INFINITY });
}

fn finish(lane: &mut Lane, now: f64) {
    if let Some(last) = lane.spans.last_mut().filter(|last| last.to.is_infinite()) {
        last.to = now;
    }
}

/// The picture.
pub(super) fn picture(
    events: &[Event],
    end: f64,
    clock: Clock,
    (title, description): (&str, &str),
) -> Markup {
    let lanes = lanes(events, end);
    #[expect(clippy::cast_precision_loss, reason = "some dozen lanes")]
    let height = lanes.len() as f64 * LANE + AXIS;
    let across = |seconds: f64| NAMES + (WIDTH - NAMES) * seconds / end.max(f64::MIN_POSITIVE);
    html! {
        svg.lanes role="img" viewBox=(format!("0 0 {WIDTH} {height}")) {
            title { (title) }
            desc { (description) }
            defs {
                pattern id="suspect" width="6" height="6" patternUnits="userSpaceOnUse" {
                    rect width="6" height="6" fill="#fff" {}
                    path d="M0 6L6 0" stroke="#555" stroke-width="1" {}
                }
            }
            @for (lane, top) in lanes.iter().zip((0_u32..).map(|place| f64::from(place) * LANE)) {
                text x="0" y=(top + 17.0) { (lane.name) }
                @for span in &lane.spans {
                    @let (left, wide) = (across(span.from), (across(span.to) - across(span.from)).max(1.0));
                    rect.span.(span.word.to_lowercase()) x=(format!("{left:.1}")) y=(top + 3.0) width=(format!("{wide:.1}")) height=(LANE - 6.0) {
                        title { (words::held(span.word, span.from, span.to)) }
                    }
                    @if wide > LETTER * f64::from(u32::try_from(span.word.len()).unwrap_or(u32::MAX)) + 6.0 {
                        text.word.(span.word.to_lowercase()) x=(format!("{:.1}", left + 4.0)) y=(top + 17.0) { (span.word) }
                    }
                }
            }
            @for fifth in 0..=5_u32 {
                @let seconds = end * f64::from(fifth) / 5.0;
                text.axis x=(format!("{:.1}", across(seconds))) y=(height - 6.0) text-anchor=(if fifth == 5 { "end" } else { "middle" }) {
                    (format!("{:.1} {}", seconds / clock.seconds, clock.unit))
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bms_core::fault::{Reading, Was};
    use bms_core::sequence::Because;
    use bms_core::units::Millis;
    use bms_core::witness::Assessment;

    fn stage(seconds: f64, stage: Stage) -> Event {
        let assessment = Assessment {
            fault: Fault::CellSpread,
            place: Place::Cell(3),
            observed: None,
            limit: None,
            reading: Reading::Beyond,
            stage,
            dwell: Millis(60_000),
        };
        Event {
            tick: 0,
            seconds,
            what: What::Told(Evidence::StageChanged { from: Stage::Clear, assessment }),
        }
    }

    #[test]
    fn a_lane_tells_what_held_from_when_to_when() {
        let confirmed = Stage::Confirmed { well: Millis(0) };
        let suspect = Stage::Suspect { held: Millis(0), was: Was::Clear };
        let moved = |seconds, from, to| Event {
            tick: 0,
            seconds,
            what: What::Told(Evidence::Moved { from, to, because: Because::OpeningAsked }),
        };
        let events = [
            stage(1.0, suspect),
            stage(2.0, Stage::Clear),
            moved(3.0, Step::Open, Step::ClosingNegative),
            stage(4.0, suspect),
            stage(64.0, confirmed),
        ];
        let lanes = lanes(&events, 100.0);
        let told: Vec<Vec<(&str, f64, f64)>> = lanes
            .iter()
            .map(|lane| lane.spans.iter().map(|span| (span.word, span.from, span.to)).collect())
            .collect();
        assert_eq!(told[0], [("Open", 0.0, 3.0), ("ClosingNegative", 3.0, 100.0)]);
        assert_eq!(told[1], [("Suspect", 1.0, 2.0), ("Suspect", 4.0, 64.0), ("Confirmed", 64.0, 100.0)]);
        assert_eq!(lanes[1].name, "cell spread");
    }
}
