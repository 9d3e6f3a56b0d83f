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
//! The second has a price. Where frames come further apart than that, each of them fresh in all its parts, every dwell lasts longer
//! than it says: at a frame every 100 ms, of which 30 ms count, a protection of 300 ms would take a second. So a gap counts as an
//! age: in a frame that comes later than the oldest age after the one before it, what was measured before is stale, and that is found
//! and told.
//!
//! ```text
//! unseen = max(age of the oldest part, gap before the frame)
//! ```
//!
//! One gap is no danger: while the cross voltages prove that every contactor is open. Nothing flows then and no reaction could open
//! anything, so that a controller may sleep between frames; its dwells last the longer for it. It ends in the tick that energises a
//! coil, and without both cross voltages there is no such proof: then frames must come in time at rest as well.
//!
//! A frame that is not newer than the one before it brings no time of its own. It is answered all the same, a tick after the one
//! before, and that tick counts:
//!
//! - the counter stands: the sender hangs and its last frame comes again and again. Every part grows older by a tick each time, so
//!   that nothing of it is believed for long, `measurements stale` is found, and whatever waits (grace, deadline, proof) still
//!   ends. When the counter moves again, what was counted meanwhile is taken off the gap that it shows;
//! - the counter was set back: the sender started anew. The next frame is measured from this one: were it measured from the newest
//!   ever seen, time would stop for 25 days.

mod cell;
mod clock;
mod contacts;
mod current;
mod curve;
mod module;
mod thermistor;

pub(crate) use cell::CellReadings;
pub(crate) use contacts::Counted;
pub(crate) use current::{CurrentReading, at_end};
pub(crate) use curve::{COLDEST, HOTTEST, celsius, table_ends};
pub(crate) use module::ModuleRange;
pub use thermistor::Doubt;
pub(crate) use thermistor::{SensorReading, Temperatures};

use crate::config::Checked;
use crate::decision::CellSet;
use crate::each::Each;
use crate::frame::{Contacts, Feedback, Frame, PackVoltages, Part, PoleVoltages, Pulled};
use crate::units::{Amps, Millis, Ratio, Volts};
use crate::witness::{Evidence, Witness};
use clock::Clock;
use contacts::Counters;
use current::CurrentChannel;
use thermistor::Thermistors;

/// What one frame is believed to say.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Believed<'f, const CELLS: usize, const THERMISTORS: usize> {
    /// All the time since the tick before: charge is counted over it.
    pub(crate) elapsed: Millis,
    /// Whether the frame before came once more: its readings tell nothing of the time since.
    pub(crate) repeated: bool,
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
    /// The cells under the test current, where one was pulled for this frame.
    pub(crate) pulled: Option<&'f Pulled<CELLS>>,
    /// Cells whose bleed resistor carries current; `None` where nothing says so.
    pub(crate) bleed_flows: Option<CellSet<CELLS>>,
    /// The poles against the chassis, where they are measured.
    pub(crate) poles: Option<PoleVoltages>,
    /// Contacts and counters around the pack.
    pub(crate) contacts: Option<Contacts>,
    /// What the counters among them have counted of late.
    pub(crate) counted: Counted,
    /// Time since a current beyond the switching limit was last seen; [`Millis::MAX`] when it never was.
    pub(crate) since_load: Millis,
    /// Time for which something was not measured: the age of the oldest part, or the gap before the frame where that is longer.
    pub(crate) unseen: Millis,
    /// How long after the one before it the newest frame came, or has not come by now; zero while all contactors are proven open, when a
    /// controller may sleep.
    pub(crate) waited: Millis,
}

/// The parts of a frame by name.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
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
    /// Poles against the chassis.
    Poles,
    /// Contacts and counters around the pack.
    Contacts,
}

impl PartName {
    /// All of them, in order.
    pub const ALL: [Self; 9] = [
        Self::Cells,
        Self::Thermistors,
        Self::Current,
        Self::CurrentCheck,
        Self::Voltages,
        Self::Supply,
        Self::Feedback,
        Self::Poles,
        Self::Contacts,
    ];
}

/// What is known of the contactors before a frame is looked at.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Standstill {
    /// The cross voltages have just shown that all of them are open.
    pub(crate) proven_open: bool,
    /// Current seems to flow all the same: `current while open` is suspect or confirmed.
    pub(crate) flows: bool,
    /// The workshop clears it in this tick: it vouches that nothing flows.
    pub(crate) vouched: bool,
}

/// What is kept from frame to frame to judge the next one.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(crate) struct Sense<const THERMISTORS: usize> {
    clock: Clock,
    thermistors: Thermistors<THERMISTORS>,
    current: CurrentChannel,
    counters: Counters,
}

