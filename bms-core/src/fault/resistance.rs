//! # What only time shows: resistance and charge
//!
//! Decides whether a cell with its joint is too resistive, whether a cell's reading follows the load at all, and whether counted
//! charge is excluded by the open-circuit voltage or by what a cell can hold.
//! All are worked out in `estimate`; here they become faults with stages and records.
//!
//! The excess over what the cell's temperature explains is judged in milliohms as measured. Normalising it to 25 °C would divide
//! a joint's 2 mΩ by five in the freezer, and a joint does not grow in the cold.

use super::judge::{Limit, Seen, Sight, Watch};
use crate::units::{Coulombs, Milliohms, Ratio};
use crate::witness::Place;

/// Excess resistance in the weakest of the last three load steps.
pub(super) struct Excess;

/// How far the reading that follows the load least has followed the last three steps.
pub(super) struct Following;

/// Distance between the counted interval and the one that excludes it.
pub(super) struct ChargeGap;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Excess {
    type Quantity = Milliohms;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Milliohms>) -> Sight {
        match seen.estimated.excess_resistance() {
            None => Sight::PENDING,
            Some(step) => {
                let scaled = step.expected.scaled(seen.config.pack.resistance.excess_of_expected);
                let (trip, release) = (limit.trip + scaled, limit.release + scaled);
                Limit::<Milliohms>::between(
                    Place::Cell(step.cell),
                    Some(step.resistance - step.expected),
                    trip,
                    release,
                )
            }
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for ChargeGap {
    type Quantity = Coulombs;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Coulombs>) -> Sight {
        match seen.estimated.charge_gap() {
            None => Sight::PENDING,
            Some((cell, gap)) => limit.sight(Place::Cell(cell), Some(gap)),
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Following {
    type Quantity = Ratio;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Ratio>) -> Sight {
        match seen.estimated.least_following() {
            None => Sight::PENDING,
            Some(following) => {
                let all = following.most <= limit.trip;
                let place = if all { Place::Pack } else { Place::Cell(following.cell) };
                limit.sight(place, Some(following.least))
            }
        }
    }
}
