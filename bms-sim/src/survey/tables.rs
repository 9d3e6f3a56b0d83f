//! # Runs and settings as tables
//!
//! | table | one row for |
//! | --- | --- |
//! | runs | each pack under each setting: with its defect, where `broken` is true, or without |
//! | settings | each setting: its counts with their intervals |
//!
//! The unit ends the name of each column that has one. What was drawn stands under its name in the survey with `_` for each point.

use super::row::{Fate, Prefix};
use super::summary::Summary;
use super::{Setting, Survey};
use crate::recording::column::{Column, Kind, Unit, Value};
use crate::recording::export::{ExportError, Table};

/// The columns of the table of runs.
#[must_use]
pub fn run_columns(survey: &Survey) -> Vec<Column> {
    let mut columns = vec![
        column("prefix", Kind::Whole, None, "number of the prefix, from 1"),
        column(
            "run",
            Kind::Whole,
            None,
            "number of the run, from 1; nothing for a sound pack, which belongs to the prefix",
        ),
        column(
            "case",
            Kind::Whole,
            None,
            "which of the cases, from 1; nothing for a sound pack of a survey without defects",
        ),
        column("seed", Kind::Whole, None, "of noise and scatter; likewise"),
        column("setting", Kind::Whole, None, "number of the setting, from 1"),
        column("broken", Kind::Flag, None, "whether it has its defects"),
    ];
    let names = survey.vary.iter().map(|vary| &vary.name);
    columns.extend(names.map(|name| column(&flat(name), Kind::Number, None, &format!("drawn: {name}"))));
    columns.extend(
        tried(survey).map(|name| column(&flat(&name), Kind::Number, None, &format!("tried: {name}"))),
    );
    columns.push(column("rule", Kind::Text, None, "the rule that is tried; nothing where there is but one"));
    columns.extend([
        column("onset_s", Kind::Number, Some(Unit::Seconds), "onset of the first defect, from the start"),
        column("counted_fault", Kind::Text, None, "the first fault that counts"),
        column("counted_s", Kind::Number, Some(Unit::Seconds), "when it became Confirmed, from the start"),
        column("first_fault", Kind::Text, None, "the first fault of all"),
        column("first_s", Kind::Number, Some(Unit::Seconds), "when it became Confirmed, from the start"),
        column("watched_s", Kind::Number, Some(Unit::Seconds), "how long the pack was watched"),
        column("delay_s", Kind::Number, Some(Unit::Seconds), "from the onset to the first fault that counts"),
        column(
            "hazard_s",
            Kind::Number,
            Some(Unit::Seconds),
            "from the onset to the first safe bound passed if nothing reacts",
        ),
        column(
            "margin_s",
            Kind::Number,
            Some(Unit::Seconds),
            "from the first fault that counts to the hazard",
        ),
    ]);
    columns
}

/// Writes a row for each pack under each setting.
///
/// # Errors
/// When a row cannot be written.
pub fn write_runs(survey: &Survey, prefixes: &[Prefix], table: &mut dyn Table) -> Result<(), ExportError> {
    for prefix in prefixes {
        let first = prefix.runs.first();
        for (place, (fate, setting)) in prefix.sound.iter().zip(&survey.settings).enumerate() {
            let mut row = vec![
                Value::Whole(prefix.prefix as u64),
                Value::Missing,
                first.map_or(Value::Missing, |run| Value::Whole(run.case as u64)),
                first.map_or(Value::Missing, |run| Value::Whole(run.seed)),
                Value::Whole(place as u64 + 1),
                Value::Flag(false),
            ];
            row.extend(survey.vary.iter().enumerate().map(|(column, vary)| {
                let drawn =
                    first.filter(|_| !vary.what.begins_at_onset()).and_then(|run| run.drawn.get(column));
                number(drawn.copied())
            }));
            row.extend(tail((setting, survey.rule_of(place)), fate, None));
            row.extend([Value::Missing, Value::Missing, Value::Missing]);
            table.row(&row)?;
        }
        for run in &prefix.runs {
            for (place, (fate, setting)) in run.fates.iter().zip(&survey.settings).enumerate() {
                let mut row = vec![
                    Value::Whole(prefix.prefix as u64),
                    Value::Whole(run.run as u64),
                    Value::Whole(run.case as u64),
                    Value::Whole(run.seed),
                    Value::Whole(place as u64 + 1),
                    Value::Flag(true),
                ];
                row.extend(run.drawn.iter().map(|drawn| Value::Number(*drawn)));
                row.extend(tail((setting, survey.rule_of(place)), fate, Some(run.onset_seconds)));
                row.push(number(run.delay_seconds(place)));
                row.push(number(run.hazard_seconds));
                row.push(number(run.margin_seconds(place)));
                table.row(&row)?;
            }
        }
    }
    Ok(())
}

