//! # What a value over time is called
//!
//! A column has a name, a kind and, if it is a quantity, a unit that ends its name. A JSON key ends with the unit as a word
//! (`current_amps`), the name of a table's column with its sign in letters that every program takes in a name (`current_A`); both
//! come from here.
//!
//! A quantity of the firmware is a whole number of steps of 2⁻¹⁶. It is shown as the shortest decimal that names that step: 3.3123 V
//! and not 3.312301635…; the step can be told from it again, since five decimals are finer than 2⁻¹⁶ ≈ 1.5 · 10⁻⁵.

use std::borrow::Cow;

/// The unit of a quantity.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Unit {
    /// Time.
    Seconds,
    /// Voltage.
    Volts,
    /// Current.
    Amps,
    /// Temperature.
    Celsius,
    /// Share of a whole.
    Percent,
    /// Insulation resistance for each volt of the pack.
    OhmsPerVolt,
}

impl Unit {
    /// As it ends a JSON key.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Seconds => "seconds",
            Self::Volts => "volts",
            Self::Amps => "amps",
            Self::Celsius => "celsius",
            Self::Percent => "percent",
            Self::OhmsPerVolt => "ohms_per_volt",
        }
    }

    /// As it ends the name of a column.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Seconds => "s",
            Self::Volts => "V",
            Self::Amps => "A",
            Self::Celsius => "degC",
            Self::Percent => "pct",
            Self::OhmsPerVolt => "ohm_per_V",
        }
    }

    /// As people write it.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self {
            Self::Seconds => "s",
            Self::Volts => "V",
            Self::Amps => "A",
            Self::Celsius => "°C",
            Self::Percent => "%",
            Self::OhmsPerVolt => "Ω/V",
        }
    }
}

/// Of which kind the values of a column are.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Kind {
    /// Any number.
    Number,
    /// A whole number from 0.
    Whole,
    /// Yes or no.
    Flag,
    /// A word or a sentence.
    Text,
    /// Whole numbers, a space between two.
    Wholes,
}

/// One value of a column.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// Of the kind with the same name.
    Number(f64),
    /// Of the kind with the same name.
    Whole(u64),
    /// Of the kind with the same name.
    Flag(bool),
    /// A text, also that of whole numbers.
    Text(Cow<'static, str>),
    /// There is none.
    Missing,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Its name, which ends with the unit.
    pub name: String,
    /// Of which kind its values are.
    pub kind: Kind,
    /// The unit of a quantity.
    pub unit: Option<Unit>,
    /// What it holds, in words.
    pub says: String,
}

impl Column {
    /// A column; the unit is put at the end of its name.
    pub(super) fn new(name: &str, kind: Kind, unit: Option<Unit>, says: &str) -> Self {
        let name = unit.map_or_else(|| name.to_owned(), |unit| format!("{name}_{}", unit.ending()));
        Self { name, kind, unit, says: says.trim().to_owned() }
    }
}

/// A type whose values can stand in a column.
pub(super) trait Shown {
    /// Of which kind they are.
    const KIND: Kind;

    /// A value of it.
    fn shown(self) -> Value;
}

impl Shown for f64 {
    const KIND: Kind = Kind::Number;

    fn shown(self) -> Value {
        Value::Number(self)
    }
}

impl Shown for u64 {
    const KIND: Kind = Kind::Whole;

    fn shown(self) -> Value {
        Value::Whole(self)
    }
}

impl Shown for usize {
    const KIND: Kind = Kind::Whole;

    fn shown(self) -> Value {
        Value::Whole(self as u64)
    }
}

impl Shown for bool {
    const KIND: Kind = Kind::Flag;

    fn shown(self) -> Value {
        Value::Flag(self)
    }
}

impl Shown for &'static str {
    const KIND: Kind = Kind::Text;

    fn shown(self) -> Value {
        Value::Text(Cow::Borrowed(self))
    }
}

impl Shown for bms_core::Step {
    const KIND: Kind = Kind::Text;

    fn shown(self) -> Value {
        Value::Text(format!("{self:?}").into())
    }
}

/// The shortest decimal that names this number of steps of 2⁻¹⁶.
pub(super) fn decimal(bits: i32) -> f64 {
    const STEPS: f64 = 65_536.0;
    let exact = f64::from(bits) / STEPS;
    let rounded = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5].into_iter().map(|places| (exact * places).round() / places);
    // Less than half a step away, so that this step is the nearest one to it.
    let names = |decimal: &f64| ((decimal - exact) * STEPS).abs() < 0.5;
    rounded.into_iter().find(names).unwrap_or(exact)
}

/// A truth to a millionth of its unit: no instrument tells more.
pub(super) fn millionths(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The fixed-point library prints as few digits as tell a number from its neighbours: the same ones, and it reads them back.
        #[test]
        fn the_decimal_is_the_shortest_that_names_the_step(bits: i32) {
            let number = fixed::types::I16F16::from_bits(bits);
            let shown = format!("{}", decimal(bits));
            prop_assert_eq!(shown.len(), number.to_string().len());
            prop_assert_eq!(shown.parse::<fixed::types::I16F16>().unwrap(), number);
        }
    }

    #[test]
    fn a_reading_in_tenths_of_a_millivolt_is_shown_as_one() {
        for (tenths, shown) in [(33_123, "3.3123"), (33_000, "3.3"), (-5, "-0.0005"), (0, "0")] {
            let nearest = fixed::types::I16F16::from_num(f64::from(tenths) / 1e4);
            assert_eq!(decimal(nearest.to_bits()).to_string(), shown);
        }
    }
}
