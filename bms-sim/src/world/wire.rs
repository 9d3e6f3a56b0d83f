//! Sense wires: from the taps between the cells to the inputs of the two front ends.
//!
//! The fuse and the disconnect lie mid-string, and no sense wire may bridge that gap: the cells below and above it have a front end
//! each, with one wire more than it has cells. Wires are counted from the bottom, the lower front end's first; cell `c` of front end
//! `f` lies between wires `c + f` and `c + f + 1`, and reads the difference of their inputs. Across each pair of neighbouring inputs
//! lies a filter capacitor, and between them, while that cell bleeds, its bleed resistor.
//!
//! ```text
//! connected     u = tap − r · leak − r · (i₋ − i₊) · e^(−pause / (r · ΣC))     i the bleed currents of the cell below and above
//! bleeding      (R + r₋ + r₊) i − r₋ i₋₋ − r₊ i₊₊ = tap₊ − tap₋                    a mesh for each bleeding cell
//! open          C (du − du₋)/dt + C (du − du₊)/dt = −leak                      nothing but capacitors and a leak hold it
//! ```
//!
//! From which follows what the trade sees. A sound wire shows its tap. A corroded one (some ohms) shows nearly nothing: its input draws
//! only a leak, and bleeding is paused before every reading; but its cells bleed too weakly, and where the ohms are many the filter has
//! not settled after the pause. An open one holds the old reading, follows half of what its two cells do together, and drifts away
//! over a minute: one cell reads more, the other as much less, and their sum stays right; the outermost wires have one neighbour only and
//! move one cell. Bleeding beside an open wire puts two cells' voltage on one input at once. Protection diodes end every excursion.
//!
//! The test current of the active test drops `r · I` in a connected wire, which is nothing, and takes the charge `I · t` from the filter
//! behind an open one, where it is missed from then on.
//!
//! Nothing of this is worked out while all wires are sound.

use super::deviation::{Deviations, MOST_WIRES};
use super::spec::{FrontEndSpec, PackSpec};
use bms_core::frame::Inputs;
use core::ops::Range;

/// Stands for no connection, in ohms: far above every leak of the board.
const OPEN_OHMS: f64 = 1e9;

/// The inputs of both front ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Wires {
    /// Voltage of each input above the lowest tap of its front end, while any wire is not sound; zero otherwise.
    inputs: [f64; MOST_WIRES],
    disturbed: bool,
    spec: FrontEndSpec,
    bleed_ohms: f64,
    /// The cells of each front end.
    cells: [Range<usize>; 2],
}

/// One front end at one instant.
struct FrontEnd<'a, const CELLS: usize, const THERMISTORS: usize> {
    wires: &'a Wires,
    deviations: &'a Deviations<CELLS, THERMISTORS>,
    /// Its first wire.
    base: usize,
    cells: Range<usize>,
    /// Voltage of the tap that each wire leads to, above the lowest tap.
    taps: [f64; MOST_WIRES],
    /// Bleed current of each of its cells, through its resistor.
    bleeds: [f64; MOST_WIRES],
}

impl Wires {
    /// All sound.
    #[must_use]
    pub fn new(spec: &PackSpec) -> Self {
        Self {
            inputs: [0.0; MOST_WIRES],
            disturbed: false,
            spec: spec.sensors.front_end.clone(),
            bleed_ohms: spec.cell.bleed_ohms,
            cells: spec.cells_of_front_ends(),
        }
    }

    /// Whether any wire is not sound.
    #[must_use]
    pub fn disturbed(&self) -> bool {
        self.disturbed
    }