impl<const THERMISTORS: usize> Sense<THERMISTORS> {
    pub(crate) const fn new() -> Self {
        Self {
            clock: Clock::NEW,
            thermistors: Thermistors::NEW,
            current: CurrentChannel::NEW,
            counters: Counters::NEW,
        }
    }

    /// Whether any frame was judged before.
    pub(crate) const fn has_begun(&self) -> bool {
        self.clock.has_begun()
    }

    /// Judges one frame. With all contactors proven open the current's offset is learnt and a gap between frames is no danger.
    pub(crate) fn judge<'f, const CELLS: usize, W: Witness>(
        &mut self,
        frame: &'f Frame<CELLS, THERMISTORS>,
        config: &Checked,
        standstill: Standstill,
        witness: &mut W,
    ) -> Believed<'f, CELLS, THERMISTORS> {
        let elapsed = self.clock.pass(frame.at, config.pack.tick, witness);
        let credit = elapsed.min(config.pack.oldest_age);
        let gap = if standstill.proven_open { Millis::ZERO } else { elapsed };
        if gap > config.pack.oldest_age {
            witness.tell(|| Evidence::FrameLate { gap, oldest: config.pack.oldest_age });
        }
        let mut ages = Ages::new(config.pack.oldest_age, self.clock.unrenewed(), gap);
        let cells = ages.believe(&frame.cells, PartName::Cells, witness);
        let thermistors = ages.believe(&frame.thermistors, PartName::Thermistors, witness);
        let raw = ages.believe(&frame.current, PartName::Current, witness).copied();
        let current_check = ages.believe(&frame.current_check, PartName::CurrentCheck, witness).copied();
        let voltages = ages.believe(&frame.voltages, PartName::Voltages, witness).copied();
        let supply = ages.believe(&frame.supply, PartName::Supply, witness).copied();
        let feedback = ages.believe(&frame.feedback, PartName::Feedback, witness).copied();
        let poles = config.sensing.points.poles.then_some(&frame.poles);
        let poles = poles.and_then(|part| ages.believe(part, PartName::Poles, witness)).copied();
        let contacts = ages.believe(&frame.contacts, PartName::Contacts, witness).copied();
        // Asked for now and then, or not there at all: one that did not come is no stale measurement. Each answers what the tick before
        // told, so that it is believed as long as that stands: up to a tick old, in a frame that is new.
        let (fresh, answered) = (self.clock.unrenewed() == Millis::ZERO, config.pack.tick);
        let pulled = frame.cells_pulled.within(answered).filter(|_| fresh);
        let bleed_flows = frame.bleed_flows.within(answered).filter(|_| fresh).copied();
        let current = self.current.judge(raw, (elapsed, credit), standstill, config, witness);
        let since_load = self.current.since_load();
        Believed {
            elapsed,
            repeated: self.clock.stands(),
            credit,
            cells: cells.map(CellReadings::of),
            thermistors,
            temperatures: self.thermistors.judge(thermistors, elapsed, since_load, config, witness),
            current,
            current_check,
            voltages,
            supply,
            feedback,
            pulled,
            bleed_flows,
            poles,
            contacts,
            counted: self.counters.follow(contacts, (elapsed, credit), config),
            since_load,
            unseen: ages.unseen,
            waited: if standstill.proven_open { Millis::ZERO } else { self.clock.waited() },
        }
    }
}

/// Believes the parts of a frame one by one and remembers the longest time for which something was not measured.
struct Ages {
    allowed: Millis,
    /// Time since a newer frame came: all parts are older by it.
    unrenewed: Millis,
    unseen: Millis,
}

impl Ages {
    const fn new(allowed: Millis, unrenewed: Millis, gap: Millis) -> Self {
        Self { allowed, unrenewed, unseen: gap }
    }

