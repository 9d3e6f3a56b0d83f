//! Electric charge as an exact sum.

/// Charge in coulombs (ampere-seconds), positive into the pack. Step 2⁻¹⁶ A·ms = 15 nC, range ±140 GC; sums saturate.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
pub struct Coulombs(i64);

/// 2¹⁶ steps an ampere-millisecond, 3 600 000 milliseconds an hour, a thousandth of an ampere.
const BITS_PER_MILLIAMP_HOUR: i64 = 65_536 * 3_600;

impl Coulombs {
    /// No charge.
    pub const ZERO: Self = Self(0);
    /// More than any pack holds.
    pub const MAX: Self = Self(i64::MAX);

    /// From thousandths of an ampere-hour, exact (±4·10¹⁰ mAh).
    #[must_use]
    pub const fn from_milliamp_hours(thousandths: i32) -> Self {
        Self((thousandths as i64).saturating_mul(BITS_PER_MILLIAMP_HOUR))
    }

    /// Thousandths of an ampere-hour, towards zero; saturates at ±2.1 million.
    #[must_use]
    pub const fn milliamp_hours(self) -> i32 {
        let whole = self.0 / BITS_PER_MILLIAMP_HOUR;
        if whole > i32::MAX as i64 {
            i32::MAX
        } else if whole < i32::MIN as i64 {
            i32::MIN
        } else {
            whole as i32
        }
    }

    /// The raw sum: one step is 2⁻¹⁶ A·ms.
    #[must_use]
    pub const fn bits(self) -> i64 {
        self.0
    }

    /// From the raw sum.
    #[must_use]
    pub const fn from_bits(bits: i64) -> Self {
        Self(bits)
    }

    /// The amount without its sign.
    #[must_use]
    pub const fn abs(self) -> Self {
        Self(self.0.saturating_abs())
    }

    /// This charge times a ratio, rounded towards minus infinity; exact to a thousandth of a coulomb and never beyond i64.
    ///
    /// The product of 64 and 32 bits would need 96: the low 16 bits (under 1 mC) are set aside first.
    #[must_use]
    pub const fn scaled(self, by: super::Ratio) -> Self {
        Self((self.0 >> 16).saturating_mul(by.bits() as i64))
    }

    /// This charge as a fraction of `whole`: `None` for an empty whole; saturates at ±32 767.
    ///
    /// Both are set down to steps of 2⁻² A·ms first, so that the quotient fits 64 bits: an error below 1 ppm of 1 Ah.
    #[must_use]
    pub const fn fraction_of(self, whole: Self) -> Option<super::Ratio> {
        match (self.0 >> 14).saturating_mul(65_536).checked_div(whole.0 >> 14) {
            Some(bits) => Some(super::Ratio::from_wide(bits)),
            None => None,
        }
    }

    /// Not below `low` and not above `high`; where the two cross, `high` wins.
    #[must_use]
    pub const fn held_between(self, low: Self, high: Self) -> Self {
        let raised = if self.0 < low.0 { low } else { self };
        if raised.0 > high.0 { high } else { raised }
    }
}

impl core::ops::Add for Coulombs {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl core::ops::Sub for Coulombs {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl core::ops::Neg for Coulombs {
    type Output = Self;
    fn neg(self) -> Self {
        Self(self.0.saturating_neg())
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Coulombs {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{=i64}/65536 A·ms", self.bits());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Ratio;

    #[test]
    fn an_ampere_hour_is_3600_coulombs() {
        // 1 Ah = 3 600 A·s = 3 600 000 A·ms, each 65 536 steps.
        assert_eq!(Coulombs::from_milliamp_hours(1_000).bits(), 3_600_000 * 65_536);
        assert_eq!(Coulombs::from_milliamp_hours(-7).milliamp_hours(), -7);
    }

    #[test]
    fn fractions_and_products_agree() {
        let pack = Coulombs::from_milliamp_hours(100_000);
        let half = pack.scaled(Ratio::percent(50));
        assert_eq!(half.milliamp_hours(), 50_000);
        assert_eq!(half.fraction_of(pack).map(Ratio::parts_per_million), Some(500_000));
        assert_eq!(half.fraction_of(Coulombs::ZERO), None);
    }
}
