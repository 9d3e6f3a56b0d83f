//! # The rig: the world here, the firmware on a target
//!
//! A case is played as always, but every frame also goes over a [`Line`] to a [`Target`], which runs the same core as firmware. What it decides
//! is held against what the core here decides, and so are the digests of both states:
//!
//! ```text
//! frame ──┬─► core on the host   ──► decision, digest ─┐
//!         └─► line ─► target ─► line ─► decision, digest ─┴─► equal, bit for bit? then the world obeys; else the run ends
//! ```
//!
//! Both decide each tick at the same time. Since nothing goes on after a difference, everything that is recorded and explained is what the
//! target did; evidence and words come from the core here, which has the room for a witness.
//!
//! Where the story takes the firmware's supply, nobody switches the target off: its controller is given up, and another one begins from the record
//! that the board has stored, or from what is left of it. A record that was written as the supply fell must be the host's, byte for byte.
//!
//! The messages are those of [`bms_core::serial`]. In lock-step a tick takes as long as both need; at the [pace](Pace) of time one begins every
//! 10 ms, and those that come late are counted.

mod drawn;
mod line;
mod target;
mod trouble;
mod waves;

pub use drawn::{NotDrawn, drawn};
pub use line::{Address, Line};
pub use target::{Pace, Target, Times};
pub use trouble::{Difference, Trouble};
pub use waves::Waves;
