//! What is said of a recording.

use super::seconds;

/// That a recording ends before its case does; `complete` when the file itself is whole, so that the run was interrupted.
#[must_use]
pub fn ends_early(played_seconds: f64, case_seconds: f64, complete: bool) -> String {
    let because = if complete { "the run was interrupted" } else { "the file was cut short" };
    format!(
        "The recording goes to {} of {}: {because} there.",
        seconds(played_seconds),
        seconds(case_seconds)
    )
}

/// The same before an account of it.
#[must_use]
pub fn cut_short(played_seconds: f64, case_seconds: f64, complete: bool) -> String {
    let ends = ends_early(played_seconds, case_seconds, complete);
    format!("{ends} What is said below holds up to then.")
}
