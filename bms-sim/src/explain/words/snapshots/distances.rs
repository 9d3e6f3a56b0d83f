//! How far it was.

use super::{case, each_kind, text};
use crate::case::{Case, Knob};
use crate::defect::Kind;
use crate::explain::distance::{Answer, Came, Distance, Found, Measure, Outcome, Side, Tolerance};
use crate::explain::words;
use bms_core::Fault;
use snapbox::{assert_data_eq, file};

const BY: Option<Fault> = Some(Fault::CellUnderVoltage);

const CAME: Option<Came> = Some(Came { tick: 17_232, seconds: 172.32, by: BY });
const AT_THE_END: Option<Came> = Some(Came { tick: 29_999, seconds: 299.99, by: BY });

fn edge(knob: Knob, stands: f64, [same, other]: [f64; 2], (amount, measure): (f64, Measure)) -> Distance {
    let found =
        Found::Edge { same: Side { value: same, came: CAME }, other: Side { value: other, came: None } };
    Distance { knob, stands, found, tolerance: Tolerance { amount, measure } }
}

#[test]
fn a_distance_of_every_number() {
    let fault = Fault::CellOverVoltage;
    let cell = (0.005, Measure::SensorError);
    let mut examples = vec![
        edge(Knob::Trip(fault), 3.65, [3.661, 3.662], cell),
        edge(Knob::Release(fault), 3.6, [3.58, 3.579], cell),
        edge(Knob::Dwell(fault), 2_000.0, [12_760.0, 12_770.0], (10.0, Measure::Tick)),
        edge(Knob::Dwell(fault), 300.0, [480.0, 490.0], (10.0, Measure::Tick)),
        edge(Knob::Dwell(Fault::CellResistanceHigh), 0.0, [127_670.0, 127_680.0], (10.0, Measure::Tick)),
        edge(Knob::Dwell(Fault::ContactorWorn), 0.0, [500.0, 510.0], (10.0, Measure::Tick)),
        edge(Knob::ReleaseDwell(fault), 1_000.0, [3_000.0, 3_010.0], (10.0, Measure::Tick)),
        edge(Knob::Trip(Fault::CellUnderVoltage), 2.8, [2.78, 2.779], cell),
        edge(Knob::Severity(0), 3.0, [1.83, 1.82], (0.3, Measure::Tenth)),
        edge(Knob::Severity(1), -30.0, [-12.1, -12.0], (3.0, Measure::Tenth)),
        edge(Knob::Error(Kind::CellChannelOffset, 36), 0.0, [-11.0, -12.0], (5.0, Measure::SensorError)),
        edge(Knob::Error(Kind::PackVoltageGain, 0), 0.0, [0.3, 0.4], (0.2, Measure::SensorError)),
    ];
    let plain = edge(Knob::Trip(fault), 3.65, [3.66, 3.67], cell);
    let ends = |ends: Vec<Side>| Distance { found: Found::Nowhere { ends }, ..plain.clone() };
    examples.push(ends(vec![Side { value: 4.2, came: CAME }]));
    examples.push(ends(vec![]));
    let late = Side { value: 3.66, came: AT_THE_END };
    examples.push(Distance {
        found: Found::Edge { same: late, other: Side { value: 3.67, came: None } },
        ..plain.clone()
    });
    let answer = answered(Outcome::Confirmed(fault), CAME);
    let said = |distance: &Distance| words::distance(&answer, distance, &case());
    let lines = each_kind!(Distance, said, examples, {
        Distance { found: Found::Nowhere { .. }, .. } => "nowhere",
        Distance { knob: Knob::Trip(_), .. } => "limit",
        Distance { knob: Knob::Release(_), .. } => "release limit",
        Distance { knob: Knob::Dwell(_), .. } => "dwell",
        Distance { knob: Knob::ReleaseDwell(_), .. } => "release dwell",
        Distance { knob: Knob::Severity(_), .. } => "severity",
        Distance { knob: Knob::Error(..), .. } => "error of a sensor",
    });
    let outcomes = [Outcome::Confirmed(fault), Outcome::Any, Outcome::Trip, Outcome::Opened, Outcome::Hazard];
    let mut headings = String::new();
    for outcome in outcomes {
        for came in [CAME, None] {
            headings += &heading(&answered(outcome, came), &plain, &case());
        }
    }
    let asked = words::distances_not_asked();
    assert_data_eq!(text(&lines) + &headings + &asked + "\n", file!["distances.txt"]);
}

fn answered(outcome: Outcome, came: Option<Came>) -> Answer {
    Answer { outcome, fault: Fault::CellOverVoltage, came, distances: Vec::new() }
}

/// The heading of an outcome, and one distance below it.
fn heading(answer: &Answer, distance: &Distance, case: &Case) -> String {
    format!("{}\n  {}\n", words::distances_heading(answer), words::distance(answer, distance, case))
}
