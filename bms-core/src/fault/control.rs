//! # The controller's own means
//!
//! Decides whether supply, measurements and configuration are fit to decide anything at all.

use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::units::{Millis, Volts};
use crate::witness::Place;

/// The auxiliary supply.
pub(super) struct Supply;

/// Time for which something was not measured: a part that is old, or a gap before the frame.
pub(super) struct Unseen;

/// The configuration.
pub(super) struct Configuration;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Supply {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        limit.sight(Place::Supply, seen.believed.supply)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Unseen {
    type Quantity = Millis;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Millis>) -> Sight {
        limit.sight(Place::Pack, Some(seen.believed.unseen))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Configuration {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        Sight::found(Place::Pack, seen.config.refused().is_some() || !seen.integrity.holds())
    }
}
