//! # The edge to real hardware
//!
//! The only file that knows of `embedded-hal`. The core itself takes a [`Frame`] and answers with a [`Decision`]; a [`Board`] makes the
//! one from pins and converters and carries the other out. It decides nothing.
//!
//! - Coils: three output pins, high is energised. Releases come before pulls, so that two contactors never overlap for
//!   want of order, and every pin is written in every tick: a write that failed, or a pin that was disturbed, is put right 10 ms later.
//! - Feedback: three input pins, high is [`Contact::Made`].
//! - Cooling: a duty cycle, full or none.
//! - [`Converter`]: one method of our own, since `embedded-hal` 1.0 has no trait for analogue inputs. It gives the fraction of the
//!   reference; a [`Scale`] turns that into volts or amperes.
//! - [`FrontEnd`]: the cells, their bleed switches and the test current.
//! - [`Periphery`]: contacts and counters, the resistor to the chassis, and what warns people.
//!
//! What fails to be read does not fail the frame. That part keeps its last value and grows older, until the core no longer
//! believes it and says so; a part that never was read has the age [`Millis::MAX`]. Each failure is told as a [`Trouble`].
//!
//! ```
//! use bms_core::decision::{CellSet, Warning};
//! use bms_core::frame::{Asked, Contact, Contacts, Inputs as Pulled, ToChassis};
//! use bms_core::hal::{Board, Channel, Coils, Converter, Feedback, FrontEnd, Periphery, Scale, Scales};
//! use bms_core::units::{Amps, Instant, Ratio, Volts};
//! use bms_core::{Config, Controller, Each, Step};
//! use core::convert::Infallible;
//! use embedded_hal::{digital, pwm};
//!
//! struct Pin(bool); // a driver's pin
//! impl digital::ErrorType for Pin {
//!     type Error = Infallible;
//! }
//! impl digital::OutputPin for Pin {
//!     fn set_low(&mut self) -> Result<(), Infallible> {
//!         self.0 = false;
//!         Ok(())
//!     }
//!     fn set_high(&mut self) -> Result<(), Infallible> {
//!         self.0 = true;
//!         Ok(())
//!     }
//! }
//! impl digital::InputPin for Pin {
//!     fn is_high(&mut self) -> Result<bool, Infallible> {
//!         Ok(self.0)
//!     }
//!     fn is_low(&mut self) -> Result<bool, Infallible> {
//!         Ok(!self.0)
//!     }
//! }
//! struct Fan(u16); // a driver's timer channel
//! impl pwm::ErrorType for Fan {
//!     type Error = Infallible;
//! }
//! impl pwm::SetDutyCycle for Fan {
//!     fn max_duty_cycle(&self) -> u16 {
//!         1_000
//!     }
//!     fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Infallible> {
//!         self.0 = duty;
//!         Ok(())
//!     }
//! }
//! struct Inputs; // a driver's converter: everything stands at half the reference
//! impl Converter for Inputs {
//!     type Error = Infallible;
//!     fn ratio(&mut self, _: Channel) -> Result<Ratio, Infallible> {
//!         Ok(Ratio::percent(50))
//!     }
//! }
//! struct Cells;
//! impl FrontEnd<16> for Cells {
//!     type Error = Infallible;
//!     fn cells(&mut self, volts: &mut Each<Volts, 16>) -> Result<(), Infallible> {
//!         *volts = Each::all(Volts::from_milli(3_300));
//!         Ok(())
//!     }
//!     fn bleed(&mut self, _: &CellSet<16>) -> Result<(), Infallible> {
//!         Ok(())
//!     }
//!     fn bleed_flows(&mut self) -> Result<Option<CellSet<16>>, Infallible> {
//!         Ok(None) // these chips have no comparators
//!     }
//!     fn cells_pulled(&mut self, _: Pulled, volts: &mut Each<Volts, 16>) -> Result<(), Infallible> {
//!         self.cells(volts) // every wire is sound
//!     }
//! }
//! struct Around;
//! impl Periphery for Around {
//!     type Error = Infallible;
//!     fn contacts(&mut self) -> Result<Contacts, Infallible> {
//!         Ok(Contacts::SOUND)
//!     }
//!     fn resistor(&mut self, _: ToChassis) -> Result<(), Infallible> {
//!         Ok(())
//!     }
//!     fn warn(&mut self, _: Option<Warning>) -> Result<(), Infallible> {
//!         Ok(())
//!     }
//! }
//!
//! let of_pack = Scale { at_zero: Volts::ZERO, at_full: Volts::from_milli(100_000) };
//! let both_ways = |most: i32| Scale { at_zero: Amps::from_milli(-most), at_full: Amps::from_milli(most) };
//! let scales = Scales {
//!     current: both_ways(120_000),
//!     current_check: both_ways(1_200_000), // a short circuit beyond what the contactors may break
//!     pack: of_pack,
//!     behind_negative: Some(of_pack),
//!     behind_positive: Some(of_pack),
//!     link: of_pack,
//!     poles: Some(of_pack),
//!     supply: Scale { at_zero: Volts::ZERO, at_full: Volts::from_milli(24_000) },
//! };
//! let config = Config::trainer().fit().expect("the defaults are valid");
//! let mut board = Board::<_, _, _, _, _, _, 16, 8>::new(
//!     Coils { negative: Pin(true), precharge: Pin(true), positive: Pin(true) },
//!     Feedback { negative: Pin(false), precharge: Pin(false), positive: Pin(false) },
//!     Fan(0),
//!     Inputs,
//!     Cells,
//!     Around,
//!     scales.fit(&config).expect("the configuration is the one of this board"),
//! );
//! let mut controller = Controller::<16, 8>::new(config);
//!
//! let frame = board.sample(Instant(10), Asked::NOTHING, |trouble| panic!("{trouble:?}"));
//! assert_eq!(frame.voltages.value.pack.milli(), 50_000);
//! assert_eq!(frame.current.value, Amps::ZERO);
//! assert_eq!(frame.feedback.value.positive, Contact::Broken);
//! let decision = controller.tick(&frame, &mut ());
//! assert_eq!(decision.step, Step::Open);
//! board.act(&decision, |trouble| panic!("{trouble:?}"));
//! assert!(!board.coils().positive.0, "released");
//! ```

