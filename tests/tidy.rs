//! Tidiness that a machine can see: no unfinished marks, no float and no unbounded loop in the core, no file that has grown past reading.

use std::fs;
use std::path::{Path, PathBuf};

/// The folders that hold our own text.
const ROOMS: [&str; 7] = ["bms-core", "bms-sim", "examples", "tests", "benches", ".ci", ".cargo"];

/// Words that mark unfinished work, in halves so that this file does not name them.
const MARKS: [(&str, &str); 5] =
    [("TO", "DO"), ("FIX", "ME"), ("XX", "X"), ("todo", "!("), ("unimplemented", "!(")];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Every file under our rooms, and beside them, with one of these endings, in order of path, with its text.
fn texts(endings: &[&str]) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    let rooms: Vec<PathBuf> = ROOMS.iter().map(|room| root().join(room)).collect();
    assert!(rooms.iter().all(|room| room.is_dir()), "a room is missing: {rooms:?}");
    let mut folders = vec![root()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder of the repository can be read") {
            let path = entry.expect("an entry of the repository can be read").path();
            if path.is_dir() {
                // Beside our rooms lie only the repository itself and what is built.
                let ours = if folder == root() {
                    rooms.contains(&path)
                } else {
                    path.file_name().is_none_or(|name| name != "target")
                };
                if ours {
                    folders.push(path);
                }
            } else if endings.iter().any(|ending| path.to_string_lossy().ends_with(ending)) {
                let text = fs::read_to_string(&path).expect("a source file is text");
                found.push((path, text));
            }
        }
    }
    found.sort();
    assert!(found.len() > 50, "the sources were not found: only {} files", found.len());
    found
}

/// A figure of `.ci/budgets.toml`.
fn budget(key: &str) -> usize {
    let path = root().join(".ci/budgets.toml");
    let text = fs::read_to_string(path).expect("the budgets can be read");
    let line = text.lines().find_map(|line| line.strip_prefix(key)?.strip_prefix(" = "));
    line.and_then(|figure| figure.parse().ok()).unwrap_or_else(|| panic!("no budget for {key}"))
}

fn words(line: &str) -> impl Iterator<Item = &str> {
    line.split(|c: char| !c.is_alphanumeric() && c != '_')
}

#[test]
fn nothing_is_marked_as_unfinished() {
    let marks = MARKS.map(|(first, second)| format!("{first}{second}"));
    let mut found = Vec::new();
    for (path, text) in
        texts(&[".rs", ".toml", ".md", ".gitignore", "/run", "/panic_paths", "/other_readers"])
    {
        for (number, line) in (1..).zip(text.lines()) {
            if marks.iter().any(|mark| line.contains(mark.as_str())) {
                found.push(format!("{}:{number}: {line}", path.display()));
            }
        }
    }
    assert!(found.is_empty(), "unfinished:\n{}", found.join("\n"));
}

#[test]
fn no_number_of_the_core_is_a_float() {
    let core = root().join("bms-core/src");
    let mut found = Vec::new();
    for (path, text) in texts(&[".rs"]).into_iter().filter(|(path, _)| path.starts_with(&core)) {
        for (number, line) in (1..).zip(text.lines()) {
            if words(line).any(|word| matches!(word, "f32" | "f64")) {
                found.push(format!("{}:{number}: {line}", path.display()));
            }
        }
    }
    assert!(found.is_empty(), "float in the core:\n{}", found.join("\n"));
}

/// Where the core may go round without a bound that is seen at once: tables that are worked out while compiling.
const WORKED_OUT_WHILE_COMPILING: [&str; 2] = ["bms-core/src/estimate/ocv.rs", "bms-core/src/sense/curve.rs"];

/// The code of a file before its tests, without comments and texts; no text of the core has a quote in it.
fn code(text: &str) -> impl Iterator<Item = (usize, String)> {
    let lines = text.lines().take_while(|line| *line != "mod tests {");
    (1..).zip(lines.map(|line| line.split("//").next().unwrap_or_default().split('"').step_by(2).collect()))
}

/// What a tick does must have an end that is known beforehand: a `for` over something that has one.
#[test]
fn no_loop_of_the_core_is_unbounded() {
    let core = root().join("bms-core/src");
    let mut found = Vec::new();
    let mut compiled = std::collections::BTreeSet::new();
    for (path, text) in texts(&[".rs"]).into_iter().filter(|(path, _)| path.starts_with(&core)) {
        let inner = path.strip_prefix(root()).expect("it lies there").to_string_lossy().into_owned();
        if inner.contains("/tests/") || inner.ends_with("/tests.rs") {
            continue;
        }
        let mut runs_while_compiling = false;
        for (number, line) in code(&text) {
            if words(&line).any(|word| word == "fn") {
                runs_while_compiling = line.contains("const fn ");
            }
            if words(&line).any(|word| matches!(word, "loop" | "while" | "cycle" | "repeat" | "successors")) {
                if runs_while_compiling && WORKED_OUT_WHILE_COMPILING.contains(&inner.as_str()) {
                    compiled.insert(inner.clone());
                } else {
                    found.push(format!("{inner}:{number}: {line}"));
                }
            }
        }
    }
    assert!(found.is_empty(), "loops without a bound:\n{}", found.join("\n"));
    assert_eq!(compiled.len(), WORKED_OUT_WHILE_COMPILING.len(), "an exception that is none: {compiled:?}");
}

/// Files that have grown too long usually hold two thoughts. How many there are may fall, not rise.
#[test]
fn few_files_are_too_long() {
    let most = budget("longest_file_lines");
    let long: Vec<String> = texts(&[".rs"])
        .into_iter()
        .map(|(path, text)| (path, text.lines().count()))
        .filter(|(_, lines)| *lines > most)
        .map(|(path, lines)| format!("{}: {lines} lines", path.display()))
        .collect();
    let allowed = budget("files_too_long");
    assert!(long.len() <= allowed, "{allowed} allowed, found:\n{}", long.join("\n"));
}
