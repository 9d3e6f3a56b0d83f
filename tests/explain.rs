//! What is told of a run: that the sums in it can be followed with a pocket calculator, that a cause is found and not guessed, and that the
//! README shows what the program prints.

use bms_core::{Evidence, Fault};
use bms_sim::case::{Case, Knob};
use bms_sim::explain::chain::{LinkKind, Since, Wrong};
use bms_sim::explain::channels::Channel;
use bms_sim::explain::departs::Fact;
use bms_sim::explain::distance::{Found, Outcome, answer, usual_questions};
use bms_sim::explain::judged::Judged;
use bms_sim::explain::verdict::Criticality;
use bms_sim::explain::{self, Account, lead, story};
use bms_sim::recording::{self, Recording, What};
use std::path::{Path, PathBuf};
use std::sync::Arc;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn shipped(name: &str) -> Case {
    Case::read(&root().join("examples/cases").join(name)).unwrap_or_else(|error| panic!("{error}"))
}

fn played(case: Case) -> (Recording<96, 16>, Account) {
    let recording = recording::play(&Arc::new(case), |_| true).expect("the crane has 96 cells");
    let account = Account::of(&recording).expect("the crane has 96 cells");
    (recording, account)
}

/// The numbers of a text in front of that unit.
fn figures(text: &str, unit: &str) -> Vec<f64> {
    let words: Vec<&str> = text.split_whitespace().collect();
    words
        .windows(2)
        .filter(|pair| pair[1].trim_end_matches([',', ':', ';', '.']) == unit)
        .map(|pair| pair[0].replace('−', "-").parse().expect("a number stands before its unit"))
        .collect()
}

/// The story of the resistive cell names the cell, the load steps that showed it, the figures, and the time from onset to open contactors;
/// each sum comes out as printed when it is done again from the figures beside it.
#[test]
fn the_sums_of_a_resistive_cell_come_out_as_printed() {
    let (recording, account) = played(shipped("resistive-cell.toml"));
    let story = story::text(&recording, &account);
    let steps: Vec<&str> = story.lines().filter(|line| line.contains(" in a step of ")).collect();
    assert_eq!(steps.len(), 3, "{story}");
    for step in steps {
        assert!(step.contains("cell 37 moved by"), "{step}");
        assert!(step.contains("hoist") || step.contains("lower"), "{step}");
        let (millivolts, amps) = (figures(step, "mV")[1], figures(step, "A")[1]);
        let milliohms = figures(step, "mΩ");
        let [shown, expected, above, fixed, allowed] = milliohms[..] else { panic!("{step}") };
        let part = figures(step, "%")[0] / 100.0;
        // Half of the last digit that is shown, and the last bits of a float.
        let half = 0.000_5 + 1e-9;
        assert!((millivolts / amps - shown).abs() <= half, "{step}");
        assert!((shown - expected - above).abs() <= 1e-9, "{step}");
        assert!((fixed + part * expected - allowed).abs() <= half, "{step}");
        assert!(above > allowed, "{step}");
    }
    let (since, took) = account.until_open().expect("the contactors open");
    assert_eq!(since, Since::Onset);
    assert!(story.contains(&format!("From onset to open contactors: {took:.1} s.")), "{story}");
    // The ramp makes 1.5 mΩ and a quarter of the expected 0.9 mΩ after (1.725 / 24) · 2 000 s = 144 s: no step before can show it.
    assert!((144.0..200.0).contains(&took), "{took}");
}

/// Of several defects, the one is named without which the fault does not come; the others are put in earlier, to be tempting.
#[test]
fn the_cause_is_the_defect_without_which_the_fault_does_not_come() {
    let mut case = shipped("open-thermistor.toml");
    let thermistor = case.defects[0];
    let text = case.text.replace(
        "[expect]",
        "[[defect]]\nkind = \"cell_channel_offset\"\ncell = 3\nmillivolts = 5\nat_s = 2\n\n[[defect]]\nkind = \"current_offset\"\n\
         current_sensor = \"main\"\namps = 0.2\nat_s = 3\n\n[expect]",
    );
    case = Case::parse(&text, "three defects").unwrap_or_else(|error| panic!("{error}"));
    assert_eq!((case.defects.len(), case.defects[0]), (3, thermistor));
    let (_, account) = played(case);
    let chain = account.chain(Fault::ThermistorOpen).expect("the thermistor is found");
    assert_eq!(chain.links[0].what, LinkKind::DefectBegins(0));
    assert_eq!(chain.onset(), Some(30.0));
    assert!(
        chain.links.iter().any(|link| link.what == LinkKind::TruthUnharmed(Wrong::Reading)),
        "only a reading lies"
    );
    assert!(
        !chain.links.iter().any(|link| matches!(link.what, LinkKind::TruthDeparts(_))),
        "only a reading lies"
    );
    assert_eq!(chain.until_open(), None, "a report opens nothing");
}

