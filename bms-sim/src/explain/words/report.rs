//! What stands beside the pictures of a report.

use super::clock;
use bms_core::fault::Fault;

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
