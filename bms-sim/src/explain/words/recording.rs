//! What is said of a recording.

use super::seconds;

/// That a recording ends before its case does; `complete` when the file itself is whole, so that the run was interrupted.
#[must_use]
pub fn cut_short(played_seconds: f64, case_seconds: f64, complete: bool) -> String {
    let because = if complete { "the run was interrupted" } else { "the file was cut short" };
    format!(
        "The recording goes to {} of {}: {because} there. What is said below holds up to then.",
        seconds(played_seconds),
        seconds(case_seconds)
    )
}
