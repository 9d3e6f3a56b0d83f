//! # Quantities
//!
//! Every number the core handles carries its unit in its type; a bare number appears only inside this file. Volts, amperes,
//! degrees, milliohms and ratios are signed fixed point with 16 integer and 16 fraction bits (`fixed::types::I16F16`): range
//! −32 768 to 32 767, step 1/65 536 (15 µV, 15 µA …). Sums and differences saturate at the ends of that range instead of
//! wrapping, because a wrapped voltage would be believed.
//!
//! Charge is an exact 64-bit sum in steps of 2⁻¹⁶ A·ms (15 nC): `current × time` needs no rounding at all, so counting
//! over a closed cycle returns to exactly where it began.
//!
//! Only products that mean something exist:
//!
//! ```
//! use bms_core::units::{Amps, Millis, Milliohms, Volts};
//! let sag = Amps::from_milli(-150_000) * Milliohms::from_milli(1_500); // 150 A through 1.5 mΩ
//! assert_eq!(sag.milli(), -225);
//! let moved = Amps::from_milli(50).over(Millis(86_400_000)); // 50 mA for a day
//! assert_eq!(moved.milliamp_hours(), 1_200);
//! ```
//!
//! ```compile_fail
//! # use bms_core::units::{Amps, Volts};
//! let nonsense = Volts::from_milli(3_300) + Amps::from_milli(10); // volts are not amperes
//! ```
//!
//! ```
//! # use bms_core::units::Volts;
//! let sum = Volts::from_milli(3_300) + Volts::from_milli(10);
//! assert_eq!(sum.milli(), 3_310);
//! ```

#![expect(clippy::cast_possible_truncation, reason = "every narrowing stands behind a comparison or a shift")]

use fixed::types::I16F16;

mod charge;
mod shown;
mod time;

pub use charge::Coulombs;
pub use time::{Instant, Millis, Uptime};

/// A fixed-point quantity with one unit.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
        pub struct $name(#[cfg_attr(feature = "serde", serde(with = "as_bits"))] I16F16);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(I16F16::ZERO);
            /// The largest value that can be written down.
            pub const MAX: Self = Self(I16F16::MAX);
            /// The smallest (most negative) value that can be written down.
            pub const MIN: Self = Self(I16F16::MIN);
            /// The unit as people write it.
            pub const UNIT: &str = $unit;

            /// From thousandths of the unit, to the nearest step. Values beyond ±32 767 000 saturate.
            #[must_use]
            pub const fn from_milli(thousandths: i32) -> Self {
                let scaled = (thousandths as i64).saturating_mul(65_536);
                let half = if scaled < 0 { -500 } else { 500 };
                Self::from_wide(scaled.saturating_add(half) / 1_000)
            }

            /// Thousandths of the unit, to the nearest.
            #[must_use]
            pub const fn milli(self) -> i32 {
                let scaled = (self.0.to_bits() as i64).saturating_mul(1_000).saturating_add(32_768);
                (scaled >> 16) as i32
            }

            /// The raw fixed-point bits: one step is 1/65 536 of the unit.
            #[must_use]
            pub const fn bits(self) -> i32 {
                self.0.to_bits()
            }

            /// From raw fixed-point bits.
            #[must_use]
            pub const fn from_bits(bits: i32) -> Self {
                Self(I16F16::from_bits(bits))
            }

            /// From a sum or product held in 64 bits, saturating at the ends of the range.
            #[must_use]
            pub const fn from_wide(bits: i64) -> Self {
                if bits > i32::MAX as i64 {
                    Self::MAX
                } else if bits < i32::MIN as i64 {
                    Self::MIN
                } else {
                    Self::from_bits(bits as i32)
                }
            }

            /// The amount without its sign; the most negative value saturates.
            #[must_use]
            pub const fn abs(self) -> Self {
                Self(self.0.saturating_abs())
            }

            /// This quantity times a ratio, rounded towards minus infinity.
            #[must_use]
            pub const fn scaled(self, by: Ratio) -> Self {
                Self::from_wide((self.0.to_bits() as i64).saturating_mul(by.0.to_bits() as i64) >> 16)
            }

            /// This quantity as a fraction of another one of its kind; `None` for a divisor of zero. Saturates.
            #[must_use]
            pub const fn fraction_of(self, whole: Self) -> Option<Ratio> {
                match ((self.0.to_bits() as i64) << 16).checked_div(whole.0.to_bits() as i64) {
                    Some(bits) => Some(Ratio::from_wide(bits)),
                    None => None,
                }
            }

            /// Not below `low` and not above `high`; where the two cross, `high` wins.
            #[must_use]
            pub const fn held_between(self, low: Self, high: Self) -> Self {
                let raised = if self.0.to_bits() < low.0.to_bits() { low } else { self };
                if raised.0.to_bits() > high.0.to_bits() { high } else { raised }
            }
        }

        impl core::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }
        }

        impl core::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }
        }

        impl core::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(self.0.saturating_neg())
            }
        }

        #[cfg(feature = "defmt")]
        impl defmt::Format for $name {
            fn format(&self, f: defmt::Formatter<'_>) {
                // The bits, not the text: formatting a fixed-point value on the target would link a panic path and 2.5 kB.
                defmt::write!(f, "{=i32}/65536 {=str}", self.bits(), $unit);
            }
        }
    };
}

