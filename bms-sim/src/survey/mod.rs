//! # Surveys: how well does a limit detect, how rarely does it cry wolf
//!
//! A survey draws many packs, lets each have its defect and stay sound, under every setting of some limits, and counts. What it gives are
//! numbers with intervals: how likely a defect is found, how soon, how long before it is dangerous, what it is taken for, how often a sound
//! pack is accused.
//!
//! # The file
//!
//! Unknown keys are refused, with the nearest known one as a suggestion. A file named `joint.toml`:
//!
//! ```toml
//! schema = 1                      # the only one there is
//! title = "How far may a joint loosen"
//! story = "One or two sentences for people."
//! cases = ["../cases/loose-joint.toml"]   # the story, or several of a family; paths from this file
//! seed = 1                        # of all that is drawn
//! runs = 200                      # packs with a defect, and as many prefixes
//! runs_a_prefix = 1               # packs that are the same until their defect begins; 1 when left out
//! counts = ["cell_resistance_high"]       # the faults that count as found; any when left out
//! hazard_within_s = 300           # look so long after the onset for what is dangerous if nothing reacts; not at all when left out
//!
//! [[vary]]                        # what is drawn for each run
//! what = "defect.1.milliohms"
//! log_uniform = [0.25, 8]         # or fixed, uniform, normal, whole, choice
//!
//! [[sweep]]                       # each limit or dwell that is tried, by its name in `why --distance`
//! what = "limits.cell_resistance_high.trip"
//! values = [1.2, 1.7, 2.4]
//! [[sweep]]
//! what = "limits.cell_resistance_high.dwell_ms"
//! from = 100                      # or the ends and how many between and with them, evenly apart
//! to = 400
//! steps = 2
//!
//! [[rule]]                        # optional, instead of counts: rules that are tried, each a list of faults of which one is enough
//! name = "resistance alone"
//! counts = ["cell_resistance_high"]
//! [[rule]]
//! name = "or its voltage"
//! counts = ["cell_resistance_high", "cell_under_voltage_far"]
//!
//! [stop]                          # optional: end before all runs are played
//! half_width = 0.05               # once every interval of what is found is narrower to either side
//! every = 50                      # looked at after so many prefixes
//!
//! [want]                          # optional: what a good setting keeps to
//! false_alarms_a_year = 1.0       # at most, of operation; or, or besides,
//! accused_percent = 0.1           # at most so many sound packs accused in the whole story
//! before_hazard_percent = 99.9    # at least: found before it is dangerous
//! ```
//!
//! With several `[[sweep]]` every combination is tried under every rule, the last one changing fastest; with `combine = "list"` the first values
//! of all with the first rule, then the second, and so on. What can vary stands in [`vary`], how in [`distribution`]. Each run is a pure function of the survey's seed and its number.
//!
//! # How it is counted
//!
//! Of each drawn pack there are two: one with its defects, which shows whether they are found, and one without, which shows
//! whether it is accused. Up to the onset they are one. A pack is watched until a fault that counts becomes Confirmed, or to its end.
//!
//! | word | means |
//! | --- | --- |
//! | found | a fault that counts became Confirmed, at or after the onset |
//! | false alarm | one became Confirmed on the pack without the defects |
//! | delay | from the onset to that |
//! | hazard | the first safe bound that truth passes if nothing reacts, as [`explain::verdict`](crate::explain::verdict) has it |
//! | margin | from found to hazard |
//! | confused | the first fault of all was another one than those that count |
//!
//! # What is written
//!
//! `--to FOLDER` writes `summary.md`, `summary.json`, `settings.csv`, `runs.parquet` with one row a pack and setting, and pictures: `roc.svg`,
//! `detection.svg` (found against severity), `delay.svg` (histogram), and with two knobs `map-found.svg`, `map-false-alarms.svg`,
//! `map-delay.svg` (a value over both). `examples/surveys/short-in-store.toml` is a survey that ends with a recommendation, and
//! `loose-joint.toml` beside it one that says what is missing for one; `a-billion-runs.md` there works out what 10⁹ runs cost.
//!
//! **Cautions.** What is measured holds for the model and for what was drawn. A rate for real packs needs real packs.

mod abreast;
mod check;
pub mod distribution;
mod file;
mod hazard;
pub mod markdown;
pub mod pictures;
mod play;
pub mod rare;
pub mod recommend;
mod row;
pub mod statistics;
mod summary;
pub mod tables;
pub mod vary;

pub use distribution::Distribution;
pub use recommend::Recommended;
pub use row::{Fate, Found, Prefix, Run};
pub use summary::{Against, Bin, Curve, Hazard, Named, SettingSummary, Summary};
pub use vary::What;

use crate::case::{Case, CaseError, Knob};
use bms_core::fault::FaultSet;
use std::path::Path;
use std::sync::Arc;

