//! # Whether a rested cell falls
//!
//! Decides how fast each cell loses voltage against a typical one while nothing flows through the string:
//!
//! ```text
//! fall = min(mean of both halves, 4 · the lesser half)                                     in volts an hour
//! half = (d at its beginning − d at its end) / time between                                d = V of the cell − median
//! allowed = (trip · time + relaxation left + entropy · (|ΔT of the cell| + |ΔT of the typical one|)) / time
//! trip ≥ U(V) − U(V, a least leak of charge later)                                        U: the open-circuit curve
//!
//!   mean ─ first half ─ mean mean ─ second half ─ mean              one window; the means in its middle follow each other
//! ```
//!
//! Each `d` is a mean over ten minutes (one reading a second, or each tick where ticks come further apart): half a millivolt of noise
//! then is 0.02 mV. What all cells share goes out with the median. What need not be shared is allowed for: what may be left of relaxation
//! when the window begins, and the entropy of a pack that cools or warms meanwhile, each cell by its own module and with any sign.
//!
//! **A step is no slope.** Whatever moves a reading once (a channel that drifts at once, a joint that settles) lies in one half or in one of
//! the means, and the other half shows nothing of it. What takes charge goes on: the halves need not be alike, since the curve is flatter
//! here than there, but each has at least a quarter of what both make.
//!
//! **What a voltage says depends on the curve.** On the plateau 5 mV an hour are 1 to 10 % of the charge: only an internal short takes so
//! much from a cell that rests. Near full a sixth of a per cent makes as much, which 100 Ω take from a small cell. So a fall counts only
//! from what a least leak would make of it where the cell stands; a softer one shows in the charge that is lost from rest to rest, not
//! here. Opening contactors does not stop either.
//!
//! A cell that bled meanwhile is not judged in that window, since it was made to fall; nor is one beside a sense wire that was open or suspected,
//! since what was read was not its own.
//!
//! Time is that of the frames, however far apart they are: a controller that sleeps at rest sees the same fall.

use super::Moment;
use super::median::median;
use super::modules::ByModule;
use super::ocv;
use super::rest::{self, Rest};
use crate::config::Checked;
use crate::decision::CellSet;
use crate::each::Each;
use crate::sense::{ModuleRange, Temperatures};
use crate::units::{Celsius, Millis, Ratio, Volts};
use crate::wires::Beside;

/// Cells are read once in so long.
const EVERY: Millis = Millis::from_seconds(1);

/// A mean takes no more readings than this, so that sums of them fit.
const MOST_READINGS: u16 = 1_000;

/// What is kept for each cell leaves so many bits of a voltage out, to reach 2 V either way, and of a temperature.
const APART: u32 = 2;
const WARM: u32 = 9;

/// A fall is told for so long.
const HOUR: i64 = 3_600_000;

/// The cell that fell fastest beyond what its surroundings explain.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(crate) struct Fall {
    /// The cell, from 0.
    pub(crate) cell: u8,
    /// By how much it fell against a typical one in an hour; negative when it rose.
    pub(crate) an_hour: Volts,
    /// How much of that relaxation and temperature may have made.
    pub(crate) explained: Volts,
    /// What the least leak that counts would make an hour where the cell stands on the curve.
    pub(crate) least: Volts,
}

/// The block of readings that is being taken.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Block {
    readings: u16,
    /// Times of its first and its last reading.
    first: Millis,
    last: Millis,
}

impl Block {
    const EMPTY: Self = Self { readings: 0, first: Millis::ZERO, last: Millis::ZERO };

    fn middle(self) -> Millis {
        Millis(self.first.0.midpoint(self.last.0))
    }

    /// Of a sum over its readings.
    fn mean(self, sum: i32) -> i32 {
        sum.checked_div(i32::from(self.readings)).unwrap_or(0)
    }
}

/// How a window began, and how far it has come.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Begun {
    relaxation: Volts,
    typical: Celsius,
    half: Half,
}

