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
//! What no drop explains of it is kept as well, smoothed:
//!
//! ```text
//! gap ← gap + (beyond the path − gap) · time / mean          at once where it jumps by a whole limit
//! ```
//!
//! A pack's meter has noise of the size of the band between the limits of `pack sum disagrees`; unsmoothed, a gap that stands just below
//! them would be suspected and found well ten times a second.

use crate::config::Checked;
use crate::sense::Believed;
use crate::units::{Amps, Ratio, Volts};

/// Pack less cells, and the current that flowed.
#[derive(Clone, Copy, Debug, PartialEq)]
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

    /// As it is now, if every cell is well.
    pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
        believed: &Believed<'_, CELLS, THERMISTORS>,
        config: &Checked,
    ) -> Option<Self> {
        let lowest = believed.cells.as_ref()?.lowest.1;
        Self::now(believed).filter(|_| lowest > config.faults.cell_under_voltage_far.release)
    }
}
