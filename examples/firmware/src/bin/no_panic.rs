//! Links only if no panic can be reached: the panic handler calls a symbol that exists nowhere, so the link fails unless the
//! optimiser has removed every panic. The frames and the configuration are opaque to it: the proof holds for all of them.
//!
//! One image for each pack and witness (features `trainer`, `changes`, `logging`); built a second time under the profile
//! `proof-checked`, in which a sum that can overflow is a panic too.
#![no_std]
#![no_main]

use bms_core::units::Instant;
use bms_core::{Config, Controller, Fitted, Frame};
use core::hint::black_box;
use cortex_m_rt::entry;
use cortex_m_semihosting::debug;

#[cfg(not(feature = "trainer"))]
const PACK: (usize, usize) = (96, 16);
#[cfg(feature = "trainer")]
const PACK: (usize, usize) = (16, 8);

unsafe extern "C" {
    fn panic_is_reachable() -> !;
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    // SAFETY: never runs, for it never links.
    unsafe { panic_is_reachable() }
}

#[cfg(feature = "logging")]
fn witness() -> firmware::log::Log {
    firmware::log::open();
    firmware::log::Log { now_ms: 0 }
}

#[cfg(all(feature = "changes", not(feature = "logging")))]
fn witness() -> firmware::witness::Changes {
    firmware::witness::Changes::default()
}

#[cfg(not(any(feature = "changes", feature = "logging")))]
fn witness() {}

#[entry]
fn main() -> ! {
    let config = black_box(if cfg!(feature = "trainer") { Config::trainer() } else { Config::crane() });
    let checked = config.fit().unwrap_or_else(|error| Fitted::barred(config, error));
    black_box(checked.checksum());
    let mut witness = witness();
    let mut controller = Controller::<{ PACK.0 }, { PACK.1 }>::new(checked);
    let mut alike = true;
    for at in 0..8 {
        let frame = black_box(Frame::empty(Instant(at)));
        let mut copy = controller.clone();
        let decision = controller.tick(&frame, &mut witness);
        alike &= decision == copy.tick(&frame, &mut witness) && controller == copy;
        black_box(&decision);
    }
    read(&controller);
    #[cfg(feature = "planted_index")]
    black_box([1_u8, 2, 3][black_box(2_usize)]);
    #[cfg(feature = "planted_sum")]
    black_box(black_box(1_u32) + 1);
    debug::exit(if alike { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
    loop {}
}

/// Reads everything that a controller shows.
fn read(controller: &Controller<{ PACK.0 }, { PACK.1 }>) {
    let memory = controller.memory();
    memory.records().for_each(|record| {
        black_box(record);
    });
    black_box(memory.dropped());
    controller.faults().latched.iter().for_each(|fault| {
        black_box((fault.words(), fault.key(), controller.config().faults.shown(fault)));
    });
    controller.bleeding().iter().for_each(|cell| {
        let estimated = controller.estimated();
        black_box((estimated.missing(cell), estimated.missing_against_median(cell)));
    });
    black_box((controller.step(), controller.limits(), controller.uptime()));
    black_box((controller.estimated().state_of_charge(), controller.config().refused()));
}
