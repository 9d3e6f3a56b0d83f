//! Lines as they are typed, and what is said of those that mean nothing.

use super::*;
use crate::case::{Ask, LimitChange, PowerLoss, RecordFate};
use crate::defect::{Defect, Spells};
use crate::repair::{NewCell, Repair};
use bms_core::frame::{Contactor, Replaced};

fn said(line: &str) -> String {
    parse(line).expect_err(line).to_string()
}

#[test]
fn each_command_of_the_list_is_understood() {
    for entry in &ALL {
        let example = match entry.word {
            "to" => "12.5",
            "show" => "cells",
            "why" => "cell_over_voltage",
            "limit" => "cell_over_voltage 3.7",
            "dwell" => "cell_over_voltage 500",
            "duty" => "hoist 150",
            "ask" => "clear service",
            "inject" => "cell_leak 5 10",
            "mend" => "1",
            "repair" => "clean_joint 37",
            "save" => "branch.toml",
            "go" => "branch-1",
            "compare" => "original branch-1",
            _ => "",
        };
        assert!(
            parse(&format!("{} {example}", entry.word)).is_ok_and(|read| read.is_some()),
            "{}",
            entry.word
        );
    }
}

#[test]
fn the_list_fits_its_screen_and_names_every_command() {
    let lines = help();
    assert!(lines.iter().all(|line| line.chars().count() <= WIDTH), "{}", lines.join("\n"));
    for entry in &ALL {
        assert!(
            lines.iter().any(|line| line.split_whitespace().next() == Some(entry.word)),
            "{}",
            entry.word
        );
    }
}

#[test]
fn ticks_times_and_what_is_looked_for() {
    assert_eq!(parse(""), Ok(Some(Command::By(Way::On, 1))));
    assert_eq!(parse("  tick   5 "), Ok(Some(Command::By(Way::On, 5))));
    assert_eq!(parse("back"), Ok(Some(Command::By(Way::Back, 1))));
    assert_eq!(parse("back 30"), Ok(Some(Command::By(Way::Back, 30))));
    assert_eq!(parse("stage"), Ok(Some(Command::Next(Sought::Stage, Way::On))));
    assert_eq!(parse("back stage"), Ok(Some(Command::Next(Sought::Stage, Way::Back))));
    assert_eq!(parse("to 12.5"), Ok(Some(Command::To(12.5))));
    assert_eq!(parse("to end"), Ok(Some(Command::To(f64::INFINITY))));
    assert_eq!(parse("# a remark"), Ok(None));
}

#[test]
fn what_is_otherwise_in_a_branch() {
    let change = |line: &str| match parse(line) {
        Ok(Some(Command::Branch(change))) => change,
        other => panic!("{line}: {other:?}"),
    };
    let fault = Fault::CellOverVoltage;
    let same = LimitChange { fault, trip: None, release: None, dwell_ms: None, release_dwell_ms: None };
    let limits = |change| Change::Limits(vec![change]);
    assert_eq!(change("limit cell_over_voltage 3.7"), limits(LimitChange { trip: Some(3.7), ..same }));
    assert_eq!(change("dwell cell_over_voltage 500"), limits(LimitChange { dwell_ms: Some(500), ..same }));
    assert_eq!(parse("duty hoist 120"), Ok(Some(Command::Work(Work::Hoist, Some(120.0)))));
    assert_eq!(parse("duty fast-lower"), Ok(Some(Command::Work(Work::FastLower, None))));
    assert_eq!(change("ask clear service"), Change::Act(Ask::Clear(Clearance::Service)));
    assert_eq!(change("ask replace 5"), Change::Act(Ask::Replace(Replaced::Cell(4))));
    let positive = Change::Act(Ask::Replace(Replaced::Contactor(Contactor::Positive)));
    assert_eq!(change("ask replace positive"), positive);
    let lost = |record| Change::Act(Ask::LosePower(PowerLoss { for_ms: 2_500, record, clock: true }));
    assert_eq!(change("ask lose-power 2.5 torn"), lost(RecordFate::Torn));
    assert_eq!(change("ask lose-power 2.5"), lost(RecordFate::Kept));
    assert_eq!(
        said("ask lose-power 0"),
        "ask = 0: accepted is 0.01 to 86400 seconds, as ask lose-power 2.5 torn"
    );
    assert_eq!(said("ask lose-power 1 keep"), "ask = keep: not known here; did you mean kept?");
    assert_eq!(said("ask replace negativ"), "ask = negativ: not known here; did you mean negative?");
    assert_eq!(change("mend 2"), Change::Mend(1));
    assert_eq!(said("inject cell_leek 5"), "inject = cell_leek: not known here; did you mean cell_leak?");
    assert_eq!(said("inject cell_leak"), "inject: missing; accepted is a cell, from 1");
    assert_eq!(said("inject cell_leak 5 much"), "inject = much: accepted is a severity in Ω");
    assert_eq!(said("mend 0"), "mend = 0: accepted is a number of show defects");
    assert_eq!(said("duty hoyst"), "duty = hoyst: not known here; did you mean hoist?");
    assert_eq!(
        said("ask stop"),
        "ask = stop: not known here; accepted are close, open, clear, replace, lose-power"
    );
}