quantity! {
    /// Electric potential difference in volts. Range ±32 767 V, step 15 µV.
    Volts, "V"
}
quantity! {
    /// Current in amperes, positive when it charges the pack. Range ±32 767 A, step 15 µA.
    Amps, "A"
}
quantity! {
    /// Temperature in degrees Celsius, or a difference of two such in kelvin. Step 15 µK.
    Celsius, "°C"
}
quantity! {
    /// Small resistance (cells, joints, contacts) in milliohms. Step 15 nΩ.
    Milliohms, "mΩ"
}
quantity! {
    /// A pure number: a fraction of a whole, where 1 is all of it. Step 15 ppm.
    Ratio, "of 1"
}
quantity! {
    /// How fast a temperature changes, in kelvin a second. Step 15 µK/s.
    CelsiusPerSecond, "°C/s"
}

/// Resistance of a load, a resistor or an insulation in whole ohms, 0 to 4.29 GΩ; sums saturate.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ohms(pub u32);

/// Insulation resistance over the pack's voltage, in whole ohms a volt.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OhmsPerVolt(pub u32);

impl OhmsPerVolt {
    /// A resistance over a voltage, rounded down; saturates without a voltage.
    #[must_use]
    pub const fn of(Ohms(ohms): Ohms, volts: Volts) -> Self {
        let bits = volts.bits();
        match ((ohms as u64) << 16).checked_div(if bits > 0 { bits.unsigned_abs() as u64 } else { 0 }) {
            Some(whole) if whole <= u32::MAX as u64 => Self(whole as u32),
            Some(_) | None => Self(u32::MAX),
        }
    }

    /// The resistance that has so much at this voltage; saturates.
    #[must_use]
    pub const fn at(self, volts: Volts) -> Ohms {
        let bits = volts.bits();
        let ohms =
            (self.0 as u64).saturating_mul(if bits > 0 { bits.unsigned_abs() as u64 } else { 0 }) >> 16;
        Ohms(if ohms > u32::MAX as u64 { u32::MAX } else { ohms as u32 })
    }
}

impl Ratio {
    /// The whole.
    pub const ONE: Self = Self(I16F16::ONE);

    /// From hundredths of the whole.
    #[must_use]
    pub const fn percent(hundredths: i32) -> Self {
        Self::from_milli(hundredths.saturating_mul(10))
    }

    /// Parts of a million, to the nearest; one step is 15.
    #[must_use]
    pub const fn parts_per_million(self) -> i32 {
        ((self.0.to_bits() as i64).saturating_mul(1_000_000).saturating_add(32_768) >> 16) as i32
    }
}

impl core::ops::Mul<Milliohms> for Amps {
    type Output = Volts;
    /// Ohm's law. Exact to one step (15 µV), rounded towards minus infinity.
    fn mul(self, by: Milliohms) -> Volts {
        let product = i64::from(self.bits()).saturating_mul(i64::from(by.bits()));
        Volts::from_wide((product >> 16) / 1_000)
    }
}

