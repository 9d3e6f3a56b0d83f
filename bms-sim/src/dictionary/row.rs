//! What one defect of one severity does under one observation.

use crate::case::Case;
use crate::explain::verdict::{Criticality, Verdict};
use crate::explain::words;
use bms_core::fault::Reaction;
use bms_core::{Fault, Step};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// What one severity does.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Row {
    /// The severity, in the unit of the defect.
    pub severity: f64,
    /// The faults that became Confirmed, in order of time.
    pub faults: Vec<Raised>,
    /// The strongest reaction of them: what the firmware believes of the danger.
    pub belief: Option<Reaction>,
    /// Where the contactor sequence ends.
    pub ends: Step,
    /// What is true of the danger.
    pub danger: Danger,
    /// The channels that show it, whatever the firmware makes of them.
    pub measured: Vec<String>,
}

/// A fault that became Confirmed.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Raised {
    /// The fault.
    #[serde(serialize_with = "as_key", deserialize_with = "by_key")]
    pub fault: Fault,
    /// Where.
    pub place: String,
    /// How long after the onset of the defect, in seconds.
    pub seconds: f64,
    /// Its reaction.
    pub reaction: Reaction,
}

/// How dangerous the pack is in truth.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Danger {
    /// Whether it is dangerous as it stands, or would be unseen.
    pub criticality: Criticality,
    /// Why, as a sentence; empty when it is not.
    pub because: String,
    /// How long after the onset, had nothing reacted; nothing where the switching itself is the hazard.
    pub after_seconds: Option<f64>,
    /// Whether a bound is passed in the observation itself, reactions and limits and all.
    pub passed: bool,
}

impl Danger {
    /// By the verdict on a case.
    #[must_use]
    pub(super) fn of(verdict: &Verdict, case: &Case) -> Self {
        let hazard = verdict.without_reactions.as_ref().or(verdict.passed.as_ref());
        let after_seconds = verdict.seconds_to_hazard(case);
        Self {
            criticality: verdict.criticality(),
            because: match (hazard, verdict.blind) {
                (Some(breach), _) => words::breach(breach),
                (None, Some(blind)) => words::unseen(blind.unseen),
                (None, None) => String::new(),
            },
            after_seconds: after_seconds.map(|seconds| (seconds * 100.0).round() / 100.0),
            passed: verdict.passed.is_some(),
        }
    }
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
pub(crate) fn as_key<S: Serializer>(fault: &Fault, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(fault.key())
}

pub(crate) fn by_key<'de, D: Deserializer<'de>>(from: D) -> Result<Fault, D::Error> {
    let key = String::deserialize(from)?;
    let known = Fault::ALL.into_iter().find(|fault| fault.key() == key);
    known.ok_or_else(|| serde::de::Error::custom(format!("there is no fault {key}")))
}
