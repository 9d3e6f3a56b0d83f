//! Contactors, precharge, link and load.

use crate::entry::Part::Feedback;
use crate::entry::{CELLS, Entry, FLOWS, Room, STRING};
use bms_sim::defect::Kind;

pub(crate) fn entries() -> Vec<Entry> {
    vec![
        Entry { kind: Kind::ContactorWelded, place: 2, ticks: (510, 750), at_once: &[], keeps: &[Room::Bus] },
        Entry { kind: Kind::ContactorCoilOpen, place: 2, ticks: (55, 120), at_once: &[], keeps: FLOWS },
        Entry { kind: Kind::ContactorSlow, place: 2, ticks: (55, 120), at_once: &[], keeps: FLOWS },
        Entry { kind: Kind::ContactorBouncing, place: 2, ticks: (55, 120), at_once: &[], keeps: FLOWS },
        Entry {
            kind: Kind::FeedbackStuckOpen,
            place: 0,
            ticks: (160, 250),
            at_once: &[&[Feedback]],
            keeps: &[],
        },
        Entry {
            kind: Kind::FeedbackStuckClosed,
            place: 1,
            ticks: (160, 250),
            at_once: &[&[Feedback]],
            keeps: &[],
        },
        Entry {
            kind: Kind::PrechargeDrifted,
            place: 0,
            ticks: (10, 60),
            at_once: &[CELLS, STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::PrechargeOpen,
            place: 0,
            ticks: (10, 60),
            at_once: &[CELLS, STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::LinkCapacityLost,
            place: 0,
            ticks: (10, 60),
            at_once: &[CELLS, STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::BleedDownOpen,
            place: 0,
            ticks: (560, 750),
            at_once: &[CELLS, STRING],
            keeps: &[Room::Cells, Room::Heat, Room::Bus, Room::Joints],
        },
        Entry { kind: Kind::LoadLeftOn, place: 0, ticks: (10, 60), at_once: &[CELLS, STRING], keeps: FLOWS },
        Entry { kind: Kind::LinkShorted, place: 0, ticks: (10, 60), at_once: &[CELLS, STRING], keeps: FLOWS },
        Entry {
            kind: Kind::ShortCircuit,
            place: 0,
            ticks: (360, 370),
            at_once: &[CELLS, STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::LoadIgnoresLimit,
            place: 0,
            ticks: (160, 250),
            at_once: &[CELLS, STRING],
            keeps: FLOWS,
        },
        Entry { kind: Kind::MotorTurning, place: 0, ticks: (560, 750), at_once: &[], keeps: &[Room::Bus] },
    ]
}
