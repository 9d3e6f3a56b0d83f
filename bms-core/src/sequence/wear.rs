//! # How worn are the contactors?
//!
//! Counts what each closing and each opening takes of a contactor's life, by the figures of its sheet. Contacts wear by the energy in their
//! gap, which nothing here measures; the current and the difference of voltage at that moment are measured, and stand for it.
//!
//! ```text
//! closing onto d = |pack − link| / pack:   1 / closings(d)
//! opening at I:                            (I / breaking limit)² / openings
//! ```
//! Both as parts of a life. `closings(d)` is the sheet's figure up to its first difference, falls to its second one by equal factors for
//! equal steps, and beyond that, where the sheet says nothing, is one. With 50 000 closings after a precharge of 90 % and 50 after one of
//! 80 % each further hundredth that the link lacks halves the life, since 1 000^(1/10) = 2.0.
//!
//! - Closing wears positive alone: negative and precharge close where no current can flow yet, or only what the resistor lets through.
//! - Opening wears every contactor that is switched off in the tick and carries a current from the switching limit on; beside a closed
//!   positive, precharge carries none.
//! - Of the two measures of the pack, its own meter and the sum of its cells, the one that is further from the link counts.
//! - What is not measured is not counted: a contactor that drops or bounces by itself, a current that nobody knows, and what rises
//!   between the command and the contact. The count is a lower bound.
//!
//! A contactor lasts longer than a day: the count outlives a loss of power (see [`kept`](crate::kept)). What a loss itself breaks, with coils that
//! drop by themselves, is not counted.

use super::measured::Measured;
use crate::config::{Checked, Config, ContactorLife};
use crate::decision::{Coil, Coils};
use crate::frame::Contactor;
use crate::units::{Amps, Ratio, Volts};

/// How much of its life each contactor has used; a whole life is [`Ratio::ONE`].
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Wear {
    negative: u32,
    precharge: u32,
    positive: u32,
}

/// A whole life: fine enough for a closing of 50 000 (5 369 steps), and sixteen of them fit.
const LIFE: u64 = 1 << 28;

impl Wear {
    /// Three new contactors.
    pub const NONE: Self = Self { negative: 0, precharge: 0, positive: 0 };

    /// As it was stored: what [`bits`](Self::bits) gave.
    #[must_use]
    pub const fn from_bits([negative, precharge, positive]: [u32; 3]) -> Self {
        Self { negative, precharge, positive }
    }

    /// For storing over a restart: negative, precharge, positive, in steps of 2⁻²⁸ of a life.
    #[must_use]
    pub const fn bits(self) -> [u32; 3] {
        [self.negative, self.precharge, self.positive]
    }

    /// The part of its life that a contactor has used, up to sixteen lives.
    #[must_use]
    pub fn of(self, contactor: Contactor) -> Ratio {
        let used = match contactor {
            Contactor::Negative => self.negative,
            Contactor::Precharge => self.precharge,
            Contactor::Positive => self.positive,
        };
        Ratio::from_wide(i64::from(used >> 12))
    }

    /// The most worn one.
    pub(crate) fn worst(self) -> (Contactor, Ratio) {
        let both =
            [Contactor::Negative, Contactor::Precharge].map(|contactor| (contactor, self.of(contactor)));
        let positive = (Contactor::Positive, self.of(Contactor::Positive));
        both.into_iter().fold(positive, |worst, other| if other.1 > worst.1 { other } else { worst })
    }

    /// A new contactor was fitted.
    pub(super) const fn forget(&mut self, contactor: Contactor) {
        *self.used(contactor) = 0;
    }

    /// Counts what switching from these coils to those takes, with what is measured in this tick.
    pub(super) fn count(&mut self, before: Coils, after: Coils, now: &Measured, config: &Checked) {
        let turns = |contactor, from, to| before.of(contactor) == from && after.of(contactor) == to;
        if turns(Contactor::Positive, Coil::Off, Coil::On)
            && let Some(both) = now.both()
        {
            let wear = [both.low, both.high].map(|seen| closing(seen.pack, seen.link, &config.life));
            self.add(Contactor::Positive, wear.into_iter().max().unwrap_or(0));
        }
        let loaded = |amps: &Amps| amps.abs() >= config.sequence.switching_limit;
        let Some(amps) = now.larger(config).filter(loaded) else { return };
        for contactor in [Contactor::Negative, Contactor::Precharge, Contactor::Positive] {
            let beside = contactor == Contactor::Precharge && before.positive == Coil::On;
            if turns(contactor, Coil::On, Coil::Off) && !beside {
                self.add(contactor, opening(amps, config));
            }
        }
    }

