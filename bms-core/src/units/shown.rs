//! # Quantities as people read them
//!
//! Number and unit, in integers only: `3.65 V`, `−0.5 A`, `93.8 %`, `5 s`. Written to thousandths, a ratio to tenths of a per cent,
//! without zeros at the end; what would round to nothing is written a thousand times finer. Nothing on a target needs this
//! (defmt sends bits), so what is not called is not linked.

use super::{
    Amps, Celsius, CelsiusPerSecond, Coulombs, Instant, Milliohms, Millis, Ohms, OhmsPerVolt, Ratio, Uptime,
    Volts,
};
use core::fmt::{Display, Formatter, Result};

/// A decimal number with at most so many places, without zeros at the end.
fn decimal(to: &mut Formatter<'_>, value: i64, most: u32) -> Result {
    let mut places = most;
    let (mut amount, minus) = (value.unsigned_abs(), if value < 0 { "−" } else { "" });
    for _ in 0..most {
        if amount % 10 != 0 {
            break;
        }
        amount /= 10;
        places = places.saturating_sub(1);
    }
    let one = 10_u64.saturating_pow(places);
    let whole = amount.checked_div(one).unwrap_or(0);
    let rest = amount.checked_rem(one).unwrap_or(0);
    match usize::try_from(places) {
        Ok(0) | Err(_) => write!(to, "{minus}{whole}"),
        Ok(width) => write!(to, "{minus}{whole}.{rest:0width$}"),
    }
}

/// Millionths of the unit of a number in steps of 1/65 536, to the nearest.
fn millionths(bits: i32) -> i64 {
    i64::from(bits).saturating_mul(1_000_000).saturating_add(32_768) >> 16
}

macro_rules! shown {
    ($($kind:ident)+) => {
        $(impl Display for $kind {
            fn fmt(&self, to: &mut Formatter<'_>) -> Result {
                match self.milli() {
                    0 => decimal(to, millionths(self.bits()), 6)?,
                    thousandths => decimal(to, i64::from(thousandths), 3)?,
                }
                write!(to, " {}", Self::UNIT)
            }
        })+
    };
}

shown! { Volts Amps Celsius Milliohms CelsiusPerSecond }

impl Display for Ratio {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        match self.milli() {
            // A hundredth of a per cent is 100 millionths.
            0 => decimal(to, millionths(self.bits()), 4)?,
            thousandths => decimal(to, i64::from(thousandths), 1)?,
        }
        to.write_str(" %")
    }
}

impl Display for Ohms {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        write!(to, "{} Ω", self.0)
    }
}

impl Display for OhmsPerVolt {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        write!(to, "{} Ω/V", self.0)
    }
}

impl Display for Coulombs {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        // Below 10 mAh in coulombs: 2¹⁶ steps an ampere-millisecond, a thousandth of a coulomb.
        if self.milliamp_hours().unsigned_abs() < 10 && *self != Self::ZERO {
            decimal(to, self.bits() >> 16, 3)?;
            return to.write_str(" C");
        }
        decimal(to, i64::from(self.milliamp_hours()), 3)?;
        to.write_str(" Ah")
    }
}

/// Whole seconds as seconds, everything else in milliseconds.
fn time(to: &mut Formatter<'_>, milliseconds: u64) -> Result {
    if milliseconds >= 1_000 && milliseconds.is_multiple_of(1_000) {
        write!(to, "{} s", milliseconds / 1_000)
    } else {
        write!(to, "{milliseconds} ms")
    }
}

impl Display for Millis {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        time(to, u64::from(self.0))
    }
}

impl Display for Instant {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        time(to, u64::from(self.0))
    }
}

impl Display for Uptime {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        time(to, self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_has_its_unit_and_no_idle_digit() {
        assert_eq!(Volts::from_milli(3_650).to_string(), "3.65 V");
        assert_eq!(Amps::from_milli(-500).to_string(), "−0.5 A");
        assert_eq!(Celsius::from_milli(-25_000).to_string(), "−25 °C");
        assert_eq!(Milliohms::from_milli(1).to_string(), "0.001 mΩ");
        assert_eq!(Volts::ZERO.to_string(), "0 V");
        assert_eq!(Ohms(2_500).to_string(), "2500 Ω");
    }

    #[test]
    fn a_ratio_is_a_percentage() {
        assert_eq!(Ratio::from_milli(938).to_string(), "93.8 %");
        assert_eq!(Ratio::ONE.to_string(), "100 %");
        assert_eq!(Ratio::ZERO.to_string(), "0 %");
    }

    /// 16 steps of 2⁻¹⁶ V are 244 µV; 7 steps of 2⁻¹⁶ are 107 ppm.
    #[test]
    fn what_is_small_is_not_nothing() {
        assert_eq!(Volts::from_bits(16).to_string(), "0.000244 V");
        assert_eq!(Ratio::from_bits(7).to_string(), "0.0107 %");
    }

    #[test]
    fn a_charge_is_in_ampere_hours_unless_it_is_small() {
        assert_eq!(Coulombs::from_milliamp_hours(-1_500).to_string(), "−1.5 Ah");
        assert_eq!(Amps::from_milli(125).over(Millis(10_000)).to_string(), "1.25 C");
        assert_eq!(Coulombs::ZERO.to_string(), "0 Ah");
    }

    #[test]
    fn a_time_is_in_seconds_when_it_is_whole() {
        assert_eq!((Millis(20).to_string(), Millis(5_000).to_string()), ("20 ms".into(), "5 s".into()));
        assert_eq!((Millis(1_500).to_string(), Millis::ZERO.to_string()), ("1500 ms".into(), "0 ms".into()));
    }

    #[test]
    fn the_ends_of_the_range_are_written_too() {
        assert_eq!(Volts::MIN.to_string(), "−32768 V");
        assert_eq!(Ratio::MAX.to_string(), "3276800 %");
        assert_eq!(Coulombs::MAX.to_string(), "2147483.647 Ah");
    }
}
