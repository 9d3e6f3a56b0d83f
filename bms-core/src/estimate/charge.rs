//! # Charge, as bounds
//!
//! Decides between which bounds the charge lies that each cell misses to full. Counted from the top, because near full the spread
//! of capacity does not matter and balancing can decide. All in coulombs, for each cell:
//!
//! ```text
//! low  ← low  − (I + e)·dt + (1 − t)·b·dt
//! high ← high − (I − e)·dt + (1 + t)·b·dt + l·dt
//! ```
//!
//! `I` is the current between two readings, positive into the pack; `e` its worst error (offset, gain, time base); `b` the bleed
//! current while the cell bleeds (in `low` only while it does for certain, see `bleed`), `t` its tolerance; `l` front-end drain and self-discharge, which the sensor never sees and which
//! may be absent. While a reading is late, lost or at its end, `e` is the whole range of the sensor.
//!
//! Between two readings the current is taken as their mean. If they differ by more than the error, the current may have moved at
//! any time between them, and `e` grows by half the difference; a smaller difference is noise, or slow, where the mean is exact.
//! That holds for readings no further apart than the oldest age that is believed: a current that came and went in between is not seen.
//! While all contactors are proven open there is none to be seen: `I` is zero, `e` the drain, and a gap between frames costs nothing.
//!
//! What all cells share is counted once (`moved`), and each cell keeps where it stands to that count: a tick costs the same for 1
//! cell and for 128. Sums are exact, so a closed cycle returns to where it began.
//!
//! A second interval is kept for each cell's *difference* to a typical cell, one that stood at the median voltage when the cells
//! were last compared and has neither bled nor leaked since. Current, offset and curve error are shared and cancel in it; bleeding
//! and leaks stay. The typical cell cancels once more when two cells are held against each other.

mod kept;

use super::bleed::Bleeding;
use super::{Interval, Moment, StringCurrent};
use crate::config::{Checked, Config};
use crate::decision::CellSet;
use crate::each::Each;
use crate::units::{Amps, Coulombs, Millis, Ratio};

/// What each cell misses, and the count that they share.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Count<const CELLS: usize> {
    capacity_least: Coulombs,
    capacity_most: Coulombs,
    beyond: Coulombs,
    /// What the string moved in every cell since the start.
    moved: Interval,
    /// Most that leaks and drain can have taken from one cell since the start.
    leaked: Coulombs,
    /// Each cell's missing charge, less `moved`.
    cells: Each<Interval, CELLS>,
    /// Each cell's difference, high end less `leaked`.
    differences: Each<Interval, CELLS>,
    /// The differences of a comparison that is not over yet, likewise.
    candidates: Each<Interval, CELLS>,
    /// Cells that bleed, and what each of them lost that is not yet in the intervals above.
    bleeding: Bleeding<CELLS>,
    bled: Interval,
    before: Option<Amps>,
    /// The cell whose turn it is to be held within its range.
    turn: u8,
    /// Least low end and greatest high end of `cells`, and the same of those seen in this round.
    extremes: Interval,
    extremes_of_round: Interval,
    /// Of an interval wider than this, only so much counts.
    known: Coulombs,
    /// The same of what is known of each cell, less `moved`, and of those seen in this round.
    known_extremes: Interval,
    known_of_round: Interval,
}

/// What one tick moved.
pub(super) struct Moved<const CELLS: usize> {
    /// What the string moved into each cell, at the least and at the most.
    pub(super) into: Interval,
    /// What some cells bled until the set of them changed.
    pub(super) bled: Option<Bled<CELLS>>,
}

/// What some cells bled.
pub(super) struct Bled<const CELLS: usize> {
    cells: Bleeding<CELLS>,
    each: Interval,
}

impl<const CELLS: usize> Bled<CELLS> {
    /// What this cell bled: nothing at the least where it is not sure that it bled at all.
    pub(super) fn of(&self, cell: u8) -> Interval {
        let (perhaps, surely) = (self.cells.perhaps.holds(cell), self.cells.surely.holds(cell));
        Interval {
            low: if surely { self.each.low } else { Coulombs::ZERO },
            high: if perhaps { self.each.high } else { Coulombs::ZERO },
        }
    }

