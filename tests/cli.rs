//! The program as its users meet it: the real binary, its exit codes, and what goes to stdout and to stderr.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;

/// Two seconds of a pack in which nothing happens.
const STILL: &str = r#"schema = 1
title = "Nothing happens"
story = "The trainer stands."
pack = "trainer"
seed = 1
duration_s = 2
[start]
charge_percent = 60
celsius = 18
"#;

/// A thermistor wire breaks, which must be Confirmed.
const WIRE: &str = r#"schema = 1
title = "A wire breaks"
story = "Nothing but a reading is lost."
pack = "trainer"
seed = 1
duration_s = 3
[start]
charge_percent = 60
celsius = 18
[[defect]]
kind = "thermistor_open"
thermistor = 3
at_s = 1
[expect]
faults = ["thermistor_open"]
"#;

/// A folder with the cases in it.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let unmet = STILL.to_owned() + "[expect]\nfaults = [\"thermistor_open\"]\n";
    let endless = STILL.replace("duration_s = 2", "duration_s = 1000000");
    for (name, text) in [
        ("still.toml", STILL),
        ("wire.toml", WIRE),
        ("unmet.toml", &unmet),
        ("endless.toml", &endless),
        ("bad.toml", &STILL.replace("= 60", "= 160")),
    ] {
        std::fs::write(folder.path().join(name), text).expect("a case can be written");
    }
    folder
}

/// How a call ended.
struct Ran {
    code: Option<i32>,
    out: String,
    err: String,
}

