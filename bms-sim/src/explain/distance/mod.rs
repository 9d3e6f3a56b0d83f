//! # How far it was
//!
//! Decides what would have changed an outcome: for each number that took part (the fault's limit, its release limit, its dwells, how bad
//! each defect is, how far the sensor concerned is off) the nearest value at which the outcome flips. Of an outcome that is not one fault's
//! alone the limits and dwells of every fault took part that held the pack back before.
//!
//! Nothing is worked out; everything is played. Each answer rests on two replays of the whole case, that differ in the last step of one
//! number: with one value the outcome is that of the case, with its neighbour it is the other one. Where neither end of what a case file
//! accepts flips it, that is the answer, and the ends are its replays.
//!
//! ```text
//! as the case stands       same │ other                 end of what is accepted
//!          ●────────────────────●│●──────────────────────────────●
//!                                └ an edge: two neighbours with different outcomes
//! ```
//!
//! An edge is what it is and nothing more: another one may lie behind it, and if the outcome is not monotone, one nearer by. How finely a
//! number is turned its [`Grid`](crate::case::Grid) says. What the firmware told in a run without the fault says where the edge
//! probably is (`model`), which saves replays; it proves nothing.
//!
//! A limit may be asked about by any room of the firmware, so a changed one is played from the start. Several answers are ordered by the
//! change over its [`Tolerance`].

mod channel;
mod edge;
mod model;
mod outcome;
mod tolerance;

pub use outcome::{Came, Outcome, replayed};
pub use tolerance::{Measure, Tolerance};

use super::{silence, story};
use crate::case::{Case, Knob, StartError};
use crate::recording::Recording;
use crate::work;
use bms_core::Fault;
use bms_core::fault::Reaction;
use bms_core::witness::Assessment;
use edge::same;
use model::{Heard, Listener};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// What would have changed one outcome.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// The outcome.
    pub outcome: Outcome,
    /// The fault whose limits were turned.
    pub fault: Fault,
    /// When the outcome came in the case as it stands, if it did.
    pub came: Option<Came>,
    /// What would have changed it, the smallest change first; last what changes nothing.
    pub distances: Vec<Distance>,
}

/// How far one number is from where the outcome flips.
#[derive(Clone, Debug, PartialEq)]
pub struct Distance {
    /// The number.
    pub knob: Knob,
    /// Where it stands in the case.
    pub stands: f64,
    /// Where the outcome flips.
    pub found: Found,
    /// What the change is measured by.
    pub tolerance: Tolerance,
}

/// Where an outcome flips.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// Between these two neighbours.
    Edge {
        /// The last value with the outcome of the case.
        same: Side,
        /// The first one with the other outcome.
        other: Side,
    },
    /// At neither end of what is accepted.
    Nowhere {
        /// The ends, as they were played.
        ends: Vec<Side>,
    },
}

/// One replay: a value, and when the outcome came with it, if it did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Side {
    /// The value of the number that was turned.
    pub value: f64,
    /// When the outcome came.
    pub came: Option<Came>,
}

impl Distance {
    /// How large the change is, as a multiple of its tolerance; nothing where nothing changes the outcome.
    #[must_use]
    pub fn multiple(&self) -> Option<f64> {
        match &self.found {
            Found::Edge { other, .. } => Some((other.value - self.stands).abs() / self.tolerance.amount),
            Found::Nowhere { .. } => None,
        }
    }
}

/// The questions that a reader has who names none: about the faults that became Confirmed; or what would have made any fault speak of the
/// defects; or about the one that came nearest.
#[must_use]
pub fn usual_questions<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Vec<(Outcome, Fault)> {
    let confirmed: Vec<Fault> = recording.confirmed().iter().map(|(_, seen)| seen.fault).collect();
    if confirmed.is_empty() && !recording.case.defects.is_empty() {
        return spoken_fault(recording).map(|fault| (Outcome::Any, fault)).into_iter().collect();
    }
    let nearest = || nearest(recording).into_iter().take(1).collect();
    let of = if confirmed.is_empty() { nearest() } else { confirmed };
    of.into_iter().take(MOST_QUESTIONS).map(|fault| (Outcome::Confirmed(fault), fault)).collect()
}

