//! Numbers with as many digits as they deserve.

/// A number to so many significant digits, the same on every machine.
pub(super) fn rounded(number: f64, digits: i32) -> f64 {
    if number == 0.0 || !number.is_finite() {
        return number;
    }
    let above = digits - 1 - to_whole(libm::floor(libm::log10(number.abs())));
    let scale = libm::pow(10.0, f64::from(above.abs()));
    // Divided by a whole power of ten, the nearest number to the decimal one is met.
    if above >= 0 { libm::rint(number * scale) / scale } else { libm::rint(number / scale) * scale }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a power of ten of a finite number is between −324 and 308"
)]
const fn to_whole(power: f64) -> i32 {
    power as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rounded_number_prints_as_it_was_rounded() {
        for (number, digits, printed) in [
            (0.398_107, 2, "0.4"),
            (25.1, 2, "25"),
            (-3_162.3, 2, "-3200"),
            (0.012_345, 3, "0.0123"),
            (0.0, 3, "0"),
        ] {
            assert_eq!(rounded(number, digits).to_string(), printed);
        }
    }
}
