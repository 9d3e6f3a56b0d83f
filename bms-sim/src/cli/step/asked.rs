//! What is worked out in a stepper although it takes its time: it says how far it is, and an interruption ends it and not the stepper.

use crate::case::StartError;
use crate::cli::interrupt;
use crate::cli::progress::Progress;
use crate::cli::rationale::{self, LOOKS_APART, Question, TURNED};
use crate::explain::Account;
use crate::explain::distance::{Answer, Course};
use crate::recording::Recording;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{self, RecvTimeoutError};

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
    let work = std::thread::spawn(move || {
        let _nobody_waits = hand_over.send(find(&of, known, question, &on));
    });
    let mut progress = Progress::counted(1, 0, TURNED, quiet);
    let found = interrupt::during(|interrupted| {
        while !interrupted.load(Ordering::Relaxed) {
            match found.recv_timeout(LOOKS_APART) {
                Ok(found) => return found.map(Some),
                Err(RecvTimeoutError::Timeout) => rationale::show(&course, &mut progress),
                // Gone without an answer: what broke it breaks the program.
                Err(RecvTimeoutError::Disconnected) => match work.join() {
                    Err(panic) => std::panic::resume_unwind(panic),
                    Ok(()) => return Ok(None),
                },
            }
        }
        course.stop.store(true, Ordering::Relaxed);
        Ok(None)
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
    let answers = rationale::answers(course, recording, question.distances(recording))?;
    Ok(Found { account, answers })
}