    /// The cells that may have bled.
    pub(super) fn cells(&self) -> impl Iterator<Item = u8> + '_ {
        self.cells.perhaps.iter()
    }
}

/// Holds nothing: the start of a search for extremes.
const NOTHING: Interval = Interval { low: Coulombs::MAX, high: Coulombs::from_bits(i64::MIN) };

impl<const CELLS: usize> Count<CELLS> {
    /// Nothing is known: each cell may be full, empty or between.
    pub(super) fn new(config: &Config) -> Self {
        let capacity_most = config.pack.capacity.scaled(config.charge.capacity_most);
        let beyond = config.pack.capacity.scaled(config.charge.beyond);
        let anything = Interval { low: -beyond, high: capacity_most + beyond };
        let mut count = Self {
            capacity_least: config.pack.capacity.scaled(config.charge.capacity_least),
            capacity_most,
            beyond,
            moved: Interval::default(),
            leaked: Coulombs::ZERO,
            cells: Each::all(anything),
            differences: Each::all(Interval::default()),
            candidates: Each::all(Interval::default()),
            bleeding: Bleeding::NONE,
            bled: Interval::default(),
            before: None,
            turn: 0,
            extremes: anything,
            extremes_of_round: NOTHING,
            known: config.pack.capacity.scaled(config.limits.known),
            known_extremes: NOTHING,
            known_of_round: NOTHING,
        };
        let apart = count.anything_apart();
        count.differences = Each::all(apart);
        count.candidates = Each::all(apart);
        count
    }

    /// Counts the time since the frame before, and says what moved meanwhile.
    pub(super) fn advance<const THERMISTORS: usize>(
        &mut self,
        moment: &Moment<'_, CELLS, THERMISTORS>,
    ) -> Moved<CELLS> {
        let Moment { believed, current, bleeding, config, .. } = moment;
        let mut bled = None;
        if **bleeding != self.bleeding {
            bled = self.settle_bleeding();
            self.bleeding = **bleeding;
        }
        // What comes once more says nothing of the time since.
        let now = current.as_ref().filter(|now| now.proven || !believed.repeated);
        let into = self.count_current(believed.elapsed, now, config);
        let (facts, elapsed) = (&config.charge, believed.elapsed);
        let leak = (facts.drain + facts.self_discharge).over(elapsed);
        self.leaked = self.leaked + leak;
        self.moved.high = self.moved.high + leak;
        if !bleeding.perhaps.is_empty() {
            let tolerance = facts.bleed_tolerance + config.sensing.time_base;
            let off = facts.bleed.scaled(tolerance) + Amps::from_bits(1);
            self.bled.low = self.bled.low + (facts.bleed - off).over(elapsed);
            self.bled.high = self.bled.high + (facts.bleed + off).over(elapsed);
        }
        Moved { into, bled }
    }

    fn count_current(&mut self, elapsed: Millis, now: Option<&StringCurrent>, config: &Checked) -> Interval {
        let gap = elapsed > config.pack.oldest_age && !now.is_some_and(|now| now.proven);
        let seen = if gap { None } else { self.before.zip(now) };
        let (amps, error) = match seen {
            None => (Amps::ZERO, config.pack.current_range),
            Some((before, now)) => {
                let error = now.error + now.amps.abs().scaled(config.sensing.time_base);
                let half = Amps::from_bits((now.amps - before).bits() >> 1);
                let jumped = (now.amps - before).abs() > error;
                (before + half, if jumped { error + half.abs() + Amps::from_bits(1) } else { error })
            }
        };
        self.before = now.map(|now| now.amps);
        let into = Interval { low: (amps - error).over(elapsed), high: (amps + error).over(elapsed) };
        self.moved.low = self.moved.low - into.high;
        self.moved.high = self.moved.high - into.low;
        into
    }

