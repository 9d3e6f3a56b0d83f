//! # Battery-management decisions that explain themselves
//!
//! A controller for a string of lithium iron phosphate cells. It is handed one [`Frame`] of measurements a tick and answers with one
//! [`Decision`]: which contactors are closed, how much current may flow, which cells bleed, which faults hold. Whoever wants to know why
//! is its [`Witness`] and hears the [`Evidence`]: values, never sentences. It is firmware: `no_std`, no heap, no floating point, no
//! `unsafe`, no panic, no clock of its own. The same frames give the same decisions and the same evidence, bit for bit, everywhere.
//!
//! **Cautions.** A teaching model, not a certified safety function. On a real pack an independent over-current protection, interlock
//! and coil cut-off are needed beside it, and a pack is always live, also with its contactors open.
//!
//! # One tick
//!
//! | room | decides |
//! | --- | --- |
//! | [`sense`] | what of the frame is believed: ages, thermistors, the current's offset |
//! | [`estimate`] | what only time shows: bounds of charge, resistance in load steps, heat of fuse and cable |
//! | [`fault`] | which quantity is past its limit for long enough, and what that demands |
//! | [`insulation`] | when and how the resistance to the chassis is measured |
//! | [`wires`] | which sense wire is open |
//! | [`sequence`] | which contactors are closed: precharge, weld checks, proving dead |
//! | [`limit`] | how much current may flow, and which rule binds |
//! | [`BleedRefusal`] and its room | which cells bleed, and why the others do not |
//!
//! What outlives a loss of power stands in [`kept`].
//! What goes in and out stands in [`units`], [`frame`], [`decision`] and [`witness`]; facts and limits in [`config`]; the only
//! file that knows pins in [`hal`].
//!
//! # An over-voltage, step by step
//!
//! ```
//! use bms_core::frame::Part;
//! use bms_core::units::{Amps, Celsius, Instant, Millis, Ratio, Volts};
//! use bms_core::{Config, Controller, Each, Evidence, Fault, Frame, Reaction, Witness};
//!
//! /// Remembers the faults that were confirmed, with what was seen.
//! #[derive(Default)]
//! struct Heard(Vec<String>);
//! impl Witness for Heard {
//!     fn saw(&mut self, evidence: Evidence) {
//!         if let Evidence::StageChanged { assessment, .. } = evidence {
//!             self.0.push(format!("{} {:?}", assessment.fault.words(), assessment.place));
//!         }
//!     }
//! }
//!
//! let mut controller = Controller::<16, 8>::new(Config::trainer().fit().expect("the defaults are valid"));
//! let mut heard = Heard::default();
//! for tick in 0..40 {
//!     let mut frame = Frame::empty(Instant(tick * 10));
//!     frame.cells = Part::fresh(Each::all(Volts::from_milli(3_300)));
//!     if let Some(cell) = frame.cells.value.at_mut(4) {
//!         *cell = Volts::from_milli(3_800); // 50 mV above the second step
//!     }
//!     let decision = controller.tick(&frame, &mut heard);
//!     // Its dwell is 300 ms: Suspect in the first tick, Confirmed 300 ms later and not before.
//!     assert_eq!(decision.faults.confirmed.holds(Fault::CellOverVoltageFar), tick >= 30);
//! }
//! assert!(heard.0.contains(&"cell over-voltage, second step Cell(4)".to_owned()));
//! ```
//!
//! # What it judges, and what it does not
//!
//! The faults of the list ([`Fault::ALL`]) judge cell voltages and their sum, resistance and charge of the cells, temperatures and the
//! thermistors themselves, both current channels, precharge, the contactors with their feedback contacts and their wear, the link after
//! opening, interlock, disconnects and fuse, the impact sensor, the auxiliary supply, the age of the measurements, and the configuration.
//!
//! A [`Frame`] carries no reading of gas or fire: whoever needs them adds devices of their own.
//! Nothing here replaces a fuse.
#![cfg_attr(not(test), no_std)]
#![deny(
    clippy::arithmetic_side_effects,
    clippy::indexing_slicing,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::float_arithmetic
)]
#![cfg_attr(
    test,
    allow(
        clippy::arithmetic_side_effects,
        clippy::indexing_slicing,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic
    )
)]

mod balance;
pub mod config;
mod controller;
pub mod decision;
mod each;
pub mod estimate;
pub mod fault;
pub mod frame;
pub mod hal;
pub mod insulation;
pub mod kept;
pub mod limit;
pub mod quarantine;
pub mod sense;
pub mod sequence;
#[cfg(feature = "serial")]
pub mod serial;
pub mod units;
pub mod wires;
pub mod witness;

pub use balance::BleedRefusal;
pub use config::{Checked, Config, ConfigError, Fitted};
pub use controller::Controller;
pub use decision::Decision;
pub use each::Each;
pub use fault::{Fault, Reaction, Stage};
pub use frame::Frame;
pub use sequence::Step;
pub use witness::{Evidence, Witness};
