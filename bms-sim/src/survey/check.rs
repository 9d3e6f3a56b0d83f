//! From what is typed to what it means: every value is held against its bounds here, once.

use super::distribution::Distribution;
use super::file::{RuleTable, SurveyFile, SweepTable, VaryTable};
use super::{Rule, Setting, Stop, Survey, Vary, Want, What};
use crate::case::{Accepted, Case, CaseError, Knob, MOST_SEED, Path, Problem, Source};
use bms_core::Fault;
use bms_core::fault::FaultSet;
use std::sync::Arc;

/// Most runs of a survey.
pub(super) const MOST_RUNS: u64 = 1_000_000_000;
/// Most values of one sweep.
pub(super) const MOST_STEPS: u64 = 1_000;
/// Most settings of a survey.
const MOST_SETTINGS: usize = 1_000;
/// Prefixes between two looks at the intervals.
pub(super) const EVERY: (u64, u64) = (10, 1_000_000);
/// Half the width of an interval of a share.
pub(super) const HALF_WIDTH: (f64, f64) = (0.0001, 0.5);
/// False alarms in a year that may be wanted at most.
const A_YEAR: (f64, f64) = (1e-9, 1e6);
/// How long after the onset a hazard is looked for, in seconds.
const HAZARD_SECONDS: (f64, f64) = (1.0, 1_800.0);

pub(super) fn checked(
    source: &Source<'_>,
    file: &SurveyFile,
    read: &mut dyn FnMut(&str) -> Result<Case, CaseError>,
) -> Result<Survey, CaseError> {
    let top = Path::TOP;
    source.whole(&top.key("schema"), file.schema, 1, 1)?;
    let runs = whole(source, &top.key("runs"), file.runs, (1, MOST_RUNS))?;
    let runs_a_prefix = file.runs_a_prefix.unwrap_or(1);
    let cases = file.cases.iter().map(|path| read(path).map(Arc::new)).collect::<Result<Vec<_>, _>>()?;
    let Some(first) = cases.first() else {
        let accepted = Accepted::Said("a list with at least one path");
        return Err(source.refuse(&top.key("cases"), Problem::NotAccepted { accepted }));
    };
    let vary = file.vary.iter().enumerate();
    let vary = vary.map(|(item, typed)| varied(source, &top.key("vary").item(item), typed, &cases));
    let rules = rules(source, file)?;
    let (knobs, settings) = settings(source, file, &cases, rules.len())?;
    let survey = Survey {
        name: stem(source.file),
        digest: digest(source.text, &cases),
        title: file.title.clone(),
        story: file.story.clone(),
        seed: source.whole(&top.key("seed"), file.seed, 0, MOST_SEED)?,
        runs,
        runs_a_prefix: whole(source, &top.key("runs_a_prefix"), runs_a_prefix, (1, file.runs))?,
        vary: vary.collect::<Result<_, _>>()?,
        knobs,
        settings,
        rules,
        hazard_within_seconds: file
            .hazard_within_s
            .map(|within| source.number(&top.key("hazard_within_s"), within, HAZARD_SECONDS, "s"))
            .transpose()?,
        stop: stop(source, file)?,
        want: want(source, file)?,
        cases: cases.clone(),
    };
    if let Some(twice) = twice(survey.vary.iter().map(|vary| vary.name.as_str())) {
        return Err(source.refuse(&top.key("vary").item(twice).key("what"), Problem::Twice));
    }
    if survey.want.is_some() && survey.hazard_within_seconds.is_none() && !first.defects.is_empty() {
        let accepted = Accepted::Number { low: HAZARD_SECONDS.0, high: HAZARD_SECONDS.1, unit: "s" };
        return Err(source.missing(&top, "hazard_within_s", accepted));
    }
    Ok(survey)
}

