//! # Precharge
//!
//! The contactor sequence watches the link while it charges (`sequence::precharge`); here its findings become faults with
//! stages and records. What each means: flat, the contactor or the resistor is open or the link is shorted; stalled, a load is on;
//! too slow, the end limit is not met in time; too fast, capacitance is missing; closing difference too large, something else has lifted
//! the link above the pack; hot, the resistor must cool first.

use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::sequence::Findings;
use crate::units::Ratio;
use crate::witness::Place;

/// A finding of the sequence as a fault of the pack.
macro_rules! finding {
    ($($(#[$doc:meta])* $name:ident => $field:ident;)+) => {
        $($(#[$doc])* pub(super) struct $name;

        impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for $name {
            type Quantity = Found;
            fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
                let Findings { $field, .. } = seen.findings;
                Sight::of_finding(Place::Link, *$field)
            }
        })+
    };
}

finding! {
    /// The link does not rise.
    Flat => precharge_flat;
    /// The link stops rising.
    Stalled => precharge_stalled;
    /// The link is not charged in time.
    TooSlow => precharge_too_slow;
    /// The link is charged too early.
    TooFast => precharge_too_fast;
    /// The link lies so far above the pack that positive must not close.
    ClosingDifference => closing_difference;
}

/// Modelled rise of the resistor as a fraction of the most allowed.
pub(super) struct ResistorHot;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for ResistorHot {
    type Quantity = Ratio;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Ratio>) -> Sight {
        limit.sight(Place::Pack, Some(seen.findings.resistor_heat))
    }
}