mod scale;

pub use scale::{FittedScales, Misfit, Scale, Scales};

use crate::decision::{self, CellSet, Coil, Cooling, Decision, Warning};
use crate::each::Each;
use crate::frame::{
    self, Asked, Contact, Contactor, Contacts, Frame, Inputs, PackVoltages, Part, PoleVoltages, Pulled,
    ToChassis,
};
use crate::units::{Instant, Millis, Ratio, Volts};
use embedded_hal::digital::{self, Error as _, InputPin, OutputPin};
use embedded_hal::pwm::{self, Error as _, SetDutyCycle};

/// An analogue input of the board.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Channel {
    /// Voltage across a thermistor's place in its divider (counted from 0).
    Thermistor(u8),
    /// Main current sensor.
    Current,
    /// Second current sensor.
    CurrentCheck,
    /// B+ to B−.
    Pack,
    /// B+ to L−.
    BehindNegative,
    /// L+ to B−.
    BehindPositive,
    /// L+ to L−.
    Link,
    /// Chassis above B−.
    NegativePole,
    /// B+ above the chassis.
    PositivePole,
    /// Auxiliary supply.
    Supply,
}

/// Analogue inputs, each as a fraction of the reference: 0 to 1.
pub trait Converter {
    /// What the driver says when it fails.
    type Error: DriverError;

    /// One conversion.
    ///
    /// # Errors
    ///
    /// Whatever keeps the driver from a valid result.
    fn ratio(&mut self, channel: Channel) -> Result<Ratio, Self::Error>;
}

/// The cells' measuring chips.
pub trait FrontEnd<const CELLS: usize> {
    /// What the driver says when it fails.
    type Error: DriverError;

