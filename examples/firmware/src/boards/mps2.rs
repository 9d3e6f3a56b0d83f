//! The mps2-an386 machine of QEMU: a Cortex-M4 at 25 MHz with the peripherals of the Cortex-M System Design Kit.
//!
//! Addresses and bits: Arm, *Cortex-M System Design Kit Technical Reference Manual* (DDI 0479), and *Application Note AN386*.
//!
//! With the feature `pipes` the bytes go through two files of the host, `to-target` and `to-host` in QEMU's working directory, by
//! semihosting: a read then stops the whole machine until the host has written, so that no silence is ever noticed and no watchdog may run.
//! For comparing many ticks in lock-step only.

use super::{Line, timer};
use core::convert::Infallible;
use core::ptr::write_volatile;
use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m::peripheral::SYST;
use embedded_hal::{digital, pwm};

/// Everything on this board.
pub type Driven = super::Driven<Pin, Pin, Pin, Fan, Pin>;

/// The board, with its timer running.
pub struct Hardware {
    /// Pins and channels.
    pub driven: Driven,
    /// Where bytes come and go.
    pub line: Wire,
    /// What resets the processor when it hangs.
    pub watchdog: Watchdog,
}

/// The processor's clock.
const CLOCK_HZ: u32 = 25_000_000;

/// GPIO0: pins 0 to 4 are the three coils, the fan and the lamp. After a reset all pins are inputs, which releases the coils.
const GPIO0: usize = 0x4001_0000;
const GPIO_DATA_OUT: usize = GPIO0 + 0x04;
const GPIO_OUT_ENABLE_SET: usize = GPIO0 + 0x10;

impl Hardware {
    /// Takes the board. All pins are low before any of them drives.
    #[must_use]
    pub fn take(system_timer: SYST) -> Self {
        for pin in 0..5 {
            set(pin, false);
        }
        write(GPIO_OUT_ENABLE_SET, 0x1F);
        timer::start(system_timer, CLOCK_HZ);
        let coils = bms_core::hal::Coils { negative: Pin(0), precharge: Pin(1), positive: Pin(2) };
        Self {
            driven: Driven { coils, fan: Fan(Pin(3)), lamp: Pin(4) },
            line: Wire::open(),
            watchdog: if cfg!(feature = "pipes") { Watchdog } else { Watchdog::start() },
        }
    }
}

fn write(register: usize, value: u32) {
    // SAFETY: every caller names a register of this board, and no register here changes memory.
    unsafe { write_volatile(register as *mut u32, value) }
}

/// An output of GPIO0.
pub struct Pin(u32);

/// The pins' levels: the processor's copy, so that setting one pin needs no reading back. Only the main loop writes.
static LEVELS: AtomicU32 = AtomicU32::new(0);

fn set(pin: u32, high: bool) {
    let levels = LEVELS.load(Ordering::Relaxed);
    let levels = if high { levels | 1 << pin } else { levels & !(1 << pin) };
    LEVELS.store(levels, Ordering::Relaxed);
    write(GPIO_DATA_OUT, levels);
}

impl digital::ErrorType for Pin {
    type Error = Infallible;
}

impl digital::OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        set(self.0, false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        set(self.0, true);
        Ok(())
    }
}

/// A fan that is on or off.
pub struct Fan(Pin);

impl pwm::ErrorType for Fan {
    type Error = Infallible;
}

impl pwm::SetDutyCycle for Fan {
    fn max_duty_cycle(&self) -> u16 {
        1
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Infallible> {
        set(self.0.0, duty > 0);
        Ok(())
    }
}

/// Resets the processor after a second without a sign of life. It counts the processor's clock down; its first zero raises an interrupt
/// request that nobody enables, the second one resets.
pub struct Watchdog;

const WATCHDOG: usize = 0x4000_8000;
const WATCHDOG_LOAD: usize = WATCHDOG;
const WATCHDOG_CONTROL: usize = WATCHDOG + 0x08;
const WATCHDOG_CLEAR: usize = WATCHDOG + 0x0C;
const WATCHDOG_LOCK: usize = WATCHDOG + 0xC00;
const WATCHDOG_KEY: u32 = 0x1ACC_E551;

impl Watchdog {
    fn start() -> Self {
        write(WATCHDOG_LOCK, WATCHDOG_KEY);
        write(WATCHDOG_LOAD, CLOCK_HZ / 2);
        write(WATCHDOG_CONTROL, 0b11);
        write(WATCHDOG_LOCK, 0);
        Self
    }