/// What varies: it must be there in every case, with the same unit, and accepted wherever it can fall.
fn varied(
    source: &Source<'_>,
    path: &Path,
    typed: &VaryTable,
    cases: &[Arc<Case>],
) -> Result<Vary, CaseError> {
    let named = |case: &Case| -> Result<What, CaseError> {
        let all = What::all(case);
        let names: Vec<String> = all.iter().map(|what| what.name(case)).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        source.word(&path.key("what"), &typed.what, &names).map(|place| all[place])
    };
    let whats = cases.iter().map(|case| named(case)).collect::<Result<Vec<_>, _>>()?;
    let Some((what, case)) = whats.first().zip(cases.first()) else {
        return Err(source.missing(path, "what", Accepted::Said("text in quotes")));
    };
    let (low, high) = cases
        .iter()
        .map(|case| what.range(case))
        .fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), of| (low.max(of.0), high.min(of.1)));
    let unit = what.unit(case);
    let (key, distribution) = distribution(source, path, typed, (low, high))?;
    let path = path.key(key);
    let (least, most) = distribution.range();
    let refused = |accepted| Err(source.refuse(&path, Problem::NotAccepted { accepted }));
    if least > most || !(low..=high).contains(&least) || !(low..=high).contains(&most) {
        return refused(Accepted::Number { low, high, unit });
    }
    if what.is_counted()
        && !matches!(distribution, Distribution::Whole(..) | Distribution::Choice(_) | Distribution::Fixed(_))
    {
        return refused(Accepted::Said("a place as fixed, whole or choice"));
    }
    Ok(Vary { what: *what, name: typed.what.clone(), distribution })
}

/// The one distribution that is said, under its key.
fn distribution(
    source: &Source<'_>,
    path: &Path,
    typed: &VaryTable,
    (low, high): (f64, f64),
) -> Result<(&'static str, Distribution), CaseError> {
    let two =
        |pair: Option<[f64; 2]>, of: fn(f64, f64) -> Distribution| pair.map(|[one, other]| of(one, other));
    let normal = typed.normal.map(|[mean, deviation]| Distribution::Normal { mean, deviation, low, high });
    let all = [
        ("fixed", typed.fixed.map(Distribution::Fixed)),
        ("uniform", two(typed.uniform, Distribution::Uniform)),
        ("log_uniform", two(typed.log_uniform, Distribution::LogUniform)),
        ("normal", normal),
        ("whole", two(typed.whole, Distribution::Whole)),
        ("choice", typed.choice.clone().filter(|values| !values.is_empty()).map(Distribution::Choice)),
    ];
    let mut said = all.into_iter().filter_map(|(key, distribution)| Some((key, distribution?)));
    let accepted = Accepted::Said("one of fixed, uniform, log_uniform, normal, whole, choice");
    let Some((key, distribution)) = said.next() else {
        return Err(source.missing(path, "uniform", accepted));
    };
    if let Some((second, _)) = said.next() {
        let accepted = vec!["what".to_owned()];
        return Err(
            source.refuse_key(&path.key(second), Problem::NotBeside { beside: key.to_owned(), accepted })
        );
    }
    let place = path.key(key);
    match distribution {
        Distribution::LogUniform(low, _) if low <= 0.0 => {
            Err(source
                .refuse(&place, Problem::NotAccepted { accepted: Accepted::Said("two numbers above 0") }))
        }
        Distribution::Normal { deviation, .. } if deviation <= 0.0 => {
            let accepted = Accepted::Said("a standard deviation above 0");
            Err(source.refuse(&place, Problem::NotAccepted { accepted }))
        }
        Distribution::Whole(low, high) if libm::modf(low).0 != 0.0 || libm::modf(high).0 != 0.0 => {
            Err(source.refuse(&place, Problem::NotAccepted { accepted: Accepted::Said("two whole numbers") }))
        }
        other => Ok((key, other)),
    }
}

/// Everything that is tried, and every setting of it.
fn settings(
    source: &Source<'_>,
    file: &SurveyFile,
    cases: &[Arc<Case>],
    rules: usize,
) -> Result<(Vec<Knob>, Vec<Setting>), CaseError> {
    let top = Path::TOP;
    let ways = ["grid", "list"];
    let way = file.combine.as_ref().map(|way| source.word(&top.key("combine"), way, &ways)).transpose()?;
    let mut knobs = Vec::new();
    let mut values: Vec<Vec<f64>> = Vec::new();
    for (item, typed) in file.sweep.iter().enumerate() {
        let path = top.key("sweep").item(item);
        knobs.push(knob(source, &path, typed, cases)?);
        values.push(swept(source, &path, typed)?);
    }
    if let Some(twice) = twice(file.sweep.iter().map(|typed| typed.what.as_str())) {
        return Err(source.refuse(&top.key("sweep").item(twice).key("what"), Problem::Twice));
    }
    let combined: Vec<(Vec<f64>, usize)> = if way == Some(1) {
        let count = values.first().map_or(rules, Vec::len);
        if let Some(other) = values.iter().position(|list| list.len() != count) {
            let accepted = Accepted::Said("as many values as the first sweep has");
            return Err(source.refuse(&top.key("sweep").item(other), Problem::NotAccepted { accepted }));
        }
        if rules > 1 && rules != count {
            let accepted = Accepted::Said("as many rules as the first sweep has values");
            return Err(source.refuse(&top.key("rule"), Problem::NotAccepted { accepted }));
        }
        let at = |place: usize| values.iter().filter_map(|list| list.get(place).copied()).collect();
        (0..count).map(|place| (at(place), if rules > 1 { place } else { 0 })).collect()
    } else {
        let grid = values.iter().fold(vec![Vec::new()], |so_far: Vec<Vec<f64>>, list| {
            let with = |begun: &Vec<f64>| {
                let begun = begun.clone();
                list.iter().map(move |value| begun.iter().copied().chain([*value]).collect())
            };
            so_far.iter().flat_map(with).collect()
        });
        grid.into_iter().flat_map(|values| (0..rules).map(move |rule| (values.clone(), rule))).collect()
    };
    if combined.len() > MOST_SETTINGS {
        let problem = Problem::TooMany { found: combined.len(), most: MOST_SETTINGS };
        return Err(source.refuse(&top.key("sweep"), problem));
    }
    let of = |(values, rule)| setting(source, &knobs, (values, rule), cases);
    let settings = combined.into_iter().map(of).collect::<Result<Vec<_>, _>>()?;
    Ok((knobs, settings))
}

