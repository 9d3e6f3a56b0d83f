//! # A reading that lies
//!
//! A lie is what a real channel does when it is broken: it does not come, stands still, is off, shows its neighbour, or is noise without any
//! meaning. It is said in words and small numbers, so that a failing test can be read, and written into a frame only when that is there.

use bms_core::frame::{Contact, Feedback, Frame, Part};
use bms_core::units::{Amps, Millis, Ratio, Volts};
use bms_core::{Config, Each};
use proptest::prelude::*;
use std::fmt;

/// One reading, or all cells together.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Channel {
    /// A cell's voltage, counted from 0.
    Cell(usize),
    /// The voltages of all cells.
    Cells,
    /// A thermistor, counted from 0.
    Thermistor(usize),
    /// The main current sensor.
    Current,
    /// The second current sensor.
    CurrentCheck,
    /// The pack voltage.
    Pack,
    /// From B+ to behind the negative contactor.
    BehindNegative,
    /// From behind the positive contactor to B−.
    BehindPositive,
    /// The link voltage.
    Link,
    /// The auxiliary supply.
    Supply,
    /// The feedback contacts.
    Feedback,
}

/// What is wrong with it.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Manner {
    /// It is not measured.
    Missing,
    /// It was measured so many milliseconds ago.
    Old {
        /// Its age in milliseconds.
        ms: u32,
    },
    /// It stays as it was when the lie began.
    Stuck,
    /// It shows what its neighbour should; a current runs backwards, a supply is gone.
    Swapped,
    /// It is off by so many eighths of a large error: 1 V of a cell, 60 % of a thermistor's reference, the range of a current, the
    /// nominal voltage of the pack, 6 V of the supply.
    Offset {
        /// From −8 to 8.
        eighths: i8,
    },
    /// Any bits with any age, made from this number: small, ordinary and wild values, all of them often.
    Wild {
        /// What the bits are made from.
        of: u64,
    },
}

/// A reading that lies.
#[derive(Clone, Copy, Eq, PartialEq)]
pub struct Lie {
    /// Which.
    pub channel: Channel,
    /// How.
    pub manner: Manner,
}

impl fmt::Display for Lie {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.channel {
            Channel::Cell(cell) => write!(to, "cell {}", cell + 1),
            Channel::Cells => to.write_str("all cells"),
            Channel::Thermistor(place) => write!(to, "thermistor {}", place + 1),
            Channel::Current => to.write_str("current"),
            Channel::CurrentCheck => to.write_str("second current"),
            Channel::Pack => to.write_str("pack voltage"),
            Channel::BehindNegative => to.write_str("voltage behind negative"),
            Channel::BehindPositive => to.write_str("voltage behind positive"),
            Channel::Link => to.write_str("link voltage"),
            Channel::Supply => to.write_str("supply"),
            Channel::Feedback => to.write_str("feedback"),
        }?;
        match self.manner {
            Manner::Missing => to.write_str(" missing"),
            Manner::Old { ms } => write!(to, " {ms} ms old"),
            Manner::Stuck => to.write_str(" stuck"),
            Manner::Swapped => to.write_str(" swapped"),
            Manner::Offset { eighths } => write!(to, " off by {eighths}/8"),
            Manner::Wild { of } => write!(to, " wild ({of})"),
        }
    }
}

impl fmt::Debug for Lie {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, to)
    }
}

/// Lies of a pack of this size, each channel as likely as any other. Shrinks to an earlier channel, and to a reading that is missing.
pub fn lies<const CELLS: usize, const THERMISTORS: usize>() -> impl Strategy<Value = Lie> + Clone {
    let channel = prop_oneof![
        (0..CELLS).prop_map(Channel::Cell),
        Just(Channel::Cells),
        (0..THERMISTORS).prop_map(Channel::Thermistor),
        Just(Channel::Current),
        Just(Channel::CurrentCheck),
        Just(Channel::Pack),
        Just(Channel::BehindNegative),
        Just(Channel::BehindPositive),
        Just(Channel::Link),
        Just(Channel::Supply),
        Just(Channel::Feedback),
    ];
    let manner = prop_oneof![
        2 => Just(Manner::Missing),
        2 => Just(Manner::Stuck),
        2 => Just(Manner::Swapped),
        4 => (-8..=8_i8).prop_map(|eighths| Manner::Offset { eighths }),
        1 => (0..100_u32).prop_map(|ms| Manner::Old { ms }),
        1 => any::<u64>().prop_map(|of| Manner::Wild { of }),
    ];
    (channel, manner).prop_map(|(channel, manner)| Lie { channel, manner })
}

/// Bits made from a number, one after another: each a mixing of its place (`SplitMix64`: Steele, Lea, Flood, 2014).
struct Bits(u64);