    /// Takes new deviations, at these voltages between the taps. A wire that opens leaves its input where it is.
    pub fn adapt<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        volts: &[f64; CELLS],
        bleeding: u128,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) {
        let disturbed = deviations.wires_disturbed();
        if disturbed && !self.disturbed {
            for (front_end, cells) in self.cells.clone().into_iter().enumerate() {
                let mut sum = 0.0;
                for cell in cells {
                    sum += volts[cell];
                    self.inputs[cell + front_end + 1] = sum;
                }
            }
        }
        if !disturbed {
            self.inputs = [0.0; MOST_WIRES];
        }
        self.disturbed = disturbed;
        self.step(0.0, volts, bleeding, None, deviations);
    }

    /// Lets the inputs follow for `dt` seconds, bleeding paused at their end; `pulled` was pulled on when they began.
    pub fn step<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        dt: f64,
        volts: &[f64; CELLS],
        bleeding: u128,
        pulled: Option<Inputs>,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) {
        if !self.disturbed {
            return;
        }
        let mut inputs = self.inputs;
        for front_end in 0..self.cells.len() {
            let front_end = FrontEnd::new(self, front_end, volts, bleeding, deviations);
            if pulled.is_some() {
                front_end.settle(0.0, bleeding, pulled, &mut inputs);
            }
            front_end.settle(dt, bleeding, None, &mut inputs);
        }
        self.inputs = inputs;
    }

    /// What each channel sees of the voltages between the taps.
    #[must_use]
    pub fn seen<const CELLS: usize>(&self, volts: &[f64; CELLS]) -> [f64; CELLS] {
        if self.disturbed { self.between(&self.inputs) } else { *volts }
    }

    /// The same at the end of a test current on these inputs.
    #[must_use]
    pub fn seen_pulled<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        volts: &[f64; CELLS],
        bleeding: u128,
        pulled: Inputs,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> [f64; CELLS] {
        if !self.disturbed {
            return *volts;
        }
        let mut inputs = self.inputs;
        for front_end in 0..self.cells.len() {
            let front_end = FrontEnd::new(self, front_end, volts, bleeding, deviations);
            front_end.settle(0.0, bleeding, Some(pulled), &mut inputs);
        }
        self.between(&inputs)
    }

    fn between<const CELLS: usize>(&self, inputs: &[f64; MOST_WIRES]) -> [f64; CELLS] {
        let mut volts = [0.0; CELLS];
        for (front_end, cells) in self.cells.clone().into_iter().enumerate() {
            for cell in cells {
                volts[cell] = inputs[cell + front_end + 1] - inputs[cell + front_end];
            }
        }
        volts
    }

    /// The conductance across each cell by which it bleeds, in siemens.
    #[must_use]
    pub fn bleed_siemens<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        volts: &[f64; CELLS],
        bleeding: u128,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> [f64; CELLS] {
        let sound = 1.0 / self.bleed_ohms;
        if !self.disturbed {
            return core::array::from_fn(|cell| if bleeding >> cell & 1 == 1 { sound } else { 0.0 });
        }
        let mut siemens = [0.0; CELLS];
        for front_end in 0..self.cells.len() {
            FrontEnd::new(self, front_end, volts, bleeding, deviations).load_cells(volts, &mut siemens);
        }
        siemens
    }
}

impl<'a, const CELLS: usize, const THERMISTORS: usize> FrontEnd<'a, CELLS, THERMISTORS> {
    fn new(
        wires: &'a Wires,
        front_end: usize,
        volts: &[f64; CELLS],
        bleeding: u128,
        deviations: &'a Deviations<CELLS, THERMISTORS>,
    ) -> Self {
        let cells = wires.cells[front_end].clone();
        let base = cells.start + front_end;
        let mut string = [0.0; MOST_WIRES];
        for (place, cell) in cells.clone().enumerate() {
            string[place + 1] = string[place] + volts[cell];
        }
        let mut taps = [0.0; MOST_WIRES];
        for place in 0..=cells.len() {
            taps[place] = string[deviations.tap_of_wire[base + place] - base];
        }
        let mut this = Self { wires, deviations, base, cells, taps, bleeds: [0.0; MOST_WIRES] };
        if bleeding != 0 {
            this.bleeds = this.mesh_currents(bleeding);
        }
        this
    }

