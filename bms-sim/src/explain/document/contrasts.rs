//! What separates two defects, or two faults, as a document of its own.

use super::{CaseShown, DefectShown, Shown, Values, of_assessment, of_case, of_defect, words};
use crate::case::Case;
use crate::explain::channels::Channel;
use crate::explain::contrast::faults::{Approach, BetweenFaults, Looks};
use crate::explain::contrast::{Contrast, Difference, Trial};
use crate::recording::file::GENERATOR;
use crate::recording::values::variant;
use bms_core::fault::Fault;
use serde::Serialize;

/// What separates two defects, as the head of [`document`](super) describes it.
#[derive(Clone, Debug, Serialize)]
pub struct BetweenDefectsShown {
    schema: u32,
    generator: &'static str,
    case: CaseShown,
    here: Option<DefectShown>,
    there: DefectShown,
    compared_until_seconds: f64,
    differences: Vec<Shown>,
    acts_apart_seconds: Option<f64>,
    confirmed_here: Vec<&'static str>,
    confirmed_there: Vec<&'static str>,
    trials: Vec<TrialShown>,
    cautions: &'static str,
}

/// What separates two faults, as the head of [`document`](super) describes it.
#[derive(Clone, Debug, Serialize)]
pub struct BetweenFaultsShown {
    schema: u32,
    generator: &'static str,
    case: CaseShown,
    faults: Vec<ApproachShown>,
    apart: Vec<LooksShown>,
    order: Option<OrderShown>,
    trials: Vec<TrialShown>,
    cautions: &'static str,
}

#[derive(Clone, Debug, Serialize)]
struct ApproachShown {
    fault: &'static str,
    looks_at: &'static str,
    confirmed: Option<Shown>,
    nearest: Option<Shown>,
    ticks_looked: u64,
    ticks_beyond: u64,
    cause: Option<usize>,
    sentence: String,
}

/// Both looks of a tick.
#[derive(Clone, Debug, Serialize)]
struct LooksShown {
    tick: u64,
    seconds: f64,
    looks: Vec<Shown>,
}

#[derive(Clone, Debug, Serialize)]
struct OrderShown {
    first: &'static str,
    apart_seconds: f64,
    follows: Option<bool>,
    silenced_number: Option<String>,
    silenced_value: Option<f64>,
    sentence: String,
}

#[derive(Clone, Debug, Serialize)]
struct TrialShown {
    act: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    at: Option<usize>,
    separates: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    difference: Option<Shown>,
    #[serde(skip_serializing_if = "Option::is_none")]
    looks: Option<LooksShown>,
    sentence: String,
}

/// What separates two defects.
#[must_use]
pub fn between_defects(contrast: &Contrast, case: &Case) -> BetweenDefectsShown {
    let keys = |faults: &[Fault]| faults.iter().map(|fault| fault.key()).collect();
    let [here, there] = &contrast.played.confirmed;
    BetweenDefectsShown {
        schema: 1,
        generator: GENERATOR,
        case: of_case(case),
        here: contrast.of.and_then(|place| case.defects.get(place)).map(of_defect),
        there: of_defect(&contrast.instead),
        compared_until_seconds: contrast.played.until,
        differences: contrast.played.differences.iter().map(difference).collect(),
        acts_apart_seconds: contrast.played.acts_apart,
        confirmed_here: keys(here),
        confirmed_there: keys(there),
        trials: contrast
            .trials
            .iter()
            .map(|(trial, apart)| TrialShown {
                act: trial.key(),
                at: place(*trial),
                separates: apart.is_some(),
                difference: apart.as_ref().map(difference),
                looks: None,
                sentence: words::tried_in_both(*trial, apart.as_ref()),
            })
            .collect(),
        cautions: words::CAUTIONS,
    }
}

/// What separates two faults.
#[must_use]
pub fn between_faults(found: &BetweenFaults, case: &Case) -> BetweenFaultsShown {
    let mut apart: Vec<LooksShown> = found.apart.iter().flatten().map(looks).collect();
    apart.sort_by_key(|looks| looks.tick);
    BetweenFaultsShown {
        schema: 1,
        generator: GENERATOR,
        case: of_case(case),
        faults: found.approaches.iter().map(approach).collect(),
        apart,
        order: found.order.map(|order| OrderShown {
            first: found.approaches[order.first].fault.key(),
            apart_seconds: order.apart_seconds,
            follows: order.silenced.map(|_| order.came.is_none()),
            silenced_number: order.silenced.map(|(knob, _)| knob.name(case)),
            silenced_value: order.silenced.map(|(_, value)| value),
            sentence: words::came_in_order(&order, &found.approaches, case).join(" "),
        }),
        trials: found
            .trials
            .iter()
            .map(|(trial, apart)| TrialShown {
                act: trial.key(),
                at: place(*trial),
                separates: apart.is_some(),
                difference: None,
                looks: apart.as_ref().map(looks),
                sentence: words::tried(*trial, apart.as_ref()),
            })
            .collect(),
        cautions: words::CAUTIONS,
    }
}

