//! What contactors stand in their life, by their sheet.

use super::digest::section;
use crate::units::Ratio;

section! {
    /// Lives of a contactor. The making life on a capacitor is one sheet's: 50 000 closings after a precharge of 90 %, 50 after one of 80 %
    /// (Durakool DEVR40 series, 320 V); openings at the breaking limit are common practice, no source.
    ContactorLife {
        /// Closing onto a link that lacks no more than this fraction of the pack ...
        slight_difference: Ratio,
        /// ... can be done so often,
        slight_closings: u32,
        /// and onto one that lacks this fraction ...
        large_difference: Ratio,
        /// ... so often.
        large_closings: u32,
        /// How often `sequence.breaking_limit` can be broken.
        openings: u32,
    }
}

impl ContactorLife {
    pub(super) const fn usual() -> Self {
        Self {
            slight_difference: Ratio::percent(10),
            slight_closings: 50_000,
            large_difference: Ratio::percent(20),
            large_closings: 50,
            openings: 10,
        }
    }
}
