//! Plays the two sides of a distance again, from a case file in which nothing but that number was written otherwise.

use bms_core::Fault;
use bms_core::fault::{Reaction, Stage};
use bms_core::witness::Evidence;
use bms_sim::case::{Case, Knob};
use bms_sim::explain::distance::{Found, Outcome, Side, answer};
use bms_sim::recording::{self, Recording, What};
use std::sync::Arc;

pub(crate) fn parsed(text: &str) -> Case {
    Case::parse(text, "case.toml").unwrap_or_else(|error| panic!("{error}\n{text}"))
}

pub(crate) fn played<const CELLS: usize, const THERMISTORS: usize>(
    case: Case,
) -> Recording<CELLS, THERMISTORS> {
    recording::play(&Arc::new(case), |_| true).expect("the pack has as many cells")
}

/// When the recording tells that a fault became Confirmed: its tick.
pub(crate) fn confirmed<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    of: Fault,
) -> Option<u64> {
    first_confirmed(recording, |fault| fault == of)
}

fn first_confirmed<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    is: impl Fn(Fault) -> bool,
) -> Option<u64> {
    recording.events.iter().find_map(|event| match &event.what {
        What::Told(Evidence::StageChanged { assessment, .. })
            if is(assessment.fault) && matches!(assessment.stage, Stage::Confirmed { .. }) =>
        {
            Some(event.tick)
        }
        _ => None,
    })
}

/// When the recording tells that the outcome came: its tick.
fn came<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    outcome: Outcome,
) -> Option<u64> {
    let opens = |fault| recording.case.config().faults.reaction(fault) >= Reaction::OpenSoon;
    match outcome {
        Outcome::Confirmed(fault) => confirmed(recording, fault),
        Outcome::Any => first_confirmed(recording, |_| true),
        Outcome::Trip => first_confirmed(recording, opens),
        Outcome::Opened | Outcome::Hazard => panic!("no event tells it alone"),
    }
}

/// The file of a case with one number written otherwise, at the place that the number's name says.
fn written(case: &Case, knob: Knob, value: f64) -> Case {
    let mut file: toml::Table = toml::from_str(&case.text).expect("a case file is TOML");
    let name = knob.name(case);
    let parts: Vec<&str> = name.split('.').collect();
    let number = if value.fract() == 0.0 && name.ends_with("_ms") {
        toml::Value::Integer(format!("{value:.0}").parse().expect("a whole number"))
    } else {
        toml::Value::Float(value)
    };
    match parts[..] {
        ["limits", fault, key] => {
            let limits = file.entry("limits").or_insert_with(|| toml::Table::new().into());
            let limits = limits.as_table_mut().expect("limits is a table");
            let one = limits.entry(fault).or_insert_with(|| toml::Table::new().into());
            one.as_table_mut().expect("a limit is a table").insert(key.to_owned(), number);
        }
        ["defect", place, key] => {
            let place: usize = place.parse().expect("a place of the list");
            let defects = file["defect"].as_array_mut().expect("defects are a list");
            defects[place - 1].as_table_mut().expect("a defect is a table").insert(key.to_owned(), number);
        }
        ["error", kind, place] => {
            let Knob::Error(of, _) = knob else { panic!("{name}") };
            let place = match place.parse::<i64>() {
                Ok(place) => toml::Value::Integer(place),
                Err(_) => place.into(),
            };
            let unit = match of.unit() {
                "mV" => "millivolts",
                "A" => "amps",
                "°C" => "celsius",
                _ => "percent",
            };
            let mut defect = toml::Table::new();
            defect.insert("kind".to_owned(), kind.into());
            if let Some(key) = of.place().key() {
                defect.insert(key.to_owned(), place);
            }
            defect.insert(unit.to_owned(), number);
            let defects = file.entry("defect").or_insert_with(|| toml::Value::Array(Vec::new()));
            defects.as_array_mut().expect("defects are a list").push(defect.into());
        }
        _ => panic!("{name}"),
    }
    parsed(&toml::to_string(&file).expect("a table can be written"))
}

/// Plays both sides of every distance of an outcome again, and counts them.
pub(crate) fn proven<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    outcome: Outcome,
    fault: Fault,
) -> usize {
    let case = &recording.case;
    let answer = answer(recording, outcome, fault).expect("the pack has as many cells");
    assert_eq!(answer.came.map(|came| came.tick), came(recording, outcome), "{}", case.title);
    assert!(!answer.distances.is_empty(), "{}: nothing took part in {}", case.title, fault.key());
    let mut sides = 0;
    for distance in &answer.distances {
        let again = |side: &Side| {
            let name = distance.knob.name(case);
            let played: Recording<CELLS, THERMISTORS> = played(written(case, distance.knob, side.value));
            let at = side.came.map(|came| came.tick);
            assert_eq!(came(&played, outcome), at, "{}: {name} = {}", case.title, side.value);
        };
        match &distance.found {
            Found::Edge { same, other } => {
                assert_eq!(same.came.is_some(), answer.came.is_some(), "{distance:?}");
                assert_ne!(same.came.is_some(), other.came.is_some(), "{distance:?}");
                assert_eq!(distance.knob.grid(case).between(same.value, other.value), None, "{distance:?}");
                [same, other].into_iter().for_each(again);
                sides += 2;
            }
            Found::Nowhere { ends } => {
                assert!(ends.iter().all(|end| end.came.is_some() == answer.came.is_some()), "{distance:?}");
                ends.iter().for_each(again);
                sides += ends.len();
            }
        }
    }
    // The smallest change first, each measured by its tolerance; last what changes nothing.
    let order: Vec<f64> =
        answer.distances.iter().map(|distance| distance.multiple().unwrap_or(f64::INFINITY)).collect();
    assert!(order.is_sorted(), "{}: {order:?}", case.title);
    sides
}
