//! What the images share: a pack on paper, a way to the host, witnesses.
//!
//! The images run in QEMU's mps2-an386 machine (a Cortex-M4 at 25 MHz). They are built from this folder:
//!
//! ```text
//! cargo build --release --bin no_panic                     links only if no panic can be reached
//! cargo run --release --bin count                          instructions of a tick, memory, stack
//! cargo run --release --bin trip --features logging        start-up, over-voltage, opening
//! cargo build --release --bin rig --features rig           frames in, decisions out over the UART
//! cargo build --release --bin rig --features rig,pipes     the same over two pipes, for many ticks
//! cargo build --release --bin rig --features rig,stm32f407 the same for a microcontroller of the trade
//! ```
//!
//! The distribution's compiler builds them (`RUSTC_BOOTSTRAP=1 cargo +debian …`), as `.ci/run` does. From the top of the repository, the rig
//! then plays a case in QEMU:
//!
//! ```text
//! cargo run --release -- rig examples/cases/open-thermistor.toml --to qemu:examples/firmware/target/thumbv7em-none-eabihf/release/rig
//! ```
//!
//! For a board of your own, `GUIDE.md` goes from an empty folder to a blinking target and on. What this library is not is said there too: an
//! independent over-current protection, an interlock, a cut-off of the coils that does not pass through this processor, and a second
//! opinion on the cells' voltages are yours to add.
#![no_std]

#[cfg(feature = "board")]
pub mod board;
#[cfg(feature = "rig")]
pub mod boards;
#[cfg(feature = "logging")]
pub mod log;
pub mod paper;
pub mod stack;
pub mod witness;
