//! # What bleeds, and whether it does what it is told
//!
//! Decides which cells bleed for certain and which perhaps, and whose bleed switch does not do what it is told.
//!
//! The cells' voltages do not tell. They are read with bleeding paused, so that the drop of 0.1 A in wires and cell is gone; what the pause
//! leaves is polarisation of less than 0.1 mV in 0.5 mV of noise; and the charge that a switch takes too much or too little, 2.4 Ah a day
//! of 100 Ah, needs rests on a steep part of the curve, where it looks like self-discharge. So the trade puts a comparator across each
//! bleed resistor, and the frame carries what they see:
//!
//! ```text
//! stuck on    flows although it is told off        stuck off    does not flow although it is told on
//! ```
//!
//! A switch is judged once a second, when it has been told the same in two frames in a row, and only by what it is told then: one that is
//! never told on cannot be found stuck off. Three observations in a row count (`balance.stuck_after`); the first that contradicts them ends them. Whoever
//! clears the fault voids them, but for a switch that the last observation shows as stuck: it is. A wire so corroded that the resistor gets
//! less than half of its current, or an open one, shows as stuck off as well.
//!
//! Where switch and comparator contradict each other it is not known which of them is wrong: the count allows for both.

use crate::decision::CellSet;
use crate::units::Millis;

/// Each switch is judged once in so long. Common practice, no source.
const EVERY: Millis = Millis::from_seconds(1);

/// Cells that were seen to do something once at least, twice, and three times in a row; and those that the last observation saw.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct InARow<const CELLS: usize> {
    counted: [CellSet<CELLS>; 3],
    last: CellSet<CELLS>,
}

impl<const CELLS: usize> InARow<CELLS> {
    const NONE: Self = Self { counted: [CellSet::EMPTY; 3], last: CellSet::EMPTY };

    /// These cells did it again; `keep` leaves out those that were seen not to.
    fn see(&mut self, again: &CellSet<CELLS>, keep: impl Fn(CellSet<CELLS>) -> CellSet<CELLS>) {
        let [once, twice, thrice] = self.counted;
        let seen = [once.or(again), twice.or(&once.and(again)), thrice.or(&twice.and(again))];
        *self = Self { counted: seen.map(keep), last: *again };
    }

    /// Only what the last observation saw goes on to count.
    fn forget(&mut self) {
        self.counted = self.counted.map(|cells| cells.and(&self.last));
    }

    /// The cells that were seen so often, up to three times.
    const fn seen(&self, times: u8) -> &CellSet<CELLS> {
        let [once, twice, thrice] = &self.counted;
        match times {
            0 | 1 => once,
            2 => twice,
            3.. => thrice,
        }
    }
}

/// Cells that bleed.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Bleeding<const CELLS: usize> {
    /// At the most: told to, or seen to.
    pub(super) perhaps: CellSet<CELLS>,
    /// At the least: told to, and seen to where that can be seen.
    pub(super) surely: CellSet<CELLS>,
}

impl<const CELLS: usize> Bleeding<CELLS> {
    pub(super) const NONE: Self = Self { perhaps: CellSet::EMPTY, surely: CellSet::EMPTY };

    /// By what was told and what was seen.
    pub(super) fn of(told: &CellSet<CELLS>, flows: Option<&CellSet<CELLS>>) -> Self {
        let flows = flows.unwrap_or(told);
        Self { perhaps: told.or(flows), surely: told.and(flows) }
    }
}

/// The bleed switches against what they are told.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Paths<const CELLS: usize> {
    told: CellSet<CELLS>,
    since: Millis,
    stuck_on: InARow<CELLS>,
    stuck_off: InARow<CELLS>,
    /// Whether anything was ever seen.
    seen: bool,
}

impl<const CELLS: usize> Paths<CELLS> {
    pub(super) const fn new() -> Self {
        Self {
            told: CellSet::EMPTY,
            since: Millis::ZERO,
            stuck_on: InARow::NONE,
            stuck_off: InARow::NONE,
            seen: false,
        }
    }

    /// Cells that bleed whatever they are told, in so many observations; `None` where nothing shows it.
    pub(super) fn stuck_on(&self, after: u8) -> Option<&CellSet<CELLS>> {
        self.seen.then_some(self.stuck_on.seen(after))
    }

    /// Cells that do not bleed although they are told.
    pub(super) fn stuck_off(&self, after: u8) -> Option<&CellSet<CELLS>> {
        self.seen.then_some(self.stuck_off.seen(after))
    }

    /// The workshop has been at the switches that stay on.
    pub(super) fn forget_stuck_on(&mut self) {
        self.stuck_on.forget();
    }

    /// The same for those that stay off.
    pub(super) fn forget_stuck_off(&mut self) {
        self.stuck_off.forget();
    }

    /// Takes what the switches were told after the frame before, and what is seen now.
    pub(super) fn advance(&mut self, told: &CellSet<CELLS>, flows: Option<&CellSet<CELLS>>, elapsed: Millis) {
        self.since = self.since + elapsed;
        let changed = self.told.or(told).without(&self.told.and(told));
        self.told = *told;
        let Some(flows) = flows.filter(|_| self.since >= EVERY) else { return };
        self.since = Millis::ZERO;
        self.seen = true;
        let though_off = flows.without(told).without(&changed);
        let unproven = told.or(flows).or(&changed);
        self.stuck_on.see(&though_off, |cells| cells.and(&unproven));
        let not_though_on = told.without(flows).without(&changed);
        let obeys = told.and(flows).without(&changed);
        self.stuck_off.see(&not_though_on, |cells| cells.without(&obeys));
    }
}
