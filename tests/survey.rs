//! `survey` and `merge` as they are called: what is interrupted goes on, and no way of playing changes a byte of what comes out.

use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

/// The trainer: a wire of a thermistor that corrodes, from harmless to open.
const CASE: &str = r#"schema = 1
title = "A wire corrodes"
story = "Nothing but a reading is lost."
pack = "trainer"
seed = 1
duration_s = 6
start = { charge_percent = 60, celsius = 18 }
[[defect]]
kind = "thermistor_offset"
thermistor = 3
celsius = 20
at_s = 3
"#;

const SURVEY: &str = r#"schema = 1
title = "How far may a thermistor be off"
story = "A reading that is displaced jumps when it begins."
cases = ["case.toml"]
seed = 5
runs = 48
runs_a_prefix = 2
counts = ["thermistor_jump"]
hazard_within_s = 3
[[vary]]
what = "defect.1.celsius"
uniform = [1, 40]
[[vary]]
what = "start.celsius"
uniform = [0, 30]
[[sweep]]
what = "limits.thermistor_jump.trip"
values = [4, 8, 16]
"#;

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder for the test");
    std::fs::write(folder.path().join("case.toml"), CASE).expect("a case can be written");
    std::fs::write(folder.path().join("jump.toml"), SURVEY).expect("a survey can be written");
    folder
}

fn command(folder: &Path, line: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bms-sim"));
    command.args(line.split_whitespace()).current_dir(folder).env("NO_COLOR", "1").stdin(Stdio::null());
    command
}

fn call(folder: &Path, line: &str) -> Output {
    command(folder, line).output().expect("the program starts")
}

fn printed(folder: &Path, line: &str) -> String {
    let ended = call(folder, line);
    assert!(ended.status.success(), "{line}: {}", String::from_utf8_lossy(&ended.stderr));
    String::from_utf8(ended.stdout).expect("the program writes UTF-8")
}

