//! Means of the poles' voltages over windows, and whether they have settled.

use crate::config::InsulationFacts;
use crate::frame::{Pole, PoleVoltages};
use crate::units::{Millis, Ratio, Volts};

/// The means of a window.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Means {
    /// The negative pole to the chassis.
    pub(super) negative: Volts,
    /// The positive pole to the chassis.
    pub(super) positive: Volts,
}

impl Means {
    pub(super) fn pack(self) -> Volts {
        self.negative + self.positive
    }

    pub(super) const fn of(self, pole: Pole) -> Volts {
        match pole {
            Pole::Negative => self.negative,
            Pole::Positive => self.positive,
        }
    }

    /// The pole with the larger voltage to the chassis; the negative one where they are equal (UN R100).
    pub(super) fn larger(self) -> Pole {
        if self.negative >= self.positive { Pole::Negative } else { Pole::Positive }
    }

    /// The negative pole's share of the pack: a move of the pack alone does not change it.
    fn share(self) -> Option<Ratio> {
        self.negative.fraction_of(self.pack())
    }
}

/// The window that is gathered, and the share of the negative pole in the one before.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Window {
    negative: i64,
    positive: i64,
    count: u32,
    lasted: Millis,
    before: Option<Ratio>,
}

impl Window {
    pub(super) const EMPTY: Self =
        Self { negative: 0, positive: 0, count: 0, lasted: Millis::ZERO, before: None };

    /// Takes one reading in; the means, once two windows in a row say that little is left to settle.
    pub(super) fn take(
        &mut self,
        poles: &PoleVoltages,
        elapsed: Millis,
        facts: &InsulationFacts,
    ) -> Option<Means> {
        self.negative = self.negative.saturating_add(poles.negative.bits().into());
        self.positive = self.positive.saturating_add(poles.positive.bits().into());
        self.count = self.count.saturating_add(1);
        self.lasted = self.lasted + elapsed;
        if self.lasted < facts.window {
            return None;
        }
        let mean = |sum: i64| sum.checked_div(self.count.into()).map(Volts::from_wide);
        let means = Means { negative: mean(self.negative)?, positive: mean(self.positive)? };
        let (share, before) = (means.share(), self.before);
        let settled = share.zip(before).is_some_and(|(share, before)| is_settled(share - before, facts));
        *self = Self { before: share, ..Self::EMPTY };
        settled.then_some(means)
    }
}

/// Whether less is left than `facts.settled`, by the move from one window to the next: `move · τ/w`.
fn is_settled(moved: Ratio, facts: &InsulationFacts) -> bool {
    let left = i64::from(moved.abs().bits()).saturating_mul(facts.slowest().0.into());
    left <= i64::from(facts.settled.bits()).saturating_mul(facts.window.0.into())
}