fn command(folder: &Path, line: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bms-sim"));
    command.args(line.split_whitespace()).current_dir(folder);
    for wish in ["NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE"] {
        command.env_remove(wish);
    }
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn ended(command: &mut Command) -> Ran {
    let output = command.output().expect("the program starts");
    let text = |bytes| String::from_utf8(bytes).expect("the program writes UTF-8");
    Ran { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
}

/// Calls the program in a folder with the cases.
fn call(line: &str) -> Ran {
    ended(&mut command(folder().path(), line))
}

/// A call that goes wrong: nothing on stdout, one error on stderr, and its code.
fn mistake(line: &str) -> (Option<i32>, String) {
    let ran = call(line);
    assert_eq!(ran.out, "", "{line}");
    let error = ran.err.strip_prefix("error: ").unwrap_or_else(|| panic!("{line}: {}", ran.err));
    (ran.code, error.trim_end().to_owned())
}

#[test]
fn what_is_as_expected_ends_with_0_and_leaves_stderr_empty() {
    let ran = call("run wire.toml");
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    assert!(ran.out.starts_with("A wire breaks\n"), "{}", ran.out);
    assert!(ran.out.contains("Cautions: "), "{}", ran.out);
    let quiet = call("run -q wire.toml");
    assert_eq!((quiet.code, quiet.out.as_str(), quiet.err.as_str()), (Some(0), "", ""));
}

/// Nothing but the document on stdout, nothing at all on stderr; what is not as expected is in the document too.
#[test]
fn json_is_one_document_and_nothing_else() {
    for (line, code, met) in [
        ("run wire.toml --json", 0, serde_json::json!(true)),
        ("run unmet.toml --json", 1, serde_json::json!(false)),
        ("run still.toml --json", 0, serde_json::json!(null)),
    ] {
        let ran = call(line);
        assert_eq!((ran.code, ran.err.as_str()), (Some(code), ""), "{line}");
        let document: serde_json::Value = serde_json::from_str(&ran.out).expect("one JSON document");
        assert_eq!(document["expectations"]["met"], met, "{line}");
        assert_eq!(document["interrupted"], false);
        for key in ["events", "confirmed", "nearest", "defects", "hazard", "cautions"] {
            assert!(document.get(key).is_some(), "{line}: {key}");
        }
    }
}

fn json(line: &str) -> serde_json::Value {
    let ran = call(line);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{line}");
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{line}: {error}"))
}

/// The name and version of the program, as everything names it that it writes.
const GENERATOR: &str = concat!("bms-sim ", env!("CARGO_PKG_VERSION"));

#[test]
fn every_verb_has_a_document() {
    let mut why = json("why -q wire.toml --json");
    let distances = why.as_object_mut().and_then(|why| why.remove("distances"));
    assert_eq!(why, json("run wire.toml --json"));
    // The wire breaks at 1 s and the story ends at 3 s: a dwell in between flips it.
    let dwell = &distances.expect("why has distances")[0]["numbers"][0];
    assert_eq!(dwell["number"], "limits.thermistor_open.dwell_ms");
    let [same, other] = ["same", "other"].map(|side| dwell[side]["value"].as_f64().expect("a dwell"));
    assert!(1_900.0 < same && same < other && other <= 2_000.0, "{dwell}");
    for line in
        ["check wire.toml --json", "list faults --json", "list defects --json", "why -q wire.toml --json"]
    {
        let document = json(line);
        assert_eq!((&document["schema"], &document["generator"]), (&1.into(), &GENERATOR.into()), "{line}");
    }
    let checked = json("check wire.toml --json");
    assert_eq!((&checked["accepted"], &checked["case"]["seed"]), (&true.into(), &1.into()));
    let faults = json("list faults --json");
    let open =
        faults["faults"].as_array().and_then(|list| list.iter().find(|one| one["key"] == "thermistor_open"));
    // Its line in `bms-core/src/fault/list.rs`.
    let open = open.expect("the fault is in the list");
    assert_eq!((&open["dwell_seconds"], &open["reaction"]), (&0.2.into(), &"Report".into()));
    assert_eq!((&open["release_dwell_seconds"], &open["clearing"]), (&1.0.into(), &"at the panel".into()));
}

/// What the list says of a defect is enough to write it: the keys with the names and the bounds printed make a case that is accepted,
/// beyond them none.
#[test]
fn a_defect_can_be_written_from_the_list() {
    let list = json("list defects --json");
    let defects = list["defects"].as_array().expect("a list");
    assert!(defects.len() > 30);
    let parsed =
        |lines: &str| bms_sim::case::Case::parse(&format!("{STILL}[[defect]]\n{lines}"), "listed.toml");
    let text = call("list defects").out;
    for defect in defects {
        let mut lines = format!("kind = {}\n", defect["kind"]);
        if let Some(key) = defect["place"]["key"].as_str() {
            let first = defect["place"]["names"].get(0).map_or("1".to_owned(), ToString::to_string);
            assert!(text.contains(&format!("takes {key} = ")), "{key}");
            lines += &format!("{key} = {first}\n");
        }
        if let Some(key) = defect["severity"]["key"].as_str() {
            for bound in ["least", "most", "usual"] {
                let written = format!("{lines}{key} = {}\n", defect["severity"][bound]);
                assert!(parsed(&written).is_ok(), "{written}");
            }
            let most = defect["severity"]["most"].as_f64().expect("a number");
            assert!(parsed(&format!("{lines}{key} = {}\n", most * 1.01)).is_err(), "{lines}");
            let (least, usual) = (&defect["severity"]["least"], &defect["severity"]["usual"]);
            let (least, usual) = (least.as_f64().expect("a number"), usual.as_f64().expect("a number"));
            assert!(text.contains(&format!("{key} = {least} to {most}, usually {usual}")), "{key}");
        }
        assert_eq!(parsed(&format!("{lines}ramp_s = 1\n")).is_ok(), defect["grows"] == true, "{lines}");
        let spells = parsed(&format!("{lines}intermittent_period_s = 1\nintermittent_duty = 0.5\n"));
        assert_eq!(spells.is_ok(), defect["comes_and_goes"] == true, "{lines}");
    }
    assert!(
        text.contains("takes current_sensor = \"main\" or \"check\"; amps = -200 to 200, usually 5\n"),
        "{text}"
    );
}

/// What was played can be played again: program, seed, case and decisions stand in every account.
#[test]
fn an_account_names_program_seed_and_digests() {
    let last = |line: &str| {
        let ran = call(line);
        let played = ran.out.lines().find(|line| line.starts_with(GENERATOR)).map(str::to_owned);
        played.unwrap_or_else(|| panic!("{line}: {}", ran.out))
    };
    let (told, explained) = (last("run wire.toml"), last("why wire.toml"));
    assert_eq!(told, explained);
    assert!(told.contains(" seed 1, case ") && told.contains(", decisions "), "{told}");
    let other = last("why wire.toml --seed 5");
    assert!(other.contains(" seed 5, case ") && other == last("run wire.toml --seed 5"), "{other}");
}

/// A recording is of a case, wherever its file lies.
#[test]
fn a_recording_does_not_depend_on_the_path() {
    let folder = folder();
    let home = folder.path().join("far/away");
    std::fs::create_dir_all(&home).expect("a folder can be made");
    std::fs::copy(folder.path().join("wire.toml"), home.join("wire.toml")).expect("a case can be copied");
    for line in ["run -q ./wire.toml --record near.mcap", "run -q far/away/wire.toml --record far.mcap"] {
        assert_eq!(ended(&mut command(folder.path(), line)).code, Some(0), "{line}");
    }
    let bytes = |name: &str| std::fs::read(folder.path().join(name)).expect("it was recorded");
    assert!(bytes("near.mcap") == bytes("far.mcap"));
    let named = |line: &str| {
        let ran = ended(&mut command(folder.path(), line));
        serde_json::from_str::<serde_json::Value>(&ran.out).expect("a document")["case"]["name"].clone()
    };
    assert_eq!(named("check far/away/wire.toml --json"), "wire.toml");
    let ran = ended(&mut command(folder.path(), "check far/away/wire.toml"));
    assert_eq!(ran.out, "far/away/wire.toml: accepted: A wire breaks\n");
}

#[test]
fn what_is_not_as_expected_ends_with_1_and_says_so() {
    let ran = call("run -q unmet.toml");
    assert_eq!((ran.code, ran.err.as_str()), (Some(1), ""));
    assert_eq!(ran.out, "NOT AS EXPECTED: thermistor open was not Confirmed\n");
}

#[test]
fn a_bad_case_ends_with_2_and_an_excerpt() {
    let (code, error) = mistake("run bad.toml");
    assert_eq!(code, Some(2));
    assert!(
        error.starts_with("start.charge_percent = 160: accepted is a number from 0 to 100 %\n"),
        "{error}"
    );
    assert!(error.contains("--> bad.toml:8"), "{error}");
}

#[test]
fn a_file_that_is_not_there_ends_with_3_and_the_path_as_typed() {
    let (code, error) = mistake("run ./stil.toml");
    assert_eq!(code, Some(3));
    assert!(error.starts_with("./stil.toml: "), "{error}");
    assert!(error.ends_with("; did you mean ./still.toml?"), "{error}");
    let (code, error) = mistake("check zebra/crossing.toml");
    assert!(code == Some(3) && error.starts_with("zebra/crossing.toml: "), "{error}");
    assert!(!error.contains("did you mean"), "{error}");
    let (_, error) = mistake("run qqq.toml");
    assert!(!error.contains("did you mean"), "{error}");
}

#[test]
fn an_option_is_answered_with_place_value_and_what_is_accepted() {
    let accepted = "accepted is a whole number from 0 to 9223372036854775807";
    for seed in ["x", "-1", "1.5"] {
        let (code, error) = mistake(&format!("run still.toml --seed {seed}"));
        assert_eq!((code, error), (Some(2), format!("--seed = {seed}: {accepted}")));
    }
    assert_eq!(
        mistake("list fults"),
        (Some(2), "OF = fults: not known here; did you mean faults?".to_owned())
    );
    assert_eq!(
        mistake("list qqq"),
        (Some(2), "OF = qqq: not known here; accepted are faults, defects, repairs, words".to_owned())
    );
}

#[test]
fn an_unknown_fault_is_met_with_the_nearest_one_if_any_is_near() {
    assert_eq!(
        mistake("why still.toml thermistor_opn"),
        (Some(2), "FAULT = thermistor_opn: not known here; did you mean thermistor_open?".to_owned())
    );
    assert_eq!(
        mistake("why still.toml zzzz"),
        (Some(2), "FAULT = zzzz: not known here; accepted is a key that `list faults` prints".to_owned())
    );
}

/// Two faults: what separates them, as text and as a document, and what is accepted as the other one.
#[test]
fn why_this_and_not_that() {
    let told = call("why -q wire.toml thermistor_open --not thermistor_shorted");
    assert_eq!((told.code, told.err.as_str()), (Some(0), ""));
    assert!(told.out.contains("Why thermistor open and not thermistor shorted?\n"), "{}", told.out);
    assert!(told.out.contains("\nWhat separates them, first at 1."), "{}", told.out);
    let document = json("why wire.toml thermistor_open --not thermistor_shorted --json");
    assert_eq!(document["apart"][0]["looks"][1]["values"]["fault"], "thermistor_shorted");
    let against = json("why wire.toml --against thermistor_open@4 --json");
    assert_eq!(against["confirmed_here"], serde_json::json!(["thermistor_open"]));
    let refused = |other: &str| mistake(&format!("why wire.toml thermistor_open --not {other}"));
    assert_eq!(
        refused("thermistor_shortd"),
        (Some(2), "--not = thermistor_shortd: not known here; did you mean thermistor_shorted?".to_owned())
    );
    assert_eq!(
        refused("xyz"),
        (Some(2), "--not = xyz: not known here; accepted is a key that `list faults` prints".to_owned())
    );
    assert_eq!(
        refused("thermistor_open"),
        (
            Some(2),
            "--not = thermistor_open: accepted is another fault than the one that is asked about".to_owned()
        )
    );
    assert_eq!(call("why wire.toml --not thermistor_open").code, Some(2));
}

/// Each word with what it means, as text and as a document.
#[test]
fn the_words_are_listed_with_what_they_mean() {
    let listed = call("list words");
    assert!(listed.out.contains("\ndwell\n    How long a limit"), "{}", listed.out);
    let document = json("list words --json");
    let words = document["words"].as_array().expect("a list");
    assert!(words.iter().any(|word| word["word"] == "dwell" && word["means"].is_string()));
}

#[test]
fn help_and_version_are_results() {
    for line in ["--help", "--version", "run --help"] {
        let ran = call(line);
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{line}");
        assert!(!ran.out.is_empty(), "{line}");
    }
    let ran = call("frobnicate");
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""));
}