fn bytes(folder: &Path, name: &str) -> Vec<u8> {
    std::fs::read(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// One thread or three, in one go or in parts, put together in any order: the same to the byte.
#[test]
fn threads_and_parts_change_nothing() {
    let folder = folder();
    let folder = folder.path();
    let whole = printed(folder, "survey -q jump.toml --json --threads 1");
    let threads = printed(folder, "survey -q jump.toml --json --threads 3 --results threads");
    assert_eq!(whole, threads);
    for part in 1..=3 {
        assert_eq!(
            printed(folder, &format!("survey -q jump.toml --shard {part}/3 --results part-{part}")),
            ""
        );
    }
    printed(folder, "merge part-3 part-1 --to some");
    printed(folder, "merge some part-2 part-3 --to all");
    printed(folder, "merge jump.results --to single");
    assert_eq!(bytes(folder, "all"), bytes(folder, "single"));
    assert_eq!(printed(folder, "survey -q jump.toml --json --results all"), whole);
}

/// Killed again and again, the same line goes on, and comes to the same.
#[test]
fn a_kill_loses_nothing_that_was_done() {
    let folder = folder();
    let folder = folder.path();
    let whole = printed(folder, "survey -q jump.toml --json --results whole");
    let lines = || std::fs::read_to_string(folder.join("killed")).map_or(0, |text| text.lines().count());
    let mut kills = 0;
    for wanted in [2, 6, 10, 15] {
        let mut child = command(folder, "survey -q jump.toml --json --results killed --threads 1");
        let mut child = child.stdout(Stdio::null()).spawn().expect("the program starts");
        let begun = Instant::now();
        while lines() <= wanted && child.try_wait().expect("it can be asked").is_none() {
            assert!(begun.elapsed() < Duration::from_mins(2), "it writes nothing");
            std::thread::sleep(Duration::from_millis(1));
        }
        let before = lines();
        kills += u32::from(child.try_wait().expect("it can be asked").is_none());
        child.kill().expect("it can be killed"); // SIGKILL
        child.wait().expect("it ends");
        assert!(lines() >= before.min(wanted), "done work is gone");
    }
    assert!(kills >= 2, "{kills} kills met a run");
    assert_eq!(printed(folder, "survey -q jump.toml --json --results killed"), whole);
}

/// The summary and every file beside it, and what stands in them.
#[test]
fn what_is_written_is_whole_and_agrees() {
    let folder = folder();
    let folder = folder.path();
    let page = printed(folder, "survey -q jump.toml --to out");
    for told in [
        "# How far may a thermistor be off",
        "## How well it detects",
        "## How rarely it cries wolf",
        "| 1: trip 4 ",
    ] {
        assert!(page.contains(told), "{told} in\n{page}");
    }
    let json: serde_json::Value = serde_json::from_slice(&bytes(folder, "out/summary.json")).expect("JSON");
    assert_eq!(
        (json["schema"].as_u64(), json["runs"].as_u64(), json["prefixes"].as_u64()),
        (Some(1), Some(48), Some(24))
    );
    let found: Vec<u64> =
        (0..3).filter_map(|setting| json["settings"][setting]["found"]["count"].as_u64()).collect();
    // A lower limit finds whatever a higher one does.
    assert!(found.is_sorted_by(|low, high| low >= high) && found[0] > 20 && found[2] < 40, "{found:?}");
    let table = String::from_utf8(bytes(folder, "out/settings.csv")).expect("UTF-8");
    let column = |name: &str| {
        table.lines().next().and_then(|head| head.split(',').position(|of| of == name)).expect("it is there")
    };
    let of: Vec<u64> =
        table.lines().skip(1).filter_map(|line| line.split(',').nth(column("found"))?.parse().ok()).collect();
    assert_eq!(of, found);
    assert_eq!(&bytes(folder, "out/runs.parquet")[..4], b"PAR1");
    for picture in ["out/roc.svg", "out/detection.svg", "out/delay.svg"] {
        assert!(bytes(folder, picture).starts_with(b"<svg "), "{picture}");
    }
}

/// Ended once it is known well enough, at the same run whatever was played before.
#[test]
fn it_ends_once_the_intervals_are_narrow() {
    let folder = folder();
    let folder = folder.path();
    let stop = format!("{SURVEY}[stop]\nhalf_width = 0.3\nevery = 10\n");
    std::fs::write(folder.join("stop.toml"), stop).expect("a survey can be written");
    let stopped = printed(folder, "survey -q stop.toml --json");
    let json: serde_json::Value = serde_json::from_str(&stopped).expect("JSON");
    assert_eq!(json["prefixes"].as_u64(), Some(10));
    for part in 1..=2 {
        printed(folder, &format!("survey -q stop.toml --shard {part}/2 --results part-{part}"));
    }
    printed(folder, "merge part-1 part-2 --to all");
    assert_eq!(printed(folder, "survey -q stop.toml --json --results all"), stopped);
}

#[test]
fn what_is_asked_wrongly_says_what_is_accepted() {
    let folder = folder();
    let folder = folder.path();
    for (line, code, said) in [
        (
            "survey jump.toml --shard 4/3",
            2,
            "--shard = 4/3: accepted is a part and the number of parts, as 2/5",
        ),
        ("survey none.toml", 3, "none.toml"),
        ("merge case.toml --to all", 2, "case.toml:1: begins with no results of this program"),
    ] {
        let ended = call(folder, line);
        let error = String::from_utf8_lossy(&ended.stderr).into_owned();
        assert!(ended.status.code() == Some(code) && error.contains(said), "{line}: {error}");
    }
    std::fs::write(folder.join("bad.toml"), SURVEY.replace("runs =", "run =")).expect("it can be written");
    let error = String::from_utf8_lossy(&call(folder, "survey bad.toml").stderr).into_owned();
    assert!(error.contains("run: no such key here; did you mean runs?") && error.contains("^^^"), "{error}");
}

/// A rate that nobody meets by playing: the same page on one thread in one go and on three after a file of results lost its end, and as long
/// as it is held to what is computed.
#[test]
fn rates_are_the_same_however_they_are_found_and_a_page_is_held_to_them() {
    let folder = folder();
    let folder = folder.path();
    let line = "rates -q --quick --fault cell_under_voltage --every 6";
    let page = printed(folder, &format!("{line} --threads 1 --results whole"));
    assert!(page.contains("| 1.8 mV | 3.60 |") && !page.contains("current sensors"), "{page}");
    let kept = String::from_utf8(bytes(folder, "whole")).expect("lines of text");
    assert_eq!(kept.lines().count(), 21, "a first line and twenty repeats");
    std::fs::write(folder.join("torn"), &kept[..kept.len() - kept.len() / 20]).expect("it can be written");
    assert_eq!(printed(folder, &format!("{line} --threads 3 --results torn")), page);
    let json = printed(folder, &format!("{line} --json --results whole"));
    let json: serde_json::Value = serde_json::from_str(&json).expect("one JSON document");
    let rate = &json["rates"][0];
    let [low, found, high] =
        ["low_per_hour", "per_hour", "high_per_hour"].map(|key| rate[key].as_f64().expect("a rate"));
    assert!(low < found && found < high && rate["plain"].is_null(), "{rate}");
    std::fs::write(folder.join("page.md"), &page).expect("it can be written");
    let held =
        printed(folder, "rates --quick --fault cell_under_voltage --every 6 --results whole --check page.md");
    assert_eq!(held, "page.md: holds what is computed in 1 of its lines\n");
    std::fs::write(folder.join("page.md"), page.replace("| 1.8 mV |", "| 1.9 mV |"))
        .expect("it can be written");
    let ended = call(folder, &format!("{line} --results whole --check page.md"));
    let said = String::from_utf8_lossy(&ended.stderr);
    assert_eq!(ended.status.code(), Some(1), "{said}");
    assert!(said.contains("page.md: is not what is computed; it lacks lines such as\n| 1.8 mV"), "{said}");
    let ended = call(folder, "rates --fault thermistor_open");
    let said = String::from_utf8_lossy(&ended.stderr);
    assert_eq!(ended.status.code(), Some(2), "{said}");
    assert!(said.contains("--fault = thermistor_open: accepted are cell_under_voltage, current_sensors_disagree, pack_sum_disagrees"), "{said}");
}
