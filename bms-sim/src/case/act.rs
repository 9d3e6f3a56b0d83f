//! What the operator and the workshop do, and when.
//!
//! `close` and `open` hold until the next of them; `clear` and `replace` are asked for in one tick only, the first at or after their
//! time. A tick therefore answers for all acts since the tick before it, however long ago that was.

use bms_core::frame::{Asked, Clearance, Replaced, Wanted};
use serde::Serialize;
use std::time::Duration;

/// One act.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Act {
    /// When, in milliseconds from the start.
    pub at_ms: u64,
    /// What is asked for.
    pub ask: Ask,
}

/// What can be asked for.
#[derive(Clone, Copy, Debug, Eq, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ask {
    /// Close the contactors, from now on.
    Close,
    /// Open them, from now on.
    Open,
    /// Clear the fault memory, once.
    Clear(Clearance),
    /// Report that this was replaced, once.
    Replace(Replaced),
    /// Nobody asks for it: the auxiliary supply is gone for a while, from the end of this tick on.
    LosePower(PowerLoss),
}

/// A loss of the auxiliary supply: contactors, switches and fan drop by themselves, and the firmware begins anew when it is back. What is
/// asked for once meanwhile is not heard.
#[derive(Clone, Copy, Debug, Eq, PartialEq, Serialize)]
pub struct PowerLoss {
    /// How long it is gone, in milliseconds.
    pub for_ms: u64,
    /// What becomes of the record that is written as the supply falls.
    pub record: RecordFate,
    /// Whether a clock runs on meanwhile, so that the firmware is told how long it was off.
    pub clock: bool,
}

impl PowerLoss {
    /// When a case does not say otherwise.
    pub(crate) const OF_SUPPLY: Self = Self { for_ms: 0, record: RecordFate::Kept, clock: true };

    /// The shortest that a tick can be, and a day: what is accepted of somebody who steps, in seconds.
    pub(crate) const BY_HAND_SECONDS: (f64, f64) = (0.01, 86_400.0);

    /// One of so many seconds, while a clock runs on; nothing when that is not accepted.
    pub(crate) fn by_hand(seconds: f64, record: RecordFate) -> Option<Self> {
        let (least, most) = Self::BY_HAND_SECONDS;
        let accepted = (least..=most).contains(&seconds);
        let for_ms = || Duration::from_secs_f64(seconds).as_millis().try_into().unwrap_or(u64::MAX);
        accepted.then(|| Self { for_ms: for_ms(), record, clock: true })
    }
}

/// What becomes of the last record.
#[derive(Clone, Copy, Debug, Eq, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum RecordFate {
    /// It is written whole.
    Kept,
    /// The supply is gone before it is whole: the one before it is left.
    Torn,
    /// Nothing that was stored is left.
    Lost,
}

impl RecordFate {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Kept, Self::Torn, Self::Lost];

    /// Its name in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Kept => "kept",
            Self::Torn => "torn",
            Self::Lost => "lost",
        }
    }
}

impl Ask {
    /// Its name in files and for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Close => "close",
            Self::Open => "open",
            Self::Clear(_) => "clear",
            Self::Replace(_) => "replace",
            Self::LosePower(_) => "lose-power",
        }
    }

    /// Whether it lasts for one tick only.
    pub(super) const fn is_brief(self) -> bool {
        matches!(self, Self::Clear(_) | Self::Replace(_) | Self::LosePower(_))
    }
}

/// What is asked for in the tick at `at_ms`, the tick before it being `step_ms` earlier; `acts` in order of time.
pub(super) fn asked_at(acts: &[Act], at_ms: u64, step_ms: u64) -> Asked {
    let mut asked = Asked::NOTHING;
    let done = acts.partition_point(|act| act.at_ms <= at_ms);
    let latest = acts.iter().take(done).rev().find(|act| !act.ask.is_brief());
    if latest.is_some_and(|act| act.ask == Ask::Close) {
        asked.contactors = Wanted::Closed;
    }
    for act in acts.iter().take(done).rev().take_while(|act| act.at_ms + step_ms > at_ms) {
        match act.ask {
            Ask::Clear(by) => asked.clear = asked.clear.or(Some(by)),
            Ask::Replace(part) => asked.replaced = asked.replaced.or(Some(part)),
            Ask::Close | Ask::Open | Ask::LosePower(_) => {}
        }
    }
    asked
}

/// The loss of supply that begins with the tick at `at_ms`, the tick before it being `step_ms` earlier; `acts` in order of time.
pub(super) fn power_lost_at(acts: &[Act], at_ms: u64, step_ms: u64) -> Option<PowerLoss> {
    let done = acts.partition_point(|act| act.at_ms <= at_ms);
    let mut now = acts.iter().take(done).rev().take_while(|act| act.at_ms + step_ms > at_ms);
    now.find_map(|act| match act.ask {
        Ask::LosePower(loss) => Some(loss),
        Ask::Close | Ask::Open | Ask::Clear(_) | Ask::Replace(_) => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const ACTS: [Act; 4] = [
        Act { at_ms: 0, ask: Ask::Replace(Replaced::Cell(4)) },
        Act { at_ms: 1_000, ask: Ask::Close },
        Act { at_ms: 1_005, ask: Ask::Clear(Clearance::Service) },
        Act { at_ms: 2_000, ask: Ask::Open },
    ];

    #[test]
    fn closing_holds_and_a_brief_act_falls_into_exactly_one_tick() {
        for step_ms in [1, 3, 10, 400, 10_000] {
            let ticks: Vec<_> =
                (0..=20_000 / step_ms).map(|tick| asked_at(&ACTS, tick * step_ms, step_ms)).collect();
            assert_eq!(ticks.iter().filter(|asked| asked.clear == Some(Clearance::Service)).count(), 1);
            assert_eq!(ticks.iter().filter(|asked| asked.replaced == Some(Replaced::Cell(4))).count(), 1);
            assert_eq!(ticks[0].replaced, Some(Replaced::Cell(4)));
        }
        assert_eq!(asked_at(&ACTS, 999, 1).contactors, Wanted::Open);
        assert_eq!(asked_at(&ACTS, 1_999, 1).contactors, Wanted::Closed);
        assert_eq!(asked_at(&ACTS, 2_000, 1).contactors, Wanted::Open);
    }
}
