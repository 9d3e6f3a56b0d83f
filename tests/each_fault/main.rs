//! Every fault of the list, through the whole loop: a defect raises it, what comes nearest to that does not, a clear is refused while it
//! is there, and once it is mended the fault ends and can be cleared. A fault without its story fails this test.
//!
//! The stories stand in one file a family; [`story`] says how they are told and judged. `STORY=key` plays those whose key holds this word.

mod alike;
mod around;
mod cells;
mod contactors;
mod control;
mod currents;
mod insulation;
mod loads;
mod play;
mod precharge;
mod resistance;
mod rest;
mod story;
mod temperatures;
mod thermistors;
mod wires;

use bms_core::Fault;
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicUsize, Ordering};
use story::Story;

/// All stories, or those that `STORY` names.
fn stories() -> Vec<Story> {
    let only = std::env::var("STORY").unwrap_or_default();
    let families = [
        cells::stories(),
        wires::stories(),
        resistance::stories(),
        rest::stories(),
        temperatures::stories(),
        thermistors::stories(),
        currents::stories(),
        loads::stories(),
        insulation::stories(),
        precharge::stories(),
        contactors::stories(),
        contactors::link(),
        contactors::worn(),
        control::stories(),
        around::stories(),
    ];
    families.into_iter().flatten().filter(|story| story.fault.key().contains(&only)).collect()
}

/// Judges each of them, as many at a time as there are cores; what is wrong, as sentences.
fn wrong_in<T: Sync>(all: &[T], judge: impl Fn(&T) -> Vec<String> + Sync) -> Vec<String> {
    let next = AtomicUsize::new(0);
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let work = || {
        let mut wrong = Vec::new();
        while let Some(one) = all.get(next.fetch_add(1, Ordering::Relaxed)) {
            wrong.extend(judge(one));
        }
        wrong
    };
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        workers.into_iter().flat_map(|worker| worker.join().expect("a story is played")).collect()
    })
}

#[test]
fn every_fault_has_its_story() {
    let told: Vec<Fault> = stories().iter().map(|story| story.fault).collect();
    let untold: Vec<Fault> = Fault::ALL.into_iter().filter(|fault| !told.contains(fault)).collect();
    assert!(untold.is_empty() || std::env::var_os("STORY").is_some(), "without a story: {untold:#?}");
}

#[test]
fn every_story_goes_as_it_is_told() {
    let wrong = wrong_in(&stories(), Story::wrong);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn what_looks_alike_is_not_mistaken() {
    let wrong = wrong_in(&alike::all(), alike::Alike::wrong);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// What led to each of them begins with a defect of its story, in whichever tick it is; where none raises it, with what the firmware told.
#[test]
fn every_chain_begins_with_a_defect_of_its_story() {
    let wrong = wrong_in(&stories(), Story::wrong_in_its_chain);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Stories that differ in their defect only have one twin.
#[test]
fn without_its_defect_nothing_is_found() {
    let twins: BTreeSet<String> = stories().iter().flat_map(Story::twins).collect();
    let twins: Vec<String> = twins.into_iter().collect();
    let wrong = wrong_in(&twins, |text| {
        let found = play::text(text).summary();
        if found.is_empty() { Vec::new() } else { vec![format!("{found} in the sound pack of\n{text}")] }
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