/// The limit or dwell that a sweep names.
fn knob(
    source: &Source<'_>,
    path: &Path,
    typed: &SweepTable,
    cases: &[Arc<Case>],
) -> Result<Knob, CaseError> {
    let all = || {
        Fault::ALL.into_iter().flat_map(|fault| {
            [Knob::Trip(fault), Knob::Release(fault), Knob::Dwell(fault), Knob::ReleaseDwell(fault)]
        })
    };
    let Some(case) = cases.first() else {
        return Err(source.missing(path, "what", Accepted::Said("text in quotes")));
    };
    let there: Vec<Knob> = all().filter(|knob| cases.iter().all(|case| knob.get(case).is_some())).collect();
    let names: Vec<String> = there.iter().map(|knob| knob.name(case)).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    source.word(&path.key("what"), &typed.what, &names).map(|place| there[place])
}

/// The values of a sweep.
fn swept(source: &Source<'_>, path: &Path, typed: &SweepTable) -> Result<Vec<f64>, CaseError> {
    let between =
        [("from", typed.from.is_some()), ("to", typed.to.is_some()), ("steps", typed.steps.is_some())];
    match (&typed.values, typed.from, typed.to, typed.steps) {
        (Some(values), None, None, None) if !values.is_empty() => Ok(values.clone()),
        (Some(_), ..) => {
            let stray = between.iter().find(|(_, there)| *there).map_or("values", |(key, _)| key);
            let problem =
                Problem::NotBeside { beside: "values".to_owned(), accepted: vec!["what".to_owned()] };
            Err(source.refuse_key(&path.key(stray), problem))
        }
        (None, Some(from), Some(to), Some(steps)) => {
            let steps = source.whole(&path.key("steps"), steps, 2, MOST_STEPS)?;
            #[expect(clippy::cast_precision_loss, reason = "a thousand")]
            let share = |step: u64| step as f64 / (steps - 1) as f64;
            // On a millionth, so that a step of a tenth is written as one.
            let rounded = |value: f64| libm::rint(value * 1e6) / 1e6;
            Ok((0..steps).map(|step| rounded(from + share(step) * (to - from))).collect())
        }
        _ => Err(source.missing(path, "values", Accepted::Said("a list of numbers, or from, to and steps"))),
    }
}

/// The cases with these values; what the firmware would not accept is said with its own words.
fn setting(
    source: &Source<'_>,
    knobs: &[Knob],
    (values, rule): (Vec<f64>, usize),
    cases: &[Arc<Case>],
) -> Result<Setting, CaseError> {
    let turned = |case: &Arc<Case>| {
        let mut turned = Case::clone(case);
        for (item, (knob, value)) in knobs.iter().zip(&values).enumerate() {
            turned = knob.turned(&turned, *value).map_err(|reason| {
                let path = Path::TOP.key("sweep").item(item).key("what");
                source.refuse(&path, Problem::Configuration { reason: reason.to_string() })
            })?;
        }
        Ok(Arc::new(turned))
    };
    let cases = cases.iter().map(turned).collect::<Result<Vec<_>, CaseError>>()?;
    Ok(Setting { values, rule, cases })
}

