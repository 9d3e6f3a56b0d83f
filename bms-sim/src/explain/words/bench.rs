//! What is said of a start on the precharge bench.

use super::names::step;
use bms_core::Step;

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

/// Where the sequence stood in the end.
#[must_use]
pub fn ends(at: Step, ms: f64) -> String {
    match at {
        Step::Closed => format!("closed {ms:.0} ms after the coil of the precharge contactor"),
        Step::Open | Step::Barred => format!("given up {ms:.0} ms after the coil: {}", step(at)),
        other => format!("{} after {ms:.0} ms", step(other)),
    }
}
