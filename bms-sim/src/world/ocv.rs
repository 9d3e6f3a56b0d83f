//! Open-circuit voltage, its entropy term and what raises resistance (low charge, cold), as the world knows them.
//!
//! Equilibrium voltage of a lithium iron phosphate cell with a graphite electrode, `U(s) = U₊(y) − U₋(x)` in volts with
//! `y = 0.74 − 0.705 s`, `x = 0.0132 + 0.7978 s`, `s` = state of charge 0…1: M. Safari, C. Delacourt, J. Electrochem.
//! Soc. 158 (2011) A562 (coefficients from memory, and seen in one public copy). It is not the table that
//! the firmware reads its charge from: the two differ as a real cell differs from its data sheet.
//!
//! Entropy: `U'(s) = 10⁻⁴ (−2.5 + 5.5 s − 2 s²)` V/K: an invented smooth curve of the published size (−0.25…+0.1 mV/K).
//! Resistance at low charge: factor `1 + e^(−s / 0.08)`, doubled when empty; common practice, no source.
//!
//! Resistance in the cold: Arrhenius, `f = exp(E (1/T − 1/298.15 K))`, E = 20 kJ/mol over the gas constant (typical is
//! 20…40 kJ/mol, from memory), tabulated in steps of 0.5 °C: largest error 0.009 % from −50 °C up (tested).
//!
//! The functions of charge are tabulated in steps of 1/512 and read as straight lines: largest error 0.3 mV below 5
//! %, 0.1 mV from 5 % up (tested). Below empty the function falls off a cliff within 3 %, as a real cell does; it is
//! stopped at −0.6 V, about where a reversed cell rests (common practice, no source).

use std::sync::LazyLock;

/// Steps of state of charge to the whole.
const STEPS: f64 = 512.0;
/// Steps below empty.
const BELOW: i32 = 26;
/// Nodes: from −5 % to 105 %.
const NODES: usize = 564;

/// One piece of the curve, from a node to the next one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// Straight line of the open-circuit voltage: value at `s = 0`, in volts.
    pub level: f64,
    /// Its slope in volts for the whole state of charge.
    pub slope: f64,
    /// Entropy term at `s = 0` of this piece's line, in volts per kelvin.
    pub entropy_level: f64,
    /// Its slope.
    pub entropy_slope: f64,
    /// Factor on resistance, line at `s = 0`.
    pub rise_level: f64,
    /// Its slope.
    pub rise_slope: f64,
    /// Integral of `U − 298.15 K · U'` from empty to the node below, in volts: energy per coulomb.
    energy: f64,
    /// State of charge of the node below.
    start: f64,
}

/// The tabulated curves of one chemistry.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    pieces: Box<[Piece; NODES]>,
    /// Factor on resistance: value and slope per °C of each line, at 0 °C of the line.
    cold: Box<[(f64, f64); COLD_NODES]>,
}

/// Steps of a degree, lowest temperature and number of lines of the table of the cold factor: −60 to 200 °C.
const COLD_STEPS: f64 = 2.0;
const COLD_FIRST: i32 = -120;
const COLD_NODES: usize = 520;
const COLDEST: f64 = -60.0;
const HOTTEST: f64 = 200.0;

/// 20 kJ/mol over the gas constant 8.314 J/(mol·K), in kelvin.
pub const ACTIVATION_KELVIN: f64 = 20_000.0 / 8.314;