/// The rules that are tried: those of the list, or the one that `counts` says.
fn rules(source: &Source<'_>, file: &SurveyFile) -> Result<Vec<Rule>, CaseError> {
    let top = Path::TOP;
    if file.rule.is_empty() {
        let counts = match &file.counts {
            None => Fault::ALL.into_iter().fold(FaultSet::EMPTY, |mut all, fault| {
                all.insert(fault);
                all
            }),
            Some(named) => counts(source, &top.key("counts"), named)?,
        };
        return Ok(vec![Rule { name: String::new(), counts }]);
    }
    if file.counts.is_some() {
        let problem = Problem::NotBeside { beside: "rule".to_owned(), accepted: vec!["runs".to_owned()] };
        return Err(source.refuse_key(&top.key("counts"), problem));
    }
    if let Some(twice) = twice(file.rule.iter().map(|typed| typed.name.as_str())) {
        return Err(source.refuse(&top.key("rule").item(twice).key("name"), Problem::Twice));
    }
    let rule = |(item, typed): (usize, &RuleTable)| {
        let path = top.key("rule").item(item);
        if typed.name.trim().is_empty() {
            let accepted = Accepted::Said("a name");
            return Err(source.refuse(&path.key("name"), Problem::NotAccepted { accepted }));
        }
        Ok(Rule { name: typed.name.clone(), counts: counts(source, &path.key("counts"), &typed.counts)? })
    };
    file.rule.iter().enumerate().map(rule).collect()
}

/// Faults by their names, at least one.
fn counts(source: &Source<'_>, path: &Path, named: &[String]) -> Result<FaultSet, CaseError> {
    let keys = Fault::ALL.map(Fault::key);
    let mut counts = FaultSet::EMPTY;
    for (item, key) in named.iter().enumerate() {
        counts.insert(Fault::ALL[source.word(&path.item(item), key, &keys)?]);
    }
    if counts.is_empty() {
        let accepted = Accepted::Said("a list with at least one fault");
        return Err(source.refuse(path, Problem::NotAccepted { accepted }));
    }
    Ok(counts)
}

fn stop(source: &Source<'_>, file: &SurveyFile) -> Result<Option<Stop>, CaseError> {
    let path = Path::TOP.key("stop");
    let checked = |table: &super::file::StopTable| {
        let half_width = source.number(&path.key("half_width"), table.half_width, HALF_WIDTH, "")?;
        Ok(Stop { half_width, every: whole(source, &path.key("every"), table.every, EVERY)? })
    };
    file.stop.as_ref().map(checked).transpose()
}

fn want(source: &Source<'_>, file: &SurveyFile) -> Result<Option<Want>, CaseError> {
    let path = Path::TOP.key("want");
    let checked = |table: &super::file::WantTable| {
        let within = |key: &str, value: f64, range, unit| source.number(&path.key(key), value, range, unit);
        let a_year = table.false_alarms_a_year;
        let accused = table.accused_percent;
        if a_year.is_none() && accused.is_none() {
            let accepted = Accepted::Number { low: A_YEAR.0, high: A_YEAR.1, unit: "a year" };
            return Err(source.missing(&path, "false_alarms_a_year", accepted));
        }
        Ok(Want {
            false_alarms_a_year: a_year
                .map(|most| within("false_alarms_a_year", most, A_YEAR, "a year"))
                .transpose()?,
            accused_percent: accused
                .map(|most| within("accused_percent", most, (0.0, 100.0), "%"))
                .transpose()?,
            before_hazard_percent: within(
                "before_hazard_percent",
                table.before_hazard_percent,
                (0.0, 100.0),
                "%",
            )?,
        })
    };
    file.want.as_ref().map(checked).transpose()
}

/// The place of the first name that was there before.
fn twice<'a>(names: impl Iterator<Item = &'a str>) -> Option<usize> {
    let mut before = Vec::new();
    for (place, name) in names.enumerate() {
        if before.contains(&name) {
            return Some(place);
        }
        before.push(name);
    }
    None
}

fn whole(source: &Source<'_>, path: &Path, found: u64, (low, high): (u64, u64)) -> Result<usize, CaseError> {
    let found = source.whole(path, found, low, high)?;
    Ok(usize::try_from(found).unwrap_or(usize::MAX))
}

/// The name of a file without its folders and its ending.
fn stem(file: &str) -> String {
    let stem = std::path::Path::new(file).file_stem();
    stem.map_or_else(|| file.to_owned(), |stem| stem.to_string_lossy().into_owned())
}

fn digest(text: &str, cases: &[Arc<Case>]) -> u32 {
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
    let mut digest = crc.digest();
    digest.update(text.as_bytes());
    for case in cases {
        digest.update(&case.digest.to_le_bytes());
    }
    digest.finalize()
}
