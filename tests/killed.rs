//! `run --record` killed at random moments, as by a loss of power to the process: what the file held at that moment is a prefix of the
//! file of the same run that nobody killed, and everything up to its last whole block can be had from it.
//!
//! What is a whole block is asked of the public reader of the format, not of ours.

use bms_sim::recording::file;
use mcap::records::op;
use mcap::sans_io::linear_reader::{LinearReadEvent, LinearReader, LinearReaderOptions};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// A minute and a half of work on the small pack, with something to tell.
const CASE: &str = r#"schema = 1
title = "A wire breaks under load"
story = "Nothing but a reading is lost."
pack = "trainer"
seed = 7
duration_s = 90
[start]
charge_percent = 60
celsius = 18
[[duty]]
do = "travel"
for_s = 60
[[act]]
at_s = 1
ask = "close"
[[defect]]
kind = "thermistor_open"
thermistor = 3
at_s = 20
"#;

/// Kills that must have met a run.
const KILLS: usize = 12;

/// Calls the program and waits until it has ended.
fn call(folder: &Path, line: &str) -> std::process::Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bms-sim"));
    command.args(line.split_whitespace()).current_dir(folder).env("NO_COLOR", "1").stdin(Stdio::null());
    command.output().expect("the program starts")
}

/// Ticks that the last `/decisions` message in whole blocks vouches for, as the public reader finds it; nothing when there is none.
fn vouched(bytes: &[u8]) -> Option<u64> {
    let options = LinearReaderOptions::default().with_skip_end_magic(true).with_validate_chunk_crcs(true);
    let mut reader = LinearReader::new_with_options(options);
    let (mut left, mut found) = (bytes, None);
    while let Some(event) = reader.next_event() {
        match event {
            Ok(LinearReadEvent::ReadRequest(wanted)) => {
                let (given, rest) = left.split_at(wanted.min(left.len()));
                reader.insert(given.len()).copy_from_slice(given);
                reader.notify_read(given.len());
                left = rest;
            }
            Ok(LinearReadEvent::Record { opcode: op::MESSAGE, data }) => {
                // Before the message stand channel, sequence and two times.
                let message: serde_json::Value = serde_json::from_slice(&data[22..]).expect("a JSON message");
                found = message["ticks"].as_u64().or(found);
            }
            Ok(LinearReadEvent::Record { .. }) => {}
            Err(_) => break, // the record that the kill cut
        }
    }
    found
}

/// Pseudorandom numbers between 0 and 1, from a fixed seed: Marsaglia's xorshift (J. Stat. Softw. 8 (14), 2003) with his triple 13, 7, 17.
struct Dice(u64);

impl Dice {
    fn share(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        f64::from(u32::try_from(self.0 >> 32).unwrap_or_default()) / f64::from(u32::MAX)
    }
}

/// Starts a run and kills it once its file has so many bytes and this time has passed. What the file holds then; nothing when the run was
/// over before.
fn killed(folder: &Path, bytes: u64, after: Duration) -> Option<Vec<u8>> {
    let part = folder.join("killed.mcap.part");
    let _of_the_last_one = std::fs::remove_file(&part);
    let mut command = Command::new(env!("CARGO_BIN_EXE_bms-sim"));
    command.args(["run", "-q", "case.toml", "--record", "killed.mcap", "--force"]).current_dir(folder);
    command.stdin(Stdio::null()).stdout(Stdio::null());
    let mut child = command.spawn().expect("the program starts");
    let begun = Instant::now();
    while child.try_wait().expect("it can be asked").is_none() {
        let grown = std::fs::metadata(&part).is_ok_and(|part| part.len() >= bytes);
        if grown {
            std::thread::sleep(after);
            break;
        }
        assert!(begun.elapsed() < Duration::from_mins(2), "it writes nothing");
        std::thread::sleep(Duration::from_micros(200));
    }
    child.kill().expect("it can be killed"); // SIGKILL
    child.wait().expect("it ends");
    let held = std::fs::read(&part).ok();
    let _whole = std::fs::remove_file(folder.join("killed.mcap"));
    held
}

