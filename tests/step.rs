//! Stepping as its users meet it: the real binary with commands from a pipe, and pictures that fit their screen.

use bms_sim::case::Case;
use bms_sim::explain::picture;
use bms_sim::recording::stepper::{Sought, Stepper, Way};
use bms_sim::recording::{self, Recording};
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::sync::Arc;

/// How a session ended.
struct Ran {
    code: Option<i32>,
    out: String,
    err: String,
}

/// Steps through the shipped case with a broken thermistor wire, with these commands from a pipe.
fn step(options: &str, commands: &str) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bms-sim"));
    command.current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."));
    command.arg("step").args(options.split_whitespace()).args(["-q", "examples/cases/open-thermistor.toml"]);
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().expect("the program starts");
    let mut stdin = child.stdin.take().expect("its input is a pipe");
    stdin.write_all(commands.as_bytes()).expect("it reads its commands");
    drop(stdin);
    let output = child.wait_with_output().expect("it ends");
    let text = |bytes| String::from_utf8(bytes).expect("the program writes UTF-8");
    Ran { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
}

/// A session as the documentation shows one. Another picture than before is looked at, and taken if it is better:
/// `SNAPSHOTS=overwrite` writes it.
#[test]
fn a_session_from_a_pipe() {
    let ran = step("", "# to the broken wire\nback stage\nto end\nback stage\nback 3\n");
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{}", ran.out);
    snapbox::assert_data_eq!(ran.out, snapbox::file!["step/open-thermistor.txt"]);
}

/// What would have been: the wire mended just before it is found, and the crane at hoist instead, each beside the original.
#[test]
fn branches_from_a_pipe() {
    let commands = "to 30.1\nmend 1\nto end\nback event\ngo original\nto 30.1\nduty hoist 120\nto 31\nbranches\ncompare original branch-1\n\
                    show defects\ngo original\nshow defects\n";
    let ran = step("", commands);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{}", ran.out);
    snapbox::assert_data_eq!(ran.out, snapbox::file!["step/branches.txt"]);
    let wrong = step("", "to 30\nmend 2\ninject cell_leak 97\ngo branch-1\nlimit cell_over_voltage 0.1\n");
    let errors = "error: there is no defect 2; accepted is 1 to 1\n\
                  error: leak across a cell: there is no cell 97; accepted is 1 to 96\n\
                  error: branch = branch-1: not known here; accepted are original\n\
                  error: cell_over_voltage = 0.1 V: accepted is 0.9 to 4.5 V\n";
    assert_eq!((wrong.code, wrong.err.as_str()), (Some(2), errors));
}