/// Where a window stands.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
enum Half {
    /// In its first half, since the middle of this block.
    First(Millis),
    /// Between its halves; the first one lasted so long.
    Between(Millis),
    /// In its second half, since the middle of this block; the first one lasted so long.
    Second(Millis, Millis),
}

/// Each cell against the median from the beginning of a window on.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Falling<const CELLS: usize> {
    /// Time since the window began, and since the last reading.
    time: Millis,
    since: Millis,
    block: Block,
    sums: Each<i32, CELLS>,
    begun: Option<Begun>,
    /// How far each cell was from the median when the half began that runs, in steps of 61 µV; what it lost in the first half; and how warm
    /// it was when the window began, in 1/128 °C.
    apart: Each<i16, CELLS>,
    lost: Each<i16, CELLS>,
    warm: Each<i16, CELLS>,
    /// Cells that something else was done to since.
    disturbed: CellSet<CELLS>,
    fastest: Option<Fall>,
}

impl<const CELLS: usize> Falling<CELLS> {
    pub(super) fn new() -> Self {
        Self {
            time: Millis::ZERO,
            since: EVERY,
            block: Block::EMPTY,
            sums: Each::all(0),
            begun: None,
            apart: Each::all(0),
            lost: Each::all(0),
            warm: Each::all(0),
            disturbed: CellSet::EMPTY,
            fastest: None,
        }
    }

    /// The cell that fell fastest in the last full window; `None` before one.
    pub(super) const fn fastest(&self) -> Option<Fall> {
        self.fastest
    }

    /// A new cell: it is not judged against what the old one was.
    pub(super) fn replace(&mut self, cell: u8) {
        self.disturbed.insert(cell);
        if self.fastest.is_some_and(|fall| fall.cell == cell) {
            self.fastest = None;
        }
    }

    /// The workshop has been at the cells: what was seen of them is void.
    pub(super) fn forget(&mut self) {
        self.break_off();
        self.fastest = None;
    }

    /// Takes one frame of a pack that rests, or forgets the window of one that does not.
    pub(super) fn advance<const THERMISTORS: usize>(
        &mut self,
        rest: &Rest,
        moment: &Moment<'_, CELLS, THERMISTORS>,
    ) {
        let Moment { believed, bleeding, beside_wire, config, .. } = moment;
        let rested = rest.rested();
        let usable = believed.cells.as_ref().filter(|_| !believed.repeated);
        if rested < config.charge.rest_warm.times(config.rest.settled) {
            self.break_off();
            return;
        }
        self.time = self.time + believed.elapsed;
        self.since = self.since + believed.elapsed;
        bleeding.perhaps.iter().for_each(|cell| self.disturbed.insert(cell));
        if let Some(Beside(cells)) = beside_wire {
            cells.iter().flatten().for_each(|cell| self.disturbed.insert(*cell));
        }
        let Some(cells) = usable.filter(|_| self.since >= EVERY) else { return };
        let coldest = believed.temperatures.coldest.map(|(_, celsius)| celsius);
        let needed = rest::needed(coldest, &config.charge);
        if rested < needed.times(config.rest.settled) {
            self.break_off();
            return;
        }
        let block = config.rest.fall_mean;
        let sparse = self.since >= block;
        self.since = Millis::ZERO;
        if !self.is_wanted(config) {
            return;
        }
        let relaxation = rest::relaxation(rested, needed, &config.charge);
        if self.block.readings > 0 && self.time - self.block.first > block {
            self.finish(relaxation, &believed.temperatures, config);
        }
        self.take(cells.volts);
        let full = self.time - self.block.first >= block || self.block.readings >= MOST_READINGS;
        if sparse || full {
            self.finish(relaxation, &believed.temperatures, config);
        }
    }

    fn break_off(&mut self) {
        (self.time, self.since) = (Millis::ZERO, EVERY);
        (self.block, self.begun) = (Block::EMPTY, None);
        self.disturbed = CellSet::EMPTY;
    }

