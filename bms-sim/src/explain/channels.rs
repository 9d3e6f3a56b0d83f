//! # What a frame shows
//!
//! THE list of the channels of a frame. Whether two frames differ, and what separates them, is read from it and from nothing else.
//!
//! Each channel has a grain: the standard deviation of its noise and its step. Two readings that share all their noise differ
//!
//! ```text
//! by more than rounding: | one − other | > 1.5 steps
//! beyond all noise:      | one − other | > 1.5 steps + 6 σ
//! ```
//!
//! Half a step beside a whole one, since rounding at the edge of a step is no difference. What is only counted, or made and broken,
//! has no noise. Left out is what the firmware itself decides: what is asked, and where the known resistor of the insulation stands.

use crate::world::spec::{ChannelSpec, SensorSpec};
use bms_core::Frame;
use bms_core::frame::{Contact, Feedback, Turning};
use bms_core::sense::PartName;
use bms_core::units::{Millis, Volts};

/// What is read.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Channel {
    /// The voltage of this cell, from 0, in V.
    Cell(usize),
    /// The same while the front end pulled its test current on the inputs, in V.
    PulledCell(usize),
    /// The divider of this thermistor, from 0, in % of its reference.
    Thermistor(usize),
    /// The main current sensor, in A.
    Current,
    /// The check sensor, in A.
    CurrentCheck,
    /// The pack voltage, in V.
    Pack,
    /// B+ to L−, in V.
    BehindNegative,
    /// L+ to B−, in V.
    BehindPositive,
    /// The link, in V.
    Link,
    /// The auxiliary supply, in V.
    Supply,
    /// This pole against the chassis, negative and positive, in V.
    Pole(usize),
    /// The feedback of this contactor, in the order negative, precharge, positive; 1 is made.
    Feedback(usize),
    /// The interlock; 1 is made.
    Interlock,
    /// How often the interlock has broken.
    InterlockBreaks,
    /// The disconnects, service and auxiliary; 1 is made.
    Disconnect(usize),
    /// Edges of the impact sensor.
    ImpactEdges,
    /// The tacho of the cooling; 1 is turning.
    Cooling,
    /// Which cells are seen to bleed.
    Bleeding,
    /// How old this part of the frame is, in ms.
    Age(PartName),
    /// The counter by which the frame is dated, in ms.
    Clock,
    /// By a meter: this cell, in V.
    MeteredCell(usize),
    /// By a meter: across the bleed resistor of this cell, while it bleeds, in V.
    MeteredBleed(usize),
    /// By a meter: the insulation of the pack from the chassis, in kΩ.
    MeteredInsulation,
    /// By a thermometer held to this cell, in °C.
    WarmCell(usize),
    /// By a thermometer held to the joint above this cell, in °C.
    WarmJoint(usize),
}

impl Channel {
    /// Whether it is a number that is read in steps, and not a contact, a count or a time.
    #[must_use]
    pub const fn has_steps(self) -> bool {
        match self {
            Self::Cell(_)
            | Self::PulledCell(_)
            | Self::Thermistor(_)
            | Self::Current
            | Self::CurrentCheck
            | Self::Pack
            | Self::BehindNegative
            | Self::BehindPositive
            | Self::Link
            | Self::Supply
            | Self::Pole(_)
            | Self::MeteredCell(_)
            | Self::MeteredBleed(_)
            | Self::MeteredInsulation
            | Self::WarmCell(_)
            | Self::WarmJoint(_) => true,
            Self::Feedback(_)
            | Self::Interlock
            | Self::InterlockBreaks
            | Self::Disconnect(_)
            | Self::ImpactEdges
            | Self::Cooling
            | Self::Bleeding
            | Self::Age(_)
            | Self::Clock => false,
        }
    }

    /// Whether it says when something was measured, and not what.
    #[must_use]
    pub const fn is_time(self) -> bool {
        matches!(self, Self::Age(_) | Self::Clock)
    }
}

/// How finely a channel shows what it shows, and by how much it may be off, in its unit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grain {
    offset: f64,
    gain: f64,
    noise: f64,
    step: f64,
}

/// So many standard deviations no reading is off by noise.
const SIGMAS: f64 = 6.0;

/// Half a step beside a whole one: rounding at the edge of a step is no difference.
const STEPS: f64 = 1.5;

impl Grain {
    /// Of what is counted, and of contacts: one more or less is a difference.
    const WHOLE: Self = Self { offset: 0.0, gain: 0.0, noise: 0.0, step: 0.5 };

    /// More than rounding makes.
    pub(super) fn rounding(self) -> f64 {
        STEPS * self.step
    }

