//! What happened in truth: defects, bounds that were passed, the chain, the verdict.

use super::evidence::assessment;
use super::names::{contactor, reaction};
use super::numbers::{clock, seconds};
use crate::case::Case;
use crate::defect::{Defect, PlaceKind};
use crate::explain::chain::{Link, LinkKind};
use crate::explain::verdict::Verdict;
use crate::recording::Nearest;
use crate::world::truth::{Bound, Breach};
use bms_core::frame::Contactor;

/// What a defect is and where; the severity with its unit.
#[must_use]
pub fn defect(defect: &Defect) -> String {
    let at = match defect.kind.place() {
        PlaceKind::Cell => format!(" at cell {}", defect.place + 1),
        PlaceKind::Joint => format!(" between cells {} and {}", defect.place + 1, defect.place + 2),
        PlaceKind::Thermistor => format!(" at thermistor {}", defect.place + 1),
        PlaceKind::Module => format!(" at module {}", defect.place + 1),
        PlaceKind::CurrentSensor => {
            format!(" at the {} current sensor", ["main", "second"][defect.place.min(1)])
        }
        PlaceKind::Contactor => {
            let which = [Contactor::Negative, Contactor::Precharge, Contactor::Positive];
            format!(" at the {} contactor", contactor(which[defect.place.min(2)]))
        }
        PlaceKind::Pack => String::new(),
    };
    let severity = if defect.kind.unit().is_empty() {
        String::new()
    } else {
        format!(", {} {}", defect.severity, defect.kind.unit())
    };
    format!("{}{at}{severity}", defect.kind.name())
}

/// A defect begins.
#[must_use]
pub fn defect_begins(begun: &Defect) -> String {
    let growing = if begun.grows_seconds > 0.0 {
        format!(" in {}", seconds(begun.grows_seconds))
    } else {
        String::new()
    };
    format!("DEFECT begins: {}{growing}", defect(begun))
}

/// A defect ends.
#[must_use]
pub fn defect_ends(ended: &Defect) -> String {
    format!("DEFECT ends: {}", defect(ended))
}

/// Another duty begins.
#[must_use]
pub fn duty_begins(work: &str) -> String {
    format!("the duty is now {work}")
}

/// A safe bound that truth has passed.
#[must_use]
pub fn breach(breach: &Breach) -> String {
    let cell = breach.place.map_or(0, |place| place + 1);
    let (value, limit) = (breach.value, breach.limit);
    match breach.bound {
        Bound::CellReversed => format!("in truth cell {cell} is reversed: {value:.3} V"),
        Bound::CellLow => {
            format!("in truth cell {cell} falls past {limit:.2} V, the least that is safe ({value:.3} V)")
        }
        Bound::CellHigh => {
            format!("in truth cell {cell} rises past {limit:.2} V, the most that is safe ({value:.3} V)")
        }
        Bound::CellHot => {
            format!("in truth cell {cell} passes {limit:.0} °C inside, the most that is safe ({value:.1} °C)")
        }
        Bound::ChargedFrozen => {
            format!(
                "in truth {value:.1} A charge cell {cell} below 0 °C, where {limit:.1} A is the most that is safe: plating does not heal"
            )
        }
        Bound::JointHeat => {
            format!(
                "in truth the joint between cells {cell} and {} passes {limit:.0} W as a mean over a minute ({value:.2} W)",
                cell + 1
            )
        }
        Bound::JointHot => format!(
            "in truth the joint between cells {cell} and {} passes {limit:.0} °C ({value:.1} °C)",
            cell + 1
        ),
        Bound::LinkLive => {
            format!("in truth the link is still at {value:.0} V, safe is less than {limit:.0} V")
        }
        Bound::ClosedOntoDifference => {
            format!("in truth a contactor closed onto {value:.0} V, safe is less than {limit:.0} V")
        }
        Bound::OpenedAboveLimit => {
            format!("in truth a contactor had to break {value:.0} A, safe is less than {limit:.0} A")
        }
        Bound::ResistorHot => {
            format!("in truth the precharge resistor is {value:.0} °C, safe is less than {limit:.0} °C")
        }
    }
}

/// A link of a chain.
#[must_use]
pub fn link(link: &Link, case: &Case) -> String {
    match &link.what {
        LinkKind::DefectBegins(place) => match case.defects.get(*place) {
            Some(begun) => format!("the defect begins: {}", defect(begun)),
            None => "a defect begins".to_owned(),
        },
        LinkKind::TruthDeparts => "truth departs from the same run without the defect".to_owned(),
        LinkKind::FrameDeparts => "a measurement departs by more than its step".to_owned(),
        LinkKind::Suspected(seen) => format!("{} is Suspect: {}", seen.fault.words(), assessment(seen)),
        LinkKind::Confirmed(seen) => format!("{} is Confirmed: {}", seen.fault.words(), assessment(seen)),
        LinkKind::Reacted(now) => format!("the reaction holds: {}", reaction(*now)),
        LinkKind::ContactorsOpen => "the contactors are open".to_owned(),
        LinkKind::LinkDown => "the link is below 60 V".to_owned(),
    }
}

/// Whether the pack is dangerous, and how soon it would have been had nothing reacted.
#[must_use]
pub fn verdict(verdict: &Verdict, case: &Case) -> Vec<String> {
    let onset = case.defects.iter().map(|defect| defect.onset_seconds).fold(f64::INFINITY, f64::min);
    let mut sentences = vec![if verdict.critical() {
        "Critical.".to_owned()
    } else {
        "Not critical: truth stays inside its safe bounds.".to_owned()
    }];
    if let Some(passed) = &verdict.passed {
        sentences.push(format!(
            "In this run a bound was passed at {}: {}.",
            clock(passed.seconds),
            breach(passed)
        ));
    }
    if let Some(hazard) = &verdict.without_reactions {
        sentences.push(format!(
            "Had nothing reacted, {} after the onset: {}.",
            seconds((hazard.seconds - onset).max(0.0)),
            breach(hazard)
        ));
    }
    sentences
}

/// A fault that was never suspected, and how near it came.
#[must_use]
pub fn never_suspected(nearest: Option<&Nearest>) -> String {
    nearest.map_or_else(
        || "It was never suspected, and nothing was measured that could tell.".to_owned(),
        |near| {
            format!(
                "It was never suspected. Nearest at {}: {}.",
                clock(near.seconds),
                assessment(&near.assessment)
            )
        },
    )
}