    /// Measures every cell, with bleeding paused. On failure the values are not used.
    ///
    /// # Errors
    ///
    /// Whatever keeps the driver from a complete and valid set.
    fn cells(&mut self, volts: &mut Each<Volts, CELLS>) -> Result<(), Self::Error>;

    /// Switches the bleed resistors of exactly these cells on.
    ///
    /// # Errors
    ///
    /// Whatever keeps the driver from it; it is asked again in the next tick.
    fn bleed(&mut self, cells: &CellSet<CELLS>) -> Result<(), Self::Error>;

    /// The cells whose bleed resistor carries current while the switches stand as they were told last, by a comparator across each
    /// resistor. `None` from chips that cannot say. It is asked before [`cells`](Self::cells), which pauses bleeding.
    ///
    /// # Errors
    ///
    /// Whatever keeps the driver from a complete and valid set.
    fn bleed_flows(&mut self) -> Result<Option<CellSet<CELLS>>, Self::Error>;

    /// Measures every cell while a test current of some 100 µA is pulled from these inputs towards the lowest one, for long enough to
    /// empty the filter behind an open wire; then stops the current. On failure the values are not used.
    ///
    /// # Errors
    ///
    /// Whatever keeps the driver from a complete and valid set.
    fn cells_pulled(&mut self, inputs: Inputs, volts: &mut Each<Volts, CELLS>) -> Result<(), Self::Error>;
}

/// What else is around the pack: contacts and their counters, the resistor to the chassis, and what warns people.
///
/// A contact that a pack does not have is always [`Contact::Made`], a counter that it does not have stands still.
pub trait Periphery {
    /// What the driver says when it fails.
    type Error: DriverError;

    /// Reads contacts and counters.
    ///
    /// # Errors
    ///
    /// Whatever keeps the driver from a valid set.
    fn contacts(&mut self) -> Result<Contacts, Self::Error>;

    /// Switches the known resistor of the insulation measurement: to one pole, to the other, or away. Both at once must be impossible.
    ///
    /// # Errors
    ///
    /// Whatever keeps the driver from it; it is asked again in the next tick.
    fn resistor(&mut self, to: ToChassis) -> Result<(), Self::Error>;

    /// Shows, or sounds, what people are warned of; `None` ends it.
    ///
    /// # Errors
    ///
    /// Whatever keeps the driver from it; it is asked again in the next tick.
    fn warn(&mut self, of: Option<Warning>) -> Result<(), Self::Error>;
}

/// A driver's own error, with the kind that it is.
pub trait DriverError: core::fmt::Debug {
    /// The kind.
    fn kind(&self) -> DriverErrorKind;
}

/// What kept a converter or a front end from answering.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum DriverErrorKind {
    /// It did not answer in time.
    NoAnswer,
    /// Its answer failed a check.
    Corrupted,
    /// It answered that it is not ready, or not set up.
    NotReady,
    /// Something else.
    Other,
}

impl DriverError for core::convert::Infallible {
    fn kind(&self) -> DriverErrorKind {
        match *self {}
    }
}

/// What failed at the edge, with the kind that the driver gave.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Trouble {
    /// A coil's pin could not be written.
    Coil(Contactor, digital::ErrorKind),
    /// A feedback contact's pin could not be read.
    Feedback(Contactor, digital::ErrorKind),
    /// The cooling's duty cycle could not be set.
    Cooling(pwm::ErrorKind),
    /// An analogue input could not be read.
    Input(Channel, DriverErrorKind),
    /// The cells could not be read.
    Cells(DriverErrorKind),
    /// The bleed switches could not be set.
    Bleed(DriverErrorKind),
    /// What bleeds could not be read.
    BleedFlows(DriverErrorKind),
    /// The cells could not be read under the test current.
    CellsPulled(DriverErrorKind),
    /// Contacts and counters could not be read.
    Contacts(DriverErrorKind),
    /// The resistor to the chassis could not be switched.
    Resistor(DriverErrorKind),
    /// The warning could not be given.
    Warning(DriverErrorKind),
}

