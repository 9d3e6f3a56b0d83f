//! # One tick of the closed loop
//!
//! The only place of the library where the loop closes: measure, decide, act, let time pass. The
//! [verdict](crate::explain::verdict) drives a second world with the decisions made here, which never hear of that world.
//!
//! ```text
//! frame = board.sample(world.measure(tick))  →  decision = core.tick(frame)  →  world.step(dt, board.act(decision), duty)
//! ```
//!
//! Between world and core stands the binding that a real board runs, over simulated pins.
//!
//! World, board, core, duty and operator together are plain data: a clone is a snapshot, and a clone that is run on stays equal to the
//! original, bit for bit.

mod dark;
mod flip;
mod standing;
mod transit;

use crate::case::{Case, Repaired, StartError};
use crate::repair::Repair;
use crate::world::World;
use crate::world::board::SimulatedBoard;
use crate::world::sensor::Channel;
use bms_core::config::Fitted;
use bms_core::{Config, Controller, Decision, Frame, Step, Witness};
use dark::Memory;
#[cfg(test)]
pub(crate) use dark::dropped;
use standing::Standing;
use std::sync::Arc;
use transit::Transit;

/// Milliseconds in a second.
const MS: f64 = 1_000.0;

/// A pack, its firmware and its story at one instant.
#[derive(Clone, Debug)]
pub struct Loop<const CELLS: usize, const THERMISTORS: usize> {
    case: Arc<Case>,
    /// Truth.
    pub world: World<CELLS, THERMISTORS>,
    board: SimulatedBoard<CELLS, THERMISTORS>,
    /// The firmware.
    pub core: Controller<CELLS, THERMISTORS>,
    /// The number of the next tick; the first one is 0.
    pub tick: u64,
    /// Time of the next tick from the start, in milliseconds.
    pub at_ms: u64,
    step_ms: u64,
    transit: Transit<CELLS, THERMISTORS>,
    /// The configuration as it was before a bit of it flipped.
    sound_config: Option<Box<Config>>,
    /// What the firmware answered last.
    pub decision: Option<Decision<CELLS>>,
    /// How the pack stood in the tick before, while it may rest in larger steps.
    stood: Option<Standing>,
    memory: Memory,
    /// How often the firmware has begun anew after a loss of its supply.
    pub restarts: u32,
}

impl<const CELLS: usize, const THERMISTORS: usize> Loop<CELLS, THERMISTORS> {
    /// A case at its start.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack.
    pub fn new(case: &Arc<Case>) -> Result<Self, StartError> {
        let world = case.world()?;
        let config = case.config();
        let config = config.fit().unwrap_or_else(|error| Fitted::barred(*config, error));
        let mut now = Self {
            case: Arc::clone(case),
            board: SimulatedBoard::new(&world.spec().sensors, &config)?,
            world,
            core: Controller::new(config).with_wear(case.start.counted_wear()),
            tick: 0,
            at_ms: 0,
            step_ms: case.tick_ms,
            transit: Transit::new(case.seed),
            sound_config: None,
            decision: None,
            stood: None,
            memory: Memory::new(case),
            restarts: 0,
        };
        now.mend(None);
        Ok(now)
    }

    /// The case that is played.
    #[must_use]
    pub fn case(&self) -> &Arc<Case> {
        &self.case
    }

    /// Time from the start in seconds.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "2⁵³ ms are 285 000 years")]
    pub fn seconds(&self) -> f64 {
        self.at_ms as f64 / MS
    }

    /// Whether the story is over: its time has come, or the controller has lost its supply for longer than it lives on its store and does
    /// not get it back.
    #[must_use]
    pub fn over(&self) -> bool {
        self.seconds() >= self.case.duration_seconds || !self.world.supply.feeds_controller()
    }

    /// What reaches the firmware in the next tick: what the sensors see and what it is asked, unless something befalls it on the way.
    #[must_use]
    pub fn frame(&self) -> Frame<CELLS, THERMISTORS> {
        self.reaching(&self.measured())
    }

