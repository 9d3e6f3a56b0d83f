//! What a measurement shows of a defect, whether or not the firmware makes anything of it.
//!
//! A channel *departs* when it differs from the same channel of the twin (the same pack and seed without the defect) by more than what
//! the channel's own errors could be taken for:
//!
//! ```text
//! |reading − twin's| > offset + gain · |reading| + 5 σ + 1.5 steps
//! ```
//! Both share their noise, so what departs departs by the defect; and whoever reads the channel without a twin beside it could see it.
//! Compared is only as long as both are driven alike: what a reaction changes is no longer the defect's doing.

use crate::world::spec::{ChannelSpec, SensorSpec};
use bms_core::Frame;

/// Which channels have departed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Departed {
    cells: u128,
    thermistors: u128,
    single: [bool; SINGLE.len()],
}

/// The channels of which there is one each, as tables name them.
const SINGLE: [&str; 11] = [
    "current",
    "check current",
    "pack",
    "behind negative",
    "behind positive",
    "link",
    "supply",
    "feedback",
    "cells under test current",
    "poles",
    "contacts",
];

/// Readings of voltages and currents are held as 65 536 parts of their unit.
const PARTS: f64 = 65_536.0;

impl Departed {
    /// Notes what departs in this frame.
    pub(super) fn compare<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        one: &Frame<CELLS, THERMISTORS>,
        twin: &Frame<CELLS, THERMISTORS>,
        sensors: &SensorSpec,
    ) {
        let pairs = one.cells.value.iter().zip(&twin.cells.value).enumerate();
        for (cell, (one, twin)) in pairs {
            self.cells |= u128::from(departs(one.bits(), twin.bits(), &sensors.cell)) << cell;
        }
        let pairs = one.thermistors.value.iter().zip(&twin.thermistors.value).enumerate();
        for (place, (one, twin)) in pairs {
            self.thermistors |= u128::from(departs(one.bits(), twin.bits(), &sensors.thermistor)) << place;
        }
        let (a, b) = (&one.voltages.value, &twin.voltages.value);
        let pulled = (&one.cells_pulled.value, &twin.cells_pulled.value);
        let now = [
            departs(one.current.value.bits(), twin.current.value.bits(), &sensors.current),
            departs(one.current_check.value.bits(), twin.current_check.value.bits(), &sensors.current_check),
            departs(a.pack.bits(), b.pack.bits(), &sensors.pack),
            departs(a.behind_negative.bits(), b.behind_negative.bits(), &sensors.pack),
            departs(a.behind_positive.bits(), b.behind_positive.bits(), &sensors.pack),
            departs(a.link.bits(), b.link.bits(), &sensors.pack),
            departs(one.supply.value.bits(), twin.supply.value.bits(), &sensors.supply),
            one.feedback.value != twin.feedback.value,
            pulled.0.inputs == pulled.1.inputs
                && pulled
                    .0
                    .cells
                    .iter()
                    .zip(&pulled.1.cells)
                    .any(|(one, twin)| departs(one.bits(), twin.bits(), &sensors.cell)),
            departs(one.poles.value.negative.bits(), twin.poles.value.negative.bits(), &sensors.pack)
                || departs(one.poles.value.positive.bits(), twin.poles.value.positive.bits(), &sensors.pack),
            one.contacts.value != twin.contacts.value,
        ];
        for (departed, now) in self.single.iter_mut().zip(now) {
            *departed |= now;
        }
    }

    /// The channels by name.
    pub(super) fn names(&self) -> Vec<String> {
        let of_many = |set: u128, of: &str| match set.count_ones() {
            0 => None,
            1 => Some(format!("one {of}")),
            2 => Some(format!("two {of}s")),
            _ => Some(format!("several {of}s")),
        };
        let many = [of_many(self.cells, "cell"), of_many(self.thermistors, "thermistor")];
        let single = SINGLE.iter().zip(self.single).filter(|(_, departed)| *departed);
        many.into_iter().flatten().chain(single.map(|(name, _)| (*name).to_owned())).collect()
    }
}

fn departs(one: i32, twin: i32, channel: &ChannelSpec) -> bool {
    if one == twin {
        return false;
    }
    let own = channel.offset + 5.0 * channel.noise + 1.5 * channel.step;
    let reading = f64::from(one) / PARTS;
    f64::from(one.abs_diff(twin)) / PARTS > own + channel.gain * reading.abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::spec::PackSpec;
    use bms_core::units::{Instant, Volts};

    /// By hand for a cell at 3.3 V: 1 mV + 2e-4 · 3.3 V + 5 · 0.5 mV + 1.5 · 0.1 mV = 4.31 mV.
    #[test]
    fn a_cell_departs_beyond_what_its_channel_could_be_wrong_by() {
        let sensors = PackSpec::trainer().sensors;
        let mut twin = Frame::<16, 8>::empty(Instant(0));
        twin.cells.value.0[4] = Volts::from_milli(3_300);
        for (millivolts, names) in [(4, vec![]), (5, vec!["one cell".to_owned()])] {
            let mut one = twin;
            one.cells.value.0[4] = Volts::from_milli(3_300 + millivolts);
            let mut departed = Departed::default();
            departed.compare(&one, &twin, &sensors);
            assert_eq!(departed.names(), names, "{millivolts} mV");
        }
    }
}
