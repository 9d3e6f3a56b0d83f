//! # A story that goes another way
//!
//! A [`Change`] is one thing that is otherwise from an instant on: limits, the duty, an act, a defect more or one less. Changed so, a
//! case is the same story up to that instant, bit for bit, and another one from then on; it can be played from its start like any other.
//!
//! A file says changes under `[[change]]`, in order of time, and a branch makes one where it parts. Both come here, so that a branch is
//! the case whose text has its change at the end.

use super::check::MOST_RATE;
use super::limits;
use super::{Act, Ask, Case, LimitChange, Phase, Repaired, Work, edit};
use crate::defect::{Defect, DefectError, MOST};
use crate::repair::{NoSuchPlace, Repair};
use bms_core::fault::FaultLimits;
use bms_core::frame::Replaced;
use bms_core::{Config, ConfigError};
use serde::{Serialize, Serializer};
use std::time::Duration;

/// What is otherwise from an instant on.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// The firmware has these limits. What a change leaves out stays as it is, and a release limit moves along with its trip limit.
    Limits(Vec<LimitChange>),
    /// The crane does this to the end of the story.
    Duty {
        /// The work.
        work: Work,
        /// Its strength in C, an amount: the work knows its sign, or that it has none.
        rate_c: f64,
    },
    /// Operator or workshop acts.
    Act(Ask),
    /// This defect begins, at the instant of the change whatever its onset says.
    #[serde(serialize_with = "super::as_defect")]
    Defect(Defect),
    /// The defect at this place of the case's list, from 0, ends; one that has not begun never does, and those behind it move up.
    #[serde(serialize_with = "from_1")]
    Mend(usize),
    /// The workshop puts a new part in.
    Repair(Repair),
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
fn from_1<S: Serializer>(place: &usize, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_u64(*place as u64 + 1)
}

impl Change {
    /// The same as it is from this instant on: a defect begins then, and what has no strength has none.
    fn beginning(self, seconds: f64) -> Self {
        match self {
            Self::Defect(defect) => Self::Defect(Defect { onset_seconds: seconds, ..defect }),
            Self::Duty { work, .. } if work.usual_rate() == 0.0 => Self::Duty { work, rate_c: 0.0 },
            Self::Limits(_) | Self::Duty { .. } | Self::Act(_) | Self::Mend(_) | Self::Repair(_) => self,
        }
    }
}

/// A change of the story.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Changed {
    /// When, in milliseconds from the start.
    pub at_ms: u64,
    /// What is otherwise from then on.
    pub change: Change,
}

impl Changed {
    /// When, in seconds from the start.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        Duration::from_millis(self.at_ms).as_secs_f64()
    }
}

/// Why a case is not changed so.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Unchanged {
    /// The fault is found by its own rule.
    #[error("{fault}: it has no limit to set; accepted is its dwell")]
    NoLimit {
        /// Key of the fault.
        fault: &'static str,
    },
    /// The limit lies outside of what makes sense.
    #[error("{fault} = {found} {unit}: accepted is {low} to {high} {unit}")]
    Limit {
        /// Key of the fault.
        fault: &'static str,
        /// The limit asked for.
        found: f64,
        /// Least accepted.
        low: f64,
        /// Most accepted.
        high: f64,
        /// Unit of all three.
        unit: &'static str,
    },
    /// The firmware's own check refuses the limits.
    #[error("{}", .0.to_string().replace("faults.", "limits."))]
    Configuration(ConfigError),
    /// More current than makes sense.
    #[error(
        "{found} C: accepted is 0 to {most} C, {amps} A of this pack; {work} knows by itself which way it flows"
    )]
    Rate {
        /// Name of the work.
        work: &'static str,
        /// The amount asked for, in C.
        found: f64,
        /// Most accepted, in C.
        most: f64,
        /// The same in amperes.
        amps: f64,
    },
    /// The defect makes no sense.
    #[error(transparent)]
    Defect(#[from] DefectError),
    /// There is no such place.
    #[error(transparent)]
    Repair(#[from] NoSuchPlace),
    /// There is no such defect.
    #[error("there is no defect {found}; accepted is 1 to {count}")]
    NoSuchDefect {
        /// The one asked for, counted from 1.
        found: usize,
        /// How many there are.
        count: usize,
    },
    /// It has ended already.
    #[error("defect {found} has ended already")]
    EndedAlready {
        /// The one asked for, counted from 1.
        found: usize,
    },
    /// There is no such cell.
    #[error("there is no cell {found}; accepted is 1 to {count}")]
    NoSuchCell {
        /// The one asked for, counted from 1.
        found: usize,
        /// How many there are.
        count: u64,
    },
    /// The firmware takes one of a kind in a step of time.
    #[error("{ask} is asked for already in this step of time; accepted is one of a kind in each")]
    AskedAlready {
        /// What is asked for.
        ask: &'static str,
    },
    /// Nothing comes any more that could be otherwise.
    #[error("the story is over here; accepted is an earlier tick")]
    Over,
}

/// Limits that the firmware takes at an instant.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct LaterLimits {
    pub(crate) at_ms: u64,
    pub(crate) limits: FaultLimits,
}

