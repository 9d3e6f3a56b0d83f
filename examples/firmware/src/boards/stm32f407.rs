//! A board with an STM32F407 at 168 MHz, as an integrator writes it: everything through the part's HAL crate, no address and no register here.
//!
//! | signal | pin | |
//! | --- | --- | --- |
//! | coil negative, precharge, positive | PE8, PE9, PE10 | high is energised |
//! | fan | PE11 | channel 2 of timer 1, 25 kHz |
//! | lamp | PE12 | high is lit |
//! | line to the host | PA9 (to the host), PA10 (from it) | USART1, 921 600 bits a second, 8N1 |
//! | crystal | PH0, PH1 | 8 MHz |
//!
//! After a reset every pin is an input that nothing drives (ST, *RM0090*, "General-purpose I/Os"): **a resistor to ground at the gate of each coil's
//! driver keeps its contactor open** from the reset on, while the processor starts, and where it never starts. The watchdog has an
//! oscillator of its own, runs from before the crystal is started, and cannot be stopped again; 50 ms at its 32 kHz are at most 95 ms at the slowest
//! that the part may have (17 kHz, ST, *DS8626*, "LSI oscillator characteristics"). So long a processor that hangs keeps its coils.
//!
//! Not tried on hardware: it is built and linked in each check, and the same code with another board file runs in QEMU. Before you let it near
//! a pack, measure each pin at the reset button, with the crystal shorted, and with the debugger halting the processor.

use super::{Line, timer};
use cortex_m::peripheral::SYST;
use stm32f4xx_hal::gpio::{Output, Pin};
use stm32f4xx_hal::pac::{Peripherals, TIM1, USART1};
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::serial::{Rx, Serial, Tx};
use stm32f4xx_hal::timer::PwmChannel;
use stm32f4xx_hal::watchdog::IndependentWatchdog;
use stm32f4xx_hal::{nb, rcc};

/// Everything on this board.
pub type Driven = super::Driven<
    Pin<'E', 8, Output>,
    Pin<'E', 9, Output>,
    Pin<'E', 10, Output>,
    PwmChannel<TIM1, 1>,
    Pin<'E', 12, Output>,
>;

/// The board, with its timer running.
pub struct Hardware {
    /// Pins and channels.
    pub driven: Driven,
    /// Where bytes come and go.
    pub line: Wire,
    /// What resets the processor when it hangs.
    pub watchdog: IndependentWatchdog,
}

impl Hardware {
    /// Takes the board. All pins are low before any of them drives.
    ///
    /// # Panics
    /// Not where the crystal has 8 MHz: else there is no such clock or bit rate, and the watchdog resets.
    #[must_use]
    pub fn take(system_timer: SYST) -> Self {
        let parts = Peripherals::take().expect("the board is taken once");
        let mut watchdog = IndependentWatchdog::new(parts.IWDG);
        watchdog.start(50.millis());
        let mut clocks = parts.RCC.freeze(rcc::Config::hse(8.MHz()).sysclk(168.MHz()));
        timer::start(system_timer, clocks.clocks.sysclk().to_Hz());
        let (a, e) = (parts.GPIOA.split(&mut clocks), parts.GPIOE.split(&mut clocks));
        let coils = bms_core::hal::Coils {
            negative: e.pe8.into_push_pull_output_in_state(false.into()),
            precharge: e.pe9.into_push_pull_output_in_state(false.into()),
            positive: e.pe10.into_push_pull_output_in_state(false.into()),
        };
        let (_, (_, fan, ..)) = parts.TIM1.pwm_hz(25.kHz(), &mut clocks);
        let mut fan = fan.with(e.pe11);
        fan.enable();
        let lamp = e.pe12.into_push_pull_output_in_state(false.into());
        let serial: Serial<USART1> = parts
            .USART1
            .serial((a.pa9, a.pa10), 921_600.bps(), &mut clocks)
            .expect("84 MHz make this bit rate to 0.2 %");
        let (to, from) = serial.split();
        Self { driven: Driven { coils, fan, lamp }, line: Wire { to, from }, watchdog }
    }
}

/// The line. Its receiver holds one byte, which is enough: the host speaks, waits for the answer, and speaks again. What is overrun all
/// the same is garbled, and sent again.
pub struct Wire {
    to: Tx<USART1>,
    from: Rx<USART1>,
}

impl Line for Wire {
    fn read(&mut self) -> Option<u8> {
        self.from.read().ok()
    }

    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            // Sending has no error: it ends when the last byte is out.
            let _sent = nb::block!(self.to.write(*byte));
        }
    }
}
