//! The cells: charge, polarisation, hysteresis, voltage and heat, each cell a column of plain arrays.
//!
//! ```text
//! ds/dt = i / Q                                    i = share (I − L − G e), what goes through the cell; positive charges
//! τₖ dvₖ/dt = Rₖ f g i − vₖ            k = 1, 2    exact for i held over the step: vₖ ← aₖ vₖ + (1 − aₖ) Rₖ f g i, aₖ = e^(−dt/τₖ)
//! dh/dt = (γ |i| / Q) (M sign(i) − h)              one-state hysteresis, moves with charge throughput only
//! e = U(s) + (T − 25 °C) U'(s) + v₁ + v₂ + h
//! V = share (e + (I − L) R) + I R_joint            R = R₀ f g + R_added; the joint inside the taps
//! share = 1 / (1 + R G)                            Kirchhoff; G is the conductance across the cell: bleed resistor, leak, short
//!                                                  L is what leaks to the chassis take from it: see `insulation`
//! f = exp(E (1/T − 1/298.15 K))                    Arrhenius, E = 20 kJ/mol / gas constant
//! g = g(s)                                         rise at low charge
//! heat = i² R + v₁² / R₁ f g + v₂² / R₂ f g + i h + i T U'(s)
//! ```
//!
//! A cell that was put in the wrong way round is the same cell with the sign of its charge, its voltage and its heat of entropy turned;
//! its arrays hold what the string sees of it, and only its charge is its own.
//!
//! The pair and hysteresis equations are those of any equivalent-circuit text (one-state hysteresis: G. L. Plett, J.
//! Power Sources 134 (2004) 262, from memory).
//!
//! What changes slowly (the straight line of `U`, `f`, `g`, bleed and leak currents) is renewed by
//! [`Cells::refresh`], at most every 100 ms, so that [`Cells::step`] is straight-line arithmetic that the compiler
//! turns into vector instructions. The price is measured in the tests below: less than 0.02 mV on the demonstration
//! duty, against Runge–Kutta at 1 ms. The heat of the pairs is the exact integral for the held current, so that no
//! energy is lost however long the step is: `∫vₖ²/Rₖ = i (Rₖ i dt − τₖ Δvₖ) − τₖ/(2Rₖ) Δ(vₖ²)`.

use super::deviation::{Deviations, TapSide};
use super::harm::{Harm, REACTS_ABOVE_CELSIUS};
use super::noise::Noise;
use super::ocv::Curve;
use super::spec::{CellSpec, PackSpec};
use crate::repair::NewCell;

/// All cells of the string. Fields are truth; a test or a bench may set them before the first step.
///
/// The order and alignment are fixed so that no vector straddles two cache lines (measured: 6 % of a step).
#[derive(Clone, Debug, PartialEq)]
#[repr(C, align(64))]
pub struct Cells<const CELLS: usize> {
    /// State of charge, 0 empty, 1 full.
    pub charge: [f64; CELLS],
    /// Voltage of the fast RC pair, positive while charging.
    pub fast_volts: [f64; CELLS],
    /// Voltage of the slow RC pair.
    pub slow_volts: [f64; CELLS],
    /// Hysteresis in volts.
    pub hysteresis_volts: [f64; CELLS],
    /// Temperature inside each cell in °C.
    pub celsius: [f64; CELLS],
    /// Voltage without string current at the end of the last step.
    pub open_volts: [f64; CELLS],
    /// Voltage between the taps at the end of the last step.
    pub volts: [f64; CELLS],
    /// Inverse capacity in 1/C; negative for a cell that was put in the wrong way round.
    pub per_coulomb: [f64; CELLS],
    /// Ohmic resistance at 25 °C in ohms.
    pub ohms: [f64; CELLS],
    /// Resistance of the fast pair at 25 °C in ohms.
    pub fast_ohms: [f64; CELLS],
    /// Resistance of the slow pair at 25 °C in ohms.
    pub slow_ohms: [f64; CELLS],
    /// Part of the string current that goes through each cell; the rest goes through what lies across it.
    share: [f64; CELLS],
    /// Current that each cell gives to what lies across it without any string current, in amperes.
    beside_amps: [f64; CELLS],
    level: [f64; CELLS],
    slope: [f64; CELLS],
    /// Resistance of the cell itself, in ohms.
    own_ohms: [f64; CELLS],
    /// Resistance between the cell's terminals, what lies across it included.
    ohms_now: [f64; CELLS],
    /// Of the cell, and of the joint that its taps enclose.
    ohms_between_taps: [f64; CELLS],
    joint_ohms_in_taps: [f64; CELLS],
    fast_gain: [f64; CELLS],
    fast_half_siemens: [f64; CELLS],
    slow_gain: [f64; CELLS],
    slow_half_siemens: [f64; CELLS],
    /// Heat of pairs and hysteresis since the last refresh, in joules, without the `i² Rₖ` of the pairs and with the
    /// energy that the pairs held then.
    relaxed_joules: [f64; CELLS],
    throughput: Throughput,
    step_seconds: f64,
    keeps: [f64; 2],
    pair_seconds: [f64; 2],
    hysteresis_limit: f64,
    hysteresis_rate: f64,
    /// Conductance of the leak across each cell, and of what bleeds it now.
    leak_siemens: [f64; CELLS],
    bleed_siemens: [f64; CELLS],
    /// The leak's part of both together.
    leak_part: [f64; CELLS],
    /// What leaks to the chassis draw from each cell, in amperes.
    chassis_amps: [f64; CELLS],
    sound_leak_siemens: f64,
    bleed_joules: f64,
    /// Charge that left all cells beside the string, in coulombs.
    beside_coulombs: f64,
    /// Capacity of each cell when sound, in coulombs.
    capacity_coulombs: [f64; CELLS],
    /// Factor on all resistances of each cell: age and harm.
    grown: [f64; CELLS],
    joules_per_kelvin: f64,
    /// What has happened to the cells for good.
    pub harm: Harm<CELLS>,
}

