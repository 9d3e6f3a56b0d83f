//! What `why` and `step` say of a run: the chain that led to a fault, what would have changed it, which faults came near, the verdict.

use super::progress::Progress;
use crate::case::StartError;
use crate::explain::distance::{self, Answer, Course, Outcome};
use crate::explain::{self, Account, words};
use crate::recording::Recording;
use bms_core::Fault;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

/// What is asked about a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Question {
    /// The fault; every one that was Confirmed when left out.
    pub(super) fault: Option<Fault>,
    /// What the distances are about.
    pub(super) outcome: Option<Asked>,
}

/// An outcome on the command line.
#[derive(Clone, Copy, Debug, Eq, PartialEq, clap::ValueEnum)]
pub(super) enum Asked {
    /// The fault is Confirmed
    Confirmed,
    /// Any fault is Confirmed
    Any,
    /// Some fault demands that the contactors open
    Trip,
    /// The contactors open against the operator's wish
    Open,
    /// Truth passes a safe bound
    Hazard,
}

/// In a story of more ticks than this every replay takes its time: distances only when they are asked for.
const LONG_TICKS: u64 = 120_000;

/// Whether a story is as long as that. Larger steps at rest do not count: a replay in which nothing opens has none.
pub(super) fn is_long<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> bool {
    recording.end.at_ms / recording.case.tick_ms > LONG_TICKS
}

/// From one look how far it is to the next.
pub(super) const LOOKS_APART: Duration = Duration::from_millis(20);

/// The account of a run and the distances of these outcomes, with progress.
pub(super) fn found<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    distances: Vec<(Outcome, Fault)>,
    quiet: bool,
) -> Result<(Account, Vec<Answer>), StartError> {
    let course = Course::default();
    // Both are replays of the same run.
    std::thread::scope(|scope| {
        let answers = scope.spawn(|| answers(&course, recording, distances));
        let account = scope.spawn(|| Account::of(recording));
        let mut progress = Progress::counted(1, 0, TURNED, quiet);
        while !(answers.is_finished() && account.is_finished()) {
            show(&course, &mut progress);
            std::thread::sleep(LOOKS_APART);
        }
        progress.done();
        let account = account.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        let answers = answers.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        Ok((account?, answers?))
    })
}

/// The distances of these outcomes.
pub(super) fn answers<const CELLS: usize, const THERMISTORS: usize>(
    course: &Course,
    recording: &Recording<CELLS, THERMISTORS>,
    distances: Vec<(Outcome, Fault)>,
) -> Result<Vec<Answer>, StartError> {
    let answers = distances.into_iter();
    answers.map(|(outcome, fault)| distance::answer_on(course, recording, outcome, fault)).collect()
}

/// What progress counts.
pub(super) const TURNED: &str = "numbers turned";

/// Shows how far it is, once anything is known.
pub(super) fn show(course: &Course, progress: &mut Progress) {
    let count = |of: &AtomicUsize| of.load(Ordering::Relaxed);
    if count(&course.numbers) > 0 {
        progress.reached(count(&course.turned), count(&course.numbers));
    }
}

impl Question {
    /// The outcomes whose distances are asked for, each with the fault whose limits are turned.
    pub(super) fn distances<const CELLS: usize, const THERMISTORS: usize>(
        self,
        recording: &Recording<CELLS, THERMISTORS>,
    ) -> Vec<(Outcome, Fault)> {
        let of =
            |outcome| self.fault.or_else(|| distance::opening_fault(recording)).map(|fault| (outcome, fault));
        match (self.outcome, self.fault) {
            (None, _) if is_long(recording) => Vec::new(),
            (None | Some(Asked::Confirmed), Some(fault)) => vec![(Outcome::Confirmed(fault), fault)],
            (None | Some(Asked::Confirmed), None) => distance::usual_questions(recording),
            (Some(Asked::Any), _) => {
                let fault = self.fault.or_else(|| distance::spoken_fault(recording));
                fault.map(|fault| (Outcome::Any, fault)).into_iter().collect()
            }
            (Some(Asked::Trip), _) => of(Outcome::Trip).into_iter().collect(),
            (Some(Asked::Open), _) => of(Outcome::Opened).into_iter().collect(),
            (Some(Asked::Hazard), _) => of(Outcome::Hazard).into_iter().collect(),
        }
    }

    /// All that is said, line by line.
    pub(super) fn answered<const CELLS: usize, const THERMISTORS: usize>(
        self,
        recording: &Recording<CELLS, THERMISTORS>,
        account: &Account,
        answers: &[Answer],
        complete: bool,
    ) -> Result<String, StartError> {
        let mut text = String::new();
        if !recording.end.over() {
            let (played, case) = (recording.end.seconds(), recording.case.duration_seconds);
            text += &format!("{}\n", words::cut_short(played, case, complete));
        }
        let faults = match self.fault {
            Some(fault) => vec![fault],
            None => recording.confirmed().iter().map(|(_, seen)| seen.fault).collect(),
        };
        if faults.is_empty() {
            text += &(words::none_confirmed() + "\n");
        }
        if self.fault.is_none() {
            for sentence in account.silence_in_words(&recording.case) {
                text += &format!("{sentence}\n");
            }
        }
        for (place, fault) in faults.into_iter().enumerate() {
            let apart = if place == 0 && text.is_empty() { "" } else { "\n" };
            text += &format!("{apart}{}", explain::why(recording, account, fault)?);
        }
        for answer in answers {
            text += &format!("\n{}", explain::distances(answer, &recording.case));
        }
        let near = explain::nearest(recording);
        if !near.is_empty() {
            text += &format!("\n{near}");
        }
        if answers.is_empty() && is_long(recording) {
            text += &format!("\n{}\n", words::distances_not_asked());
        }
        text += "\n";
        for sentence in account.verdict_in_words(&recording.case) {
            text += &format!("{sentence}\n");
        }
        Ok(text)
    }
}
