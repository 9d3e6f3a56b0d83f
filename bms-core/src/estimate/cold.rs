//! # How resistance grows in the cold
//!
//! ```text
//! f(T) = exp(E/R · (1/T − 1/298.15 K))        E = 20 kJ/mol, R = 8.314 J/(mol K), T in kelvin
//! ```
//!
//! An Arrhenius law; its energy of activation is from memory for this class of cell, and gives 4 to 5 times at −25 °C. The table
//! holds it every 5 °C. The curve bulges downwards, so a straight line between two entries is never below it: the error, less than
//! 1 %, makes resistance larger.

use crate::units::{Celsius, Ratio};

/// Where the table begins: −40 °C, in the bits of [`Celsius`].
const FROM: i32 = Celsius::from_milli(-40_000).bits();

/// From entry to entry: 5 °C.
const STEP: i32 = Celsius::from_milli(5_000).bits();

/// The same for a product in 64 bits.
const STEP_WIDE: i64 = STEP as i64;

/// `f` at −40, −35 … 60 °C in steps of 1/65 536, rounded up.
const GROWTH: [i32; 21] = [
    621_326, 500_319, 406_484, 333_023, 274_996, 228_769, 191_649, 161_616, 137_142, 117_063, 100_485,
    86_712, 75_205, 65_536, 57_371, 50_440, 44_530, 39_466, 35_109, 31_344, HOTTEST,
];

/// The factor at 60 °C.
const HOTTEST: i32 = 28_079;

/// What the resistance at 25 °C is multiplied by; beyond −40 and 60 °C as there.
pub(crate) fn growth(celsius: Celsius) -> Ratio {
    let above = celsius.bits().saturating_sub(FROM).max(0);
    let (entry, within) = (above / STEP, above % STEP);
    let mut from_here = GROWTH.iter().skip(usize::try_from(entry).unwrap_or(usize::MAX));
    match (from_here.next(), from_here.next()) {
        (Some(left), Some(right)) => {
            let fall = i64::from(left.saturating_sub(*right)).saturating_mul(i64::from(within));
            Ratio::from_wide(i64::from(*left).saturating_sub(fall / STEP_WIDE))
        }
        (_, _) => Ratio::from_bits(HOTTEST),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// e^x by its series, in steps of 2⁻⁴⁰: independent of the table and of any library.
    fn exponential(x: i128) -> i128 {
        let (mut sum, mut term) = (0_i128, 1_i128 << 40);
        for n in 1..60 {
            sum += term;
            term = term * x / (n << 40);
        }
        sum
    }

    /// The closed form of the module's head: E/R = 20 000 / 8.314 463 K (gas constant: CODATA 2018).
    fn closed_form(milli_celsius: i128) -> i128 {
        let energy = ((20_000_i128 * 1_000_000_000) << 40) / 8_314_462_618; // in K
        let kelvin = milli_celsius + 273_150; // in mK
        let x = energy * 1_000 / kelvin - energy * 1_000 / 298_150;
        exponential(x) >> 24
    }

    #[test]
    fn the_table_is_the_closed_form() {
        for (entry, factor) in (0..).zip(GROWTH) {
            let exact = closed_form(-40_000 + 5_000 * entry);
            let above = i128::from(factor) - exact;
            assert!((0..=2).contains(&above), "entry {entry}: {factor} against {exact}");
        }
    }

    #[test]
    fn beyond_its_ends_it_stays() {
        assert_eq!(growth(Celsius::from_milli(60_000)), Ratio::from_bits(HOTTEST));
        assert_eq!(growth(Celsius::MAX), Ratio::from_bits(HOTTEST));
        assert_eq!(growth(Celsius::MIN), Ratio::from_bits(GROWTH[0]));
    }

    proptest! {
        /// Never below the closed form, and never more than 1 % above it.
        #[test]
        fn a_straight_line_errs_on_the_safe_side(milli in -40_000..60_000_i32) {
            let exact = closed_form(i128::from(milli));
            let read = i128::from(growth(Celsius::from_milli(milli)).bits());
            prop_assert!(read >= exact - 2 && read * 100 <= exact * 101, "{read} against {exact}");
        }

        /// Colder is never less.
        #[test]
        fn resistance_never_falls_with_the_cold(a in any::<i32>(), b in any::<i32>()) {
            let (cold, warm) = (Celsius::from_bits(a.min(b)), Celsius::from_bits(a.max(b)));
            prop_assert!(growth(cold) >= growth(warm));
        }
    }
}
