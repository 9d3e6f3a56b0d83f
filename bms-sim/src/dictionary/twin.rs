//! What all defects share under one observation: the twin's frames and decisions, and how a healthy pack is driven.

use super::Trouble;
use super::measured::Departed;
use super::observation::Observation;
use super::row::{Danger, Raised, Row};
use super::subject::Subject;
use crate::case::Case;
use crate::defect::Defect;
use crate::explain::sound::Sound;
use crate::explain::words;
use crate::run::Loop;
use crate::world::Actuators;
use bms_core::fault::{FaultSet, Reaction};
use bms_core::{Fault, Frame, Step};
use std::sync::Arc;

/// Cells of the pack under observation.
pub(super) const CELLS: usize = 16;
/// Its thermistors.
pub(super) const THERMISTORS: usize = 8;

/// How long a pack is observed after the firmware has opened it, or kept it open, on a fault: what follows is the workshop's.
const AFTERWARDS_SECONDS: f64 = 60.0;

type Played = Loop<CELLS, THERMISTORS>;

/// The sound pack under one observation.
#[derive(Debug)]
pub(super) struct Twin {
    onset_seconds: f64,
    case: Case,
    ticks: Vec<(Frame<CELLS, THERMISTORS>, Actuators)>,
    sound: Sound<CELLS, THERMISTORS>,
}

impl Twin {
    /// Plays the sound pack.
    pub(super) fn of(observation: &Observation, seed: u64) -> Result<Self, Trouble> {
        let case = observation.case(seed)?;
        let mut played = Played::new(&Arc::new(case.clone()))?;
        let mut ticks = Vec::new();
        while !played.over() {
            let frame = played.frame();
            let decision = played.advance(&mut ());
            if let Some(fault) = decision.faults.confirmed.iter().next() {
                return Err(Trouble::Unsound {
                    observation: observation.key,
                    fault: fault.key(),
                    seconds: played.seconds(),
                });
            }
            ticks.push((frame, driven(&Actuators::from(&decision))));
        }
        let onset_seconds = observation.onset_seconds;
        let sound = Sound::of(&case, onset_seconds)?;
        Ok(Self { onset_seconds, case, ticks, sound })
    }

    /// Whether any fault becomes Confirmed.
    pub(super) fn found(&self, subject: Subject, severity: f64) -> Result<bool, Trouble> {
        let mut played = self.play(subject.defect(severity, self.onset_seconds))?;
        while !played.over() {
            if !played.advance(&mut ()).faults.confirmed.is_empty() {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Everything that this defect does.
    pub(super) fn row(&self, subject: Subject, severity: f64) -> Result<Row, Trouble> {
        let defect = subject.defect(severity, self.onset_seconds);
        let mut played = self.play(defect)?;
        let bounds = played.world.spec().safe;
        let sensors = played.world.spec().sensors.clone();
        let (mut known, mut faults) = (FaultSet::EMPTY, Vec::new());
        let (mut departed, mut passed) = (Departed::default(), None);
        let mut twins = self.ticks.iter();
        let mut opened = None;
        while !played.over() && opened.is_none_or(|at| played.seconds() < at + AFTERWARDS_SECONDS) {
            let measured = played.measured();
            // In step with the twin until something reacts.
            if let Some((frame, _)) = twins.as_slice().first() {
                let seen = played.reaching(&measured);
                if seen.at == frame.at {
                    departed.compare(&seen, frame, &sensors);
                } else {
                    twins = [].iter();
                }
            }
            let decision = played.advance_on(&measured, &mut ());
            if twins.next().is_some_and(|(_, drives)| *drives != driven(&Actuators::from(&decision))) {
                twins = [].iter();
            }
            for fault in decision.faults.confirmed.iter() {
                if !known.holds(fault) {
                    known.insert(fault);
                    faults.push(self.raised(&played, fault));
                }
            }
            if faults.iter().any(|raised| raised.reaction >= Reaction::OpenSoon) && stands_open(decision.step)
            {
                opened = opened.or(Some(played.seconds()));
            }
            passed = passed.or_else(|| bounds.first_breach(&played.world.truth()));
        }
        let verdict = self.sound.verdict(defect, passed)?;
        Ok(Row {
            severity,
            belief: faults.iter().map(|raised: &Raised| raised.reaction).max(),
            faults,
            ends: played.core.step(),
            danger: Danger::of(&verdict, played.case()),
            measured: departed.names(),
        })
    }

    fn play(&self, defect: Defect) -> Result<Played, Trouble> {
        Ok(Played::new(&Arc::new(self.case.with_defect(defect)))?)
    }

    fn raised(&self, played: &Played, fault: Fault) -> Raised {
        let record =
            played.core.memory().records().filter(|record| record.fault == fault && record.count > 0);
        let place = record.max_by_key(|record| record.last).map(|record| words::place(record.place));
        Raised {
            fault,
            place: place.unwrap_or_default(),
            seconds: ((played.seconds() - self.onset_seconds) * 100.0).round() / 100.0,
            reaction: self.case.config().faults.reaction(fault),
        }
    }
}

/// Whether the contactors stand open and nothing is under way.
const fn stands_open(step: Step) -> bool {
    matches!(step, Step::Open | Step::Barred)
}

/// Drives alike: but for the current limits, which follow every reading.
const fn driven(actuators: &Actuators) -> Actuators {
    Actuators { charge_limit_amps: 0.0, discharge_limit_amps: 0.0, ..*actuators }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::defect::Kind;

    /// At rest steps are larger, and still a reading is compared with the one that the sound pack gives at that instant.
    #[test]
    fn what_is_wrong_at_rest_is_measured_there() {
        let rest = Observation::ALL.iter().find(|observation| observation.key == "rest").unwrap();
        let twin = Twin::of(rest, 1).unwrap();
        let row = |kind, severity| twin.row(Subject { kind, place: 5 }, severity).unwrap();
        assert!(row(Kind::CellChannelOffset, 78.0).measured.contains(&"one cell".to_owned()));
        assert_eq!(row(Kind::CellChannelOffset, 0.3).measured, [""; 0]);
    }
}