/// What the string carried since the last refresh: the same for all cells.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Throughput {
    seconds: f64,
    coulombs: f64,
    /// `∫I²` with the true square, and with the mean of each step squared, in A²s.
    squared: f64,
    mean_squared: f64,
}

/// The string current over one step: mean, mean of the square, and the value at its end, positive into the pack.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Flow {
    /// Mean in amperes.
    pub mean_amps: f64,
    /// Mean of the square in A².
    pub mean_square: f64,
    /// At the start of the step.
    pub start_amps: f64,
    /// At the end of the step.
    pub end_amps: f64,
}

impl Flow {
    /// The same current from start to end.
    #[must_use]
    pub const fn held(amps: f64) -> Self {
        Self { mean_amps: amps, mean_square: amps * amps, start_amps: amps, end_amps: amps }
    }
}

impl<const CELLS: usize> Cells<CELLS> {
    /// Cells that scatter around the nominal one as the seed says, all at the same charge and temperature, long at
    /// rest.
    #[must_use]
    pub fn new(spec: &PackSpec, noise: &Noise, charge: f64, celsius: f64) -> Self {
        let CellSpec { capacity_spread, resistance_spread, .. } = spec.cell;
        let part = |cell: usize, which: u32| {
            noise.even(PARTS_A_CELL * u32::try_from(cell).unwrap_or(u32::MAX) + which)
        };
        let scatter = |nominal: f64, which| {
            core::array::from_fn(|cell| nominal * (1.0 + resistance_spread * part(cell, which)))
        };
        let capacity_coulombs: [f64; CELLS] = core::array::from_fn(|cell| {
            spec.cell.capacity_coulombs * (1.0 + capacity_spread * part(cell, 0))
        });
        Self {
            charge: [charge; CELLS],
            fast_volts: [0.0; CELLS],
            slow_volts: [0.0; CELLS],
            hysteresis_volts: [0.0; CELLS],
            celsius: [celsius; CELLS],
            open_volts: [0.0; CELLS],
            volts: [0.0; CELLS],
            per_coulomb: capacity_coulombs.map(|coulombs| 1.0 / coulombs),
            ohms: scatter(spec.cell.ohms, 1),
            fast_ohms: scatter(spec.cell.pair_ohms[0], 2),
            slow_ohms: scatter(spec.cell.pair_ohms[1], 3),
            share: [1.0; CELLS],
            beside_amps: [0.0; CELLS],
            level: [0.0; CELLS],
            slope: [0.0; CELLS],
            own_ohms: [0.0; CELLS],
            ohms_now: [0.0; CELLS],
            ohms_between_taps: [0.0; CELLS],
            joint_ohms_in_taps: [0.0; CELLS],
            fast_gain: [0.0; CELLS],
            fast_half_siemens: [0.0; CELLS],
            slow_gain: [0.0; CELLS],
            slow_half_siemens: [0.0; CELLS],
            relaxed_joules: [0.0; CELLS],
            throughput: Throughput::default(),
            step_seconds: 0.0,
            keeps: [1.0; 2],
            pair_seconds: spec.cell.pair_seconds,
            hysteresis_limit: spec.cell.hysteresis_volts,
            hysteresis_rate: spec.cell.hysteresis_rate,
            leak_siemens: [0.0; CELLS],
            bleed_siemens: [0.0; CELLS],
            leak_part: [1.0; CELLS],
            chassis_amps: [0.0; CELLS],
            sound_leak_siemens: 1.0 / spec.cell.leak_ohms,
            bleed_joules: 0.0,
            beside_coulombs: 0.0,
            capacity_coulombs,
            grown: [1.0; CELLS],
            joules_per_kelvin: spec.cell.joules_per_kelvin,
            harm: Harm::none(&spec.cell.harm),
        }
    }

