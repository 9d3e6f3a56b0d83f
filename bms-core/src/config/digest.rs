//! The checksum over a configuration: CRC-32/ISCSI (polynomial 0x1EDC6F41, reflected), whose catalogue check value over the
//! nine digits "123456789" is 0xE3069283.

use super::{Checked, SECTIONS};
use crate::units::{Amps, Celsius, Coulombs, Milliohms, Millis, Ohms, Ratio, Volts};
use crc::{CRC_32_ISCSI, Crc};

/// The table-driven sum.
pub(crate) static CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISCSI);

/// Takes numbers and makes one checksum of them.
pub(crate) struct Digest<'a>(crc::Digest<'a, u32>);

impl Digest<'_> {
    /// Takes one number, as eight bytes, lowest first.
    pub(crate) fn feed(&mut self, bits: i64) {
        self.0.update(&bits.to_le_bytes());
    }
}

/// A value of the configuration that the checksum covers.
pub(crate) trait Fed {
    /// Hands its bits to the digest.
    fn feed(&self, digest: &mut Digest<'_>);
}

macro_rules! fed {
    ($($kind:ty: $value:ident => $bits:expr;)+) => {
        $(impl Fed for $kind {
            fn feed(&self, digest: &mut Digest<'_>) {
                let $value = self;
                digest.feed($bits);
            }
        })+
    };
}

fed! {
    Volts: q => i64::from(q.bits());
    Amps: q => i64::from(q.bits());
    Celsius: q => i64::from(q.bits());
    Milliohms: q => i64::from(q.bits());
    Ratio: q => i64::from(q.bits());
    Ohms: q => i64::from(q.0);
    Coulombs: q => q.bits();
    Millis: q => i64::from(q.0);
    u8: q => i64::from(*q);
    u32: q => i64::from(*q);
    bool: q => i64::from(*q);
}

/// Declares a section of the configuration: a struct whose every field the checksum covers.
macro_rules! section {
    ($(#[$doc:meta])* $name:ident { $($(#[$field_doc:meta])* $field:ident: $kind:ty,)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Hash, PartialEq)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub struct $name { $($(#[$field_doc])* pub $field: $kind,)+ }

        impl crate::config::digest::Fed for $name {
            fn feed(&self, digest: &mut crate::config::digest::Digest<'_>) {
                $(crate::config::digest::Fed::feed(&self.$field, digest);)+
            }
        }
    };
}
pub(super) use section;

/// The checksum of what `feed` hands over.
pub(super) fn sum(feed: impl FnOnce(&mut Digest<'_>)) -> u32 {
    let mut digest = Digest(CRC.digest());
    feed(&mut digest);
    digest.0.finalize()
}

/// Watches the checksum, one section a tick.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(crate) struct Integrity {
    section: u8,
    broken: bool,
    broken_in_pass: bool,
}

impl Integrity {
    /// At the first section, nothing found.
    pub(crate) const START: Self = Self { section: 0, broken: false, broken_in_pass: false };

    /// Recomputes one section; a break stands until a whole pass finds none.
    pub(crate) fn advance(&mut self, config: &Checked) {
        if !config.intact(self.section) {
            self.broken_in_pass = true;
            self.broken = true;
        }
        self.section = self.section.saturating_add(1);
        if usize::from(self.section) >= SECTIONS {
            self.section = 0;
            self.broken = self.broken_in_pass;
            self.broken_in_pass = false;
        }
    }

    /// Whether every section had its sum.
    pub(crate) const fn holds(self) -> bool {
        !self.broken
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Catalogue of parametrised CRC algorithms, entry CRC-32/ISCSI.
    #[test]
    fn the_catalogue_check_value() {
        assert_eq!(CRC.checksum(b"123456789"), 0xE306_9283);
    }
}