impl Curve {
    /// Lithium iron phosphate with graphite.
    #[must_use]
    pub fn lithium_iron_phosphate() -> &'static Self {
        static CURVE: LazyLock<Curve> =
            LazyLock::new(|| Curve::tabulated(open_circuit_volts, entropy, rise, ACTIVATION_KELVIN));
        &CURVE
    }

    /// A curve from three functions of the state of charge (volts, volts per kelvin, factor on resistance) and the
    /// activation energy of the resistance over the gas constant, in kelvin.
    #[must_use]
    pub fn tabulated(
        volts: fn(f64) -> f64,
        entropy: fn(f64) -> f64,
        rise: fn(f64) -> f64,
        activation_kelvin: f64,
    ) -> Self {
        let mut energy = 0.0;
        let mut pieces: Vec<Piece> = Vec::with_capacity(NODES);
        for step in (-BELOW..).take(NODES) {
            let (start, end) = (f64::from(step) / STEPS, f64::from(step + 1) / STEPS);
            let line = |curve: fn(f64) -> f64| {
                let slope = (curve(end) - curve(start)) * STEPS;
                (curve(start) - slope * start, slope)
            };
            let ((level, slope), (entropy_level, entropy_slope)) = (line(volts), line(entropy));
            let (rise_level, rise_slope) = line(rise);
            pieces.push(Piece {
                level,
                slope,
                entropy_level,
                entropy_slope,
                rise_level,
                rise_slope,
                energy,
                start,
            });
            let middle = 0.5 * (start + end);
            energy += (level + slope * middle - KELVIN_25 * (entropy_level + entropy_slope * middle)) / STEPS;
        }
        let factor = |step: i32| {
            let kelvin = f64::from(step) / COLD_STEPS + 273.15;
            libm::exp(activation_kelvin * (1.0 / kelvin - 1.0 / KELVIN_25))
        };
        let cold: Vec<(f64, f64)> = (COLD_FIRST..)
            .take(COLD_NODES)
            .map(|step| {
                let slope = (factor(step + 1) - factor(step)) * COLD_STEPS;
                (factor(step) - slope * f64::from(step) / COLD_STEPS, slope)
            })
            .collect();
        Self { pieces: boxed(pieces), cold: boxed(cold) }
    }

    /// The piece that holds this state of charge; the outermost ones go on for ever.
    #[inline]
    #[must_use]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held inside the table first"
    )]
    pub fn at(&self, charge: f64) -> &Piece {
        let place = (charge * STEPS + f64::from(BELOW)).max(0.0);
        &self.pieces[(place as usize).min(NODES - 1)]
    }

    /// Factor on resistance at a temperature in °C, 1 at 25 °C; beyond the table that of its end.
    #[inline]
    #[must_use]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held inside the table first"
    )]
    pub fn cold_factor(&self, celsius: f64) -> f64 {
        let celsius = celsius.clamp(COLDEST, HOTTEST);
        let place = celsius * COLD_STEPS - f64::from(COLD_FIRST);
        let (level, slope) = self.cold[(place as usize).min(COLD_NODES - 1)];
        level + slope * celsius
    }

    /// Open-circuit voltage at 25 °C without hysteresis.
    #[must_use]
    pub fn volts(&self, charge: f64) -> f64 {
        let piece = self.at(charge);
        piece.level + piece.slope * charge
    }

    /// Energy that a cell of one coulomb holds at this state of charge, in joules, counted from its lowest node and
    /// at 25 °C: the integral of `U − 298.15 K · U'`. What the entropy moves is heat of the cell, not lost.
    #[must_use]
    pub fn energy(&self, charge: f64) -> f64 {
        let piece = self.at(charge);
        let (width, middle) = (charge - piece.start, 0.5 * (charge + piece.start));
        let volts = piece.level + piece.slope * middle;
        piece.energy + width * (volts - KELVIN_25 * (piece.entropy_level + piece.entropy_slope * middle))
    }
}

/// A table of exactly this length: the callers fill it by `take`.
fn boxed<T, const N: usize>(table: Vec<T>) -> Box<[T; N]> {
    let table: Box<[T]> = table.into();
    table.try_into().unwrap_or_else(|_| unreachable!())
}

/// 25 °C in kelvin.
pub const KELVIN_25: f64 = 298.15;

fn open_circuit_volts(charge: f64) -> f64 {
    const REVERSED: f64 = -0.6;
    let (y, x) = (1.0 - (0.74 - 0.705 * charge), 0.0132 + 0.7978 * charge);
    let positive = 3.4323
        - 0.8428 * libm::exp(-80.2493 * libm::pow(y, 1.3198))
        - 3.2474e-6 * libm::exp(20.2645 * libm::pow(y, 3.8003))
        + 3.2482e-6 * libm::exp(20.2646 * libm::pow(y, 3.7995));
    let negative = 0.6379 + 0.5416 * libm::exp(-305.5309 * x) + 0.044 * libm::tanh(-(x - 0.1958) / 0.1088)
        - 0.1978 * libm::tanh((x - 1.0571) / 0.0854)
        - 0.6875 * libm::tanh((x + 0.0117) / 0.0529)
        - 0.0175 * libm::tanh((x - 0.5692) / 0.0875);
    (positive - negative).max(REVERSED)
}