#[test]
fn a_run_killed_at_any_moment_loses_nothing_before_its_last_block() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let folder = folder.path();
    std::fs::write(folder.join("case.toml"), CASE).expect("a case can be written");
    let whole = call(folder, "run -q case.toml --record whole.mcap");
    assert!(whole.status.success(), "{whole:?}");
    let whole = std::fs::read(folder.join("whole.mcap")).expect("it is there");
    let summary = mcap::Summary::read(&whole).expect("the whole file has an index").expect("and chunks");
    let ends = summary.chunk_indexes.iter().map(|chunk| chunk.chunk_start_offset + chunk.chunk_length);
    let first_block = ends.min().expect("there are blocks");
    let mut dice = Dice(0x5eed);
    let (mut met, mut cut) = (0, 0);
    for _ in 0..6 * KILLS {
        let length = u64::try_from(whole.len()).expect("a length");
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            clippy::cast_precision_loss,
            reason = "a share of it"
        )]
        let bytes = (length as f64 * 0.9 * dice.share()) as u64;
        let after = Duration::from_secs_f64(2e-3 * dice.share());
        let Some(held) = killed(folder, bytes, after) else { continue };
        met += 1;
        assert!(whole.starts_with(&held), "{} bytes are no beginning of the whole file", held.len());
        assert!(held.len() as u64 >= bytes);
        let part = folder.join("killed.mcap.part");
        match (vouched(&held), file::case_of(&part)) {
            (Some(ticks), Ok(kept)) => {
                assert_eq!(kept.ticks, ticks, "{} bytes", held.len());
                cut += u32::from(!kept.complete);
            }
            // Killed before the first block was whole, which says of which case it is.
            (None, Err(error)) => {
                assert!((held.len() as u64) < first_block, "{error} in {} bytes", held.len());
            }
            (ticks, kept) => panic!("{ticks:?} ticks vouched for, but {kept:?}"),
        }
        if met == KILLS {
            break;
        }
    }
    assert!(met >= 10 && cut >= 5, "{met} kills met a run, {cut} of them after its first block");
}

/// Killed at half-time, or as it began: then the file is there, and empty or with the beginning of its first block.
#[test]
fn what_a_kill_left_is_said_to_be_so() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let folder = folder.path();
    std::fs::write(folder.join("case.toml"), CASE).expect("a case can be written");
    assert!(call(folder, "run -q case.toml --record whole.mcap").status.success());
    let whole = std::fs::read(folder.join("whole.mcap")).expect("it is there");
    for length in [0, 3, 8, 500] {
        std::fs::write(folder.join("it.mcap.part"), &whole[..length]).expect("it can be written");
        for verb in ["why", "step", "report", "export --to it.csv"] {
            let ended = call(folder, &format!("{verb} it.mcap.part"));
            let error = "error: it.mcap.part: was cut short before anything of its run was whole; accepted is an MCAP file as \
written by run --record\n";
            assert_eq!(ended.status.code(), Some(2), "{verb} of {length} bytes");
            assert_eq!(
                (ended.stdout.as_slice(), ended.stderr.as_slice()),
                (&[][..], error.as_bytes()),
                "{verb}"
            );
        }
    }
    std::fs::write(folder.join("it.mcap.part"), &whole[..whole.len() / 2]).expect("it can be written");
    let said = |line: &str| {
        let ended = call(folder, line);
        let text = |bytes| String::from_utf8(bytes).expect("the program writes UTF-8");
        (ended.status.code(), text(ended.stdout), text(ended.stderr))
    };
    let (code, out, err) = said("why -q it.mcap.part");
    assert_eq!((code, err.as_str()), (Some(0), ""));
    assert!(out.contains("The recording goes to ") && out.contains("cut short there"), "{out}");
    let (code, _, err) = said("why it.mcap");
    assert!(code == Some(3) && err.ends_with("; did you mean it.mcap.part?\n"), "{err}");
    let (code, _, err) = said("run case.toml --record it.mcap");
    assert!(code == Some(2) && err.contains("it.mcap.part exists already"), "{err}");
}
