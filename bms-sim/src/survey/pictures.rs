//! What a survey found, as pictures.

use super::Survey;
use super::row::{Prefix, Run};
use super::summary::{Named, SettingSummary, Summary};
use crate::report::chart::{Curve, Curves, DrawError, HeatMap, Histogram};
use crate::survey::Distribution;
use crate::survey::What;

/// Curves in one picture.
const MOST_CURVES: usize = 4;

/// The pictures that there is something to draw for, each with the name of its file.
///
/// # Errors
/// When the drawing library fails.
pub fn all(
    survey: &Survey,
    prefixes: &[Prefix],
    summary: &Summary,
) -> Result<Vec<(String, String)>, DrawError> {
    let mut pictures = Vec::new();
    for (name, picture) in [
        ("roc", roc(summary)?),
        ("detection", detection(survey, summary)?),
        ("delay", delay(prefixes, summary)?),
    ] {
        pictures.extend(picture.map(|picture| (format!("{name}.svg"), picture)));
    }
    for (name, title, of) in [
        ("found", "Found, in %", found as fn(&SettingSummary) -> Option<f64>),
        ("false-alarms", "False alarms an hour: upper end of the 95 % interval", alarms),
        ("delay", "Delay, 95th percentile, in s", slow),
    ] {
        for (rule, number) in survey.rules.iter().zip(1..) {
            let (title, file) = match rule.name.as_str() {
                "" => (title.to_owned(), format!("map-{name}.svg")),
                rule => (format!("{title}, rule “{rule}”"), format!("map-{name}-{number}.svg")),
            };
            let settings = summary
                .settings
                .iter()
                .filter(|setting| survey.counts_of(setting.setting - 1) == rule.counts);
            let map = heat_map(survey, &settings.collect::<Vec<_>>(), &title, of)?;
            pictures.extend(map.map(|picture| (file, picture)));
        }
    }
    Ok(pictures)
}

fn roc(summary: &Summary) -> Result<Option<String>, DrawError> {
    let curve = |curve: &super::summary::Curve| {
        let area = curve.roc.area;
        let name = match values(&curve.with, curve.rule.as_deref()) {
            with if with.is_empty() => format!("area {area:.3}"),
            with => format!("{with}: area {area:.3}"),
        };
        Curve { name, points: curve.roc.points.iter().map(|(x, y)| (*x, *y, *y, *y)).collect() }
    };
    Curves {
        title: "Detection against false alarms",
        description: "Each point is a trip limit: the share of sound packs accused, and the share of broken packs found.",
        across: "share of sound packs accused",
        axis: "share found",
        by_factors: false,
        curves: summary.curves.iter().take(MOST_CURVES).map(curve).collect(),
    }
    .svg()
}

/// What is found against severity, for the first few settings.
fn detection(survey: &Survey, summary: &Summary) -> Result<Option<String>, DrawError> {
    let severity = survey.vary.iter().find(|vary| matches!(vary.what, What::Severity(_)));
    let (Some(severity), Some(case)) = (severity, survey.cases.first()) else { return Ok(None) };
    let curve = |of: &SettingSummary| {
        let points = of
            .by_severity
            .iter()
            .filter_map(|bin| Some((bin.median, bin.found.share?, bin.found.low, bin.found.high)));
        Curve { name: name(of), points: points.collect() }
    };
    let across = format!("{}, {}", severity.name, severity.what.unit(case));
    Curves {
        title: "What is found of what is so bad",
        description: "Share of runs found in bins of the severity, with 95 % intervals.",
        across: &across,
        axis: "share found",
        by_factors: matches!(severity.distribution, Distribution::LogUniform(..)),
        curves: spread(&summary.settings).map(curve).collect(),
    }
    .svg()
}

/// A few of all settings, from the first to the last.
fn spread(settings: &[SettingSummary]) -> impl Iterator<Item = &SettingSummary> {
    let step = settings.len().div_ceil(MOST_CURVES).max(1);
    settings.iter().step_by(step)
}

/// How long the first setting takes.
fn delay(prefixes: &[Prefix], summary: &Summary) -> Result<Option<String>, DrawError> {
    let runs = prefixes.iter().flat_map(|prefix| &prefix.runs);
    let values: Vec<f64> = runs.filter_map(|run: &Run| run.delay_seconds(0)).collect();
    let setting = summary.settings.first().map(name).unwrap_or_default();
    let description = format!("How many runs were found after so long, with {setting}.");
    Histogram {
        title: "How long it takes",
        description: &description,
        across: "from the onset to found, s",
        axis: "runs",
        values,
    }
    .svg()
}

/// A value over the first two of what is tried, where exactly two are.
fn heat_map(
    survey: &Survey,
    settings: &[&SettingSummary],
    title: &str,
    of: fn(&SettingSummary) -> Option<f64>,
) -> Result<Option<String>, DrawError> {
    let [_, _] = survey.knobs.as_slice() else { return Ok(None) };
    let distinct = |knob: usize| {
        let mut values: Vec<f64> =
            survey.settings.iter().filter_map(|setting| setting.values.get(knob).copied()).collect();
        values.sort_by(f64::total_cmp);
        values.dedup();
        values
    };
    let (columns, rows) = (distinct(0), distinct(1));
    let first = settings.first();
    let called = |knob: usize| first.and_then(|of| of.values.get(knob)).map(axis).unwrap_or_default();
    let field = |column: f64, row: f64| {
        let at = |setting: &&&SettingSummary| {
            let values: Vec<f64> = setting.values.iter().map(|named| named.value).collect();
            values == [column, row]
        };
        let value = settings.iter().find(at).and_then(|setting| of(setting))?;
        Some((
            value,
            if value != 0.0 && value < 0.01 { format!("{value:.1e}") } else { format!("{value:.2}") },
        ))
    };
    let fields = rows.iter().map(|row| columns.iter().map(|column| field(*column, *row)).collect()).collect();
    let names = |values: &[f64]| values.iter().map(f64::to_string).collect();
    HeatMap {
        title,
        description: "One field for each pair of settings; the darker the more, with the number in it.",
        across: (&called(0), names(&columns)),
        up: (&called(1), names(&rows)),
        fields,
    }
    .svg()
}

fn found(of: &SettingSummary) -> Option<f64> {
    of.found.share.map(|share| 100.0 * share)
}

fn alarms(of: &SettingSummary) -> Option<f64> {
    of.false_alarms.high_per_hour
}

fn slow(of: &SettingSummary) -> Option<f64> {
    of.delay.map(|delay| delay.percentile_95_seconds)
}

fn name(of: &SettingSummary) -> String {
    match values(&of.values, of.rule.as_deref()) {
        values if values.is_empty() => "the limits of the case".to_owned(),
        values => values,
    }
}

/// Values with the last part of their names, and the rule where there are several.
pub(super) fn values(named: &[Named], rule: Option<&str>) -> String {
    let short = |named: &Named| {
        let (name, unit) = last(named);
        format!("{name} {} {unit}", named.value)
    };
    let rule = rule.map(|rule| format!("rule “{rule}”"));
    named.iter().map(short).chain(rule).collect::<Vec<_>>().join(", ")
}

/// Name and unit, for an axis.
fn axis(named: &Named) -> String {
    let (name, unit) = last(named);
    format!("{name}, {unit}")
}

/// The last part of a name without its unit, and the unit.
fn last(named: &Named) -> (String, &str) {
    let name = named.name.rsplit('.').next().unwrap_or_default();
    (name.strip_suffix("_ms").unwrap_or(name).replace('_', " "), named.unit.as_str())
}