/// The fault to ask about where any will do: the first one that was Confirmed; where none was, the one that a defect brought nearer to
/// its limit, or that came nearest.
#[must_use]
pub fn spoken_fault<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Option<Fault> {
    let confirmed = recording.confirmed().first().map(|(_, seen)| seen.fault);
    confirmed.or_else(|| silence::brought_nearer(recording)).or_else(|| nearest(recording).first().copied())
}

/// The fault to ask about for an outcome that no fault gives its name: the first one that opened or would open, or came nearest to it.
#[must_use]
pub fn opening_fault<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Option<Fault> {
    let opens = |fault: &Fault| recording.case.config().faults.reaction(*fault) >= Reaction::OpenSoon;
    let confirmed = recording.confirmed().into_iter().map(|(_, seen)| seen.fault);
    confirmed.chain(nearest(recording)).find(opens)
}

fn nearest<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Vec<Fault> {
    story::near(recording).iter().map(|near| near.assessment.fault).collect()
}

/// The limits of so many other faults are turned.
const MOST_OTHERS: usize = 2;

/// So many faults are asked about when none is named.
const MOST_QUESTIONS: usize = 3;

/// How far the search for an answer is. Whoever waits for it looks here, and may stop it.
#[derive(Debug, Default)]
pub struct Course {
    /// Set by whoever does not want the answer any more.
    pub stop: AtomicBool,
    /// Numbers that are turned.
    pub numbers: AtomicUsize,
    /// Those of which it is known where they flip the outcome.
    pub turned: AtomicUsize,
}

/// What would have changed an outcome, by the numbers of a fault, of the defects and of the sensor that the fault is seen with.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn answer<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    outcome: Outcome,
    fault: Fault,
) -> Result<Answer, StartError> {
    answer_on(&Course::default(), recording, outcome, fault)
}

/// The same with somebody who looks on. An answer that was stopped is not finished, and worth nothing.
///
/// # Errors
/// When the type has other counts than the case's pack.
pub fn answer_on<const CELLS: usize, const THERMISTORS: usize>(
    course: &Course,
    recording: &Recording<CELLS, THERMISTORS>,
    outcome: Outcome,
    fault: Fault,
) -> Result<Answer, StartError> {
    // Of a run that was cut short nothing is asked that lies behind its end.
    let until_ms = if recording.end.over() { u64::MAX } else { recording.end.at_ms };
    let mut listener = Listener::of(fault);
    let as_it_stands = &recording.case;
    let came = replayed::<CELLS, THERMISTORS>(as_it_stands, outcome, until_ms, &mut listener)?;
    let stop = &course.stop;
    let mut question = Question { case: as_it_stands, outcome, fault, until_ms, came, heard: None, stop };
    let others = question.others(&recording.confirmed());
    question.heard = match came {
        None => Some(listener.heard(as_it_stands)),
        Some(_) => question.without::<CELLS, THERMISTORS>()?,
    };
    let knobs = question.knobs(&others, seen(recording, fault));
    course.numbers.fetch_add(knobs.len(), Ordering::Relaxed);
    let mut distances: Vec<Option<Result<Distance, StartError>>> = vec![None; knobs.len()];
    work::spread(
        &knobs,
        work::all_threads(),
        stop,
        |knob| Some(question.distance::<CELLS, THERMISTORS>(*knob)),
        |place, distance| {
            distances[place] = Some(distance);
            course.turned.fetch_add(1, Ordering::Relaxed);
            true
        },
    );
    let mut distances = distances.into_iter().flatten().collect::<Result<Vec<_>, _>>()?;
    let order = |distance: &Distance| distance.multiple().unwrap_or(f64::INFINITY);
    distances.sort_by(|one, another| order(one).total_cmp(&order(another)));
    Ok(Answer { outcome, fault, came, distances })
}