/// What the workshop does, where, and what comes in.
#[test]
fn a_repair_is_described_as_in_a_case_file() {
    let repair = |line: &str| match parse(line) {
        Ok(Some(Command::Branch(Change::Repair(repair)))) => repair,
        other => panic!("{line}: {other:?}"),
    };
    let of = |work, place| Repair { work, place, cell: NewCell::USUAL };
    assert_eq!(repair("repair clean_joint 37"), of(repair::Work::CleanJoint, 36));
    assert_eq!(repair("repair replace_contactor positive"), of(repair::Work::ReplaceContactor, 2));
    assert_eq!(repair("repair mend_cooling"), of(repair::Work::MendCooling, 0));
    let cell = NewCell { charge: 0.6, ..NewCell::USUAL };
    assert_eq!(repair("repair swap_cell 5 60"), Repair { cell, ..of(repair::Work::SwapCell, 4) });
    assert_eq!(repair("repair swap_cell 5"), of(repair::Work::SwapCell, 4));
    assert_eq!(
        said("repair clean_joynt 37"),
        "repair = clean_joynt: not known here; did you mean clean_joint?"
    );
    assert_eq!(said("repair clean_joint"), "repair: missing; accepted is a joint, from 1");
    assert_eq!(
        said("repair swap_cell 5 101"),
        "repair = 101: accepted is the new cell's charge in percent, 0 to 100"
    );
    assert_eq!(said("repair clean_joint 37 2"), "repair = 2: nothing more is accepted after repair KIND …");
    assert_eq!(completions("repair clean").1, ["clean_joint"]);
}

/// The place, the severity, and how it grows, comes, goes and ends: with the keys of a case file, and only those that the kind takes.
#[test]
fn a_defect_is_described_as_in_a_case_file() {
    let defect = |line: &str| match parse(line) {
        Ok(Some(Command::Branch(Change::Defect(defect)))) => defect,
        other => panic!("{line}: {other:?}"),
    };
    let usual = |kind, place| Defect::usual(kind, place, 0.0);
    assert_eq!(defect("inject cell_leak 5"), usual(Kind::CellLeak, 4));
    assert_eq!(defect("inject contactor_welded positive"), usual(Kind::ContactorWelded, 2));
    let left_on = Defect { severity: 300.0, ..usual(Kind::LoadLeftOn, 0) };
    assert_eq!(defect("inject load_left_on 300"), left_on);
    let spells = Some(Spells { period_seconds: 10.0, duty: 0.4 });
    let joint = Defect {
        severity: 4.0,
        grows_seconds: 5.0,
        end_seconds: Some(90.0),
        spells,
        ..usual(Kind::AddedResistance, 36)
    };
    let typed =
        "inject added_resistance 37 4 ramp_s=5 until_s=90 intermittent_period_s=10 intermittent_duty=0.4";
    assert_eq!(defect(typed), joint);
    assert_eq!(defect("inject thermistor_open 3 until_s=40").end_seconds, Some(40.0));
    assert_eq!(
        said("inject added_resistance 37 ramp_s=long"),
        "inject = ramp_s=long: accepted is ramp_s=NUMBER, from 0"
    );
    assert_eq!(
        said("inject added_resistance 37 ramp=5"),
        "inject = ramp: not known here; did you mean ramp_s?"
    );
    assert_eq!(
        said("inject added_resistance 37 intermittent_duty=0.4"),
        "inject: missing; accepted is intermittent_period_s and intermittent_duty, both or none"
    );
}

