//! What a key may hold, said where its value is of another type or is missing.
//!
//! A value of the right type is held against its bounds in `check`. One of another type never gets there: what can be said of it
//! follows from the key and from what stands beside it, in the same words and with the same bounds.

use super::check::{
    CELSIUS, DURATION_SECONDS, MOST_PHASES, MOST_RATE, MOST_SECONDS, MOST_SEED, REST_SECONDS, TICK_MS,
    USUAL_TICK_MS,
};
use super::error::Accepted;
use super::file::severity_key;
use super::place::{Path, Source};
use super::start::{COUNTED_PERCENT, WORN_PERCENT};
use super::{Pack, limits, safe};
use crate::defect::{Kind, Spells};
use bms_core::Fault;

/// What is accepted at this place.
pub(super) fn at(source: &Source<'_>, path: &Path) -> Accepted {
    let key = path.last_key();
    let keys = path.keys();
    match (keys.as_slice(), key) {
        (["safe", key], _) => bound(source, key),
        (["defect", _] | ["change", "defect", _], key) => {
            severity(source, path, key).unwrap_or_else(|| by_key(source, key))
        }
        (["limits", fault, "trip" | "release"] | ["change", "limits", fault, "trip" | "release"], _) => {
            limit(source, fault)
        }
        (["change", "limits"], _) => {
            Accepted::Said("a table, as limits = { cell_over_voltage = { trip = 3.7 } }")
        }
        (["change", "duty"], _) => Accepted::Said("a table, as duty = { do = \"hoist\" }"),
        (["change", "act"], _) => Accepted::Said("a table, as act = { ask = \"open\" }"),
        (["change", "defect"], _) => {
            Accepted::Said("a table, as defect = { kind = \"cell_leak\", cell = 5 }")
        }
        (["expect", "within_s", _], _) => seconds(0.0),
        (["start", "cell" | "contactor"], _) => Accepted::Said("a list of tables, each under [[…]]"),
        _ => by_key(source, key),
    }
}

/// The severity of the kind of defect that stands beside it.
fn severity(source: &Source<'_>, path: &Path, key: &str) -> Option<Accepted> {
    let kind = source.text_at(&path.beside("kind"))?;
    let kind = Kind::ALL.iter().find(|known| known.key() == kind)?;
    let (low, high) = kind.range();
    (severity_key(kind.unit()) == Some(key)).then_some(Accepted::Number { low, high, unit: kind.unit() })
}

fn limit(source: &Source<'_>, fault: &str) -> Accepted {
    let fault = Fault::ALL.into_iter().find(|known| known.key() == fault);
    let tick_ms = source.whole_at(&Path::TOP.key("tick_ms")).unwrap_or(USUAL_TICK_MS);
    match fault.zip(pack(source)).and_then(|(fault, pack)| limits::range(fault, pack, tick_ms)) {
        Some((low, high, unit)) => Accepted::Number { low, high, unit },
        None => Accepted::Said("a number"),
    }
}

fn bound(source: &Source<'_>, key: &str) -> Accepted {
    match pack(source).and_then(|pack| safe::range(key, pack)) {
        Some((low, high, unit)) => Accepted::Number { low, high, unit },
        None => Accepted::Said("a number"),
    }
}

/// The pack of the case, if it names one.
fn pack(source: &Source<'_>) -> Option<Pack> {
    let name = source.text_at(&Path::TOP.key("pack"))?;
    Pack::ALL.into_iter().find(|pack| pack.name() == name)
}

const fn seconds(low: f64) -> Accepted {
    Accepted::Number { low, high: MOST_SECONDS, unit: "s" }
}

/// By the name of the key alone, with the counts of the pack.
fn by_key(source: &Source<'_>, key: &str) -> Accepted {
    let up_to = |high| Accepted::Whole { low: 1, high };
    let number = |(low, high), unit| Accepted::Number { low, high, unit };
    let place = |count: fn(Pack) -> u64| {
        up_to(pack(source).map_or_else(|| Pack::ALL.map(count).into_iter().max().unwrap_or(1), count))
    };
    match key {
        "schema" => up_to(1),
        "title" | "story" | "pack" | "do" | "ask" | "by" | "kind" | "ends" | "contactor"
        | "current_sensor" | "part" | "record" => Accepted::Said("text in quotes"),
        "seed" => Accepted::Whole { low: 0, high: MOST_SEED },
        "tick_ms" => Accepted::Whole { low: TICK_MS.0, high: TICK_MS.1 },
        "dwell_ms" | "release_dwell_ms" => Accepted::Whole { low: 0, high: limits::MOST_DWELL_MS },
        "cell" => place(Pack::cells),
        "joint" => place(|pack| pack.cells() - 1),
        "wire" => place(Pack::wires),
        "thermistor" => place(Pack::thermistors),
        "module" => place(Pack::modules),
        "times" => up_to(MOST_PHASES as u64),
        "mend" => Accepted::Said("the number of a defect, from 1"),
        "critical" | "cooling" | "clock" => Accepted::Said("true or false"),
        "faults" => Accepted::Said("a list of fault names"),
        "phases" => Accepted::Said("a list of tables, as phases = [{ do = \"hoist\" }]"),
        "surroundings" | "duty" | "act" | "defect" | "repair" | "change" => {
            Accepted::Said("a list of tables, each under [[…]]")
        }
        "start" | "rest" | "safe" | "limits" | "expect" => Accepted::Said("a table, under […]"),
        "within_s" => Accepted::Said("a table of fault names and seconds"),
        "charge_percent" => number((0.0, 100.0), "%"),
        "worn_percent" => number(WORN_PERCENT, "%"),
        "counted_percent" => number(COUNTED_PERCENT, "%"),
        "celsius" => number(CELSIUS, "°C"),
        "rate_c" => number((0.0, MOST_RATE), "C"),
        "missing_ah" | "spread_ah" => match pack(source) {
            Some(pack) => number((0.0, pack.ampere_hours()), "Ah"),
            None => Accepted::Said("a number of ampere-hours"),
        },
        "duration_s" | "for_s" => seconds(DURATION_SECONDS.0),
        "step_s" => number(REST_SECONDS, "s"),
        "intermittent_period_s" => number(Spells::PERIOD_SECONDS, "s"),
        "intermittent_duty" => number(Spells::DUTY, ""),
        key if key.ends_with("_s") => seconds(0.0),
        _ => Accepted::Said("a number"),
    }
}