/// A weld that bars the start opens nothing that was closed.
#[test]
fn nothing_is_said_to_open_that_was_never_closed() {
    let (_, account) = played(shipped("welded-positive.toml"));
    let chain = account.chain(Fault::PositiveWelded).expect("the weld is found");
    assert_eq!((chain.onset(), chain.until_open()), (Some(0.0), None));
}

/// Contactors that stand open at the onset harm nobody: the time counts from the start. And what is wrong only with switching has no
/// time to a hazard that the firmware could miss.
#[test]
fn an_open_pack_has_no_time_to_lose() {
    let (recording, account) = played(shipped("load-left-on.toml"));
    let (since, took) = account.until_open().expect("the start is given up");
    // Asked at 1 s, and 5 τ of 50 Ω · 1 mF after the negative contactor closed precharge is over, one way or the other.
    assert!(since == Since::Start && took < 0.5, "{took}");
    assert!(account.verdict.critical());
    assert_eq!(account.verdict.seconds_to_hazard(&recording.case), None);
}

/// A distance is the difference of the two figures beside it.
#[test]
fn distances_are_those_of_the_figures_shown() {
    let (recording, account) = played(shipped("resistive-cell.toml"));
    let story = story::text(&recording, &account);
    let compared: Vec<&str> = story.lines().filter(|line| line.contains("against a limit of")).collect();
    assert!(compared.len() >= 4, "{story}");
    for line in compared {
        let from = &line[line.find("against a limit of").expect("it is there")..];
        let unit = from.split_whitespace().nth(5).expect("the limit has a unit");
        let (distance, _) = from
            .split_once('(')
            .map(|(_, rest)| rest)
            .and_then(|rest| rest.split_once(' '))
            .expect("a distance");
        let (limit, distance): (f64, f64) = (
            from.split_whitespace()
                .nth(4)
                .and_then(|limit| limit.replace('−', "-").parse().ok())
                .expect("a limit"),
            distance.replace('−', "-").parse().expect("a distance"),
        );
        let before = &line[..line.find(" against a limit of").expect("it is there")];
        let shown = before.strip_suffix(unit).map(str::trim_end).and_then(|text| text.rsplit(' ').next());
        let shown: f64 =
            shown.and_then(|shown| shown.replace('−', "-").parse().ok()).expect("a value in the same unit");
        assert!(((shown - limit).abs() - distance).abs() < 1e-9, "{line}");
    }
}

/// Of a run that was cut short, nothing is told that lies behind its end.
#[test]
fn a_chain_ends_with_the_run() {
    let down = |account: &Account| {
        let links = account.chains.iter().flat_map(|chain| chain.links.clone());
        links.into_iter().find(|link| link.what == LinkKind::LinkDown).map(|link| link.seconds)
    };
    let (_, whole) = played(shipped("loose-joint.toml"));
    let down_seconds = down(&whole).expect("the link comes down");
    let case = Arc::new(shipped("loose-joint.toml"));
    // Asked once a second whether to go on.
    let recording: Recording<96, 16> =
        recording::play(&case, |seconds| seconds < down_seconds - 2.0).expect("the crane has 96 cells");
    assert!(recording.end.seconds() < down_seconds, "{}", recording.end.seconds());
    let cut = Account::of(&recording).expect("the crane has 96 cells");
    assert!(cut.until_open().is_some() && down(&cut).is_none(), "{:?}", cut.chains);
}

/// What the README shows of `why` is what it prints.
#[test]
fn the_readme_shows_what_why_prints() {
    let (recording, account) = played(shipped("resistive-cell.toml"));
    let printed =
        explain::why(&recording, &account, Fault::CellResistanceHigh).expect("the crane has 96 cells");
    let readme = std::fs::read_to_string(root().join("README.md")).expect("there is a README");
    let from = readme.find("    Why cell resistance high?").expect("the README shows why");
    let shown: Vec<&str> = readme[from..].lines().map_while(|line| line.strip_prefix("    ")).collect();
    let printed: Vec<&str> = printed.lines().take(shown.len()).collect();
    assert!(shown.len() >= 8, "{shown:#?}");
    snapbox::assert_data_eq!(shown.join("\n"), printed.join("\n"));
}

