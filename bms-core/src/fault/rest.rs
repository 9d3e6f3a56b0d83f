//! # What only a rest shows
//!
//! Decides whether a cell that rests loses charge inside: so fast that its voltage falls within a rest, or so slowly that only the charge
//! tells from one rest to another. Both are worked out in `estimate`, with what the surroundings and the reading may have made of
//! it; here they become faults with stages and records. Opening the contactors stops neither: for a short the reaction keeps the pack
//! out of work, and the rest goes on to be watched.

use super::judge::{Limit, Seen, Sight, Watch};
use crate::units::{Ratio, Volts};
use crate::witness::Place;

/// The cell that falls fastest at rest.
pub(super) struct Falling;

/// The cell that loses charge from rest to rest.
pub(super) struct Losing;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Falling {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        match seen.estimated.fastest_fall() {
            None => Sight::PENDING,
            Some(fall) => {
                // Where the curve is steep, both limits rise as far as the least leak that counts moves a voltage there.
                let more = (fall.least - limit.trip).max(Volts::ZERO) + fall.explained;
                let (trip, release) = (limit.trip + more, limit.release + more);
                Limit::<Volts>::between(Place::Cell(fall.cell), Some(fall.an_hour), trip, release)
            }
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Losing {
    type Quantity = Ratio;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Ratio>) -> Sight {
        match seen.estimated.self_discharge() {
            None => Sight::PENDING,
            Some(loss) => limit.sight(Place::Cell(loss.cell), Some(loss.a_month)),
        }
    }
}
