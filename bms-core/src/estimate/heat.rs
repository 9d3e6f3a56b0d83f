//! # Heat of fuse and cable
//!
//! Decides which part of their heat budget is used. A conductor that may carry the rated current for ever warms by what exceeds
//! it, and cools by what stays below:
//!
//! ```text
//! h ← max(0, h + (I² − I²rated) · dt)          in A²s
//! budget = (2² − 1) · I²rated · t              t at twice the rated current, which is 1C
//! ```
//!
//! With the usual ten seconds 1.5C lasts 3 / (2.25 − 1) · 10 s = 24 s, and 3C lasts 3.75 s.
//!
//! A current that was not seen never cools: the budget stands still while the reading is missing, and a gap between frames cools
//! only as far as a frame may be credited. It warms by all of it.

use crate::config::Pack;
use crate::kept::{Laid, Reader, Writer};
use crate::units::{Amps, Millis, Ratio};

/// The budget as a multiple of the rated current squared, in milliseconds.
fn budget(pack: &Pack) -> i64 {
    i64::from(pack.stands_twice.0).saturating_mul(2 * 2 - 1)
}

/// Used heat, as an exact sum in 2⁻¹⁶ A²ms.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Heat {
    sum: i64,
    used: Ratio,
}

impl Heat {
    pub(super) const COLD: Self = Self { sum: 0, used: Ratio::ZERO };

    /// Takes one reading over the time since the frame before; `credit` is what of it may count in favour.
    pub(super) fn advance(&mut self, amps: Option<Amps>, elapsed: Millis, credit: Millis, pack: &Pack) {
        let Some(amps) = amps else { return };
        let rated = squared(pack.one_c);
        let above = squared(amps).saturating_sub(rated);
        let time = if above > 0 { elapsed } else { credit };
        if self.sum == 0 && above <= 0 {
            return;
        }
        self.sum = self.sum.saturating_add(above.saturating_mul(i64::from(time.0))).max(0);
        self.used = used(self.sum, pack);
    }

    pub(super) fn keep(&self, to: &mut Writer<'_>) {
        self.sum.write(to);
    }

    /// As hot as the record says: in the seconds before anything closes again it cools by what the frames credit.
    pub(super) fn restore(&mut self, from: &mut Reader<'_>, pack: &Pack) {
        self.sum = from.next::<i64>().max(0);
        self.used = used(self.sum, pack);
    }

    /// Used part of the budget, 0 and up.
    pub(super) const fn used(&self) -> Ratio {
        self.used
    }
}

/// The part of the budget that is used by so much heat.
fn used(sum: i64, pack: &Pack) -> Ratio {
    // Both set down by 16 bits, so that the quotient in bits fits: an error below a millionth of a budget of 1 A.
    let budget = squared(pack.one_c).saturating_mul(budget(pack)) >> 16;
    sum.checked_div(budget).map_or(Ratio::MAX, Ratio::from_wide)
}

/// How long fuse and cable stand this current from cold: `budget / (I² − I²rated)`, for ever what they are rated for.
pub(crate) fn lasts(amps: Amps, pack: &Pack) -> Millis {
    let rated = squared(pack.one_c);
    let above = squared(amps).saturating_sub(rated);
    match rated.saturating_mul(budget(pack)).checked_div(above) {
        Some(time) if above > 0 => Millis(u32::try_from(time).unwrap_or(u32::MAX)),
        Some(_) | None => Millis::MAX,
    }
}

/// The square in 2⁻¹⁶ A², of the amount rounded up to 2⁻⁸ A: never less for more current.
const fn squared(amps: Amps) -> i64 {
    let amount = (amps.abs().bits() as i64).saturating_add(255) >> 8;
    amount.saturating_mul(amount)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const TICK: Millis = Millis(10);

    fn after(heat: &mut Heat, milliamps: i32, ticks: u32) -> i32 {
        for _ in 0..ticks {
            heat.advance(Some(Amps::from_milli(milliamps)), TICK, TICK, &Pack::crane());
        }
        heat.used().milli()
    }

    /// Worked by hand: (1.5² − 1) · 24 s = 30 s = (2² − 1) · 10 s, and (2.25 − 1) · 8 s = 10 s is a third.
    #[test]
    fn a_hoist_uses_a_third_and_24_seconds_of_it_use_all() {
        let mut heat = Heat::COLD;
        assert_eq!(after(&mut heat, -150_000, 800), 333);
        assert_eq!(after(&mut heat, -150_000, 1_600), 1_000);
    }

    /// Worked by hand: 5C is 24 times the rated square more, 30 s / 24 = 1.25 s; 3C lasts 30 s / 8 = 3.75 s.
    #[test]
    fn five_c_lasts_a_second_and_a_quarter() {
        let pack = Pack::crane();
        assert_eq!(lasts(Amps::from_milli(500_000), &pack), Millis(1_250));
        assert_eq!(lasts(Amps::from_milli(-300_000), &pack), Millis(3_750));
        assert_eq!(lasts(Amps::from_milli(100_000), &pack), Millis::MAX);
    }

    /// At rest it cools by I²rated: 30 s for all of it. Before that it is not cold.
    #[test]
    fn it_cools_in_half_a_minute_and_not_while_unseen() {
        let mut heat = Heat::COLD;
        after(&mut heat, 200_000, 1_000);
        heat.advance(None, Millis(60_000), TICK, &Pack::crane());
        heat.advance(Some(Amps::ZERO), Millis(60_000), TICK, &Pack::crane());
        assert_eq!(after(&mut heat, 0, 2_998), 0);
        assert!(heat.sum > 0);
        after(&mut heat, 0, 1);
        assert_eq!(heat, Heat::COLD);
    }

    proptest! {
        /// Never lower after more current.
        #[test]
        fn more_current_is_never_less_heat(
            ticks in proptest::collection::vec((0..400_000_i32, 0..200_000_i32, any::<bool>(), 0..500_u32), 1..200),
        ) {
            let (mut less, mut more) = (Heat::COLD, Heat::COLD);
            for (milli, extra, out, elapsed) in ticks {
                let sign = if out { -1 } else { 1 };
                let amps = |milli: i32| Some(Amps::from_milli(sign * milli));
                let (elapsed, credit) = (Millis(elapsed), Millis(elapsed.min(30)));
                less.advance(amps(milli), elapsed, credit, &Pack::crane());
                more.advance(amps(milli + extra), elapsed, credit, &Pack::crane());
                prop_assert!(more.sum >= less.sum && more.used() >= less.used());
            }
        }
    }
}
