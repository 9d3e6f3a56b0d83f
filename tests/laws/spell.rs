//! A reading that lies for a stretch of time.

use super::dice::Dice;
use bms_core::frame::{Feedback, Frame};
use bms_core::units::{Amps, Millis, Ratio, Volts};
use bms_core::{Config, Each};

/// One reading, or all cells together.
#[derive(Clone, Copy)]
enum Channel {
    Cell(usize),
    Cells,
    Thermistor(usize),
    Current,
    CurrentCheck,
    Pack,
    BehindNegative,
    BehindPositive,
    Link,
    Supply,
    Feedback,
}

/// What is wrong with it.
#[derive(Clone, Copy)]
enum Manner {
    /// It stays as it was when the spell began.
    Stuck,
    /// It is off by so many bits.
    Offset(i32),
    /// It is not measured.
    Missing,
    /// It shows what its neighbour should; a current runs backwards, a supply is gone.
    Swapped,
}

/// A stretch of time in which one channel lies.
pub(super) struct Spell<const CELLS: usize, const THERMISTORS: usize> {
    channel: Channel,
    manner: Manner,
    pub(super) until: u32,
    began_with: Frame<CELLS, THERMISTORS>,
}

impl<const CELLS: usize, const THERMISTORS: usize> Spell<CELLS, THERMISTORS> {
    pub(super) fn begin(
        dice: &mut Dice,
        tick: u32,
        config: &Config,
        frame: &Frame<CELLS, THERMISTORS>,
    ) -> Self {
        let (channel, full) = match dice.below(11) {
            0 => (Channel::Cell(dice.below(CELLS)), Volts::from_milli(1_000).bits()),
            1 => (Channel::Cells, Volts::from_milli(1_000).bits()),
            2 => (Channel::Thermistor(dice.below(THERMISTORS)), Ratio::percent(60).bits()),
            3 => (Channel::Current, config.pack.current_range.bits()),
            4 => (Channel::CurrentCheck, config.pack.current_range.bits()),
            5 => (Channel::Pack, config.pack.nominal.bits()),
            6 => (Channel::BehindNegative, config.pack.nominal.bits()),
            7 => (Channel::BehindPositive, config.pack.nominal.bits()),
            8 => (Channel::Link, config.pack.nominal.bits()),
            9 => (Channel::Supply, Volts::from_milli(6_000).bits()),
            _ => (Channel::Feedback, 0),
        };
        let manner = match dice.below(5) {
            0 => Manner::Stuck,
            1 => Manner::Missing,
            2 => Manner::Swapped,
            // From all of it to an eighth, either way.
            _ => {
                let size = full >> dice.below(4);
                Manner::Offset(if dice.one_in(2) { size } else { -size })
            }
        };
        let lasts = 8_u32 << dice.below(7);
        Self { channel, manner, until: tick + lasts, began_with: *frame }
    }

    fn number(&self, truth: i32, began_with: i32, neighbour: i32) -> i32 {
        match self.manner {
            Manner::Stuck => began_with,
            Manner::Offset(bits) => truth.saturating_add(bits),
            Manner::Missing => truth,
            Manner::Swapped => neighbour,
        }
    }

    fn volts(&self, truth: Volts, began_with: Volts, neighbour: Volts) -> Volts {
        Volts::from_bits(self.number(truth.bits(), began_with.bits(), neighbour.bits()))
    }

    fn amps(&self, truth: Amps, began_with: Amps) -> Amps {
        Amps::from_bits(self.number(truth.bits(), began_with.bits(), -truth.bits()))
    }

    pub(super) fn spoil(&self, frame: &mut Frame<CELLS, THERMISTORS>) {
        let (true_cells, true_ratios, true_volts) =
            (frame.cells.value, frame.thermistors.value, frame.voltages.value);
        let began = &self.began_with;
        let cell = |place: usize| {
            self.volts(true_cells.0[place], began.cells.value.0[place], true_cells.0[(place + 1) % CELLS])
        };
        let at_contactors = began.voltages.value;
        match self.channel {
            Channel::Cell(place) => frame.cells.value.0[place] = cell(place),
            Channel::Cells => frame.cells.value = Each(std::array::from_fn(cell)),
            Channel::Thermistor(place) => {
                let neighbour = true_ratios.0[(place + 1) % THERMISTORS].bits();
                let began_with = began.thermistors.value.0[place].bits();
                let ratio = self.number(true_ratios.0[place].bits(), began_with, neighbour);
                frame.thermistors.value.0[place] = Ratio::from_bits(ratio);
            }
            Channel::Current => frame.current.value = self.amps(frame.current.value, began.current.value),
            Channel::CurrentCheck => {
                frame.current_check.value = self.amps(frame.current_check.value, began.current_check.value);
            }
            Channel::Pack => {
                frame.voltages.value.pack = self.volts(true_volts.pack, at_contactors.pack, true_volts.link);
            }
            Channel::BehindNegative => {
                frame.voltages.value.behind_negative = self.volts(
                    true_volts.behind_negative,
                    at_contactors.behind_negative,
                    true_volts.behind_positive,
                );
            }
            Channel::BehindPositive => {
                frame.voltages.value.behind_positive = self.volts(
                    true_volts.behind_positive,
                    at_contactors.behind_positive,
                    true_volts.behind_negative,
                );
            }
            Channel::Link => {
                frame.voltages.value.link = self.volts(true_volts.link, at_contactors.link, true_volts.pack);
            }
            Channel::Supply => {
                frame.supply.value = self.volts(frame.supply.value, began.supply.value, Volts::ZERO);
            }
            Channel::Feedback => {
                let contacts = frame.feedback.value;
                frame.feedback.value = match self.manner {
                    Manner::Stuck => began.feedback.value,
                    Manner::Offset(_) | Manner::Missing => contacts,
                    Manner::Swapped => {
                        Feedback { negative: contacts.positive, positive: contacts.negative, ..contacts }
                    }
                };
            }
        }
        if matches!(self.manner, Manner::Missing) {
            let age = match self.channel {
                Channel::Cell(_) | Channel::Cells => &mut frame.cells.age,
                Channel::Thermistor(_) => &mut frame.thermistors.age,
                Channel::Current => &mut frame.current.age,
                Channel::CurrentCheck => &mut frame.current_check.age,
                Channel::Pack | Channel::BehindNegative | Channel::BehindPositive | Channel::Link => {
                    &mut frame.voltages.age
                }
                Channel::Supply => &mut frame.supply.age,
                Channel::Feedback => &mut frame.feedback.age,
            };
            *age = Millis::MAX;
        }
    }
}