    fn ohms(&self, place: usize) -> f64 {
        let wire = &self.deviations.wires[self.base + place];
        if wire.open { OPEN_OHMS } else { wire.ohms }
    }

    fn bleeds(bleeding: u128, cell: usize) -> bool {
        bleeding >> cell & 1 == 1
    }

    /// The current through each bleed resistor: one equation a cell, each with its two neighbours.
    fn mesh_currents(&self, bleeding: u128) -> [f64; MOST_WIRES] {
        let mut rows = [Row::UNIT; MOST_WIRES];
        for (place, cell) in self.cells.clone().enumerate() {
            if Self::bleeds(bleeding, cell) {
                let (lower, upper) = (self.ohms(place), self.ohms(place + 1));
                rows[place] = Row {
                    below: -lower,
                    here: self.wires.bleed_ohms + lower + upper,
                    above: -upper,
                    right: self.taps[place + 1] - self.taps[place],
                };
            }
        }
        solved(&rows, self.cells.len())
    }

    /// Current out of a tap into its wire while cells bleed.
    fn drawn(&self, place: usize) -> f64 {
        let below = if place > 0 { self.bleeds[place - 1] } else { 0.0 };
        let above = if place < self.cells.len() { self.bleeds[place] } else { 0.0 };
        below - above
    }

    /// Lets the inputs follow for `dt` seconds, or for as long as the test current is pulled.
    fn settle(&self, dt: f64, bleeding: u128, pull: Option<Inputs>, inputs: &mut [f64; MOST_WIRES]) {
        let (spec, count) = (&self.wires.spec, self.cells.len());
        let before = *inputs;
        let mut rows = [Row::UNIT; MOST_WIRES];
        for (place, row) in rows.iter_mut().enumerate().take(count + 1) {
            let (wire, ohms) = (self.base + place, self.ohms(place));
            let (below, above) = (place > 0, place < count);
            let farads = spec.filter_farads * if below && above { 2.0 } else { 1.0 };
            let (pull_amps, pull_seconds) = if pull == Some(parity(place)) { spec.pull } else { (0.0, 0.0) };
            let while_bleeding = self.taps[place] - ohms * self.drawn(place);
            let bled = (below && Self::bleeds(bleeding, self.cells.start + place - 1))
                || (above && Self::bleeds(bleeding, self.cells.start + place));
            *row = if !self.deviations.wires[wire].open {
                let settles = if ohms > 0.0 { libm::exp(-spec.pause_seconds / (ohms * farads)) } else { 0.0 };
                let left = (while_bleeding - self.taps[place]) * settles;
                let now = self.taps[place] - ohms * (spec.leak_amps + pull_amps) + left;
                Row { right: now - before[wire], ..Row::UNIT }
            } else if bled && pull.is_none() {
                Row { right: while_bleeding - before[wire], ..Row::UNIT }
            } else {
                let couples = |there: bool| if there { -spec.filter_farads } else { 0.0 };
                Row {
                    below: couples(below),
                    here: farads,
                    above: couples(above),
                    right: -(spec.leak_amps * dt + pull_amps * pull_seconds),
                }
            };
        }
        let moved = solved(&rows, count + 1);
        for place in 0..=count {
            inputs[self.base + place] = before[self.base + place] + moved[place];
        }
        // Diodes lead from each input to its neighbours.
        for place in (0..=count).filter(|place| self.deviations.wires[self.base + place].open) {
            let wire = self.base + place;
            // The lowest one has the front end's ground below it, the highest one its supply above.
            let least = if place > 0 { inputs[wire - 1] } else { 0.0 } - spec.diode_volts;
            let most = if place < count { inputs[wire + 1] } else { f64::INFINITY } + spec.diode_volts;
            inputs[wire] = inputs[wire].min(most).max(least);
        }
    }

