//! # From a divider's ratio to a temperature
//!
//! A thermistor R(T) stands with 10 kΩ in a divider. What is measured is the thermistor's share of the reference,
//! `ratio = R / (R + 10 kΩ)`, so that a reference that sags or ripples cancels. The curve is turned round once, while compiling:
//! °C at 257 equally spaced ratios. Reading it is then one look-up and one straight line, without a search.
//!
//! Between the points of the maker's table (5 °C apart) the curve follows the cubic through the four nearest points, because a
//! straight line would be up to 0.13 °C off in the cold. From −40 to 125 °C the whole chain is, as the tests measure it, at most
//!
//! | off | of the 3 435 K part | of the 3 977 K part |
//! | --- | --- | --- |
//! | the maker's table, at its points | 0.04 °C | computed from the coefficients below |
//! | the part's own equation, half-way between them | 0.08 °C, of which the equation itself may be 0.06 °C off the table | 0.05 °C |
//!
//! A B equation is not used: with B25/85 it is 4.3 °C wrong at −40 °C on a real 3 435 K part.

use crate::config::{ThermistorCurve, Wiring};
use crate::units::{Celsius, Ratio};

/// The coldest temperature of both tables: colder readings show this.
pub(crate) const COLDEST: Celsius = Celsius::from_milli(-40_000);

/// The hottest temperature of both tables: hotter readings show this.
pub(crate) const HOTTEST: Celsius = Celsius::from_milli(125_000);

/// The resistor of the divider, in tenths of an ohm.
const DIVIDER: i64 = 100_000;

/// Points of a published table, from −40 to 125 °C in steps of 5 °C.
const POINTS: usize = 34;

/// Equally spaced ratios of the turned table: 0/256 to 256/256.
const NODES: usize = 257;

/// EPCOS/TDK B57330V2103, 10 kΩ, B25/85 = 3 435 K, in tenths of an ohm: the maker's data sheet as reproduced in the Linux
/// kernel's hwmon driver `ntc_thermistor.c`.
const B57330V2103: [u32; POINTS] = [
    1_900_300, 1_453_600, 1_120_600, 870_410, 681_040, 536_650, 425_760, 340_010, 273_260, 220_960, 179_730,
    147_030, 120_900, 100_000, 83_110, 69_410, 58_250, 49_110, 41_580, 35_360, 30_190, 25_880, 22_270,
    19_240, 16_680, 14_510, 12_660, 11_080, 9_730, 8_570, 7_570, 6_710, 5_960, 5_310,
];

/// Vishay NTCLE100E3, 10 kΩ, B25/85 = 3 977 K, in tenths of an ohm: computed from the coefficients of its data sheet (document
/// 29049), `R = 10 kΩ · exp(A + B/T + C/T² + D/T³)`, A −14.6337, B 4 791.842 K, C −115 334 K², D −3.730535·10⁶ K³.
const NTCLE100E3: [u32; POINTS] = [
    3_321_001, 2_399_043, 1_752_031, 1_292_895, 963_600, 725_018, 550_470, 421_578, 325_548, 253_390,
    198_726, 156_988, 124_880, 100_002, 80_592, 65_348, 53_300, 43_718, 36_053, 29_887, 24_900, 20_845,
    17_531, 14_809, 12_564, 10_703, 9_154, 7_860, 6_773, 5_858, 5_083, 4_426, 3_866, 3_387,
];

static B3435: [i16; NODES] = turned(&B57330V2103);
static B3977: [i16; NODES] = turned(&NTCLE100E3);

/// What a ratio says, held between the ends of the table.
pub(crate) fn celsius(curve: ThermistorCurve, wiring: Wiring, ratio: Ratio) -> Celsius {
    let table = match curve {
        ThermistorCurve::B3435 => &B3435,
        ThermistorCurve::B3977 => &B3977,
    };
    let share = toward_open(wiring, ratio).bits().clamp(0, 65_535).cast_unsigned();
    let [fraction, node, _, _] = share.to_le_bytes();
    let node = usize::from(node);
    let (Some(from), Some(to)) = (table.get(node), table.get(node.saturating_add(1))) else {
        return HOTTEST; // a byte always finds its two nodes
    };
    let rise = i32::from(*to).saturating_sub(i32::from(*from)).saturating_mul(i32::from(fraction));
    // Nodes are in 1/128 °C, the fraction in 1/256: together 2⁻¹⁵ °C, one bit above the step of `Celsius`.
    let bits = i32::from(*from).saturating_mul(512).saturating_add(rise.saturating_mul(2));
    Celsius::from_bits(bits).max(COLDEST).min(HOTTEST)
}