    /// A sign of life.
    pub fn feed(&mut self) {
        write(WATCHDOG_LOCK, WATCHDOG_KEY);
        write(WATCHDOG_CLEAR, 1);
        write(WATCHDOG_LOCK, 0);
    }
}

#[cfg(not(feature = "pipes"))]
pub use uart::Wire;

#[cfg(feature = "pipes")]
pub use pipes::Wire;

#[cfg(not(feature = "pipes"))]
mod uart {
    use super::{CLOCK_HZ, Line, write};
    use core::ptr::read_volatile;

    const UART0: usize = 0x4000_4000;
    const DATA: usize = UART0;
    const STATE: usize = UART0 + 0x04;
    const CONTROL: usize = UART0 + 0x08;
    const BAUD_DIVIDER: usize = UART0 + 0x10;
    const TRANSMIT_FULL: u32 = 0b01;
    const RECEIVE_FULL: u32 = 0b10;
    const BAUD: u32 = 921_600;

    fn read(register: usize) -> u32 {
        // SAFETY: every caller names a register of this UART.
        unsafe { read_volatile(register as *const u32) }
    }

    /// UART0, 8N1. Its receiver holds one byte, and QEMU keeps the rest back until that is read.
    pub struct Wire;

    impl Wire {
        pub(super) fn open() -> Self {
            write(BAUD_DIVIDER, CLOCK_HZ / BAUD);
            write(CONTROL, 0b11);
            Self
        }
    }

    impl Line for Wire {
        fn read(&mut self) -> Option<u8> {
            (read(STATE) & RECEIVE_FULL != 0).then(|| read(DATA).to_le_bytes()[0])
        }

        fn write(&mut self, bytes: &[u8]) {
            for byte in bytes {
                while read(STATE) & TRANSMIT_FULL != 0 {}
                write(DATA, u32::from(*byte));
            }
        }
    }
}

#[cfg(feature = "pipes")]
mod pipes {
    use super::Line;
    use cortex_m_semihosting::syscall;

    /// Two named pipes of the host.
    pub struct Wire {
        to_target: usize,
        to_host: usize,
        /// What was read and not taken yet.
        kept: heapless::Deque<u8, 1_024>,
    }

    impl Wire {
        pub(super) fn open() -> Self {
            // Modes 1 and 5 are "rb" and "wb". The host opens them in the same order: each end waits for the other.
            let open = |name: &core::ffi::CStr, mode: usize| {
                // SAFETY: address and length are those of a string that lives as long as the program.
                unsafe { syscall!(OPEN, name.as_ptr(), mode, name.count_bytes()) }
            };
            let to_target = open(c"to-target", 1);
            Self { to_target, to_host: open(c"to-host", 5), kept: heapless::Deque::new() }
        }
    }

    impl Line for Wire {
        /// Here it does wait: there is nothing else to do in lock-step.
        fn read(&mut self) -> Option<u8> {
            if self.kept.is_empty() {
                let mut bytes = [0_u8; 1_024];
                // SAFETY: address and length are those of a live array. The answer is the count of bytes that were not read.
                let missing = unsafe { syscall!(READ, self.to_target, bytes.as_mut_ptr(), bytes.len()) };
                let got = bytes.len().saturating_sub(missing);
                if got == 0 {
                    // The host has closed its end: the story is over.
                    cortex_m_semihosting::debug::exit(cortex_m_semihosting::debug::EXIT_SUCCESS);
                }
                for byte in bytes.iter().take(got) {
                    // As many places as bytes.
                    let _full = self.kept.push_back(*byte);
                }
            }
            self.kept.pop_front()
        }

        fn write(&mut self, bytes: &[u8]) {
            // SAFETY: address and length are those of a live slice.
            unsafe { syscall!(WRITE, self.to_host, bytes.as_ptr(), bytes.len()) };
        }
    }
}
