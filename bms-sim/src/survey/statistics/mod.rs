//! # What can be said from so many runs
//!
//! Numbers with intervals that hold what they promise. Every one of them is checked against values computed elsewhere, and how often the
//! intervals hold the truth is itself measured in a test.

pub mod delay;
pub mod paired;
pub mod proportion;
pub mod rate;
pub mod roc;

/// How sure an interval is: it holds the truth in at least this share of all surveys, unless it says otherwise.
pub const CONFIDENCE: f64 = 0.95;
