//! # From raw to believed
//!
//! Decides what of a frame may be believed. A part that is too old is not believed at all; a reading that cannot be true is
//! doubted or dropped. Nothing is judged as a fault here: later rooms see either a value that they may use or none.
//!
//! Time is taken from the frames, never from a count of ticks: `elapsed = at − at before`, in milliseconds of a counter that
//! wraps. Two times follow, because two questions are asked of it:
//!
//! - how much charge has moved? — the whole gap counts, seen or not: `elapsed`;
//! - for how long was the limit exceeded? — two bad readings around a gap of three seconds are not three seconds of fault, so that
//!   a frame credits a dwell with no more than the oldest age allowed: `credit`.
//!
//! A frame that is older than the one before it, or as old, counts for no time at all. The next one is measured from it: were it
//! measured from the newest ever seen, one counter that was set back would stop time for 25 days and no dwell would end.

mod cell;
mod current;
mod curve;
mod module;
mod thermistor;

pub(crate) use cell::CellReadings;
pub(crate) use current::CurrentReading;
pub(crate) use module::ModuleRange;
pub use thermistor::Doubt;
pub(crate) use thermistor::{SensorReading, Temperatures};

use crate::config::Checked;
use crate::each::Each;
use crate::frame::{Feedback, Frame, PackVoltages, Part};
use crate::units::{Amps, Instant, Millis, Ratio, Volts};
use crate::witness::{Evidence, Witness};
use current::CurrentChannel;
use thermistor::Thermistors;

/// What one frame is believed to say.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Believed<'f, const CELLS: usize, const THERMISTORS: usize> {
    /// All the time since the frame before: charge is counted over it.
    pub(crate) elapsed: Millis,
    /// The time that dwells are credited with: never more than the oldest age allowed.
    pub(crate) credit: Millis,
    /// The cells.
    pub(crate) cells: Option<CellReadings<'f, CELLS>>,
    /// The thermistors as measured.
    pub(crate) thermistors: Option<&'f Each<Ratio, THERMISTORS>>,
    /// The thermistors judged, and what follows for the modules.
    pub(crate) temperatures: Temperatures<THERMISTORS>,
    /// Pack current less the learnt offset, positive when it charges the pack.
    pub(crate) current: Option<CurrentReading>,
    /// The second channel.
    pub(crate) current_check: Option<Amps>,
    /// Voltages around the contactors.
    pub(crate) voltages: Option<PackVoltages>,
    /// Auxiliary supply.
    pub(crate) supply: Option<Volts>,
    /// Feedback contacts.
    pub(crate) feedback: Option<Feedback>,
    /// The part of the frame with the greatest age.
    pub(crate) oldest: (PartName, Millis),
}

/// The parts of a frame by name.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum PartName {
    /// Cell voltages.
    Cells,
    /// Thermistors.
    Thermistors,
    /// Main current channel.
    Current,
    /// Second current channel.
    CurrentCheck,
    /// Voltages around the contactors.
    Voltages,
    /// Auxiliary supply.
    Supply,
    /// Feedback contacts.
    Feedback,
}

/// What is kept from frame to frame to judge the next one.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Sense<const THERMISTORS: usize> {
    at: Option<Instant>,
    thermistors: Thermistors<THERMISTORS>,
    current: CurrentChannel,
}

impl<const THERMISTORS: usize> Sense<THERMISTORS> {
    pub(crate) const fn new() -> Self {
        Self { at: None, thermistors: Thermistors::NEW, current: CurrentChannel::NEW }
    }

