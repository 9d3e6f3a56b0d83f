//! The readings of two frames, side by side.

use crate::world::spec::{ChannelSpec, SensorSpec};
use bms_core::Frame;
use bms_core::frame::{Contact, Feedback};

/// What is read.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Channel {
    /// The voltage of this cell, from 0, in V.
    Cell(usize),
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
    /// The disconnects, service and auxiliary; 1 is made.
    Disconnect(usize),
    /// Which cells are seen to bleed.
    Bleeding,
    /// By a meter: this cell, in V.
    MeteredCell(usize),
    /// By a meter: the insulation of the pack from the chassis, in kΩ.
    MeteredInsulation,
    /// By a thermometer held to this cell, in °C.
    WarmCell(usize),
    /// By a thermometer held to the joint above this cell, in °C.
    WarmJoint(usize),
}

/// A reading that separates two worlds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// What is read.
    pub channel: Channel,
    /// When, in seconds from the start.
    pub seconds: f64,
    /// The reading here.
    pub here: f64,
    /// The reading there.
    pub there: f64,
}

/// So many standard deviations no reading is off by noise.
const SIGMAS: f64 = 6.0;

/// Half a step beside a whole one: rounding at the edge of a step is no difference.
const STEPS: f64 = 1.5;

/// The channels that separate two frames for the first time, beside those that are known.
pub(super) fn differences<const CELLS: usize, const THERMISTORS: usize>(
    (here, there): (&Frame<CELLS, THERMISTORS>, &Frame<CELLS, THERMISTORS>),
    sensors: &SensorSpec,
    seconds: f64,
    known: &[Difference],
) -> Vec<Difference> {
    let mut found = Vec::new();
    let mut hold = |channel: Channel, (one, other): (f64, f64), apart: f64| {
        let new = (one - other).abs() > apart && !known.iter().any(|known| known.channel == channel);
        if new {
            found.push(Difference { channel, seconds, here: one, there: other });
        }
    };
    let of = |bits: i32| f64::from(bits) / 65_536.0;
    let seen = |spec: &ChannelSpec| SIGMAS * spec.noise + STEPS * spec.step;
    for (cell, (one, other)) in here.cells.value.iter().zip(&there.cells.value).enumerate() {
        hold(Channel::Cell(cell), (of(one.bits()), of(other.bits())), seen(&sensors.cell));
    }
    for (place, (one, other)) in here.thermistors.value.iter().zip(&there.thermistors.value).enumerate() {
        let percent = (100.0 * of(one.bits()), 100.0 * of(other.bits()));
        hold(Channel::Thermistor(place), percent, 100.0 * seen(&sensors.thermistor));
    }
    let amps = (of(here.current.value.bits()), of(there.current.value.bits()));
    hold(Channel::Current, amps, seen(&sensors.current));
    let amps = (of(here.current_check.value.bits()), of(there.current_check.value.bits()));
    hold(Channel::CurrentCheck, amps, seen(&sensors.current_check));
    let (one, other) = (&here.voltages.value, &there.voltages.value);
    let pack = seen(&sensors.pack);
    hold(Channel::Pack, (of(one.pack.bits()), of(other.pack.bits())), pack);
    hold(Channel::BehindNegative, (of(one.behind_negative.bits()), of(other.behind_negative.bits())), pack);
    hold(Channel::BehindPositive, (of(one.behind_positive.bits()), of(other.behind_positive.bits())), pack);
    hold(Channel::Link, (of(one.link.bits()), of(other.link.bits())), pack);
    hold(
        Channel::Supply,
        (of(here.supply.value.bits()), of(there.supply.value.bits())),
        seen(&sensors.supply),
    );
    let (one, other) = (&here.poles.value, &there.poles.value);
    hold(Channel::Pole(0), (of(one.negative.bits()), of(other.negative.bits())), pack);
    hold(Channel::Pole(1), (of(one.positive.bits()), of(other.positive.bits())), pack);
    let made = |contact: Contact| if contact == Contact::Made { 1.0 } else { 0.0 };
    let three = |feedback: &Feedback| [feedback.negative, feedback.precharge, feedback.positive].map(made);
    let pairs = three(&here.feedback.value).into_iter().zip(three(&there.feedback.value));
    for (which, pair) in pairs.enumerate() {
        hold(Channel::Feedback(which), pair, 0.5);
    }
    let (one, other) = (&here.contacts.value, &there.contacts.value);
    hold(Channel::Interlock, (made(one.interlock), made(other.interlock)), 0.5);
    hold(Channel::Disconnect(0), (made(one.service_disconnect), made(other.service_disconnect)), 0.5);
    hold(Channel::Disconnect(1), (made(one.auxiliary_disconnect), made(other.auxiliary_disconnect)), 0.5);
    let bleeding = if here.bleed_flows.value == there.bleed_flows.value { 0.0 } else { 1.0 };
    hold(Channel::Bleeding, (0.0, bleeding), 0.5);
    found
}
