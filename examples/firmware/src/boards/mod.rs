//! What an integrator writes for the rig: one file a board, and nothing else.
//!
//! A board file gives a `Hardware` with the pins and channels that a decision drives, a line that bytes come and go on, and a watchdog, and
//! starts the [`timer`]. `mps2` is the machine that QEMU knows; `stm32f407`, for which the feature of that name stands, is a
//! microcontroller of the trade through its HAL crate. Beside each lies its memory, as the linker wants to hear it.

use bms_core::Decision;
use bms_core::decision::{Coils, Cooling, Warning};
use bms_core::hal;
use bms_core::units::Millis;
use embedded_hal::digital::OutputPin;
use embedded_hal::pwm::SetDutyCycle;

#[cfg(not(feature = "stm32f407"))]
pub mod mps2;
#[cfg(feature = "stm32f407")]
pub mod stm32f407;
pub mod timer;

/// The board that the image is for.
#[cfg(not(feature = "stm32f407"))]
pub use mps2 as here;
#[cfg(feature = "stm32f407")]
pub use stm32f407 as here;

/// The period of the timer.
pub const TICK: Millis = Millis(10);

/// Bytes that come and go.
pub trait Line {
    /// The next byte that has come, without waiting for one.
    fn read(&mut self) -> Option<u8>;

    /// Sends all of them.
    fn write(&mut self, bytes: &[u8]);
}

/// What a decision drives, all of it through `embedded-hal`.
pub struct Driven<N, P, Q, F, W> {
    /// The coils' pins.
    pub coils: hal::Coils<N, P, Q>,
    /// The fan.
    pub fan: F,
    /// The pin of the lamp that warns people.
    pub lamp: W,
}

impl<N: OutputPin, P: OutputPin, Q: OutputPin, F: SetDutyCycle, W: OutputPin> Driven<N, P, Q, F, W> {
    /// Carries out a decision; without one everything is released. Every pin is written each time, so that a write that failed, or a
    /// pin that was disturbed, is put right a tick later: a failure needs no other answer here.
    pub fn act<const CELLS: usize>(&mut self, decision: Option<&Decision<CELLS>>) {
        let coils = decision.map_or(Coils::NONE, |decision| decision.coils);
        self.coils.drive(coils, |_| {});
        let _ = match decision.map(|decision| decision.cooling) {
            Some(Cooling::On) => self.fan.set_duty_cycle_fully_on(),
            Some(Cooling::Off) | None => self.fan.set_duty_cycle_fully_off(),
        };
        let _ = match decision.and_then(|decision| decision.warning) {
            Some(Warning::Danger | Warning::Evacuate) => self.lamp.set_high(),
            None => self.lamp.set_low(),
        };
    }
}
