//! # The dictionary of defects, computed
//!
//! Which faults does a defect raise, how soon, and can it be mistaken for another one? Nobody writes that down by hand: every defect of
//! the [one list](crate::defect::Kind) is played at several severities under several [observations](Observation), each beside
//! its twin without the defect, and what comes out is the dictionary.
//!
//! | of each defect, severity, observation | is |
//! | --- | --- |
//! | faults | what became Confirmed, in order of time, after how long, where, with which reaction |
//! | belief | the strongest of these reactions |
//! | danger | the [verdict](crate::explain::verdict) from truth: whether a bound is passed, reactions ignored, and when; and whether it is in the observation itself |
//! | measured | which channels show it at all, by more than their own errors |
//!
//! An observation ends with its story, or a minute after the contactors stand open by a fault that demands it: what follows is the
//! workshop's.
//!
//! For a defect that can grow, the edges of what is found lie between two of the severities tried. Each is searched by halving on a log
//! scale until its two sides are less than a tenth apart; what lies between two severities with the same outcome is taken to have it too.
//!
//! **Confusion.** Two defects are confused under an observation when their *pictures* are the same at some severity of each: the same
//! faults in the same order at the same places, and the same channels that show anything. Those that share a picture under every
//! observation cannot be told apart by anything in this list of observations.
//!
//! Everything is a pure function of the settings, whatever the number of threads.

pub mod csv;
pub mod markdown;

mod confusion;
mod digits;
mod edge;
mod measured;
mod observation;
mod row;
mod subject;
mod twin;

pub use confusion::{Confusions, Group, Member};
pub use edge::Span;
pub use observation::Observation;
pub use row::{Danger, Raised, Row};
pub use subject::Subject;

use crate::case::{CaseError, StartError};
use crate::defect::Kind;
use crate::world::spec::PackSpec;
use serde::{Deserialize, Serialize};
use std::sync::atomic::AtomicBool;
use twin::Twin;

/// What a dictionary is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Seed of all noise and scatter.
    pub seed: u64,
    /// How many severities of each defect, either sign.
    pub severities: usize,
    /// Which defects.
    pub kinds: Vec<Kind>,
    /// Under which observations, by their place in [`Observation::ALL`].
    pub observations: Vec<usize>,
    /// Whether the edges of what is found are searched.
    pub edges: bool,
}

impl Settings {
    /// Everything, as the shipped table has it.
    #[must_use]
    pub fn whole() -> Self {
        Self {
            seed: 1,
            severities: 5,
            kinds: Kind::ALL.to_vec(),
            observations: (0..Observation::ALL.len()).collect(),
            edges: true,
        }
    }
}

/// One piece of work: a defect at a place under an observation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Question {
    /// What is wrong and where.
    pub subject: Subject,
    /// The observation's place in [`Observation::ALL`].
    pub observation: usize,
}

/// The answer to a question.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Entry {
    /// What is wrong and where.
    #[serde(flatten)]
    pub subject: Subject,
    /// The observation's name.
    pub observation: String,
    /// One row a severity, in rising order.
    pub rows: Vec<Row>,
    /// The severities that nothing finds, as far as they were tried; empty for what is only present or absent.
    pub undetected: Vec<Span>,
}

impl Entry {
    /// Whether it answers this question.
    #[must_use]
    pub fn answers(&self, question: &Question) -> bool {
        self.subject == question.subject
            && Observation::ALL.get(question.observation).is_some_and(|known| known.key == self.observation)
    }
}

/// What keeps a question from being answered.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Trouble {
    /// An observation is no accepted case.
    #[error("{0}")]
    Case(#[from] CaseError),
    /// A world cannot be built.
    #[error("{0}")]
    Start(#[from] StartError),
    /// The firmware finds a fault in the sound pack: nothing could be learnt from comparing with it.
    #[error("{observation}: {fault} is Confirmed on the sound pack at {seconds} s; accepted is none")]
    Unsound {
        /// The observation.
        observation: &'static str,
        /// The fault.
        fault: &'static str,
        /// When, in seconds from the start.
        seconds: f64,
    },
}

/// A dictionary to be made: its questions, and what they share.
#[derive(Debug)]
pub struct Dictionary {
    settings: Settings,
    /// One of each observation that is asked for.
    twins: Vec<(usize, Twin)>,
}

impl Dictionary {
    /// With these settings: plays the sound pack under each observation.
    ///
    /// # Errors
    /// When an observation makes no sense: the firmware finds a fault on the sound pack.
    pub fn new(settings: Settings) -> Result<Self, Trouble> {
        let twin = |place: &usize| Ok((*place, Twin::of(&Observation::ALL[*place], settings.seed)?));
        let twins = settings.observations.iter().map(twin).collect::<Result<_, Trouble>>()?;
        Ok(Self { settings, twins })
    }

    /// Its settings.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Every question, in the order of the table.
    #[must_use]
    pub fn questions(&self) -> Vec<Question> {
        let spec = PackSpec::trainer();
        let subjects = self.settings.kinds.iter().flat_map(|kind| Subject::of(*kind, &spec));
        let under = |subject| {
            self.settings.observations.iter().map(move |place| Question { subject, observation: *place })
        };
        subjects.flat_map(under).collect()
    }

    /// Answers a question; nothing when it was stopped, or is none of this dictionary.
    ///
    /// # Errors
    /// When a world cannot be built.
    pub fn answer(&self, question: &Question, stop: &AtomicBool) -> Result<Option<Entry>, Trouble> {
        match self.twins.iter().find(|(place, _)| *place == question.observation) {
            Some((_, twin)) => edge::entry(twin, question, &self.settings, stop),
            None => Ok(None),
        }
    }
}