fn entropy(charge: f64) -> f64 {
    let s = charge.clamp(0.0, 1.0);
    1e-4 * (-2.5 + 5.5 * s - 2.0 * s * s)
}

fn rise(charge: f64) -> f64 {
    1.0 + libm::exp(-charge.max(0.0) / 0.08)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The function of Safari & Delacourt evaluated with `NumPy` 2.4.6 (percent, volts).
    const EVALUATED: [(f64, f64); 11] = [
        (0.0, 2.8301),
        (5.0, 3.1193),
        (10.0, 3.2084),
        (20.0, 3.2561),
        (30.0, 3.2876),
        (50.0, 3.3099),
        (70.0, 3.3285),
        (80.0, 3.3411),
        (90.0, 3.3477),
        (95.0, 3.3644),
        (100.0, 3.4789),
    ];

    #[test]
    fn the_table_is_the_published_function() {
        let curve = Curve::lithium_iron_phosphate();
        for (percent, volts) in EVALUATED {
            assert!((curve.volts(percent / 100.0) - volts).abs() < 1e-4, "{percent} %");
        }
    }

    /// Printed storage window of a 202 Ah cell (Lishen LP54173207, product specification rev. 0, 2020-03-09): 30…50 %
    /// of charge is 3.275…3.304 V; 20 mV is the scatter between two published functions.
    #[test]
    fn the_storage_window_of_a_data_sheet_is_met() {
        let curve = Curve::lithium_iron_phosphate();
        assert!((curve.volts(0.3) - 3.275).abs() < 0.02 && (curve.volts(0.5) - 3.304).abs() < 0.02);
    }

    #[test]
    fn the_lines_leave_the_function_by_no_more_than_stated() {
        let curve = Curve::lithium_iron_phosphate();
        let (mut worst_empty, mut worst): (f64, f64) = (0.0, 0.0);
        for step in 0..10_000_u32 {
            let charge = f64::from(step) / 10_000.0;
            let error = (curve.volts(charge) - open_circuit_volts(charge)).abs();
            if charge < 0.05 { worst_empty = worst_empty.max(error) } else { worst = worst.max(error) }
        }
        assert!(worst_empty < 3e-4 && worst < 1e-4, "{worst_empty} {worst}");
    }

    /// Arrhenius with 20 kJ/mol by `NumPy`: ×2.09 at 0 °C, ×4.20 at −20 °C, ×0.60 at 45 °C.
    #[test]
    fn resistance_grows_in_the_cold_as_arrhenius_says() {
        let curve = Curve::lithium_iron_phosphate();
        for (celsius, factor) in [(0.0, 2.09), (-20.0, 4.20), (45.0, 0.60)] {
            assert!((curve.cold_factor(celsius) - factor).abs() < 0.005, "{celsius} °C");
        }
        for tenth in -500..1_500 {
            let celsius = f64::from(tenth) / 10.0;
            let exact = libm::exp(20_000.0 / 8.314 * (1.0 / (celsius + 273.15) - 1.0 / 298.15));
            assert!((curve.cold_factor(celsius) / exact - 1.0).abs() < 9e-5, "{celsius} °C");
        }
    }

    #[test]
    fn more_charge_is_more_voltage_and_empty_falls_to_reversed() {
        let curve = Curve::lithium_iron_phosphate();
        let mut last = f64::MIN;
        for step in 0..1_000_u32 {
            let volts = curve.volts(f64::from(step) / 1_000.0);
            assert!(volts > last);
            last = volts;
        }
        assert!((curve.volts(-0.2) + 0.6).abs() < 1e-9);
        assert!(curve.volts(1.05) > 3.9);
    }
}