/// A case that changes the limit of a resistive cell is told with its own limit, not with the usual one.
#[test]
fn the_sums_hold_the_limit_of_the_case() {
    let text = format!("{}\n[limits.cell_resistance_high]\ntrip = 1.6\n", shipped("loose-joint.toml").text);
    let (recording, _) = played(Case::parse(&text, "case.toml").unwrap_or_else(|error| panic!("{error}")));
    let sums = explain::words::load_steps(&recording.load_steps, &recording.case);
    assert_eq!(sums.matches("allowed are 1.600 mΩ and").count(), 3, "{sums}");
}

fn trainer(story: &str) -> (Recording<16, 8>, Account) {
    let text = format!("schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"trainer\"\nseed = 5\n{story}");
    let case = Case::parse(&text, "case.toml").unwrap_or_else(|error| panic!("{error}\n{text}"));
    let recording = recording::play(&Arc::new(case), |_| true).expect("the trainer has 16 cells");
    let account = Account::of(&recording).expect("the trainer has 16 cells");
    (recording, account)
}

/// Half a minute of hoisting and lowering.
const AT_WORK: &str = "duration_s = 40\nstart = { charge_percent = 60, celsius = 18 }\nact = [{ at_s = 1, ask = \"close\" }]\n\
    duty = [{ do = \"park\", for_s = 5 }, { times = 2, phases = [{ do = \"hoist\", for_s = 8 }, { do = \"hold\", for_s = 3 }, \
    { do = \"lower\", for_s = 4 }] }]\n";

#[test]
fn where_nothing_is_wrong_the_silence_says_so() {
    let (recording, account) = trainer(AT_WORK);
    assert_eq!(account.silence_in_words(&recording.case), [explain::words::nothing_wrong()]);
}

/// A cell that holds a fifth less than when new and is full to the same part: by coulombs it empties by 1 / 0.8 as much. At 60 % its voltage hardly
/// moves for that, nobody can measure it, no fault is nearer, and none would be heard of at any loss.
#[test]
fn the_silence_of_a_lost_capacity_is_explained() {
    let (recording, account) = trainer(&format!(
        "{AT_WORK}defect = [{{ kind = \"lost_capacity\", cell = 6, percent = 20, at_s = 0 }}]\n"
    ));
    let [quiet] = account.quiet[..] else { panic!("{:?}", account.quiet) };
    let (_, truth) = quiet.truth.expect("it differs in truth");
    assert_eq!(truth.departure.what, Fact::CellCharge(5));
    let [own, twin] = [truth.departure.is, truth.departure.twin].map(|charge| 0.6 - charge);
    assert!((own / twin - 1.25).abs() < 0.01, "{own} {twin}");
    let (_, reading) = quiet.reading.expect("it differs by a bit");
    assert!(matches!(reading.departure.what, Channel::Cell(5)) && reading.times < 1.0, "{reading:?}");
    assert_eq!(quiet.nearer, None);
    let asked = usual_questions(&recording);
    assert!(matches!(asked[..], [(Outcome::Any, _)]), "{asked:?}");
    let answer = answer(&recording, asked[0].0, asked[0].1).expect("the trainer has 16 cells");
    let severity = answer.distances.iter().find(|distance| distance.knob == Knob::Severity(0));
    assert!(matches!(&severity.expect("it took part").found, Found::Nowhere { ends } if ends.len() == 2));
    let told = account.silence_in_words(&recording.case).join("\n");
    assert!(told.contains("lost capacity at cell 6, 20 %") && told.contains("nobody can tell"), "{told}");
}

/// The firmware measures the insulation, and does so some ticks earlier or later in a pack that differs by microvolts: where its own resistor puts
/// the chassis meanwhile is nothing that the defect does.
#[test]
fn the_silence_leaves_out_what_the_firmware_moves_itself() {
    let (_, account) = trainer(
        "duration_s = 40\nstart = { charge_percent = 60, celsius = 18 }\nact = [{ at_s = 1, ask = \"close\" }]\n\
         duty = [{ do = \"park\", for_s = 5 }, { times = 3, phases = [{ do = \"hoist\", for_s = 5 }, { do = \"hold\", for_s = 3 }, \
         { do = \"fast-lower\", for_s = 4 }, { do = \"hold\", for_s = 3 }] }]\n\
         defect = [{ kind = \"lost_capacity\", cell = 6, percent = 85, at_s = 6 }]\n",
    );
    let [quiet] = account.quiet[..] else { panic!("{:?}", account.quiet) };
    let (_, truth) = quiet.truth.expect("it differs in truth");
    assert_eq!(truth.departure.what, Fact::CellCharge(5));
    let (_, reading) = quiet.reading.expect("it differs by some millivolts");
    assert_eq!(reading.departure.what, Channel::Cell(5));
}