#[test]
fn without_arguments_a_case_is_played_and_the_way_on_is_shown() {
    let ran = call("");
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.out.contains("\nTry next:\n") && ran.out.contains("Cautions: "), "{}", ran.out);
}

#[test]
fn the_lists_are_printed() {
    let faults = call("list faults");
    assert!(faults.code == Some(0) && faults.out.contains("\nthermistor_open "), "{}", faults.out);
    // Each with its limit, dwell and reaction, what it means, and how it ends.
    for fault in bms_core::Fault::ALL {
        let mut lines = faults.out.lines().skip_while(|line| !line.starts_with(&format!("{} ", fault.key())));
        let [first, meaning, ends] = [(); 3].map(|()| lines.next().unwrap_or_default());
        assert!(
            ["Report", "Derate", "OpenSoon", "OpenNow"].iter().any(|word| first.ends_with(word)),
            "{first}"
        );
        assert!(
            meaning.contains(fault.meaning()) && ends.contains("gone ") && ends.contains("cleared "),
            "{ends}"
        );
    }
    let defects = call("list defects");
    assert!(defects.code == Some(0) && defects.out.contains("\nadded_resistance "), "{}", defects.out);
}

#[test]
fn check_says_what_was_accepted() {
    let ran = call("check still.toml");
    assert_eq!((ran.code, ran.out.as_str()), (Some(0), "still.toml: accepted: Nothing happens\n"));
}

