//! One value for each cell, or for each thermistor.
//!
//! A plain array of a const-generic length can neither be stored by serde nor be made by `Default`; this wrapper can, and it
//! hands out iterators only. Nothing in the core indexes: an index can be wrong, an iterator cannot.

/// `N` values, one a place, in the order of the string.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Each<T, const N: usize>(pub [T; N]);

impl<T: Copy, const N: usize> Each<T, N> {
    /// The same value at every place. Places are counted in a byte: 1 to 255 of them.
    #[must_use]
    pub const fn all(value: T) -> Self {
        const { assert!(N > 0 && N <= 255, "1 to 255 places") };
        Self([value; N])
    }
}

impl<T, const N: usize> Each<T, N> {
    /// In order of place.
    pub fn iter(&self) -> core::slice::Iter<'_, T> {
        self.0.iter()
    }

    /// In order of place, to be changed.
    pub fn iter_mut(&mut self) -> core::slice::IterMut<'_, T> {
        self.0.iter_mut()
    }

    /// In order of place, each with its number. The count saturates: `(0..).zip(…)` could overflow for all that the optimiser sees.
    pub fn numbered(&self) -> impl Iterator<Item = (u8, &T)> {
        let mut next = 0_u8;
        self.0.iter().map(move |value| {
            let place = next;
            next = next.saturating_add(1);
            (place, value)
        })
    }

    /// The value at a place, if there is such a place.
    #[must_use]
    pub fn at(&self, place: u8) -> Option<&T> {
        self.0.get(usize::from(place))
    }

    /// The value at a place, to be changed.
    pub fn at_mut(&mut self, place: u8) -> Option<&mut T> {
        self.0.get_mut(usize::from(place))
    }
}

impl<T: Copy + Default, const N: usize> Default for Each<T, N> {
    fn default() -> Self {
        Self::all(T::default())
    }
}

impl<'a, T, const N: usize> IntoIterator for &'a Each<T, N> {
    type Item = &'a T;
    type IntoIter = core::slice::Iter<'a, T>;
    fn into_iter(self) -> Self::IntoIter {
        self.0.iter()
    }
}

impl<'a, T, const N: usize> IntoIterator for &'a mut Each<T, N> {
    type Item = &'a mut T;
    type IntoIter = core::slice::IterMut<'a, T>;
    fn into_iter(self) -> Self::IntoIter {
        self.0.iter_mut()
    }
}

#[cfg(feature = "serde")]
mod wire {
    use super::Each;
    use serde::de::{Error, SeqAccess, Visitor};
    use serde::ser::SerializeTuple;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    impl<T: Serialize, const N: usize> Serialize for Each<T, N> {
        fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
            let mut tuple = to.serialize_tuple(N)?;
            for value in self {
                tuple.serialize_element(value)?;
            }
            tuple.end()
        }
    }

    impl<'de, T: Deserialize<'de> + Copy + Default, const N: usize> Deserialize<'de> for Each<T, N> {
        fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
            struct Places<T, const N: usize>(core::marker::PhantomData<T>);
            impl<'de, T: Deserialize<'de> + Copy + Default, const N: usize> Visitor<'de> for Places<T, N> {
                type Value = Each<T, N>;
                fn expecting(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
                    write!(f, "{N} values, one a place")
                }
                fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
                    let mut places = Each::all(T::default());
                    for (filled, place) in places.iter_mut().enumerate() {
                        *place =
                            seq.next_element()?.ok_or_else(|| A::Error::invalid_length(filled, &self))?;
                    }
                    Ok(places)
                }
            }
            from.deserialize_tuple(N, Places(core::marker::PhantomData))
        }
    }
}
