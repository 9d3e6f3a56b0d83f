//! How rules are tried, and what the list of them is made into. The list itself is `rules`.

use super::ConfigError;
use super::error::Accepts;
use super::rules::{OfLimit, RULES};
use crate::fault::Fault;
use crate::units::Millis;
use crate::witness::Quantity;

/// What a rule is about. Kept apart from the check so that words nobody asks for are not linked.
#[derive(Debug)]
pub(super) struct Rule {
    /// The key; `*` stands for the key of a fault.
    pub(super) key: &'static str,
    /// What the bound follows from.
    pub(super) beside: Option<&'static str>,
}

impl Rule {
    /// The rule with this number. Errors only hold numbers of the list.
    pub(super) fn of(number: u16) -> &'static Self {
        const FIRST: &Rule = &RULES[0];
        RULES.get(usize::from(number)).unwrap_or(FIRST)
    }
}

/// The longest dwell that is accepted. Longer ones are configuration mistakes.
const LONGEST_DWELL: Millis = Millis::from_seconds(3_600);

/// Tries the rules in order and keeps the first one that is broken.
pub(crate) struct Checks {
    next: u16,
    pub(super) first: Option<ConfigError>,
}

impl Checks {
    pub(super) const NONE: Self = Self { next: 0, first: None };

    /// The next rule of the list. Not inlined, and everything in its own small type: a row then costs a call with its numbers in
    /// registers, and there are nearly 300 rows.
    #[inline(never)]
    pub(super) fn hold<Q: Into<Quantity>>(&mut self, accepts: Accepts, found: Q, bound: Q) {
        self.claim(accepts, found.into(), bound.into(), None);
    }

    /// The next rule of the list, whose bound follows from another value.
    #[inline(never)]
    pub(super) fn hold_beside<Q: Into<Quantity>, B: Into<Quantity>>(
        &mut self,
        accepts: Accepts,
        found: Q,
        bound: Q,
        beside: B,
    ) {
        self.claim(accepts, found.into(), bound.into(), Some(beside.into()));
    }

    #[inline(never)]
    fn claim(&mut self, accepts: Accepts, found: Quantity, bound: Quantity, beside: Option<Quantity>) {
        let rule = self.next;
        self.next = rule.saturating_add(1);
        self.take(ConfigError { rule, fault: None, accepts, found, bound, beside });
    }

    /// The same for a part of the limit of one fault.
    pub(crate) fn hold_limit<Q: Into<Quantity>>(
        &mut self,
        (fault, part): (Fault, OfLimit),
        accepts: Accepts,
        found: Q,
        bound: Q,
        beside: Option<Quantity>,
    ) {
        let rule = self.next.saturating_add(part as u16);
        let fault = Some(fault);
        self.take(ConfigError { rule, fault, accepts, found: found.into(), bound: bound.into(), beside });
    }

    /// Dwells that end and that ticks can count.
    #[inline(never)]
    pub(crate) fn hold_dwells(&mut self, fault: Fault, (dwell, release): (Millis, Millis), tick: Millis) {
        let ticks = Some(tick.into());
        self.hold_limit((fault, OfLimit::Dwell), Accepts::AtMost, dwell, LONGEST_DWELL, None);
        if dwell > Millis::ZERO {
            self.hold_limit((fault, OfLimit::DwellOfTicks), Accepts::AtLeast, dwell, tick, ticks);
        }
        self.hold_limit((fault, OfLimit::ReleaseDwell), Accepts::AtMost, release, LONGEST_DWELL, None);
        self.hold_limit((fault, OfLimit::ReleaseDwellOfTicks), Accepts::AtLeast, release, tick + tick, ticks);
    }

    #[inline(never)]
    fn take(&mut self, claim: ConfigError) {
        if self.first.is_none() && !claim.accepts.holds(claim.found.bits(), claim.bound.bits()) {
            self.first = Some(claim);
        }
    }
}

macro_rules! rules {
    (
        |$c:ident, $cells:ident, $thermistors:ident| { $($given:tt)* }
        $($key:literal: $found:expr => $accepts:ident $bound:expr, $words:literal $(, beside $beside:literal $value:expr)?; $why:literal;)+
        each fault
        $($part:ident $part_key:literal: $part_words:literal $(, beside $part_beside:literal)?; $part_why:literal;)+
    ) => {
        /// What each rule is about, in the order of the list.
        pub(super) static RULES: [Rule; [$($key,)+ $($part_key,)+].len()] = [
            $(Rule { key: $key, beside: rules!(@beside $($beside)?) },)+
            $(Rule { key: $part_key, beside: rules!(@beside $($part_beside)?) },)+
        ];

        /// The key of a rule as an index into the strings that stay on the host: a log needs no text in flash.
        #[cfg(feature = "defmt")]
        pub(super) fn interned_key(number: u16) -> defmt::Str {
            let mut rule = 0_u16;
            $(
                if rule == number {
                    return defmt::intern!($key);
                }
                rule = rule.saturating_add(1);
            )+
            $(
                if rule == number {
                    return defmt::intern!($part_key);
                }
                rule = rule.saturating_add(1);
            )+
            defmt::intern!("no rule")
        }

        /// The part of a fault's limit that a rule is about, in the order of the list.
        #[derive(Clone, Copy)]
        pub(crate) enum OfLimit { $($part,)+ }

        impl Config {
            /// Checks every value and every relation between values for a controller of so many cells and thermistors, in this
            /// order, the rows of `faults.*` for each fault:
            ///
            /// | key | accepted | why |
            /// | --- | --- | --- |
            $(#[doc = concat!("| `", $key, "` | ", rules!(@words $accepts), $words, " | ", $why, " |")])+
            $(#[doc = concat!("| `", $part_key, "` | ", $part_words, " | ", $part_why, " |")])+
            ///
            /// # Errors
            ///
            /// The first rule that is broken, with what was found and what is accepted.
            pub fn check(self, cells: usize, thermistors: usize) -> Result<Checked, ConfigError> {
                match self.broken_rule(cells, thermistors) {
                    None => Ok(Checked::seal(self, None)),
                    Some(error) => Err(error),
                }
            }

            fn broken_rule(&self, cells: usize, thermistors: usize) -> Option<ConfigError> {
                let ($c, $cells, $thermistors) = (self, count(cells), count(thermistors));
                $($given)*
                let mut checks = Checks::NONE;
                $(rules!(@hold checks, Accepts::$accepts, $found, $bound $(, $value)?);)+
                self.faults.check(&self.pack, &mut checks);
                checks.first
            }
        }
    };
    (@beside) => { None };
    (@beside $beside:literal) => { Some($beside) };
    (@hold $checks:ident, $accepts:expr, $found:expr, $bound:expr) => { $checks.hold($accepts, $found, $bound) };
    (@hold $checks:ident, $accepts:expr, $found:expr, $bound:expr, $value:expr) => {
        $checks.hold_beside($accepts, $found, $bound, $value)
    };
    (@words Exactly) => { "" };
    (@words MoreThan) => { "more than " };
    (@words AtLeast) => { "at least " };
    (@words AtMost) => { "at most " };
    (@words LessThan) => { "less than " };
}
pub(super) use rules;
