//! # Without supply
//!
//! What becomes of a pack and its firmware while the auxiliary supply is gone: all coils, switches and the fan drop by themselves, nothing
//! is decided, and truth goes on. When it comes back, a new controller begins with what was stored.
//!
//! The board stores as an integrator's would (see [`bms_core::kept`]): two places written in turn, whenever a record is due, before the
//! decision is acted on, and a last one from its capacitor as the supply falls. What becomes of that last one is the case's to say.

use super::{Loop, MS};
use crate::case::{Case, PowerLoss, RecordFate};
use bms_core::config::Fitted;
use bms_core::decision::{CellSet, Coils, Cooling, CurrentLimits, Decision, FaultSummary};
use bms_core::fault::FaultSet;
use bms_core::frame::ToChassis;
use bms_core::kept::{Label, Schedule, Stored, newer};
use bms_core::units::Millis;
use bms_core::{Controller, Step};
use std::sync::Arc;

/// A record at least so often.
const EVERY: Millis = Millis::from_seconds(10);

/// What the board calls its pack.
const PACK: u32 = 1;

/// What an erased memory holds.
const ERASED: u8 = 0xFF;

/// After this time in the dark nothing moves fast any more, and larger steps are taken where the case allows them.
const SETTLED_MS: u64 = 60_000;

/// The board's memory: two places, and which of them is written next.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    slots: [Arc<[u8]>; 2],
    number: u32,
    schedule: Schedule,
    /// How long the controller was last without supply, if a clock tells.
    off: Option<Millis>,
    /// How long a record holds that is not the last one: until the next one, however late that tick comes.
    holds: Millis,
}

impl Memory {
    pub(super) fn new(case: &Case) -> Self {
        /// The latest that a tick comes by any defect.
        const LATE_MS: u64 = 5_000;
        let longest = case.rest_ms.unwrap_or(case.tick_ms) + LATE_MS;
        let holds = EVERY + Millis(u32::try_from(longest).unwrap_or(u32::MAX));
        let erased: Arc<[u8]> = [ERASED; 16].into();
        Self {
            slots: [Arc::clone(&erased), erased],
            number: 0,
            schedule: Schedule::every(EVERY),
            off: None,
            holds,
        }
    }

    /// Writes a record, if one is due.
    pub(super) fn keep<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        core: &Controller<CELLS, THERMISTORS>,
    ) {
        if self.schedule.is_due(core) {
            self.write(core, self.holds);
        }
    }

    fn write<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        core: &Controller<CELLS, THERMISTORS>,
        holds: Millis,
    ) {
        self.number += 1;
        let mut room = vec![ERASED; Controller::<CELLS, THERMISTORS>::RECORD_BYTES];
        if core.record(Label { pack: PACK, number: self.number, holds }, &mut room).is_ok() {
            *self.place() = room.into();
        }
    }

    /// The place of the last record.
    fn place(&mut self) -> &mut Arc<[u8]> {
        &mut self.slots[self.number as usize % 2]
    }

    /// The supply falls within a tick of this length.
    fn fall<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        core: &Controller<CELLS, THERMISTORS>,
        fate: RecordFate,
        tick: Millis,
    ) {
        match fate {
            RecordFate::Kept => self.write(core, tick),
            RecordFate::Torn => {
                self.write(core, tick);
                let torn = self.place();
                let written = torn.len() / 2;
                *torn = torn
                    .iter()
                    .enumerate()
                    .map(|(at, byte)| if at < written { *byte } else { ERASED })
                    .collect();
            }
            RecordFate::Lost => self.slots = [const { [ERASED; 16] }; 2].map(Into::into),
        }
    }

    fn record(&self) -> &[u8] {
        let [one, other] = &self.slots;
        newer(one, other)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Loop<CELLS, THERMISTORS> {
    /// The supply is gone for a while that the case says, if it is now.
    pub(super) fn lose_power(&mut self, loss: Option<PowerLoss>) {
        if let Some(loss) = loss {
            let until_ms = self.at_ms + loss.for_ms;
            self.go_dark(loss, |now| now.at_ms >= until_ms);
        } else if !self.world.supply.feeds_controller() {
            // Whether it comes back within the story, only playing on tells. It ends here if not.
            let mut later = self.clone();
            later.go_dark(PowerLoss::OF_SUPPLY, |now| now.world.supply.feeds_controller());
            if later.world.supply.feeds_controller() {
                *self = later;
            }
        }
    }

    fn go_dark(&mut self, loss: PowerLoss, is_back: impl Fn(&Self) -> bool) {
        let from_ms = self.at_ms;
        let tick = Millis(u32::try_from(self.step_ms).unwrap_or(u32::MAX));
        self.memory.fall(&self.core, loss.record, tick);
        while !is_back(self) && self.seconds() < self.case.duration_seconds {
            self.pass_dark(self.at_ms - from_ms >= SETTLED_MS);
        }
        let off = Millis(u32::try_from(self.at_ms - from_ms).unwrap_or(u32::MAX));
        self.restart(loss.clock.then_some(off));
    }

    /// One step without a controller.
    fn pass_dark(&mut self, settled: bool) {
        let tick_ms = self.case.tick_ms;
        let longest_ms = self.case.rest_ms.filter(|_| settled).unwrap_or(tick_ms);
        let left = self.case.next_change_after(self.seconds()) - self.seconds();
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "held between a tick and a minute"
        )]
        let whole_ticks = (left * MS) as u64 / tick_ms * tick_ms;
        let step_ms = longest_ms.min(whole_ticks).max(tick_ms);
        #[expect(clippy::cast_precision_loss, reason = "at most a minute")]
        let step = step_ms as f64;
        let demand = self.case.demand_at(self.seconds()).demand;
        self.world.step(step / MS, &self.board.act(&dropped()), &demand);
        self.transit.run_clock(step, &self.world.deviations().transit);
        let before = self.at_ms;
        self.at_ms += step_ms;
        self.mend(Some(before));
    }

    /// What the controller last began from, or would now.
    pub(crate) fn stored(&self) -> Stored<'_> {
        Stored { record: self.memory.record(), pack: PACK, off: self.memory.off }
    }

    /// The number of the last record that was written, whatever became of it.
    pub(crate) const fn last_record(&self) -> u32 {
        self.memory.number
    }

    fn restart(&mut self, off: Option<Millis>) {
        let mut config = *self.case.config();
        if let Some(later) = self.case.later_limits().iter().rfind(|later| later.at_ms <= self.at_ms) {
            config.faults = later.limits;
        }
        let config = config.fit().unwrap_or_else(|error| Fitted::barred(config, error));
        self.memory.off = off;
        self.core = Controller::restart(config, &self.stored());
        self.restarts += 1;
        (self.step_ms, self.sound_config, self.decision, self.stood) = (self.case.tick_ms, None, None, None);
    }
}

/// What hardware does that nobody drives.
pub(crate) const fn dropped<const CELLS: usize>() -> Decision<CELLS> {
    Decision {
        coils: Coils::NONE,
        limits: CurrentLimits::NONE,
        bleed: CellSet::EMPTY,
        cooling: Cooling::Off,
        pull: None,
        resistor: ToChassis::Open,
        warning: None,
        step: Step::Open,
        faults: FaultSummary {
            suspect: FaultSet::EMPTY,
            confirmed: FaultSet::EMPTY,
            latched: FaultSet::EMPTY,
            reaction: None,
        },
    }
}

#[cfg(test)]
mod tests;
