//! New parts: what comes into a pack when something is replaced, without a trace of what the old part had kept.

use super::World;
use super::bus::{NEGATIVE, POSITIVE, PRECHARGE};
use crate::repair::{NewCell, Work};

impl<const CELLS: usize, const THERMISTORS: usize> World<CELLS, THERMISTORS> {
    /// Puts a new part in; defects are not touched.
    pub(crate) fn put_in(&mut self, work: Work, place: usize, cell: NewCell) {
        match work {
            Work::SwapCell => self.swap_cell(place, cell),
            Work::ReplaceContactor => {
                let which = [NEGATIVE, PRECHARGE, POSITIVE][place.min(POSITIVE)];
                self.bus.contactors[which].replace_contacts();
            }
            Work::ReplaceFuse => self.bus.fuse_melted = 0.0,
            Work::ReplacePrechargeResistor => {
                self.bus.resistor_burnt = false;
                self.bus.resistor_celsius = self.slow.outside_celsius;
            }
            // What is wrong with these is a defect and nothing more: no part of them keeps anything.
            Work::CleanJoint
            | Work::MendWire
            | Work::ReplaceCellChannel
            | Work::ReplaceBleedSwitch
            | Work::ReplaceVoltageMeter
            | Work::MendCooling
            | Work::ReplaceThermistor
            | Work::ReplaceCurrentSensor
            | Work::ReplaceLinkCapacitor
            | Work::DryInsulation => {}
        }
    }

    /// Another cell, long at rest.
    fn swap_cell(&mut self, place: usize, new: NewCell) {
        self.renew_now();
        let before = self.cells.coulombs(place);
        self.cells.replace(place, &self.spec, new);
        self.adapt_cells(self.slow.bleeding);
        self.swapped_coulombs += self.cells.coulombs(place) - before;
        self.renew_now();
    }
}
