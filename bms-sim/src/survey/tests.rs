//! Surveys as a whole: what a file may say, and that no way of playing changes what comes out.

use super::*;
use crate::case::{Knob, Problem};
use crate::run::Loop;
use bms_core::Fault;
use std::sync::atomic::AtomicBool;

/// The trainer with a thermistor that breaks, and a cell that grows resistive under a hoist.
const CASE: &str = "schema = 1\ntitle = 't'\nstory = 's'\npack = 'trainer'\nseed = 1\nduration_s = 12\n\
    start = { charge_percent = 60, celsius = 18 }\nact = [{ at_s = 0.5, ask = 'close' }]\n\
    duty = [{ do = 'park', for_s = 4 }, { do = 'hoist', for_s = 3 }, { do = 'hold', for_s = 2 }, { do = 'hoist', for_s = 3 }]\n\
    [[defect]]\nkind = 'added_resistance'\ncell = 5\nmilliohms = 20\nat_s = 4\n";

const SURVEY: &str = "schema = 1\ntitle = 't'\nstory = 's'\ncases = ['case.toml']\nseed = 3\nruns = 6\nruns_a_prefix = 3\n\
    counts = ['cell_resistance_high']\n\
    vary = [{ what = 'defect.1.milliohms', log_uniform = [2, 60] }, { what = 'defect.1.cell', whole = [1, 16] },\n\
            { what = 'start.celsius', normal = [18, 5] }, { what = 'resistance_percent', uniform = [80, 120] }]\n\
    sweep = [{ what = 'limits.cell_resistance_high.trip', values = [4, 8, 16] },\n\
             { what = 'limits.cell_resistance_high.dwell_ms', from = 100, to = 300, steps = 2 }]\n";

fn survey(text: &str) -> Result<Survey, CaseError> {
    survey_of(text, CASE)
}

fn survey_of(text: &str, case: &str) -> Result<Survey, CaseError> {
    Survey::parse(text, "survey.toml", |_| Case::parse(case, "case.toml"))
}

fn play(survey: &Survey) -> Vec<Prefix> {
    let stop = AtomicBool::new(false);
    (0..survey.prefixes()).map(|prefix| survey.play(prefix, &stop).unwrap().unwrap()).collect()
}

#[test]
fn what_is_not_accepted_says_where_and_what_would_be() {
    for (from, to, said) in [
        ("runs = 6", "run = 6", "survey.toml:6: run: no such key here; did you mean runs?"),
        ("runs = 6", "runs = 0", "survey.toml:6: runs = 0: accepted is a whole number from 1 to 1000000000"),
        (
            "'cell_resistance_high'",
            "'cell_resistance'",
            "survey.toml:8: counts = 'cell_resistance': not known here; did you mean cell_resistance_high?",
        ),
        (
            "log_uniform = [2, 60]",
            "log_uniform = [2, 6000]",
            "survey.toml:9: vary.log_uniform = [2, 6000]: accepted is a number from 0.05 to 200 mΩ",
        ),
        (
            "log_uniform = [2, 60]",
            "log_uniform = [2, 6], fixed = 3",
            "survey.toml:9: vary.log_uniform: not accepted with fixed; accepted there is what",
        ),
        (
            "defect.1.milliohms",
            "defect.2.milliohms",
            "survey.toml:9: vary.what = 'defect.2.milliohms': not known here; did you mean defect.1.milliohms?",
        ),
        (
            "values = [4, 8, 16]",
            "values = [4, 8, 1600]",
            "survey.toml:11: sweep.what = 'limits.cell_resistance_high.trip': limits.cell_resistance_high.trip = 1600: accepted is",
        ),
    ] {
        let text = SURVEY.replace(from, to);
        assert_ne!(text, SURVEY);
        let error = survey(&text).map(|_| ()).unwrap_err();
        assert!(error.to_string().starts_with(said), "{error}");
        assert!(error.mistake().is_some_and(|mistake| !matches!(mistake.problem, Problem::NotToml { .. })));
    }
}

/// A grid has every combination, a list the first values together, then the second.
#[test]
fn settings_are_combined_as_asked() {
    let values = |text: &str| -> Vec<Vec<f64>> {
        survey(text).unwrap().settings.into_iter().map(|setting| setting.values).collect()
    };
    assert_eq!(
        values(SURVEY),
        [[4.0, 100.0], [4.0, 300.0], [8.0, 100.0], [8.0, 300.0], [16.0, 100.0], [16.0, 300.0]]
    );
    let list = SURVEY
        .replace("values = [4, 8, 16]", "values = [4, 8]")
        .replace("sweep =", "combine = 'list'\nsweep =");
    assert_eq!(values(&list), [[4.0, 100.0], [8.0, 300.0]]);
}

