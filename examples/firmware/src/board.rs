//! A board whose drivers may answer anything and fail in every way: the optimiser knows nothing of what they do.

use bms_core::decision::{CellSet, Warning};
use bms_core::frame::{Contacts, Inputs, ToChassis};
use bms_core::hal::{
    Board, Channel, Coils, Converter, DriverError, DriverErrorKind, Feedback, FrontEnd, Misfit, Periphery,
    Scale, Scales,
};
use bms_core::units::{Amps, Ratio, Volts};
use bms_core::{Config, Each};
use core::hint::black_box;
use embedded_hal::{digital, pwm};

/// Every driver of the board.
pub struct Driver;

/// What a driver says when it fails.
#[derive(Clone, Copy, Debug)]
pub struct Failed;

/// The board that drivers of nothing make.
pub type Anything<const CELLS: usize, const THERMISTORS: usize> = Board<
    Coils<Driver, Driver, Driver>,
    Feedback<Driver, Driver, Driver>,
    Driver,
    Driver,
    Driver,
    Driver,
    CELLS,
    THERMISTORS,
>;

/// A board with unknown scales.
///
/// # Errors
///
/// They may not fit the configuration.
pub fn anything<const CELLS: usize, const THERMISTORS: usize>(
    config: &Config,
) -> Result<Anything<CELLS, THERMISTORS>, Misfit> {
    let volts = black_box(Scale { at_zero: Volts::ZERO, at_full: Volts::from_milli(500_000) });
    let amps =
        black_box(Scale { at_zero: Amps::from_milli(-3_000_000), at_full: Amps::from_milli(3_000_000) });
    let scales = black_box(Scales {
        current: amps,
        current_check: amps,
        pack: volts,
        behind_negative: Some(volts),
        behind_positive: Some(volts),
        link: volts,
        poles: Some(volts),
        supply: volts,
    });
    let coils = Coils { negative: Driver, precharge: Driver, positive: Driver };
    let feedback = Feedback { negative: Driver, precharge: Driver, positive: Driver };
    Ok(Board::new(coils, feedback, Driver, Driver, Driver, Driver, scales.fit(config)?))
}

/// Fails or not.
fn done<T>(value: T) -> Result<T, Failed> {
    black_box(Ok(value))
}

impl digital::Error for Failed {
    fn kind(&self) -> digital::ErrorKind {
        black_box(digital::ErrorKind::Other)
    }
}

impl pwm::Error for Failed {
    fn kind(&self) -> pwm::ErrorKind {
        black_box(pwm::ErrorKind::Other)
    }
}

impl DriverError for Failed {
    fn kind(&self) -> DriverErrorKind {
        black_box(DriverErrorKind::Other)
    }
}

impl digital::ErrorType for Driver {
    type Error = Failed;
}

impl digital::OutputPin for Driver {
    fn set_low(&mut self) -> Result<(), Failed> {
        done(())
    }
    fn set_high(&mut self) -> Result<(), Failed> {
        done(())
    }
}

impl digital::InputPin for Driver {
    fn is_high(&mut self) -> Result<bool, Failed> {
        done(false)
    }
    fn is_low(&mut self) -> Result<bool, Failed> {
        done(true)
    }
}

impl pwm::ErrorType for Driver {
    type Error = Failed;
}

impl pwm::SetDutyCycle for Driver {
    fn max_duty_cycle(&self) -> u16 {
        black_box(1_000)
    }
    fn set_duty_cycle(&mut self, _: u16) -> Result<(), Failed> {
        done(())
    }
}

impl Converter for Driver {
    type Error = Failed;
    fn ratio(&mut self, channel: Channel) -> Result<Ratio, Failed> {
        black_box(channel);
        done(Ratio::ONE)
    }
}

impl<const CELLS: usize> FrontEnd<CELLS> for Driver {
    type Error = Failed;
    fn cells(&mut self, volts: &mut Each<Volts, CELLS>) -> Result<(), Failed> {
        volts.iter_mut().for_each(|volts| *volts = black_box(Volts::ZERO));
        done(())
    }
    fn bleed(&mut self, cells: &CellSet<CELLS>) -> Result<(), Failed> {
        cells.iter().for_each(|cell| {
            black_box(cell);
        });
        done(())
    }
    fn bleed_flows(&mut self) -> Result<Option<CellSet<CELLS>>, Failed> {
        done(Some(CellSet::EMPTY))
    }
    fn cells_pulled(&mut self, inputs: Inputs, volts: &mut Each<Volts, CELLS>) -> Result<(), Failed> {
        black_box(inputs);
        volts.iter_mut().for_each(|volts| *volts = black_box(Volts::ZERO));
        done(())
    }
}

impl Periphery for Driver {
    type Error = Failed;
    fn contacts(&mut self) -> Result<Contacts, Failed> {
        done(Contacts::SOUND)
    }
    fn resistor(&mut self, to: ToChassis) -> Result<(), Failed> {
        black_box(to);
        done(())
    }
    fn warn(&mut self, of: Option<Warning>) -> Result<(), Failed> {
        black_box(of);
        done(())
    }
}