    /// Writes what the bleeding cells lost into their intervals, at the latest when the set of them changes.
    fn settle_bleeding(&mut self) -> Option<Bled<CELLS>> {
        let bled = Bled { cells: self.bleeding, each: core::mem::take(&mut self.bled) };
        if self.bleeding.perhaps.is_empty() {
            return None;
        }
        let all = self.cells.iter_mut().zip(&mut self.differences).zip(&mut self.candidates);
        let mut cell = 0_u8;
        for ((missing, difference), candidate) in all {
            if self.bleeding.perhaps.holds(cell) {
                let bled = bled.of(cell);
                *missing = missing.plus(bled);
                *difference = difference.plus(bled);
                *candidate = candidate.plus(bled);
            }
            cell = cell.saturating_add(1);
        }
        self.extremes.high = self.extremes.high + bled.each.high;
        self.extremes_of_round.high = self.extremes_of_round.high + bled.each.high;
        Some(bled)
    }

    /// What this cell lost by bleeding that is not yet in its intervals.
    pub(super) fn pending(&self, cell: u8) -> Interval {
        Bled { cells: self.bleeding, each: self.bled }.of(cell)
    }

    /// No cell misses more than the most it can hold, nor less than nothing: one cell a tick is held to that. A count that lies wholly
    /// beyond contradicts it; such a cell may be anything from then on, and is told with what was counted.
    pub(super) fn hold_one_within_range(&mut self) -> Option<(u8, Interval)> {
        let cell = self.turn;
        let mut contradicts = None;
        if let Some(missing) = self.counted(cell) {
            let held = missing.common_with(self.anything());
            if held.is_none() {
                contradicts = Some((cell, missing));
            }
            if held != Some(missing) {
                self.believe(cell, held.unwrap_or(self.anything()));
            }
            if let Some(anchor) = self.cells.at(cell) {
                self.extremes_of_round = self.extremes_of_round.spanning(*anchor);
            }
        }
        if let Some(counts) = self.known(cell) {
            self.known_of_round = self.known_of_round.spanning(counts.minus(self.moved));
        }
        if let Some(difference) = self.difference(cell) {
            let apart = self.anything_apart();
            let held = difference.common_with(apart).unwrap_or(apart);
            if held != difference {
                self.write_difference(cell, held);
            }
        }
        self.turn = self.turn.saturating_add(1);
        if usize::from(self.turn) >= CELLS {
            self.turn = 0;
            self.extremes = core::mem::replace(&mut self.extremes_of_round, NOTHING);
            self.known_extremes = core::mem::replace(&mut self.known_of_round, NOTHING);
        }
        contradicts
    }

    /// Everything that a cell can miss, also a little beyond full and empty.
    fn anything(&self) -> Interval {
        Interval { low: -self.beyond, high: self.capacity_most + self.beyond }
    }

    /// What a cell misses that is neither overfull nor more than empty.
    pub(super) const fn within_full_and_empty(&self) -> Interval {
        Interval { low: Coulombs::ZERO, high: self.capacity_most }
    }

    /// Everything that a difference of two cells can be.
    pub(super) fn anything_apart(&self) -> Interval {
        let most = self.capacity_most + self.beyond + self.beyond;
        Interval { low: -most, high: most }
    }

    /// Missing charge as counted, also a little beyond full and empty.
    pub(super) fn counted(&self, cell: u8) -> Option<Interval> {
        self.cells.at(cell).map(|anchor| anchor.plus(self.moved).plus(self.pending(cell)))
    }

    /// Missing charge, from nothing to the most that a cell can hold.
    pub(super) fn missing(&self, cell: u8) -> Option<Interval> {
        self.counted(cell).map(|counted| counted.held_within(self.within_full_and_empty()))
    }

    /// From now on the cell misses what lies in this interval.
    pub(super) fn believe(&mut self, cell: u8, missing: Interval) {
        let anchor = missing.minus(self.moved).minus(self.pending(cell));
        if let Some(place) = self.cells.at_mut(cell) {
            *place = anchor;
        }
        self.extremes = self.extremes.spanning(anchor);
        self.extremes_of_round = self.extremes_of_round.spanning(anchor);
    }

    /// How much more is missing than in the typical cell.
    pub(super) fn difference(&self, cell: u8) -> Option<Interval> {
        let leaked = Interval { low: Coulombs::ZERO, high: self.leaked };
        self.differences.at(cell).map(|anchor| anchor.plus(leaked).plus(self.pending(cell)))
    }

