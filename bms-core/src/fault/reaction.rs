//! What a fault demands, in rising order, and who may end it.

use crate::frame::Clearance;

/// What the controller does about a confirmed fault; the strongest one holds.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reaction {
    /// Record and warn only.
    Report,
    /// Cut the current limits and run cooling.
    Derate,
    /// Ask for zero current and open below the switching limit, or when the grace time ends.
    OpenSoon,
    /// Open in this tick and bar closing until cleared.
    OpenNow,
}

/// Who may clear a latched fault.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Clearing {
    /// The operator at the panel, once the condition is gone.
    AtPanel,
    /// Only the workshop, once the condition is gone.
    AtService,
}

impl Clearing {
    /// Whether this one may clear.
    pub(crate) const fn allows(self, by: Clearance) -> bool {
        match (self, by) {
            (Self::AtPanel, Clearance::Panel | Clearance::Service)
            | (Self::AtService, Clearance::Service) => true,
            (Self::AtService, Clearance::Panel) => false,
        }
    }
}
