//! # Charge lost from rest to rest
//!
//! Decides whether a cell loses more charge by itself than its neighbours do. At two rests on a steep part of the curve each cell's
//! difference to a typical cell is read from the open-circuit voltage (`compare`), as bounds with the whole error of the reading:
//!
//! ```text
//! lost = difference now − difference then − bled in between             in coulombs, least and most
//! a month = (least lost of the cell − median over the pack of the middle of both) / capacity · 30 d / time between
//! ```
//!
//! The typical cell need not be the same one at both rests: what that adds is the same for all cells and goes out with the median, whose
//! own error is that of no single channel. Both bounds hold the truth while meter, curve, bleed resistors and temperatures keep their
//! stated errors, so what is told is less than what is lost: more than the limit is more than the reading's own error as well. The price
//! is that time must pass: by the default errors, at 1 % below full, 30 % a month are told after four days and 10 % after nine. On the
//! plateau the bounds are tens of per cent wide: 100 Ω across a cell of 100 Ah take 0.8 Ah a day, which is half a millivolt there; such
//! a rest is not used.
//!
//! A cell counts once two readings, a day or more apart, have found it. It is acquitted when the most that it can have lost is less than
//! the limit. What a voltage cannot tell: a measuring channel that has gone off by more than is stated of it looks like charge lost at
//! once; its offset also shows while the cell works, a leak does not.

use super::Interval;
use super::charge::{Bled, Count};
use super::median::median;
use crate::config::Checked;
use crate::decision::CellSet;
use crate::each::Each;
use crate::units::{Coulombs, Millis, Ratio, Uptime};

/// A difference is kept in steps of 2¹⁹ of those of [`Coulombs`], 8 mC: bounds of packs up to 4 000 Ah fit 32 bits, and what rounding
/// adds to the bleed charge of ten seconds is a hundredth.
const COARSE: u32 = 19;

/// The rate is told for thirty days.
const MONTH: i64 = 30 * 24 * 3_600_000;

/// After a longer time the reading begins anew: times are told up to 49 days. Common practice, no source.
pub(crate) const LONGEST: Millis = Millis::from_seconds(40 * 24 * 3_600);

/// Bounds of a charge, rounded outwards.
#[derive(Clone, Copy, Debug, Default, Hash, PartialEq)]
struct Bounds {
    low: i32,
    high: i32,
}

impl Bounds {
    const ANYTHING: Self = Self { low: i32::MIN, high: i32::MAX };

    fn of(charge: Interval) -> Self {
        let up = (1_i64 << COARSE).saturating_sub(1);
        Self {
            low: narrow(charge.low.bits() >> COARSE),
            high: narrow(charge.high.bits().saturating_add(up) >> COARSE),
        }
    }

    fn plus(self, other: Self) -> Self {
        Self { low: self.low.saturating_add(other.low), high: self.high.saturating_add(other.high) }
    }

    /// What lies between a value of this one and a value of the other one before it.
    fn since(self, before: Self) -> Self {
        Self { low: self.low.saturating_sub(before.high), high: self.high.saturating_sub(before.low) }
    }
}

/// A cell that loses charge by itself.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(crate) struct Loss {
    /// The cell, from 0.
    pub(crate) cell: u8,
    /// Part of its capacity in thirty days, more than the median.
    pub(crate) a_month: Ratio,
}

/// What each cell missed when the reading began.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Losses<const CELLS: usize> {
    now: Uptime,
    began: Option<Uptime>,
    /// When the cells were read last, at the beginning or since.
    read: Uptime,
    /// Each cell's difference to the typical one then, and what it bled since.
    then: Each<Bounds, CELLS>,
    /// Cells that were found once.
    found: CellSet<CELLS>,
    told: Option<Loss>,
}

impl<const CELLS: usize> Losses<CELLS> {
    pub(super) fn new() -> Self {
        Self {
            now: Uptime(0),
            began: None,
            read: Uptime(0),
            then: Each::all(Bounds::ANYTHING),
            found: CellSet::EMPTY,
            told: None,
        }
    }

    /// The cell that was found twice, with what it loses at the least, or at the most once that is less than the limit; `None`
    /// before any was.
    pub(super) const fn told(&self) -> Option<Loss> {
        self.told
    }

    /// A new cell, of which nothing is known.
    pub(super) fn replace(&mut self, cell: u8) {
        if let Some(then) = self.then.at_mut(cell) {
            *then = Bounds::ANYTHING;
        }
        self.found.remove(cell);
        if self.told.is_some_and(|told| told.cell == cell) {
            self.told = None;
        }
    }