    fn write_difference(&mut self, cell: u8, difference: Interval) {
        let anchor = self.difference_anchor(cell, difference);
        if let Some(place) = self.differences.at_mut(cell) {
            *place = anchor;
        }
    }

    fn difference_anchor(&self, cell: u8, difference: Interval) -> Interval {
        difference.minus(Interval { low: Coulombs::ZERO, high: self.leaked }).minus(self.pending(cell))
    }

    /// A difference by the comparison that runs. It counts only when all cells have been compared with the same typical cell.
    pub(super) fn propose_difference(&mut self, cell: u8, difference: Interval) -> Interval {
        let difference = difference.held_within(self.anything_apart());
        let anchor = self.difference_anchor(cell, difference);
        if let Some(place) = self.candidates.at_mut(cell) {
            *place = anchor;
        }
        difference
    }

    /// The difference that the last comparison proposed.
    pub(super) fn proposed(&self, cell: u8) -> Option<Interval> {
        let leaked = Interval { low: Coulombs::ZERO, high: self.leaked };
        self.candidates.at(cell).map(|anchor| anchor.plus(leaked).plus(self.pending(cell)))
    }

    /// All cells were compared: their differences are told against a new typical cell from now on. Of those that contradict their
    /// count nothing is told.
    pub(super) fn take_proposed(&mut self, but: &CellSet<CELLS>) {
        self.differences = self.candidates;
        for cell in but.iter() {
            self.write_difference(cell, self.anything_apart());
        }
    }

    /// A new cell of which nothing is known.
    pub(super) fn replace(&mut self, cell: u8) {
        self.believe(cell, self.anything());
        self.write_difference(cell, self.anything_apart());
        self.propose_difference(cell, self.anything_apart());
    }

    /// How far beyond full and empty a cell may be taken.
    pub(super) const fn beyond(&self) -> Coulombs {
        self.beyond
    }

    /// The charge missing in a cell that misses so much of its capacity; `None` leaves that end open.
    pub(super) fn of_capacity(&self, least: Option<Ratio>, most: Option<Ratio>) -> Interval {
        Interval {
            low: least.map_or(-self.beyond, |least| self.capacity_least.scaled(least)),
            high: most.map_or(self.capacity_most + self.beyond, |most| self.capacity_most.scaled(most)),
        }
    }

    /// Least and most state of charge, by the least and the most capacity.
    fn as_charge(&self, missing: Interval, more: Coulombs) -> (Ratio, Ratio) {
        let of = |missing: Coulombs, capacity: Coulombs| {
            let empty = missing.max(Coulombs::ZERO).fraction_of(capacity).unwrap_or(Ratio::ONE);
            Ratio::ONE - empty.min(Ratio::ONE)
        };
        let least = of(missing.high + more, self.capacity_least);
        // A step of rounding outwards.
        ((least - Ratio::from_bits(1)).max(Ratio::ZERO), of(missing.low, self.capacity_most))
    }

    /// Least and most state of charge of any cell.
    pub(super) fn charge(&self) -> (Ratio, Ratio) {
        self.as_charge(self.extremes.plus(self.moved), self.bled.high)
    }

    /// What this cell misses, as far as that is known: of an interval wider than `known`, either end counts only so far as the other
    /// one supports it. So the two ends cross where next to nothing is known.
    fn known(&self, cell: u8) -> Option<Interval> {
        let Interval { low, high } = self.counted(cell)?;
        let high = high.min(self.capacity_least);
        Some(Interval { low: low.max(high - self.known), high: high.min(low + self.known) })
    }

    /// State of charge of the cell nearest to empty and of the one nearest to full, of each only what is known (see [`Self::known`]).
    /// Every cell is looked at once a round; the string moves all of them alike meanwhile.
    pub(super) fn known_charge(&self) -> (Ratio, Ratio) {
        self.as_charge(self.known_extremes.plus(self.moved), Coulombs::ZERO)
    }

    /// Least and most state of charge of one cell.
    pub(super) fn charge_of(&self, cell: u8) -> Option<(Ratio, Ratio)> {
        self.counted(cell).map(|missing| self.as_charge(missing, Coulombs::ZERO))
    }
}
