//! # What the charge moved before says about hysteresis
//!
//! Decides on which side of the open-circuit voltage the cells are held at rest, and which cells cannot be compared with the others
//! for it. Hysteresis follows the charge that goes through a cell, slowly enough to be bounded by it and whatever the current was:
//!
//! ```text
//! dh/dq = γ · (M · sign I − h)      h between −M and M,  one part in γ ≈ 50 of the capacity
//! ```
//!
//! (one-state model, G. L. Plett, J. Power Sources 134 (2004) 262, from memory). After a twentieth of the capacity one way,
//! `h ≥ M · (1 − 2 e^(−2.5)) = 0.84 M` on that side, wherever it was before. Half a hundredth of it back, twice, leaves it there:
//! `(1 + 0.84) · e^(−0.5) − 1 = 0.11`. So little is tolerated, counted once for every twentieth forth; with more, or with any current
//! above a twentieth of C the other way, which relaxation follows as well, nothing is said.
//!
//! Every current counts, a small one for long as well as a large one, and each with its error against the claim: what goes forth at
//! the least, what may go back at the most. So a direction that the sensor cannot tell is no direction, and what flowed unseen
//! may have been anything.

use super::Interval;
use crate::config::Config;
use crate::decision::CellSet;
use crate::units::{Amps, Coulombs, Ratio};

/// On which side of its open-circuit voltage a cell is held.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum Side {
    /// After a charge.
    Above,
    /// After a discharge.
    Below,
}

/// What has gone through the cells.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct History<const CELLS: usize> {
    /// Cells whose hysteresis need not be that of the others, and the least the pack has moved since they became so.
    own: CellSet<CELLS>,
    throughput: Coulombs,
    charged: OneWay,
    discharged: OneWay,
}

/// Charge that goes one way.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct OneWay {
    /// The least that went this way, up to `charge.one_way`.
    forth: Coulombs,
    /// The most that went the other way meanwhile.
    back: Coulombs,
    /// Whether it has been enough.
    holds: bool,
}

impl OneWay {
    const UNKNOWN: Self = Self { forth: Coulombs::ZERO, back: Coulombs::ZERO, holds: false };

    /// Takes what went this way at the least; less than nothing may have gone back.
    fn take(&mut self, least: Coulombs, config: &Config) {
        let part = |of: Ratio| config.pack.capacity.scaled(of);
        self.forth = self.forth + least.max(Coulombs::ZERO);
        self.back = self.back + (-least).max(Coulombs::ZERO);
        if self.back > part(config.charge.one_way_back) {
            *self = Self::UNKNOWN;
        } else if self.forth >= part(config.charge.one_way) {
            *self = Self { holds: true, ..Self::UNKNOWN };
        }
    }
}

impl<const CELLS: usize> History<CELLS> {
    /// No history is known.
    pub(super) fn new() -> Self {
        let mut own = CellSet::EMPTY;
        (0..=127_u8).for_each(|cell| own.insert(cell));
        Self { own, throughput: Coulombs::ZERO, charged: OneWay::UNKNOWN, discharged: OneWay::UNKNOWN }
    }

    /// A new cell, of an unknown past.
    pub(super) fn replace(&mut self, cell: u8) {
        self.own.insert(cell);
        self.throughput = Coulombs::ZERO;
    }

    /// Whether this cell's hysteresis need not be that of the others.
    pub(super) fn is_own(&self, cell: u8) -> bool {
        self.own.holds(cell)
    }

    /// On which side of the open-circuit voltage all cells are held; `None` while any cell has a history of its own, or too little
    /// has moved one way.
    pub(super) fn held(&self) -> Option<Side> {
        match (self.own.is_empty(), self.charged.holds, self.discharged.holds) {
            (true, true, false) => Some(Side::Above),
            (true, false, true) => Some(Side::Below),
            (false, _, _) | (true, false, false) | (true, true, true) => None,
        }
    }

    /// Takes the current that is read, and what went into the string since the frame before: at the least and at the most.
    pub(super) fn follow(
        &mut self,
        bleeding: &CellSet<CELLS>,
        amps: Option<Amps>,
        moved: Interval,
        config: &Config,
    ) {
        if bleeding.is_empty() {
            self.charged.take(moved.low, config);
            self.discharged.take(-moved.high, config);
            self.share(moved.low.max(-moved.high).max(Coulombs::ZERO), config);
        } else {
            bleeding.iter().for_each(|cell| self.own.insert(cell));
            self.throughput = Coulombs::ZERO;
            (self.charged, self.discharged) = (OneWay::UNKNOWN, OneWay::UNKNOWN);
        }
        let (amps, calm) = (amps.unwrap_or(Amps::ZERO), config.sensing.calm);
        if amps > calm {
            self.discharged = OneWay::UNKNOWN;
        } else if amps < -calm {
            self.charged = OneWay::UNKNOWN;
        }
    }

