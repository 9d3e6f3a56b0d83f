//! Links only if no panic can be reached: the panic handler calls a symbol that exists nowhere, so the link fails unless the
//! optimiser has removed every panic. The frames and the configuration are opaque to it: the proof holds for all of them.
//!
//! One image for each pack and witness (features `trainer`, `changes`, `logging`), and one for each pack whose frames go through the
//! binding to hardware (`board`); built a second time under the profile
//! `proof-checked`, in which a sum that can overflow is a panic too.
#![no_std]
#![no_main]

#[cfg(not(feature = "board"))]
use bms_core::Frame;
#[cfg(feature = "board")]
use bms_core::frame::Asked;
use bms_core::kept::{self, Label, Schedule, Stored};
use bms_core::units::{Instant, Millis};
use bms_core::{Config, Controller, Fitted};
use core::hint::black_box;
use cortex_m_rt::entry;
use cortex_m_semihosting::debug;

#[cfg(not(feature = "trainer"))]
const PACK: (usize, usize) = (96, 16);
#[cfg(feature = "trainer")]
const PACK: (usize, usize) = (16, 8);

type Pack = Controller<{ PACK.0 }, { PACK.1 }>;

unsafe extern "C" {
    fn panic_is_reachable() -> !;
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    // SAFETY: never runs, for it never links.
    unsafe { panic_is_reachable() }
}

#[cfg(not(any(feature = "planted_index", feature = "planted_sum")))]
use firmware::witness::chosen as witness;

#[cfg(any(feature = "planted_index", feature = "planted_sum"))]
fn witness() -> Planted {
    Planted
}

/// A witness that errs. Only the core calls it, from the depth of a tick, with places that the core has counted: the planted panic
/// is a part of what the core is compiled to, and only a proof that reaches it there refuses to link.
#[cfg(any(feature = "planted_index", feature = "planted_sum"))]
struct Planted;

#[cfg(any(feature = "planted_index", feature = "planted_sum"))]
impl bms_core::Witness for Planted {
    fn saw(&mut self, evidence: bms_core::Evidence) {
        if let bms_core::Evidence::BleedRefused { cell, .. } = evidence {
            #[cfg(feature = "planted_index")]
            black_box([0_u8; PACK.0 - 1][usize::from(cell)]);
            #[cfg(feature = "planted_sum")]
            black_box(cell + 200);
        }
    }
}

#[entry]
fn main() -> ! {
    let config = black_box(if cfg!(feature = "trainer") { Config::trainer() } else { Config::crane() });
    let checked = config.fit().unwrap_or_else(|error| Fitted::barred(config, error));
    black_box(checked.checksum());
    let mut witness = witness();
    let mut controller = Pack::new(checked);
    let mut alike = true;
    #[cfg(feature = "board")]
    let Ok(mut board) = firmware::board::anything::<{ PACK.0 }, { PACK.1 }>(&checked) else {
        debug::exit(debug::EXIT_FAILURE);
        loop {}
    };
    for at in 0..8 {
        #[cfg(feature = "board")]
        let frame = board.sample(black_box(Instant(at)), black_box(Asked::NOTHING), |trouble| {
            black_box(trouble);
        });
        #[cfg(not(feature = "board"))]
        let frame = black_box(Frame::empty(Instant(at)));
        let mut copy = controller.clone();
        let decision = controller.tick(&frame, &mut witness);
        alike &= decision == copy.tick(&frame, &mut witness) && controller == copy;
        black_box(&decision);
        #[cfg(feature = "board")]
        board.act(&decision, |trouble| {
            black_box(trouble);
        });
    }
    read(&controller);
    alike &= keeps(&controller, checked);
    debug::exit(if alike { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
    loop {}
}

/// Writes what outlives a loss of power, and goes on from whatever bytes are stored.
fn keeps(controller: &Pack, config: Fitted<{ PACK.0 }, { PACK.1 }>) -> bool {
    let mut slots = [[0xFF_u8; Pack::RECORD_BYTES]; 2];
    let [one, other] = &mut slots;
    let label = Label { pack: 1, number: black_box(1), holds: black_box(Millis(50)) };
    black_box(controller.record(label, black_box(&mut other[..]))).is_ok_and(|record| {
        let record = kept::newer(black_box(record), black_box(&one[..]));
        let stored = Stored { record: black_box(record), pack: black_box(1), off: black_box(None) };
        let again = black_box(Pack::restart(config, &stored));
        black_box((kept::label(record).ok(), Schedule::every(label.holds).is_due(&again)));
        again.wear() == controller.wear()
    })
}

/// Reads everything that a controller shows.
fn read(controller: &Pack) {
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
        black_box(estimated.cell_state_of_charge(cell));
    });
    let bleeding = controller.bleeding();
    black_box((bleeding.count(), bleeding.is_empty(), bleeding.holds(black_box(0))));
    black_box((controller.step(), controller.proven_open(), controller.limits(), controller.uptime()));
    let estimated = controller.estimated();
    black_box((estimated.state_of_charge(), estimated.rested(), estimated.discarded_steps()));
    black_box(controller.config().refused());
}
