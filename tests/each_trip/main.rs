//! Every trip of a sweep over all defects, at each place that has a name, over severities of either sign, under short stories of the
//! trainer: its chain begins with the defect that was put in, and its distances are played again.
//!
//! `KIND=key` sweeps those kinds whose key holds this word.

#[path = "../distance/proof.rs"]
mod proof;
mod story;

use bms_core::Fault;
use bms_core::fault::Reaction;
use bms_sim::case::Case;
use bms_sim::defect::Kind;
use bms_sim::dictionary::Subject;
use bms_sim::explain::chain::{Chain, LinkKind};
use bms_sim::explain::distance::Outcome;
use bms_sim::recording::{self, Recording};
use bms_sim::world::spec::PackSpec;
use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use story::{STORIES, SWEPT, Story};

type Trainer = Recording<16, 8>;

/// Severities of each sign that are tried, evenly on a log scale from the least to the most that a case may say.
const SEVERITIES: usize = 4;

/// So many kinds trip at some severity under these stories, at least. What the others do takes longer, only a report or a derating answers
/// it, or nothing does, as [the dictionary](../../examples/dictionary.md) has it.
const KINDS_THAT_TRIP: usize = 38;

/// One run of the sweep.
struct Run {
    story: &'static Story,
    subject: Subject,
    severity: f64,
}

impl Run {
    fn case(&self) -> Case {
        self.story.case(self.subject, self.severity)
    }
}

fn only_some() -> bool {
    std::env::var_os("KIND").is_some()
}

fn runs() -> Vec<Run> {
    let only = std::env::var("KIND").unwrap_or_default();
    let spec = PackSpec::trainer();
    let kinds = Kind::ALL.iter().copied().filter(|kind| kind.key().contains(&only));
    let mut runs = Vec::new();
    for subject in kinds.flat_map(|kind| Subject::of(kind, &spec)) {
        for severity in subject.severities(SEVERITIES, &spec) {
            let stories = STORIES.iter().filter(|story| story.suits(subject.kind));
            runs.extend(stories.map(|story| Run { story, subject, severity }));
        }
    }
    runs
}

/// Does each piece of work, as many at a time as there are cores; what came of them, in their order.
fn each<T: Sync, R: Send>(all: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let worker = || {
        let mut done = Vec::new();
        while let Some((place, one)) =
            Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|at| all.get(at).map(|one| (at, one)))
        {
            done.push((place, work(one)));
        }
        done
    };
    let mut done: Vec<(usize, R)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(worker)).collect();
        workers.into_iter().flat_map(|worker| worker.join().expect("the sweep is played")).collect()
    });
    done.sort_by_key(|(place, _)| *place);
    done.into_iter().map(|(_, result)| result).collect()
}

fn played(case: Case) -> Trainer {
    recording::play(&Arc::new(case), |_| true).expect("the trainer has 16 cells")
}

fn trips(recording: &Trainer) -> Vec<Fault> {
    let opens = |fault: &Fault| recording.case.config().faults.reaction(*fault) >= Reaction::OpenSoon;
    recording.confirmed().into_iter().map(|(_, seen)| seen.fault).filter(opens).collect()
}

/// What is wrong with the chain of a fault, if anything is.
fn wrong_in_chain(recording: &Trainer, fault: Fault) -> Option<String> {
    let chain = Chain::of(recording, fault).expect("the trainer has 16 cells").expect("it was Confirmed");
    let defect = recording.case.defects[SWEPT];
    let first = chain.links[0];
    let begins =
        first.what == LinkKind::DefectBegins(SWEPT) && (first.seconds - defect.onset_seconds).abs() < 1e-9;
    let in_order = chain.links.is_sorted_by_key(|link| link.seconds);
    let once = |is: fn(&LinkKind) -> bool| chain.links.iter().filter(|link| is(&link.what)).count() == 1;
    let whole = once(|what| matches!(what, LinkKind::Confirmed(_)))
        && once(|what| matches!(what, LinkKind::Reacted(_)))
        && once(|what| matches!(what, LinkKind::TruthDeparts(_) | LinkKind::TruthUnharmed(_)));
    let said = || format!("{}: {}: {:?}", recording.case.title, fault.key(), chain.links);
    (!(begins && in_order && whole)).then(said)
}

#[test]
fn nobody_hears_of_the_others() {
    for story in &STORIES {
        let confirmed = played(story.without()).confirmed();
        assert!(confirmed.is_empty(), "{}: {confirmed:?}", story.key);
    }
}

/// The first link is the defect that was put in and no other; all others follow in order of time; and it says what departed, when the
/// fault was Confirmed and what was done.
#[test]
fn every_chain_begins_with_the_defect_that_was_put_in() {
    let found = each(&runs(), |run| {
        let recording = played(run.case());
        let confirmed: Vec<Fault> = recording.confirmed().iter().map(|(_, seen)| seen.fault).collect();
        let wrong: Vec<String> =
            confirmed.iter().filter_map(|fault| wrong_in_chain(&recording, *fault)).collect();
        (run.subject.kind, trips(&recording).len(), wrong)
    });
    let wrong: Vec<&String> = found.iter().flat_map(|(_, _, wrong)| wrong).collect();
    assert!(wrong.is_empty(), "{} of them: {wrong:#?}", wrong.len());
    let tripped: BTreeSet<Kind> =
        found.iter().filter(|(_, trips, _)| *trips > 0).map(|(kind, ..)| *kind).collect();
    assert!(only_some() || tripped.len() >= KINDS_THAT_TRIP, "{} kinds trip: {tripped:?}", tripped.len());
}

/// Of each kind the first trip at each place: every distance of it, by its two sides.
#[test]
fn every_distance_of_a_trip_is_proven_by_its_replays() {
    let mut first = Vec::<Run>::new();
    for run in runs() {
        let known = |known: &Run| known.subject == run.subject;
        if !first.iter().any(known) && !trips(&played(run.case())).is_empty() {
            first.push(run);
        }
    }
    let sides = each(&first, |run| {
        let recording = played(run.case());
        let fault = trips(&recording)[0];
        proof::proven(&recording, Outcome::Confirmed(fault), fault)
    });
    let sides: usize = sides.into_iter().sum();
    assert!(only_some() || first.len() >= 50 && sides >= 400, "{sides} sides of {} trips", first.len());
}
