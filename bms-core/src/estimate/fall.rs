//! # Whether a rested cell falls
//!
//! Decides how fast each cell loses voltage against a typical one while nothing flows through the string:
//!
//! ```text
//! fall = (d at the beginning − d at the end) / time between          in volts an hour,  d = V of the cell − median of the pack
//! allowed = (trip · time + relaxation left + entropy · (|ΔT of the cell| + |ΔT of the typical one|)) / time
//! ```
//!
//! Both `d` are means over ten minutes (one reading a second, or each tick where ticks come further apart): half a millivolt of noise
//! then is 0.02 mV. What all cells share goes out with the median. What need not be shared is allowed for: what may be left of relaxation
//! when the window begins, and the entropy of a pack that cools or warms meanwhile, each cell by its own module and with any sign.
//! A cell that bled meanwhile is not judged in that window, since it was made to fall.
//!
//! On the plateau 5 mV an hour are some tenths of C: only an internal short takes so much from a cell that rests. A softer one shows
//! in the charge that is lost from rest to rest, not here. Opening contactors does not stop either.
//!
//! Time is that of the frames, however far apart they are: a controller that sleeps at rest sees the same fall.

use super::Moment;
use super::median::median;
use super::modules::ByModule;
use super::rest::{self, Rest};
use crate::config::Checked;
use crate::decision::CellSet;
use crate::each::Each;
use crate::sense::{ModuleRange, Temperatures};
use crate::units::{Celsius, Millis, Ratio, Volts};

/// Cells are read once in so long.
const EVERY: Millis = Millis::from_seconds(1);

/// A mean is taken over so long. Common practice, no source.
pub(crate) const BLOCK: Millis = Millis::from_seconds(600);

/// A mean takes no more readings than this, so that sums of them fit.
const MOST_READINGS: u16 = 1_000;

/// What is kept for each cell leaves so many bits of a voltage out, to reach 2 V either way, and of a temperature.
const APART: u32 = 2;
const WARM: u32 = 9;

/// A fall is told for so long.
const HOUR: i64 = 3_600_000;

/// The cell that fell fastest beyond what its surroundings explain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Fall {
    /// The cell, from 0.
    pub(crate) cell: u8,
    /// By how much it fell against a typical one in an hour; negative when it rose.
    pub(crate) an_hour: Volts,
    /// How much of that relaxation and temperature may have made.
    pub(crate) explained: Volts,
}

/// The block of readings that is being taken.
#[derive(Clone, Copy, Debug, PartialEq)]
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
}

/// How a window began.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Begun {
    /// The middle of its first block.
    middle: Millis,
    relaxation: Volts,
    typical: Celsius,
}

