//! What would have changed an outcome, under `distances`.

use super::words;
use crate::case::Case;
use crate::explain::distance::{Answer, Came, Distance, Found, Outcome, Side};
use bms_core::Fault;
use serde::Serialize;

#[derive(Clone, Debug, Serialize)]
pub(super) struct AnswerShown {
    outcome: &'static str,
    fault: &'static str,
    came: Option<CameShown>,
    numbers: Vec<DistanceShown>,
}

#[derive(Clone, Debug, Serialize)]
struct CameShown {
    tick: u64,
    seconds: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    by: Option<&'static str>,
}

#[derive(Clone, Debug, Serialize)]
struct DistanceShown {
    number: String,
    unit: &'static str,
    stands: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    same: Option<SideShown>,
    #[serde(skip_serializing_if = "Option::is_none")]
    other: Option<SideShown>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    ends: Vec<SideShown>,
    tolerance: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    change_in_tolerances: Option<f64>,
    sentence: String,
}

#[derive(Clone, Debug, Serialize)]
struct SideShown {
    value: f64,
    came: Option<CameShown>,
}

pub(super) fn shown(answers: &[Answer], case: &Case) -> Vec<AnswerShown> {
    let of = |answer: &Answer| AnswerShown {
        outcome: match answer.outcome {
            Outcome::Confirmed(_) => "confirmed",
            Outcome::Any => "any",
            Outcome::Trip => "trip",
            Outcome::Opened => "opened",
            Outcome::Hazard => "hazard",
        },
        fault: answer.fault.key(),
        came: answer.came.map(came),
        numbers: answer.distances.iter().map(|distance| number(answer, distance, case)).collect(),
    };
    answers.iter().map(of).collect()
}

fn number(answer: &Answer, distance: &Distance, case: &Case) -> DistanceShown {
    let (same, other, ends) = match &distance.found {
        Found::Edge { same, other } => (Some(side(same)), Some(side(other)), Vec::new()),
        Found::Nowhere { ends } => (None, None, ends.iter().map(side).collect()),
    };
    DistanceShown {
        number: distance.knob.name(case),
        unit: distance.knob.unit(case),
        stands: distance.stands,
        same,
        other,
        ends,
        tolerance: distance.tolerance.amount,
        change_in_tolerances: distance.multiple(),
        sentence: words::distance(answer, distance, case),
    }
}

fn side(side: &Side) -> SideShown {
    SideShown { value: side.value, came: side.came.map(came) }
}

fn came(Came { tick, seconds, by }: Came) -> CameShown {
    CameShown { tick, seconds, by: by.map(Fault::key) }
}