    fn add(&mut self, contactor: Contactor, wear: u64) {
        let used = self.used(contactor);
        *used = used.saturating_add(u32::try_from(wear).unwrap_or(u32::MAX));
    }

    const fn used(&mut self, contactor: Contactor) -> &mut u32 {
        match contactor {
            Contactor::Negative => &mut self.negative,
            Contactor::Precharge => &mut self.precharge,
            Contactor::Positive => &mut self.positive,
        }
    }
}

/// What a closing onto this difference takes of a life.
fn closing(pack: Volts, link: Volts, life: &ContactorLife) -> u64 {
    let difference = (pack - link).abs().fraction_of(pack).unwrap_or(Ratio::MAX);
    LIFE.div_ceil(closings(difference, life).max(1))
}

/// How many closings onto this difference a contactor stands. Half way between two differences lies the geometric mean of their
/// closings; six halvings are a sixth of a hundredth, and of the last part its worse end counts.
fn closings(difference: Ratio, life: &ContactorLife) -> u64 {
    let mut low = (life.slight_difference, u64::from(life.slight_closings));
    let mut high = (life.large_difference, u64::from(life.large_closings));
    if difference <= low.0 {
        return low.1;
    }
    if difference > high.0 {
        return 1;
    }
    for _ in 0..6 {
        let middle =
            (Ratio::from_bits(low.0.bits().midpoint(high.0.bits())), low.1.saturating_mul(high.1).isqrt());
        if difference > middle.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high.1
}

/// What an opening at this current takes of a life.
fn opening(amps: Amps, config: &Config) -> u64 {
    let share = amps.abs().fraction_of(config.sequence.breaking_limit).unwrap_or(Ratio::MAX);
    let share = u64::from(share.bits().unsigned_abs());
    // A square of 32 binary places, as one of 28.
    (share.saturating_mul(share) >> 4).checked_div(u64::from(config.life.openings)).unwrap_or(LIFE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// 50 000 closings onto 10 %, 50 onto 20 % (contactor sheet, REFERENCE). Between by hand: 50 000 · 1 000^(−(d − 10 %)/10 %), which is
    /// 1 581 at 15 %, 12 559 at 12 %, 199 at 18 %; the worse end of a sixth of a hundredth is up to 11 % less.
    #[test]
    fn the_making_life_is_the_sheets_and_falls_by_equal_factors() {
        let life = Config::crane().life;
        let at = |milli: i32| closings(Ratio::from_milli(milli), &life);
        assert_eq!([at(0), at(50), at(100), at(200), at(201), at(1_000)], [50_000, 50_000, 50_000, 50, 1, 1]);
        for (milli, by_hand) in [(120, 12_559), (150, 1_581), (180, 199)] {
            assert!((by_hand * 88 / 100..=by_hand).contains(&at(milli)), "{milli}: {}", at(milli));
        }
    }

    /// The whole difference at once, or nothing on the pack's side, is a life; so are 50 000 closings onto 5 %.
    #[test]
    fn closings_add_up_to_a_life() {
        let life = Config::crane().life;
        let volts = Volts::from_milli;
        assert_eq!(closing(volts(300_000), Volts::ZERO, &life), LIFE);
        assert_eq!(closing(Volts::ZERO, volts(300_000), &life), LIFE);
        let usual = closing(volts(300_000), volts(285_000), &life);
        assert!((LIFE..LIFE + LIFE / 1_000).contains(&(usual * 50_000)), "{usual}");
        assert_eq!(closing(volts(300_000), volts(315_000), &life), usual);
    }

    /// A tenth of a life at the limit of 2 000 A; 150 A are (0.075)² of that, or 1 778 openings a life.
    #[test]
    fn openings_count_by_the_square_of_their_current() {
        let config = Config::crane();
        let a_life_is = |milli: i32| LIFE / opening(Amps::from_milli(milli), &config).max(1);
        assert_eq!([a_life_is(2_000_000), a_life_is(-2_000_000)], [10, 10]);
        assert!((1_775..=1_780).contains(&a_life_is(-150_000)), "{}", a_life_is(-150_000));
        assert!((2..=3).contains(&a_life_is(4_000_000)), "{}", a_life_is(4_000_000));
    }

    proptest! {
        /// Onto more it is never fewer, and never more than a life.
        #[test]
        fn a_larger_difference_never_wears_less(a in 0..=70_000_i32, b in 0..=70_000_i32) {
            let life = Config::crane().life;
            let at = |bits: i32| closings(Ratio::from_bits(bits), &life);
            prop_assert!(at(a.max(b)) <= at(a.min(b)) && at(a) >= 1);
        }
    }
}
