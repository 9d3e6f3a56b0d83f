//! What is kept of a run.

use crate::dictionary::{as_key, by_key};
use bms_core::Fault;
use serde::{Deserialize, Serialize};

/// The runs that are the same pack under the same duty until their defect begins, and that pack without the defect.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Prefix {
    /// Its number, from 1.
    pub prefix: usize,
    /// The sound pack, under each setting in turn.
    pub sound: Vec<Fate>,
    /// The runs, each with its defect; none for a case without one.
    pub runs: Vec<Run>,
}

/// One pack with its defect.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Run {
    /// Its number, from 1.
    pub run: usize,
    /// Which of the cases, from 1.
    pub case: usize,
    /// Seed of noise and scatter.
    pub seed: u64,
    /// What was drawn, in the order of the survey.
    pub drawn: Vec<f64>,
    /// When the first defect begins, in seconds from the start.
    pub onset_seconds: f64,
    /// What became of it, under each setting in turn.
    pub fates: Vec<Fate>,
    /// From the onset to the first safe bound that truth passes if nothing reacts, in seconds; nothing where none is passed as far as was looked.
    pub hazard_seconds: Option<f64>,
}

/// What became of a pack under one setting.
#[derive(Clone, Copy, Debug, Default, Deserialize, PartialEq, Serialize)]
pub struct Fate {
    /// The first fault of all that became Confirmed.
    pub first: Option<Found>,
    /// The first of those that count.
    pub counted: Option<Found>,
    /// How long it was watched, in seconds: to the first fault that counts, or to the end.
    pub watched_seconds: f64,
}

/// A fault that became Confirmed.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Serialize)]
pub struct Found {
    /// The fault.
    #[serde(serialize_with = "as_key", deserialize_with = "by_key")]
    pub fault: Fault,
    /// When, in seconds from the start.
    pub seconds: f64,
}

impl Run {
    /// From the onset to the first fault that counts, in seconds; nothing where none came after it.
    #[must_use]
    pub fn delay_seconds(&self, setting: usize) -> Option<f64> {
        let found = self.fates.get(setting)?.counted?;
        (found.seconds >= self.onset_seconds).then_some(found.seconds - self.onset_seconds)
    }

    /// From the first fault that counts to the hazard, in seconds, less than none where it came too late; nothing where there is no hazard or
    /// nothing was found.
    #[must_use]
    pub fn margin_seconds(&self, setting: usize) -> Option<f64> {
        Some(self.hazard_seconds? - self.delay_seconds(setting)?)
    }
}