    /// What leaves the taps, each cell carries up from the bottom: the sum of all above it.
    fn load_cells(&self, volts: &[f64; CELLS], siemens: &mut [f64; CELLS]) {
        /// A cell without voltage gives no current that a conductance could stand for.
        const LEAST_VOLTS: f64 = 0.1;
        let mut drawn = [0.0; MOST_WIRES];
        for place in 0..=self.cells.len() {
            drawn[self.deviations.tap_of_wire[self.base + place] - self.base] += self.drawn(place);
        }
        let mut sum = 0.0;
        for (place, cell) in self.cells.clone().enumerate().rev() {
            sum += drawn[place + 1];
            siemens[cell] = if volts[cell].abs() > LEAST_VOLTS { sum / volts[cell] } else { 0.0 };
        }
    }
}

/// Which inputs a place belongs to, counted from the lowest wire of its front end.
const fn parity(place: usize) -> Inputs {
    if place % 2 == 1 { Inputs::Odd } else { Inputs::Even }
}

/// One equation of a chain: `below · x₋ + here · x + above · x₊ = right`.
#[derive(Clone, Copy)]
struct Row {
    below: f64,
    here: f64,
    above: f64,
    right: f64,
}

impl Row {
    /// `x = 0`.
    const UNIT: Self = Self { below: 0.0, here: 1.0, above: 0.0, right: 0.0 };
}

/// The unknowns of a chain of equations, by elimination from one end.
fn solved(rows: &[Row; MOST_WIRES], count: usize) -> [f64; MOST_WIRES] {
    let (mut above, mut right) = ([0.0; MOST_WIRES], [0.0; MOST_WIRES]);
    for place in 0..count {
        let row = rows[place];
        let (above_before, right_before) =
            if place > 0 { (above[place - 1], right[place - 1]) } else { (0.0, 0.0) };
        let pivot = row.here - row.below * above_before;
        above[place] = row.above / pivot;
        right[place] = (row.right - row.below * right_before) / pivot;
    }
    for place in (0..count.saturating_sub(1)).rev() {
        right[place] -= above[place] * right[place + 1];
    }
    right
}

#[cfg(test)]
mod tests {
    use super::*;

    const VOLTS: [f64; 16] = {
        let mut volts = [3.3; 16];
        volts[4] = 3.34;
        volts
    };

    fn sound() -> (Wires, Deviations<16, 8>) {
        (Wires::new(&PackSpec::trainer()), Deviations::none())
    }

    fn open(wire: usize) -> (Wires, Deviations<16, 8>) {
        let (mut wires, mut deviations) = sound();
        deviations.wires[wire].open = true;
        wires.adapt(&VOLTS, 0, &deviations);
        (wires, deviations)
    }

    fn near(seen: &[f64; 16], expected: &[(usize, f64)]) {
        for (cell, seen) in seen.iter().enumerate() {
            let volts =
                expected.iter().find(|(place, _)| *place == cell).map_or(VOLTS[cell], |(_, volts)| *volts);
            assert!((seen - volts).abs() < 1e-6, "cell {cell} reads {seen} V instead of {volts} V");
        }
    }

    /// Wires 0 to 8 belong to the lower half of the trainer, 9 to 17 to the upper one: cell 8 begins at wire 9.
    #[test]
    fn no_wire_bridges_the_fuse() {
        let spec = PackSpec::trainer();
        assert_eq!((spec.cells_of_front_ends(), spec.wires()), ([0..8, 8..16], 18));
        assert_eq!([0, 7, 8, 9, 17].map(|wire| spec.wire_beside(wire)), [1, 8, 7, 10, 16]);
        assert_eq!(PackSpec::crane().wires(), 98);
    }