/// The pins of the three coils. High is energised.
#[derive(Clone, Debug)]
pub struct Coils<N, P, Q> {
    /// Of the negative contactor.
    pub negative: N,
    /// Of the precharge contactor.
    pub precharge: P,
    /// Of the positive contactor.
    pub positive: Q,
}

impl<N: OutputPin, P: OutputPin, Q: OutputPin> Coils<N, P, Q> {
    /// Writes all three pins: first those that release, then those that pull. A pin that fails keeps none of the others back.
    pub fn drive(&mut self, coils: decision::Coils, mut trouble: impl FnMut(Trouble)) {
        for now in [Coil::Off, Coil::On] {
            let mut told = |contactor, written: Result<(), digital::ErrorKind>| {
                if let Err(kind) = written {
                    trouble(Trouble::Coil(contactor, kind));
                }
            };
            if coils.positive == now {
                told(Contactor::Positive, write(&mut self.positive, now));
            }
            if coils.precharge == now {
                told(Contactor::Precharge, write(&mut self.precharge, now));
            }
            if coils.negative == now {
                told(Contactor::Negative, write(&mut self.negative, now));
            }
        }
    }
}

fn write(pin: &mut impl OutputPin, coil: Coil) -> Result<(), digital::ErrorKind> {
    match coil {
        Coil::On => pin.set_high(),
        Coil::Off => pin.set_low(),
    }
    .map_err(|error| error.kind())
}

/// The pins of the three feedback contacts. High is [`Contact::Made`].
#[derive(Clone, Debug)]
pub struct Feedback<N, P, Q> {
    /// Of the negative contactor.
    pub negative: N,
    /// Of the precharge contactor.
    pub precharge: P,
    /// Of the positive contactor.
    pub positive: Q,
}

impl<N: InputPin, P: InputPin, Q: InputPin> Feedback<N, P, Q> {
    /// Reads all three contacts; `None` where one of them fails.
    pub fn read(&mut self, mut trouble: impl FnMut(Trouble)) -> Option<frame::Feedback> {
        let mut told = |contactor, contact: Result<Contact, digital::ErrorKind>| {
            contact.map_err(|kind| trouble(Trouble::Feedback(contactor, kind))).ok()
        };
        let negative = told(Contactor::Negative, read(&mut self.negative));
        let precharge = told(Contactor::Precharge, read(&mut self.precharge));
        let positive = told(Contactor::Positive, read(&mut self.positive));
        Some(frame::Feedback { negative: negative?, precharge: precharge?, positive: positive? })
    }
}

fn read(pin: &mut impl InputPin) -> Result<Contact, digital::ErrorKind> {
    match pin.is_high() {
        Ok(true) => Ok(Contact::Made),
        Ok(false) => Ok(Contact::Broken),
        Err(error) => Err(error.kind()),
    }
}

/// Everything between the core and the pins.
#[derive(Clone, Debug)]
pub struct Board<C, F, W, A, E, R, const CELLS: usize, const THERMISTORS: usize> {
    coils: C,
    feedback: F,
    cooling: W,
    converter: A,
    front_end: E,
    periphery: R,
    scales: FittedScales,
    /// What the last decision asked for, and where the resistor was switched.
    pull: Option<Inputs>,
    resistor: ToChassis,
    frame: Frame<CELLS, THERMISTORS>,
}