impl Case {
    /// The same story up to this time, in milliseconds from the start, with something otherwise from then on: the case that is read from
    /// its [text](Case::text). It expects nothing, since what was expected of the story before need not come out of this one.
    ///
    /// # Errors
    /// When the change makes no sense in this case.
    pub fn changed(&self, at_ms: u64, change: &Change) -> Result<Self, Unchanged> {
        let mut changed = self.clone();
        changed.change(at_ms, change)?;
        changed.expect = None;
        changed.text = edit::with_change(&self.file(), at_ms, change).into();
        changed.digest = super::digest(&changed.text);
        Ok(changed)
    }

    /// The text of a file from which this case is read: its own, with the seed that it is played with.
    #[must_use]
    pub fn file(&self) -> String {
        edit::with_seed(&self.text, self.seed)
    }

    /// Something is otherwise from this time on; no change before it is later.
    pub(super) fn change(&mut self, at_ms: u64, change: &Change) -> Result<(), Unchanged> {
        let seconds = Duration::from_millis(at_ms).as_secs_f64();
        let change = change.clone().beginning(seconds);
        self.changes.push(Changed { at_ms, change: change.clone() });
        match change {
            Change::Limits(changes) => self.limit(&changes),
            Change::Duty { work, rate_c } => self.work(seconds, work, rate_c),
            Change::Act(ask) => self.act(at_ms, ask),
            Change::Defect(defect) => {
                defect.check(&self.pack.spec())?;
                if self.defects.len() >= MOST {
                    return Err(DefectError::TooMany.into());
                }
                self.defects.push(defect);
                Ok(())
            }
            Change::Mend(place) => self.mend(seconds, place),
            Change::Repair(repair) => {
                repair.check(&self.pack.spec())?;
                let place = self.repairs.partition_point(|repaired| repaired.at_ms <= at_ms);
                self.repairs.insert(place, Repaired { at_ms, repair });
                Ok(())
            }
        }
    }

    fn limit(&mut self, changes: &[LimitChange]) -> Result<(), Unchanged> {
        for LimitChange { fault, trip, release, .. } in changes {
            for found in [*trip, *release].into_iter().flatten() {
                let range = limits::range(*fault, self.pack, self.tick_ms);
                let (low, high, unit) = range.ok_or(Unchanged::NoLimit { fault: fault.key() })?;
                if !(low..=high).contains(&found) {
                    return Err(Unchanged::Limit { fault: fault.key(), found, low, high, unit });
                }
            }
        }
        self.later_limits = later_limits(&self.config, &self.changes).map_err(Unchanged::Configuration)?;
        Ok(())
    }

    fn work(&mut self, seconds: f64, work: Work, rate_c: f64) -> Result<(), Unchanged> {
        let hours = self.pack.ampere_hours();
        if !(0.0..=MOST_RATE).contains(&rate_c) {
            let (found, most, amps) = (rate_c, MOST_RATE, MOST_RATE * hours);
            return Err(Unchanged::Rate { work: work.name(), found, most, amps });
        }
        self.duty.retain(|phase| phase.from_seconds < seconds);
        if let Some(last) = self.duty.last_mut() {
            last.seconds = last.seconds.min(seconds - last.from_seconds);
        }
        let amps = rate_c.copysign(work.usual_rate()) * hours;
        let left = (self.duration_seconds - seconds).max(0.0);
        self.duty.push(Phase { work, from_seconds: seconds, seconds: left, amps });
        Ok(())
    }

    fn act(&mut self, at_ms: u64, ask: Ask) -> Result<(), Unchanged> {
        if let Ask::Replace(Replaced::Cell(cell)) = ask {
            let (found, count) = (usize::from(cell) + 1, self.pack.cells());
            if found as u64 > count {
                return Err(Unchanged::NoSuchCell { found, count });
            }
        }
        let step_ms = self.rest_ms.unwrap_or(self.tick_ms);
        let near = |act: &Act| act.ask.name() == ask.name() && act.at_ms.abs_diff(at_ms) < step_ms;
        if ask.is_brief() && self.acts.iter().any(near) {
            return Err(Unchanged::AskedAlready { ask: ask.name() });
        }
        let place = self.acts.partition_point(|act| act.at_ms <= at_ms);
        self.acts.insert(place, Act { at_ms, ask });
        Ok(())
    }

    fn mend(&mut self, seconds: f64, place: usize) -> Result<(), Unchanged> {
        let count = self.defects.len();
        let defect =
            self.defects.get_mut(place).ok_or(Unchanged::NoSuchDefect { found: place + 1, count })?;
        if defect.end_seconds.is_some_and(|end| end <= seconds) {
            return Err(Unchanged::EndedAlready { found: place + 1 });
        }
        if defect.onset_seconds < seconds {
            defect.end_seconds = Some(seconds);
        } else {
            self.defects.remove(place);
        }
        Ok(())
    }
}

/// The limits that the firmware takes later: each change on top of all before it, the configuration first.
pub(super) fn later_limits(config: &Config, changes: &[Changed]) -> Result<Vec<LaterLimits>, ConfigError> {
    let mut later: Vec<LaterLimits> = Vec::new();
    for Changed { at_ms, change } in changes {
        let Change::Limits(changes) = change else { continue };
        let faults = later.last().map_or(config.faults, |latest| latest.limits);
        let limits = limits::changed_further(&Config { faults, ..*config }, changes)?;
        later.push(LaterLimits { at_ms: *at_ms, limits });
    }
    Ok(later)
}