/// A survey, checked.
#[derive(Clone, Debug)]
pub struct Survey {
    /// The name of its file, without folders and ending.
    pub name: String,
    /// CRC-32 of its text and of those of its cases.
    pub digest: u32,
    /// A headline for people.
    pub title: String,
    /// One or two sentences for people.
    pub story: String,
    /// Of all that is drawn.
    pub seed: u64,
    /// How many runs.
    pub runs: usize,
    /// How many runs share all up to the onset.
    pub runs_a_prefix: usize,
    /// The stories.
    pub cases: Vec<Arc<Case>>,
    /// What varies, in the order of the file.
    pub vary: Vec<Vary>,
    /// What is tried, in the order of the file.
    pub knobs: Vec<Knob>,
    /// Every setting of them.
    pub settings: Vec<Setting>,
    /// The rules by which something counts as found; one without a name where the file says but one.
    pub rules: Vec<Rule>,
    /// How long after the onset a hazard is looked for, in seconds.
    pub hazard_within_seconds: Option<f64>,
    /// When it may end before all runs are played.
    pub stop: Option<Stop>,
    /// What a good setting keeps to.
    pub want: Option<Want>,
}

/// What varies, and how.
#[derive(Clone, Debug, PartialEq)]
pub struct Vary {
    /// What.
    pub what: What,
    /// Its name.
    pub name: String,
    /// How.
    pub distribution: Distribution,
}

/// One setting of all that is tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// Its values, in the order of the knobs; none when nothing is tried.
    pub values: Vec<f64>,
    /// Its rule, by its place in the list.
    pub rule: usize,
    /// The stories with it.
    pub cases: Vec<Arc<Case>>,
}

/// When a pack counts as found, or a sound one as accused.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// What people call it; empty where there is but one.
    pub name: String,
    /// The faults of which one is enough.
    pub counts: FaultSet,
}

/// When a survey may end early.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// Once every interval of what is found is no wider to either side.
    pub half_width: f64,
    /// Looked at after so many prefixes.
    pub every: usize,
}

/// What a good setting keeps to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Want {
    /// At most so many false alarms in a year of operation, if that is wanted.
    pub false_alarms_a_year: Option<f64>,
    /// At most so many per cent of sound packs accused in the whole story, if that is wanted.
    pub accused_percent: Option<f64>,
    /// At least so many per cent are found before they are dangerous.
    pub before_hazard_percent: f64,
}

impl Survey {
    /// Reads and checks a file, and the cases that it names.
    ///
    /// # Errors
    /// When one of them cannot be read, or something in it is not accepted.
    pub fn read(path: &Path) -> Result<Self, CaseError> {
        let file = path.display().to_string();
        let bytes =
            std::fs::read(path).map_err(|source| CaseError::Unreadable { file: file.clone(), source })?;
        let text = crate::case::text_of(&bytes, &file)?;
        let folder = path.parent().unwrap_or(Path::new("."));
        Self::parse(text, &file, |case| Case::read(&folder.join(case)))
    }

    /// Checks a text; `name` is what messages call it, and `read` gives a case by the path that the text names.
    ///
    /// # Errors
    /// When something in it or in a case is not accepted.
    pub fn parse(
        text: &str,
        name: &str,
        mut read: impl FnMut(&str) -> Result<Case, CaseError>,
    ) -> Result<Self, CaseError> {
        crate::case::parse_file(text, name, file::accepted, |source, typed| {
            check::checked(source, typed, &mut read)
        })
    }

    /// How many prefixes it has.
    #[must_use]
    pub fn prefixes(&self) -> usize {
        self.runs.div_ceil(self.runs_a_prefix)
    }

    /// The faults that count under a setting, by its place in the list.
    #[must_use]
    pub fn counts_of(&self, setting: usize) -> FaultSet {
        let rule = self.settings.get(setting).and_then(|of| self.rules.get(of.rule));
        rule.map_or(FaultSet::EMPTY, |rule| rule.counts)
    }

    /// The rule of a setting by name, where several are tried.
    #[must_use]
    pub fn rule_of(&self, setting: usize) -> Option<&str> {
        let rule = self.settings.get(setting).and_then(|of| self.rules.get(of.rule));
        rule.map(|rule| rule.name.as_str()).filter(|name| !name.is_empty())
    }

    /// The runs of a prefix, from 0.
    fn runs_of(&self, prefix: usize) -> std::ops::Range<usize> {
        let first = prefix * self.runs_a_prefix;
        first..(first + self.runs_a_prefix).min(self.runs)
    }

    /// How many of these prefixes, in their order from the first, it ends with: all, or as many as its rule for ending wants.
    #[must_use]
    pub fn ends_after(&self, prefixes: &[Prefix]) -> Option<usize> {
        let Stop { half_width, every } = self.stop?;
        let looked = (every..=prefixes.len()).step_by(every);
        looked.into_iter().find(|count| {
            let summary = Summary::of(self, prefixes.get(..*count).unwrap_or_default());
            summary.settings.iter().all(|setting| setting.found.half_width() <= half_width)
        })
    }
}

#[cfg(test)]
mod tests;
