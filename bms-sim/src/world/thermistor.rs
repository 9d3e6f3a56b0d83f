//! What a thermistor's divider shows at a temperature: truth from a measured part, never from an equation.
//!
//! Resistance in ohms of a 10 kΩ part (EPCOS/TDK B57330V2103, B25/85 = 3435 K), maker's table as reproduced in the
//! Linux kernel's hwmon driver `ntc_thermistor`. Between the 5 °C points `ln R` is straight in `1/T`: exact at the
//! points and, in between, within 0.02 °C (a 5 °C chord of a curve whose B changes by 2 K per °C; common practice, no
//! source).
//!
//! Divider: `ratio = R / (R + pull-up)`; the thermistor stands to ground, so open reads 1 and short reads 0.

use std::sync::LazyLock;

/// Lowest temperature of the table in °C, and its step.
const FIRST_CELSIUS: f64 = -40.0;
const STEP_CELSIUS: f64 = 5.0;
const OHMS: [f64; 34] = [
    190_030.0, 145_360.0, 112_060.0, 87_041.0, 68_104.0, 53_665.0, 42_576.0, 34_001.0, 27_326.0, 22_096.0,
    17_973.0, 14_703.0, 12_090.0, 10_000.0, 8_311.0, 6_941.0, 5_825.0, 4_911.0, 4_158.0, 3_536.0, 3_019.0,
    2_588.0, 2_227.0, 1_924.0, 1_668.0, 1_451.0, 1_266.0, 1_108.0, 973.0, 857.0, 757.0, 671.0, 596.0, 531.0,
];

/// `ln R = level + slope / T`.
static LINES: LazyLock<[(f64, f64); OHMS.len() - 1]> = LazyLock::new(|| {
    let mut celsius = FIRST_CELSIUS;
    let pairs = OHMS.array_windows().map(|&[here, next]| {
        let (from, to) = (1.0 / kelvin(celsius), 1.0 / kelvin(celsius + STEP_CELSIUS));
        celsius += STEP_CELSIUS;
        let slope = (libm::log(next) - libm::log(here)) / (to - from);
        (libm::log(here) - slope * from, slope)
    });
    let mut lines = [(0.0, 0.0); OHMS.len() - 1];
    for (line, pair) in lines.iter_mut().zip(pairs) {
        *line = pair;
    }
    lines
});

fn kelvin(celsius: f64) -> f64 {
    celsius + 273.15
}

/// Resistance in ohms at a temperature in °C; beyond the table its last pieces go on.
#[must_use]
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held inside the table first")]
pub fn ohms(celsius: f64) -> f64 {
    let place = ((celsius - FIRST_CELSIUS) / STEP_CELSIUS).max(0.0) as usize;
    let (level, slope) = LINES[place.min(OHMS.len() - 2)];
    libm::exp(level + slope / kelvin(celsius.max(-200.0)))
}

/// What the divider shows, as a fraction of its reference: the thermistor with a leak (in siemens) beside it.
#[must_use]
pub fn ratio(celsius: f64, leak_siemens: f64, pull_up_ohms: f64) -> f64 {
    let siemens = 1.0 / ohms(celsius) + leak_siemens;
    1.0 / (1.0 + pull_up_ohms * siemens)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_met_at_its_points() {
        for (celsius, printed) in [
            (-40.0, 190_030.0),
            (-25.0, 87_041.0),
            (0.0, 27_326.0),
            (25.0, 10_000.0),
            (60.0, 3_019.0),
            (125.0, 531.0),
        ] {
            assert!((ohms(celsius) / printed - 1.0).abs() < 1e-9, "{celsius} °C");
        }
    }

    /// Least-squares Steinhart–Hart of the same table (a, b, c by `SciPy` 1.17.1), stated worst error 0.060 K over the
    /// range.
    #[test]
    fn between_the_points_it_follows_the_steinhart_hart_equation_of_the_part() {
        let mut celsius = -40.0;
        while celsius < 125.0 {
            let log = libm::log(ohms(celsius));
            let fitted = 1.0 / (8.790_091e-4 + 2.529_016e-4 * log + 1.865_244e-7 * log * log * log) - 273.15;
            assert!((fitted - celsius).abs() < 0.062, "{celsius} °C reads {fitted}");
            celsius += 0.5;
        }
    }

    /// Codes of an ideal 12-bit converter with 10 kΩ pull-up: 4095·R/(R + 10 kΩ), from the same table.
    #[test]
    fn the_divider_gives_the_codes() {
        for (celsius, code) in
            [(-40.0, 3_890.281), (0.0, 2_997.910), (25.0, 2_047.5), (60.0, 949.597), (125.0, 206.480)]
        {
            assert!((ratio(celsius, 0.0, 10_000.0) * 4_095.0 - code).abs() < 0.01, "{celsius} °C");
        }
    }

    /// 100 kΩ in parallel turns −25 into about −10, −5 into +2, 25 into 27 °C (by the table: 87 041 ∥ 100 000 = 46
    /// 540 Ω …).
    #[test]
    fn moisture_reads_too_warm_and_most_in_the_cold() {
        for (celsius, parallel) in [(-25.0, 46_535.8), (-5.0, 25_373.7), (25.0, 9_090.9)] {
            let expected: f64 = parallel / (parallel + 10_000.0);
            assert!((ratio(celsius, 1e-5, 10_000.0) - expected).abs() < 1e-5);
        }
    }
}
