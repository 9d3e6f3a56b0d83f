//! Thermistors.

use crate::entry::Part::Thermistor;
use crate::entry::{Entry, Room};
use bms_sim::defect::Kind;

pub(crate) fn entries() -> Vec<Entry> {
    vec![
        Entry {
            kind: Kind::ThermistorOpen,
            place: 1,
            ticks: (160, 250),
            at_once: &[&[Thermistor(1)]],
            keeps: &[],
        },
        Entry {
            kind: Kind::ThermistorShort,
            place: 1,
            ticks: (160, 250),
            at_once: &[&[Thermistor(1)]],
            keeps: &[],
        },
        Entry {
            kind: Kind::ThermistorMoisture,
            place: 1,
            ticks: (160, 250),
            at_once: &[&[Thermistor(1)]],
            keeps: &[],
        },
        Entry {
            kind: Kind::ThermistorFrozen,
            place: 1,
            ticks: (160, 900),
            at_once: &[&[Thermistor(1)]],
            keeps: &[],
        },
        Entry {
            kind: Kind::ThermistorOffset,
            place: 1,
            ticks: (160, 250),
            at_once: &[&[Thermistor(1)]],
            keeps: &[],
        },
        Entry {
            kind: Kind::ThermistorDetached,
            place: 1,
            ticks: (160, 900),
            at_once: &[&[Thermistor(1)]],
            keeps: &[Room::Heat],
        },
        Entry {
            kind: Kind::ThermistorsSwapped,
            place: 1,
            ticks: (160, 900),
            at_once: &[&[Thermistor(1), Thermistor(2)]],
            keeps: &[],
        },
    ]
}
