//! Facts about the pack that several rooms share.

use super::ResistanceFacts;
use super::digest::section;
use crate::units::{Amps, Coulombs, Millis, Ratio, Volts};

section! {
    /// The pack as it was built.
    Pack {
        /// Modules in series.
        modules: u8,
        /// Cells in series in each module.
        cells_per_module: u8,
        /// Cells below the fuse and the service disconnect. They have a front end of their own, and so have those above: no sense wire
        /// bridges the gap.
        cells_below_fuse: u8,
        /// Thermistors in each module, spread evenly over its cells.
        thermistors_per_module: u8,
        /// Rated capacity of a cell.
        capacity: Coulombs,
        /// The current that moves the rated capacity in one hour.
        one_c: Amps,
        /// Nominal voltage of the pack.
        nominal: Volts,
        /// For so long fuse and cable, which 1C may flow through for ever, stand twice that from cold.
        stands_twice: Millis,
        /// Largest current that the main sensor reads, either way.
        current_range: Amps,
        /// Largest current that the second sensor reads, either way.
        current_check_range: Amps,
        /// Resistance of a healthy cell with its joint.
        resistance: ResistanceFacts,
        /// The period of a tick.
        tick: Millis,
        /// The oldest part of a frame that is still believed, the most time that one frame credits to a dwell, and the longest gap
        /// between two frames while current can flow.
        ///
        /// One figure serves all parts: the fastest protection sets it. A part that is measured less often, such as a thermistor scan
        /// of a second, must still be younger than this in every frame. An age that says when the scan really took place makes
        /// `measurements stale` open the contactors, and a larger figure here lets the cell voltages and the current grow as old. Scan
        /// all sensors within this time, or do without the slow scan; never state an age that is not true.
        oldest_age: Millis,
    }
}

impl Pack {
    /// 96 cells of 100 Ah: 8 modules of 12 cells with 2 thermistors each.
    #[must_use]
    pub fn crane() -> Self {
        Self::of(8, 12, 2, 100_000, 307_200)
    }

    /// 16 cells of 20 Ah: 4 modules of 4 cells with 2 thermistors each.
    #[must_use]
    pub fn trainer() -> Self {
        let current_check_range = Amps::from_milli(1_200_000);
        Self { current_check_range, ..Self::of(4, 4, 2, 20_000, 51_200) }
    }

    /// An LFP pack with its fuse in the middle, by its counts, its capacity in mAh (up to 4 000 Ah) and its nominal voltage in mV. The main sensor reads 6C; the
    /// second one reads a short circuit that usual contactors must not break.
    #[must_use]
    pub fn of(
        modules: u8,
        cells_per_module: u8,
        thermistors_per_module: u8,
        milliamp_hours: i32,
        millivolts: i32,
    ) -> Self {
        let one_c = Amps::from_milli(milliamp_hours);
        Self {
            modules,
            cells_per_module,
            cells_below_fuse: (modules.saturating_mul(cells_per_module) / 2).max(1),
            thermistors_per_module,
            capacity: Coulombs::from_milliamp_hours(milliamp_hours),
            one_c,
            nominal: Volts::from_milli(millivolts),
            // Common practice, no source: ask the fuse's maker.
            stands_twice: Millis::from_seconds(10),
            current_range: one_c.scaled(Ratio::percent(600)),
            current_check_range: one_c.scaled(Ratio::percent(600)).max(Amps::from_milli(2_500_000)),
            resistance: ResistanceFacts::for_capacity(milliamp_hours),
            tick: Millis(10),
            oldest_age: Millis(30),
        }
    }

    /// So many hundredths of 1C.
    #[must_use]
    pub const fn rate(&self, hundredths: i32) -> Amps {
        self.one_c.scaled(Ratio::percent(hundredths))
    }

    /// The largest current that either sensor reads.
    #[must_use]
    pub fn widest_current_range(&self) -> Amps {
        self.current_range.max(self.current_check_range)
    }

    /// Cells in series.
    #[must_use]
    pub fn cells(&self) -> u32 {
        u32::from(self.modules).saturating_mul(u32::from(self.cells_per_module))
    }

    /// Thermistors in all.
    #[must_use]
    pub fn thermistors(&self) -> u32 {
        u32::from(self.modules).saturating_mul(u32::from(self.thermistors_per_module))
    }

    /// The module that a cell belongs to.
    #[must_use]
    pub const fn module_of_cell(&self, cell: u8) -> u8 {
        match cell.checked_div(self.cells_per_module) {
            Some(module) => module,
            None => 0,
        }
    }
}
