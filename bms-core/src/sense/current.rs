//! # The main current channel
//!
//! Decides what the pack current is and how far that may be off. Current is positive when it charges the pack.
//!
//! ```text
//! amps  = raw − learnt offset
//! error = (worst offset + worst gain error · |amps|) / (1 − worst gain error)
//! ```
//!
//! The divisor is there because a gain error is stated of the true current and only the measured one is known. The worst offset is
//! the stated one, or what is left of it once it is learnt.
//!
//! A current sensor that reads a little with nothing flowing moves the charge count for ever. Its offset may be learnt only while
//! every contactor is proven open, because then the true current is zero; while working, an offset and a small real current look
//! alike. It is learnt only when it is small: readings of 3 A (`sensing.flows`) and more flow through something, and a mean beyond the stated worst
//! offset is a broken sensor, not an offset. Averaging takes ten seconds, so that noise leaves a tenth of itself.
//!
//! A current that leaks past open contactors must not be learnt away. Nothing is learnt while one is suspected, and once an offset is
//! learnt a new one may differ from it by no more than what is stated to be left: a sensor does not move further, a leak does. Of a
//! leak that is there from the start and below the stated offset nothing can be known; a smaller stated offset shows it. A mean that has
//! moved further leaves both in doubt: from then on the error is the stated one again, until the workshop clears `current while open`
//! with the contactors proven open. It vouches that nothing flows, so the offset is learnt anew.
//!
//! A reading at the end of the sensor's range says only "at least this": its error is then the whole range.

use super::Standstill;
use crate::config::{Config, Sensing};
use crate::units::{Amps, Millis};
use crate::witness::{Evidence, Witness};

/// The main current channel.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CurrentReading {
    /// Less the learnt offset; positive when it charges the pack.
    pub(crate) amps: Amps,
    /// As measured.
    pub(crate) raw: Amps,
    /// Most of `amps` that may be an idle offset which is not learnt yet, as an amount; zero once it is learnt.
    pub(crate) unlearnt: Amps,
    /// Most by which `amps` may be off, either way; the whole range when the reading stands at its end.
    pub(crate) error: Amps,
    /// Whether the reading stands at an end of its range: the true current may be more.
    pub(crate) at_end: bool,
    /// Time for which its amount has not exceeded what is calm; a gap between frames counts only as far as dwells credit it.
    pub(crate) calm: Millis,
}

/// Whether a reading stands at an end of its channel's range: the true current may be more.
pub(crate) fn at_end(raw: Amps, range: Amps, sensing: &Sensing) -> bool {
    raw.abs() >= range.scaled(sensing.range_end)
}

/// What is kept of the channel from frame to frame.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct CurrentChannel {
    offset: Option<Amps>,
    /// The last mean lay further from the offset than an offset moves.
    moved: bool,
    sum_bits: i64,
    readings: u32,
    averaged: Millis,
    calm: Millis,
    unseen: Millis,
    since_load: Millis,
}

impl CurrentChannel {
    pub(super) const NEW: Self = Self {
        offset: None,
        moved: false,
        sum_bits: 0,
        readings: 0,
        averaged: Millis::ZERO,
        calm: Millis::ZERO,
        unseen: Millis::ZERO,
        since_load: Millis::MAX,
    };

    /// Takes one frame's reading, or that there is none. Of the time `elapsed` since the frame before, dwells are credited with
    /// `credit`.
    pub(super) fn judge(
        &mut self,
        raw: Option<Amps>,
        (elapsed, credit): (Millis, Millis),
        standstill: Standstill,
        config: &Config,
        witness: &mut impl Witness,
    ) -> Option<CurrentReading> {
        self.since_load = self.since_load + credit;
        // What nobody saw was no load where nothing can flow.
        let gap = if standstill.proven_open { Millis::ZERO } else { elapsed };
        let Some(raw) = raw else {
            self.unseen = self.unseen + gap;
            self.forget();
            return None;
        };
        if self.unseen + (gap - credit) > config.sensing.unseen {
            self.calm = Millis::ZERO;
        }
        self.unseen = Millis::ZERO;
        if standstill.vouched && standstill.proven_open {
            (self.offset, self.moved) = (None, false);
            self.forget();
        }
        self.learn(raw, credit, standstill, config, witness);
        let amps = raw - self.offset.unwrap_or(Amps::ZERO);
        self.calm = if amps.abs() > config.sensing.calm { Millis::ZERO } else { self.calm + credit };
        if amps.abs() > config.sequence.switching_limit {
            self.since_load = Millis::ZERO;
        }
        let range = config.pack.current_range;
        let at_end = at_end(raw, range, &config.sensing);
        let error = if at_end { range } else { self.error(amps, config) };
        let unlearnt = if self.offset.is_some() { Amps::ZERO } else { config.sensing.current_offset };
        Some(CurrentReading { amps, raw, unlearnt, error, at_end, calm: self.calm })
    }

