//! # What happens to a frame between measuring and deciding
//!
//! Trouble of the control side stands between world and core, inside neither: the world goes on as it is, and the core gets what would
//! reach it.
//!
//! ```text
//! measured ── one part stands still ── late by so many ms ── lost by chance ──► core.tick
//! ```
//! The core is called every tick all the same, as its binding promises: while nothing newer comes, with the frame that came last. A clock
//! that runs fast stamps each frame with a time that gains on the world's; a tick that is late lets more time pass before the next one.
//! A frame that is lost is drawn from seed and tick, so a story that is told twice loses the same ones.

use crate::world::deviation::{TransitDeviation, age_mut};
use crate::world::noise::Noise;
use bms_core::frame::Frame;
use bms_core::sense::PartName;
use bms_core::units::{Instant, Millis};
use std::collections::VecDeque;

/// Frames on their way, and what the core has got so far. Empty while nothing is wrong.
#[derive(Clone, Debug)]
pub(super) struct Transit<const CELLS: usize, const THERMISTORS: usize> {
    noise: Noise,
    /// The frame that reached the core last, since something is wrong.
    arrived: Option<Frame<CELLS, THERMISTORS>>,
    /// Frames that are late, the oldest first, with the time at which each was taken.
    under_way: VecDeque<(u64, Frame<CELLS, THERMISTORS>)>,
    /// The frame from which each part that stands still is taken.
    caught: [Option<Box<Frame<CELLS, THERMISTORS>>>; PartName::ALL.len()],
    /// What the controller's clock has gained, in milliseconds.
    gained_ms: f64,
}

impl<const CELLS: usize, const THERMISTORS: usize> Transit<CELLS, THERMISTORS> {
    pub(super) fn new(seed: u64) -> Self {
        Self {
            noise: Noise::new(seed),
            arrived: None,
            under_way: VecDeque::new(),
            caught: [const { None }; PartName::ALL.len()],
            gained_ms: 0.0,
        }
    }

    /// What the controller's clock shows when this much time has passed.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "what was gained is less than the time that passed, and the counter of a frame wraps"
    )]
    pub(super) fn clock(&self, at_ms: u64) -> Instant {
        Instant(at_ms.wrapping_add(self.gained_ms as u64) as u32)
    }

    /// What reaches the core of the frame that was measured in this tick.
    pub(super) fn reaching(
        &self,
        measured: &Frame<CELLS, THERMISTORS>,
        wrong: &TransitDeviation,
        tick: u64,
        at_ms: u64,
    ) -> Frame<CELLS, THERMISTORS> {
        if *wrong == TransitDeviation::NONE {
            return *measured;
        }
        let whole = self.with_standing_parts(measured, wrong);
        // At the onset nothing has arrived yet: the first frame still comes through.
        let Some(arrived) = self.arrived else { return whole };
        if self.noise.chance(tick) < wrong.lost {
            return arrived;
        }
        if wrong.late_ms > 0 {
            let due = |taken: u64| taken + wrong.late_ms <= at_ms;
            return self
                .under_way
                .iter()
                .rev()
                .find(|(taken, _)| due(*taken))
                .map_or(arrived, |(_, frame)| *frame);
        }
        whole
    }

    /// Keeps what the next ticks need: what has arrived, what is under way, what stands still.
    pub(super) fn pass(
        &mut self,
        measured: &Frame<CELLS, THERMISTORS>,
        reached: &Frame<CELLS, THERMISTORS>,
        wrong: &TransitDeviation,
        at_ms: u64,
    ) {
        if *wrong == TransitDeviation::NONE {
            self.arrived = None;
            self.under_way.clear();
            self.caught = [const { None }; PartName::ALL.len()];
            return;
        }
        for (part, caught) in PartName::ALL.iter().zip(&mut self.caught) {
            if wrong.stands(*part) {
                caught.get_or_insert_with(|| Box::new(*measured));
            } else {
                *caught = None;
            }
        }
        self.arrived = Some(*reached);
        self.under_way.push_back((at_ms, self.with_standing_parts(measured, wrong)));
        // One that is overdue is kept only while no later one is.
        while self.under_way.get(1).is_some_and(|(taken, _)| taken + wrong.late_ms <= at_ms) {
            self.under_way.pop_front();
        }
    }

    /// Lets the controller's clock run on.
    pub(super) fn run_clock(&mut self, step_ms: f64, wrong: &TransitDeviation) {
        self.gained_ms += step_ms * wrong.clock_gains;
    }

    fn with_standing_parts(
        &self,
        measured: &Frame<CELLS, THERMISTORS>,
        wrong: &TransitDeviation,
    ) -> Frame<CELLS, THERMISTORS> {
        let mut whole = *measured;
        for (part, caught) in PartName::ALL.iter().zip(&self.caught) {
            if let Some(old) = caught.as_ref().filter(|_| wrong.stands(*part)) {
                stand(*part, &mut whole, old);
            }
        }
        whole
    }
}

/// Puts an old part in place of the fresh one, as old as it is.
fn stand<const CELLS: usize, const THERMISTORS: usize>(
    part: PartName,
    frame: &mut Frame<CELLS, THERMISTORS>,
    old: &Frame<CELLS, THERMISTORS>,
) {
    match part {
        PartName::Cells => frame.cells = old.cells,
        PartName::Thermistors => frame.thermistors = old.thermistors,
        PartName::Current => frame.current = old.current,
        PartName::CurrentCheck => frame.current_check = old.current_check,
        PartName::Voltages => frame.voltages = old.voltages,
        PartName::Supply => frame.supply = old.supply,
        PartName::Feedback => frame.feedback = old.feedback,
        PartName::Poles => frame.poles = old.poles,
        PartName::Contacts => frame.contacts = old.contacts,
    }
    let since = frame.at.0.wrapping_sub(old.at.0);
    let age = age_mut(frame, part);
    *age = Millis(age.0.saturating_add(since));
}