impl Volts {
    /// The resistance that explains this drop at that current; `None` without current. Saturates at 32 767 mΩ.
    #[must_use]
    pub const fn over_current(self, amps: Amps) -> Option<Milliohms> {
        let millivolts = (self.bits() as i64).saturating_mul(1_000) << 16;
        match millivolts.checked_div(amps.bits() as i64) {
            Some(bits) => Some(Milliohms::from_wide(bits)),
            None => None,
        }
    }

    /// The current that this voltage drives through that resistance; `None` for no resistance. Saturates.
    #[must_use]
    pub const fn through(self, resistance: Milliohms) -> Option<Amps> {
        let millivolts = (self.bits() as i64).saturating_mul(1_000) << 16;
        match millivolts.checked_div(resistance.bits() as i64) {
            Some(bits) => Some(Amps::from_wide(bits)),
            None => None,
        }
    }

    /// The current that this voltage drives through a resistor of whole ohms; `None` for none. Saturates.
    #[must_use]
    pub const fn through_ohms(self, resistor: Ohms) -> Option<Amps> {
        match (self.bits() as i64).checked_div(resistor.0 as i64) {
            Some(bits) => Some(Amps::from_wide(bits)),
            None => None,
        }
    }
}

impl Amps {
    /// Charge moved by this current in that time: exact.
    #[must_use]
    pub const fn over(self, time: Millis) -> Coulombs {
        Coulombs::from_bits((self.bits() as i64).saturating_mul(time.0 as i64))
    }
}

/// Quantities are written as their bits: exact on the wire, and refused by nothing but a wrong type.
#[cfg(feature = "serde")]
mod as_bits {
    use fixed::types::I16F16;
    use serde::{Deserialize, Deserializer, Serializer};

    #[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
    pub(super) fn serialize<S: Serializer>(value: &I16F16, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_i32(value.to_bits())
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<I16F16, D::Error> {
        i32::deserialize(from).map(I16F16::from_bits)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn milli_is_exact_both_ways_at_the_ends_and_in_the_middle() {
        for thousandths in [-32_767_000, -3_301, -1, 0, 1, 2_500, 3_650, 32_767_000] {
            assert_eq!(Volts::from_milli(thousandths).milli(), thousandths);
        }
    }

    #[test]
    fn sums_saturate() {
        assert_eq!(Volts::MAX + Volts::from_milli(1), Volts::MAX);
        assert_eq!(Volts::MIN - Volts::from_milli(1), Volts::MIN);
        assert_eq!(-Amps::MIN, Amps::MAX);
    }

    /// 3.300 → 3.238 V at 100 A is 0.62 mΩ (worked by hand: 62 mV / 100 A).
    #[test]
    fn a_pulse_gives_its_resistance() {
        let drop = Volts::from_milli(3_300) - Volts::from_milli(3_238);
        let resistance = drop.over_current(Amps::from_milli(100_000)).map(Milliohms::milli);
        assert_eq!(resistance, Some(620)); // in µΩ
    }

    #[test]
    fn nothing_divides_by_zero() {
        assert_eq!(Volts::MAX.over_current(Amps::ZERO), None);
        assert_eq!(Volts::MAX.through(Milliohms::ZERO), None);
        assert_eq!(Volts::MAX.through_ohms(Ohms(0)), None);
        assert_eq!(Volts::MAX.fraction_of(Volts::ZERO), None);
    }

    proptest! {
        /// No sum, product or quotient panics or wraps, whatever the bits.
        #[test]
        fn arithmetic_is_total(a in any::<i32>(), b in any::<i32>(), t in any::<u32>()) {
            let (volts, amps) = (Volts::from_bits(a), Amps::from_bits(b));
            let sum = volts + Volts::from_bits(b);
            prop_assert_eq!(i64::from(sum.bits()), (i64::from(a) + i64::from(b)).clamp(i32::MIN.into(), i32::MAX.into()));
            let _ = (volts.over_current(amps), volts.fraction_of(Volts::from_bits(b)), amps * Milliohms::from_bits(a));
            prop_assert_eq!(amps.over(Millis(t)).bits(), i64::from(b) * i64::from(t));
        }
    }
}