    /// What the sensors see in the next tick, and what is asked.
    pub(crate) fn measured(&self) -> Frame<CELLS, THERMISTORS> {
        let asked = self.case.asked_at(self.at_ms, self.step_ms);
        self.world.measure(self.tick, self.transit.clock(self.at_ms), asked)
    }

    /// The same with noise of which some channels lean by so many standard deviations. Their draws as they were come too.
    pub(crate) fn measured_leaning(&self, leans: &[(Channel, f64)]) -> (Frame<CELLS, THERMISTORS>, Vec<f64>) {
        let asked = self.case.asked_at(self.at_ms, self.step_ms);
        self.world.measure_leaning(leans, self.tick, self.transit.clock(self.at_ms), asked)
    }

    /// What of it reaches the firmware.
    pub(crate) fn reaching(&self, measured: &Frame<CELLS, THERMISTORS>) -> Frame<CELLS, THERMISTORS> {
        self.transit.reaching(measured, &self.world.deviations().transit, self.tick, self.at_ms)
    }

    /// Plays one tick: measures, lets the firmware decide, lets time pass under its decision.
    pub fn advance<W: Witness>(&mut self, witness: &mut W) -> Decision<CELLS> {
        self.advance_on(&self.measured(), witness)
    }

    /// The same with what was measured already.
    pub(crate) fn advance_on<W: Witness>(
        &mut self,
        measured: &Frame<CELLS, THERMISTORS>,
        witness: &mut W,
    ) -> Decision<CELLS> {
        self.advance_deciding(measured, |core, frame| core.tick(frame, witness))
    }

    /// The same, decided by whoever is told: with the firmware as it stands before the tick, and with what reaches it.
    pub(crate) fn advance_deciding(
        &mut self,
        measured: &Frame<CELLS, THERMISTORS>,
        decide: impl FnOnce(&mut Controller<CELLS, THERMISTORS>, &Frame<CELLS, THERMISTORS>) -> Decision<CELLS>,
    ) -> Decision<CELLS> {
        let frame = self.begin(measured);
        let decision = decide(&mut self.core, &frame);
        self.end(&decision);
        decision
    }

    /// The first half of a tick: what was measured is on its way, and what of it reaches the firmware is given.
    pub(crate) fn begin(&mut self, measured: &Frame<CELLS, THERMISTORS>) -> Frame<CELLS, THERMISTORS> {
        let measured = self.board.sample(measured);
        let wrong = self.world.deviations().transit;
        let frame = self.transit.reaching(&measured, &wrong, self.tick, self.at_ms);
        self.transit.pass(&measured, &frame, &wrong, self.at_ms);
        self.flip_bit(wrong.bit_flipped);
        frame
    }

    /// The second half: time passes under what the firmware decided.
    pub(crate) fn end(&mut self, decision: &Decision<CELLS>) {
        let wrong = self.world.deviations().transit;
        self.memory.keep(&self.core);
        let loss = self.case.power_lost_at(self.at_ms, self.step_ms);
        let duty = self.case.demand_at(self.seconds());
        let step_ms = if loss.is_some() { self.case.tick_ms } else { self.next_step(decision) };
        let step_ms = step_ms + wrong.tick_late_ms;
        #[expect(clippy::cast_precision_loss, reason = "a step is less than a minute and some seconds")]
        let step = step_ms as f64;
        self.world.step(step / MS, &self.board.act(decision), &duty.demand);
        self.transit.run_clock(step, &wrong);
        self.tick += 1;
        let before = self.at_ms;
        self.at_ms += step_ms;
        self.mend(Some(before));
        self.step_ms = step_ms;
        self.decision = Some(*decision);
        self.lose_power(loss);
    }