#[test]
fn a_case_can_come_from_standard_input() {
    let typed = |line: &str, text: &str| {
        let folder = folder();
        let mut child =
            command(folder.path(), line).stdin(Stdio::piped()).spawn().expect("the program starts");
        let mut stdin = child.stdin.take().expect("its input is a pipe");
        stdin.write_all(text.as_bytes()).expect("it reads its input");
        drop(stdin);
        let output = child.wait_with_output().expect("it ends");
        let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
        Ran { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
    };
    let ran = typed("check -", STILL);
    assert_eq!((ran.code, ran.out.as_str()), (Some(0), "stdin: accepted: Nothing happens\n"));
    let ran = typed("run -", WIRE);
    assert!(ran.code == Some(0) && ran.out.starts_with("A wire breaks\n"), "{}", ran.err);
    let ran = typed("why -", WIRE);
    assert!(ran.code == Some(0) && ran.out.contains("Why thermistor open?"), "{}", ran.err);
    let ran = typed("run -", "schema = 1");
    assert!(ran.code == Some(2) && ran.err.contains("stdin:1"), "{}", ran.err);
}

/// No escape sequence where nobody could see it; a few where a terminal is claimed; none where they are unwanted.
#[test]
fn colours_are_for_terminals_that_want_them() {
    let folder = folder();
    let ran = |line: &str, wishes: &[(&str, &str)]| {
        let ran = ended(command(folder.path(), line).envs(wishes.iter().copied()));
        (ran.out, ran.err)
    };
    let coloured = |text: &str| text.contains('\u{1b}');
    for line in ["run unmet.toml", "why wire.toml", "run bad.toml", "run nowhere.toml", "list qqq"] {
        let (out, err) = ran(line, &[]);
        assert!(!coloured(&out) && !coloured(&err), "{line}");
        let (bold, bold_err) = ran(line, &[("CLICOLOR_FORCE", "1")]);
        assert!(coloured(&bold) || coloured(&bold_err), "{line}");
        let unwanted = ran(line, &[("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")]);
        assert_eq!(unwanted, (out, err), "{line}");
        assert_eq!(ran(&format!("{line} --no-color"), &[("CLICOLOR_FORCE", "1")]), unwanted, "{line}");
    }
}

#[test]
fn a_recording_is_explained_and_not_played() {
    let folder = folder();
    let run = |line: &str| ended(&mut command(folder.path(), line));
    let ran = run("run -q wire.toml --record it.mcap");
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    assert!(!folder.path().join("it.mcap.part").exists());
    let (recorded, case) = (run("why it.mcap"), run("why wire.toml"));
    assert_eq!((recorded.code, recorded.out), (Some(0), case.out));
    let ran = run("why it.mcap --seed 2");
    assert_eq!(ran.code, Some(2));
    assert_eq!(ran.err, "error: --seed = 2: not accepted with the recording it.mcap, whose seed is 1\n");
    for verb in ["run", "check"] {
        let ran = run(&format!("{verb} it.mcap"));
        assert_eq!(ran.code, Some(2));
        assert_eq!(ran.err, "error: it.mcap: this is a recording, not a case: use `why it.mcap`\n");
    }
}

/// The endless case would be played for minutes: that it ends at once shows that the file is looked at first.
#[test]
fn an_existing_recording_is_refused_before_anything_is_played() {
    let folder = folder();
    std::fs::write(folder.path().join("mine.mcap"), "dear diary").expect("a file can be written");
    let ran = ended(&mut command(folder.path(), "run endless.toml --record mine.mcap"));
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""));
    let error = "error: mine.mcap: exists already; accepted is a new name, or --force to write over it\n";
    assert_eq!(ran.err, error);
    let ran = ended(&mut command(folder.path(), "run endless.toml --record nowhere/mine.mcap"));
    assert!(ran.code == Some(3) && ran.err.starts_with("error: nowhere/mine.mcap: "), "{}", ran.err);
    let ran = ended(&mut command(folder.path(), "run -q still.toml --record mine.mcap --force"));
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    assert_eq!(ended(&mut command(folder.path(), "why mine.mcap")).code, Some(0));
}

