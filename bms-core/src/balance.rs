//! Which cells bleed, and why the others do not.

/// Why a cell does not bleed: the first condition that failed.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum BleedRefusal {
    /// Its interval is too wide to say that it lies above the lowest cell.
    NotProvenAbove,
    /// It may be too empty to bleed.
    BelowFloor,
    /// Its module is too cold or too hot.
    Temperature,
    /// Its module already makes all the heat that is allowed.
    HeatBudget,
    /// A fault speaks against using its reading.
    ReadingDoubted,
    /// Bleeding is paused while something is measured.
    Measuring,
}

/// Which cells bleed, kept between choices.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Balance<const CELLS: usize> {
    bleeding: crate::decision::CellSet<CELLS>,
}

impl<const CELLS: usize> Balance<CELLS> {
    pub(crate) const fn new() -> Self {
        Self { bleeding: crate::decision::CellSet::EMPTY }
    }

    /// The cells that bleed.
    pub(crate) const fn bleeding(&self) -> &crate::decision::CellSet<CELLS> {
        &self.bleeding
    }

    /// Chooses anew when it is time, and pauses while something is measured.
    pub(crate) fn choose<const THERMISTORS: usize, W: crate::witness::Witness>(
        &mut self,
        _believed: &crate::sense::Believed<'_, CELLS, THERMISTORS>,
        _estimated: &crate::estimate::Estimated<CELLS>,
        _faults: &crate::decision::FaultSummary,
        _step: crate::sequence::Step,
        _config: &crate::config::Checked,
        _witness: &mut W,
    ) -> crate::decision::CellSet<CELLS> {
        self.bleeding
    }
}