    /// More than rounding and noise make.
    pub(super) fn noise(self) -> f64 {
        SIGMAS * self.noise + self.rounding()
    }

    /// What a reading of this value may be wrong by, all told.
    pub(super) fn errors(self, value: f64) -> f64 {
        self.offset + self.gain * value.abs() + self.noise()
    }

    fn times(self, factor: f64) -> Self {
        let Self { offset, gain, noise, step } = self;
        Self { offset: factor * offset, gain, noise: factor * noise, step: factor * step }
    }
}

impl From<&ChannelSpec> for Grain {
    fn from(spec: &ChannelSpec) -> Self {
        Self { offset: spec.offset, gain: spec.gain, noise: spec.noise, step: spec.step }
    }
}

/// Shows each channel of two frames, side by side.
pub(super) fn each<const CELLS: usize, const THERMISTORS: usize>(
    (one, other): (&Frame<CELLS, THERMISTORS>, &Frame<CELLS, THERMISTORS>),
    sensors: &SensorSpec,
    mut show: impl FnMut(Channel, (f64, f64), Grain),
) {
    let of = |bits: i32| f64::from(bits) / 65_536.0;
    let volts = |one: Volts, other: Volts| (of(one.bits()), of(other.bits()));
    let [cell, pack] = [&sensors.cell, &sensors.pack].map(Grain::from);
    for (place, (one, other)) in one.cells.value.iter().zip(&other.cells.value).enumerate() {
        show(Channel::Cell(place), volts(*one, *other), cell);
    }
    let (pulled, there) = (&one.cells_pulled.value.cells, &other.cells_pulled.value.cells);
    for (place, (one, other)) in pulled.iter().zip(there).enumerate() {
        show(Channel::PulledCell(place), volts(*one, *other), cell);
    }
    for (place, (one, other)) in one.thermistors.value.iter().zip(&other.thermistors.value).enumerate() {
        let percent = (100.0 * of(one.bits()), 100.0 * of(other.bits()));
        show(Channel::Thermistor(place), percent, Grain::from(&sensors.thermistor).times(100.0));
    }
    let amps = (of(one.current.value.bits()), of(other.current.value.bits()));
    show(Channel::Current, amps, (&sensors.current).into());
    let amps = (of(one.current_check.value.bits()), of(other.current_check.value.bits()));
    show(Channel::CurrentCheck, amps, (&sensors.current_check).into());
    let (around, there) = (&one.voltages.value, &other.voltages.value);
    show(Channel::Pack, volts(around.pack, there.pack), pack);
    show(Channel::BehindNegative, volts(around.behind_negative, there.behind_negative), pack);
    show(Channel::BehindPositive, volts(around.behind_positive, there.behind_positive), pack);
    show(Channel::Link, volts(around.link, there.link), pack);
    show(Channel::Supply, volts(one.supply.value, other.supply.value), (&sensors.supply).into());
    let (poles, there) = (&one.poles.value, &other.poles.value);
    show(Channel::Pole(0), volts(poles.negative, there.negative), pack);
    show(Channel::Pole(1), volts(poles.positive, there.positive), pack);
    around_the_pack(one, other, &mut |channel, pair| show(channel, pair, Grain::WHOLE));
}

/// Shows what is counted, and contacts.
fn around_the_pack<const CELLS: usize, const THERMISTORS: usize>(
    one: &Frame<CELLS, THERMISTORS>,
    other: &Frame<CELLS, THERMISTORS>,
    show: &mut dyn FnMut(Channel, (f64, f64)),
) {
    let made = |contact: Contact| if contact == Contact::Made { 1.0 } else { 0.0 };
    let three = |feedback: &Feedback| [feedback.negative, feedback.precharge, feedback.positive].map(made);
    let pairs = three(&one.feedback.value).into_iter().zip(three(&other.feedback.value));
    for (which, pair) in pairs.enumerate() {
        show(Channel::Feedback(which), pair);
    }
    let (here, there) = (&one.contacts.value, &other.contacts.value);
    show(Channel::Interlock, (made(here.interlock), made(there.interlock)));
    show(Channel::InterlockBreaks, (here.interlock_breaks.into(), there.interlock_breaks.into()));
    show(Channel::Disconnect(0), (made(here.service_disconnect), made(there.service_disconnect)));
    show(Channel::Disconnect(1), (made(here.auxiliary_disconnect), made(there.auxiliary_disconnect)));
    show(Channel::ImpactEdges, (here.impact_edges.into(), there.impact_edges.into()));
    let turning = |fan: Turning| if fan == Turning::Turning { 1.0 } else { 0.0 };
    show(Channel::Cooling, (turning(here.cooling), turning(there.cooling)));
    let bleeding = if one.bleed_flows.value == other.bleed_flows.value { 0.0 } else { 1.0 };
    show(Channel::Bleeding, (0.0, bleeding));
    for part in PartName::ALL {
        show(Channel::Age(part), (age(one, part), age(other, part)));
    }
    show(Channel::Clock, (one.at.0.into(), other.at.0.into()));
}

