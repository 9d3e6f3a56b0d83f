//! A fault of the real core on a pack that stands: one excursion from Clear.

use super::Alarms;
use super::lean::Lean;
use super::splitting::{Effort, Excursion, Progress, estimate};
use crate::case::{Case, StartError};
use crate::run::Loop;
use bms_core::Fault;
use bms_core::fault::Stage;
use bms_core::witness::{Evidence, Witness};
use std::sync::Arc;

/// A pack that stands, with one fault looked at, which is Clear.
#[derive(Clone, Debug)]
pub struct Standing<const CELLS: usize, const THERMISTORS: usize> {
    now: Loop<CELLS, THERMISTORS>,
    fault: Fault,
    lean: Option<Lean>,
}

/// Why nothing can be said of a pack that stands so.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StandingError {
    /// Its world cannot be built.
    #[error(transparent)]
    Start(#[from] StartError),
    /// The story is over before the pack stands.
    #[error("the story ends before {seconds} s; accepted is an earlier time")]
    Over {
        /// The time asked for, in seconds.
        seconds: f64,
    },
    /// The fault is not Clear there.
    #[error("{fault} is not Clear at {seconds} s; accepted is a pack that nothing is wrong with there")]
    NotClear {
        /// The fault's key.
        fault: &'static str,
        /// When, in seconds.
        seconds: f64,
    },
}

impl<const CELLS: usize, const THERMISTORS: usize> Standing<CELLS, THERMISTORS> {
    /// A pack as it stands at this time of a case, with calibration as the seed gives it.
    ///
    /// # Errors
    /// When the case cannot be played so far, or the fault is not Clear there.
    pub fn of(case: &Arc<Case>, fault: Fault, seconds: f64) -> Result<Self, StandingError> {
        let mut now = Loop::new(case)?;
        while now.seconds() < seconds {
            if now.over() {
                return Err(StandingError::Over { seconds });
            }
            now.advance(&mut ());
        }
        let standing = Self { now, fault, lean: None };
        let faults = standing.now.core.faults();
        let taken = [faults.suspect, faults.confirmed, faults.latched];
        if taken.iter().any(|set| set.holds(fault)) {
            return Err(StandingError::NotClear { fault: fault.key(), seconds });
        }
        Ok(standing)
    }

    /// The same with noise that leans in the first reading of an excursion.
    #[must_use]
    pub fn leaning(self, lean: Lean) -> Self {
        Self { lean: Some(lean), ..self }
    }

    /// The loop where it stands.
    #[must_use]
    pub const fn stands(&self) -> &Loop<CELLS, THERMISTORS> {
        &self.now
    }

    /// How many ticks the dwell of the fault takes, after the first reading beyond.
    #[must_use]
    pub fn dwell_ticks(&self) -> u32 {
        let case = self.now.case();
        let tick_ms = u32::try_from(case.tick_ms).unwrap_or(u32::MAX).max(1);
        case.config().faults.shown(self.fault).dwell.0.div_ceil(tick_ms)
    }

    /// How often noise alone accuses it: with so many levels on the way through the dwell, copies at each, and independent repeats.
    #[must_use]
    pub fn alarms(&self, levels: u32, copies: usize, repeats: usize, seed: u64) -> Alarms {
        let dwell = self.dwell_ticks();
        let mut places: Vec<u32> = (1..=levels.max(1)).map(|level| dwell * level / levels.max(1)).collect();
        places.dedup();
        let a_tick = estimate(self, &Effort { levels: places, copies, repeats, seed });
        #[expect(clippy::cast_precision_loss, reason = "a few milliseconds")]
        let ticks_per_hour = 3_600_000.0 / self.now.case().tick_ms as f64;
        Alarms {
            fault: self.fault.key().to_owned(),
            ticks_per_hour,
            per_hour: a_tick.probability * ticks_per_hour,
            low_per_hour: a_tick.low * ticks_per_hour,
            high_per_hour: a_tick.high * ticks_per_hour,
            a_tick,
        }
    }

    /// Plain sampling, to hold the rest against: plays so many hours on and counts how often the fault becomes Confirmed. After each the pack is put
    /// back to where it stood.
    #[must_use]
    pub fn counted(&self, hours: f64, seed: u64) -> u64 {
        let mut alarms = 0;
        let mut ticks = 0.0;
        #[expect(clippy::cast_precision_loss, reason = "a few milliseconds")]
        let wanted = hours * 3_600_000.0 / self.now.case().tick_ms as f64;
        while ticks < wanted {
            let mut copy = self.now.clone();
            copy.world.renoise(seed.wrapping_add(alarms));
            while ticks < wanted && !copy.core.faults().confirmed.holds(self.fault) {
                copy.advance(&mut ());
                ticks += 1.0;
            }
            alarms += u64::from(copy.core.faults().confirmed.holds(self.fault));
        }
        alarms
    }

    /// How far it has come: dwell ticks that have run, all of them when it is Confirmed.
    fn progress(&self, stage: Option<Stage>) -> Progress {
        let tick_ms = u32::try_from(self.now.case().tick_ms).unwrap_or(u32::MAX).max(1);
        match stage {
            Some(Stage::Suspect { held, .. }) => Progress::At(held.0.checked_div(tick_ms).unwrap_or(0)),
            Some(Stage::Confirmed { .. }) => Progress::At(self.dwell_ticks()),
            Some(Stage::Clear | Stage::Latched) | None => Progress::Back,
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Excursion for Standing<CELLS, THERMISTORS> {
    fn begin(&mut self, chance: u64) -> (Progress, f64) {
        self.now.world.renoise(chance);
        let mut heard = Stages { fault: self.fault, stage: None };
        let (measured, weight) = match self.lean {
            None => (self.now.measured(), 1.0),
            Some(lean) => {
                let (measured, drawn) = self.now.measured_leaning((lean.channel, lean.sigmas));
                (measured, lean.weight(drawn))
            }
        };
        self.now.advance_on(&measured, &mut heard);
        (self.progress(heard.stage), weight)
    }

    fn step(&mut self, chance: u64) -> Progress {
        self.now.world.renoise(chance);
        let mut heard = Stages { fault: self.fault, stage: None };
        self.now.advance(&mut heard);
        self.progress(heard.stage)
    }
}

/// Hears the furthest stage of one fault in a tick.
struct Stages {
    fault: Fault,
    stage: Option<Stage>,
}

impl Witness for Stages {
    fn saw(&mut self, evidence: Evidence) {
        let far = |stage: &Stage| match stage {
            Stage::Clear | Stage::Latched => 0,
            Stage::Suspect { held, .. } => held.0.saturating_add(1),
            Stage::Confirmed { .. } => u32::MAX,
        };
        if let Evidence::Assessed(seen) = evidence
            && seen.fault == self.fault
            && self.stage.as_ref().is_none_or(|stage| far(stage) < far(&seen.stage))
        {
            self.stage = Some(seen.stage);
        }
    }
}
