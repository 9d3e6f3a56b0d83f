//! Wires and channels of cells, currents and voltages.

use crate::entry::Part::{BleedFlows, Cell, Current, CurrentCheck, Link, Pack, Supply};
use crate::entry::{Entry, FLOWS};
use bms_sim::defect::Kind;

pub(crate) fn entries() -> Vec<Entry> {
    vec![
        Entry {
            kind: Kind::SenseWireOpen,
            place: 5,
            ticks: (160, 250),
            at_once: &[&[Cell(4), Cell(5)]],
            keeps: &[],
        },
        Entry {
            kind: Kind::SenseWireCorroded,
            place: 5,
            ticks: (310, 350),
            at_once: &[&[Cell(4), Cell(5), BleedFlows]],
            keeps: FLOWS,
        },
        Entry {
            kind: Kind::SenseWiresSwapped,
            place: 5,
            ticks: (160, 250),
            at_once: &[&[Cell(4), Cell(5), Cell(6)]],
            keeps: &[],
        },
        Entry {
            kind: Kind::CellChannelOffset,
            place: 4,
            ticks: (160, 250),
            at_once: &[&[Cell(4)]],
            keeps: &[],
        },
        Entry {
            kind: Kind::CellChannelGain,
            place: 4,
            ticks: (160, 250),
            at_once: &[&[Cell(4)]],
            keeps: &[],
        },
        Entry {
            kind: Kind::CellChannelFrozen,
            place: 4,
            ticks: (163, 350),
            at_once: &[&[Cell(4)]],
            keeps: &[],
        },
        Entry { kind: Kind::CurrentOffset, place: 0, ticks: (160, 250), at_once: &[&[Current]], keeps: &[] },
        Entry { kind: Kind::CurrentGain, place: 0, ticks: (160, 250), at_once: &[&[Current]], keeps: &[] },
        Entry { kind: Kind::CurrentDead, place: 0, ticks: (160, 250), at_once: &[&[Current]], keeps: &[] },
        Entry {
            kind: Kind::CurrentReversed,
            place: 1,
            ticks: (160, 250),
            at_once: &[&[CurrentCheck]],
            keeps: &[],
        },
        Entry { kind: Kind::CurrentDrift, place: 0, ticks: (160, 900), at_once: &[], keeps: &[] },
        Entry {
            kind: Kind::CurrentSampledEarly,
            place: 0,
            ticks: (260, 350),
            at_once: &[&[Current]],
            keeps: &[],
        },
        Entry { kind: Kind::PackVoltageGain, place: 0, ticks: (160, 250), at_once: &[&[Pack]], keeps: &[] },
        Entry { kind: Kind::LinkReadingDead, place: 0, ticks: (160, 250), at_once: &[&[Link]], keeps: &[] },
        Entry { kind: Kind::LinkVoltageGain, place: 0, ticks: (160, 250), at_once: &[&[Link]], keeps: &[] },
        Entry {
            kind: Kind::SupplyReadingGain,
            place: 0,
            ticks: (160, 250),
            at_once: &[&[Supply]],
            keeps: &[],
        },
        Entry { kind: Kind::LinkReadingFrozen, place: 0, ticks: (160, 350), at_once: &[&[Link]], keeps: &[] },
    ]
}