/// A channel that reads 60 mV too low: nothing true differs; it shows 60 mV, and stands 60 mV nearer to the lower limit than its cell. The limit
/// 2.80 V of it is passed when it shows so much less than the cell has; and meanwhile too high a voltage of that cell would not be seen.
#[test]
fn the_silence_of_a_displaced_channel_is_explained() {
    let (recording, account) = trainer(&format!(
        "{AT_WORK}defect = [{{ kind = \"cell_channel_offset\", cell = 4, millivolts = -60, at_s = 2 }}]\n"
    ));
    let [quiet] = account.quiet[..] else { panic!("{:?}", account.quiet) };
    assert_eq!(quiet.truth, None);
    let (_, reading) = quiet.reading.expect("it differs");
    assert_eq!(reading.departure.what, Channel::Cell(3));
    assert!(
        (reading.departure.is - reading.departure.twin + 0.060).abs() < 0.001 && reading.times > 1.0,
        "{reading:?}"
    );
    let nearer = quiet.nearer.expect("the lower limit is nearer");
    assert_eq!(nearer.with.assessment.fault, Fault::CellUnderVoltage);
    let asked = usual_questions(&recording);
    assert_eq!(asked, [(Outcome::Any, Fault::CellUnderVoltage)]);
    let answer = answer(&recording, asked[0].0, asked[0].1).expect("the trainer has 16 cells");
    let severity = answer.distances.iter().find(|distance| distance.knob == Knob::Severity(0));
    let Found::Edge { other, .. } = &severity.expect("it took part").found else { panic!("{answer:?}") };
    // The nearer one of the two ways: up to where it reads too high, or down to where it reads too low.
    let speaks = if other.value > 0.0 { Fault::CellOverVoltage } else { Fault::CellUnderVoltage };
    assert_eq!(other.came.and_then(|came| came.by), Some(speaks));
    assert_eq!((account.judged, account.verdict.criticality()), (Judged::Blind, Criticality::ByBlindness));
}

/// Each chain says how long it would have taken to the hazard from its reaction on, had nothing reacted.
#[test]
fn the_margin_of_a_chain_is_a_number() {
    let (recording, account) = played(shipped("loose-joint.toml"));
    let hazard = account.verdict.without_reactions.expect("the joint would get too hot");
    let chain = account.chain(Fault::CellResistanceHigh).expect("it was Confirmed");
    let left = hazard.seconds - chain.reacted().expect("it reacted");
    let text = explain::why(&recording, &account, Fault::CellResistanceHigh).expect("the crane has 96 cells");
    assert!(
        left > 30.0 && text.contains(&format!("Had nothing reacted, {left:.1} s later: in truth the joint")),
        "{text}"
    );
}

/// Every refusal, move and limit that the firmware told of in the shorter shipped stories is led back: in order of time, each link in its tick.
#[test]
fn whatever_the_firmware_did_is_led_back() {
    let mut told = 0;
    for name in ["load-left-on.toml", "loose-joint.toml", "open-thermistor.toml", "welded-positive.toml"] {
        let (recording, _) = played(shipped(name));
        let mut ticks: Vec<(u64, f64)> = Vec::new();
        for event in &recording.events {
            let asks = matches!(event.what, What::Told(Evidence::Refused(_) | Evidence::Moved { .. }));
            if asks && ticks.last().is_none_or(|(tick, _)| *tick != event.tick) {
                ticks.push((event.tick, event.seconds));
            }
        }
        for (tick, seconds) in ticks {
            let leads = lead::at(&recording, seconds).expect("the crane has 96 cells");
            assert!(!leads.is_empty(), "{name} at {seconds}");
            for lead in &leads {
                let last = lead.links.last().expect("what was told");
                assert!(matches!(last.what, LinkKind::Told(_)) && last.tick == tick, "{name}: {lead:?}");
                assert!(lead.links.is_sorted_by_key(|link| link.seconds), "{name}: {lead:?}");
            }
            told += leads.len();
        }
    }
    assert!(told >= 20, "{told}");
}
