//! Battery-management decisions that explain themselves.
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
pub mod limit;
pub mod sense;
pub mod sequence;
pub mod units;
pub mod witness;

pub use balance::BleedRefusal;
pub use config::{Checked, Config, ConfigError};
pub use controller::Controller;
pub use decision::Decision;
pub use each::Each;
pub use fault::{Fault, Reaction, Stage};
pub use frame::Frame;
pub use sequence::Step;
pub use witness::{Evidence, Witness};