/// Each rule under each setting, as if it alone stood in the file; and in a list one rule a setting.
#[test]
fn a_rule_is_what_it_would_be_alone() {
    const COUNTS: &str = "counts = ['cell_resistance_high']\n";
    let rules = "rule = [{ name = 'alone', counts = ['cell_resistance_high'] },\n\
                 { name = 'or low', counts = ['cell_resistance_high', 'cell_under_voltage'] }]\n";
    let few = SURVEY.replace("runs = 6", "runs = 4").replace("values = [4, 8, 16]", "values = [8, 25]");
    let few = few.replace("[2, 60]", "[30, 90]");
    let case = format!("{CASE}[limits]\ncell_under_voltage = {{ dwell_ms = 50 }}\n");
    let survey = |text: &str| survey_of(text, &case);
    let of = |counts: &str| survey(&few.replace(COUNTS, counts)).unwrap();
    let (both, alone) = (of(rules), of(COUNTS));
    let or_low = of("counts = ['cell_resistance_high', 'cell_under_voltage']\n");
    let fates = |survey: &Survey, of: fn(usize) -> bool| -> Vec<Fate> {
        let played = play(survey);
        let all = played.iter().flat_map(|prefix| {
            std::iter::once(&prefix.sound).chain(prefix.runs.iter().map(|run| &run.fates)).flatten()
        });
        (0..).zip(all).filter(|(place, _)| of(*place)).map(|(_, fate)| *fate).collect()
    };
    let each = |_: usize| true;
    assert_eq!(both.settings.len(), 8);
    assert_eq!(fates(&both, |place| place % 2 == 0), fates(&alone, each));
    assert_eq!(fates(&both, |place| place % 2 == 1), fates(&or_low, each));
    assert_ne!(fates(&alone, each), fates(&or_low, each), "the rules are one");
    let named: Vec<Option<&str>> = (0..2).map(|setting| both.rule_of(setting)).collect();
    assert_eq!((named, alone.rule_of(0)), (vec![Some("alone"), Some("or low")], None));
    let list = few.replace(COUNTS, rules).replace("sweep =", "combine = 'list'\nsweep =");
    let list: Vec<(Vec<f64>, usize)> =
        survey(&list).unwrap().settings.into_iter().map(|setting| (setting.values, setting.rule)).collect();
    assert_eq!(list, [(vec![8.0, 100.0], 0), (vec![25.0, 300.0], 1)]);
    let twice = survey(&few.replace(COUNTS, &rules.replace("or low", "alone"))).map(|_| ()).unwrap_err();
    assert!(twice.to_string().starts_with("survey.toml:9: rule.name = 'alone'"), "{twice}");
    let beside = survey(&few.replace(COUNTS, &format!("{COUNTS}{rules}"))).map(|_| ()).unwrap_err();
    assert!(beside.to_string().contains("counts: not accepted with rule"), "{beside}");
}

/// The plain way: each run and each setting from its start, one by one.
fn plain(survey: &Survey, prefix: &Prefix) -> Vec<Vec<Fate>> {
    let one = |case: Case, build: &dyn Fn(&mut Loop<16, 8>)| {
        let mut now = Loop::<16, 8>::new(&Arc::new(case)).unwrap();
        build(&mut now);
        let mut fate = Fate::default();
        while !now.over() {
            let seconds = now.seconds();
            let confirmed = now.advance(&mut ()).faults.confirmed;
            let found = |fault: Fault| Found { fault, seconds };
            fate.first = fate.first.or_else(|| confirmed.iter().next().map(found));
            fate.counted = confirmed.iter().find(|fault| *fault == Fault::CellResistanceHigh).map(found);
            fate.watched_seconds = now.seconds();
            if fate.counted.is_some() {
                fate.watched_seconds = seconds;
                break;
            }
        }
        fate
    };
    let of_run = |run: &Run, sound: bool| {
        let of_setting = |setting: &Setting| {
            let mut case = Case::clone(&survey.cases[0]);
            for (knob, value) in survey.knobs.iter().zip(&setting.values) {
                case = Knob::turned(*knob, &case, *value).unwrap();
            }
            case.seed = run.seed;
            case.start.celsius = run.drawn[2];
            case.defects[0].severity = run.drawn[0];
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a cell")]
            let cell = run.drawn[1] as usize;
            case.defects[0].place = cell - 1;
            if let Some(second) = case.defects.get_mut(1) {
                second.severity = run.drawn[4];
            }
            let case = if sound { case.without_defects() } else { case };
            one(case, &|now| now.world.scale_resistance(run.drawn[3] / 100.0))
        };
        survey.settings.iter().map(of_setting).collect()
    };
    let sound = prefix.runs.iter().take(1).map(|run| of_run(run, true));
    sound.chain(prefix.runs.iter().map(|run| of_run(run, false))).collect()
}

