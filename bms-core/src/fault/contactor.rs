//! # Contactors
//!
//! The contactor sequence compares the voltages around the contactors with what the coils command
//! (`sequence::observe`); here its findings become faults with stages and records. Voltage on both sides of a contact is the
//! stronger evidence: a plain auxiliary contact need not be mechanically linked to the main one (IEC 60947-4-1 Annex F
//! describes the mirror contact, which is), so a contact that they contradict is only reported.
//!
//! Where they cannot tell, the contact is all there is, and the true state is unknown: while positive is closed, precharge may be closed
//! beside it and the link reads the same; with all coils off, a side without its measuring point floats whether its contactor is
//! open or not; and without voltages nothing is told at all. That asks for opening, after which the fall of the link may tell.
//!
//! Leaks to the chassis on both sides of an open contactor show the voltages of a weld. Where its contact says open and insulation is not known to
//! be good, the state is unknown as well (`sequence::weld`).
//!
//! The voltages are readings too. The link is read twice, by a meter of its own and by the cross voltages; where the two differ, or where a
//! load's current flows through contactors that its meter calls open, a reading lies. Then the contactors are not accused by it.
//!
//! A worn contactor works, until it welds or no longer breaks what it must. What it has been through is counted against its sheet
//! (`sequence::wear`): one life is told, and with two nobody closes it any more.

use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::frame::{Contact, Contactor};
use crate::sequence::Step;
use crate::units::{Ratio, Volts};
use crate::witness::Place;

/// A contactor that does not close, by [`place`].
pub(super) struct StuckOpen<const WHICH: u8>;

/// A contactor that does not open, by [`place`].
pub(super) struct Welded<const WHICH: u8>;

/// A feedback contact that contradicts coil and voltages.
pub(super) struct FeedbackContradicts;

/// A contactor whose feedback contact contradicts its coil where the voltages cannot tell which of the two is right.
pub(super) struct StateUnknown;

/// The link's reading against what the others leave for it.
pub(super) struct LinkReading;

/// The used part of the most worn contactor's life.
pub(super) struct Worn;

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
        let found = match WHICH {
            0 => seen.findings.negative_stuck_open,
            1 => seen.findings.precharge_stuck_open,
            _ => seen.findings.positive_stuck_open,
        };
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

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for StateUnknown {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        if let Some(contactor) = seen.findings.untold {
            return Sight::found(Place::Contactor(contactor), true);
        }
        match seen.findings.feedback_contradicts {
            None => Sight::UNKNOWN,
            Some(contradicts) => match contradicts.and_then(|contactor| untold(seen, contactor)) {
                None => Sight::found(Place::Pack, false),
                Some(contactor) => Sight::found(Place::Contactor(contactor), true),
            },
        }
    }
}

/// The contactor whose state nothing tells, if there is one; `contradicts` is one whose contact contradicts its coil. With coils on the
/// link tells by itself, and so it does while it falls: the sequence waits for that, no longer than its deadline.
fn untold<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
    contradicts: Contactor,
) -> Option<Contactor> {
    let (Some(feedback), Some(_)) = (seen.believed.feedback, seen.believed.voltages) else {
        return Some(contradicts);
    };
    let points = &seen.config.sensing.points;
    let (negative, precharge, positive) = match seen.step {
        Step::Open | Step::ProvingDead | Step::Barred => {
            (!points.behind_negative, !points.behind_positive, !points.behind_positive)
        }
        Step::Closed | Step::Easing => (false, true, false),
        Step::ClosingNegative | Step::Precharging | Step::ClosingPositive | Step::Opening => {
            (false, false, false)
        }
    };
    let made = |unmeasured: bool, contact: Contact| unmeasured && contact == Contact::Made;
    if made(negative, feedback.negative) {
        Some(Contactor::Negative)
    } else if made(precharge, feedback.precharge) {
        Some(Contactor::Precharge)
    } else if made(positive, feedback.positive) {
        Some(Contactor::Positive)
    } else {
        None
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for LinkReading {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        Sight::of_finding(Place::Link, seen.findings.link_reading)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Worn {
    type Quantity = Ratio;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Ratio>) -> Sight {
        let (contactor, used) = seen.findings.wear.worst();
        limit.sight(Place::Contactor(contactor), Some(used))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for LinkAfterOpening {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        match seen.findings.link_after_opening {
            None => Sight::UNKNOWN,
            Some(link) => {
                // A pack of 51 V never exceeds 60 V: a part of the pack counts where that is less.
                let trip = limit.trip.min(link.part_of_pack);
                let release = limit.release.min(trip);
                Limit::<Volts>::between(Place::Link, Some(link.volts), trip, release)
            }
        }
    }
}