/// What was seen of a fault when it was Confirmed, or when it came nearest.
fn seen<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    fault: Fault,
) -> Option<Assessment> {
    let confirmed = recording.confirmed().into_iter().map(|(_, seen)| seen).find(|seen| seen.fault == fault);
    let nearest = || recording.nearest.get(fault as usize).copied().flatten().map(|near| near.assessment);
    confirmed.or_else(nearest)
}

/// What is asked, and what is known of the answer before any number is turned.
struct Question<'a> {
    case: &'a Arc<Case>,
    outcome: Outcome,
    fault: Fault,
    until_ms: u64,
    came: Option<Came>,
    /// What the firmware told of the fault in a run in which it was not Confirmed.
    heard: Option<Heard>,
    stop: &'a AtomicBool,
}

impl Question<'_> {
    /// The other faults that took part: those that held the pack back before the outcome came, which does not matter to one fault alone.
    fn others(&self, confirmed: &[(f64, Assessment)]) -> Vec<Fault> {
        if matches!(self.outcome, Outcome::Confirmed(_) | Outcome::Any) {
            return Vec::new();
        }
        let before = |seconds: f64| self.came.is_none_or(|came| seconds <= came.seconds);
        let strong = |fault: Fault| self.case.config().faults.reaction(fault) > Reaction::Report;
        let held = confirmed.iter().filter(|(seconds, seen)| before(*seconds) && strong(seen.fault));
        held.map(|(_, seen)| seen.fault).filter(|fault| *fault != self.fault).take(MOST_OTHERS).collect()
    }

    /// The numbers that took part.
    fn knobs(&self, others: &[Fault], seen: Option<Assessment>) -> Vec<Knob> {
        let mut knobs = Vec::new();
        for fault in [self.fault].iter().chain(others) {
            knobs.extend([Knob::Trip(*fault), Knob::Dwell(*fault)]);
            // Without a dwell nothing runs that a release could end.
            if self.case.config().faults.shown(*fault).dwell.0 > 0 {
                knobs.push(Knob::Release(*fault));
            }
            // How long a fault lasts that ends with its condition changes nothing about whether it comes, but what comes of it.
            let passes = self.case.config().faults.reaction(*fault) <= Reaction::Derate;
            if passes && !matches!(self.outcome, Outcome::Confirmed(_) | Outcome::Any) {
                knobs.push(Knob::ReleaseDwell(*fault));
            }
        }
        let begun = |onset: f64| self.came.is_none_or(|came| onset <= came.seconds);
        let defects = self.case.defects.iter().enumerate().filter(|(_, defect)| begun(defect.onset_seconds));
        knobs.extend(defects.map(|(place, _)| Knob::Severity(place)));
        knobs.extend(seen.and_then(|seen| channel::of(&seen, self.case)));
        knobs.retain(|knob| knob.get(self.case).is_some());
        knobs
    }

    /// What the firmware tells of the fault when its limit is as far away as is accepted, if it is silent then.
    fn without<const CELLS: usize, const THERMISTORS: usize>(&self) -> Result<Option<Heard>, StartError> {
        for (_, _, turned) in silencing(self.case, self.fault, [Knob::Trip, Knob::Dwell]) {
            let mut listener = Listener::of(self.fault);
            let turned = Arc::new(turned);
            let silent = Outcome::Confirmed(self.fault);
            if replayed::<CELLS, THERMISTORS>(&turned, silent, self.until_ms, &mut listener)?.is_none() {
                return Ok(Some(listener.heard(&turned)));
            }
        }
        Ok(None)
    }

    /// Where one number flips the outcome.
    fn distance<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        knob: Knob,
    ) -> Result<Distance, StartError> {
        let stands = knob.get(self.case).unwrap_or_default();
        let here = Side { value: stands, came: self.came };
        let of_limit = knob.fault().is_some();
        let mut ends = ends(self.case, knob.fault().unwrap_or(self.fault), knob).to_vec();
        if of_limit && matches!(self.outcome, Outcome::Confirmed(_) | Outcome::Any) {
            // A limit nearer by, or a shorter dwell, makes no fault come later: the other way is not asked.
            ends.remove(usize::from(self.came.is_some()));
        }
        let play = |value| self.play::<CELLS, THERMISTORS>(knob, value);
        let (mut edges, mut tried) = (Vec::new(), Vec::new());
        for end in ends {
            let reached = edge::reach(self.case, knob, stands, end);
            if same(reached, stands) {
                continue;
            }
            let heard = self.heard.as_ref().filter(|_| knob.fault().is_none_or(|of| of == self.fault));
            let guess = heard.and_then(|heard| heard.edge(self.case, knob, stands, reached));
            let first = match (guess, knob) {
                (Some(guess), _) => guess.to_vec(),
                // A range of decades: most edges are not far from where a defect stands.
                (None, Knob::Severity(_)) if reached.abs() > stands.abs() => vec![2.0 * stands, 8.0 * stands],
                (None, Knob::Severity(_)) => vec![stands / 2.0, stands / 8.0],
                (None, _) => Vec::new(),
            };
            let grid = knob.grid(self.case);
            let first: Vec<f64> = first.into_iter().map(|value| grid.on(value)).collect();
            match edge::between(grid, here, reached, &first, &play)? {
                Ok((same, other)) => edges.push((same, other)),
                Err(side) => tried.push(side),
            }
            // Further away from the other end than from this one, an edge of a limit is not looked for.
            if of_limit && !edges.is_empty() {
                break;
            }
        }
        let apart = |(_, other): &(Side, Side)| (other.value - stands).abs();
        let nearest = edges.into_iter().min_by(|one, another| apart(one).total_cmp(&apart(another)));
        let found = match nearest {
            Some((same, other)) => Found::Edge { same, other },
            None => Found::Nowhere { ends: tried },
        };
        Ok(Distance { knob, stands, found, tolerance: Tolerance::of(knob, self.case) })
    }

    /// The case with a number turned; nothing if it would not be accepted, or nobody wants to know any more.
    fn play<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        knob: Knob,
        value: f64,
    ) -> Result<Option<Side>, StartError> {
        let Ok(turned) = knob.turned(self.case, value) else { return Ok(None) };
        if self.stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        let came = replayed::<CELLS, THERMISTORS>(&Arc::new(turned), self.outcome, self.until_ms, &mut ())?;
        Ok(Some(Side { value, came }))
    }
}