    /// One step of `dt` seconds with the string current given. Straight-line arithmetic: no branch, no table.
    pub fn step(&mut self, dt: f64, flow: Flow) {
        let (mean, end) = (flow.mean_amps, flow.end_amps);
        let [fast_keeps, slow_keeps] = self.keeps;
        let [fast_seconds, slow_seconds] = self.pair_seconds;
        let (rate, limit) = (self.hysteresis_rate, self.hysteresis_limit);
        let half_step = 0.5 * dt;
        for cell in 0..CELLS {
            let share_here = self.share[cell];
            let amps = mean * share_here - self.beside_amps[cell];
            let moved = amps * dt * self.per_coulomb[cell];
            self.charge[cell] += moved;

            let fast = fast_keeps * self.fast_volts[cell] + self.fast_gain[cell] * amps;
            let slow = slow_keeps * self.slow_volts[cell] + self.slow_gain[cell] * amps;
            let stored =
                fast_seconds * (fast - self.fast_volts[cell]) + slow_seconds * (slow - self.slow_volts[cell]);
            self.fast_volts[cell] = fast;
            self.slow_volts[cell] = slow;

            // 1 − e^(−x) to x³, x held at 1: exact to x⁴/24, and x is 0.0002 in a tick of a strong hoist.
            let x = rate * moved.abs();
            let x = if x < 1.0 { x } else { 1.0 };
            let forgets = x * (1.0 - x * (0.5 - x * (1.0 / 6.0)));
            let before = self.hysteresis_volts[cell];
            let after = before + forgets * (limit.copysign(amps) - before);
            self.hysteresis_volts[cell] = after;
            self.relaxed_joules[cell] += amps * (half_step * (before + after) - stored);

            let open =
                self.level[cell] + self.slope[cell] * self.charge[cell] + share_here * (fast + slow + after);
            self.open_volts[cell] = open;
            self.volts[cell] = open + end * self.ohms_between_taps[cell];
        }
        self.throughput.seconds += dt;
        self.throughput.coulombs += mean * dt;
        self.throughput.squared += flow.mean_square * dt;
        self.throughput.mean_squared += mean * mean * dt;
    }

    /// The step for which the factors stand, in seconds.
    #[must_use]
    pub fn step_seconds(&self) -> f64 {
        self.step_seconds
    }

    /// Whether the factors stand for steps of this length.
    #[must_use]
    pub fn is_for(&self, dt: f64) -> bool {
        self.step_seconds.to_bits() == dt.to_bits()
    }

    /// Voltage of the string without ohmic drop, in volts: summed in a fixed order of eight running sums.
    #[must_use]
    pub fn sum_of_open_volts(&self) -> f64 {
        sum_in_eight(&self.open_volts)
    }

    /// Ohmic resistance of all cells now, in ohms; joints not counted.
    #[must_use]
    pub fn sum_of_ohms(&self) -> f64 {
        sum_in_eight(&self.ohms_now)
    }

    /// Charge in each cell in coulombs.
    #[must_use]
    pub fn coulombs(&self, cell: usize) -> f64 {
        self.charge[cell] / self.per_coulomb[cell].abs()
    }

    /// Voltage of a cell between its own terminals at this string current, without any joint, in volts; negative for a cell that was put
    /// in the wrong way round.
    #[must_use]
    pub fn own_volts(&self, cell: usize, amps: f64) -> f64 {
        self.open_volts[cell] + amps * self.ohms_now[cell]
    }