    /// Time since a current beyond the switching limit was last seen; [`Millis::MAX`] when it never was.
    pub(super) const fn since_load(&self) -> Millis {
        self.since_load
    }

    /// Averages while the contactors are proven open and starts anew at every reading that flows through something, or may do so.
    fn learn(
        &mut self,
        raw: Amps,
        credit: Millis,
        standstill: Standstill,
        config: &Config,
        witness: &mut impl Witness,
    ) {
        if !standstill.proven_open || standstill.flows || raw.abs() >= config.sensing.flows {
            self.forget();
            return;
        }
        self.sum_bits = self.sum_bits.saturating_add(i64::from(raw.bits()));
        self.readings = self.readings.saturating_add(1);
        self.averaged = self.averaged + credit;
        if self.averaged < config.sensing.learning {
            return;
        }
        let mean = Amps::from_wide(self.sum_bits.checked_div(i64::from(self.readings)).unwrap_or(0));
        let over = self.averaged;
        self.forget();
        let moved = self.offset.map_or(Amps::ZERO, |before| (mean - before).abs());
        self.moved = moved > config.sensing.current_offset_learnt;
        if mean.abs() <= config.sensing.current_offset && !self.moved {
            self.offset = Some(mean);
            witness.tell(|| Evidence::OffsetLearnt { amps: mean, over });
        }
    }

    fn forget(&mut self) {
        (self.sum_bits, self.readings, self.averaged) = (0, 0, Millis::ZERO);
    }

