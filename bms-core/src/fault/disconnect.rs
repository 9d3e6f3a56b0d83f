//! # Disconnects, fuse and impact
//!
//! Decides whether the string is interrupted in its middle, whether the controller is losing its own supply, and whether the pack was
//! struck.
//!
//! Fuse and service disconnect lie mid-string: where either is open the pack's terminals lose the cells, and the cells still sum up. The
//! disconnect has a contact, so that it is named by it; what the voltages show beyond that is the fuse or a contact that lies, and
//! both are `fuse or service path open`:
//!
//! ```text
//! gap = |sum of the cells − pack| / sum        pack by its own reading, and by the cross voltages: behind_negative + behind_positive − link
//! ```
//! It is open where *both* readings of the pack gape and no current flows:
//!
//! - no error of scale gapes so far, but a dead reading of the pack does. The cross voltages are another way round the same loop and
//!   deny it; so does a current, which needs a whole string. Then the reading lies and `pack sum disagrees` says so. Without both
//!   cross voltages and without current the two cannot be told apart, and the graver one is taken;
//! - with the contactors closed the link holds the terminals up, and without a load it falls by its bleed-down alone. So the gap
//!   needs time to open: at 20 % it is found after `R_d · C · 0.22`, half a second on the crane, before `pack sum disagrees` has been held for
//!   its second. While the string is open that one is silent: no reading is wrong then, they read two different things;
//! - cells and pack may be read an oldest age apart, and 5C through the cells' resistance is a quarter of the pack. The dwell is longer.
//!
//! A pulled auxiliary disconnect takes the supply away, so that `supply low` would follow. While its contact says so the cause is
//! named, and the supply is not accused as well; the reaction is the same, with the same short grace. A supply that falls while the contact is
//! made sags for another reason.
//!
//! The impact sensor answers with a burst of edges, counted by the input's hardware: one edge is a disturbance, several within the window
//! are an impact. Nobody knows then what is broken inside: open at once, until the workshop has looked.

use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::frame::{Contact, Contacts};
use crate::units::{Ratio, Volts};
use crate::witness::Place;

/// The service disconnect, by its contact.
pub(super) struct ServiceOut;

/// The string, by the cells against the pack's terminals.
pub(super) struct StringGap;

/// The auxiliary disconnect, by its contact.
pub(super) struct AuxiliaryPulled;

/// Edges of the impact sensor within the window.
pub(super) struct ImpactEdges;

/// A contact that should be made.
fn broken<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
    place: Place,
    contact: impl FnOnce(Contacts) -> Contact,
) -> Sight {
    let Some(contacts) = seen.believed.contacts else { return Sight::UNKNOWN };
    Sight::found(place, contact(contacts) == Contact::Broken)
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for ServiceOut {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        broken(seen, Place::Pack, |contacts| contacts.service_disconnect)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for AuxiliaryPulled {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        broken(seen, Place::Supply, |contacts| contacts.auxiliary_disconnect)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for StringGap {
    type Quantity = Ratio;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Ratio>) -> Sight {
        let out = seen.believed.contacts.is_some_and(|now| now.service_disconnect == Contact::Broken);
        // The disconnect's own contact names the place: nothing is left to be found.
        if out { Sight::found(Place::Pack, false) } else { limit.sight(Place::Pack, string_gap(seen)) }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for ImpactEdges {
    type Quantity = u8;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<u8>) -> Sight {
        let counted = seen.believed.contacts.map(|_| seen.believed.counted.impact_edges);
        limit.sight(Place::Pack, counted)
    }
}

/// Whether the string is so far open that its terminals say nothing of its cells.
pub(super) fn is_string_open<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
) -> bool {
    string_gap(seen).is_some_and(|gap| gap >= seen.config.faults.string_open.trip)
}

/// The smaller gap of the two readings of the pack, as a fraction of the cells' sum; none while current flows.
fn string_gap<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
) -> Option<Ratio> {
    let (cells, voltages) = (seen.believed.cells?, seen.believed.voltages?);
    let gap = |pack: Volts| (cells.sum - pack).abs();
    let by_pack = gap(voltages.pack);
    // Nearly always all is well, and a fraction costs a division.
    if by_pack <= seen.config.faults.pack_sum_disagrees.trip || flows(seen) {
        return Some(Ratio::ZERO);
    }
    let points = &seen.config.sensing.points;
    let least = if points.behind_negative && points.behind_positive {
        by_pack.min(gap(voltages.behind_negative + voltages.behind_positive - voltages.link))
    } else {
        by_pack
    };
    least.fraction_of(cells.sum)
}

/// Whether every channel that is believed says that current flows. One that is dead or has moved says it alone.
fn flows<const CELLS: usize, const THERMISTORS: usize>(seen: &Seen<'_, CELLS, THERMISTORS>) -> bool {
    let main = seen.believed.current.as_ref().map(|current| current.raw);
    let channels = [main, seen.believed.current_check];
    channels.iter().flatten().all(|amps| amps.abs() > seen.config.sensing.flows)
        && channels.iter().any(Option::is_some)
}