/// Each cell against the median from the beginning of a window on.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Falling<const CELLS: usize> {
    /// Time since the window began, and since the last reading.
    time: Millis,
    since: Millis,
    block: Block,
    sums: Each<i32, CELLS>,
    begun: Option<Begun>,
    /// How far each cell was from the median when the window began, in steps of 61 µV, and how warm, in 1/128 °C.
    apart: Each<i16, CELLS>,
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
        let Moment { believed, bleeding, config, .. } = moment;
        let rested = rest.rested();
        let usable = believed.cells.as_ref().filter(|_| !believed.repeated);
        if rested < config.charge.rest_warm.times(config.rest.settled) {
            self.break_off();
            return;
        }
        self.time = self.time + believed.elapsed;
        self.since = self.since + believed.elapsed;
        bleeding.perhaps.iter().for_each(|cell| self.disturbed.insert(cell));
        let Some(cells) = usable.filter(|_| self.since >= EVERY) else { return };
        let coldest = believed.temperatures.coldest.map(|(_, celsius)| celsius);
        let needed = rest::needed(coldest, &config.charge);
        if rested < needed.times(config.rest.settled) {
            self.break_off();
            return;
        }
        let sparse = self.since >= BLOCK;
        self.since = Millis::ZERO;
        if !self.is_wanted(config) {
            return;
        }
        let relaxation = rest::relaxation(rested, needed, &config.charge);
        if self.block.readings > 0 && self.time - self.block.first > BLOCK {
            self.finish(relaxation, &believed.temperatures, config);
        }
        self.take(cells.volts);
        let full = self.time - self.block.first >= BLOCK || self.block.readings >= MOST_READINGS;
        if sparse || full {
            self.finish(relaxation, &believed.temperatures, config);
        }
    }

    fn break_off(&mut self) {
        (self.time, self.since) = (Millis::ZERO, EVERY);
        (self.block, self.begun) = (Block::EMPTY, None);
        self.disturbed = CellSet::EMPTY;
    }

    /// Between the first and the last block of a window nothing is needed.
    fn is_wanted(&self, config: &Checked) -> bool {
        self.begun.is_none() || self.time + BLOCK >= config.rest.fall_window
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

    /// A block is full: it begins a window, ends one and begins the next, or lies between.
    fn finish<const THERMISTORS: usize>(
        &mut self,
        relaxation: Volts,
        temperatures: &Temperatures<THERMISTORS>,
        config: &Checked,
    ) {
        let block = core::mem::replace(&mut self.block, Block::EMPTY);
        let begun = self.begun;
        if begun.is_some() && block.last < config.rest.fall_window {
            return;
        }
        let middle = block.middle();
        let mut warmth = ByModule::new(temperatures, config, Celsius::ZERO, middle_of);
        let typical_warmth = typical_warmth(temperatures, config);
        let window = begun.map(|begun| Window::of(&begun, middle, typical_warmth, config));
        let typical = median(&self.sums.iter());
        let (mut fastest, mut cell) = (None, 0_u8);
        for ((sum, apart), warm) in self.sums.iter().zip(&mut self.apart).zip(&mut self.warm) {
            let now = sum.saturating_sub(typical).checked_div(i32::from(block.readings)).unwrap_or(0);
            let celsius = warmth.next();
            if let Some(window) = &window
                && !self.disturbed.holds(cell)
            {
                let lost = (i32::from(*apart) << APART).saturating_sub(now);
                let warmed = (celsius - Celsius::from_bits(i32::from(*warm) << WARM)).abs();
                let fall = window.judge(cell, Volts::from_bits(lost), warmed);
                let beyond = |fall: &Fall| fall.an_hour - fall.explained;
                if fastest.is_none_or(|before| beyond(&fall) > beyond(&before)) {
                    fastest = Some(fall);
                }
            }
            *apart = narrow(now >> APART);
            *warm = narrow(celsius.bits() >> WARM);
            cell = cell.saturating_add(1);
        }
        if begun.is_some() {
            self.fastest = fastest;
        }
        // The window that begins counts from the first reading of this block.
        let middle = middle - block.first;
        self.time = self.time - block.first;
        self.begun = Some(Begun { middle, relaxation, typical: typical_warmth });
        self.disturbed = CellSet::EMPTY;
    }
}

/// What is the same for all cells of a window.
struct Window {
    /// Parts of an hour, so that what happened in the window is told for an hour.
    time: i64,
    relaxation: Volts,
    typical_warmed: Celsius,
    entropy: Volts,
}

impl Window {
    fn of(begun: &Begun, middle: Millis, typical: Celsius, config: &Checked) -> Self {
        Self {
            time: i64::from((middle - begun.middle).0),
            relaxation: begun.relaxation,
            typical_warmed: (typical - begun.typical).abs(),
            entropy: config.charge.entropy,
        }
    }

    fn judge(&self, cell: u8, lost: Volts, warmed: Celsius) -> Fall {
        let entropy = self.entropy.scaled(Ratio::from_bits((warmed + self.typical_warmed).bits()));
        let an_hour = |volts: Volts| {
            let bits = i64::from(volts.bits()).saturating_mul(HOUR).checked_div(self.time);
            Volts::from_wide(bits.unwrap_or(0))
        };
        Fall { cell, an_hour: an_hour(lost), explained: an_hour(self.relaxation + entropy) }
    }
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
