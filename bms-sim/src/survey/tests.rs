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
    Survey::parse(text, "survey.toml", |_| Case::parse(CASE, "case.toml"))
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
            let mut case = Case::parse(CASE, "case.toml").unwrap();
            for (knob, value) in survey.knobs.iter().zip(&setting.values) {
                case = Knob::turned(*knob, &case, *value).unwrap();
            }
            case.seed = run.seed;
            case.start.celsius = run.drawn[2];
            case.defects[0].severity = run.drawn[0];
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a cell")]
            let cell = run.drawn[1] as usize;
            case.defects[0].place = cell - 1;
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
