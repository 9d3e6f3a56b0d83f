//! Fuse, disconnects, interlock, chassis, supply.

use crate::entry::Part::{Contacts, Poles, Supply};
use crate::entry::{CELLS, Entry, FLOWS, Room, STRING};
use bms_sim::defect::Kind;

/// What a leak moves, and the cells between which its current closes: some microvolts, which turn a reading that lies on an edge.
const LEAKS: &[&[crate::entry::Part]] = &[&[Poles], CELLS];

pub(crate) fn entries() -> Vec<Entry> {
    vec![
        Entry { kind: Kind::FuseBlown, place: 0, ticks: (160, 250), at_once: &[CELLS, STRING], keeps: FLOWS },
        Entry {
            kind: Kind::ServiceDisconnectOut,
            place: 0,
            ticks: (160, 250),
            at_once: &[CELLS, STRING, &[Contacts]],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::InterlockOpen,
            place: 0,
            ticks: (160, 250),
            at_once: &[&[Contacts]],
            keeps: &[Room::Signals],
        },
        Entry {
            kind: Kind::InterlockIntermittent,
            place: 0,
            ticks: (160, 850),
            at_once: &[],
            keeps: &[Room::Signals],
        },
        Entry {
            kind: Kind::AuxiliaryDisconnectOut,
            place: 0,
            ticks: (160, 250),
            at_once: &[&[Supply, Contacts]],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::ImpactSignal,
            place: 0,
            ticks: (160, 250),
            at_once: &[&[Contacts]],
            keeps: &[Room::Signals],
        },
        Entry { kind: Kind::LeakPositive, place: 0, ticks: (160, 250), at_once: LEAKS, keeps: FLOWS },
        Entry { kind: Kind::LeakNegative, place: 0, ticks: (160, 250), at_once: LEAKS, keeps: FLOWS },
        Entry { kind: Kind::LeakAlongString, place: 4, ticks: (160, 250), at_once: LEAKS, keeps: FLOWS },
        Entry { kind: Kind::LeakOfLoad, place: 0, ticks: (160, 250), at_once: LEAKS, keeps: FLOWS },
        Entry { kind: Kind::MoistureToChassis, place: 0, ticks: (160, 250), at_once: LEAKS, keeps: FLOWS },
        Entry { kind: Kind::SupplySagging, place: 0, ticks: (55, 150), at_once: &[&[Supply]], keeps: FLOWS },
    ]
}
