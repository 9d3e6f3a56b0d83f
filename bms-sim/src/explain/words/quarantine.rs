//! Why a pack stays in quarantine, as sentences.

use super::names::part;
use super::numbers::{duration, place};
use bms_core::quarantine::{Disturbance, Quarantine};
use bms_core::witness::Place;

/// Where the quarantine stands.
pub(super) fn quarantine(told: &Quarantine) -> String {
    let (fault, needed) = (told.fault.words(), duration(told.needed));
    match told.disturbance {
        Some(what) => format!(
            "the pack stays in quarantine for {fault}: {}; it has to be quiet for {needed}",
            disturbance(what)
        ),
        None if told.quiet >= told.needed => {
            format!(
                "the pack has been quiet for {needed} after {fault}, as long as it has to be; only the workshop clears it"
            )
        }
        None => format!(
            "the pack stays in quarantine for {fault}: quiet for {} of {needed}",
            duration(told.quiet)
        ),
    }
}

fn disturbance(what: Disturbance) -> String {
    match what {
        Disturbance::Holds(fault) => format!("{} is there, or seems to be", fault.words()),
        Disturbance::NotOpen => "the contactors are not all told open".to_owned(),
        Disturbance::Unseen(name) => format!("{} cannot be seen", part(name)),
        Disturbance::Warms => "its hottest sensor rises".to_owned(),
        Disturbance::FallUnknown => "its cells have not rested for long enough to be watched".to_owned(),
        Disturbance::Falls(cell) => format!("{} falls at rest", place(Place::Cell(cell))),
        Disturbance::Loses(cell) => format!("{} loses charge by itself", place(Place::Cell(cell))),
        Disturbance::InsulationLow => "its insulation is low".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bms_core::Fault;
    use bms_core::units::Millis;

    #[test]
    fn it_says_what_disturbs_how_long_it_was_quiet_and_who_clears() {
        let told = |disturbance, seconds| {
            let (quiet, needed) = (Millis::from_seconds(seconds), Millis::from_seconds(90));
            quarantine(&Quarantine { fault: Fault::InternalShort, disturbance, quiet, needed })
        };
        assert_eq!(
            told(Some(Disturbance::Falls(36)), 0),
            "the pack stays in quarantine for internal short: cell 37 falls at rest; it has to be quiet for 90.0 s"
        );
        assert_eq!(
            told(None, 60),
            "the pack stays in quarantine for internal short: quiet for 60.0 s of 90.0 s"
        );
        assert!(told(None, 90).ends_with("only the workshop clears it"));
    }
}
