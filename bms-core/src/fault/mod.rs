//! # Faults: what the core concludes
//!
//! A *defect* is what is wrong; a *fault* is what can be concluded from measurements. Each fault watches one quantity at its
//! worst place, holds it against a trip and a release limit, and goes through its stages ([`Stage`]). The list of all faults
//! stands once, in one macro ([`Fault::ALL`]); everything else (names, limits, state, the pass over all of them) is made from it.

mod bleed;
mod cell_voltage;
mod contactor;
mod control;
mod cooling;
mod current;
mod disconnect;
mod insulation;
mod interlock;
mod judge;
mod list;
mod memory;
mod precharge;
mod reaction;
mod resistance;
mod rest;
mod stage;
mod temperature;
#[cfg(test)]
mod tests;
mod thermistor;
mod warning;
mod wire;

pub(crate) use cell_voltage::cold_reduction;
pub(crate) use judge::Seen;
pub use judge::{Faults, Found, Limit, Shown};
pub use list::{Fault, FaultLimits, FaultSet};
pub use memory::{Freeze, FreezeHistory, Memory, Record};
pub use reaction::{Clearing, Reaction};
pub use stage::{Counter, Dwells, Reading, Stage, Was};
