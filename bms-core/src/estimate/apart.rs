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

use crate::config::Checked;
use crate::sense::Believed;
use crate::units::{Amps, Volts};

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

    /// As it is now, if every cell is well.
    pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
        believed: &Believed<'_, CELLS, THERMISTORS>,
        config: &Checked,
    ) -> Option<Self> {
        let lowest = believed.cells.as_ref()?.lowest.1;
        Self::now(believed).filter(|_| lowest > config.faults.cell_under_voltage_far.release)
    }
}
