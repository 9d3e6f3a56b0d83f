//! What is worked out in a stepper although it takes its time: it says how far it is, and an interruption ends it and not the stepper.

use crate::case::StartError;
use crate::cli::interrupt;
use crate::cli::progress::Progress;
use crate::cli::rationale::Question;
use crate::explain::Account;
use crate::explain::distance::{self, Answer, Course};
use crate::recording::Recording;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

/// From one look whether it is done, or was interrupted, to the next.
const LOOKS_APART: Duration = Duration::from_millis(50);

/// What a question rests on.
pub(super) struct Found {
    pub(super) account: Arc<Account>,
    pub(super) answers: Vec<Answer>,
}

/// Finds out what a question rests on, the account only if it is not known yet; nothing if that was interrupted.
pub(super) fn found<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Arc<Recording<CELLS, THERMISTORS>>,
    known: Option<Arc<Account>>,
    question: Question,
    quiet: bool,
) -> Result<Option<Found>, StartError> {
    let course = Arc::new(Course::default());
    let (hand_over, found) = mpsc::channel();
    let (of, on) = (Arc::clone(recording), Arc::clone(&course));
    // Not waited for when nobody wants to know any more: it ends with the replay that it is at.
    let _working = std::thread::spawn(move || {
        let _nobody_waits = hand_over.send(find(&of, known, question, &on));
    });
    let mut progress = Progress::counted(1, 0, "numbers turned", quiet);
    let found = interrupt::during(|interrupted| {
        loop {
            match found.recv_timeout(LOOKS_APART) {
                Ok(found) => break found.map(Some),
                Err(RecvTimeoutError::Timeout) if !interrupted.load(Ordering::Relaxed) => {
                    let count = |of: &AtomicUsize| of.load(Ordering::Relaxed);
                    progress.reached(count(&course.turned), count(&course.numbers));
                }
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                    course.stop.store(true, Ordering::Relaxed);
                    break Ok(None);
                }
            }
        }
    });
    progress.done();
    found
}

fn find<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    known: Option<Arc<Account>>,
    question: Question,
    course: &Course,
) -> Result<Found, StartError> {
    let account = match known {
        Some(account) => account,
        None => Arc::new(Account::of(recording)?),
    };
    let answers = question.distances(recording).into_iter();
    let answers = answers.map(|(outcome, fault)| distance::answer_on(course, recording, outcome, fault));
    Ok(Found { account, answers: answers.collect::<Result<_, _>>()? })
}
