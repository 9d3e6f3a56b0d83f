//! The simulated board: pins and converters that show what the sensors see and take what the firmware drives.
//!
//! The firmware of a real pack meets the world through [`bms_core::hal::Board`] only, which makes frames from pins and carries decisions
//! out. A [`SimulatedBoard`] runs that very binding on the host: input pins, converter and front end hold what the sensors see at an
//! instant; coils, fan and bleed switches hold what was driven last. Nothing here fails; failing drivers are tested in the core.
//!
//! The converter counts in steps of its channel, 65 536 of them around zero:
//!
//! ```text
//! ratio = 1/2 + reading / (65 536 · step)      reading = (ratio − 1/2) · 65 536 · step
//! ```
//!
//! so that a reading comes back as it was sampled, to one bit of the fixed point (15 µV, 15 µA). Cell voltages, thermistor ratios and
//! contacts come back exactly.

use super::Actuators;
use super::sensor::nearest;
use super::spec::SensorSpec;
use bms_core::decision::{CellSet, Decision, Warning};
use bms_core::frame::{self, Contact, Contacts, Frame, ToChassis};
use bms_core::hal::{Board, Channel, Coils, Converter, Feedback, FrontEnd, Misfit, Periphery, Scale, Scales};
use bms_core::units::{Amps, Ratio, Volts};
use bms_core::{Config, Each};
use core::convert::Infallible;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::pwm::{self, SetDutyCycle};

/// A pin: high or low.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pin {
    /// Whether it is high: a coil energised, a contact made.
    pub high: bool,
}

impl digital::ErrorType for Pin {
    type Error = Infallible;
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.high = false;
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.high = true;
        Ok(())
    }
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.high)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.high)
    }
}

/// The timer channel that drives the cooling fan.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fan {
    duty: u16,
}

impl pwm::ErrorType for Fan {
    type Error = Infallible;
}

impl SetDutyCycle for Fan {
    fn max_duty_cycle(&self) -> u16 {
        1_000
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Infallible> {
        self.duty = duty;
        Ok(())
    }
}

/// The analogue inputs as they were sampled last.
#[derive(Clone, Debug, PartialEq)]
pub struct Inputs<const THERMISTORS: usize> {
    thermistors: Each<Ratio, THERMISTORS>,
    current: Ratio,
    current_check: Ratio,
    pack: Ratio,
    behind_negative: Ratio,
    behind_positive: Ratio,
    link: Ratio,
    poles: [Ratio; 2],
    supply: Ratio,
}

impl<const THERMISTORS: usize> Inputs<THERMISTORS> {
    /// Everything at zero of its scale.
    const ZERO: Self = Self {
        thermistors: Each::all(Ratio::ZERO),
        current: Ratio::ZERO,
        current_check: Ratio::ZERO,
        pack: Ratio::ZERO,
        behind_negative: Ratio::ZERO,
        behind_positive: Ratio::ZERO,
        link: Ratio::ZERO,
        poles: [Ratio::ZERO; 2],
        supply: Ratio::ZERO,
    };
}

impl<const THERMISTORS: usize> Converter for Inputs<THERMISTORS> {
    type Error = Infallible;

    fn ratio(&mut self, channel: Channel) -> Result<Ratio, Infallible> {
        Ok(match channel {
            // The binding asks for as many as there are.
            Channel::Thermistor(place) => {
                self.thermistors.0.get(usize::from(place)).copied().unwrap_or_default()
            }
            Channel::Current => self.current,
            Channel::CurrentCheck => self.current_check,
            Channel::Pack => self.pack,
            Channel::BehindNegative => self.behind_negative,
            Channel::BehindPositive => self.behind_positive,
            Channel::Link => self.link,
            Channel::NegativePole => self.poles[0],
            Channel::PositivePole => self.poles[1],
            Channel::Supply => self.supply,
        })
    }
}

/// The measuring chips at the cells' taps.
#[derive(Clone, Debug, PartialEq)]
pub struct Chips<const CELLS: usize> {
    volts: Each<Volts, CELLS>,
    /// The same under the test current that was asked for last.
    pulled: Each<Volts, CELLS>,
    bleeding: CellSet<CELLS>,
    flows: CellSet<CELLS>,
}

impl<const CELLS: usize> FrontEnd<CELLS> for Chips<CELLS> {
    type Error = Infallible;

    fn cells(&mut self, volts: &mut Each<Volts, CELLS>) -> Result<(), Infallible> {
        *volts = self.volts;
        Ok(())
    }

    fn bleed(&mut self, cells: &CellSet<CELLS>) -> Result<(), Infallible> {
        self.bleeding = *cells;
        Ok(())
    }

    fn bleed_flows(&mut self) -> Result<Option<CellSet<CELLS>>, Infallible> {
        Ok(Some(self.flows))
    }

    fn cells_pulled(&mut self, _: frame::Inputs, volts: &mut Each<Volts, CELLS>) -> Result<(), Infallible> {
        *volts = self.pulled;
        Ok(())
    }
}

/// Contacts, the resistor to the chassis, and the warning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Around {
    contacts: Contacts,
    resistor: ToChassis,
    /// What people are warned of.
    pub warning: Option<Warning>,
}