    /// Judges one frame. `proven_open` says that the sequence has proven all contactors open: only then is the current's offset learnt.
    pub(crate) fn judge<'f, const CELLS: usize, W: Witness>(
        &mut self,
        frame: &'f Frame<CELLS, THERMISTORS>,
        config: &Checked,
        proven_open: bool,
        witness: &mut W,
    ) -> Believed<'f, CELLS, THERMISTORS> {
        let elapsed = self.elapsed(frame.at, witness);
        let credit = elapsed.min(config.pack.oldest_age);
        let mut ages = Ages::new(config.pack.oldest_age);
        let cells = ages.believe(&frame.cells, PartName::Cells, witness);
        let thermistors = ages.believe(&frame.thermistors, PartName::Thermistors, witness);
        let raw = ages.believe(&frame.current, PartName::Current, witness).copied();
        let current_check = ages.believe(&frame.current_check, PartName::CurrentCheck, witness).copied();
        let voltages = ages.believe(&frame.voltages, PartName::Voltages, witness).copied();
        let supply = ages.believe(&frame.supply, PartName::Supply, witness).copied();
        let feedback = ages.believe(&frame.feedback, PartName::Feedback, witness).copied();
        let current = self.current.judge(raw, (elapsed, credit), proven_open, config, witness);
        let since_load = self.current.since_load();
        Believed {
            elapsed,
            credit,
            cells: cells.map(CellReadings::of),
            thermistors,
            temperatures: self.thermistors.judge(thermistors, elapsed, since_load, config, witness),
            current,
            current_check,
            voltages,
            supply,
            feedback,
            oldest: ages.oldest,
        }
    }

    fn elapsed(&mut self, at: Instant, witness: &mut impl Witness) -> Millis {
        let Some(before) = self.at.replace(at) else { return Millis::ZERO };
        match at.since(before) {
            Some(elapsed) if elapsed > Millis::ZERO => elapsed,
            Some(_) | None => {
                witness.tell(|| Evidence::FrameNotNewer { at: at.0, before: before.0 });
                Millis::ZERO
            }
        }
    }
}

/// Believes the parts of a frame one by one and remembers the oldest.
struct Ages {
    allowed: Millis,
    oldest: (PartName, Millis),
}

impl Ages {
    const fn new(allowed: Millis) -> Self {
        Self { allowed, oldest: (PartName::Cells, Millis::ZERO) }
    }

