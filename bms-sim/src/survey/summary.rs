//! What all runs come to: one row a setting, and what settings say together.

use super::recommend::Recommended;
use super::row::{Fate, Prefix, Run};
use super::statistics::delay::Delay;
use super::statistics::paired::Paired;
use super::statistics::proportion::Proportion;
use super::statistics::rate::Rate;
use super::statistics::roc::Roc;
use super::{Survey, What};
use bms_core::Fault;
use serde::Serialize;
use std::collections::BTreeMap;

/// What a survey found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Summary {
    /// Prefixes that were played.
    pub prefixes: usize,
    /// Runs with a defect.
    pub runs: usize,
    /// One row a setting, in the order of the file.
    pub settings: Vec<SettingSummary>,
    /// The curves: one for each row of settings that differ in the first trip limit alone.
    pub curves: Vec<Curve>,
    /// Each setting but the first against the first, on the same runs.
    pub against_first: Vec<Against>,
    /// What is recommended; nothing where the survey does not say what is wanted.
    pub recommended: Option<Recommended>,
}

/// What one setting does.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SettingSummary {
    /// Its number, from 1.
    pub setting: usize,
    /// What is tried, with its value.
    pub values: Vec<Named>,
    /// The rule, where several are tried.
    pub rule: Option<String>,
    /// Found, of all runs.
    pub found: Proportion,
    /// Found, of runs in bins of the severity, in rising order; empty where no severity varies.
    pub by_severity: Vec<Bin>,
    /// From the onset to found; nothing where nothing was.
    pub delay: Option<Delay>,
    /// Against the hazard; nothing where it was not looked for.
    pub hazard: Option<Hazard>,
    /// False alarms, an hour of sound packs.
    pub false_alarms: Rate,
    /// Sound packs that were accused, of all.
    pub accused: Proportion,
    /// The first fault of runs in which it was another one than those that count, how often.
    pub confused: Vec<(String, u64)>,
    /// The faults of which sound packs were accused, how often; those included that do not count.
    pub accused_of: Vec<(String, u64)>,
}

/// A value with its name and unit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Named {
    /// What it is.
    pub name: String,
    /// The value.
    pub value: f64,
    /// Its unit, may be empty.
    pub unit: String,
}

/// Runs of about the same severity.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bin {
    /// The least severity of them.
    pub from: f64,
    /// The greatest.
    pub to: f64,
    /// Their median.
    pub median: f64,
    /// How many were found.
    pub found: Proportion,
}

/// How detection stands against the hazard.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Hazard {
    /// Found before it is dangerous, of the runs that become so.
    pub before: Proportion,
    /// The least time from found to the hazard, in seconds, less than none where it was late; nothing where no such run was found.
    pub least_margin_seconds: Option<f64>,
    /// The median of these times.
    pub median_margin_seconds: Option<f64>,
}

/// Detection against false alarms over one trip limit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Curve {
    /// What else the settings have in common.
    pub with: Vec<Named>,
    /// The rule, where several are tried.
    pub rule: Option<String>,
    /// The curve.
    pub roc: Roc,
}

/// A setting against the first one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Against {
    /// The setting, from 1.
    pub setting: usize,
    /// What is found.
    pub found: Option<Paired>,
    /// What sound packs are accused of.
    pub accused: Option<Paired>,
}

/// Runs of the survey in as many bins of the severity.
const BINS: usize = 8;
/// Fewest runs of a bin.
const LEAST_IN_BIN: usize = 5;
const SECONDS_AN_HOUR: f64 = 3_600.0;

