//! # Insulation
//!
//! Decides whether the weaker pole's resistance to the chassis is low for the pack's voltage. A reading takes seconds, so that a fault is
//! counted in readings and not in milliseconds: the limit must be passed in each of the last ones.
//!
//! ```text
//! beyond ⇔ best of the last n ≤ trip        within ⇔ worst of the last n ≥ release
//! ```
//!
//! One leak harms nobody who touches the other pole not: it takes a second one. So the first step is a report, and at the second one what
//! is closed stays closed, with a warning. A charger ties the pack to the mains: with one, the second step opens.
//!
//! No result is no good one: after the oldest age that a result may have, insulation is unknown, and that is told. A charger's own monitor
//! measures in place of this one; a pack without measuring points never knows and says so once.

use super::Reading;
use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::units::{Millis, OhmsPerVolt};
use crate::witness::Place;

/// Below the first step.
pub(super) struct Low;

/// Below the second step.
pub(super) struct LowFar;

/// Below the second step while a charger charges.
pub(super) struct LowWhileCharged;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Low {
    type Quantity = OhmsPerVolt;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<OhmsPerVolt>) -> Sight {
        in_the_last(seen.config.insulation.readings, seen, limit)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for LowFar {
    type Quantity = OhmsPerVolt;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<OhmsPerVolt>) -> Sight {
        in_the_last(seen.config.insulation.readings_far, seen, limit)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for LowWhileCharged {
    type Quantity = OhmsPerVolt;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<OhmsPerVolt>) -> Sight {
        let sight = in_the_last(seen.config.insulation.readings_far, seen, limit);
        // Without a charger this is no fault, however low it is.
        let known = sight.reading != Reading::Unknown;
        if known && !seen.insulation.charger() { Sight { reading: Reading::Within, ..sight } } else { sight }
    }
}

/// No result for too long.
pub(super) struct Unknown;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Unknown {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        if !seen.config.sensing.points.poles {
            return Sight::found(Place::Pack, false);
        }
        if seen.insulation.charger() {
            return Sight::UNKNOWN;
        }
        let oldest = seen.config.insulation.oldest;
        Limit::<Millis>::between(Place::Pack, Some(seen.insulation.sought()), oldest, oldest - Millis(1))
    }
}

/// The best of the last readings, at its weaker pole.
fn in_the_last<const CELLS: usize, const THERMISTORS: usize>(
    count: u8,
    seen: &Seen<'_, CELLS, THERMISTORS>,
    limit: &Limit<OhmsPerVolt>,
) -> Sight {
    let last = || seen.insulation.results().take(count.into());
    let Some(best) = last().max_by_key(|result| result.per_volt()) else { return Sight::PENDING };
    let sight = limit.sight(Place::Pole(best.weaker), Some(best.per_volt()));
    let enough = last().count() == usize::from(count);
    let all_within = last().all(|result| result.per_volt() >= limit.release);
    let reading = match sight.reading {
        Reading::Beyond if enough => Reading::Beyond,
        _ if all_within => Reading::Within,
        _ => Reading::Between,
    };
    Sight { reading, ..sight }
}