/// The text without its lines and gaps.
fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The program with these words, and what it said.
fn said(line: &[&str]) -> Ran {
    let output = Command::new(env!("CARGO_BIN_EXE_bms-sim"))
        .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
        .args(line)
        .output()
        .expect("the program starts");
    let text = |bytes| String::from_utf8(bytes).expect("the program writes UTF-8");
    Ran { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
}

/// What led to a fault, what would have changed it, what came near, the verdict: as the verb says it, but for the lines.
#[test]
fn why_in_a_stepper_is_what_the_verb_says() {
    for (command, asked) in [
        ("why thermistor_open", &["thermistor_open"][..]),
        ("why thermistor_open trip", &["thermistor_open", "--outcome", "trip"]),
        ("why", &[]),
    ] {
        let ran = step("", &format!("{command}\n"));
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{command}");
        let verb = said(&[&["why", "-q", "examples/cases/open-thermistor.toml"], asked].concat());
        let (_, told) = verb.out.split_once("\n\n").expect("a title comes first");
        let (told, _) = told.split_once("\nbms-sim ").expect("which run it is comes last");
        assert!(told.contains("would"), "{told}");
        assert!(words(&ran.out).ends_with(&words(told)), "{command}:\n{}\nagainst\n{told}", ran.out);
    }
}

/// A branch of a branch is saved as a case and as a recording: both are played as the branch was, and accepted by every verb.
#[test]
fn a_branch_is_saved_as_a_case_and_as_a_recording() {
    let folder = tempfile::tempdir().expect("there is a place for files");
    let name = |name: &str| folder.path().join(name).display().to_string();
    let (case, recorded) = (name("branch.toml"), name("branch.mcap"));
    let commands = format!(
        "to 20\nlimit thermistor_stray 9\nto 30.1\ninject cell_leak 5 3 until_s=80 ramp_s=5\nsave {case}\nsave {recorded}\n"
    );
    let ran = step("", &commands);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{}", ran.out);
    let text = std::fs::read_to_string(&case).expect("the case is there");
    let original = include_str!("../examples/cases/open-thermistor.toml");
    let kept = original.split("[expect]").next().expect("what is expected comes last");
    assert!(text.starts_with(kept) && !text.contains("[expect]"), "{text}");
    assert!(text.ends_with(
        "[[change]]\nat_s = 20.01\nlimits = { thermistor_stray = { trip = 9.0 } }\n\n[[change]]\nat_s = 30.11\n\
         defect = { kind = \"cell_leak\", cell = 5, ohms = 3.0, until_s = 80.0, ramp_s = 5.0 }\n"
    ), "{text}");
    let digest =
        |ran: &Ran| ran.out.split("decisions ").nth(1).map(|rest| rest.chars().take(8).collect::<String>());
    let (run, why) = (said(&["run", "-q", &case]), said(&["why", "-q", &recorded]));
    assert_eq!((run.code, run.err.as_str(), why.code, why.err.as_str()), (Some(0), "", Some(0), ""));
    let run = said(&["run", &case]);
    assert!(run.out.contains("CHANGE: from now on the limit of thermistor stray is 9 °C"), "{}", run.out);
    assert!(digest(&run).is_some_and(|found| Some(found) == digest(&why)), "{}{}", run.out, why.out);
    // Never over a file, and under no other kind of name.
    let wrong = step("", &format!("save {case}\nsave {recorded}\nsave branch.txt\n"));
    let errors = format!(
        "error: {case}: there is a file already; accepted is a new name\n\
         error: {recorded}: there is a file already; accepted is a new name\n\
         error: save = branch.txt: accepted is a name that ends in .toml, for a case, or in .mcap, for a recording\n"
    );
    assert_eq!((wrong.code, wrong.err), (Some(2), errors));
}

#[test]
fn what_is_no_command_is_named_and_the_rest_is_done() {
    let ran = step("", "tik 3\ntick 3\nshow sells\n");
    let errors = "error: command = tik: not known here; did you mean tick?\nerror: show = sells: not known here; did you mean cells?\n";
    assert_eq!((ran.code, ran.err.as_str()), (Some(2), errors));
    assert!(ran.out.contains("tick          2 at 0.02 s"), "{}", ran.out);
}

#[test]
fn with_json_each_line_is_a_document() {
    let ran = step("--json", "tick\nto 30.5\nwhy thermistor_open\n");
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    let documents: Vec<serde_json::Value> =
        ran.out.lines().map(|line| serde_json::from_str(line).expect("one document")).collect();
    assert_eq!(documents.len(), 3, "{}", ran.out);
    assert_eq!(documents[0]["tick"], 0);
    assert_eq!(documents[1]["seconds"], 30.5);
    assert_eq!(documents[1]["cells_volts"].as_array().map(Vec::len), Some(96));
    assert_eq!(documents[2]["command"], "why thermistor_open");
}

#[test]
fn the_commands_cannot_come_from_where_the_case_does() {
    let output = Command::new(env!("CARGO_BIN_EXE_bms-sim"))
        .args(["step", "-"])
        .stdin(Stdio::null())
        .output()
        .expect("the program starts");
    assert_eq!(output.status.code(), Some(2));
    let error =
        "error: RECORDING-or-CASE = -: standard input has the commands; accepted is the name of a file\n";
    assert_eq!(String::from_utf8_lossy(&output.stderr), error);
}

/// A pack of either kind that works and breaks in several ways at once, so that there is much to show.
fn troubled<const CELLS: usize, const THERMISTORS: usize>(pack: &str) -> Recording<CELLS, THERMISTORS> {
    let text = format!(
        "schema = 1\ntitle = \"Trouble\"\nstory = \"Everything at once.\"\npack = \"{pack}\"\nseed = 4\nduration_s = 60\n\
         [start]\ncharge_percent = 60\ncelsius = -20\n[[act]]\nat_s = 1\nask = \"close\"\n\
         [[act]]\nat_s = 40\nask = \"clear\"\nby = \"service\"\n\
         [[duty]]\ntimes = 6\nphases = [{{ do = \"hold\" }}, {{ do = \"hoist\", for_s = 3 }}, {{ do = \"fast-lower\", for_s = 3 }}]\n\
         [[defect]]\nkind = \"thermistor_open\"\nthermistor = 3\nat_s = 6\n\
         [[defect]]\nkind = \"cell_channel_offset\"\ncell = 5\nmillivolts = 400\nat_s = 8\n\
         [[defect]]\nkind = \"current_dead\"\ncurrent_sensor = \"main\"\nat_s = 10\n\
         [[defect]]\nkind = \"interlock_open\"\nat_s = 12\n\
         [[defect]]\nkind = \"feedback_stuck_closed\"\ncontactor = \"precharge\"\nat_s = 14\n\
         [[defect]]\nkind = \"contactor_welded\"\ncontactor = \"positive\"\nat_s = 14\n\
         [[defect]]\nkind = \"service_disconnect_out\"\nat_s = 20\n"
    );
    let case = Case::parse(&text, "trouble").unwrap_or_else(|error| panic!("{error}"));
    recording::play(&Arc::new(case), |_| true).expect("the case is about this pack")
}

/// A tick that happened to have much to say, a quiet one, and many between: no line is wider than 80 columns, no picture higher than
/// 22 lines, and each names what is beside what.
fn fits<const CELLS: usize, const THERMISTORS: usize>(pack: &str) {
    let recording = Arc::new(troubled::<CELLS, THERMISTORS>(pack));
    let mut stepper = Stepper::new(Arc::clone(&recording));
    let mut highest = 0;
    let mut look = |stepper: &mut Stepper<CELLS, THERMISTORS>| {
        let stop = stepper.stop().expect("a tick was played");
        let lines = picture::of(&stop, &recording.case, "a branch with a name of its own");
        let plain: Vec<String> = lines.iter().map(picture::Line::plain).collect();
        let text = plain.join("\n");
        assert!(plain.iter().all(|line| line.chars().count() <= picture::WIDTH), "{text}");
        assert!(plain.len() <= picture::HEIGHT, "{text}");
        for name in ["tick", "duty", "cells", "temperatures", "contactors", "voltages", "current", "faults"] {
            assert!(plain.iter().any(|line| line.starts_with(name)), "{name} in\n{text}");
        }
        highest = highest.max(plain.len());
    };
    while stepper.to_next(Sought::Event, Way::On) {
        look(&mut stepper);
    }
    while stepper.stop().is_some() {
        look(&mut stepper);
        stepper.by(Way::Back, 97);
    }
    assert!(highest > 18, "there was never much to show: {highest}");
}

#[test]
fn every_picture_of_the_crane_fits_its_screen() {
    fits::<96, 16>("crane");
}

#[test]
fn every_picture_of_the_trainer_fits_its_screen() {
    fits::<16, 8>("trainer");
}