    /// Energy stored by chemistry and in the pairs, in joules, counted from the lowest charge that the curve knows.
    #[must_use]
    pub fn stored_joules(&self, curve: &Curve) -> f64 {
        (0..CELLS)
            .map(|cell| {
                curve.energy(self.charge[cell]) / self.per_coulomb[cell].abs() + self.pair_joules(cell)
            })
            .sum()
    }

    /// Energy in the capacitances of a cell's pairs, `½ τ v²/R` each, in joules.
    fn pair_joules(&self, cell: usize) -> f64 {
        let [fast, slow] = self.pair_seconds;
        fast * self.fast_volts[cell] * self.fast_volts[cell] * self.fast_half_siemens[cell]
            + slow * self.slow_volts[cell] * self.slow_volts[cell] * self.slow_half_siemens[cell]
    }

    /// Energy that bleed resistors and leaks to the chassis have turned into heat outside the cells, in joules.
    #[must_use]
    pub fn bleed_joules(&self) -> f64 {
        self.bleed_joules
    }

    /// Charge that bleed resistors and leaks of either kind have taken from all cells together up to the last refresh, in coulombs.
    #[must_use]
    pub fn beside_coulombs(&self) -> f64 {
        self.beside_coulombs
    }

    /// Gives the heat in joules that each cell has made since the last call, and begins to count anew.
    ///
    /// To be called before [`Cells::refresh`], with the resistances under which the heat was made.
    pub fn take_heat(&mut self, curve: &Curve, joules: &mut [f64; CELLS]) {
        let Throughput { seconds, coulombs, squared, mean_squared } = self.throughput;
        let per_taken = self.keeps.map(|keeps| 1.0 / (1.0 - keeps));
        for (cell, joules) in joules.iter_mut().enumerate() {
            let (share, beside) = (self.share[cell], self.beside_amps[cell]);
            // ∫i² = share² ∫I² + correction, i = share · I − beside.
            let correction = beside * (beside * seconds - 2.0 * share * coulombs);
            let (squared, mean_squared) =
                (share * share * squared + correction, share * share * mean_squared + correction);
            let through = share * coulombs - beside * seconds;
            let (ohms, siemens) = (self.own_ohms[cell], self.leak_siemens[cell] + self.bleed_siemens[cell]);
            let volts = self.open_volts[cell] * (1.0 + ohms * siemens) + ohms * self.chassis_amps[cell];
            let pair_ohms = self.fast_gain[cell] * per_taken[0] + self.slow_gain[cell] * per_taken[1];
            let piece = curve.at(self.charge[cell]);
            let entropy = piece.entropy_level + piece.entropy_slope * self.charge[cell];
            // What leaves beside the string leaves at e + i R; the leak's part stays in the cell as heat.
            let left = coulombs - through;
            let left_joules =
                volts * left + ohms * (share * self.throughput.squared - beside * coulombs - squared);
            // All of it left at the same voltage: what the chassis took is no heat of the cell, nor of its bleed resistor.
            let beside_cell = left - self.chassis_amps[cell] * seconds;
            let leaks = if left == 0.0 { 1.0 } else { self.leak_part[cell] * beside_cell / left };
            self.bleed_joules += (1.0 - leaks) * left_joules;
            self.beside_coulombs += left;
            *joules = leaks * left_joules
                + squared * ohms
                + mean_squared * pair_ohms
                + (self.relaxed_joules[cell] - self.pair_joules(cell))
                + through * self.sign(cell) * (self.celsius[cell] + 273.15) * entropy;
            // A pair whose resistance changes meanwhile gives what it no longer holds as heat.
            self.relaxed_joules[cell] = self.pair_joules(cell);
        }
        self.throughput = Throughput::default();
    }

    /// From the next [`Cells::refresh`] on, leaks to the chassis draw this from each cell, in amperes.
    pub fn leak_to_chassis(&mut self, amps: &[f64; CELLS]) {
        self.chassis_amps = *amps;
    }

