//! Why a configuration is refused: the key, the value found there, and what is accepted.

use super::checks::Rule;
use crate::fault::Fault;
use crate::witness::Quantity;
use core::fmt::{Display, Formatter, Result};

/// What is wrong with a configuration: the first rule of [`Config::check`](super::Config::check) that is broken.
///
/// It reads as a sentence, for people who type configurations:
///
/// ```
/// use bms_core::config::{Config, Pack, SequenceFacts};
/// use bms_core::units::{Millis, Ohms};
/// // 20 Ω with 1 mF charge in 20 ms, so that a tick of 10 ms sees two readings of it.
/// let quick = Config::for_pack(Pack::crane(), SequenceFacts::of(Ohms(20), Ohms(2_500), 1_000));
/// let error = quick.check(96, 16).unwrap_err();
/// assert_eq!(
///     error.to_string(),
///     "sequence.time_constant = 19 ms is too short for a tick of 10 ms: at least 30 ms is accepted"
/// );
/// ```
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub struct ConfigError {
    pub(super) rule: u16,
    pub(super) fault: Option<Fault>,
    pub(super) accepts: Accepts,
    pub(super) found: Quantity,
    pub(super) bound: Quantity,
    pub(super) beside: Option<Quantity>,
}

/// How a value must stand to its bound.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Accepts {
    /// The bound and nothing else.
    Exactly,
    /// Only what is above the bound.
    MoreThan,
    /// The bound and what is above it.
    AtLeast,
    /// The bound and what is below it.
    AtMost,
    /// Only what is below the bound.
    LessThan,
}

impl Accepts {
    /// Whether a value stands to its bound as it must, both in raw bits.
    pub(super) const fn holds(self, found: i64, bound: i64) -> bool {
        match self {
            Self::Exactly => found == bound,
            Self::MoreThan => found > bound,
            Self::AtLeast => found >= bound,
            Self::AtMost => found <= bound,
            Self::LessThan => found < bound,
        }
    }
}

/// The place of a value in the configuration, written as a path of fields: `sequence.retry_pause`,
/// `faults.cell_over_voltage.release`. A value that is worked out from several fields is named after the method that does it.
#[derive(Clone, Copy, Debug)]
pub struct Key {
    rule: u16,
    fault: Option<Fault>,
}

impl PartialEq for Key {
    /// Several rules may be about one place.
    fn eq(&self, other: &Self) -> bool {
        Rule::of(self.rule).key == Rule::of(other.rule).key && self.fault == other.fault
    }
}

impl Eq for Key {}

impl Display for Key {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        let path = Rule::of(self.rule).key;
        match (path.split_once('*'), self.fault) {
            (Some((before, after)), Some(fault)) => write!(to, "{before}{}{after}", fault.key()),
            (_, _) => to.write_str(path),
        }
    }
}

impl ConfigError {
    /// Where the value stands.
    #[must_use]
    pub const fn key(&self) -> Key {
        Key { rule: self.rule, fault: self.fault }
    }

    /// The value found there.
    #[must_use]
    pub const fn found(&self) -> Quantity {
        self.found
    }

    /// What is accepted there: how it must stand to which bound.
    #[must_use]
    pub const fn accepted(&self) -> (Accepts, Quantity) {
        (self.accepts, self.bound)
    }

    /// What the bound follows from, in words with its value, where it follows from another value.
    #[must_use]
    pub fn beside(&self) -> Option<(&'static str, Quantity)> {
        self.rule().beside.zip(self.beside)
    }

    /// What is wrong with the value and what is accepted, without key and value.
    #[must_use]
    pub const fn objection(&self) -> Objection<'_> {
        Objection(self)
    }

    fn rule(&self) -> &'static Rule {
        Rule::of(self.rule)
    }

    /// What the value is: too small or too large, in the words of its quantity.
    fn complaint(&self) -> &'static str {
        let above = match self.accepts {
            Accepts::Exactly => return "not the size of the controller",
            Accepts::MoreThan | Accepts::AtLeast => false,
            Accepts::AtMost | Accepts::LessThan => true,
        };
        match (self.found, above) {
            (Quantity::Millis(_), false) => "too short",
            (Quantity::Millis(_), true) => "too long",
            (Quantity::Volts(_) | Quantity::Celsius(_), false) => "too low",
            (Quantity::Volts(_) | Quantity::Celsius(_), true) => "too high",
            (_, false) => "too small",
            (_, true) => "too large",
        }
    }
}

impl Display for ConfigError {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        write!(to, "{} = {} is {}", self.key(), self.found, self.objection())
    }
}

/// The end of the sentence, for whoever has named the key and shown the value already: `too short for a tick of 10 ms: at least 30 ms
/// is accepted`.
#[derive(Clone, Copy, Debug)]
pub struct Objection<'a>(&'a ConfigError);

impl Display for Objection<'_> {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        let Self(error) = self;
        to.write_str(error.complaint())?;
        match error.beside() {
            Some((words, value)) => write!(to, " for {words} of {value}: ")?,
            None => to.write_str(": ")?,
        }
        let words = match error.accepts {
            Accepts::Exactly => "",
            Accepts::MoreThan => "more than ",
            Accepts::AtLeast => "at least ",
            Accepts::AtMost => "at most ",
            Accepts::LessThan => "less than ",
        };
        write!(to, "{words}{} is accepted", error.bound)
    }
}

impl core::error::Error for ConfigError {}

#[cfg(feature = "defmt")]
impl defmt::Format for Key {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{=istr} {}", super::rules::interned_key(self.rule), self.fault);
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for ConfigError {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{} = {}, accepted {} {}", self.key(), self.found, self.accepts, self.bound);
    }
}

/// As people read it.
#[cfg(feature = "serde")]
impl serde::Serialize for Key {
    fn serialize<S: serde::Serializer>(&self, to: S) -> core::result::Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

#[cfg(feature = "serde")]
impl serde::Serialize for ConfigError {
    fn serialize<S: serde::Serializer>(&self, to: S) -> core::result::Result<S::Ok, S::Error> {
        use serde::ser::SerializeStruct;
        let mut fields = to.serialize_struct("ConfigError", 4)?;
        fields.serialize_field("key", &self.key())?;
        fields.serialize_field("found", &self.found)?;
        fields.serialize_field("accepts", &self.accepts)?;
        fields.serialize_field("bound", &self.bound)?;
        fields.end()
    }
}
