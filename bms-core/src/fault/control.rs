//! # The controller's own means
//!
//! Decides whether supply, measurements and configuration are fit to decide anything at all.
//!
//! A coil takes several times its holding current while it pulls in, and the supply sags. Until the youngest coil that is on is
//! older than that, a lower limit holds: every start would else be accused. From then on the dwell begins.
//!
//! Frames come too late in two degrees. From `measurements stale` on, readings are older than is believed and dwells are credited less
//! time than has passed: the contactors open. Below it nothing is lost yet, but each late frame delays every protection by as much, and
//! a sender or a controller that is late now and then is on its way to being too late: that is told.

use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::frame::Contact;
use crate::units::{Millis, Volts};
use crate::witness::Place;

/// The auxiliary supply.
pub(super) struct Supply;

/// Time for which something was not measured: a part that is old, or a gap before the frame.
pub(super) struct Unseen;

/// Time that a newer frame took to come.
pub(super) struct Waited;

/// The configuration.
pub(super) struct Configuration;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Supply {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        if seen.believed.contacts.is_some_and(|now| now.auxiliary_disconnect == Contact::Broken) {
            // Its cause is known, and named as `auxiliary disconnect pulled`.
            return Sight::found(Place::Supply, false);
        }
        let facts = &seen.config.sequence;
        let pulls_in = seen.youngest_coil.is_some_and(|on| on <= facts.supply_sag);
        let trip = if pulls_in { facts.supply_at_pull_in } else { limit.trip };
        let release = trip + (limit.release - limit.trip);
        Limit::<Volts>::between(Place::Supply, seen.believed.supply, trip, release)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Unseen {
    type Quantity = Millis;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Millis>) -> Sight {
        limit.sight(Place::Pack, Some(seen.believed.unseen))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Waited {
    type Quantity = Millis;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Millis>) -> Sight {
        limit.sight(Place::Pack, Some(seen.believed.waited))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Configuration {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        Sight::found(Place::Pack, seen.config.refused().is_some() || !seen.integrity.holds())
    }
}