impl Bits {
    fn word(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn number(&mut self) -> i32 {
        let word = self.word();
        ((word >> 32) as i32) >> (word & 31)
    }

    fn age(&mut self) -> Millis {
        match self.word() >> 62 {
            0 => Millis(0),
            1 => Millis(self.number().unsigned_abs() % 60),
            2 => Millis(self.number().cast_unsigned()),
            _ => Millis::MAX,
        }
    }

    fn contact(&mut self) -> Contact {
        if self.word() >> 63 == 0 { Contact::Broken } else { Contact::Made }
    }
}

impl Lie {
    /// Writes the lie into a frame. `began_with` is the frame in which it began, for what is stuck; the configuration knows ranges.
    pub fn spoil<const CELLS: usize, const THERMISTORS: usize>(
        self,
        frame: &mut Frame<CELLS, THERMISTORS>,
        began_with: &Frame<CELLS, THERMISTORS>,
        config: &Config,
    ) {
        match self.manner {
            Manner::Missing => *self.age(frame) = Millis::MAX,
            Manner::Old { ms } => *self.age(frame) = Millis(ms),
            Manner::Wild { of } => {
                let mut bits = Bits(of);
                self.each_number(frame, began_with, |_, _, _| bits.number());
                if let Channel::Feedback = self.channel {
                    frame.feedback.value = Feedback {
                        negative: bits.contact(),
                        precharge: bits.contact(),
                        positive: bits.contact(),
                    };
                }
                *self.age(frame) = bits.age();
            }
            Manner::Stuck => {
                self.each_number(frame, began_with, |_, began, _| began);
                if let Channel::Feedback = self.channel {
                    frame.feedback.value = began_with.feedback.value;
                }
            }
            Manner::Swapped => {
                self.each_number(frame, began_with, |_, _, neighbour| neighbour);
                if let Channel::Feedback = self.channel {
                    let contacts = frame.feedback.value;
                    frame.feedback.value =
                        Feedback { negative: contacts.positive, positive: contacts.negative, ..contacts };
                }
            }
            Manner::Offset { eighths } => {
                let off = self.large(config) / 8 * i32::from(eighths);
                self.each_number(frame, began_with, |truth, _, _| truth.saturating_add(off));
            }
        }
    }

    /// A large error of the channel, in bits.
    fn large(self, config: &Config) -> i32 {
        match self.channel {
            Channel::Cell(_) | Channel::Cells => Volts::from_milli(1_000).bits(),
            Channel::Thermistor(_) => Ratio::percent(60).bits(),
            Channel::Current | Channel::CurrentCheck => config.pack.current_range.bits(),
            Channel::Pack | Channel::BehindNegative | Channel::BehindPositive | Channel::Link => {
                config.pack.nominal.bits()
            }
            Channel::Supply => Volts::from_milli(6_000).bits(),
            Channel::Feedback => 0,
        }
    }

    fn age<const CELLS: usize, const THERMISTORS: usize>(
        self,
        frame: &mut Frame<CELLS, THERMISTORS>,
    ) -> &mut Millis {
        match self.channel {
            Channel::Cell(_) | Channel::Cells => &mut frame.cells.age,
            Channel::Thermistor(_) => &mut frame.thermistors.age,
            Channel::Current => &mut frame.current.age,
            Channel::CurrentCheck => &mut frame.current_check.age,
            Channel::Pack | Channel::BehindNegative | Channel::BehindPositive | Channel::Link => {
                &mut frame.voltages.age
            }
            Channel::Supply => &mut frame.supply.age,
            Channel::Feedback => &mut frame.feedback.age,
        }
    }

    /// Gives each number of the channel another value, made from what is true, what it was when the lie began, and what its neighbour shows.
    fn each_number<const CELLS: usize, const THERMISTORS: usize>(
        self,
        frame: &mut Frame<CELLS, THERMISTORS>,
        began_with: &Frame<CELLS, THERMISTORS>,
        mut to: impl FnMut(i32, i32, i32) -> i32,
    ) {
        let mut volts = |now: &mut Volts, began: Volts, neighbour: Volts| {
            *now = Volts::from_bits(to(now.bits(), began.bits(), neighbour.bits()));
        };
        let cells = frame.cells.value;
        let around = frame.voltages.value;
        let (now, began) = (&mut frame.voltages.value, &began_with.voltages.value);
        match self.channel {
            Channel::Cell(cell) => {
                let neighbour = cells.0[(cell + 1) % CELLS];
                volts(&mut frame.cells.value.0[cell], began_with.cells.value.0[cell], neighbour);
            }
            Channel::Cells => {
                let Each(all) = &mut frame.cells.value;
                for (cell, now) in all.iter_mut().enumerate() {
                    volts(now, began_with.cells.value.0[cell], cells.0[(cell + 1) % CELLS]);
                }
            }
            Channel::Thermistor(place) => {
                let neighbour = frame.thermistors.value.0[(place + 1) % THERMISTORS];
                let now = &mut frame.thermistors.value.0[place];
                let began = began_with.thermistors.value.0[place];
                *now = Ratio::from_bits(to(now.bits(), began.bits(), neighbour.bits()));
            }
            Channel::Current => amps(&mut frame.current, began_with.current, to),
            Channel::CurrentCheck => amps(&mut frame.current_check, began_with.current_check, to),
            Channel::Pack => volts(&mut now.pack, began.pack, around.link),
            Channel::BehindNegative => {
                volts(&mut now.behind_negative, began.behind_negative, around.behind_positive);
            }
            Channel::BehindPositive => {
                volts(&mut now.behind_positive, began.behind_positive, around.behind_negative);
            }
            Channel::Link => volts(&mut now.link, began.link, around.pack),
            Channel::Supply => volts(&mut frame.supply.value, began_with.supply.value, Volts::ZERO),
            Channel::Feedback => {}
        }
    }
}

fn amps(now: &mut Part<Amps>, began: Part<Amps>, mut to: impl FnMut(i32, i32, i32) -> i32) {
    let bits = now.value.bits();
    now.value = Amps::from_bits(to(bits, began.value.bits(), bits.saturating_neg()));
}
