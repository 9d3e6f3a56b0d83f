//! # Which readings follow the load
//!
//! Decides how far each cell's reading moves with a load step, against what a typical cell does at its temperature:
//!
//! ```text
//! follows = |R of the cell| / (R typical · f(T))           R = ΔV / ΔI of one step in Ω, f as in `resistance`
//! R typical = median over the pack of R / f(T)
//!           = R of the pack / Σ f(T), where the cells together show less than three quarters of what the pack does
//! ```
//!
//! A channel that hangs moves by its noise at the most; the most conductive healthy cell is far from that. So the quotient needs no
//! finer temperature, but it needs the right side: of what is credible for a module the hottest counts, which expects least. Where half
//! of the cells stand still, the median does too; the measured pack voltage then says that the string did move.
//!
//! The current cancels: a sensor with the wrong sign or gain accuses no cell. A reading that moves the wrong way is no frozen one.
//! Each cell keeps its last three steps, and the one that it followed best counts: one step that two samples caught askew proves
//! nothing. What stands still without a load is not seen here, and does no harm before the next load.

use super::cold::growth;
use super::modules::ByModule;
use crate::config::Config;
use crate::each::Each;
use crate::sense::Temperatures;
use crate::units::{Milliohms, Ratio};

/// How far a cell followed one step, in hundredths, up to [`MOST`].
type Hundredths = u8;

/// Enough to say that a reading follows.
const MOST: Hundredths = Hundredths::MAX - 1;

/// Before three steps.
const NO_STEP: Hundredths = Hundredths::MAX;

/// The reading that followed the last three load steps least, each cell by the one of them that it followed best.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(crate) struct Following {
    /// The cell, from 0.
    pub(crate) cell: u8,
    /// How much of a typical cell's step it showed.
    pub(crate) least: Ratio,
    /// How much the best of all cells showed, of those that have seen three steps.
    pub(crate) most: Ratio,
}

/// How far each cell followed the last three steps.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Follow<const CELLS: usize> {
    last_three: Each<[Hundredths; 3], CELLS>,
    least: Option<Following>,
}

impl<const CELLS: usize> Follow<CELLS> {
    pub(super) fn new() -> Self {
        Self { last_three: Each::all([NO_STEP; 3]), least: None }
    }

    /// The reading that followed least; `None` before three steps.
    pub(super) const fn least(&self) -> Option<Following> {
        self.least
    }

    /// A new cell on a channel that may be mended: what it showed is void.
    pub(super) fn replace(&mut self, cell: u8) {
        if let Some(last) = self.last_three.at_mut(cell) {
            *last = [NO_STEP; 3];
        }
        if self.least.is_some_and(|least| least.cell == cell) {
            self.least = None;
        }
    }

    /// The workshop has been at the channels.
    pub(super) fn forget(&mut self) {
        *self = Self::new();
    }

    /// Takes one step: the resistance that each cell showed, their median at 25 °C, and that of the pack, if it was measured.
    pub(super) fn take<const THERMISTORS: usize>(
        &mut self,
        (measured, median): (&Each<i32, CELLS>, i32),
        pack: Option<Milliohms>,
        temperatures: &Temperatures<THERMISTORS>,
        config: &Config,
    ) {
        let Some(typical) = typical(measured, median, pack, temperatures, config) else { return };
        // Hundredths of the expected step for each bit of the measured one, times 2³².
        let mut by_module = ByModule::new(temperatures, config, 0, |range| {
            let expected = typical.scaled(growth(range.hottest));
            (100_i64 << 32).checked_div(i64::from(expected.bits())).unwrap_or(0)
        });
        let (mut least, mut most, mut cell) = (None, 0, 0_u8);
        for (measured, last_three) in measured.iter().zip(&mut self.last_three) {
            let each_bit = by_module.next();
            let follows = if each_bit == 0 { i64::MAX } else { shown(*measured, each_bit) };
            let follows = Hundredths::try_from(follows).unwrap_or(MOST).min(MOST);
            let [_, second, third] = *last_three;
            *last_three = [second, third, follows];
            let best = last_three.iter().copied().max().unwrap_or(NO_STEP);
            if best != NO_STEP {
                most = best.max(most);
                if least.is_none_or(|(_, before)| best < before) {
                    least = Some((cell, best));
                }
            }
            cell = cell.saturating_add(1);
        }
        let ratio = |hundredths: Hundredths| Ratio::percent(i32::from(hundredths));
        self.least = least.map(|(cell, least)| Following { cell, least: ratio(least), most: ratio(most) });
    }
}

/// Rounded up: what is shown is never less than it was.
fn shown(measured: i32, each_bit: i64) -> i64 {
    let whole = i64::from(measured.unsigned_abs()).saturating_mul(each_bit);
    (whole >> 32).saturating_add(1)
}

/// What a typical cell at 25 °C showed; `None` where nothing says that anything moved.
fn typical<const CELLS: usize, const THERMISTORS: usize>(
    measured: &Each<i32, CELLS>,
    median: i32,
    pack: Option<Milliohms>,
    temperatures: &Temperatures<THERMISTORS>,
    config: &Config,
) -> Option<Milliohms> {
    let median = Milliohms::from_bits(median).abs();
    let cells = measured.iter().fold(0_i64, |sum, one| sum.saturating_add(i64::from(*one)));
    let accounted = config.pack.resistance.accounted;
    let typical = match pack.map(Milliohms::abs) {
        Some(pack) if Milliohms::from_wide(cells).abs() < pack.scaled(accounted) => {
            let mut factors = ByModule::new(temperatures, config, Ratio::ONE, |range| growth(range.hottest));
            let factors =
                measured.iter().fold(0_i64, |sum, _| sum.saturating_add(factors.next().bits().into()));
            let each = (i64::from(pack.bits()) << 16).checked_div(factors);
            median.max(each.map_or(Milliohms::ZERO, Milliohms::from_wide))
        }
        Some(_) | None => median,
    };
    (typical > Milliohms::ZERO).then_some(typical)
}
