//! A fault of the real core on a pack that stands: one excursion from Clear, and plain sampling beside it.

use super::lean::{Lean, weight};
use super::splitting::{Effort, Excursion, Progress};
use crate::case::{Case, StartError};
use crate::run::Loop;
use crate::world::noise::Noise;
use bms_core::Fault;
use bms_core::fault::Stage;
use bms_core::witness::{Evidence, Witness};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// A pack that stands, with one fault looked at, which is Clear.
#[derive(Clone, Debug)]
pub struct Standing<const CELLS: usize, const THERMISTORS: usize> {
    now: Loop<CELLS, THERMISTORS>,
    fault: Fault,
    leans: Vec<Lean>,
    settles: u32,
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

/// What plain sampling saw.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Serialize)]
pub struct Watched {
    /// How often the fault became Confirmed.
    pub alarms: u64,
    /// Ticks at which it was Clear, so that an excursion could begin.
    pub ticks: u64,
}

/// Ticks after which plain sampling goes on from where the pack stood: nothing of it moves but the noise, and the story never ends.
const WINDOW: u64 = 6_000;

/// Stream of chance: noise of a window of plain sampling.
const PLAIN: u32 = 0x9a1a;

impl<const CELLS: usize, const THERMISTORS: usize> Standing<CELLS, THERMISTORS> {
    /// A pack as it stands at this time of a case, with calibration as the seed gives it.
    ///
    /// # Errors
    /// When the case cannot be played so far, or the fault is not Clear there.
    pub fn of(case: &Arc<Case>, fault: Fault, seconds: f64) -> Result<Self, StandingError> {
        Self::later(Loop::new(case)?, fault, seconds)
    }

    /// A pack as it stands at this time of its story, played on from where it is now.
    ///
    /// # Errors
    /// When the story ends before, or the fault is not Clear there.
    pub fn later(
        mut now: Loop<CELLS, THERMISTORS>,
        fault: Fault,
        seconds: f64,
    ) -> Result<Self, StandingError> {
        while now.seconds() < seconds {
            if now.over() {
                return Err(StandingError::Over { seconds });
            }
            now.advance(&mut ());
        }
        let standing = Self { now, fault, leans: Vec::new(), settles: 0 };
        if standing.clear() {
            Ok(standing)
        } else {
            Err(StandingError::NotClear { fault: fault.key(), seconds })
        }
    }

    /// The same with noise that leans in the readings with which an excursion begins; what leans already goes on to.
    #[must_use]
    pub fn leaning(mut self, lean: Lean) -> Self {
        self.leans.push(lean);
        self
    }

    /// The same with noise that does not lean.
    #[must_use]
    pub fn upright(self) -> Self {
        Self { leans: Vec::new(), ..self }
    }

    /// The same, where what is judged remembers earlier readings: so many ticks of other noise come first, to forget those that it stands with.
    /// An excursion that begins in them does not count: the estimate is too small by the share of their number times what it finds.
    #[must_use]
    pub fn settling(self, ticks: u32) -> Self {
        Self { settles: ticks, ..self }
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

    /// Ticks in an hour.
    #[must_use]
    pub fn ticks_per_hour(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a few milliseconds")]
        let tick_ms = self.now.case().tick_ms as f64;
        3_600_000.0 / tick_ms
    }

    /// What is done to learn how often noise alone carries the fault to Confirmed: with so many levels on the way through the dwell, so many
    /// that try to begin and copies at each level, and independent repeats.
    #[must_use]
    pub fn effort(&self, levels: u32, (begins, copies): (usize, usize), repeats: usize, seed: u64) -> Effort {
        let dwell = self.dwell_ticks();
        let mut places: Vec<u32> = (1..=levels.max(1)).map(|level| dwell * level / levels.max(1)).collect();
        places.dedup();
        Effort { levels: places, begins, copies, repeats, seed }
    }

    /// Plain sampling, to hold the rest against: so many hours in which the fault is Clear, and how often it becomes Confirmed from
    /// there. Each minute, and after each alarm, the pack is put back to where it stood, with other noise. Nothing when it was stopped.
    ///
    /// A window ends with the excursion that began in it, so that every tick counted has its whole chance of an alarm: the count over the hours
    /// is unbiased.
    #[must_use]
    pub fn watched(&self, hours: f64, seed: u64, stop: &AtomicBool) -> Option<Watched> {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some hours")]
        let wanted = (hours * self.ticks_per_hour()) as u64;
        let noise = Noise::new(seed);
        let mut so_far = Watched { alarms: 0, ticks: 0 };
        for window in 0.. {
            if so_far.ticks >= wanted {
                break;
            }
            if stop.load(Ordering::Relaxed) {
                return None;
            }
            let mut copy = self.clone();
            copy.settle(noise.of_run(window, PLAIN));
            let ends = wanted.min(so_far.ticks + WINDOW);
            // An excursion that noise has begun while it settled is none of this window.
            let mut counts = copy.clear();
            loop {
                if copy.clear() {
                    if so_far.ticks >= ends {
                        break;
                    }
                    counts = true;
                    so_far.ticks += 1;
                }
                copy.now.advance(&mut ());
                if copy.now.core.faults().confirmed.holds(self.fault) {
                    so_far.alarms += u64::from(counts);
                    break;
                }
            }
        }
        Some(so_far)
    }

    fn clear(&self) -> bool {
        let faults = self.now.core.faults();
        ![faults.suspect, faults.confirmed, faults.latched].iter().any(|set| set.holds(self.fault))
    }

    fn settle(&mut self, chance: u64) {
        self.now.world.renoise(chance);
        for _ in 0..self.settles {
            self.now.advance(&mut ());
        }
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
    /// An excursion begins where the last of the leaning readings finds the fault Clear and leaves it not so.
    fn begin(&mut self, chance: u64) -> (Progress, f64) {
        self.settle(chance);
        let mut heard = Stages { fault: self.fault, stage: None };
        let readings = self.leans.iter().map(|lean| lean.readings).max().unwrap_or(1);
        let (mut counts, mut clear) = (1.0, true);
        for back in (0..readings.max(1)).rev() {
            clear = self.clear();
            heard.stage = None;
            let lean = self.leans.iter().filter(|lean| back < lean.readings);
            let leans: Vec<_> = lean.map(|lean| (lean.channel, lean.before_last(back))).collect();
            let (measured, drawn) = self.now.measured_leaning(&leans);
            counts *=
                leans.iter().zip(drawn).map(|((_, sigmas), drawn)| weight(*sigmas, drawn)).product::<f64>();
            self.now.advance_on(&measured, &mut heard);
        }
        if clear { (self.progress(heard.stage), counts) } else { (Progress::Back, 0.0) }
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
