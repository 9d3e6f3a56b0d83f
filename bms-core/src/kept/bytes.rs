//! Values to bytes and back. Nothing here panics, and every value is as long as every other one of its type.

use super::SUM_BYTES;
use crate::config::digest::CRC;

/// Writes one value after the other, and sums them.
pub(crate) struct Writer<'a> {
    left: &'a mut [u8],
    sum: crc::Digest<'static, u32>,
}

impl<'a> Writer<'a> {
    /// Into room that is long enough: what does not fit is left out.
    pub(crate) fn new(room: &'a mut [u8]) -> Self {
        Self { left: room, sum: CRC.digest() }
    }

    pub(crate) fn put<const N: usize>(&mut self, bytes: [u8; N]) {
        self.sum.update(&bytes);
        self.append(bytes);
    }

    fn append<const N: usize>(&mut self, bytes: [u8; N]) {
        if let Some((to, left)) = core::mem::take(&mut self.left).split_first_chunk_mut::<N>() {
            *to = bytes;
            self.left = left;
        }
    }

    /// As many zeros: a value that is not there takes its place all the same.
    pub(crate) fn nothing(&mut self, bytes: usize) {
        (0..bytes).for_each(|_| self.put([0]));
    }

    /// Ends the record.
    pub(crate) fn finish(mut self) {
        let sum: [u8; SUM_BYTES] = self.sum.clone().finalize().to_le_bytes();
        self.append(sum);
    }
}

/// Reads one value after the other from a record whose length and sum were found right.
pub(crate) struct Reader<'a>(&'a [u8]);

impl<'a> Reader<'a> {
    pub(crate) const fn new(bytes: &'a [u8]) -> Self {
        Self(bytes)
    }

    /// The next bytes; zeros beyond the end.
    pub(crate) fn take<const N: usize>(&mut self) -> [u8; N] {
        let Some((taken, left)) = self.0.split_first_chunk::<N>() else { return [0; N] };
        self.0 = left;
        *taken
    }

    pub(crate) fn next<T: Laid>(&mut self) -> T {
        T::read(self)
    }
}

/// A value with its place in a record. What it reads is always one: a byte that means nothing reads as the gravest value. That is for the
/// type alone, since the sum and the configuration's checksum have been found right by then.
pub(crate) trait Laid: Sized {
    /// How many bytes it takes.
    const BYTES: usize;
    fn write(&self, to: &mut Writer<'_>);
    fn read(from: &mut Reader<'_>) -> Self;
}

macro_rules! integers {
    ($($kind:ty)+) => {
        $(impl Laid for $kind {
            const BYTES: usize = size_of::<$kind>();
            fn write(&self, to: &mut Writer<'_>) {
                to.put(self.to_le_bytes());
            }
            fn read(from: &mut Reader<'_>) -> Self {
                Self::from_le_bytes(from.take())
            }
        })+
    };
}

integers! { u8 u16 u32 u64 i32 i64 }

/// Lays a struct out by its fields, in this order.
macro_rules! laid {
    ($name:ident { $($field:ident: $kind:ty),+ $(,)? }) => {
        impl $crate::kept::Laid for $name {
            const BYTES: usize = 0_usize$(.saturating_add(<$kind as $crate::kept::Laid>::BYTES))+;
            fn write(&self, to: &mut $crate::kept::Writer<'_>) {
                $($crate::kept::Laid::write(&self.$field, to);)+
            }
            fn read(from: &mut $crate::kept::Reader<'_>) -> Self {
                // Fields are read in the order in which they are written here.
                Self { $($field: from.next(),)+ }
            }
        }
    };
}
pub(crate) use laid;

impl<T: Laid> Laid for Option<T> {
    const BYTES: usize = T::BYTES.saturating_add(1);
    fn write(&self, to: &mut Writer<'_>) {
        to.put([u8::from(self.is_some())]);
        match self {
            Some(value) => value.write(to),
            None => to.nothing(T::BYTES),
        }
    }
    fn read(from: &mut Reader<'_>) -> Self {
        let [there] = from.take();
        let value = from.next();
        (there != 0).then_some(value)
    }
}

impl<T: Laid> Laid for (u8, T) {
    const BYTES: usize = T::BYTES.saturating_add(1);
    fn write(&self, to: &mut Writer<'_>) {
        self.0.write(to);
        self.1.write(to);
    }
    fn read(from: &mut Reader<'_>) -> Self {
        let place = from.next();
        (place, from.next())
    }
}

/// How many, then room for as many as there can be.
impl<T: Laid, const MOST: usize> Laid for heapless::Vec<T, MOST> {
    const BYTES: usize = T::BYTES.saturating_mul(MOST).saturating_add(1);
    fn write(&self, to: &mut Writer<'_>) {
        to.put([u8::try_from(self.len()).unwrap_or(u8::MAX)]);
        self.iter().for_each(|value| value.write(to));
        (self.len()..MOST).for_each(|_| to.nothing(T::BYTES));
    }
    fn read(from: &mut Reader<'_>) -> Self {
        let [count] = from.take();
        let mut read = Self::new();
        for place in 0..MOST {
            let value = from.next();
            if place < usize::from(count) {
                // There is room for all of them.
                let _full = read.push(value);
            }
        }
        read
    }
}