impl<C, F, W, A, E, R, const CELLS: usize, const THERMISTORS: usize>
    Board<C, F, W, A, E, R, CELLS, THERMISTORS>
{
    /// Puts the parts together; nothing is read or written yet. The scales come from [`Scales::fit`], so that they fit the configuration.
    #[must_use]
    pub const fn new(
        coils: C,
        feedback: F,
        cooling: W,
        converter: A,
        front_end: E,
        periphery: R,
        scales: FittedScales,
    ) -> Self {
        let (pull, resistor, frame) = (None, ToChassis::Open, Frame::empty(Instant(0)));
        Self { coils, feedback, cooling, converter, front_end, periphery, scales, pull, resistor, frame }
    }

    /// The coils' pins.
    #[must_use]
    pub const fn coils(&self) -> &C {
        &self.coils
    }

    /// The pins of the feedback contacts.
    pub const fn feedback_mut(&mut self) -> &mut F {
        &mut self.feedback
    }

    /// The cooling's timer channel.
    #[must_use]
    pub const fn cooling(&self) -> &W {
        &self.cooling
    }

    /// The analogue inputs: to calibrate them anew, say.
    pub const fn converter_mut(&mut self) -> &mut A {
        &mut self.converter
    }

    /// The cells' measuring chips.
    #[must_use]
    pub const fn front_end(&self) -> &E {
        &self.front_end
    }

    /// The cells' measuring chips: to set them up anew, say.
    pub const fn front_end_mut(&mut self) -> &mut E {
        &mut self.front_end
    }

    /// What else is around the pack.
    #[must_use]
    pub const fn periphery(&self) -> &R {
        &self.periphery
    }

    /// What else is around the pack: to set it up anew, say.
    pub const fn periphery_mut(&mut self) -> &mut R {
        &mut self.periphery
    }

    /// Takes the parts out again: coils, feedback, cooling, converter, front end, periphery.
    #[must_use]
    pub fn into_parts(self) -> (C, F, W, A, E, R) {
        (self.coils, self.feedback, self.cooling, self.converter, self.front_end, self.periphery)
    }
}

impl<N, P, Q, I, J, K, W, A, E, R, const CELLS: usize, const THERMISTORS: usize>
    Board<Coils<N, P, Q>, Feedback<I, J, K>, W, A, E, R, CELLS, THERMISTORS>
where
    N: OutputPin,
    P: OutputPin,
    Q: OutputPin,
    I: InputPin,
    J: InputPin,
    K: InputPin,
    W: SetDutyCycle,
    A: Converter,
    E: FrontEnd<CELLS>,
    R: Periphery,
{
    /// Reads everything and gives the frame of this tick. What fails keeps its last value and grows older.
    pub fn sample(
        &mut self,
        at: Instant,
        asked: Asked,
        mut trouble: impl FnMut(Trouble),
    ) -> Frame<CELLS, THERMISTORS> {
        // A clock that runs backwards says nothing about how old a reading is: then it is too old.
        let elapsed = at.since(self.frame.at).unwrap_or(Millis::MAX);
        let (scales, converter, kept) = (self.scales.get(), &mut self.converter, &mut self.frame);
        (kept.at, kept.asked) = (at, asked);
        let mut input = |channel| {
            converter.ratio(channel).map_err(|error| trouble(Trouble::Input(channel, error.kind()))).ok()
        };
        kept.voltages.renew(voltages(scales, &mut input), elapsed);
        kept.poles.renew(poles(scales, self.resistor, &mut input), elapsed);
        kept.current.renew(input(Channel::Current).map(|ratio| scales.current.at(ratio)), elapsed);
        let check = input(Channel::CurrentCheck).map(|ratio| scales.current_check.at(ratio));
        kept.current_check.renew(check, elapsed);
        kept.supply.renew(input(Channel::Supply).map(|ratio| scales.supply.at(ratio)), elapsed);
        kept.thermistors.renew(thermistors(&mut input), elapsed);
        kept.feedback.renew(self.feedback.read(&mut trouble), elapsed);
        let flows = self.front_end.bleed_flows();
        let flows = flows.map_err(|error| trouble(Trouble::BleedFlows(error.kind()))).ok().flatten();
        kept.bleed_flows.renew(flows, elapsed);
        let mut volts = kept.cells.value;
        let cells = self.front_end.cells(&mut volts);
        let cells = cells.map_err(|error| trouble(Trouble::Cells(error.kind()))).ok().map(|()| volts);
        kept.cells.renew(cells, elapsed);
        let pulled = self.pull.take().and_then(|inputs| {
            let mut cells = kept.cells_pulled.value.cells;
            let read = self.front_end.cells_pulled(inputs, &mut cells);
            read.map_err(|error| trouble(Trouble::CellsPulled(error.kind())))
                .ok()
                .map(|()| Pulled { inputs, cells })
        });
        kept.cells_pulled.renew(pulled, elapsed);
        let contacts = self.periphery.contacts();
        let contacts = contacts.map_err(|error| trouble(Trouble::Contacts(error.kind()))).ok();
        kept.contacts.renew(contacts, elapsed);
        *kept
    }

    /// Carries out a decision: coils first, since they protect; then the rest. Nothing that fails keeps the rest back. A test current that is
    /// asked for flows while the next frame is sampled.
    pub fn act(&mut self, decision: &Decision<CELLS>, mut trouble: impl FnMut(Trouble)) {
        self.coils.drive(decision.coils, &mut trouble);
        let cooled = match decision.cooling {
            Cooling::On => self.cooling.set_duty_cycle_fully_on(),
            Cooling::Off => self.cooling.set_duty_cycle_fully_off(),
        };
        if let Err(error) = cooled {
            trouble(Trouble::Cooling(error.kind()));
        }
        if let Err(error) = self.front_end.bleed(&decision.bleed) {
            trouble(Trouble::Bleed(error.kind()));
        }
        self.pull = decision.pull;
        match self.periphery.resistor(decision.resistor) {
            Ok(()) => self.resistor = decision.resistor,
            Err(error) => trouble(Trouble::Resistor(error.kind())),
        }
        if let Err(error) = self.periphery.warn(decision.warning) {
            trouble(Trouble::Warning(error.kind()));
        }
    }
}

