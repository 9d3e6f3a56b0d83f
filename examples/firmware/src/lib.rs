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
//! ```
//!
//! The distribution's compiler builds them (`RUSTC_BOOTSTRAP=1 cargo +debian …`), as `.ci/run` does. From the top of the repository, the rig
//! then plays a case in QEMU:
//!
//! ```text
//! cargo run --release -- rig examples/cases/open-thermistor.toml --to qemu:examples/firmware/target/thumbv7em-none-eabihf/release/rig
//! ```
//!
//! On a pack of your own: what this library is not is said in the README, and an independent over-current protection, an interlock
//! and a cut-off of the coils that does not pass through this processor are yours to add.
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
