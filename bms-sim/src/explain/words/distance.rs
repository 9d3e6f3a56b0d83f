//! How far it was: what would have changed an outcome.

use super::numbers::clock;
use super::world::defect_place;
use crate::case::{Case, Knob};
use crate::defect::Kind;
use crate::explain::distance::{Answer, Came, Distance, Found, Measure, Outcome, Side};
use bms_core::Fault;

/// What the distances below it are about.
#[must_use]
pub fn distances_heading(answer: &Answer) -> String {
    let fault = answer.fault.words();
    let asked = match (answer.outcome, answer.came) {
        (Outcome::Confirmed(_), Some(_)) => format!("What would have kept {fault} from being Confirmed"),
        (Outcome::Confirmed(_), None) => format!("What would have made {fault} Confirmed"),
        (Outcome::Any, None) => format!("What would have made any fault Confirmed, by {fault}"),
        (of, came) => format!("As played, {}; what would have changed that, by {fault}", outcome(of, came)),
    };
    format!("{asked}, each side of it played again:")
}

/// Nobody asked for the distances of a long story.
#[must_use]
pub fn distances_not_asked() -> String {
    "What would have changed it takes many replays of a story as long as this one: ask with --outcome."
        .to_owned()
}

/// Where the outcome flips when one number is turned, or that it does not.
#[must_use]
pub fn distance(answer: &Answer, distance: &Distance, case: &Case) -> String {
    let value = |value: f64| turned_to(distance.knob, value, case);
    let with = |side: &Side| format!("with {} {}", value(side.value), outcome(answer.outcome, side.came));
    let name = format!("{}, {}", number_of(answer.fault, distance.knob, case), stands(distance, case));
    match &distance.found {
        Found::Edge { same, other } => {
            let apart = other.value - distance.stands;
            // Of a severity it counts how bad it is, whichever way.
            let less = match distance.knob {
                Knob::Severity(_) => other.value.abs() < distance.stands.abs(),
                _ => apart < 0.0,
            };
            let way = if less { "less" } else { "more" };
            let apart = format!("{} {way}, {}", value(apart.abs()), multiple(distance, case));
            // What comes in the last tick would have come later too, had the story gone on.
            let last = case.duration_seconds - 1.5 * f64::from(case.config().pack.tick.0) / 1_000.0;
            let late =
                [same, other].into_iter().filter_map(|side| side.came).any(|came| came.seconds >= last);
            let end = if late { "; only because the story ends then" } else { "" };
            format!("{name}: {}, {} ({apart}{end})", with(same), with(other))
        }
        Found::Nowhere { ends } if ends.is_empty() => {
            format!("{name}: beside the other limits nothing else is accepted")
        }
        Found::Nowhere { ends } => {
            let ends: Vec<String> = ends.iter().map(with).collect();
            format!("{name}: does not decide; as far as it can be turned, {}", ends.join(", and "))
        }
    }
}

/// Where a number stands in the case.
fn stands(distance: &Distance, case: &Case) -> String {
    match distance.knob {
        Knob::Dwell(Fault::CellResistanceHigh | Fault::CellReadingFrozen) if distance.stands <= 0.0 => {
            "none beside the three load steps it rests on".to_owned()
        }
        Knob::Dwell(_) if distance.stands <= 0.0 => "none".to_owned(),
        knob => turned_to(knob, distance.stands, case),
    }
}

/// What came, or did not.
fn outcome(of: Outcome, came: Option<Came>) -> String {
    let at = came.map(|came| clock(came.seconds));
    match (of, at) {
        (Outcome::Confirmed(_), Some(at)) => format!("it is Confirmed at {at}"),
        (Outcome::Confirmed(_), None) => "it is not Confirmed".to_owned(),
        (Outcome::Any, Some(at)) => match came.and_then(|came| came.by) {
            Some(fault) => format!("{} is Confirmed at {at}", fault.words()),
            None => format!("a fault is Confirmed at {at}"),
        },
        (Outcome::Any, None) => "no fault is Confirmed".to_owned(),
        (Outcome::Trip, Some(at)) => format!("a fault tells the contactors to open at {at}"),
        (Outcome::Trip, None) => "no fault tells the contactors to open".to_owned(),
        (Outcome::Opened, Some(at)) => format!("the contactors open at {at}"),
        (Outcome::Opened, None) => "the contactors do not open against the operator's wish".to_owned(),
        (Outcome::Hazard, Some(at)) => format!("truth passes a safe bound at {at}"),
        (Outcome::Hazard, None) => "truth stays inside its safe bounds".to_owned(),
    }
}

/// A number with its fault, where that is not the one that is asked about.
fn number_of(asked: Fault, knob: Knob, case: &Case) -> String {
    let number = number(knob, case);
    match knob.fault().filter(|fault| *fault != asked) {
        Some(fault) => format!("{number} of {}", fault.words()),
        None => number,
    }
}

/// What a number is.
pub(super) fn number(knob: Knob, case: &Case) -> String {
    match knob {
        Knob::Trip(_) => "limit".to_owned(),
        Knob::Release(_) => "release limit".to_owned(),
        Knob::Dwell(_) => "dwell".to_owned(),
        Knob::ReleaseDwell(_) => "release dwell".to_owned(),
        Knob::Severity(place) => case.defects.get(place).map_or_else(String::new, |defect| {
            let kind = defect.kind;
            match defect_place(kind.place(), defect.place).as_str() {
                "" => format!("severity of the defect ({})", kind.name()),
                at => format!("severity of the defect ({}, {at})", kind.name()),
            }
        }),
        Knob::Error(kind, place) => {
            let of = match kind {
                Kind::PackVoltageGain => "the pack voltage".to_owned(),
                Kind::LinkVoltageGain => "the link voltage".to_owned(),
                Kind::SupplyReadingGain => "the auxiliary supply".to_owned(),
                _ => defect_place(kind.place(), place),
            };
            format!("error of the reading of {of}")
        }
    }
}

/// A value that a number is turned to, with its unit.
pub(super) fn turned_to(knob: Knob, value: f64, case: &Case) -> String {
    let unit = knob.unit(case);
    let digits = usize::from(knob.grid(case).digits);
    let shown = match knob {
        Knob::Dwell(_) | Knob::ReleaseDwell(_) if value >= 1_000.0 => {
            return format!("{:.2} s", value / 1_000.0);
        }
        // A range has ends that are finer than the grid.
        Knob::Severity(_) | Knob::Error(..) => {
            let scale = 1e6;
            ((value * scale).round() / scale).to_string()
        }
        Knob::Trip(_) | Knob::Release(_) | Knob::Dwell(_) | Knob::ReleaseDwell(_) => {
            format!("{value:.digits$}")
        }
    };
    format!("{} {unit}", shown.replace('-', "−")).trim_end().to_owned()
}

/// How large a change is beside its tolerance.
fn multiple(distance: &Distance, case: &Case) -> String {
    let times = distance.multiple().unwrap_or_default();
    let amount = turned_to(distance.knob, distance.tolerance.amount, case);
    match distance.tolerance.measure {
        Measure::SensorError => format!("{times:.1} times the sensor's stated error of {amount}"),
        Measure::Tick => format!("{times:.0} ticks"),
        Measure::Tenth => format!("{:.1} % of it", 10.0 * times),
    }
}