#[test]
fn a_report_is_written_over_nothing_unless_asked_for() {
    let folder = folder();
    let path = folder.path().join("mine.html");
    std::fs::write(&path, "dear diary").expect("a file can be written");
    let ran = ended(&mut command(folder.path(), "report endless.toml --to mine.html"));
    let error = "error: mine.html: exists already; accepted is a new name, or --force to write over it\n";
    assert_eq!((ran.code, ran.err.as_str()), (Some(2), error));
    let ran = ended(&mut command(folder.path(), "report still.toml --to mine.html --force"));
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), "written to mine.html\n"));
    assert!(std::fs::read_to_string(&path).expect("it is there").starts_with("<!DOCTYPE html>"));
}

/// Starts a call that would take minutes and waits until it says how far it is.
fn begun(folder: &Path, line: &str) -> (Child, BufReader<std::process::ChildStderr>) {
    let mut child = command(folder, line).spawn().expect("the program starts");
    let mut stderr = BufReader::new(child.stderr.take().expect("its stderr is a pipe"));
    let mut line = String::new();
    stderr.read_line(&mut line).expect("it says how far it is");
    // How far, how fast, and how much longer.
    assert!(
        line.contains(" of 1000000 s played, ") && line.contains(" a second, ") && line.ends_with(" left\n"),
        "{line}"
    );
    (child, stderr)
}

