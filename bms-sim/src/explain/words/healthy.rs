//! What sound packs were accused of.

use super::numbers::clock;

/// How many packs worked and stood for how long.
#[must_use]
pub fn sound_packs_worked(packs: usize, hours: f64) -> String {
    format!("{packs} sound packs worked and stood for {hours:.1} hours.")
}

/// How many faults became Confirmed although nothing was wrong.
#[must_use]
pub fn accused_falsely(alarms: usize) -> String {
    match alarms {
        0 => "No fault became Confirmed.".to_owned(),
        count => format!("FALSE ALARMS: {count}"),
    }
}

/// One of them: the fault's key, when, the number and the description of the corner, and what was seen.
#[must_use]
pub fn false_alarm(fault: &str, seconds: f64, (number, corner): (usize, &str), seen: &str) -> String {
    format!("{fault} at {} in corner {number} ({corner}): {seen}", clock(seconds))
}

/// The line above the near misses, or that there are none.
#[must_use]
pub const fn near_misses(none: bool) -> &'static str {
    if none { "No near misses." } else { "Near misses (suspected, and healed within the dwell):" }
}