    /// So much, at the least, has gone through every cell, either way.
    fn share(&mut self, moved: Coulombs, config: &Config) {
        if self.own.is_empty() {
            return;
        }
        self.throughput = self.throughput + moved;
        if self.throughput >= config.pack.capacity.scaled(config.charge.shared) {
            self.own = CellSet::EMPTY;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Millis;
    use proptest::{collection::vec, prelude::*};

    const CELLS: usize = 16;

    /// A history that is fed by currents in mA, each off by so many mA at the most, for so many seconds. The pack holds 100 Ah.
    struct Bench {
        config: Config,
        history: History<CELLS>,
    }

    impl Bench {
        fn new() -> Self {
            Self { config: Config::crane(), history: History::new() }
        }

        fn run(&mut self, milliamps: i32, error: i32, seconds: u32) -> Option<Side> {
            let over = |milli| Amps::from_milli(milli).over(Millis(1_000));
            let moved = Interval { low: over(milliamps - error), high: over(milliamps + error) };
            for _ in 0..seconds {
                let amps = Some(Amps::from_milli(milliamps));
                self.history.follow(&CellSet::EMPTY, amps, moved, &self.config);
            }
            self.history.held()
        }
    }

    /// At 50 A 10 Ah are 720 s, until then the cells have pasts of their own; 5 Ah are 360 s.
    #[test]
    fn what_moved_last_one_way_holds_the_cells_on_its_side() {
        let mut bench = Bench::new();
        assert_eq!(bench.run(-50_000, 0, 719), None);
        assert_eq!(bench.run(-50_000, 0, 2), Some(Side::Below));
        assert_eq!(bench.run(50_000, 0, 1), None);
        assert_eq!(bench.run(50_000, 0, 358), None);
        assert_eq!(bench.run(50_000, 0, 3), Some(Side::Above));
    }

    /// 4 A less an error of 2 A are 2 A at the least: 5 Ah take 9000 s. They are 6 A at the most: half an ampere-hour of it back takes 300 s.
    #[test]
    fn a_small_current_counts_with_its_error_against_it() {
        let mut bench = Bench::new();
        bench.run(-50_000, 0, 725);
        assert_eq!(bench.run(4_000, 2_000, 299), Some(Side::Below));
        assert_eq!(bench.run(4_000, 2_000, 3), None);
        assert_eq!(bench.run(4_000, 2_000, 8_690), None);
        assert_eq!(bench.run(4_000, 2_000, 15), Some(Side::Above));
    }

    /// What the sensor cannot tell from nothing for 5 h at 0.1 A, or nobody saw for 3 s in a range of 600 A, is half an ampere-hour.
    #[test]
    fn what_cannot_be_told_may_have_gone_back() {
        for (error, seconds) in [(100, 18_000), (600_000, 3)] {
            let mut bench = Bench::new();
            bench.run(50_000, 0, 725);
            assert_eq!(bench.run(0, error, seconds), Some(Side::Above), "{error} mA");
            assert_eq!(bench.run(0, error, seconds / 100 + 1), None, "{error} mA");
        }
    }

    #[test]
    fn a_bled_or_new_cell_has_a_past_of_its_own_until_a_tenth_went_through() {
        let mut bench = Bench::new();
        assert_eq!(bench.run(50_000, 0, 725), Some(Side::Above));
        let mut bleeding = CellSet::EMPTY;
        bleeding.insert(3);
        bench.history.follow(&bleeding, None, Interval::default(), &bench.config);
        assert!(bench.history.is_own(3) && !bench.history.is_own(4));
        assert_eq!(bench.run(50_000, 0, 719), None);
        assert_eq!(bench.run(50_000, 0, 2), Some(Side::Above));
        bench.history.replace(4);
        assert!(bench.history.is_own(4));
        assert_eq!(bench.run(50_000, 0, 719), None);
    }

    proptest! {
        /// Against the equation above, summed second by second in millionths of a millionth of `M`: a side that is claimed is the right
        /// one, from any beginning and whatever the sensor's error is within its bound.
        #[test]
        fn the_claimed_side_is_the_true_one(
            begins in -100..=100_i128,
            error in prop_oneof![Just(0), Just(100), Just(2_000)],
            stretches in vec((-60_000..60_000_i32, 1..40_u32, -100..=100_i32, prop::bool::weighted(0.7)), 1..200),
        ) {
            const M: i128 = 1_000_000_000_000;
            let mut bench = Bench::new();
            let mut hysteresis = M / 100 * begins;
            for (milliamps, minutes, off, small) in stretches {
                let shown = if small { milliamps / 15 } else { milliamps };
                let seconds = if small { minutes * 60 } else { minutes * 10 };
                let truth = i128::from(shown + error * off / 100);
                let side = bench.run(shown, error, seconds);
                for _ in 0..seconds {
                    // γ = 50; 100 Ah are 360 000 000 mA·s.
                    hysteresis += (M * truth.signum() - hysteresis) * 50 * truth.abs() / 360_000_000;
                }
                match side {
                    Some(Side::Above) => prop_assert!(hysteresis >= 0, "{hysteresis}"),
                    Some(Side::Below) => prop_assert!(hysteresis <= 0, "{hysteresis}"),
                    None => {}
                }
            }
        }
    }
}
