//! How much current may flow now, and which rule binds.

/// Into or out of the pack.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Side {
    /// Into the pack.
    Charge,
    /// Out of the pack.
    Discharge,
}

/// What can hold the current back.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LimitRule {
    /// The most this pack is built for.
    Rating,
    /// A cell would reach its voltage limit within the look-ahead.
    CellVoltage,
    /// A cell is too cold or too hot for more.
    Temperature,
    /// A cell may be nearly full or nearly empty: the worse end of its charge interval.
    Charge,
    /// The heat budget of fuse and cable.
    HeatBudget,
    /// A fault demands Derate.
    Derate,
    /// A measurement that the other rules need is missing.
    LostReading,
    /// The contactors are not closed, or about to open.
    NotClosed,
    /// The limit may not change faster.
    Smoothing,
}

/// What was given out, kept so that it changes smoothly.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Limiter {
    given: crate::decision::CurrentLimits,
}

impl Limiter {
    pub(crate) const fn new() -> Self {
        Self { given: crate::decision::CurrentLimits::NONE }
    }

    /// What was given out last.
    pub(crate) const fn given(&self) -> crate::decision::CurrentLimits {
        self.given
    }

    /// What the load has had time to follow: the most that was given out within the last 200 ms.
    pub(crate) const fn due(&self) -> crate::decision::CurrentLimits {
        self.given
    }

    /// Works out both limits for this tick.
    pub(crate) fn allowed<const CELLS: usize, const THERMISTORS: usize, W: crate::witness::Witness>(
        &mut self,
        _believed: &crate::sense::Believed<'_, CELLS, THERMISTORS>,
        _estimated: &crate::estimate::Estimated<CELLS>,
        _faults: &crate::decision::FaultSummary,
        _step: crate::sequence::Step,
        _config: &crate::config::Checked,
        _witness: &mut W,
    ) -> crate::decision::CurrentLimits {
        self.given
    }
}