fn approach(of: &Approach) -> ApproachShown {
    let nearest = of.nearest.filter(|_| of.confirmed.is_none());
    ApproachShown {
        fault: of.fault.key(),
        looks_at: of.fault.meaning(),
        confirmed: of.confirmed.as_ref().map(|(seconds, seen)| of_assessment("confirmed", *seconds, seen)),
        nearest: nearest.map(|near| of_assessment("nearest", near.seconds, &near.assessment)),
        ticks_looked: of.looked,
        ticks_beyond: of.beyond,
        cause: of.cause.map(|place| place + 1),
        sentence: words::approached(of),
    }
}

fn looks(looks: &Looks) -> LooksShown {
    LooksShown {
        tick: looks.tick,
        seconds: looks.seconds,
        looks: looks.of.iter().map(|seen| of_assessment("look", looks.seconds, seen)).collect(),
    }
}

/// Where an act is done, from 1.
const fn place(trial: Trial) -> Option<usize> {
    match trial {
        Trial::Bleed(place) | Trial::SwapThermistors(place) => Some(place + 1),
        Trial::LoadSteps(_) | Trial::Charge | Trial::Rest | Trial::Reclose | Trial::Meter => None,
    }
}

/// A reading here and there, with its unit at the end of each key.
fn difference(apart: &Difference) -> Shown {
    let (name, at, unit) = channel(apart.channel);
    let values = at.into_iter().fold(Values::default(), |values, (key, at)| values.with(key, at));
    let end = if unit.is_empty() { String::new() } else { format!("_{unit}") };
    Shown {
        kind: name,
        seconds: apart.seconds,
        sentence: words::reading(apart),
        values: values.with(&format!("here{end}"), apart.here).with(&format!("there{end}"), apart.there),
    }
}

/// Name, place and unit of a channel; a place is counted from 1 or has a name.
pub(super) fn channel(
    of: Channel,
) -> (&'static str, Option<(&'static str, serde_json::Value)>, &'static str) {
    let at = |key, place: usize| Some((key, (place + 1).into()));
    let named = |key, names: &[&'static str], place: usize| Some((key, names.get(place).copied().into()));
    match of {
        Channel::Cell(cell) => ("cell", at("cell", cell), "volts"),
        Channel::PulledCell(cell) => ("pulled_cell", at("cell", cell), "volts"),
        Channel::Thermistor(place) => ("thermistor", at("thermistor", place), "percent_of_reference"),
        Channel::Current => ("current", None, "amps"),
        Channel::CurrentCheck => ("current_check", None, "amps"),
        Channel::Pack => ("pack", None, "volts"),
        Channel::BehindNegative => ("behind_negative", None, "volts"),
        Channel::BehindPositive => ("behind_positive", None, "volts"),
        Channel::Link => ("link", None, "volts"),
        Channel::Supply => ("supply", None, "volts"),
        Channel::Pole(pole) => ("pole", named("pole", &["negative", "positive"], pole), "volts"),
        Channel::Feedback(which) => {
            ("feedback", named("contactor", &["negative", "precharge", "positive"], which), "made")
        }
        Channel::Interlock => ("interlock", None, "made"),
        Channel::InterlockBreaks => ("interlock_breaks", None, "count"),
        Channel::Disconnect(which) => {
            ("disconnect", named("disconnect", &["service", "auxiliary"], which), "made")
        }
        Channel::ImpactEdges => ("impact_edges", None, "count"),
        Channel::Cooling => ("cooling", None, "turning"),
        Channel::Bleeding => ("bleeding", None, ""),
        Channel::Age(part) => ("age", Some(("part", variant(part).into())), "milliseconds"),
        Channel::Clock => ("clock", None, "milliseconds"),
        Channel::MeteredCell(cell) => ("metered_cell", at("cell", cell), "volts"),
        Channel::MeteredBleed(cell) => ("metered_bleed", at("cell", cell), "volts"),
        Channel::MeteredInsulation => ("metered_insulation", None, "kiloohms"),
        Channel::WarmCell(cell) => ("warm_cell", at("cell", cell), "celsius"),
        Channel::WarmJoint(cell) => ("warm_joint", at("joint", cell), "celsius"),
    }
}
