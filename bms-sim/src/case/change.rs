//! # A story that goes another way
//!
//! A [`Change`] is one thing that is otherwise from an instant on: a limit, the duty, an act, a defect more or one less. Changed so, a
//! case is the same story up to that instant, bit for bit, and another one from then on; it can be played from its start like any other.

use super::check::MOST_RATE;
use super::limits;
use super::{Act, Ask, Case, LimitChange, Phase, Work};
use crate::defect::{Defect, DefectError, Kind, MOST};
use bms_core::fault::FaultLimits;
use bms_core::frame::Replaced;
use bms_core::{ConfigError, Fault};
use std::time::Duration;

/// What is otherwise from an instant on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// The firmware has another trip limit of a fault, in the unit of the fault; its release limit moves along.
    Limit(Fault, f64),
    /// It has another dwell until Confirmed, in milliseconds.
    Dwell(Fault, u64),
    /// The crane does this work to the end of the story, with this many amperes, an amount: the work knows its sign.
    Duty(Work, f64),
    /// Operator or workshop acts.
    Act(Ask),
    /// This kind of defect begins at this place, counted from 0, with this severity.
    Inject(Kind, usize, f64),
    /// The defect at this place of the case's list ends; one that has not begun never does.
    Mend(usize),
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
    #[error("{found} A: accepted is 0 to {most} A; {work} knows by itself which way it flows")]
    Amps {
        /// Name of the work.
        work: &'static str,
        /// The amount asked for.
        found: f64,
        /// Most accepted.
        most: f64,
    },
    /// The defect makes no sense.
    #[error(transparent)]
    Defect(#[from] DefectError),
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
    /// The same story up to this time, in milliseconds from the start, with something otherwise from then on.
    ///
    /// # Errors
    /// When the change makes no sense in this case.
    pub fn changed(&self, at_ms: u64, change: &Change) -> Result<Self, Unchanged> {
        let seconds = Duration::from_millis(at_ms).as_secs_f64();
        let mut changed = self.clone();
        // With the digest of the text alone, two stories would look like one.
        changed.digest = super::digest(&format!("{:08x} from {at_ms} ms: {change:?}", self.digest));
        match *change {
            Change::Limit(fault, trip) => changed.limit(at_ms, fault, Some(trip), None)?,
            Change::Dwell(fault, dwell_ms) => changed.limit(at_ms, fault, None, Some(dwell_ms))?,
            Change::Duty(work, amps) => changed.work(seconds, work, amps)?,
            Change::Act(ask) => changed.act(at_ms, ask)?,
            Change::Inject(kind, place, severity) => {
                let defect = Defect { severity, ..Defect::usual(kind, place, seconds) };
                defect.check(&self.pack.spec())?;
                if changed.defects.len() >= MOST {
                    return Err(DefectError::TooMany.into());
                }
                changed.defects.push(defect);
            }
            Change::Mend(place) => changed.mend(seconds, place)?,
        }
        Ok(changed)
    }

    fn limit(
        &mut self,
        at_ms: u64,
        fault: Fault,
        trip: Option<f64>,
        dwell_ms: Option<u64>,
    ) -> Result<(), Unchanged> {
        if let Some(found) = trip {
            let range = limits::range(fault, self.pack, self.tick_ms);
            let (low, high, unit) = range.ok_or(Unchanged::NoLimit { fault: fault.key() })?;
            if !(low..=high).contains(&found) {
                return Err(Unchanged::Limit { fault: fault.key(), found, low, high, unit });
            }
        }
        let mut config = self.config;
        if let Some(latest) = self.later_limits.last() {
            config.faults = latest.limits;
        }
        let change = LimitChange { fault, trip, release: None, dwell_ms, release_dwell_ms: None };
        let limits = limits::changed_further(&config, change).map_err(Unchanged::Configuration)?;
        self.later_limits.push(LaterLimits { at_ms, limits });
        Ok(())
    }

    fn work(&mut self, seconds: f64, work: Work, amps: f64) -> Result<(), Unchanged> {
        let most = MOST_RATE * self.pack.ampere_hours();
        if !(0.0..=most).contains(&amps) {
            return Err(Unchanged::Amps { work: work.name(), found: amps, most });
        }
        self.duty.retain(|phase| phase.from_seconds < seconds);
        if let Some(last) = self.duty.last_mut() {
            last.seconds = last.seconds.min(seconds - last.from_seconds);
        }
        let amps = if work.usual_rate() == 0.0 { 0.0 } else { amps.copysign(work.usual_rate()) };
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