/// How old a part is, in ms; [`Millis::MAX`] when it was never measured.
fn age<const CELLS: usize, const THERMISTORS: usize>(
    frame: &Frame<CELLS, THERMISTORS>,
    part: PartName,
) -> f64 {
    let Millis(age) = match part {
        PartName::Cells => frame.cells.age,
        PartName::Thermistors => frame.thermistors.age,
        PartName::Current => frame.current.age,
        PartName::CurrentCheck => frame.current_check.age,
        PartName::Voltages => frame.voltages.age,
        PartName::Supply => frame.supply.age,
        PartName::Feedback => frame.feedback.age,
        PartName::Poles => frame.poles.age,
        PartName::Contacts => frame.contacts.age,
    };
    age.into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::Pack;
    use bms_core::frame::{Contacts, PackVoltages, PoleVoltages, ToChassis};
    use bms_core::units::{Amps, Instant, Ratio};

    const SHOWN: Volts = Volts::from_milli(9_000);

    /// The channels that two frames do not show alike.
    fn differing(change: impl FnOnce(&mut Frame<16, 8>)) -> Vec<Channel> {
        let still = Frame::<16, 8>::empty(Instant(0));
        let mut changed = still;
        change(&mut changed);
        let mut found = Vec::new();
        let sensors = Pack::Trainer.spec().sensors;
        each((&still, &changed), &sensors, |channel, (one, other), grain| {
            if (one - other).abs() > grain.noise() {
                found.push(channel);
            }
        });
        found
    }

    /// Whatever is changed in a frame shows in its own channel, and in no other one.
    #[test]
    fn whatever_is_changed_in_a_frame_shows_where_it_is() {
        assert_eq!(differing(|_| {}), []);
        assert_eq!(differing(|frame| frame.at = Instant(1)), [Channel::Clock]);
        assert_eq!(differing(|frame| frame.cells.value.0[3] = SHOWN), [Channel::Cell(3)]);
        assert_eq!(differing(|frame| frame.cells_pulled.value.cells.0[3] = SHOWN), [Channel::PulledCell(3)]);
        let half = Ratio::percent(50);
        assert_eq!(differing(|frame| frame.thermistors.value.0[2] = half), [Channel::Thermistor(2)]);
        let amps = Amps::from_milli(60_000);
        assert_eq!(differing(|frame| frame.current.value = amps), [Channel::Current]);
        assert_eq!(differing(|frame| frame.current_check.value = amps), [Channel::CurrentCheck]);
        assert_eq!(differing(|frame| frame.supply.value = SHOWN), [Channel::Supply]);
        assert_eq!(differing(|frame| frame.feedback.value.precharge = Contact::Made), [Channel::Feedback(1)]);
        assert_eq!(
            differing(|frame| {
                frame.bleed_flows.value.insert(4);
            }),
            [Channel::Bleeding]
        );
        let all = PackVoltages { pack: SHOWN, behind_negative: SHOWN, behind_positive: SHOWN, link: SHOWN };
        assert_eq!(
            differing(|frame| frame.voltages.value = all),
            [Channel::Pack, Channel::BehindNegative, Channel::BehindPositive, Channel::Link]
        );
        let poles = PoleVoltages { negative: SHOWN, positive: SHOWN, resistor: ToChassis::Open };
        assert_eq!(differing(|frame| frame.poles.value = poles), [Channel::Pole(0), Channel::Pole(1)]);
        let contacts = Contacts {
            interlock: Contact::Broken,
            interlock_breaks: 1,
            service_disconnect: Contact::Broken,
            auxiliary_disconnect: Contact::Broken,
            impact_edges: 1,
            cooling: Turning::Turning,
        };
        assert_eq!(
            differing(|frame| frame.contacts.value = contacts),
            [
                Channel::Interlock,
                Channel::InterlockBreaks,
                Channel::Disconnect(0),
                Channel::Disconnect(1),
                Channel::ImpactEdges,
                Channel::Cooling
            ]
        );
    }

    /// A part that came and one that never came differ by their age alone.
    #[test]
    fn the_age_of_a_part_shows() {
        assert_eq!(differing(|frame| frame.cells.age = Millis(0)), [Channel::Age(PartName::Cells)]);
        assert_eq!(differing(|frame| frame.contacts.age = Millis(20)), [Channel::Age(PartName::Contacts)]);
    }
}
