//! Every kind of defect, against a twin that never has it: what it may touch at once, what it leaves when it is gone, that it comes, goes
//! and grows as it is asked to.
//!
//! The entries stand in one file a family; [`stage`] says what the pack does meanwhile, [`entry`] what is held against the twin.
//! A kind without an entry fails this test; `KIND=key` takes those whose key holds this word.

mod around;
mod cells;
mod contactors;
mod control;
mod entry;
mod sensing;
mod stage;
mod thermistors;

use bms_sim::defect::Kind;
use entry::Entry;
use std::sync::Mutex;

/// All entries, or those that `KIND` names.
fn entries() -> Vec<Entry> {
    let only = std::env::var("KIND").unwrap_or_default();
    let families = [
        cells::entries(),
        sensing::entries(),
        thermistors::entries(),
        contactors::entries(),
        around::entries(),
        control::entries(),
    ];
    families.into_iter().flatten().filter(|entry| entry.kind.key().contains(&only)).collect()
}

/// What is wrong with any of them, as sentences; as many are judged at a time as there are cores.
fn wrong_in(judge: impl Fn(&Entry) -> Vec<String> + Sync) -> Vec<String> {
    let (left, wrong) = (Mutex::new(entries()), Mutex::new(Vec::new()));
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let next = || left.lock().expect("no thread has panicked").pop();
    let work = || {
        while let Some(entry) = next() {
            let found = judge(&entry);
            wrong.lock().expect("no thread has panicked").extend(found);
        }
    };
    std::thread::scope(|scope| (0..threads).for_each(|_| drop(scope.spawn(work))));
    wrong.into_inner().expect("no thread has panicked")
}

#[test]
fn every_kind_has_its_entry() {
    let told: Vec<Kind> = entries().iter().map(|entry| entry.kind).collect();
    let untold: Vec<&Kind> = Kind::ALL.iter().filter(|kind| !told.contains(kind)).collect();
    assert!(untold.is_empty() || std::env::var_os("KIND").is_some(), "without an entry: {untold:?}");
}

#[test]
fn it_begins_at_its_onset_and_touches_only_what_it_may() {
    let wrong = wrong_in(|entry| match entry.kind {
        kind if control::holds(kind) => control::wrong_from_the_onset(entry),
        _ => entry.wrong_from_the_onset(),
    });
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn it_leaves_only_what_physics_keeps() {
    let wrong = wrong_in(Entry::wrong_in_the_end);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn cleared_before_its_onset_it_never_was() {
    let wrong = wrong_in(Entry::wrong_without_an_onset);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn it_comes_goes_and_grows() {
    let wrong = wrong_in(|entry| [entry.wrong_in_spells(), entry.wrong_in_growing()].concat());
    assert!(wrong.is_empty(), "{wrong:#?}");
}