/// The values of a setting, and what became of a pack under it.
fn tail((setting, rule): (&Setting, Option<&str>), fate: &Fate, onset_seconds: Option<f64>) -> Vec<Value> {
    let mut values: Vec<Value> = setting.values.iter().map(|value| Value::Number(*value)).collect();
    values.push(text(rule));
    values.push(number(onset_seconds));
    for found in [fate.counted, fate.first] {
        values.push(found.map_or(Value::Missing, |found| Value::Text(found.fault.key().into())));
        values.push(number(found.map(|found| found.seconds)));
    }
    values.push(Value::Number(fate.watched_seconds));
    values
}

/// The columns of the table of settings.
#[must_use]
pub fn setting_columns(survey: &Survey) -> Vec<Column> {
    let mut columns = vec![column("setting", Kind::Whole, None, "its number, from 1")];
    columns.extend(
        tried(survey).map(|name| column(&flat(&name), Kind::Number, None, &format!("tried: {name}"))),
    );
    let share = |name: &str, says: &str| column(name, Kind::Number, None, says);
    let whole = |name: &str, says: &str| column(name, Kind::Whole, None, says);
    let seconds = |name: &str, says: &str| column(name, Kind::Number, Some(Unit::Seconds), says);
    columns.push(column("rule", Kind::Text, None, "the rule that is tried; nothing where there is but one"));
    columns.extend([
        whole("runs", "runs with a defect"),
        whole("found", "of them found"),
        share("found_share", "found, of all, 0 to 1"),
        share("found_low", "lower end of its 95 % interval"),
        share("found_high", "upper end"),
        seconds("delay_median_s", "from the onset to found: median"),
        seconds("delay_p95_s", "95th percentile"),
        seconds("delay_worst_s", "longest"),
        whole("dangerous", "runs that become dangerous if nothing reacts"),
        whole("before_hazard", "of them found before"),
        share("before_hazard_low", "lower end of the 95 % interval of their share"),
        seconds("margin_least_s", "from found to the hazard: shortest"),
        whole("false_alarms", "sound packs that were accused"),
        share("sound_hours", "how long sound packs were watched, in hours"),
        share("false_alarms_per_hour", "false alarms an hour"),
        share("false_alarms_per_hour_low", "lower end of its 95 % interval"),
        share("false_alarms_per_hour_high", "upper end"),
    ]);
    columns
}

/// Writes a row for each setting.
///
/// # Errors
/// When a row cannot be written.
pub fn write_settings(summary: &Summary, table: &mut dyn Table) -> Result<(), ExportError> {
    for of in &summary.settings {
        let (delay, hazard, alarms) = (of.delay, of.hazard, of.false_alarms);
        let mut row = vec![Value::Whole(of.setting as u64)];
        row.extend(of.values.iter().map(|named| Value::Number(named.value)));
        row.push(text(of.rule.as_deref()));
        row.extend([
            Value::Whole(of.found.of),
            Value::Whole(of.found.count),
            number(of.found.share),
            Value::Number(of.found.low),
            Value::Number(of.found.high),
            number(delay.map(|delay| delay.median_seconds)),
            number(delay.map(|delay| delay.percentile_95_seconds)),
            number(delay.map(|delay| delay.worst_seconds)),
            hazard.map_or(Value::Missing, |hazard| Value::Whole(hazard.before.of)),
            hazard.map_or(Value::Missing, |hazard| Value::Whole(hazard.before.count)),
            number(hazard.map(|hazard| hazard.before.low)),
            number(hazard.and_then(|hazard| hazard.least_margin_seconds)),
            Value::Whole(alarms.count),
            Value::Number(alarms.hours),
            number(alarms.per_hour),
            Value::Number(alarms.low_per_hour),
            number(alarms.high_per_hour),
        ]);
        table.row(&row)?;
    }
    Ok(())
}

fn tried(survey: &Survey) -> impl Iterator<Item = String> {
    let case = survey.cases.first();
    survey.knobs.iter().filter_map(move |knob| Some(knob.name(case?)))
}

fn flat(name: &str) -> String {
    name.replace('.', "_")
}

fn text(value: Option<&str>) -> Value {
    value.map_or(Value::Missing, |text| Value::Text(text.to_owned().into()))
}

fn number(value: Option<f64>) -> Value {
    value.map_or(Value::Missing, Value::Number)
}

fn column(name: &str, kind: Kind, unit: Option<Unit>, says: &str) -> Column {
    Column { name: name.to_owned(), kind, unit, says: says.to_owned() }
}
