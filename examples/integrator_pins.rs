//! You will see firmware close and open three contactors through `embedded-hal` pins, with no simulator: precharge, closed, a cell that
//! reads 3.9 V, and all pins low again. Only `bms-core` is linked; replace the parts below by your drivers.
#![allow(clippy::print_stdout, reason = "an example talks")]

use bms_core::decision::{CellSet, Warning};
use bms_core::frame::{self, Asked, Contacts, ToChassis, Wanted};
use bms_core::hal::{Board, Channel, Coils, Converter, Feedback, FrontEnd, Periphery, Scale, Scales};
use bms_core::units::{Amps, Instant, Ratio, Volts};
use bms_core::{Config, Controller, Each, Evidence, Fault, Step, Witness};
use core::cell::Cell;
use core::convert::Infallible;
use embedded_hal::{digital, pwm};
use std::process::ExitCode;

/// A contactor: the coil's pin drives it, the feedback's pin reads it. A board has two pins here.
struct Pin<'a>(&'a Cell<bool>);
impl digital::ErrorType for Pin<'_> {
    type Error = Infallible;
}
impl digital::OutputPin for Pin<'_> {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.set(false);
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.set(true);
        Ok(())
    }
}
impl digital::InputPin for Pin<'_> {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.get())
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.get())
    }
}

struct Fan;
impl pwm::ErrorType for Fan {
    type Error = Infallible;
}
impl pwm::SetDutyCycle for Fan {
    fn max_duty_cycle(&self) -> u16 {
        1_000
    }
    fn set_duty_cycle(&mut self, _: u16) -> Result<(), Infallible> {
        Ok(())
    }
}

/// What hangs on the wires: three contactors, a link in millivolts, the reading of cell 3 in millivolts, a resistor to the chassis.
#[derive(Default)]
struct Wires {
    negative: Cell<bool>,
    precharge: Cell<bool>,
    positive: Cell<bool>,
    link: Cell<i32>,
    third_cell: Cell<i32>,
    resistor: Cell<ToChassis>,
}

const PACK: i32 = 52_800; // 16 cells of 3.3 V

impl Wires {
    /// 10 ms of charging through 10 Ω into 5 mF: a share of 1 − e^(−10 ms/49 ms) = 18 % towards 98 % of the pack.
    fn settle(&self) {
        let connected = self.negative.get();
        match (connected && self.positive.get(), connected && self.precharge.get()) {
            (true, _) => self.link.set(PACK),
            (false, true) => self.link.set(self.link.get() + (PACK * 98 / 100 - self.link.get()) * 18 / 100),
            (false, false) => self.link.set(self.link.get() * 99 / 100),
        }
    }
    /// L− against B−: tied by a contactor, or floating in the middle behind two equal dividers.
    fn lifted(&self) -> i32 {
        match (self.negative.get(), self.precharge.get() || self.positive.get()) {
            (true, _) => 0,
            (false, true) => PACK - self.link.get(),
            (false, false) => (PACK - self.link.get()) / 2,
        }
    }
    /// The chassis above B−: in the middle while both poles are insulated alike, near the one with 25 kΩ beside some megohms.
    fn chassis(&self) -> i32 {
        match self.resistor.get() {
            ToChassis::Open => PACK / 2,
            ToChassis::Negative => PACK / 60,
            ToChassis::Positive => PACK - PACK / 60,
        }
    }
}

struct Inputs<'a>(&'a Wires);
impl Converter for Inputs<'_> {
    type Error = Infallible;
    fn ratio(&mut self, channel: Channel) -> Result<Ratio, Infallible> {
        let of_full = |millivolts| Ratio::from_bits(millivolts * 4_096 / 6_250); // 65 536 for 100 V
        Ok(match channel {
            // 10 kΩ against 10 kΩ: 25 °C; 0 A, 0 A, 12 V.
            Channel::Thermistor(_) | Channel::Current | Channel::CurrentCheck | Channel::Supply => {
                Ratio::percent(50)
            }
            Channel::Pack => of_full(PACK),
            Channel::BehindNegative => of_full(PACK - self.0.lifted()),
            Channel::BehindPositive => of_full(self.0.lifted() + self.0.link.get()),
            Channel::Link => of_full(self.0.link.get()),
            Channel::NegativePole => of_full(self.0.chassis()),
            Channel::PositivePole => of_full(PACK - self.0.chassis()),
        })
    }
}

