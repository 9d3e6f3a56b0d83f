//! # Contactors
//!
//! The contactor sequence compares the voltages around the contactors with what the coils command
//! (`sequence::observe`); here its findings become faults with stages and records. Voltage on both sides of a contact is the
//! stronger evidence: a plain auxiliary contact need not be mechanically linked to the main one (IEC 60947-4-1 Annex F
//! describes the mirror contact, which is), so feedback alone only reports.

use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::frame::Contactor;
use crate::units::Volts;
use crate::witness::Place;

/// A contactor that does not close, by [`place`].
pub(super) struct StuckOpen<const WHICH: u8>;

/// A contactor that does not open, by [`place`].
pub(super) struct Welded<const WHICH: u8>;

/// A feedback contact that contradicts coil and voltages.
pub(super) struct FeedbackContradicts;

/// The link, long after opening.
pub(super) struct LinkAfterOpening;

const fn place(which: u8) -> Place {
    Place::Contactor(match which {
        0 => Contactor::Negative,
        1 => Contactor::Precharge,
        _ => Contactor::Positive,
    })
}

impl<const CELLS: usize, const THERMISTORS: usize, const WHICH: u8> Watch<CELLS, THERMISTORS>
    for StuckOpen<WHICH>
{
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        let found =
            if WHICH == 0 { seen.findings.negative_stuck_open } else { seen.findings.positive_stuck_open };
        Sight::of_finding(place(WHICH), found)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize, const WHICH: u8> Watch<CELLS, THERMISTORS>
    for Welded<WHICH>
{
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        let points = &seen.config.sensing.points;
        let (found, measured) = match WHICH {
            0 => (seen.findings.negative_welded, points.behind_negative),
            1 => (seen.findings.precharge_welded, points.behind_positive),
            _ => (seen.findings.positive_welded, points.behind_positive),
        };
        match found {
            // Without its measuring point a weld shows in a start or an opening only.
            None if !measured => Sight::PENDING,
            found => Sight::of_finding(place(WHICH), found),
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for FeedbackContradicts {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        match seen.findings.feedback_contradicts {
            None => Sight::UNKNOWN,
            Some(None) => Sight::found(Place::Pack, false),
            Some(Some(contactor)) => Sight::found(Place::Contactor(contactor), true),
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for LinkAfterOpening {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        match seen.findings.link_after_opening {
            None => Sight::UNKNOWN,
            Some(link) => {
                // A pack of 51 V never exceeds 60 V: a quarter of the pack counts where that is less.
                let trip = limit.trip.min(link.quarter_of_pack);
                let release = limit.release.min(trip);
                Limit::<Volts>::between(Place::Link, Some(link.volts), trip, release)
            }
        }
    }
}