impl<T> Part<T> {
    /// Takes a new reading, or lets the last one grow older.
    fn renew(&mut self, reading: Option<T>, elapsed: Millis) {
        match reading {
            Some(value) => *self = Self::fresh(value),
            None => self.age = self.age + elapsed,
        }
    }
}

/// All points that there are, in one go: a set from two instants would contradict itself.
fn voltages(scales: &Scales, input: &mut impl FnMut(Channel) -> Option<Ratio>) -> Option<PackVoltages> {
    let mut point = |scale: Option<Scale<Volts>>, channel| match scale {
        Some(scale) => input(channel).map(|ratio| scale.at(ratio)),
        None => Some(Volts::ZERO),
    };
    let pack = point(Some(scales.pack), Channel::Pack);
    let behind_negative = point(scales.behind_negative, Channel::BehindNegative);
    let behind_positive = point(scales.behind_positive, Channel::BehindPositive);
    let link = point(Some(scales.link), Channel::Link);
    Some(PackVoltages {
        pack: pack?,
        behind_negative: behind_negative?,
        behind_positive: behind_positive?,
        link: link?,
    })
}

/// Both poles, where they are measured.
fn poles(
    scales: &Scales,
    resistor: ToChassis,
    input: &mut impl FnMut(Channel) -> Option<Ratio>,
) -> Option<PoleVoltages> {
    let scale = scales.poles?;
    let negative = input(Channel::NegativePole).map(|ratio| scale.at(ratio));
    let positive = input(Channel::PositivePole).map(|ratio| scale.at(ratio));
    Some(PoleVoltages { negative: negative?, positive: positive?, resistor })
}

fn thermistors<const THERMISTORS: usize>(
    input: &mut impl FnMut(Channel) -> Option<Ratio>,
) -> Option<Each<Ratio, THERMISTORS>> {
    let mut ratios = Each::all(Ratio::ZERO);
    let mut place = 0_u8;
    for ratio in &mut ratios {
        *ratio = input(Channel::Thermistor(place))?;
        place = place.saturating_add(1);
    }
    Some(ratios)
}

#[cfg(test)]
mod tests;
