//! # What only a rest shows
//!
//! Decides whether a cell that rests loses charge inside. How fast a cell falls is worked out in `estimate`, with what its surroundings
//! may have made of it; here it becomes a fault with stages and records. Opening the contactors takes nothing from the cell that a
//! short inside it would not take all the same: the reaction keeps the pack out of work, and the rest goes on to be watched.

use super::judge::{Limit, Seen, Sight, Watch};
use crate::units::Volts;
use crate::witness::Place;

/// The cell that falls fastest at rest.
pub(super) struct Falling;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Falling {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        match seen.estimated.fastest_fall() {
            None => Sight::PENDING,
            Some(fall) => {
                let (trip, release) = (limit.trip + fall.explained, limit.release + fall.explained);
                Limit::<Volts>::between(Place::Cell(fall.cell), Some(fall.an_hour), trip, release)
            }
        }
    }
}
