//! # Bleed paths
//!
//! Decides whether a bleed switch does what it is told. Observed in `estimate`, by the comparators across the bleed resistors: no voltage of a
//! cell shows it, since the cells are read with bleeding paused. Without comparators nothing is said.

use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::decision::CellSet;
use crate::witness::Place;

/// A cell that bleeds whatever its switch is told.
pub(super) struct StuckOn;

/// A cell that does not bleed although its switch is told to.
pub(super) struct StuckOff;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for StuckOn {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        first(seen.estimated.bleeds_stuck_on(seen.config))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for StuckOff {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        first(seen.estimated.bleeds_stuck_off(seen.config))
    }
}

/// The first of the cells, if it is known which there are.
fn first<const CELLS: usize>(cells: Option<&CellSet<CELLS>>) -> Sight {
    match cells {
        None => Sight::PENDING,
        Some(cells) if cells.is_empty() => Sight::found(Place::Pack, false),
        Some(cells) => {
            cells.iter().next().map_or(Sight::PENDING, |cell| Sight::found(Place::Cell(cell), true))
        }
    }
}