/// The thermistor's own share of the reference at the coldest and at the hottest temperature of its table.
pub(crate) fn table_ends(curve: ThermistorCurve) -> (Ratio, Ratio) {
    const fn ends(tenth_ohms: &[u32; POINTS]) -> (Ratio, Ratio) {
        (share(tenth_ohms[0]), share(tenth_ohms[POINTS - 1]))
    }
    #[expect(
        clippy::arithmetic_side_effects,
        reason = "runs while compiling, where a slip is a compile error"
    )]
    const fn share(tenth_ohms: u32) -> Ratio {
        Ratio::from_wide(tenth_ohms as i64 * 65_536 / (tenth_ohms as i64 + DIVIDER))
    }
    match curve {
        ThermistorCurve::B3435 => const { ends(&B57330V2103) },
        ThermistorCurve::B3977 => const { ends(&NTCLE100E3) },
    }
}

/// The thermistor's own share of the reference: 1 when its wire is open, 0 when it is shorted, however it is wired.
pub(super) fn toward_open(wiring: Wiring, ratio: Ratio) -> Ratio {
    match wiring {
        Wiring::PullUp => ratio,
        Wiring::PullDown => Ratio::ONE - ratio,
    }
}

/// One and the whole reference in the arithmetic of [`turned`]: 2²⁴, so that a node is a shift.
const WHOLE: i64 = 1 << 24;

/// The table turned round: at each of 257 equally spaced ratios the temperature in 1/128 °C.
#[expect(
    clippy::arithmetic_side_effects,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    reason = "runs while compiling, where a slip is a compile error"
)]
const fn turned(tenth_ohms: &[u32; POINTS]) -> [i16; NODES] {
    let mut ratios = [0_i64; POINTS];
    let mut point = 0;
    while point < POINTS {
        let resistor = tenth_ohms[point] as i64;
        ratios[point] = resistor * WHOLE / (resistor + DIVIDER);
        assert!(point == 0 || ratios[point] < ratios[point - 1], "resistance falls with temperature");
        point += 1;
    }
    let mut nodes = [0_i16; NODES];
    let mut node = 0;
    while node < NODES {
        let ratio = (node as i64) * (WHOLE / 256);
        let mut warmer = 0; // the first point at or beyond this ratio, towards the warm end
        while warmer < POINTS && ratios[warmer] > ratio {
            warmer += 1;
        }
        let kelvin_256ths = if warmer == 0 {
            through(&ratios, 0, 2, ratio)
        } else if warmer >= POINTS {
            through(&ratios, POINTS - 2, 2, ratio)
        } else {
            let first = if warmer < 2 {
                0
            } else if warmer + 2 > POINTS {
                POINTS - 4
            } else {
                warmer - 2
            };
            through(&ratios, first, 4, ratio)
        };
        nodes[node] = ((kelvin_256ths + (1 << 12)) >> 13) as i16;
        node += 1;
    }
    nodes
}

