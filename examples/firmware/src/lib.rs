//! What the images share: a pack on paper, a way to the host, witnesses.
//!
//! The images run in QEMU's mps2-an386 machine (a Cortex-M4 at 25 MHz). They are built from this folder:
//!
//! ```text
//! cargo build --release --bin no_panic                     links only if no panic can be reached
//! cargo run --release --bin count                          instructions of a tick, memory, stack
//! cargo run --release --bin trip --features logging        start-up, over-voltage, opening
//! ```
#![no_std]

#[cfg(feature = "board")]
pub mod board;
#[cfg(feature = "logging")]
pub mod log;
pub mod paper;
pub mod stack;
pub mod witness;
