//! # Interlock
//!
//! Decides what follows when the loop through all covers and connectors opens. Somebody may be about to touch live parts, so that the
//! contactors open at once; but under load an opening wears them, the current does not go by itself, and a hoist would drop. Then
//! zero current is asked for first.
//!
//! | loop | load within the last two seconds | `interlock open` | `interlock open at load` |
//! | --- | --- | --- | --- |
//! | made | | ends | ends |
//! | broken | no | begins | goes on |
//! | broken | yes | goes on | begins |
//!
//! Two faults and not one whose reaction changes: each has the one reaction that its configuration says, and of what holds the
//! strongest counts, as everywhere. A loop that stays open after the load has been set down is `interlock open` as well, and then bars
//! closing. Neither ends, nor can both be cleared, before the loop is made. A current that nobody knows counts as a load.
//!
//! A loop that breaks and makes within milliseconds is a loose connector: those breaks are counted (`sense::contacts`) and reported, in
//! two steps.

use super::Reading;
use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::frame::Contact;
use crate::witness::Place;

/// The loop, where a load is on or not.
pub(super) struct Open<const AT_LOAD: bool>;

/// Short breaks of the loop within the window.
pub(super) struct ShortBreaks;

impl<const CELLS: usize, const THERMISTORS: usize, const AT_LOAD: bool> Watch<CELLS, THERMISTORS>
    for Open<AT_LOAD>
{
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        let Some(contacts) = seen.believed.contacts else { return Sight::UNKNOWN };
        let reading = match contacts.interlock {
            Contact::Made => Reading::Within,
            Contact::Broken if is_at_load(seen) == AT_LOAD => Reading::Beyond,
            Contact::Broken => Reading::Between,
        };
        Sight { reading, ..Sight::found(Place::Pack, false) }
    }
}

/// Whether a load is on, or was a moment ago and may come back.
fn is_at_load<const CELLS: usize, const THERMISTORS: usize>(seen: &Seen<'_, CELLS, THERMISTORS>) -> bool {
    let lasts = seen.believed.since_load <= seen.config.contacts.load_lasts;
    seen.believed.current.is_none() || lasts
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for ShortBreaks {
    type Quantity = u8;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<u8>) -> Sight {
        let counted = seen.believed.contacts.map(|_| seen.believed.counted.short_breaks);
        limit.sight(Place::Pack, counted)
    }
}
