//! What is said of a kind, and what of it is held against a twin.

use crate::stage::{TICKS, Trainer, TrainerFrame, begins, play, trainer};
use bms_core::units::Millis;
use bms_sim::defect::{Defect, DefectId, Kind, Spells};

/// A kind of defect in the script.
pub(crate) struct Entry {
    pub(crate) kind: Kind,
    /// Counted from 0.
    pub(crate) place: usize,
    /// First tick in which it is present, and the first in which it is not any more.
    pub(crate) ticks: (u32, u32),
    /// What of the frame after its first tick may differ from the twin's, some of it does, and nothing else; what follows later, physics
    /// says.
    pub(crate) at_once: &'static [&'static [Part]],
    /// What physics keeps when it is gone.
    pub(crate) keeps: &'static [Room],
}

/// A part of a frame.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Part {
    /// The reading of this cell, counted from 0.
    Cell(usize),
    Thermistor(usize),
    /// The age of a reading.
    Ages,
    Current,
    CurrentCheck,
    Pack,
    BehindNegative,
    BehindPositive,
    Link,
    Supply,
    Feedback,
    Pulled,
    BleedFlows,
    Poles,
    Contacts,
}

/// All cells.
pub(crate) const CELLS: &[Part] = &{
    let mut cells = [Part::Cell(0); 16];
    let mut place = 0;
    while place < cells.len() {
        cells[place] = Part::Cell(place);
        place += 1;
    }
    cells
};

/// What moves with the current of the string.
pub(crate) const STRING: &[Part] = &[
    Part::Current,
    Part::CurrentCheck,
    Part::Pack,
    Part::BehindNegative,
    Part::BehindPositive,
    Part::Link,
    Part::Poles,
];

/// A room of the world that remembers.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Room {
    /// Charge, polarisation and temperature of the cells.
    Cells,
    /// Temperatures of thermistors, joints and air.
    Heat,
    /// Link, contactors with their wear, precharge resistor, fuse.
    Bus,
    Load,
    Supply,
    /// Filters of the sense wires.
    Wires,
    /// Counters of breaks and edges.
    Signals,
    /// Mean heat of the joints.
    Joints,
}

/// Everything in which two frames differ.
fn differing(one: &TrainerFrame, other: &TrainerFrame) -> Vec<Part> {
    let cells = one.cells.value.iter().zip(&other.cells.value).enumerate();
    let cells = cells.filter(|(_, (one, other))| one != other).map(|(place, _)| Part::Cell(place));
    let thermistors = one.thermistors.value.iter().zip(&other.thermistors.value).enumerate();
    let thermistors =
        thermistors.filter(|(_, (one, other))| one != other).map(|(place, _)| Part::Thermistor(place));
    let (volts, others) = (one.voltages.value, other.voltages.value);
    let single = [
        (Part::Current, one.current.value != other.current.value),
        (Part::CurrentCheck, one.current_check.value != other.current_check.value),
        (Part::Pack, volts.pack != others.pack),
        (Part::BehindNegative, volts.behind_negative != others.behind_negative),
        (Part::BehindPositive, volts.behind_positive != others.behind_positive),
        (Part::Link, volts.link != others.link),
        (Part::Supply, one.supply.value != other.supply.value),
        (Part::Feedback, one.feedback.value != other.feedback.value),
        (Part::Pulled, one.cells_pulled.value != other.cells_pulled.value),
        (Part::BleedFlows, one.bleed_flows.value != other.bleed_flows.value),
        (Part::Poles, one.poles.value != other.poles.value),
        (Part::Contacts, one.contacts.value != other.contacts.value),
        (Part::Ages, ages(one) != ages(other)),
    ];
    let single = single.into_iter().filter(|(_, differ)| *differ).map(|(part, _)| part);
    cells.chain(thermistors).chain(single).collect()
}

/// How old each part is.
fn ages(frame: &TrainerFrame) -> [Millis; 11] {
    [
        frame.cells.age,
        frame.thermistors.age,
        frame.current.age,
        frame.current_check.age,
        frame.voltages.age,
        frame.supply.age,
        frame.feedback.age,
        frame.cells_pulled.age,
        frame.bleed_flows.age,
        frame.poles.age,
        frame.contacts.age,
    ]
}

/// What other currents leave behind: charge, heat, the link and the load.
pub(crate) const FLOWS: &[Room] = &[Room::Cells, Room::Heat, Room::Bus, Room::Load, Room::Joints];

/// The rooms in which two worlds differ.
fn apart(one: &Trainer, other: &Trainer) -> Vec<Room> {
    #[expect(clippy::float_cmp, reason = "a defect that is gone leaves the same bits")]
    let joints = one.joint_watts != other.joint_watts || one.joint_joules != other.joint_joules;
    let rooms = [
        (Room::Cells, one.cells != other.cells),
        (Room::Heat, one.heat != other.heat),
        (Room::Bus, one.bus != other.bus),
        (Room::Load, one.load != other.load),
        (Room::Supply, one.supply != other.supply),
        (Room::Wires, one.wires != other.wires),
        (Room::Signals, one.signals != other.signals),
        (Room::Joints, joints),
    ];
    rooms.into_iter().filter(|(_, differ)| *differ).map(|(room, _)| room).collect()
}

impl Entry {
    /// At its usual severity.
    fn defect(&self) -> Defect {
        Defect::usual(self.kind, self.place, begins(self.ticks.0))
    }

    fn with(&self, defect: Defect) -> (Trainer, DefectId) {
        let mut world = trainer();
        let id = world.inject(defect).unwrap_or_else(|error| panic!("{}: {error}", self.kind.key()));
        (world, id)
    }