    /// Puts in the new parts that are due since the tick before, which was at that time. Their places were checked at the start.
    fn mend(&mut self, before_ms: Option<u64>) {
        let due = |at_ms: u64| at_ms <= self.at_ms && before_ms.is_none_or(|before| at_ms > before);
        for repaired in &self.case.repairs {
            if due(repaired.at_ms) {
                let _mended = self.world.repair(&repaired.repair);
            }
        }
        self.limit_anew(before_ms);
    }

    /// Goes on with another case that is the same up to here, the changes of this instant included.
    pub(crate) fn turn_to(&mut self, case: Arc<Case>) {
        let before = std::mem::replace(&mut self.case, case);
        // Repairs of this instant that are in the new story only; those of both were made when it came.
        let due = |repaired: &&Repaired| repaired.at_ms == self.at_ms;
        let made = before.repairs.iter().filter(due).count();
        let more: Vec<Repair> =
            self.case.repairs.iter().filter(due).skip(made).map(|repaired| repaired.repair).collect();
        let (before, now) = (&before.defects, &self.case.defects);
        if now.len() < before.len() {
            let mut kept = 0;
            for defect in before {
                if now.get(kept) == Some(defect) {
                    kept += 1;
                } else {
                    self.world.forget(kept);
                }
            }
        } else {
            for (place, defect) in now.iter().enumerate() {
                match before.get(place) {
                    Some(same) if same == defect => {}
                    Some(_) => self.world.amend(place, *defect),
                    None => self.world.expect(place, *defect),
                }
            }
        }
        for repair in &more {
            let _mended = self.world.repair(repair);
        }
        self.limit_anew(self.at_ms.checked_sub(1));
    }

    /// Takes the limits that are due since the tick before. They were checked when the case was made.
    fn limit_anew(&mut self, before_ms: Option<u64>) {
        let due = |at_ms: u64| at_ms <= self.at_ms && before_ms.is_none_or(|before| at_ms > before);
        let latest = self.case.later_limits().iter().rfind(|later| due(later.at_ms));
        if let Some(later) = latest
            && self.core.limit_anew(later.limits).is_ok()
        {
            self.sound_config = None;
        }
    }

    /// Flips a bit of the firmware's configuration in its memory, or writes it anew.
    fn flip_bit(&mut self, flipped: bool) {
        match (flipped, &self.sound_config) {
            (true, None) => {
                let sound = Box::new(**self.core.config());
                let other = flip::flipped(&sound, self.case.seed);
                self.core.disturb(|config| *config = other);
                self.sound_config = Some(sound);
            }
            (false, Some(sound)) => {
                self.core.disturb(|config| *config = **sound);
                self.sound_config = None;
            }
            (true, Some(_)) | (false, None) => {}
        }
    }

    /// The length of this tick: larger, if the case allows it, while the contactors stand open, no dwell runs and nothing moves, so that no
    /// current flows and the firmware knows it; but never beyond anything that changes.
    fn next_step(&mut self, decision: &Decision<CELLS>) -> u64 {
        let tick_ms = self.case.tick_ms;
        let Some(rest_ms) = self.case.rest_ms else { return tick_ms };
        let open = |step: Step| matches!(step, Step::Open | Step::Barred);
        let stands = open(decision.step) && self.decision.is_some_and(|before| open(before.step));
        let settled = self.world.bus.contactors.iter().all(|contactor| !contactor.energised());
        if !stands || !settled || !self.core.proven_open() || !decision.faults.suspect.is_empty() {
            self.stood = None;
            return tick_ms;
        }
        let now = Standing::of(&self.world);
        if !self.stood.replace(now).is_some_and(|before| now.is_still_after(&before)) {
            return tick_ms;
        }
        let left = self.case.next_change_after(self.seconds()) - self.seconds();
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "between a tick and a minute"
        )]
        let whole_ticks = libm::rint(left * MS) as u64 / tick_ms * tick_ms;
        rest_ms.min(whole_ticks).max(tick_ms)
    }
}

#[cfg(test)]
mod tests;
