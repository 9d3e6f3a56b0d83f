//! # What is worked out over time
//!
//! From believed readings: how much charge is missing in each cell ([`charge`]), what resistance each cell shows in load
//! steps ([`resistance`]), and how much of the heat budget of fuse and cable is used ([`heat`]).

use crate::units::{Amps, Coulombs, Milliohms, Volts};

/// Two bounds with the truth between them.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Interval {
    /// Not less than this.
    pub low: Coulombs,
    /// Not more than this.
    pub high: Coulombs,
}

/// What a load step said about the cell that stood out most in it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LoadStep {
    /// The cell with the largest excess, from 0.
    pub cell: u8,
    /// Its change of voltage.
    pub volts: Volts,
    /// The change of current.
    pub amps: Amps,
    /// The ratio of the two.
    pub resistance: Milliohms,
    /// What is expected of it at its temperature.
    pub expected: Milliohms,
    /// The excess above which the step counts against the cell.
    pub allowed: Milliohms,
}

/// Why a load step was not used.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Discarded {
    /// Smaller than 0.3C.
    TooSmall,
    /// The current still moved in the window after the step: a skew between voltage and current would fake resistance.
    CurrentMoved,
    /// A part of the frame was missing in one of the windows.
    ReadingMissing,
    /// Cells were bleeding or precharge was running.
    NotQuiet,
}

/// What the estimate must know besides the readings.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Surroundings<'a, const CELLS: usize> {
    /// The cells that bled since the frame before.
    pub(crate) bleeding: &'a crate::decision::CellSet<CELLS>,
    /// Where the contactor sequence stood.
    pub(crate) step: crate::sequence::Step,
    /// A cell that the workshop reports as replaced.
    pub(crate) replaced: Option<u8>,
    /// When this is.
    pub(crate) now: crate::units::Uptime,
}

/// What is worked out over time, kept from tick to tick.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimated<const CELLS: usize> {
    cells: crate::each::Each<Interval, CELLS>,
}

impl<const CELLS: usize> Estimated<CELLS> {
    pub(crate) fn new(_config: &crate::config::Checked) -> Self {
        Self { cells: crate::each::Each::all(Interval { low: Coulombs::ZERO, high: Coulombs::ZERO }) }
    }

    pub(crate) fn advance<const THERMISTORS: usize, W: crate::witness::Witness>(
        &mut self,
        _believed: &crate::sense::Believed<'_, CELLS, THERMISTORS>,
        _surroundings: &Surroundings<'_, CELLS>,
        _config: &crate::config::Checked,
        _witness: &mut W,
    ) {
    }

    /// Charge missing to full in a cell.
    #[must_use]
    pub fn missing(&self, cell: u8) -> Option<Interval> {
        self.cells.at(cell).copied()
    }

    /// How much more is missing in this cell than in the pack's median cell; narrower than the difference of two `missing`.
    #[must_use]
    pub fn missing_against_median(&self, cell: u8) -> Option<Interval> {
        self.cells.at(cell).copied()
    }

    /// Lowest and highest credible state of charge of the emptiest and the fullest cell.
    #[must_use]
    pub fn state_of_charge(&self) -> (crate::units::Ratio, crate::units::Ratio) {
        (crate::units::Ratio::ZERO, crate::units::Ratio::ONE)
    }

    /// Largest excess of resistance that each of the last three load steps showed, with its cell; `None` before three steps.
    pub(crate) fn excess_resistance(&self) -> Option<LoadStep> {
        None
    }

    /// In how many of the last three load steps the cells moved against the current.
    pub(crate) fn steps_against_current(&self) -> u8 {
        0
    }

    /// The cell whose count and open-circuit voltage exclude each other, and by how much.
    pub(crate) fn charge_gap(&self) -> Option<(u8, Coulombs)> {
        None
    }

    /// Used part of the heat budget of fuse and cable.
    pub(crate) fn heat_used(&self) -> crate::units::Ratio {
        crate::units::Ratio::ZERO
    }
}