    pub(crate) fn say(&self, sentence: &str) -> Vec<String> {
        vec![format!("{}: {sentence}", self.kind.key())]
    }

    /// Before the onset every frame is the twin's; after its first tick only what is named differs, and some of it does; somewhere it is seen; and the same
    /// again gives the same bits.
    pub(crate) fn wrong_from_the_onset(&self) -> Vec<String> {
        let defect = Defect { end_seconds: Some(begins(self.ticks.1)), ..self.defect() };
        let ((mut world, _), (mut again, _), mut twin) = (self.with(defect), self.with(defect), trainer());
        let mut wrong = Vec::new();
        let mut hidden = true;
        for tick in 0..TICKS {
            let (frame, sound) = (play(&mut world, tick), play(&mut twin, tick));
            if frame != play(&mut again, tick) || world != again {
                return self.say(&format!("another run differs in tick {tick}"));
            }
            let parts = differing(&frame, &sound);
            hidden &= parts.is_empty() && world.truth() == twin.truth();
            if tick < self.ticks.0 && !hidden {
                return self.say(&format!("tick {tick} is before the onset, but differs in {parts:?}"));
            }
            let named = parts.iter().all(|part| self.at_once.iter().any(|some| some.contains(part)));
            if tick == self.ticks.0 && (!named || parts.is_empty() != self.at_once.is_empty()) {
                wrong.extend(self.say(&format!("touches {parts:?}")));
            }
        }
        if hidden {
            wrong.extend(self.say("is seen nowhere"));
        }
        wrong
    }

    /// Ended by itself or cleared by hand, it leaves the same world, which differs from the twin in what is kept and nothing else.
    pub(crate) fn wrong_in_the_end(&self) -> Vec<String> {
        let (from, to) = self.ticks;
        let (mut ended, _) = self.with(Defect { end_seconds: Some(begins(to)), ..self.defect() });
        let ((mut cleared, id), mut twin) = (self.with(self.defect()), trainer());
        for tick in 0..TICKS {
            if tick == to && cleared.clear(id).is_none() {
                return self.say("was not there to be cleared");
            }
            let frames = [&mut ended, &mut cleared].map(|world| play(world, tick));
            play(&mut twin, tick);
            if frames[0] != frames[1] {
                return self.say(&format!("ended and cleared differ in tick {tick}, from {from} to {to}"));
            }
        }
        let mut wrong = Vec::new();
        if !apart(&ended, &cleared).is_empty() {
            wrong.extend(self.say(&format!("ended and cleared differ in {:?}", apart(&ended, &cleared))));
        }
        if cleared.deviations() != twin.deviations() || cleared.defects() != twin.defects() {
            wrong.extend(self.say("is still there"));
        }
        let kept = apart(&cleared, &twin);
        if kept != self.keeps {
            wrong.extend(self.say(&format!("keeps {kept:?}")));
        }
        wrong
    }

    /// Cleared before its onset it was never there, to the last bit of the world.
    pub(crate) fn wrong_without_an_onset(&self) -> Vec<String> {
        let onset = Defect { onset_seconds: begins(TICKS / 2), ..self.defect() };
        let ((mut world, id), mut twin) = (self.with(onset), trainer());
        for tick in 0..TICKS {
            if tick == TICKS / 2 - 1 {
                world.clear(id);
            }
            if play(&mut world, tick) != play(&mut twin, tick) {
                return self.say(&format!("cleared before its onset it shows in tick {tick}"));
            }
        }
        if world == twin { Vec::new() } else { self.say("cleared before its onset it leaves another world") }
    }

    /// Half of every 400 ms, to the tick; what happens once is refused.
    pub(crate) fn wrong_in_spells(&self) -> Vec<String> {
        let spells = Some(Spells { period_seconds: 0.4, duty: 0.5 });
        let defect = Defect { spells, ..self.defect() };
        if !self.kind.comes_and_goes() {
            let refused = trainer().inject(defect).is_err();
            return if refused { Vec::new() } else { self.say("happens once, but comes and goes") };
        }
        let ((mut world, _), sound) = (self.with(defect), trainer());
        for tick in 0..self.ticks.0 + 200 {
            play(&mut world, tick);
            let present = tick.checked_sub(self.ticks.0).is_some_and(|since| since % 40 < 20);
            if present == (world.deviations() == sound.deviations()) {
                return self.say(&format!(
                    "in tick {tick}, present in its spells from {} on: {present}",
                    self.ticks.0
                ));
            }
        }
        Vec::new()
    }

    /// Over a second: after half of it something is there and not all of it, and all of it a tenth later than that, since it grows in steps
    /// of a tenth; what cannot grow is refused.
    pub(crate) fn wrong_in_growing(&self) -> Vec<String> {
        let defect = Defect { grows_seconds: 1.0, ..self.defect() };
        if !self.kind.grows() {
            let refused = trainer().inject(defect).is_err();
            return if refused { Vec::new() } else { self.say("cannot grow, but was let") };
        }
        let ((mut growing, _), (mut grown, _)) = (self.with(defect), self.with(self.defect()));
        let sound = trainer();
        for tick in 0..self.ticks.0 + 130 {
            play(&mut growing, tick);
            play(&mut grown, tick);
            let since = tick.checked_sub(self.ticks.0);
            let (some, all) =
                (growing.deviations() != sound.deviations(), growing.deviations() == grown.deviations());
            let right = match since {
                Some(30..90) => some && !all,
                Some(112..) => all,
                _ => true,
            };
            if !right {
                return self.say(&format!("grown for {since:?} of 100 ticks: something {some}, all {all}"));
            }
        }
        Vec::new()
    }
}