impl Periphery for Around {
    type Error = Infallible;

    fn contacts(&mut self) -> Result<Contacts, Infallible> {
        Ok(self.contacts)
    }

    fn resistor(&mut self, to: ToChassis) -> Result<(), Infallible> {
        self.resistor = to;
        Ok(())
    }

    fn warn(&mut self, of: Option<Warning>) -> Result<(), Infallible> {
        self.warning = of;
        Ok(())
    }
}

type Binding<const CELLS: usize, const THERMISTORS: usize> = Board<
    Coils<Pin, Pin, Pin>,
    Feedback<Pin, Pin, Pin>,
    Fan,
    Inputs<THERMISTORS>,
    Chips<CELLS>,
    Around,
    CELLS,
    THERMISTORS,
>;

/// The core's binding with simulated drivers below it.
#[derive(Clone, Debug)]
pub struct SimulatedBoard<const CELLS: usize, const THERMISTORS: usize> {
    binding: Binding<CELLS, THERMISTORS>,
    counters: Counters,
}

/// How many steps of the converter one bit of a quantity is, for each kind of channel.
#[derive(Clone, Copy, Debug)]
struct Counters {
    current: f64,
    current_check: f64,
    pack: f64,
    supply: f64,
}

impl<const CELLS: usize, const THERMISTORS: usize> SimulatedBoard<CELLS, THERMISTORS> {
    /// A board for these sensors, with the points that the firmware is configured for, everything driven off.
    ///
    /// # Errors
    /// When the firmware is configured for a current that a sensor does not reach.
    pub fn new(sensors: &SensorSpec, config: &Config) -> Result<Self, Misfit> {
        let points = config.sensing.points;
        let pack =
            Scale { at_zero: Volts::from_bits(-half(sensors.pack.step)), at_full: volts(sensors.pack.step) };
        let amps =
            |step| Scale { at_zero: Amps::from_bits(-half(step)), at_full: Amps::from_bits(half(step)) };
        let supply = sensors.supply.step;
        let scales = Scales {
            current: amps(sensors.current.step),
            current_check: amps(sensors.current_check.step),
            pack,
            behind_negative: points.behind_negative.then_some(pack),
            behind_positive: points.behind_positive.then_some(pack),
            link: pack,
            poles: points.poles.then_some(pack),
            supply: Scale { at_zero: Volts::from_bits(-half(supply)), at_full: volts(supply) },
        };
        let scales = scales.fit(config)?;
        let off = Pin::default();
        let counter = |step: f64| f64::from(HALF) / f64::from(half(step));
        Ok(Self {
            binding: Board::new(
                Coils { negative: off, precharge: off, positive: off },
                Feedback { negative: off, precharge: off, positive: off },
                Fan::default(),
                Inputs::ZERO,
                Chips {
                    volts: Each::all(Volts::ZERO),
                    pulled: Each::all(Volts::ZERO),
                    bleeding: CellSet::EMPTY,
                    flows: CellSet::EMPTY,
                },
                Around { contacts: Contacts::SOUND, resistor: ToChassis::Open, warning: None },
                scales,
            ),
            counters: Counters {
                current: counter(sensors.current.step),
                current_check: counter(sensors.current_check.step),
                pack: counter(sensors.pack.step),
                supply: counter(supply),
            },
        })
    }

    /// Lets the drivers show what the sensors see, and makes a frame of it through the binding.
    pub fn sample(&mut self, seen: &Frame<CELLS, THERMISTORS>) -> Frame<CELLS, THERMISTORS> {
        let Counters { current, current_check, pack, supply } = self.counters;
        let around = &seen.voltages.value;
        *self.binding.converter_mut() = Inputs {
            thermistors: seen.thermistors.value,
            current: ratio(seen.current.value.bits(), current),
            current_check: ratio(seen.current_check.value.bits(), current_check),
            pack: ratio(around.pack.bits(), pack),
            behind_negative: ratio(around.behind_negative.bits(), pack),
            behind_positive: ratio(around.behind_positive.bits(), pack),
            link: ratio(around.link.bits(), pack),
            poles: [&seen.poles.value.negative, &seen.poles.value.positive]
                .map(|pole| ratio(pole.bits(), pack)),
            supply: ratio(seen.supply.value.bits(), supply),
        };
        let contact = |contact| Pin { high: contact == Contact::Made };
        *self.binding.feedback_mut() = Feedback {
            negative: contact(seen.feedback.value.negative),
            precharge: contact(seen.feedback.value.precharge),
            positive: contact(seen.feedback.value.positive),
        };
        self.binding.front_end_mut().volts = seen.cells.value;
        self.binding.front_end_mut().pulled = seen.cells_pulled.value.cells;
        self.binding.front_end_mut().flows = seen.bleed_flows.value;
        self.binding.periphery_mut().contacts = seen.contacts.value;
        // The drivers cannot fail: there is no trouble to tell.
        self.binding.sample(seen.at, seen.asked, |_| {})
    }