impl Summary {
    /// Of these prefixes, in their order.
    #[must_use]
    pub fn of(survey: &Survey, prefixes: &[Prefix]) -> Self {
        let settings: Vec<_> =
            (0..survey.settings.len()).map(|setting| row(survey, prefixes, setting)).collect();
        let against = |setting: usize| {
            let found = |of: usize| move |run: &Run| run.delay_seconds(of).is_some();
            let accused = |of: usize| move |prefix: &Prefix| is_accused(prefix.sound.get(of));
            let found = move |run: &Run| (found(setting)(run), found(0)(run));
            Against {
                setting: setting + 1,
                found: Paired::of(prefixes.iter().map(|prefix| prefix.runs.iter().map(found))),
                accused: Paired::of(
                    prefixes.iter().map(|prefix| [(accused(setting)(prefix), accused(0)(prefix))]),
                ),
            }
        };
        let mut summary = Self {
            prefixes: prefixes.len(),
            runs: prefixes.iter().map(|prefix| prefix.runs.len()).sum(),
            curves: curves(survey, prefixes),
            against_first: (1..settings.len()).map(against).collect(),
            settings,
            recommended: None,
        };
        summary.recommended = Recommended::of(survey, prefixes, &summary);
        summary
    }
}

fn row(survey: &Survey, prefixes: &[Prefix], setting: usize) -> SettingSummary {
    let runs = || prefixes.iter().flat_map(|prefix| &prefix.runs);
    let found = |run: &&Run| run.delay_seconds(setting).is_some();
    let found_of =
        |prefix: &Prefix| (prefix.runs.iter().filter(found).count() as u64, prefix.runs.len() as u64);
    let sound = || prefixes.iter().filter_map(|prefix| prefix.sound.get(setting));
    let accused = sound().filter(|fate| fate.counted.is_some()).count() as u64;
    let hours = sound().map(|fate| fate.watched_seconds).sum::<f64>() / SECONDS_AN_HOUR;
    let counts = survey.counts_of(setting);
    let others = runs().filter_map(|run| {
        let first = run.fates.get(setting)?.first?;
        (first.seconds >= run.onset_seconds && !counts.holds(first.fault)).then_some(first.fault)
    });
    SettingSummary {
        setting: setting + 1,
        values: named(survey, setting),
        rule: survey.rule_of(setting).map(str::to_owned),
        found: Proportion::clustered(&prefixes.iter().map(found_of).collect::<Vec<_>>()),
        by_severity: by_severity(survey, prefixes, setting),
        delay: Delay::of(runs().filter_map(|run| run.delay_seconds(setting)).collect()),
        hazard: survey.hazard_within_seconds.map(|_| hazard(prefixes, setting)),
        false_alarms: Rate::of(accused, hours),
        accused: Proportion::of(accused, prefixes.len() as u64),
        confused: counted(others),
        accused_of: counted(sound().filter_map(|fate| fate.first.map(|found| found.fault))),
    }
}

/// What is tried, with the values of a setting.
fn named(survey: &Survey, setting: usize) -> Vec<Named> {
    let (Some(case), Some(of)) = (survey.cases.first(), survey.settings.get(setting)) else {
        return Vec::new();
    };
    let name = |(knob, value): (&crate::case::Knob, &f64)| Named {
        name: knob.name(case),
        value: *value,
        unit: knob.unit(case).to_owned(),
    };
    survey.knobs.iter().zip(&of.values).map(name).collect()
}

/// Of each prefix, how many of its runs are found before they are dangerous, of those that become so.
pub(super) fn before_hazard(prefixes: &[Prefix], setting: usize) -> Vec<(u64, u64)> {
    let before = |prefix: &Prefix| {
        let dangerous = prefix.runs.iter().filter(|run| run.hazard_seconds.is_some());
        let in_time =
            dangerous.clone().filter(|run| run.margin_seconds(setting).is_some_and(|left| left > 0.0));
        (in_time.count() as u64, dangerous.count() as u64)
    };
    prefixes.iter().map(before).collect()
}

fn hazard(prefixes: &[Prefix], setting: usize) -> Hazard {
    let margins =
        prefixes.iter().flat_map(|prefix| &prefix.runs).filter_map(|run| run.margin_seconds(setting));
    let margins = Delay::of(margins.collect());
    Hazard {
        before: Proportion::clustered(&before_hazard(prefixes, setting)),
        least_margin_seconds: margins.map(|margins| margins.least_seconds),
        median_margin_seconds: margins.map(|margins| margins.median_seconds),
    }
}

