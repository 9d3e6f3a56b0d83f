//! Cells, joints and what heats them.

use crate::entry::Part::{BleedFlows, Cell, Contacts};
use crate::entry::{CELLS, Entry, FLOWS, STRING};
use bms_sim::defect::Kind;

pub(crate) fn entries() -> Vec<Entry> {
    vec![
        Entry {
            kind: Kind::AddedResistance,
            place: 4,
            ticks: (160, 250),
            at_once: &[&[Cell(4)], STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::LooseJointTapAbove,
            place: 4,
            ticks: (160, 250),
            at_once: &[&[Cell(4)], STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::LooseJointTapBelow,
            place: 4,
            ticks: (160, 250),
            at_once: &[&[Cell(4), Cell(5)], STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::ChargeOutOfLine,
            place: 4,
            ticks: (160, 250),
            at_once: &[&[Cell(4)], STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::CellLeak,
            place: 4,
            ticks: (160, 250),
            at_once: &[&[Cell(4)], STRING],
            keeps: FLOWS,
        },
        Entry { kind: Kind::LostCapacity, place: 4, ticks: (160, 250), at_once: &[], keeps: FLOWS },
        Entry {
            kind: Kind::AgedCell,
            place: 4,
            ticks: (160, 250),
            at_once: &[&[Cell(4)], STRING],
            keeps: FLOWS,
        },
        Entry { kind: Kind::CellHeatsItself, place: 5, ticks: (160, 250), at_once: &[], keeps: FLOWS },
        Entry { kind: Kind::ExternalHeat, place: 1, ticks: (160, 250), at_once: &[], keeps: FLOWS },
        Entry {
            kind: Kind::CoolingStopped,
            place: 0,
            ticks: (260, 350),
            at_once: &[&[Contacts]],
            keeps: FLOWS,
        },
        Entry { kind: Kind::AirflowBlocked, place: 0, ticks: (260, 350), at_once: &[], keeps: FLOWS },
        Entry { kind: Kind::HardShort, place: 4, ticks: (160, 200), at_once: &[CELLS, STRING], keeps: FLOWS },
        Entry {
            kind: Kind::CellReversed,
            place: 4,
            ticks: (160, 250),
            at_once: &[CELLS, STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::BleedStuckOn,
            place: 4,
            ticks: (160, 250),
            at_once: &[&[Cell(4), BleedFlows], STRING],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::BleedStuckOff,
            place: 4,
            ticks: (310, 350),
            at_once: &[&[Cell(4), BleedFlows]],
            keeps: FLOWS,
        },
    ]
}
