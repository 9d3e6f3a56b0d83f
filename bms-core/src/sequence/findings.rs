//! What the sequence concludes from the voltages, as values for the faults to judge.

use super::precharge::Failure;
use super::wear::Wear;
use crate::frame::Contactor;
use crate::units::{Ratio, Volts};

/// Whether something is wrong, and the figures that say so.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(crate) struct Finding {
    /// Whether it is wrong.
    pub(crate) broken: bool,
    /// A value and the bound it was held against; `None` where no value decided.
    pub(crate) figures: Option<(Volts, Volts)>,
}

/// The link when it should be down.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(crate) struct LinkLeft {
    /// What it reads.
    pub(crate) volts: Volts,
    /// A quarter of the pack: the limit for a pack that never exceeds the touch limit.
    pub(crate) part_of_pack: Volts,
}

/// What the contactor sequence concludes from the voltages in one tick; `None` where nothing can be judged in this tick, so that
/// the fault stays as it is.
#[derive(Clone, Copy, Debug, Default, Hash, PartialEq)]
pub(crate) struct Findings {
    pub(crate) precharge_flat: Option<Finding>,
    pub(crate) precharge_stalled: Option<Finding>,
    pub(crate) precharge_too_slow: Option<Finding>,
    pub(crate) precharge_too_fast: Option<Finding>,
    /// The link against the pack, where positive must not close onto the difference.
    pub(crate) closing_difference: Option<Finding>,
    /// Modelled temperature rise of the precharge resistor as a fraction of the most allowed.
    pub(crate) resistor_heat: Ratio,
    pub(crate) negative_stuck_open: Option<Finding>,
    /// By its feedback contact; the figures are the link's.
    pub(crate) precharge_stuck_open: Option<Finding>,
    pub(crate) positive_stuck_open: Option<Finding>,
    pub(crate) negative_welded: Option<Finding>,
    pub(crate) precharge_welded: Option<Finding>,
    pub(crate) positive_welded: Option<Finding>,
    /// Whose contact says open while the link hangs at its pole, and leaks may have drawn it there.
    pub(crate) untold: Option<Contactor>,
    /// The link against what the other voltages leave for it, or the pack's where current flows between the two.
    pub(crate) link_reading: Option<Finding>,
    /// Whose feedback contact contradicts coil and voltages; the inner `None` says that none does.
    #[expect(clippy::option_option, reason = "not judged and no contradiction are two answers")]
    pub(crate) feedback_contradicts: Option<Option<Contactor>>,
    /// What has been used of the contactors' lives.
    pub(crate) wear: Wear,
    /// The link, once it should be down.
    pub(crate) link_after_opening: Option<LinkLeft>,
}

impl Finding {
    /// Nothing is wrong, and there is nothing to measure it by.
    pub(super) const WELL: Self = Self { broken: false, figures: None };

    /// A bound that is kept.
    pub(super) const fn kept(observed: Volts, bound: Volts) -> Self {
        Self { broken: false, figures: Some((observed, bound)) }
    }

    /// A bound that is broken.
    pub(super) const fn broken(observed: Volts, bound: Volts) -> Self {
        Self { broken: true, figures: Some((observed, bound)) }
    }
}

impl Findings {
    /// Nothing is wrong with precharge: a start ran well, or none is running.
    pub(super) const fn precharge_is_well(&mut self) {
        let well = Some(Finding::WELL);
        self.precharge_flat = well;
        self.precharge_stalled = well;
        self.precharge_too_slow = well;
        self.precharge_too_fast = well;
        self.closing_difference = well;
        self.precharge_stuck_open = well;
    }

    /// A start has failed.
    pub(super) const fn precharge_failed(&mut self, failure: Failure, found: Finding) {
        match failure {
            Failure::Flat => self.precharge_flat = Some(found),
            Failure::Stalled => self.precharge_stalled = Some(found),
            Failure::TooSlow => self.precharge_too_slow = Some(found),
            Failure::TooFast => self.precharge_too_fast = Some(found),
            Failure::Above => self.closing_difference = Some(found),
        }
    }
}