/// The two ends to which a number may be turned: first the one away from the fault, where it comes later or not at all.
fn ends(case: &Case, fault: Fault, knob: Knob) -> [f64; 2] {
    let (low, high) = knob.range(case).unwrap_or_default();
    let shown = case.config().faults.shown(fault);
    let below = shown.trip.zip(shown.release).is_some_and(|(trip, release)| trip.bits() < release.bits());
    match knob {
        Knob::Trip(_) | Knob::Release(_) if below => [low, high],
        Knob::Trip(_) | Knob::Release(_) | Knob::Dwell(_) | Knob::ReleaseDwell(_) => [high, low],
        Knob::Severity(_) => [low, high],
        Knob::Error(..) => {
            let most = channel::MOST_ERRORS * Tolerance::of(knob, case).amount;
            [low.max(-most), high.min(most)]
        }
    }
}

/// The cases with each of these numbers of a fault turned as far away from it as is accepted; with the number and its value.
pub(super) fn silencing(
    case: &Case,
    fault: Fault,
    knobs: [fn(Fault) -> Knob; 2],
) -> impl Iterator<Item = (Knob, f64, Case)> {
    knobs.into_iter().filter_map(move |knob| {
        let knob = knob(fault);
        let stands = knob.get(case)?;
        let [away, _] = ends(case, fault, knob);
        let value = edge::reach(case, knob, stands, away);
        Some((knob, value, knob.turned(case, value).ok()?))
    })
}