#[test]
fn a_question_has_a_fault_an_outcome_both_or_neither() {
    let asked = |line: &str| match parse(line) {
        Ok(Some(Command::Why(Question { fault, outcome }))) => (fault, outcome),
        other => panic!("{line}: {other:?}"),
    };
    let fault = Some(Fault::ThermistorOpen);
    assert_eq!(asked("why"), (None, None));
    assert_eq!(asked("why thermistor_open"), (fault, None));
    assert_eq!(asked("why hazard"), (None, Some(Asked::Hazard)));
    assert_eq!(asked("why thermistor_open open"), (fault, Some(Asked::Open)));
    assert_eq!(said("why thermistor_open opn"), "why = opn: not known here; did you mean open?");
}

#[test]
fn what_is_typed_goes_on_with_what_is_known() {
    assert_eq!(completions("st"), (0, vec!["stage".to_owned()]));
    assert_eq!(completions("back re"), (5, vec!["reaction".to_owned()]));
    assert_eq!(completions("show limits now "), (16, Vec::new()));
    assert!(completions("why cell_over_v").1.contains(&"cell_over_voltage".to_owned()));
    assert_eq!(completions("inject added_resistance 5 ra").1, ["ramp_s"]);
    assert_eq!(completions("ask replace ne").1, ["negative"]);
    assert_eq!(completions("").1.len(), ALL.len());
}

#[test]
fn a_mistake_names_the_word_and_what_is_accepted() {
    assert_eq!(said("tik"), "command = tik: not known here; did you mean tick?");
    assert_eq!(said("tick 0"), "tick = 0: accepted is a whole number of ticks from 1 to 4294967295");
    assert_eq!(said("back sage"), "back = sage: not known here; did you mean stage?");
    assert_eq!(said("to"), "to: missing; accepted is a time in seconds from the start, start or end");
    assert_eq!(said("to NaN"), "to = NaN: accepted is a time in seconds from the start, start or end");
    assert_eq!(
        said("show"),
        "show: missing; accepted is cells, temperatures, faults, limits, sequence, evidence, defects, snapshots"
    );
    assert_eq!(
        said("why cell_over_voltag"),
        "why = cell_over_voltag: not known here; did you mean cell_over_voltage?"
    );
    assert_eq!(said("here now"), "here = now: nothing more is accepted after here");
}

#[test]
fn a_word_is_explained_in_whatever_form_it_is_typed() {
    let explained = |line: &str| match parse(line) {
        Ok(Some(Command::Help(Some(term)))) => term.term,
        other => panic!("{line}: {other:?}"),
    };
    assert_eq!(parse("help"), Ok(Some(Command::Help(None))));
    assert_eq!(explained("help dwell"), "dwell");
    assert_eq!(explained("help Near  Misses"), "near miss");
    assert_eq!(explained("help opensoon"), "OpenSoon");
    assert_eq!(said("help dwel"), "help = dwel: not known here; did you mean dwell?");
}