#[test]
fn why_says_how_far_it_is() {
    let folder = folder();
    let (mut child, _) = begun(folder.path(), "why endless.toml");
    child.kill().expect("it still runs");
    child.wait().expect("it ends");
}

/// A time asks about the tick; what is no time is refused with what is accepted.
#[test]
fn why_answers_for_one_tick() {
    let calm = call("why wire.toml --at 0.5");
    assert_eq!(calm.code, Some(0), "{}", calm.err);
    assert!(calm.out.contains("At 0.50 s the firmware refused nothing"), "{}", calm.out);
    let wrong = call("why wire.toml --at -3");
    assert_eq!(wrong.code, Some(2));
    assert_eq!(wrong.err, "error: --at = -3: accepted are seconds from the start, 0 or more\n");
}

/// Nothing is said for longer than the first line would take.
#[test]
fn nothing_is_said_of_progress_when_that_is_not_wanted() {
    let folder = folder();
    for line in ["run -q endless.toml", "why -q endless.toml"] {
        let mut child = command(folder.path(), line).spawn().expect("the program starts");
        std::thread::sleep(std::time::Duration::from_secs(3));
        child.kill().expect("it still runs");
        let output = child.wait_with_output().expect("it ends");
        assert_eq!((output.stdout, output.stderr), (Vec::new(), Vec::new()), "{line}");
    }
}

#[cfg(unix)]
#[test]
fn an_interrupted_run_tells_and_records_what_it_played() {
    let folder = folder();
    let (mut child, mut stderr) = begun(folder.path(), "run endless.toml --record it.mcap");
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(sent.expect("a signal can be sent").success());
    let (mut out, mut err) = (String::new(), String::new());
    child.stdout.take().expect("its stdout is a pipe").read_to_string(&mut out).expect("it tells");
    stderr.read_to_string(&mut err).expect("it complains of nothing");
    assert_eq!(child.wait().expect("it ends").code(), Some(130), "{err}");
    assert_eq!(err, "");
    assert!(out.starts_with("Nothing happens\n"), "{out}");
    assert!(out.ends_with("Interrupted: the story ends here.\n"), "{out}");
    let ran = ended(&mut command(folder.path(), "why it.mcap"));
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.out.contains("the run was interrupted there"), "{}", ran.out);
}

