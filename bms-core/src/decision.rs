//! What is answered in one tick.

use crate::fault::{Fault, FaultSet, Reaction};
use crate::frame::{Contactor, Inputs, ToChassis};
use crate::sequence::Step;
use crate::units::Amps;

/// One tick's answer: everything the hardware and the load must do until the next one.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Decision<const CELLS: usize> {
    /// Which coils are energised.
    pub coils: Coils,
    /// How much current may flow.
    pub limits: CurrentLimits,
    /// Which cells bleed.
    pub bleed: CellSet<CELLS>,
    /// Whether cooling runs.
    pub cooling: Cooling,
    /// Which inputs of the front end are pulled by its test current for the next frame, if any.
    pub pull: Option<Inputs>,
    /// Where the known resistor of the insulation measurement is switched.
    pub resistor: ToChassis,
    /// What people near the pack are warned of.
    pub warning: Option<Warning>,
    /// Where the contactor sequence stands.
    pub step: Step,
    /// The faults by stage, and the reaction that holds.
    pub faults: FaultSummary,
}

/// A coil's drive.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Coil {
    /// No current: the contactor falls open.
    #[default]
    Off,
    /// Energised: the contactor closes.
    On,
}

/// The drive of the three contactor coils.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Coils {
    /// Negative contactor.
    pub negative: Coil,
    /// Precharge contactor.
    pub precharge: Coil,
    /// Positive contactor.
    pub positive: Coil,
}

impl Coils {
    /// All three off.
    pub const NONE: Self = Self { negative: Coil::Off, precharge: Coil::Off, positive: Coil::Off };

    /// The drive of one contactor.
    #[must_use]
    pub const fn of(self, contactor: Contactor) -> Coil {
        match contactor {
            Contactor::Negative => self.negative,
            Contactor::Precharge => self.precharge,
            Contactor::Positive => self.positive,
        }
    }
}

/// How much current may flow, both as amounts (never negative).
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CurrentLimits {
    /// Into the pack.
    pub charge: Amps,
    /// Out of the pack.
    pub discharge: Amps,
}

impl CurrentLimits {
    /// No current either way.
    pub const NONE: Self = Self { charge: Amps::ZERO, discharge: Amps::ZERO };
}

/// Cooling fan or pump.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Cooling {
    /// Standing still.
    #[default]
    Off,
    /// Running.
    On,
}

/// What people near the pack are warned of, in rising order.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Warning {
    /// Something may be live that should not be, or a fault to the chassis: do not touch.
    Danger,
    /// A cell heats itself, or is about to: leave, opening the contactors does not stop it.
    Evacuate,
}

/// The faults by stage, and what they demand together.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FaultSummary {
    /// Faults whose dwell runs.
    pub suspect: FaultSet,
    /// Faults whose dwell was reached and whose condition has not ended.
    pub confirmed: FaultSet,
    /// Faults whose condition is gone and whose record stays; one that rises again is suspect as well until its dwell is over.
    pub latched: FaultSet,
    /// The strongest reaction that holds, with the fault that demands it.
    pub reaction: Option<(Reaction, Fault)>,
}

/// A set of cells, one bit a cell: up to 128.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CellSet<const CELLS: usize> {
    words: [u32; 4],
}

impl<const CELLS: usize> CellSet<CELLS> {
    /// No cell.
    pub const EMPTY: Self = {
        assert!(CELLS > 0 && CELLS <= 128, "1 to 128 cells");
        Self { words: [0; 4] }
    };

    pub(crate) const fn words(&self) -> &[u32; 4] {
        &self.words
    }

    /// The same from its words; places beyond the pack are left out.
    pub(crate) fn from_words(words: [u32; 4]) -> Self {
        let mut set = Self::EMPTY;
        let all = Self { words };
        all.iter().for_each(|cell| set.insert(cell));
        set
    }

    /// Whether the cell (counted from 0) is in the set.
    #[must_use]
    pub fn holds(&self, cell: u8) -> bool {
        self.words.get(usize::from(cell >> 5)).is_some_and(|word| word >> (cell & 31) & 1 == 1)
    }

    /// Takes the cell in; a place beyond the pack is ignored.
    pub fn insert(&mut self, cell: u8) {
        if usize::from(cell) < CELLS
            && let Some(word) = self.words.get_mut(usize::from(cell >> 5))
        {
            *word |= 1 << (cell & 31);
        }
    }

    /// Leaves the cell out.
    pub fn remove(&mut self, cell: u8) {
        if let Some(word) = self.words.get_mut(usize::from(cell >> 5)) {
            *word &= !(1 << (cell & 31));
        }
    }

    /// The cells that are in either set.
    #[must_use]
    pub fn or(&self, other: &Self) -> Self {
        self.with(other, |one, other| one | other)
    }

    /// The cells that are in both sets.
    #[must_use]
    pub fn and(&self, other: &Self) -> Self {
        self.with(other, |one, other| one & other)
    }

    /// The cells that are in this set and not in the other one.
    #[must_use]
    pub fn without(&self, other: &Self) -> Self {
        self.with(other, |one, other| one & !other)
    }

    fn with(&self, other: &Self, of: impl Fn(u32, u32) -> u32) -> Self {
        let mut words = self.words;
        words.iter_mut().zip(&other.words).for_each(|(one, other)| *one = of(*one, *other));
        Self { words }
    }

    /// How many cells are in the set.
    #[must_use]
    pub fn count(&self) -> u8 {
        self.words.iter().flat_map(|word| u8::try_from(word.count_ones())).fold(0, u8::saturating_add)
    }

    /// Whether no cell is in the set.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.words == [0; 4]
    }

    /// The cells of the set in order of place.
    pub fn iter(&self) -> impl Iterator<Item = u8> + '_ {
        (0..=127_u8).filter(|cell| self.holds(*cell))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_of_cells_keeps_what_it_took_and_nothing_beyond_the_pack() {
        let mut set = CellSet::<96>::EMPTY;
        for cell in [0, 31, 32, 95, 96, 127, 255] {
            set.insert(cell);
        }
        assert!(set.iter().eq([0, 31, 32, 95]));
        assert_eq!(set.count(), 4);
        set.remove(32);
        assert!(!set.holds(32) && set.holds(31));
        let mut other = CellSet::EMPTY;
        other.insert(31);
        other.insert(40);
        assert!(set.or(&other).iter().eq([0, 31, 40, 95]));
        assert!(set.and(&other).iter().eq([31]));
        assert!(set.without(&other).iter().eq([0, 95]));
    }
}
