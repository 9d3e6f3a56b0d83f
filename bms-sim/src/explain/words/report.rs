//! What stands beside the pictures of a report.

use super::clock;
use bms_core::fault::Fault;

/// What a report's sections are called.
pub mod heading {
    /// What came out.
    pub const OUTCOME: &str = "What came out";
    /// What would have changed it.
    pub const DISTANCES: &str = "What would have changed it";
    /// The pictures of the whole run.
    pub const RUN: &str = "The whole run";
    /// The picture of lanes.
    pub const LANES: &str = "What held when";
    /// The events.
    pub const EVENTS: &str = "What happened";
    /// The glossary.
    pub const WORDS: &str = "The words";
    /// The case.
    pub const AGAIN: &str = "Run it again";
}

/// What the columns of its tables, and the axes and lines of its pictures, are called.
pub mod column {
    /// The letter of a moment.
    pub const MARK: &str = "mark";
    /// In which tick.
    pub const TICK: &str = "tick";
    /// When.
    pub const TIME: &str = "time";
    /// How long after the line before.
    pub const AFTER: &str = "after";
    /// The links of a chain.
    pub const CHAIN: &str = "what led to what";
    /// The events.
    pub const EVENT: &str = "what";
    /// The lane of the contactor sequence.
    pub const SEQUENCE: &str = "contactor sequence";
    /// What a fault watches.
    pub const READING: &str = "reading";
    /// What it is held against.
    pub const LIMIT: &str = "limit";
    /// Axis of the current.
    pub const CURRENT: &str = "current, A";
    /// Its lines: as measured, and the limits either way.
    pub const CURRENTS: [&str; 3] = ["current", "limit of charge", "limit of discharge"];
    /// Axis of the cell voltages.
    pub const CELLS: &str = "cells, V";
    /// Its lines.
    pub const CELLS_EACH: [&str; 2] = ["highest", "lowest"];
    /// Axis of the voltages around the contactors.
    pub const VOLTAGES: &str = "voltage, V";
    /// Its lines.
    pub const VOLTAGES_EACH: [&str; 2] = ["pack", "link"];
    /// Axis of the true temperatures of the cells.
    pub const WARMTH: &str = "cells, °C";
    /// Its lines.
    pub const WARMTH_EACH: [&str; 2] = ["warmest", "coldest"];
}

/// The axis of time, in this unit.
#[must_use]
pub fn time_axis(unit: &str) -> String {
    format!("time from the start, {unit}")
}

/// What held from when to when.
#[must_use]
pub fn held(word: &str, from: f64, to: f64) -> String {
    format!("{word} from {} to {}", clock(from), clock(to))
}

/// What the picture of lanes shows.
#[must_use]
pub fn lanes_show() -> String {
    "A lane for the contactor sequence and one for each fault that was suspected. White with stripes is Suspect, black is Confirmed, \
     plain white is Latched."
        .to_owned()
}

/// What the picture of a fault shows.
#[must_use]
pub fn watched_shows(fault: Fault) -> String {
    format!(
        "What decides on {}: the reading that came nearest to its limit, and that limit. It is drawn where both are known.",
        fault.words()
    )
}

/// What the pictures of the whole run show.
#[must_use]
pub fn run_shows() -> String {
    "Current is positive when it charges the pack; it should stay between the two limits that the firmware gives out. Voltages and \
     current are as measured, the temperatures are the true ones."
        .to_owned()
}

/// What the letters in a picture are.
#[must_use]
pub fn letters_of(fault: Fault) -> String {
    format!("The letters are those of the list under \u{201c}{}\u{201d}.", super::why(fault).trim_end())
}

/// How to play the same again.
#[must_use]
pub fn again(file: &str) -> String {
    format!(
        "Save the text below as {file}; then play it with \u{201c}cargo run --release -- run {file}\u{201d}, and ask why with \
         \u{201c}cargo run --release -- why {file}\u{201d}."
    )
}
