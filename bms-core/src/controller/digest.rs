//! # A digest of the state
//!
//! One number for everything that a controller keeps from tick to tick, so that a controller on a target and one on a host can be held
//! against each other without carrying some 20 kB a tick from one to the other. Equal states give equal digests on every machine whose
//! bytes stand lowest first; unequal ones give the same digest once in 2³² times.
//!
//! ```text
//! digest = CRC-32/ISCSI over every field, in the order in which it is declared, each as its bytes, lowest first
//! ```
//!
//! Counts and variants, which are as wide as the machine's address, are widened to eight bytes.

use crate::config::digest::CRC;
use core::hash::{Hash, Hasher};

/// The digest of a state.
pub(super) fn of(state: &impl Hash) -> u32 {
    let mut bytes = Bytes(CRC.digest());
    state.hash(&mut bytes);
    bytes.0.finalize()
}

/// Takes a state as bytes that are the same on every machine.
struct Bytes(crc::Digest<'static, u32>);

/// Every integer, lowest byte first; what is as wide as an address becomes as wide as the widest.
macro_rules! lowest_first {
    ($($write:ident($kind:ty) as $wide:ty;)+) => {
        $(fn $write(&mut self, number: $kind) {
            // Widened, never cut: both sides of `as` are of the same sign.
            #[allow(clippy::cast_lossless, clippy::unnecessary_cast, reason = "one line for all widths")]
            self.write(&(number as $wide).to_le_bytes());
        })+
    };
}

impl Hasher for Bytes {
    fn write(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    fn finish(&self) -> u64 {
        u64::from(self.0.clone().finalize())
    }

    lowest_first! {
        write_u16(u16) as u16;
        write_u32(u32) as u32;
        write_u64(u64) as u64;
        write_usize(usize) as u64;
        write_i16(i16) as i16;
        write_i32(i32) as i32;
        write_i64(i64) as i64;
        write_isize(isize) as i64;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Catalogue of parametrised CRC algorithms, entry CRC-32/ISCSI: the nine digits, as two numbers and a byte, lowest byte first.
    #[test]
    fn the_bytes_of_numbers_stand_lowest_first() {
        let four = u32::from_le_bytes(*b"1234");
        assert_eq!(of(&(four, u32::from_le_bytes(*b"5678"), b'9')), 0xE306_9283);
    }

    /// Eight bytes each, whatever the machine: "12345678" as a count, then as a variant's number.
    #[test]
    fn counts_are_eight_bytes_wide() {
        let digits = u64::from_le_bytes(*b"12345678");
        let count = usize::try_from(digits).expect("a host of 64 bits");
        assert_eq!(of(&(count, b'9')), 0xE306_9283);
        let signed = isize::try_from(digits).expect("a host of 64 bits");
        assert_eq!(of(&(signed, b'9')), 0xE306_9283);
    }
}