    /// Within the halves of a window nothing is needed.
    fn is_wanted(&self, config: &Checked) -> bool {
        let window = config.rest.fall_window;
        match self.begun.map(|begun| begun.half) {
            None | Some(Half::Between(_)) => true,
            Some(Half::First(_)) => self.time + config.rest.fall_mean >= half(window),
            Some(Half::Second(..)) => self.time + config.rest.fall_mean >= window,
        }
    }

    fn take(&mut self, volts: &Each<Volts, CELLS>) {
        if self.block.readings == 0 {
            self.block.first = self.time;
            self.sums = Each::all(0);
        }
        self.sums.iter_mut().zip(volts).for_each(|(sum, volts)| *sum = sum.saturating_add(volts.bits()));
        self.block.readings = self.block.readings.saturating_add(1);
        self.block.last = self.time;
    }

    /// A block is full: it begins or ends a half of a window, or lies between. A block of one reading holds no step, so that it ends the first
    /// half and begins the second.
    fn finish<const THERMISTORS: usize>(
        &mut self,
        relaxation: Volts,
        temperatures: &Temperatures<THERMISTORS>,
        config: &Checked,
    ) {
        let block = core::mem::replace(&mut self.block, Block::EMPTY);
        let (window, middle) = (config.rest.fall_window, block.middle());
        let Some(begun) = self.begun else {
            self.begin(block, relaxation, temperatures, config);
            return;
        };
        match begun.half {
            Half::First(since) if block.last >= half(window) && middle - since >= half(half(window)) => {
                self.end_first_half(block);
                let half = Half::Between(middle - since);
                self.begun = Some(Begun { half, ..begun });
                if block.readings == 1 {
                    self.begin_second_half(block, middle - since);
                }
            }
            Half::Between(first) => self.begin_second_half(block, first),
            Half::Second(first, since) if block.last >= window && middle - since >= half(half(window)) => {
                let warmed = (typical_warmth(temperatures, config) - begun.typical).abs();
                let window = Window {
                    halves: (first, middle - since),
                    relaxation: begun.relaxation,
                    typical_warmed: warmed,
                    entropy: config.charge.entropy,
                    most_of_lesser: config.rest.most_of_lesser,
                };
                self.judge(block, &window, temperatures, config);
                self.begin(block, relaxation, temperatures, config);
            }
            Half::First(_) | Half::Second(..) => {}
        }
    }

    /// A window begins with this block, and its time with the first reading of it.
    fn begin<const THERMISTORS: usize>(
        &mut self,
        block: Block,
        relaxation: Volts,
        temperatures: &Temperatures<THERMISTORS>,
        config: &Checked,
    ) {
        self.keep_apart(block);
        let mut warmth = ByModule::new(temperatures, config, Celsius::ZERO, middle_of);
        self.warm.iter_mut().for_each(|warm| *warm = narrow(warmth.next().bits() >> WARM));
        self.time = self.time - block.first;
        let half = Half::First(block.middle() - block.first);
        self.begun = Some(Begun { relaxation, typical: typical_warmth(temperatures, config), half });
        self.disturbed = CellSet::EMPTY;
    }

    fn end_first_half(&mut self, block: Block) {
        let typical = median(&self.sums.iter());
        for ((sum, apart), lost) in self.sums.iter().zip(&self.apart).zip(&mut self.lost) {
            let fell = (i32::from(*apart) << APART).saturating_sub(block.mean(sum.saturating_sub(typical)));
            *lost = narrow(fell >> APART);
        }
    }

    fn begin_second_half(&mut self, block: Block, first: Millis) {
        self.keep_apart(block);
        let half = Half::Second(first, block.middle());
        self.begun = self.begun.map(|begun| Begun { half, ..begun });
    }