    fn believe<'f, T>(
        &mut self,
        part: &'f Part<T>,
        name: PartName,
        witness: &mut impl Witness,
    ) -> Option<&'f T> {
        let age = part.age + self.unrenewed;
        self.unseen = self.unseen.max(age);
        if age > self.allowed {
            witness.tell(|| Evidence::PartStale { part: name, age, oldest: self.allowed });
            return None;
        }
        Some(&part.value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::units::Instant;
    use proptest::prelude::*;

    #[derive(Default)]
    struct Ear(Vec<Evidence>);

    impl Witness for Ear {
        fn saw(&mut self, evidence: Evidence) {
            self.0.push(evidence);
        }
    }

    /// Nothing is proven.
    const SHUT: Standstill = Standstill { proven_open: false, flows: false, vouched: false };

    const fn standing(proven_open: bool) -> Standstill {
        Standstill { proven_open, flows: false, vouched: false }
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
        frame.poles = Part::fresh(PoleVoltages::default());
        frame.contacts = Part::fresh(Contacts::SOUND);
        frame
    }

    #[test]
    fn a_healthy_frame_is_believed_and_nothing_is_told() {
        let (config, mut ear, mut sense) = (crane(), Ear::default(), Sense::<16>::new());
        let frame = healthy(0);
        let believed = sense.judge(&frame, &config, SHUT, &mut ear);
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
            let believed = sense.judge(&frame, &config, SHUT, &mut ());
            (believed.elapsed.0, believed.credit.0)
        };
        assert_eq!(times(u32::MAX - 4), (0, 0)); // the first frame has nothing before it
        assert_eq!(times(5), (10, 10)); // the counter has wrapped
        assert_eq!(times(3_005), (3_000, 30));
    }

    /// The crane ticks every 10 ms and believes what is at most 30 ms old.
    #[test]
    fn a_frame_that_comes_again_grows_old_and_is_no_longer_believed() {
        let (config, mut sense) = (crane(), Sense::<16>::new());
        let frame = healthy(100);
        let mut ages = Vec::new();
        for _ in 0..6 {
            let believed = sense.judge(&frame, &config, SHUT, &mut ());
            ages.push((believed.unseen.0, believed.cells.is_some(), believed.current.is_some()));
        }
        let expected = [
            (0, true, true),
            (10, true, true),
            (20, true, true),
            (30, true, true),
            (40, false, false),
            (50, false, false),
        ];
        assert_eq!(ages, expected);
        let newer = healthy(110);
        assert!(sense.judge(&newer, &config, SHUT, &mut ()).cells.is_some());
    }

    #[test]
    fn a_part_is_believed_up_to_the_oldest_age_and_no_longer() {
        let (config, mut ear, mut sense) = (crane(), Ear::default(), Sense::<16>::new());
        let mut frame = healthy(0);
        (frame.cells.age, frame.supply.age) = (Millis(30), Millis(31));
        let believed = sense.judge(&frame, &config, SHUT, &mut ear);
        assert!(believed.cells.is_some() && believed.supply.is_none());
        assert_eq!(believed.unseen, Millis(31));
        let stale = Evidence::PartStale { part: PartName::Supply, age: Millis(31), oldest: Millis(30) };
        assert_eq!(ear.0, [stale]);
    }

    /// What the front end answers may come with the frame or have come since the one before: up to a tick old, and no older.
    #[test]
    fn an_answer_of_the_front_end_is_believed_up_to_a_tick() {
        let config = crane();
        for (age, believed) in [(0, true), (10, true), (11, false)] {
            let mut sense = Sense::<16>::new();
            let mut frame = healthy(0);
            frame.cells_pulled.age = Millis(age);
            frame.bleed_flows.age = Millis(age);
            let seen = sense.judge(&frame, &config, SHUT, &mut ());
            assert_eq!((seen.pulled.is_some(), seen.bleed_flows.is_some()), (believed, believed), "{age} ms");
            // The same frame once more says nothing new.
            let again = sense.judge(&frame, &config, SHUT, &mut ());
            assert!(again.pulled.is_none() && again.bleed_flows.is_none());
        }
    }

    #[test]
    fn a_gap_is_told_as_one_unless_nothing_can_flow() {
        let (config, late) = (crane(), Evidence::FrameLate { gap: Millis(31), oldest: Millis(30) });
        for (gap, open, unseen, told) in
            [(30, false, 30, vec![]), (31, false, 31, vec![late]), (31, true, 0, vec![])]
        {
            let (mut ear, mut sense) = (Ear::default(), Sense::<16>::new());
            sense.judge(&healthy(0), &config, standing(open), &mut ear);
            let frame = healthy(gap);
            let believed = sense.judge(&frame, &config, standing(open), &mut ear);
            assert_eq!((believed.unseen, ear.0), (Millis(unseen), told), "{gap} ms, open: {open}");
            assert!(believed.cells.is_some()); // what has just been measured is good
        }
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
                let believed = heard.judge(&frame, &config, standing(open), &mut Ear::default());
                prop_assert!(believed.credit <= believed.elapsed && believed.credit <= config.pack.oldest_age);
                let age = ages[0] % 64 + heard.clock.unrenewed().0;
                prop_assert_eq!(believed.cells.is_some(), age <= 30);
                let silent = unheard.judge(&frame, &config, standing(open), &mut ());
                prop_assert_eq!(format!("{believed:?}"), format!("{silent:?}"));
            }
            prop_assert_eq!(heard, unheard);
        }
    }
}