/// One defect under one observation: the same page whatever the threads, kept and gone on from after an interruption, and refused
/// where it would mix with something else.
#[test]
fn a_dictionary_is_kept_and_gone_on_with() {
    let folder = folder();
    let line = "dictionary --quick -q --observation start-and-stop --defect thermistor_open --defect feedback_stuck_open";
    let ran = ended(&mut command(folder.path(), &format!("{line} --threads 1")));
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    for said in [
        "| thermistor open, thermistor 3 | `thermistor_open` |",
        "### feedback contact stuck open, the positive contactor",
    ] {
        assert!(ran.out.contains(said), "{said}: {}", ran.out);
    }
    let kept = folder.path().join("dictionary.results");
    let text = std::fs::read_to_string(&kept).expect("the results are kept");
    assert_eq!(text.lines().count(), 5, "a header, a thermistor and three contactors: {text}");
    // Torn in its third piece, as by a kill.
    let torn = text.match_indices('\n').nth(2).expect("there are more lines").0 + 20;
    std::fs::write(&kept, &text[..torn]).expect("it can be written");
    let again = ended(&mut command(folder.path(), &format!("{line} --threads 3")));
    assert_eq!((again.code, again.out.as_str(), again.err.as_str()), (Some(0), ran.out.as_str(), ""));
    let other = ended(&mut command(folder.path(), &format!("{line} --seed 2")));
    let error = "error: dictionary.results:1: seed = 1: accepted is 2, as asked for; or a new name, or --force to begin anew\n";
    assert_eq!((other.code, other.out.as_str(), other.err.as_str()), (Some(2), "", error));
    std::fs::write(&kept, "my own notes\n").expect("it can be written");
    let foreign = ended(&mut command(folder.path(), line));
    assert!(
        foreign.code == Some(2) && foreign.err.contains("begins with no results of this program"),
        "{}",
        foreign.err
    );
    let csv = ended(&mut command(folder.path(), &format!("{line} --csv --force")));
    assert_eq!(csv.out.lines().count(), 5, "{}", csv.out);
    let missing = ended(&mut command(folder.path(), "dictionary --check nowhere.md"));
    assert!(missing.code == Some(3) && missing.err.starts_with("error: nowhere.md: "), "{}", missing.err);
    let (code, error) = mistake("dictionary --defect thermistor_opn");
    assert_eq!(
        (code, error.as_str()),
        (Some(2), "--defect = thermistor_opn: not known here; did you mean thermistor_open?")
    );
}

/// A few corners of what a sound pack may be: nothing is found, and what is asked for that is not there is refused.
#[test]
fn sound_packs_raise_no_alarm_in_a_few_corners() {
    let folder = folder();
    let ran = ended(&mut command(folder.path(), "false-alarms -q --every 225"));
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{}", ran.out);
    assert!(
        ran.out.starts_with("4 sound packs worked and stood for 145.3 hours.\nNo fault became Confirmed.\n"),
        "{}",
        ran.out
    );
    let again = ended(&mut command(folder.path(), "false-alarms -q --every 225 --json"));
    let document: serde_json::Value = serde_json::from_str(&again.out).expect("one JSON document");
    assert_eq!((again.code, &document["stories"]), (Some(0), &serde_json::json!(4)));
    let (code, error) = mistake("false-alarms --corner 901");
    assert_eq!((code, error.as_str()), (Some(2), "--corner = 901: accepted is 1 to 900"));
}
