//! # The cells of a frame
//!
//! What the rooms behind ask most often is worked out once: the lowest cell, the highest cell and the sum of the string, in
//! volts. No cell is doubted here: whether a reading can be true is seen only against its neighbours, the pack voltage and the
//! load, which the faults watch.
//!
//! One pass without places (a plain minimum, maximum and sum without branch or 64-bit step, which a compiler turns into vector
//! code), then the place of each extreme is looked for, up to where it stands. Carrying the places along would make every step of
//! the pass wait for a comparison.

use crate::each::Each;
use crate::units::Volts;

/// The cells of a frame with what one pass over them yields.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CellReadings<'f, const CELLS: usize> {
    /// Each cell.
    pub(crate) volts: &'f Each<Volts, CELLS>,
    /// The lowest, with its place; the first of several that are equal.
    pub(crate) lowest: (u8, Volts),
    /// The highest, with its place; the first of several that are equal.
    pub(crate) highest: (u8, Volts),
    /// All together; saturates.
    pub(crate) sum: Volts,
}

impl<'f, const CELLS: usize> CellReadings<'f, CELLS> {
    pub(super) fn of(volts: &'f Each<Volts, CELLS>) -> Self {
        let (mut lowest, mut highest) = (i32::MAX, i32::MIN);
        // The sum in two halves of 32 bits, which 255 cells cannot overflow: whole 256ths of the bits, and the rest.
        let (mut wholes, mut rests) = (0_i32, 0_i32);
        for cell in volts {
            let bits = cell.bits();
            lowest = lowest.min(bits);
            highest = highest.max(bits);
            wholes = wholes.wrapping_add(bits >> 8);
            rests = rests.wrapping_add(bits & 0xff);
        }
        Self {
            volts,
            lowest: (place_of(volts, lowest), Volts::from_bits(lowest)),
            highest: (place_of(volts, highest), Volts::from_bits(highest)),
            sum: Volts::from_wide((i64::from(wholes) << 8).saturating_add(i64::from(rests))),
        }
    }
}

/// The first place that holds this value.
fn place_of<const CELLS: usize>(volts: &Each<Volts, CELLS>, bits: i32) -> u8 {
    let mut place = 0_u8;
    for cell in volts {
        if cell.bits() == bits {
            break;
        }
        place = place.saturating_add(1);
    }
    place
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Worked by hand: 3.300 + 3.250 + 3.400 + 3.250 = 13.200 V.
    #[test]
    fn the_extremes_are_found_with_the_first_of_equals() {
        let volts = Each([3_300, 3_250, 3_400, 3_250].map(Volts::from_milli));
        let cells = CellReadings::of(&volts);
        assert_eq!(cells.lowest, (1, Volts::from_milli(3_250)));
        assert_eq!(cells.highest, (2, Volts::from_milli(3_400)));
        assert_eq!(cells.sum.milli(), 13_200);
    }

    proptest! {
        /// The same as the standard library finds, for any bits whatever.
        #[test]
        fn any_cells_have_extremes_and_a_sum(bits in proptest::array::uniform32(any::<i32>())) {
            let volts = Each(bits.map(Volts::from_bits));
            let cells = CellReadings::of(&volts);
            let place = |value: i32| bits.iter().position(|bits| *bits == value).unwrap();
            let (lowest, highest) = (*bits.iter().min().unwrap(), *bits.iter().max().unwrap());
            prop_assert_eq!(cells.lowest, (u8::try_from(place(lowest)).unwrap(), Volts::from_bits(lowest)));
            prop_assert_eq!(cells.highest, (u8::try_from(place(highest)).unwrap(), Volts::from_bits(highest)));
            let sum: i128 = bits.iter().map(|bits| i128::from(*bits)).sum();
            prop_assert_eq!(i128::from(cells.sum.bits()), sum.clamp(i32::MIN.into(), i32::MAX.into()));
        }
    }
}