/// Sharing a prefix and sharing a world among settings changes no bit of what comes out.
#[test]
fn forks_and_shared_worlds_are_exactly_plain_play() {
    let survey = survey(SURVEY).unwrap();
    let (mut found, mut missed) = (0, 0);
    for prefix in play(&survey) {
        let played: Vec<Vec<Fate>> = std::iter::once(prefix.sound.clone())
            .chain(prefix.runs.iter().map(|run| run.fates.clone()))
            .collect();
        assert_eq!(played, plain(&survey, &prefix), "prefix {}", prefix.prefix);
        for fate in prefix.runs.iter().flat_map(|run| &run.fates) {
            if fate.counted.is_some() { found += 1 } else { missed += 1 }
        }
    }
    assert!(found > 3 && missed > 3, "{found} found and {missed} missed show little");
}

/// A pack with two defects, both of which vary: what is sound has neither, and what runs share ends where the first begins.
#[test]
fn two_defects_are_exactly_plain_play() {
    let case = format!("{CASE}[[defect]]\nkind = 'added_resistance'\ncell = 9\nmilliohms = 30\nat_s = 5\n");
    let text = SURVEY
        .replace("[80, 120] }]", "[80, 120] }, { what = 'defect.2.milliohms', log_uniform = [2, 60] }]");
    assert_ne!(text, SURVEY);
    let survey = survey_of(&text, &case).unwrap();
    for prefix in play(&survey) {
        let played: Vec<Vec<Fate>> = std::iter::once(prefix.sound.clone())
            .chain(prefix.runs.iter().map(|run| run.fates.clone()))
            .collect();
        assert_eq!(played, plain(&survey, &prefix), "prefix {}", prefix.prefix);
    }
}

/// What is dangerous, looked for from where the defect begins, is what is found when the story is played from its start.
#[test]
fn a_hazard_is_the_same_from_its_start() {
    let text = SURVEY.replace("runs = 6", "runs = 9").replace("counts =", "hazard_within_s = 8\ncounts =");
    let text = text.replace("[2, 60]", "[20, 90]");
    let text = text
        .replace("'resistance_percent', uniform = [80, 120]", "'start.charge_percent', uniform = [5, 90]");
    let survey = survey(&text).unwrap();
    let mut dangerous = 0;
    for run in play(&survey).iter().flat_map(|prefix| &prefix.runs) {
        let cases = survey.drawn(run.run - 1, 0).cases;
        let stop = AtomicBool::new(false);
        let build = super::vary::Build::default();
        let looked = hazard::of::<16, 8>(&cases, (build, None), 8.0, &stop).unwrap().unwrap();
        // Times are sums of ticks, in another order.
        let apart =
            looked.hazard_seconds.zip(run.hazard_seconds).map(|(from_start, here)| (from_start - here).abs());
        let same = looked.hazard_seconds.is_some() == run.hazard_seconds.is_some();
        assert!(
            same && apart.is_none_or(|apart| apart < 1e-6),
            "{:?} and {:?}",
            looked.hazard_seconds,
            run.hazard_seconds
        );
        dangerous += u32::from(run.hazard_seconds.is_some());
    }
    assert!((2..9).contains(&dangerous), "{dangerous} of 9 show little");
}

/// What is drawn for a run depends on nothing but seed, number and name.
#[test]
fn a_run_is_the_same_whatever_is_played_besides() {
    let alone = survey(SURVEY).unwrap();
    let more = survey(
        &SURVEY
            .replace("runs = 6", "runs = 60")
            .replace("vary = [", "vary = [{ what = 'sensor_tolerance', fixed = 0 }, "),
    )
    .unwrap();
    let stop = AtomicBool::new(false);
    let (one, other) = (alone.play(1, &stop).unwrap().unwrap(), more.play(1, &stop).unwrap().unwrap());
    for (one, other) in one.runs.iter().zip(&other.runs) {
        assert_eq!((one.run, one.seed), (other.run, other.seed));
        assert_eq!(one.drawn, other.drawn[1..]);
    }
    assert_eq!(alone.play(1, &stop).unwrap().unwrap(), one);
}