    /// Carries a decision out through the binding and says what the pins drive then. The limits do not go through a pin: the load is
    /// told them.
    pub fn act(&mut self, decision: &Decision<CELLS>) -> Actuators {
        self.binding.act(decision, |_| {});
        let Coils { negative, precharge, positive } = self.binding.coils();
        let bleeding = &self.binding.front_end().bleeding;
        let bleeding =
            if bleeding.is_empty() { 0 } else { bleeding.iter().fold(0, |cells, cell| cells | 1 << cell) };
        Actuators {
            coils: [negative.high, precharge.high, positive.high],
            bleeding,
            cooling: self.binding.cooling().duty > 0,
            resistor: self.binding.periphery().resistor,
            ..Actuators::from(decision)
        }
    }
}

/// Half the steps of the converter.
const HALF: i32 = 32_768;

/// Half the converter's range in bits of the quantity, for a step in its unit. All ranges are far inside of 32 767.
#[expect(clippy::cast_possible_truncation, reason = "rounded, and far inside of the type")]
fn half(step: f64) -> i32 {
    libm::rint(step * f64::from(HALF) * 65_536.0) as i32
}

fn volts(step: f64) -> Volts {
    Volts::from_bits(half(step))
}

/// The converter's answer to a quantity of so many bits.
#[expect(
    clippy::cast_possible_truncation,
    reason = "rounded, and the range of every channel is inside of the converter's"
)]
fn ratio(bits: i32, counter: f64) -> Ratio {
    Ratio::from_bits(HALF + nearest(f64::from(bits) * counter) as i32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::Case;
    use crate::run::Loop;
    use bms_core::units::Millis;
    use std::sync::Arc;

    /// With every contactor moving, cells bleeding and noise on every channel: what comes through the binding is what the sensors
    /// see, to the one bit that fixed-point scaling may cost, and the pins drive what was decided.
    #[test]
    fn the_binding_hands_over_what_is_seen_and_drives_what_is_decided() {
        for text in [
            include_str!("../../../examples/cases/resistive-cell.toml"),
            include_str!("../../../examples/cases/load-left-on.toml"),
        ] {
            let case = Arc::new(Case::parse(text, "case").unwrap());
            let mut played = Loop::<96, 16>::new(&case).unwrap();
            let mut board = SimulatedBoard::new(&played.world.spec().sensors, played.core.config()).unwrap();
            while !played.over() && played.tick < 3_000 {
                let seen = played.frame();
                let through = board.sample(&seen);
                let apart = |one: i32, other: i32| (one - other).abs();
                let (a, b) = (&through.voltages.value, &seen.voltages.value);
                for (one, other) in [
                    (a.pack.bits(), b.pack.bits()),
                    (a.behind_negative.bits(), b.behind_negative.bits()),
                    (a.behind_positive.bits(), b.behind_positive.bits()),
                    (a.link.bits(), b.link.bits()),
                    (through.poles.value.negative.bits(), seen.poles.value.negative.bits()),
                    (through.poles.value.positive.bits(), seen.poles.value.positive.bits()),
                    (through.current.value.bits(), seen.current.value.bits()),
                    (through.current_check.value.bits(), seen.current_check.value.bits()),
                    (through.supply.value.bits(), seen.supply.value.bits()),
                ] {
                    assert!(apart(one, other) <= 1, "{one} {other} in tick {}", played.tick);
                }
                assert_eq!((through.cells, through.thermistors), (seen.cells, seen.thermistors));
                assert_eq!(through.bleed_flows, seen.bleed_flows);
                assert_eq!(
                    (through.contacts, through.poles.value.resistor),
                    (seen.contacts, seen.poles.value.resistor)
                );
                assert_eq!(through.cells_pulled.age == Millis::ZERO, seen.cells_pulled.age == Millis::ZERO);
                assert_eq!(
                    (through.feedback, through.asked, through.at),
                    (seen.feedback, seen.asked, seen.at)
                );
                let decision = played.advance(&mut ());
                assert_eq!(board.act(&decision), Actuators::from(&decision));
            }
        }
    }

    /// Bleeding and cooling reach their pins, and leave them again.
    #[test]
    fn bleed_switches_and_fan_follow() {
        let case = Case::parse(include_str!("../../../examples/cases/healthy-shift.toml"), "case").unwrap();
        let mut played = Loop::<96, 16>::new(&Arc::new(case)).unwrap();
        let mut board =
            SimulatedBoard::<96, 16>::new(&played.world.spec().sensors, played.core.config()).unwrap();
        let off = played.advance(&mut ());
        let mut on = off;
        on.bleed.insert(0);
        on.bleed.insert(95);
        on.cooling = bms_core::decision::Cooling::On;
        let driven = board.act(&on);
        assert_eq!((driven.bleeding, driven.cooling), (1 | 1 << 95, true));
        let driven = board.act(&off);
        assert_eq!((driven.bleeding, driven.cooling), (0, false));
    }
}