    fn believe<'f, T>(
        &mut self,
        part: &'f Part<T>,
        name: PartName,
        witness: &mut impl Witness,
    ) -> Option<&'f T> {
        if part.age > self.oldest.1 {
            self.oldest = (name, part.age);
        }
        if part.age > self.allowed {
            witness.tell(|| Evidence::PartStale { part: name, age: part.age, oldest: self.allowed });
        }
        part.within(self.allowed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;
    use proptest::prelude::*;

    #[derive(Default)]
    struct Ear(Vec<Evidence>);

    impl Witness for Ear {
        fn saw(&mut self, evidence: Evidence) {
            self.0.push(evidence);
        }
    }

    fn crane() -> Checked {
        Config::crane().check(96, 16).expect("the default is valid")
    }

    /// A healthy frame at 25 °C: the thermistor equals its 10 kΩ.
    fn healthy(at: u32) -> Frame<96, 16> {
        let mut frame = Frame::empty(Instant(at));
        frame.cells = Part::fresh(Each::all(Volts::from_milli(3_300)));
        frame.thermistors = Part::fresh(Each::all(Ratio::percent(50)));
        frame.current = Part::fresh(Amps::from_milli(-1_000));
        frame.current_check = Part::fresh(Amps::from_milli(-1_100));
        frame.voltages =
            Part::fresh(PackVoltages { pack: Volts::from_milli(316_800), ..PackVoltages::default() });
        frame.supply = Part::fresh(Volts::from_milli(12_000));
        frame.feedback = Part::fresh(Feedback::default());
        frame
    }

    #[test]
    fn a_healthy_frame_is_believed_and_nothing_is_told() {
        let (config, mut ear, mut sense) = (crane(), Ear::default(), Sense::<16>::new());
        let frame = healthy(0);
        let believed = sense.judge(&frame, &config, false, &mut ear);
        let cells = believed.cells.expect("fresh");
        assert_eq!(cells.volts.at(95), Some(&cells.lowest.1));
        assert_eq!(cells.sum, Volts::from_bits(96 * Volts::from_milli(3_300).bits()));
        assert_eq!(believed.current.map(|current| current.amps.milli()), Some(-1_000));
        assert_eq!(believed.temperatures.hottest.map(|(_, celsius)| celsius.milli()), Some(25_000));
        assert_eq!(believed.feedback, Some(Feedback::default()));
        assert_eq!(ear.0, []);
    }

    #[test]
    fn a_gap_counts_whole_for_charge_and_capped_for_dwells() {
        let (config, mut sense) = (crane(), Sense::<16>::new());
        let mut times = |at: u32| {
            let frame = healthy(at);
            let believed = sense.judge(&frame, &config, false, &mut ());
            (believed.elapsed.0, believed.credit.0)
        };
        assert_eq!(times(u32::MAX - 4), (0, 0)); // the first frame has nothing before it
        assert_eq!(times(5), (10, 10)); // the counter has wrapped
        assert_eq!(times(3_005), (3_000, 30));
    }

    #[test]
    fn a_frame_that_is_not_newer_counts_for_no_time_and_is_told() {
        let (config, mut ear, mut sense) = (crane(), Ear::default(), Sense::<16>::new());
        for (at, elapsed) in [(100, 0), (100, 0), (90, 0), (110, 20)] {
            let frame = healthy(at);
            assert_eq!(sense.judge(&frame, &config, false, &mut ear).elapsed, Millis(elapsed));
        }
        assert_eq!(
            ear.0,
            [
                Evidence::FrameNotNewer { at: 100, before: 100 },
                Evidence::FrameNotNewer { at: 90, before: 100 }
            ]
        );
    }

    #[test]
    fn a_part_is_believed_up_to_the_oldest_age_and_no_longer() {
        let (config, mut ear, mut sense) = (crane(), Ear::default(), Sense::<16>::new());
        let mut frame = healthy(0);
        (frame.cells.age, frame.supply.age) = (Millis(30), Millis(31));
        let believed = sense.judge(&frame, &config, false, &mut ear);
        assert!(believed.cells.is_some() && believed.supply.is_none());
        assert_eq!(believed.oldest, (PartName::Supply, Millis(31)));
        let stale = Evidence::PartStale { part: PartName::Supply, age: Millis(31), oldest: Millis(30) };
        assert_eq!(ear.0, [stale]);
    }

    proptest! {
        /// Any frames whatever: no panic, the credit never exceeds the gap nor the oldest age, and a listener changes nothing.
        #[test]
        fn any_frame_is_answered(
            frames in proptest::collection::vec((any::<u32>(), any::<[i32; 4]>(), any::<[u32; 3]>(), any::<bool>()), 1..30),
        ) {
            let config = Config::trainer().check(16, 8).expect("the default is valid");
            let (mut heard, mut unheard) = (Sense::<8>::new(), Sense::<8>::new());
            for (at, [cell, ratio, amps, last], ages, open) in frames {
                let mut frame = Frame::<16, 8>::empty(Instant(at));
                let mut cells = Each::all(Volts::from_bits(cell));
                *cells.at_mut(15).unwrap() = Volts::from_bits(last);
                frame.cells = Part { value: cells, age: Millis(ages[0] % 64) };
                frame.thermistors = Part { value: Each::all(Ratio::from_bits(ratio)), age: Millis(ages[1] % 64) };
                frame.current = Part { value: Amps::from_bits(amps), age: Millis(ages[2]) };
                let believed = heard.judge(&frame, &config, open, &mut Ear::default());
                prop_assert!(believed.credit <= believed.elapsed && believed.credit <= config.pack.oldest_age);
                prop_assert_eq!(believed.cells.is_some(), ages[0] % 64 <= 30);
                let silent = unheard.judge(&frame, &config, open, &mut ());
                prop_assert_eq!(format!("{believed:?}"), format!("{silent:?}"));
            }
            prop_assert_eq!(heard, unheard);
        }
    }
}