struct Chips<'a>(&'a Wires);
impl FrontEnd<16> for Chips<'_> {
    type Error = Infallible;
    fn cells(&mut self, volts: &mut Each<Volts, 16>) -> Result<(), Infallible> {
        *volts = Each::all(Volts::from_milli(3_300));
        volts.0[2] = Volts::from_milli(self.0.third_cell.get());
        Ok(())
    }
    fn bleed(&mut self, _: &CellSet<16>) -> Result<(), Infallible> {
        Ok(())
    }
    fn bleed_flows(&mut self) -> Result<Option<CellSet<16>>, Infallible> {
        Ok(None) // these chips have no comparators
    }
    fn cells_pulled(&mut self, _: frame::Inputs, volts: &mut Each<Volts, 16>) -> Result<(), Infallible> {
        self.cells(volts) // every wire is sound
    }
}

/// Interlock whole, disconnects in place; nobody looks at the lamp.
struct Around<'a>(&'a Wires);
impl Periphery for Around<'_> {
    type Error = Infallible;
    fn contacts(&mut self) -> Result<Contacts, Infallible> {
        Ok(Contacts::SOUND)
    }
    fn resistor(&mut self, to: ToChassis) -> Result<(), Infallible> {
        self.0.resistor.set(to);
        Ok(())
    }
    fn warn(&mut self, _: Option<Warning>) -> Result<(), Infallible> {
        Ok(())
    }
}

/// Prints each move of the sequence as it is decided.
struct Log(u32);
impl Witness for Log {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Moved { from, to, because } = evidence {
            println!("{:>5} ms  {from:?} → {to:?} because {because:?}", self.0);
        }
    }
}

fn main() -> ExitCode {
    let wires = Wires { third_cell: Cell::new(3_300), ..Wires::default() };
    let volts = Scale { at_zero: Volts::ZERO, at_full: Volts::from_milli(100_000) };
    let amps = |most: i32| Scale { at_zero: Amps::from_milli(-most), at_full: Amps::from_milli(most) };
    let supply = Scale { at_zero: Volts::ZERO, at_full: Volts::from_milli(24_000) };
    let scales = Scales {
        current: amps(120_000),
        current_check: amps(1_200_000), // a short circuit beyond what the contactors may break
        pack: volts,
        behind_negative: Some(volts),
        behind_positive: Some(volts),
        link: volts,
        poles: Some(volts),
        supply,
    };
    let config = Config::trainer().fit().expect("the defaults are valid");
    let mut board = Board::<_, _, _, _, _, _, 16, 8>::new(
        Coils {
            negative: Pin(&wires.negative),
            precharge: Pin(&wires.precharge),
            positive: Pin(&wires.positive),
        },
        Feedback {
            negative: Pin(&wires.negative),
            precharge: Pin(&wires.precharge),
            positive: Pin(&wires.positive),
        },
        Fan,
        Inputs(&wires),
        Chips(&wires),
        Around(&wires),
        scales.fit(&config).expect("the configuration is the one of this board"),
    );
    let mut controller = Controller::<16, 8>::new(config);
    let (mut closed, mut opened) = (false, false);
    for at in (0..8_000).step_by(10) {
        if at == 4_000 {
            println!("{at:>5} ms  cell 3 reads 3.9 V from now on");
            wires.third_cell.set(3_900);
        }
        // A switch that stands on when the firmware starts closes nothing: it must have been off once.
        let contactors = if at == 0 { Wanted::Open } else { Wanted::Closed };
        let asked = Asked { contactors, ..Asked::NOTHING };
        let frame = board.sample(Instant(at), asked, |trouble| println!("{trouble:?}"));
        let decision = controller.tick(&frame, &mut Log(at));
        board.act(&decision, |trouble| println!("{trouble:?}"));
        wires.settle();
        closed |= at < 4_000 && decision.step == Step::Closed && wires.positive.get() && wires.negative.get();
        let all_low = ![&wires.negative, &wires.precharge, &wires.positive].iter().any(|pin| pin.get());
        opened |= all_low && at > 4_000 && decision.faults.confirmed.holds(Fault::CellOverVoltage);
    }
    println!("closed through precharge: {closed}; opened by cell over-voltage with all pins low: {opened}");
    if closed && opened { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
