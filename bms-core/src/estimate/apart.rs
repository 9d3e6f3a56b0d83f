//! # The pack against its cells, before one of them was low
//!
//! Keeps how far the measured pack voltage lay from the sum of the cells when all of them were last above the second step of under-voltage, and
//! the current then:
//!
//! ```text
//! apart = V pack − Σ V cells          I positive into the pack
//! ```
//!
//! When a channel dies, its cell reads less and the pack does not; a cell that is driven backwards takes its voltage from the pack too. What
//! the two meters are off, and what drops between them, is in both figures and goes out of their difference.
//!
//! A load may begin in the very tick in which a channel dies, or go on rising after it, and its drop then hides whether the pack took part. What
//! tells is the fall itself. A cell that is driven backwards empties first: in an oldest age of 30 ms even 5C take less than a 20 000th of its
//! charge, and it passes through all that is low on its way. What is well in one reading and backwards in the next did not get there by its
//! charge. With a load step a channel has died, or a joint has parted and drops the whole step; without one the pack tells, in that tick
//! best. So what was found then is kept until all cells are well again: such a cell is too low, which opens soon, and not reversed.
//!
//! What no drop explains of it is kept as well, smoothed:
//!
//! ```text
//! gap ← gap + (beyond the path − gap) · time / mean          at once where it jumps by a whole limit
//! ```
//!
//! A pack's meter has noise of the size of the band between the limits of `pack sum disagrees`; unsmoothed, a gap that stands just below
//! them would be suspected and found well ten times a second.

use crate::config::{Checked, Config};
use crate::sense::Believed;
use crate::units::{Amps, Ratio, Volts};

/// Pack less cells, and the current that flowed.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(crate) struct Apart {
    /// Positive where the pack reads more.
    pub(crate) volts: Volts,
    pub(crate) amps: Amps,
}

impl Apart {
    /// As it is now; `None` while something is not measured.
    pub(crate) fn now<const CELLS: usize, const THERMISTORS: usize>(
        believed: &Believed<'_, CELLS, THERMISTORS>,
    ) -> Option<Self> {
        let (cells, voltages) = (believed.cells.as_ref()?, believed.voltages.as_ref()?);
        Some(Self { volts: voltages.pack - cells.sum, amps: believed.current?.amps })
    }

    /// What no drop between cells and meter explains, after `before`; `None` while something is not measured.
    pub(super) fn gap<const CELLS: usize, const THERMISTORS: usize>(
        before: Option<Volts>,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        config: &Checked,
    ) -> Option<Volts> {
        let (now, mean) = (Self::now(believed)?, config.sensing.gap_mean);
        let beyond = config.sensing.beyond_path(now.volts, now.amps);
        let step = before.map(|before| (before, beyond - before));
        let smooth = |step: &(Volts, Volts)| step.1.abs() < config.faults.pack_sum_disagrees.trip;
        let Some((before, step)) = step.filter(smooth) else { return Some(beyond) };
        let part = (u64::from(believed.credit.0) << 16).checked_div(mean.0.into());
        let part = part.and_then(|part| i64::try_from(part).ok()).map_or(Ratio::ONE, Ratio::from_wide);
        Some(before + step.scaled(part.min(Ratio::ONE)))
    }

    /// What the pack leaves for a cell that reads this, at least, all readings as wrong as is stated.
    pub(crate) fn leaves(self, cell: Volts, config: &Config) -> Volts {
        cell + config.sensing.beyond_path(self.volts, self.amps) - error(config)
    }

    /// The same by the change since `then`, in which steady errors go out; `None` where pack and cells did not agree then, so that no change
    /// says anything.
    pub(crate) fn leaves_since(self, then: Self, cell: Volts, config: &Config) -> Option<Volts> {
        let sensing = &config.sensing;
        let agreed = sensing.beyond_path(then.volts, then.amps).abs() <= error(config);
        let moved = sensing.beyond_path(self.volts - then.volts, self.amps - then.amps);
        agreed.then(|| cell + moved - (sensing.voltage_error + sensing.cell_error + sensing.cell_error))
    }
}

/// By how much pack and sum of the cells may differ by their errors alone.
fn error(config: &Config) -> Volts {
    let each = i64::from(config.sensing.cell_error.bits());
    config.sensing.voltage_error + Volts::from_wide(each.saturating_mul(config.pack.cells().into()))
}

/// Pack and cells when all of them were last well, and how one of them ceased to be.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct WhenWell {
    /// How they lay then.
    pub(super) apart: Option<Apart>,
    /// Whether that was the last reading.
    just_now: bool,
    /// The cell that fell from there to backwards in one reading, and not by its charge.
    pub(super) fell_at_once: Option<u8>,
}

impl WhenWell {
    pub(super) const UNKNOWN: Self = Self { apart: None, just_now: false, fell_at_once: None };

    /// Takes one frame.
    pub(super) fn advance<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        config: &Checked,
    ) {
        let (Some(cells), Some(now)) = (&believed.cells, Apart::now(believed)) else { return };
        let (cell, lowest) = cells.lowest;
        if lowest > config.faults.cell_under_voltage_far.release {
            *self = Self { apart: Some(now), just_now: true, fell_at_once: None };
            return;
        }
        let at_once = self.just_now && believed.elapsed <= config.pack.oldest_age;
        let backwards = config.faults.cell_reversed.trip;
        if let Some(then) = self.apart.filter(|_| at_once && lowest <= backwards) {
            let stepped = (now.amps - then.amps).abs() >= config.pack.resistance.least_step;
            let denied = now.leaves_since(then, lowest, config).is_some_and(|left| left > backwards);
            self.fell_at_once = (stepped || denied).then_some(cell);
        }
        self.just_now = false;
    }
}