    /// Renews what changes slowly, for steps of `dt` seconds.
    pub fn refresh<const THERMISTORS: usize>(
        &mut self,
        dt: f64,
        curve: &Curve,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) {
        if !self.is_for(dt) {
            self.step_seconds = dt;
            self.keeps = self.pair_seconds.map(|seconds| libm::exp(-dt / seconds));
        }
        // Two passes: the first reads tables, the second is plain arithmetic that is vectorised.
        let mut factors = [0.0; CELLS];
        for (cell, factor) in factors.iter_mut().enumerate() {
            let (charge, celsius) = (self.charge[cell], self.celsius[cell]);
            let piece = curve.at(charge);
            let (above, sign) = (celsius - 25.0, self.sign(cell));
            self.level[cell] = sign * (piece.level + above * piece.entropy_level);
            self.slope[cell] = sign * (piece.slope + above * piece.entropy_slope);
            *factor = curve.cold_factor(celsius) * (piece.rise_level + piece.rise_slope * charge);
        }
        let [fast_takes, slow_takes] = self.keeps.map(|keeps| 1.0 - keeps);
        for (cell, factor) in factors.into_iter().enumerate() {
            let factor = factor * self.grown[cell];
            let ohms = self.ohms[cell] * factor + deviations.cell_ohms[cell];
            let (fast, slow) = (self.fast_ohms[cell] * factor, self.slow_ohms[cell] * factor);
            let half = 0.5 / (fast * slow);
            let siemens = self.leak_siemens[cell] + self.bleed_siemens[cell];
            let share = 1.0 / (1.0 + ohms * siemens);
            self.share[cell] = share;
            self.own_ohms[cell] = ohms;
            self.ohms_now[cell] = share * ohms;
            self.ohms_between_taps[cell] = share * ohms + self.joint_ohms_in_taps[cell];
            self.fast_gain[cell] = fast_takes * fast;
            self.fast_half_siemens[cell] = half * slow;
            self.slow_gain[cell] = slow_takes * slow;
            self.slow_half_siemens[cell] = half * fast;
            let resting = self.level[cell]
                + self.slope[cell] * self.charge[cell]
                + (self.fast_volts[cell] + self.slow_volts[cell] + self.hysteresis_volts[cell]);
            let chassis = self.chassis_amps[cell];
            self.beside_amps[cell] = share * (resting * siemens + chassis);
            self.level[cell] = share * (self.level[cell] - ohms * chassis);
            self.slope[cell] *= share;
            self.open_volts[cell] = share * (resting - ohms * chassis);
        }
    }

    /// Takes up what changes rarely: capacities, leaks, bleed switches, and to which cell each joint is counted.
    ///
    /// A joint is measured with the cell whose taps enclose it: by the tap's side, the cell below or the cell above.
    /// The one at the positive terminal lies behind the topmost tap and is measured with no cell, whichever side is
    /// named.
    pub fn adapt<const THERMISTORS: usize>(
        &mut self,
        joint_ohms: f64,
        bleed_siemens: &[f64; CELLS],
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) {
        self.bleed_siemens = *bleed_siemens;
        self.joint_ohms_in_taps = [0.0; CELLS];
        for cell in 0..CELLS - 1 {
            let ohms = joint_ohms + deviations.joint_ohms[cell];
            match deviations.tap_side[cell] {
                TapSide::Upper => self.joint_ohms_in_taps[cell] += ohms,
                TapSide::Lower => self.joint_ohms_in_taps[cell + 1] += ohms,
            }
        }
        for cell in 0..CELLS {
            let sign = if deviations.cells_reversed >> cell & 1 == 1 { -1.0 } else { 1.0 };
            self.per_coulomb[cell] = sign / self.holds(cell, deviations.capacity_left[cell]);
            self.leak_siemens[cell] =
                self.sound_leak_siemens + deviations.leak_siemens[cell] + self.harm.leak_siemens(cell);
            let across = self.leak_siemens[cell] + self.bleed_siemens[cell];
            self.leak_part[cell] = if across > 0.0 { self.leak_siemens[cell] / across } else { 1.0 };
            self.grown[cell] = deviations.resistance_factor[cell] * self.harm.resistance_factor(cell);
        }
    }

    /// Mean string current since the last call of [`Cells::take_heat`], in amperes.
    #[must_use]
    pub fn mean_amps(&self) -> f64 {
        if self.throughput.seconds > 0.0 { self.throughput.coulombs / self.throughput.seconds } else { 0.0 }
    }

    /// Whether anything in a cell moves so fast that steps of more than a second would miss it: heat, or a hard short.
    #[must_use]
    pub fn restless(&self) -> bool {
        self.share.iter().any(|share| *share < HARD_SHORT_SHARE)
            || self.celsius.iter().any(|celsius| *celsius > REACTS_ABOVE_CELSIUS)
    }

