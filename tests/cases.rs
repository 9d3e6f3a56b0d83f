//! Every case that is shipped meets its own `[expect]`: what it says and nothing else becomes Confirmed.

use bms_sim::case::{Case, Pack};
use bms_sim::explain::{Account, picture, story};
use bms_sim::recording::{self, Recording};
use std::path::{Path, PathBuf};
use std::sync::Arc;

fn shipped() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/cases");
    let entries = std::fs::read_dir(folder).expect("the cases are there");
    let mut files: Vec<_> = entries.map(|entry| entry.expect("an entry can be read").path()).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "toml"));
    files.sort();
    files
}

fn play<const CELLS: usize, const THERMISTORS: usize>(case: Case) -> Vec<String> {
    let recording = recording::play::<CELLS, THERMISTORS>(&Arc::new(case), |_| true);
    let recording = recording.expect("the pack is the one of the case");
    let account = Account::of(&recording).expect("the pack is the one of the case");
    let recording = Arc::new(recording);
    let mut unmet = story::unmet(&recording, &account);
    unmet.extend(too_large(&recording));
    unmet
}

/// The pictures of a case that do not fit a terminal of 80 columns and 24 lines with a line to type in and one before it, of at most
/// forty ticks in which something happened and ten others.
fn too_large<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Arc<Recording<CELLS, THERMISTORS>>,
) -> Vec<String> {
    let mut happened: Vec<u64> = recording.events.iter().map(|event| event.tick).collect();
    happened.dedup();
    let happened = happened.iter().copied().step_by(happened.len().div_ceil(40).max(1));
    let between = (0..10).map(|tenth| recording.ticks / 10 * tenth);
    let pictures = happened.chain(between).map(|tick| {
        let lines = picture::of(&recording.stop(tick), &recording.case, "a branch with quite a long name");
        lines.iter().map(picture::Line::plain).collect::<Vec<String>>()
    });
    let fits = |lines: &Vec<String>| lines.len() <= 22 && lines.iter().all(|line| line.chars().count() <= 80);
    pictures
        .filter(|lines| !fits(lines))
        .map(|lines| format!("does not fit:\n{}", lines.join("\n")))
        .collect()
}

#[test]
fn every_shipped_case_meets_its_expectation() {
    let files = shipped();
    assert!(files.len() >= 9, "only {} cases were found", files.len());
    let unmet: Vec<String> = std::thread::scope(|scope| {
        let played: Vec<_> = files
            .iter()
            .map(|file| {
                scope.spawn(move || {
                    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
                    let case = Case::read(file).unwrap_or_else(|error| panic!("{error}"));
                    assert!(case.expect.is_some(), "{name} expects nothing");
                    let unmet = match case.pack {
                        Pack::Crane => play::<96, 16>(case),
                        Pack::Trainer => play::<16, 8>(case),
                    };
                    unmet.into_iter().map(|sentence| format!("{name}: {sentence}")).collect::<Vec<_>>()
                })
            })
            .collect();
        played.into_iter().flat_map(|thread| thread.join().expect("the case runs")).collect()
    });
    assert!(unmet.is_empty(), "{unmet:#?}");
}
