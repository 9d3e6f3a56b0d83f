//! Which wire leads where: two front ends, below and above the fuse.

use crate::config::Pack;
use crate::frame::Inputs;

/// The places of the sense wires. Wires are counted from the bottom, the lower front end's first. Cell `c` of front end `f` lies between
/// wires `c + f` and `c + f + 1`: no wire bridges the fuse.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Layout {
    /// Cells of the lower front end.
    below: u8,
    cells: u8,
}

impl Layout {
    pub(super) fn of(pack: &Pack) -> Self {
        Self { below: pack.cells_below_fuse, cells: u8::try_from(pack.cells()).unwrap_or(u8::MAX) }
    }

    /// How many wires there are.
    pub(super) const fn count(self) -> u8 {
        self.cells.saturating_add(if self.below < self.cells { 2 } else { 1 })
    }

    /// The wires below and above a cell.
    pub(super) const fn of_cell(self, cell: u8) -> [u8; 2] {
        let lower = cell.saturating_add(if cell < self.below { 0 } else { 1 });
        [lower, lower.saturating_add(1)]
    }

    /// The cells below and above a wire; an outermost one of a front end has one only.
    pub(super) fn beside(self, wire: u8) -> [Option<u8>; 2] {
        if wire <= self.below {
            [wire.checked_sub(1), (wire < self.below).then_some(wire)]
        } else {
            // The first wire above the fuse has the number of the last one below it, and one more.
            let above = wire.saturating_sub(1);
            let below = above.checked_sub(1).filter(|cell| *cell >= self.below);
            [below, (above < self.cells).then_some(above)]
        }
    }

    /// Which inputs it leads to, counted from the lowest wire of its front end.
    pub(super) const fn inputs(self, wire: u8) -> Inputs {
        let first = if wire <= self.below { 0 } else { self.below.saturating_add(1) };
        if wire.saturating_sub(first) & 1 == 1 { Inputs::Odd } else { Inputs::Even }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The trainer by hand: wires 0 to 8 and 9 to 17; cell 7 ends at wire 8, cell 8 begins at wire 9.
    #[test]
    fn no_wire_bridges_the_fuse() {
        let trainer = Layout::of(&Pack::trainer());
        assert_eq!(trainer.count(), 18);
        assert_eq!([0, 7, 8, 15].map(|cell| trainer.of_cell(cell)), [[0, 1], [7, 8], [9, 10], [16, 17]]);
        let beside = [
            (0, [None, Some(0)]),
            (3, [Some(2), Some(3)]),
            (8, [Some(7), None]),
            (9, [None, Some(8)]),
            (10, [Some(8), Some(9)]),
            (17, [Some(15), None]),
        ];
        for (wire, cells) in beside {
            assert_eq!(trainer.beside(wire), cells, "wire {wire}");
        }
        assert_eq!([0, 1, 8].map(|wire| trainer.inputs(wire)), [Inputs::Even, Inputs::Odd, Inputs::Even]);
        assert_eq!([9, 10, 17].map(|wire| trainer.inputs(wire)), [Inputs::Even, Inputs::Odd, Inputs::Even]);
        let crane = Layout::of(&Pack::crane());
        assert_eq!((crane.count(), crane.of_cell(48), crane.inputs(49)), (98, [49, 50], Inputs::Even));
    }

    /// What lies above a cell's lower wire and below its upper one is that cell, for any split.
    #[test]
    fn cells_and_wires_agree_both_ways() {
        for (below, cells) in [(1, 1), (1, 128), (64, 128), (127, 128), (128, 128)] {
            let layout = Layout { below, cells };
            for cell in 0..cells {
                let [lower, upper] = layout.of_cell(cell);
                assert_eq!((layout.beside(lower)[1], layout.beside(upper)[0]), (Some(cell), Some(cell)));
                assert!(upper < layout.count() && layout.inputs(lower) != layout.inputs(upper));
            }
        }
    }
}
