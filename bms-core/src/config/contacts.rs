//! What is made of the contacts and counters around the pack.

use super::digest::section;
use crate::units::Millis;

section! {
    /// Interlock and impact sensor. Figures are common practice, no source.
    ContactRules {
        /// A current beyond the switching limit counts as a load for so long after it was last seen.
        load_lasts: Millis,
        /// Short breaks of the interlock are counted over this time.
        break_window: Millis,
        /// Edges of the impact sensor are counted over this time.
        impact_window: Millis,
        /// The most by which a counter moves between two frames; where it moved by more, it was restarted.
        most_counts: u8,
    }
}

impl ContactRules {
    pub(super) const fn usual() -> Self {
        Self {
            load_lasts: Millis::from_seconds(2),
            break_window: Millis::from_seconds(60),
            impact_window: Millis(50),
            most_counts: 32,
        }
    }
}