    fn keep_apart(&mut self, block: Block) {
        let typical = median(&self.sums.iter());
        for (sum, apart) in self.sums.iter().zip(&mut self.apart) {
            *apart = narrow(block.mean(sum.saturating_sub(typical)) >> APART);
        }
    }

    /// A window ends with this block: which cell fell fastest in it.
    fn judge<const THERMISTORS: usize>(
        &mut self,
        block: Block,
        window: &Window,
        temperatures: &Temperatures<THERMISTORS>,
        config: &Checked,
    ) {
        let mut warmth = ByModule::new(temperatures, config, Celsius::ZERO, middle_of);
        let typical = median(&self.sums.iter());
        let (mut fastest, mut cell) = (None, 0_u8);
        let kept = self.apart.iter().zip(&self.lost).zip(&self.warm);
        for (sum, ((apart, lost), warm)) in self.sums.iter().zip(kept) {
            let warmed = (warmth.next() - Celsius::from_bits(i32::from(*warm) << WARM)).abs();
            if !self.disturbed.holds(cell) {
                let now = block.mean(sum.saturating_sub(typical));
                let first = Volts::from_bits(i32::from(*lost) << APART);
                let second = Volts::from_bits((i32::from(*apart) << APART).saturating_sub(now));
                let began = Volts::from_bits(block.mean(*sum)) + first + second;
                let least = ocv::fall_by(began, config.rest.least_leak);
                let fall = window.judge(cell, (first, second), warmed, least);
                let counts_from = least.max(config.faults.internal_short.trip);
                let beyond = fall.an_hour - fall.explained - counts_from;
                if fastest.is_none_or(|(before, _)| beyond > before) {
                    fastest = Some((beyond, fall));
                }
            }
            cell = cell.saturating_add(1);
        }
        self.fastest = fastest.map(|(_, fall)| fall);
    }
}

/// What is the same for all cells of a window.
struct Window {
    /// How long its halves lasted.
    halves: (Millis, Millis),
    relaxation: Volts,
    typical_warmed: Celsius,
    entropy: Volts,
    most_of_lesser: Ratio,
}

impl Window {
    fn judge(&self, cell: u8, (first, second): (Volts, Volts), warmed: Celsius, least: Volts) -> Fall {
        let entropy = self.entropy.scaled(Ratio::from_bits((warmed + self.typical_warmed).bits()));
        let an_hour = |volts: Volts, time: Millis| {
            let bits = i64::from(volts.bits()).saturating_mul(HOUR).checked_div(i64::from(time.0));
            Volts::from_wide(bits.unwrap_or(0))
        };
        let (one, other) = self.halves;
        let lesser = an_hour(first, one).min(an_hour(second, other));
        Fall {
            cell,
            an_hour: an_hour(first + second, one + other).min(lesser.scaled(self.most_of_lesser)),
            explained: an_hour(self.relaxation + entropy, one + other),
            least,
        }
    }
}

/// Half of a time.
const fn half(time: Millis) -> Millis {
    Millis(time.0 >> 1)
}

/// In the middle of what is credible for a module.
fn middle_of(range: &ModuleRange) -> Celsius {
    let sum = i64::from(range.coldest.bits()).saturating_add(i64::from(range.hottest.bits()));
    Celsius::from_wide(sum >> 1)
}

/// The mean of all modules: nearly half of the cells may be warmer than the typical one, as many colder.
fn typical_warmth<const THERMISTORS: usize>(
    temperatures: &Temperatures<THERMISTORS>,
    config: &Checked,
) -> Celsius {
    let modules = temperatures.modules.iter().take(usize::from(config.pack.modules));
    let sum = modules.fold(0_i64, |sum, range| sum.saturating_add(i64::from(middle_of(range).bits())));
    Celsius::from_wide(sum.checked_div(i64::from(config.pack.modules)).unwrap_or(0))
}

fn narrow(bits: i32) -> i16 {
    i16::try_from(bits).unwrap_or(if bits > 0 { i16::MAX } else { i16::MIN })
}