    fn error(&self, amps: Amps, config: &Config) -> Amps {
        let offset = match self.offset {
            Some(_) if !self.moved => config.sensing.current_offset_learnt,
            Some(_) | None => config.sensing.current_offset,
        };
        let gain = config.sensing.current_gain;
        let measured = offset + amps.abs().scaled(gain);
        // 1/(1 − g) is below 1 + 2g while g is below a half; products round down, hence one step each.
        measured + measured.scaled(gain + gain) + Amps::from_bits(2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const TICK: Millis = Millis(10);

    fn amps(milli: i32) -> Amps {
        Amps::from_milli(milli)
    }

    fn feed(channel: &mut CurrentChannel, milli: i32, ticks: u32, open: bool) -> CurrentReading {
        feed_at(channel, milli, ticks, Standstill { proven_open: open, ..Standstill::default() })
    }

    fn feed_at(
        channel: &mut CurrentChannel,
        milli: i32,
        ticks: u32,
        standstill: Standstill,
    ) -> CurrentReading {
        let config = Config::crane();
        let mut last = None;
        for _ in 0..ticks {
            last = channel.judge(Some(amps(milli)), (TICK, TICK), standstill, &config, &mut ());
        }
        last.expect("at least one tick")
    }

    #[test]
    fn the_offset_is_learnt_in_ten_seconds_with_the_contactors_open() {
        let mut channel = CurrentChannel::NEW;
        let before = feed(&mut channel, 1_500, 999, true);
        assert_eq!((before.amps, before.error >= amps(2_000)), (amps(1_500), true));
        assert_eq!(before.unlearnt.milli(), 2_000);
        let after = feed(&mut channel, 1_500, 1, true);
        assert_eq!((after.amps, after.raw, after.unlearnt), (Amps::ZERO, amps(1_500), Amps::ZERO));
        // 0.1 % of 100 A is left when learnt; by 1 + 2 · 0.5 % for the gain it is 101 mA, and 0.7 % more for the steps of a ratio.
        assert!((101..=102).contains(&after.error.milli()), "{:?}", after.error);
    }

    #[test]
    fn nothing_is_learnt_while_closed_nor_from_a_current_that_flows_nor_beyond_the_stated_offset() {
        for (milli, open) in [(1_500, false), (3_000, true), (-3_500, true), (2_500, true)] {
            let mut channel = CurrentChannel::NEW;
            let after = feed(&mut channel, milli, 3_000, open);
            assert_eq!(after.amps, amps(milli), "{milli} mA, open: {open}");
        }
    }

    /// The crane states that 0.1 A is left of the offset once it is learnt: a sensor that has moved by more is no sensor that moved.
    #[test]
    fn once_learnt_only_a_small_change_is_learnt() {
        let mut channel = CurrentChannel::NEW;
        feed(&mut channel, 500, 1_000, true);
        assert_eq!(feed(&mut channel, 1_300, 3_000, true).amps, amps(800));
        assert_eq!(feed(&mut channel, 580, 3_000, true).amps, Amps::ZERO);
    }

    #[test]
    fn nothing_is_learnt_while_current_is_seen_to_flow() {
        let mut channel = CurrentChannel::NEW;
        feed(&mut channel, 500, 900, true);
        let flows = Standstill { proven_open: true, flows: true, vouched: false };
        assert_eq!(feed_at(&mut channel, 500, 3_000, flows).amps, amps(500));
        assert_eq!(feed(&mut channel, 500, 999, true).amps, amps(500));
        assert_eq!(feed(&mut channel, 500, 1, true).amps, Amps::ZERO);
    }

    /// A leak of 1.5 A was there from the start and was learnt. Mended, the sensor reads 0 A: the old offset is in doubt until the workshop
    /// vouches that nothing flows, and is learnt anew then. Nobody can vouch for contactors that are not proven open.
    #[test]
    fn an_offset_that_was_a_leak_is_doubted_and_forgotten_when_the_workshop_vouches() {
        let mut channel = CurrentChannel::NEW;
        feed(&mut channel, 1_500, 1_000, true);
        let doubted = feed(&mut channel, 0, 1_000, true);
        assert_eq!((doubted.amps, doubted.error >= amps(2_000)), (amps(-1_500), true));
        let vouched = Standstill { proven_open: false, flows: true, vouched: true };
        assert_eq!(feed_at(&mut channel, 0, 1, vouched).amps, amps(-1_500));
        let vouched = Standstill { proven_open: true, flows: true, vouched: true };
        let anew = feed_at(&mut channel, 0, 1, vouched);
        assert_eq!((anew.amps, anew.unlearnt.milli()), (Amps::ZERO, 2_000));
        let learnt = feed(&mut channel, 0, 1_000, true);
        assert_eq!((learnt.amps, learnt.unlearnt), (Amps::ZERO, Amps::ZERO));
    }

    #[test]
    fn one_reading_that_flows_starts_the_averaging_anew() {
        let mut channel = CurrentChannel::NEW;
        feed(&mut channel, 500, 900, true);
        feed(&mut channel, 4_000, 1, true);
        assert_eq!(feed(&mut channel, 500, 999, true).amps, amps(500));
        assert_eq!(feed(&mut channel, 500, 1, true).amps, Amps::ZERO);
    }

    #[test]
    fn calm_and_since_load_run_from_the_last_current() {
        let mut channel = CurrentChannel::NEW;
        feed(&mut channel, 0, 10, false);
        assert_eq!(channel.since_load(), Millis::MAX);
        let hoist = feed(&mut channel, -150_000, 10, false);
        assert_eq!((hoist.calm, channel.since_load()), (Millis::ZERO, Millis::ZERO));
        let rest = feed(&mut channel, 4_000, 20, false);
        assert_eq!((rest.calm, channel.since_load()), (Millis(200), Millis(200)));
        let travel = feed(&mut channel, -6_000, 1, false);
        assert_eq!((travel.calm, channel.since_load()), (Millis::ZERO, Millis(210)));
    }

    #[test]
    fn a_short_loss_keeps_the_calm_and_a_long_one_ends_it() {
        let config = Config::crane();
        let mut channel = CurrentChannel::NEW;
        let mut lose = |millis: u32| {
            feed(&mut channel, 0, 100, false);
            channel.judge(None, (Millis(millis), Millis(30)), Standstill::default(), &config, &mut ());
            feed(&mut channel, 0, 1, false).calm
        };
        assert_eq!(lose(40), Millis(1_010));
        assert_eq!(lose(3_000), Millis(10));
    }

    #[test]
    fn a_reading_at_the_end_of_the_range_may_be_off_by_all_of_it() {
        let mut channel = CurrentChannel::NEW;
        let end = feed(&mut channel, -599_900, 1, false);
        assert_eq!((end.at_end, end.error), (true, amps(600_000)));
        assert!(!feed(&mut channel, -599_000, 1, false).at_end);
    }

    proptest! {
        /// While the sensor keeps its stated errors, the true current lies within `amps` ± `error`, learnt or not.
        #[test]
        fn the_true_current_is_never_further_off_than_stated(
            offset in -2_000..=2_000_i32, gain in -5_000..=5_000_i64, truth in -500_000..=500_000_i64, open_ticks in 0..=1_100_u32,
        ) {
            let mut channel = CurrentChannel::NEW;
            if open_ticks > 0 {
                feed(&mut channel, offset, open_ticks, true);
            }
            let raw = truth + truth * gain / 1_000_000 + i64::from(offset);
            let seen = feed(&mut channel, i32::try_from(raw).unwrap(), 1, false);
            let off = (i64::from(seen.amps.milli()) - truth).abs();
            prop_assert!(off <= i64::from(seen.error.milli()) + 2, "{} mA off, {:?}", off, seen);
        }

        /// Any bits at any pace: no panic, and the error is never negative.
        #[test]
        fn any_reading_is_answered(readings in proptest::collection::vec((any::<Option<i32>>(), any::<u32>(), any::<bool>()), 1..50)) {
            let config = Config::trainer();
            let mut channel = CurrentChannel::NEW;
            for (bits, elapsed, open) in readings {
                let standstill = Standstill { proven_open: open, flows: elapsed % 2 == 0, vouched: false };
                let seen = channel.judge(bits.map(Amps::from_bits), (Millis(elapsed), Millis(elapsed.min(30))), standstill, &config, &mut ());
                prop_assert_eq!(seen.is_some(), bits.is_some());
                prop_assert!(seen.is_none_or(|seen| seen.error >= Amps::ZERO));
            }
        }
    }
}