    /// I·t/C: 10 nA out of 2 · 1 µF (two filters hang on an inner input) is 5 mV/s; the sum of the pair holds. An outermost wire has one
    /// filter, 10 mV/s, and moves one cell only.
    #[test]
    fn an_open_wire_holds_and_drifts() {
        let (mut wires, deviations) = open(3);
        near(&wires.seen(&VOLTS), &[]);
        for _ in 0..6_000 {
            wires.step(0.01, &VOLTS, 0, None, &deviations);
        }
        near(&wires.seen(&VOLTS), &[(2, 3.3 - 0.3), (3, 3.3 + 0.3)]);
        for (wire, cell, drift) in [(8, 7, -0.1), (9, 8, 0.1), (17, 15, -0.1)] {
            let (mut wires, deviations) = open(wire);
            for _ in 0..1_000 {
                wires.step(0.01, &VOLTS, 0, None, &deviations);
            }
            near(&wires.seen(&VOLTS), &[(cell, VOLTS[cell] + drift)]);
        }
    }

    /// A capacitive divider: of 0.2 V that one of its two cells rises, each channel sees half; of what an outermost cell rises, none.
    /// Two open wires side by side make a chain of three equal capacitors, a third each.
    #[test]
    fn an_open_wire_shares_what_its_cells_do() {
        let (mut wires, deviations) = open(3);
        let mut moved = VOLTS;
        moved[3] += 0.2;
        wires.step(1e-9, &moved, 0, None, &deviations);
        near(&wires.seen(&moved), &[(2, 3.4), (3, 3.4)]);
        let (mut wires, deviations) = open(17);
        let mut moved = VOLTS;
        moved[15] += 0.2;
        wires.step(1e-9, &moved, 0, None, &deviations);
        near(&wires.seen(&moved), &[]);
        let (mut wires, mut deviations) = open(3);
        deviations.wires[4].open = true;
        wires.adapt(&VOLTS, 0, &deviations);
        let mut moved = VOLTS;
        moved[2] += 0.3;
        wires.step(1e-9, &moved, 0, None, &deviations);
        near(&wires.seen(&moved), &[(2, 3.4), (3, 3.4), (4, 3.44)]);
    }

    /// A diode ends the drift half a volt below the neighbour, or below the front end's ground.
    #[test]
    fn an_open_wire_ends_at_its_diode() {
        for (wire, expected) in [(3, vec![(2, -0.5), (3, 7.1)]), (0, vec![(0, 3.8)]), (17, vec![(15, -0.5)])]
        {
            let (mut wires, deviations) = open(wire);
            for _ in 0..20 {
                wires.step(60.0, &VOLTS, 0, None, &deviations);
            }
            near(&wires.seen(&VOLTS), &expected);
        }
    }

    /// Its bleed resistor ties the open input to the other end of the cell: that one reads nothing, its neighbour both, and no current
    /// flows. With both bleeding the input is their middle, and both carry V/R.
    #[test]
    fn bleeding_beside_an_open_wire_puts_two_cells_on_one_input() {
        let (mut wires, deviations) = open(3);
        wires.step(0.01, &VOLTS, 1 << 2, None, &deviations);
        near(&wires.seen(&VOLTS), &[(2, 0.0), (3, 6.6)]);
        let siemens = wires.bleed_siemens(&VOLTS, 1 << 2, &deviations);
        assert!(siemens.iter().all(|siemens| siemens.abs() < 1e-8));
        // It stays there when bleeding stops, and drifts on from there: 50 µV in 10 ms.
        wires.step(0.01, &VOLTS, 0, None, &deviations);
        near(&wires.seen(&VOLTS), &[(2, -5e-5), (3, 6.600_05)]);
        wires.step(0.01, &VOLTS, 0b1100, None, &deviations);
        near(&wires.seen(&VOLTS), &[]);
        let siemens = wires.bleed_siemens(&VOLTS, 0b1100, &deviations);
        assert!((siemens[2] * 33.0 - 1.0).abs() < 1e-6 && (siemens[3] * 33.0 - 1.0).abs() < 1e-6);
    }

