//! # Sense wires
//!
//! An open wire is found, or suspected, by the room of the wires; here its amount is held against the limit. A wire whose readings pass a
//! voltage limit that its two cells together do not pass is suspect whatever the amount: it must be so before the voltage is. One test alone
//! that nothing bears out changes no stage.

use super::Reading;
use super::judge::{Limit, Seen, Sight, Watch};
use crate::units::Volts;
use crate::witness::Place;

/// The wire that moves its cells apart.
pub(super) struct Open;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Open {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        match seen.wires.suspect(seen.config) {
            Some((open, certain)) => {
                let sight = limit.sight(Place::Wire(open.wire), Some(open.apart));
                if certain { Sight { reading: Reading::Beyond, ..sight } } else { sight }
            }
            None if seen.believed.cells.is_none() || seen.wires.awaits_another(seen.config) => Sight::UNKNOWN,
            None => Sight::found(Place::Pack, false),
        }
    }
}