/// In bins with as many runs each, by the first severity that varies.
fn by_severity(survey: &Survey, prefixes: &[Prefix], setting: usize) -> Vec<Bin> {
    let Some(column) = survey.vary.iter().position(|vary| matches!(vary.what, What::Severity(_))) else {
        return Vec::new();
    };
    let of = |run: &Run, prefix: usize| {
        Some((*run.drawn.get(column)?, prefix, run.delay_seconds(setting).is_some()))
    };
    let of_prefix =
        |prefix: &Prefix| prefix.runs.iter().filter_map(|run| of(run, prefix.prefix)).collect::<Vec<_>>();
    let mut runs: Vec<(f64, usize, bool)> = prefixes.iter().flat_map(of_prefix).collect();
    runs.sort_by(|one, other| one.0.total_cmp(&other.0));
    let size = runs.len().div_ceil(BINS).max(LEAST_IN_BIN);
    let bin = |runs: &[(f64, usize, bool)]| {
        let mut found: BTreeMap<usize, (u64, u64)> = BTreeMap::new();
        for (_, prefix, is_found) in runs {
            let (count, of) = found.entry(*prefix).or_default();
            *count += u64::from(*is_found);
            *of += 1;
        }
        Some(Bin {
            from: runs.first()?.0,
            to: runs.last()?.0,
            median: runs.get(runs.len() / 2)?.0,
            found: Proportion::clustered(&found.into_values().collect::<Vec<_>>()),
        })
    };
    runs.chunks(size).filter_map(bin).collect()
}

/// What the settings of a curve have in common: values and rule.
type Common = (Vec<Named>, Option<String>);

/// One curve for each group of settings that differ in the first trip limit alone; where none is tried, there is none.
fn curves(survey: &Survey, prefixes: &[Prefix]) -> Vec<Curve> {
    let Some(trip) = survey.knobs.iter().position(|knob| matches!(knob, crate::case::Knob::Trip(_))) else {
        return Vec::new();
    };
    let others = |setting: usize| {
        let mut named = named(survey, setting);
        if trip < named.len() {
            named.remove(trip);
        }
        named
    };
    let mut groups: Vec<(Common, Vec<usize>)> = Vec::new();
    for setting in 0..survey.settings.len() {
        let with = (others(setting), survey.rule_of(setting).map(str::to_owned));
        match groups.iter_mut().find(|(known, _)| *known == with) {
            Some((_, settings)) => settings.push(setting),
            None => groups.push((with, vec![setting])),
        }
    }
    let score = |of: &dyn Fn(usize) -> bool, settings: &[usize]| {
        f64::from(u32::try_from(settings.iter().filter(|setting| of(**setting)).count()).unwrap_or(u32::MAX))
    };
    let curve = |((with, rule), settings): (Common, Vec<usize>)| {
        let sound: Vec<f64> = prefixes
            .iter()
            .map(|prefix| score(&|setting| is_accused(prefix.sound.get(setting)), &settings))
            .collect();
        let runs = prefixes.iter().flat_map(|prefix| &prefix.runs);
        let broken: Vec<f64> =
            runs.map(|run| score(&|setting| run.delay_seconds(setting).is_some(), &settings)).collect();
        Some(Curve { with, rule, roc: Roc::of(&sound, &broken)? })
    };
    groups.into_iter().filter(|(_, settings)| settings.len() > 1).filter_map(curve).collect()
}

fn is_accused(fate: Option<&Fate>) -> bool {
    fate.is_some_and(|fate| fate.counted.is_some())
}

/// How often each, the most frequent first; of equals in the order of the list.
fn counted(faults: impl Iterator<Item = Fault>) -> Vec<(String, u64)> {
    let mut counts = [0_u64; Fault::COUNT];
    for fault in faults {
        counts[fault as usize] += 1;
    }
    let mut named: Vec<(String, u64)> = Fault::ALL
        .into_iter()
        .filter(|fault| counts[*fault as usize] > 0)
        .map(|fault| (fault.key().to_owned(), counts[fault as usize]))
        .collect();
    named.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    named
}
