//! What is said of a start on the precharge bench.

use super::names::step;
use bms_core::Step;

/// The link comes near enough to the pack.
#[must_use]
pub fn can_finish(ends_at: f64, pack: f64, within: f64) -> String {
    format!(
        "This start can finish: the link ends at {ends_at:.1} V, {:.1} V below the pack's {pack:.1} V, and is charged within {within:.1} V of it.",
        pack - ends_at
    )
}

/// What the resistor takes and how hot it gets, in joules and °C.
#[must_use]
pub fn heat(joules: f64, hottest: f64, rated: f64) -> String {
    let against = if hottest > rated { "that is beyond its rating of" } else { "its rating is" };
    format!("The resistor takes {joules:.1} J and reaches {hottest:.0} °C; {against} {rated:.0} °C.")
}

/// The link cannot come near enough to the pack.
#[must_use]
pub fn never_done(ends_at: f64, pack: f64, within: f64) -> String {
    format!(
        "This start can never finish: resistor and bleed-down divide the pack's {pack:.1} V, so that the link ends at {ends_at:.1} V, {:.1} V below it; it is charged only within {within:.1} V.",
        pack - ends_at
    )
}

/// The firmware does not take such a configuration.
#[must_use]
pub fn refused(error: &str) -> String {
    format!("The firmware refuses this configuration and closes nothing: {error}.")
}

/// Where the sequence stood in the end, and how long after the coil of the precharge contactor.
#[must_use]
pub fn ends(at: Step, ms: f64) -> String {
    match at {
        Step::Closed => format!("It ends closed, {ms:.0} ms after the coil of the precharge contactor."),
        Step::Open | Step::Barred => {
            format!("It is given up, {ms:.0} ms after the coil, and ends in {}.", step(at))
        }
        other => format!("It still stands in {} after {ms:.0} ms.", step(other)),
    }
}