/// The polynomial through so many points from `first` on, at a ratio, by Neville's scheme; in 2⁻²⁰ °C.
#[expect(
    clippy::arithmetic_side_effects,
    clippy::indexing_slicing,
    clippy::cast_possible_wrap,
    reason = "runs while compiling, where a slip is a compile error"
)]
const fn through(ratios: &[i64; POINTS], first: usize, count: usize, ratio: i64) -> i64 {
    let mut values = [0_i64; 4];
    let mut place = 0;
    while place < count {
        values[place] = (((first + place) as i64) * 5 - 40) << 20;
        place += 1;
    }
    let mut order = 1;
    while order < count {
        let mut low = 0;
        while low + order < count {
            let (here, there) = (ratios[first + low], ratios[first + low + order]);
            values[low] = ((ratio - there) * values[low] + (here - ratio) * values[low + 1]) / (here - there);
            low += 1;
        }
        order += 1;
    }
    values[0]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// What a resistance in tenths of an ohm shows in the divider, to the nearest step.
    fn ratio(tenth_ohms: i64) -> Ratio {
        Ratio::from_wide((tenth_ohms * 131_072 / (tenth_ohms + 100_000) + 1) / 2)
    }

    fn read(curve: ThermistorCurve, tenth_ohms: i64) -> i32 {
        celsius(curve, Wiring::PullUp, ratio(tenth_ohms)).milli()
    }

    /// Ohms of B57330V2103 as printed (data sheet, reproduced in the Linux kernel's `ntc_thermistor.c`).
    #[test]
    fn at_its_points_the_published_table_is_met_within_40_millikelvin() {
        let printed = [
            (-40, 190_030),
            (-35, 145_360),
            (-30, 112_060),
            (-25, 87_041),
            (-20, 68_104),
            (-15, 53_665),
            (-10, 42_576),
            (-5, 34_001),
            (0, 27_326),
            (5, 22_096),
            (10, 17_973),
            (15, 14_703),
            (20, 12_090),
            (25, 10_000),
            (30, 8_311),
            (35, 6_941),
            (40, 5_825),
            (45, 4_911),
            (50, 4_158),
            (55, 3_536),
            (60, 3_019),
            (65, 2_588),
            (70, 2_227),
            (75, 1_924),
            (80, 1_668),
            (85, 1_451),
            (90, 1_266),
            (95, 1_108),
            (100, 973),
            (105, 857),
            (110, 757),
            (115, 671),
            (120, 596),
            (125, 531),
        ];
        let off =
            |(degrees, ohms): (i32, i64)| (read(ThermistorCurve::B3435, ohms * 10) - degrees * 1_000).abs();
        let largest = printed.map(off).into_iter().max().unwrap();
        assert!((30..=40).contains(&largest), "{largest} m°C");
    }

    /// The largest error in m°C half-way between the points: −37.5, −32.5 … 122.5 °C.
    fn largest_half_way(curve: ThermistorCurve, tenth_ohms: &[i64; 33]) -> i32 {
        (-37_500..)
            .step_by(5_000)
            .zip(tenth_ohms)
            .map(|(milli, ohms)| (read(curve, *ohms) - milli).abs())
            .max()
            .unwrap()
    }

    /// Tenths of an ohm by the Steinhart–Hart equation of the same part (least squares over the table by a general library:
    /// a 8.790091e-4, b 2.529016e-4, c 1.865244e-7, itself within 0.060 °C of the table), solved for R by bisection elsewhere.
    #[test]
    fn half_way_between_the_points_the_equation_of_the_part_is_met_within_80_millikelvin() {
        let largest = largest_half_way(
            ThermistorCurve::B3435,
            &[
                1_664_246, 1_276_099, 986_478, 768_553, 603_253, 476_902, 379_607, 304_154, 245_241, 198_940,
                162_322, 133_188, 109_872, 91_108, 75_926, 63_578, 53_485, 45_196, 38_355, 32_685, 27_965,
                24_018, 20_706, 17_915, 15_554, 13_550, 11_842, 10_382, 9_130, 8_052, 7_122, 6_317, 5_618,
            ],
        );
        assert!((70..=80).contains(&largest), "{largest} m°C");
    }

    /// NTCLE100E3, tenths of an ohm by the coefficients of its data sheet (document 29049), evaluated elsewhere.
    #[test]
    fn half_way_between_the_points_the_other_curve_follows_its_coefficients_within_50_millikelvin() {
        let largest = largest_half_way(
            ThermistorCurve::B3977,
            &[
                2_818_693, 2_047_443, 1_503_145, 1_114_817, 834_872, 631_046, 481_223, 370_090, 286_934,
                224_192, 176_472, 139_898, 111_660, 89_704, 72_517, 58_975, 48_238, 39_675, 32_805, 27_263,
                22_769, 19_105, 16_104, 13_633, 11_591, 9_894, 8_478, 7_293, 6_296, 5_454, 4_741, 4_135,
                3_617,
            ],
        );
        assert!((40..=50).contains(&largest), "{largest} m°C");
    }

    /// Parallel resistances worked by hand from the printed table; the temperatures are those of the trade's warning: a 100 kΩ
    /// moisture path turns −25 into −10, −5 into +2 and 25 into 27 °C (rounded to whole degrees).
    #[test]
    fn a_moisture_path_reads_too_warm_and_most_in_the_cold() {
        for (parallel, shown) in [(465_358, -12), (253_737, 2), (90_909, 28)] {
            let reads = read(ThermistorCurve::B3435, parallel);
            assert!((reads - shown * 1_000).abs() <= 1_000, "{shown} °C reads {reads} m°C");
        }
    }

    proptest! {
        /// Whatever is measured: never outside the table, never rising with the ratio, and the two wirings mirror each other.
        #[test]
        fn any_ratio_reads_inside_the_table_and_in_order(bits in any::<i32>(), step in 0..=1_000_i32) {
            for curve in [ThermistorCurve::B3435, ThermistorCurve::B3977] {
                let here = celsius(curve, Wiring::PullUp, Ratio::from_bits(bits));
                let colder = celsius(curve, Wiring::PullUp, Ratio::from_bits(bits.saturating_add(step)));
                prop_assert!(here >= colder && here <= HOTTEST && colder >= COLDEST);
                let mirrored = Ratio::ONE - Ratio::from_bits(bits);
                if bits > -1_000_000_000 {
                    prop_assert_eq!(celsius(curve, Wiring::PullDown, mirrored), here);
                }
            }
        }
    }
}
