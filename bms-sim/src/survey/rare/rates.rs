//! # Rates, piece by piece
//!
//! The work on the three [situations](super::situations) in pieces that take a second or some: a repeat of the rare-event estimate, or
//! some hours of plain sampling. Each is a pure function of the seed and its number, so that an interruption loses nothing that is done and
//! the result does not depend on how many threads there were.

use super::excursion::Watched;
use super::situations::{Situation, SituationError};
use super::splitting::{Estimate, Once};
use crate::survey::statistics::rate::Rate;
use crate::world::noise::Noise;
use serde::{Deserialize, Serialize};
use std::sync::atomic::{AtomicBool, Ordering};

/// Independent repeats of each estimate: enough for Student's quantile to be 2.09.
pub(super) const REPEATS: usize = 20;

/// Hours of plain sampling in a piece.
const HOURS_A_PIECE: f64 = 4.0;

/// Streams of chance: the seed of a row's estimate, and of a piece of its plain sampling.
const ESTIMATE: u32 = 0x4a7e;
const PLAIN: u32 = 0x4a7f;

/// One fault at one distance from its limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Its number in the list of all, from 1.
    pub number: usize,
    /// How the pack stands.
    pub situation: Situation,
    /// How far inside the limit, in V or A.
    pub distance: f64,
    /// Hours of plain sampling beside it.
    pub plain_hours: f64,
}

/// All of them, fault by fault, from near to far.
#[must_use]
pub fn places() -> Vec<Place> {
    let of = |situation: Situation| {
        let pairs = situation.distances().into_iter().zip(situation.plain_hours());
        pairs.map(move |(distance, plain_hours)| (situation, distance, plain_hours))
    };
    let all = Situation::ALL.into_iter().flat_map(of).zip(1..);
    all.map(|((situation, distance, plain_hours), number)| Place { number, situation, distance, plain_hours })
        .collect()
}

/// A piece of the work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    place: Place,
    kind: Kind,
    /// From 1.
    number: usize,
}

#[derive(Clone, Copy, Debug, Deserialize, Eq, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
enum Kind {
    Estimate,
    Plain,
}

/// What a piece found.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Outcome {
    /// The number of its place, from 1.
    place: usize,
    kind: Kind,
    /// Its own number, from 1.
    number: usize,
    once: Option<Once>,
    watched: Option<Watched>,
}

impl Outcome {
    /// Whether it is of this piece.
    #[must_use]
    pub fn is_of(&self, piece: &Piece) -> bool {
        (self.place, self.kind, self.number) == (piece.place.number, piece.kind, piece.number)
    }
}

/// The pieces of these places, those of plain sampling only where wanted.
#[must_use]
pub fn pieces(places: &[Place], plain: bool) -> Vec<Piece> {
    let of = |place: &Place| {
        let place = *place;
        let estimate = (1..=REPEATS).map(move |number| Piece { place, kind: Kind::Estimate, number });
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some dozens")]
        let parts = if plain { libm::ceil(place.plain_hours / HOURS_A_PIECE) as usize } else { 0 };
        estimate.chain((1..=parts).map(move |number| Piece { place, kind: Kind::Plain, number }))
    };
    places.iter().flat_map(of).collect()
}

impl Piece {
    /// Works on it; nothing when it was stopped.
    ///
    /// # Errors
    /// When no pack stands so.
    pub fn work(&self, seed: u64, stop: &AtomicBool) -> Result<Option<Outcome>, SituationError> {
        if stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        let Place { number: place, situation, distance, .. } = self.place;
        let standing = situation.standing(distance)?;
        let outcome = Outcome { place, kind: self.kind, number: self.number, once: None, watched: None };
        let seed = |stream: u32, part: usize| Noise::new(seed).of_run((place << 32 | part) as u64, stream);
        Ok(match self.kind {
            Kind::Estimate => {
                let effort =
                    standing.effort(situation.levels(), situation.copies(), REPEATS, seed(ESTIMATE, 0));
                let once = Once::of(&standing, &effort, self.number as u64);
                Some(Outcome { once: Some(once), ..outcome })
            }
            Kind::Plain => {
                let watched = standing.watched(HOURS_A_PIECE, seed(PLAIN, self.number), stop);
                watched.map(|watched| Outcome { watched: Some(watched), ..outcome })
            }
        })
    }
}

/// How often noise alone accuses a pack that stands so.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// The number of its place, from 1.
    pub place: usize,
    /// The fault's key.
    pub fault: &'static str,
    /// How far inside the limit it stands, in V or A.
    pub distance: f64,
    /// The same in deviations of the noise of what is watched.
    pub deviations: f64,
    /// False alarms an hour, calculated.
    pub calculated_per_hour: f64,
    /// False alarms an hour, found by leaning and splitting.
    pub per_hour: f64,
    /// Lower end of its 95 % interval.
    pub low_per_hour: f64,
    /// Upper end.
    pub high_per_hour: f64,
    /// The same of a tick, with what is known of its error.
    pub a_tick: Estimate,
    /// What plain sampling counted; nothing where it was not asked.
    pub plain: Option<Rate>,
}

impl Row {
    /// Whether what plain sampling counted is possible with what was found: their intervals have something in common.
    #[must_use]
    pub fn agrees(&self) -> bool {
        self.plain.is_none_or(|plain| {
            plain.low_per_hour <= self.high_per_hour
                && plain.high_per_hour.is_none_or(|high| self.low_per_hour <= high)
        })
    }
}

/// What all outcomes come to, place by place.
///
/// # Errors
/// When no pack stands so.
pub fn rows(places: &[Place], outcomes: &[Outcome]) -> Result<Vec<Row>, SituationError> {
    places.iter().map(|place| row(place, outcomes)).collect()
}

fn row(place: &Place, outcomes: &[Outcome]) -> Result<Row, SituationError> {
    let standing = place.situation.standing(place.distance)?;
    let an_hour = standing.ticks_per_hour();
    // Added up in the order of their numbers, in which they need not have come.
    let mut mine: Vec<&Outcome> = outcomes.iter().filter(|outcome| outcome.place == place.number).collect();
    mine.sort_by_key(|outcome| outcome.number);
    let repeats: Vec<Once> = mine.iter().filter_map(|outcome| outcome.once).collect();
    let watched: Vec<Watched> = mine.iter().filter_map(|outcome| outcome.watched).collect();
    let a_tick = Estimate::of(&repeats);
    let (alarms, ticks) = watched.iter().fold((0, 0), |sum, part| (sum.0 + part.alarms, sum.1 + part.ticks));
    #[expect(clippy::cast_precision_loss, reason = "far below 2⁵³")]
    let hours = ticks as f64 / an_hour;
    Ok(Row {
        place: place.number,
        fault: place.situation.fault().key(),
        distance: place.distance,
        deviations: place.distance / place.situation.noise(&standing),
        calculated_per_hour: an_hour * place.situation.calculated(&standing, place.distance),
        per_hour: an_hour * a_tick.probability,
        low_per_hour: an_hour * a_tick.low,
        high_per_hour: an_hour * a_tick.high,
        a_tick,
        plain: (ticks > 0).then(|| Rate::of(alarms, hours)),
    })
}