    /// 33 Ω and 100 Ω in one wire: V/133 Ω; both wires of a cell: V/233 Ω. Two neighbours bleeding share the wire, and by symmetry it
    /// carries nothing. After a pause of one time constant (1 kΩ · 2 µF) the reading lacks e⁻¹ of the drop, V·1000/1033.
    #[test]
    fn a_corroded_wire_bleeds_weakly_and_shows_only_then() {
        let (mut wires, mut deviations) = sound();
        deviations.wires[3].ohms = 100.0;
        wires.adapt(&VOLTS, 0, &deviations);
        near(&wires.seen(&VOLTS), &[(2, 3.3 - 1e-6), (3, 3.3 + 1e-6)]);
        let bleeds = |cells, deviations: &Deviations<16, 8>| wires.bleed_siemens(&VOLTS, cells, deviations);
        assert!((bleeds(1 << 2, &deviations)[2] * 133.0 - 1.0).abs() < 1e-9);
        assert!((bleeds(0b1100, &deviations)[2] * 33.0 - 1.0).abs() < 1e-9);
        deviations.wires[2].ohms = 100.0;
        assert!((bleeds(1 << 2, &deviations)[2] * 233.0 - 1.0).abs() < 1e-9);

        let (mut wires, mut deviations) = sound();
        deviations.wires[3].ohms = 1_000.0;
        wires.adapt(&VOLTS, 1 << 2, &deviations);
        let lacks = 3.3 * 1_000.0 / 1_033.0 * libm::exp(-1.0);
        near(&wires.seen(&VOLTS), &[(2, 3.3 - lacks - 1e-5), (3, 3.3 + lacks + 1e-5)]);
    }

    /// The cell between two swapped wires reads reversed, its neighbours read two cells; at the end of a plug there is one neighbour.
    #[test]
    fn swapped_wires_read_one_cell_reversed_and_its_neighbours_twice() {
        let spec = PackSpec::trainer();
        for (wire, expected) in [
            (4, vec![(3, 3.3 + 3.34), (4, -3.34), (5, 3.3 + 3.34)]),
            (0, vec![(0, -3.3), (1, 6.6)]),
            (8, vec![(6, 6.6), (7, -3.3)]),
        ] {
            let (mut wires, mut deviations) = sound();
            deviations.tap_of_wire.swap(wire, spec.wire_beside(wire));
            wires.adapt(&VOLTS, 0, &deviations);
            near(&wires.seen(&VOLTS), &expected);
        }
    }

    /// I·t/C: 500 µA for 2 ms out of 2 µF is 0.5 V, missed while the current flows and from then on; a sound wire shows nothing, 100 Ω
    /// drop 50 mV (Ohm) and give them back.
    #[test]
    fn a_test_current_empties_the_filter_behind_an_open_wire() {
        let (mut wires, deviations) = open(3);
        near(&wires.seen_pulled(&VOLTS, 0, Inputs::Even, &deviations), &[]);
        near(&wires.seen_pulled(&VOLTS, 0, Inputs::Odd, &deviations), &[(2, 2.8), (3, 3.8)]);
        wires.step(1e-9, &VOLTS, 0, Some(Inputs::Odd), &deviations);
        near(&wires.seen(&VOLTS), &[(2, 2.8), (3, 3.8)]);

        let (mut wires, mut deviations) = sound();
        deviations.wires[4].ohms = 100.0;
        wires.adapt(&VOLTS, 0, &deviations);
        let pulled = wires.seen_pulled(&VOLTS, 0, Inputs::Even, &deviations);
        near(&pulled, &[(3, 3.3 - 0.050_001), (4, 3.34 + 0.050_001)]);
        wires.step(1e-9, &VOLTS, 0, Some(Inputs::Even), &deviations);
        near(&wires.seen(&VOLTS), &[(3, 3.3 - 1e-6), (4, 3.34 + 1e-6)]);
    }

    /// A mended wire leaves nothing behind.
    #[test]
    fn a_mended_wire_shows_its_tap_at_once() {
        let (mut wires, deviations) = open(3);
        wires.step(60.0, &VOLTS, 1 << 3, None, &deviations);
        wires.adapt(&VOLTS, 0, &Deviations::<16, 8>::none());
        assert_eq!(wires, sound().0);
    }
}