    /// Lets the cells plate and react for `dt` seconds at a mean string current. To be followed by [`Cells::adapt`].
    pub fn suffer<const THERMISTORS: usize>(
        &mut self,
        dt: f64,
        amps: f64,
        curve: &Curve,
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) {
        for cell in 0..CELLS {
            let joules = self.harm.react(cell, self.celsius[cell], dt);
            self.celsius[cell] += joules / self.joules_per_kelvin;
            let through = self.sign(cell) * (self.share[cell] * amps - self.beside_amps[cell]);
            let plated = self.harm.plates(self.celsius[cell], through, dt);
            if plated > 0.0 {
                let held = |cells: &Self| curve.energy(cells.charge[cell]) / cells.per_coulomb[cell].abs();
                let (before, left) = (held(self), self.coulombs(cell) - plated);
                self.harm.keep_plated(cell, plated, 0.0);
                let capacity = self.holds(cell, deviations.capacity_left[cell]);
                self.per_coulomb[cell] = self.sign(cell) / capacity;
                self.charge[cell] = left / capacity;
                let kept = before - held(self);
                self.harm.keep_plated(cell, 0.0, kept);
            }
        }
    }

    /// What a cell can hold with this part of its capacity left, less what plated, in coulombs; never nothing.
    fn holds(&self, cell: usize, capacity_left: f64) -> f64 {
        /// Least part of the sound capacity.
        const LEAST: f64 = 0.02;
        let sound = self.capacity_coulombs[cell];
        (sound * capacity_left - self.harm.plated_coulombs[cell]).max(LEAST * sound)
    }

    /// −1 for a cell that was put in the wrong way round.
    fn sign(&self, cell: usize) -> f64 {
        self.per_coulomb[cell].signum()
    }

    /// Voltages at the string current of this instant, after a refresh outside of a step.
    pub fn settle(&mut self, amps: f64) {
        for cell in 0..CELLS {
            self.volts[cell] = self.open_volts[cell] + amps * self.ohms_between_taps[cell];
        }
    }

    /// What a cell's bleed path conducts now, in siemens.
    #[must_use]
    pub fn bleed_siemens(&self, cell: usize) -> f64 {
        self.bleed_siemens[cell]
    }

    /// Puts another cell in, long at rest. What stands around it is taken up by [`adapt`](Self::adapt).
    pub(crate) fn replace(&mut self, cell: usize, spec: &PackSpec, new: NewCell) {
        self.set_capacity(cell, spec.cell.capacity_coulombs * new.capacity);
        self.charge[cell] = new.charge;
        (self.fast_volts[cell], self.slow_volts[cell], self.hysteresis_volts[cell]) = (0.0, 0.0, 0.0);
        self.ohms[cell] = spec.cell.ohms * new.resistance;
        [self.fast_ohms[cell], self.slow_ohms[cell]] = spec.cell.pair_ohms.map(|ohms| ohms * new.resistance);
        self.celsius[cell] = new.celsius.unwrap_or(self.celsius[cell]);
        self.harm.leave(cell);
    }

    /// Sets the sound capacity of a cell in coulombs, its state of charge staying as it is.
    pub fn set_capacity(&mut self, cell: usize, coulombs: f64) {
        self.capacity_coulombs[cell] = coulombs;
        self.per_coulomb[cell] = 1.0 / coulombs;
    }
}

/// A short is hard when it takes more than this much of the string current from its cell.
const HARD_SHORT_SHARE: f64 = 0.99;

/// Parts of each cell that are drawn from the seed, with room for more.
const PARTS_A_CELL: u32 = 8;

/// A sum in a fixed order that eight-wide, four-wide, two-wide and scalar code all keep: the same bits everywhere.
#[inline]
fn sum_in_eight(values: &[f64]) -> f64 {
    let (eights, rest) = values.as_chunks::<8>();
    let mut sums = [0.0; 8];
    for eight in eights {
        for (sum, value) in sums.iter_mut().zip(eight) {
            *sum += value;
        }
    }
    let rest: f64 = rest.iter().sum();
    ((sums[0] + sums[1]) + (sums[2] + sums[3])) + ((sums[4] + sums[5]) + (sums[6] + sums[7])) + rest
}

#[cfg(test)]
mod tests;
