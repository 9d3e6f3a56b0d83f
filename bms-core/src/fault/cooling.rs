//! # Cooling
//!
//! Decides whether fan or pump cool when they are told to. Observed in `estimate`, by tacho and temperature; here it becomes a fault with
//! stages and records. While it holds, cooling stays on, so that a mend shows.

use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::witness::Place;

/// Cooling that does not cool.
pub(super) struct Fails;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Fails {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        seen.estimated.cooling_fails().map_or(Sight::PENDING, |fails| Sight::found(Place::Pack, fails))
    }
}
