//! The tick of the timer that every Cortex-M has, so that no board file needs one of its own.

use super::TICK;
use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::exception;

/// Ticks that have not been taken yet.
static TICKS: AtomicU32 = AtomicU32::new(0);

/// Lets the timer tick, at this clock of the processor: at most 1.67 GHz, since it counts to 2²⁴.
pub fn start(mut timer: SYST, clock_hz: u32) {
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(clock_hz / 1_000 * TICK.0 - 1);
    timer.clear_current();
    timer.enable_counter();
    timer.enable_interrupt();
}

#[exception]
fn SysTick() {
    TICKS.fetch_add(1, Ordering::Relaxed);
}

/// Ticks that have passed since this was asked last.
pub fn ticks() -> u32 {
    TICKS.swap(0, Ordering::Relaxed)
}
