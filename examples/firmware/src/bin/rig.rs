//! The rig: a controller on the target, its world on a host, frames and decisions on a line between them.
//!
//! `bms_core::serial` says what goes over the line. The policy of this image: a whole frame is decided as soon as it is there; the timer
//! counts the silence; without a decision every pin is released; a processor that hangs is reset by its watchdog, and a reset releases the
//! pins by itself and begins nothing.
#![no_std]
#![no_main]

use bms_core::serial::{LONGEST, Receiver, Station, send};
use cortex_m::peripheral::Peripherals;
use cortex_m_rt::entry;
use firmware::boards::{Line, TICK, here as board, timer};

#[cfg(not(feature = "trainer"))]
type Pack = Station<96, 16>;
#[cfg(feature = "trainer")]
type Pack = Station<16, 8>;

/// Nothing in the core can panic, as the image `no_panic` proves; the library that packs the answers cannot be proven. Whatever it was: the watchdog
/// resets, and a reset releases every pin.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    loop {}
}

#[entry]
fn main() -> ! {
    if let Some(peripherals) = Peripherals::take() {
        let station = cortex_m::singleton!(: Pack = Pack::new());
        let receiver = cortex_m::singleton!(: Receiver = Receiver::new());
        if let (Some(station), Some(receiver)) = (station, receiver) {
            work(board::Hardware::take(peripherals.SYST), station, receiver)
        }
    }
    loop {}
}

fn work(mut hardware: board::Hardware, station: &mut Pack, receiver: &mut Receiver) -> ! {
    let mut witness = firmware::witness::chosen();
    let mut room = [0; LONGEST];
    loop {
        if let Some(message) = hardware.line.read().and_then(|byte| receiver.take(byte)) {
            match message {
                Err(_) => station.count_garbled(),
                Ok(message) => {
                    #[cfg(feature = "logging")]
                    if let bms_core::serial::ToTarget::Frame { frame, .. } = &message {
                        witness.now_ms = frame.at.0;
                    }
                    let answer = station.answer(&message, &mut witness);
                    hardware.driven.act(station.decision());
                    hang(&answer);
                    // There is room for the longest message.
                    if let Ok(bytes) = send(&answer, &mut room) {
                        hardware.line.write(bytes);
                    }
                }
            }
        }
        for _ in 0..timer::ticks() {
            station.pass(TICK);
            hardware.driven.act(station.decision());
        }
        hardware.watchdog.feed();
    }
}

/// Hangs, for the test of the watchdog.
#[cfg(feature = "planted_hang")]
fn hang<const CELLS: usize>(answer: &bms_core::serial::ToHost<CELLS>) {
    if matches!(answer, bms_core::serial::ToHost::Decided { number: 400, .. }) {
        loop {}
    }
}

#[cfg(not(feature = "planted_hang"))]
fn hang<const CELLS: usize>(_: &bms_core::serial::ToHost<CELLS>) {}
