//! The survey file as it is typed.

use super::check::{EVERY, HALF_WIDTH, MOST_RUNS, MOST_STEPS};
use crate::case::{Accepted, MOST_SEED, Path, Source};
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SurveyFile {
    pub(super) schema: u64,
    pub(super) title: String,
    pub(super) story: String,
    pub(super) cases: Vec<String>,
    pub(super) seed: u64,
    pub(super) runs: u64,
    pub(super) runs_a_prefix: Option<u64>,
    pub(super) counts: Option<Vec<String>>,
    pub(super) hazard_within_s: Option<f64>,
    #[serde(default)]
    pub(super) vary: Vec<VaryTable>,
    pub(super) combine: Option<String>,
    #[serde(default)]
    pub(super) sweep: Vec<SweepTable>,
    #[serde(default)]
    pub(super) rule: Vec<RuleTable>,
    pub(super) stop: Option<StopTable>,
    pub(super) want: Option<WantTable>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct VaryTable {
    pub(super) what: String,
    pub(super) fixed: Option<f64>,
    pub(super) uniform: Option<[f64; 2]>,
    pub(super) log_uniform: Option<[f64; 2]>,
    pub(super) normal: Option<[f64; 2]>,
    pub(super) whole: Option<[f64; 2]>,
    pub(super) choice: Option<Vec<f64>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SweepTable {
    pub(super) what: String,
    pub(super) values: Option<Vec<f64>>,
    pub(super) from: Option<f64>,
    pub(super) to: Option<f64>,
    pub(super) steps: Option<u64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RuleTable {
    pub(super) name: String,
    pub(super) counts: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StopTable {
    pub(super) half_width: f64,
    pub(super) every: u64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WantTable {
    pub(super) false_alarms_a_year: Option<f64>,
    pub(super) accused_percent: Option<f64>,
    pub(super) before_hazard_percent: f64,
}

/// What is accepted at a place, where its value is of another type or missing.
pub(super) fn accepted(_source: &Source<'_>, path: &Path) -> Accepted {
    let whole = |high| Accepted::Whole { low: 1, high };
    match (path.keys().as_slice(), path.last_key()) {
        ([.., "counts"], _) => Accepted::Said("a list of fault names"),
        (["cases"], _) => Accepted::Said("a list of paths in quotes"),
        (_, "schema") => whole(1),
        (_, "seed") => Accepted::Whole { low: 0, high: MOST_SEED },
        (_, "runs" | "runs_a_prefix") => whole(MOST_RUNS),
        (_, "every") => Accepted::Whole { low: EVERY.0, high: EVERY.1 },
        (_, "steps") => Accepted::Whole { low: 2, high: MOST_STEPS },
        (_, "half_width") => Accepted::Number { low: HALF_WIDTH.0, high: HALF_WIDTH.1, unit: "" },
        (_, "title" | "story" | "what" | "combine" | "name") => Accepted::Said("text in quotes"),
        (_, "uniform" | "log_uniform" | "whole") => {
            Accepted::Said("two numbers, as [0.5, 8], the lower one first")
        }
        (_, "normal") => Accepted::Said("two numbers, as [20, 5]: mean and standard deviation"),
        (_, "choice" | "values") => Accepted::Said("a list of numbers"),
        (_, "vary" | "sweep" | "rule") => Accepted::Said("a list of tables, each under [[…]]"),
        (_, "stop" | "want") => Accepted::Said("a table, under […]"),
        _ => Accepted::Said("a number"),
    }
}