    /// Whoever may clear the fault vouches for the mend.
    pub(super) fn forget(&mut self) {
        (self.began, self.found, self.told) = (None, CellSet::EMPTY, None);
    }

    /// Time passes, and these cells have lost so much by bleeding.
    pub(super) fn advance(&mut self, elapsed: Millis, bled: Option<&Bled<CELLS>>) {
        self.now = self.now.after(elapsed);
        let Some(bled) = bled else { return };
        for cell in bled.cells() {
            if let Some(then) = self.then.at_mut(cell) {
                *then = then.plus(Bounds::of(bled.of(cell)));
            }
        }
    }

    /// All cells have just been compared on a steep part of the curve.
    #[inline(never)]
    pub(super) fn compared(&mut self, count: &Count<CELLS>, config: &Checked) {
        let Some(began) = self.began else {
            self.begin(count);
            return;
        };
        let between = self.now.since(began);
        if self.now.since(self.read) < config.rest.loss_between {
            return;
        }
        self.read = self.now;
        if between > LONGEST {
            self.begin(count);
            return;
        }
        let mut middles = Each::<i32, CELLS>::all(0);
        for (middle, cell) in middles.iter_mut().zip(0_u8..=127) {
            let Bounds { low, high } = self.lost(count, cell);
            *middle = low.midpoint(high);
        }
        let typical = median(&middles.iter());

        let limit = config.faults.cell_self_discharge.trip;
        let a_month = |lost: i32| {
            rate(i64::from(lost).saturating_sub(i64::from(typical)), between, config.pack.capacity)
        };
        let mut again = None::<Loss>;
        for cell in (0..=127_u8).take(CELLS) {
            let lost = self.lost(count, cell);
            let (least, most) = (a_month(lost.low), a_month(lost.high));
            if least >= limit {
                if self.found.holds(cell) && again.is_none_or(|before| least > before.a_month) {
                    again = Some(Loss { cell, a_month: least });
                }
                self.found.insert(cell);
            } else if most < limit {
                self.found.remove(cell);
                if let Some(told) = self.told.as_mut().filter(|told| told.cell == cell) {
                    told.a_month = most;
                }
            }
        }
        self.told = again.or(self.told);
        // A cell that was told is acquitted by what it loses from now on.
        if again.is_some() || self.reads_better(count) {
            self.begin(count);
        }
    }

    /// From now on losses are counted.
    fn begin(&mut self, count: &Count<CELLS>) {
        (self.began, self.read) = (Some(self.now), self.now);
        for (then, cell) in self.then.iter_mut().zip(0_u8..=127) {
            *then = count.proposed(cell).map_or(Bounds::ANYTHING, Bounds::of);
        }
    }

    /// What a cell has lost since then, without what it bled.
    fn lost(&self, count: &Count<CELLS>, cell: u8) -> Bounds {
        let now = count.proposed(cell).map_or(Bounds::ANYTHING, Bounds::of);
        let bled = Bounds::of(count.pending(cell));
        self.then.at(cell).map_or(Bounds::ANYTHING, |then| now.since(then.plus(bled)))
    }

    /// Whether the differences are now known at least twice as well as then.
    fn reads_better(&self, count: &Count<CELLS>) -> bool {
        let width = |bounds: Bounds| i64::from(bounds.high).saturating_sub(i64::from(bounds.low));
        let (mut now, mut before) = (0_i64, 0_i64);
        for (then, cell) in self.then.iter().zip(0_u8..=127) {
            before = before.saturating_add(width(*then));
            now = now.saturating_add(count.proposed(cell).map_or(i64::MAX, |seen| width(Bounds::of(seen))));
        }
        now.saturating_mul(2) <= before
    }
}

/// Of the capacity in thirty days.
fn rate(lost: i64, between: Millis, capacity: Coulombs) -> Ratio {
    let of_capacity = Coulombs::from_bits(lost << COARSE).fraction_of(capacity).unwrap_or(Ratio::ZERO);
    let bits = i64::from(of_capacity.bits()).saturating_mul(MONTH).checked_div(i64::from(between.0));
    Ratio::from_wide(bits.unwrap_or(0))
}

fn narrow(bits: i64) -> i32 {
    i32::try_from(bits).unwrap_or(if bits > 0 { i32::MAX } else { i32::MIN })
}
