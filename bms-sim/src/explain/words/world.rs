//! What happened in truth: defects, bounds that were passed, the chain, the verdict.

use super::departs::{fact, reading};
use super::evidence::{assessment, evidence};
use super::names::{reaction, stage};
use super::numbers::{clock, duration, seconds};
use super::story::acted;
use crate::case::Case;
use crate::defect::{Defect, PlaceKind};
use crate::explain::blind::Unseen;
use crate::explain::chain::{Link, LinkKind, Wrong};
use crate::explain::verdict::{Criticality, Verdict};
use crate::recording::Nearest;
use crate::repair::Repair;
use crate::world::truth::{Bound, Breach};
use bms_core::units::Millis;

/// Where a defect is; empty for what the pack has only once.
#[must_use]
pub fn defect_place(kind: PlaceKind, place: usize) -> String {
    match kind {
        PlaceKind::Cell => format!("cell {}", place + 1),
        PlaceKind::Joint => format!("cells {} and {}", place + 1, place + 2),
        PlaceKind::Wire => format!("sense wire {}", place + 1),
        PlaceKind::Thermistor => format!("thermistor {}", place + 1),
        PlaceKind::Module => format!("module {}", place + 1),
        PlaceKind::CurrentSensor => {
            format!("the {} current sensor", kind.names()[place.min(1)])
        }
        PlaceKind::Contactor => format!("the {} contactor", kind.names()[place.min(2)]),
        PlaceKind::FramePart => {
            let name = kind.names().get(place).copied().unwrap_or_default();
            format!("the frame's {}", name.replace('_', " "))
        }
        PlaceKind::Pack => String::new(),
    }
}

/// What a defect is and where; the severity with its unit.
#[must_use]
pub fn defect(defect: &Defect) -> String {
    let at = match (defect.kind.place(), defect_place(defect.kind.place(), defect.place)) {
        (PlaceKind::Pack, _) => String::new(),
        (PlaceKind::Joint, place) => format!(", between {place}"),
        (_, place) => format!(" at {place}"),
    };
    let severity = match defect.kind.unit() {
        "" => String::new(),
        "1/min" => format!(", {} a minute", defect.severity),
        unit => format!(", {} {unit}", defect.severity).replace('-', "−"),
    };
    let grows = match (defect.grows_seconds > 0.0, severity.is_empty()) {
        (false, _) => String::new(),
        (true, true) => format!(", growing over {}", seconds(defect.grows_seconds)),
        (true, false) => format!(" reached after {}", seconds(defect.grows_seconds)),
    };
    let spells = defect.spells.map_or_else(String::new, |spells| {
        let present = seconds(spells.duty * spells.period_seconds);
        format!(", there for {present} of every {}", seconds(spells.period_seconds))
    });
    format!("{}{at}{severity}{grows}{spells}", defect.kind.name())
}

/// The workshop puts a new part in.
#[must_use]
pub fn repaired(repair: &Repair) -> String {
    match defect_place(repair.work.place(), repair.place).as_str() {
        "" => format!("REPAIR: {}", repair.work.name()),
        place => format!("REPAIR: {}, {place}", repair.work.name()),
    }
}

/// A defect begins.
#[must_use]
pub fn defect_begins(begun: &Defect) -> String {
    format!("DEFECT begins: {}", defect(begun))
}

/// A defect ends.
#[must_use]
pub fn defect_ends(ended: &Defect) -> String {
    format!("DEFECT ends: {}", defect(ended))
}

/// A safe bound that truth has passed; the value only where it says more than the bound does.
#[must_use]
pub fn breach(breach: &Breach) -> String {
    let cell = breach.place.map_or(0, |place| place + 1);
    let (value, limit) = (breach.value, breach.limit);
    let joint = format!("the joint between cells {cell} and {}", cell + 1);
    let bound = |unit: &str, digits: usize| {
        let (bound, reached) = (format!("{limit:.digits$} {unit}"), format!("{value:.digits$} {unit}"));
        if bound == reached { bound } else { format!("{bound} ({reached})") }
    };
    let said = match breach.bound {
        Bound::CellReversed => format!("cell {cell} is reversed, −{:.3} V", value.abs()),
        Bound::CellLow => format!("cell {cell} falls below the least that is safe, {}", bound("V", 2)),
        Bound::CellHigh => format!("cell {cell} rises above the most that is safe, {}", bound("V", 2)),
        Bound::CellHot => {
            format!("cell {cell} is hotter inside than the most that is safe, {}", bound("°C", 1))
        }
        Bound::ChargedFrozen => format!(
            "cell {cell} is charged below 0 °C with more than the most that is safe, {}: plating does not heal",
            bound("A", 1)
        ),
        Bound::CellPlated => format!(
            "in cell {cell} more charge has plated than the most that is safe, {}: it never comes back",
            bound("Ah", 2)
        ),
        Bound::CellVents => format!(
            "cell {cell} vents: {:.0} % of what can react has reacted, {:.0} % is the most that is safe",
            100.0 * value,
            100.0 * limit
        ),
        Bound::JointHeat => {
            format!("{joint} makes more heat over a minute than the most that is safe, {}", bound("W", 1))
        }
        Bound::JointHot => format!("{joint} is hotter than the most that is safe, {}", bound("°C", 0)),
        Bound::LinkLive => format!("the link is still above what is safe, {}", bound("V", 1)),
        Bound::ClosedOntoDifference => {
            format!("a contactor closes onto more than the most that is safe, {}", bound("V", 1))
        }
        Bound::OpenedAboveLimit => {
            format!("a contactor must break more than the most that is safe, {}", bound("A", 0))
        }
        Bound::ResistorHot => {
            format!("the precharge resistor is hotter than the most that is safe, {}", bound("°C", 0))
        }
        Bound::InsulationLow => {
            format!(
                "a pole is insulated from the chassis by less than the least that is safe, {}",
                bound("Ω/V", 0)
            )
        }
    };
    format!("in truth {said}")
}

/// A link of a chain.
#[must_use]
pub fn link(link: &Link, case: &Case) -> String {
    match &link.what {
        LinkKind::DefectBegins(place) => match case.defects.get(*place) {
            Some(begun) => format!("the defect begins: {}", defect(begun)),
            None => "a defect begins".to_owned(),
        },
        LinkKind::StartBegins => "the contactors begin to close".to_owned(),
        LinkKind::TruthDeparts(found) => {
            format!("truth departs from the same run without the defect: {}", fact(found))
        }
        LinkKind::TruthUnharmed(wrong) => {
            let only = match wrong {
                Wrong::Reading => "only a reading lies",
                Wrong::Way => "only what is read comes late, or not at all",
                Wrong::Controller => "only the controller itself is disturbed",
            };
            format!("up to here truth is that of the same run without the defect: {only}")
        }
        LinkKind::FrameDeparts(found) if found.what.is_time() => {
            format!("what reaches the firmware departs: {}", reading(found))
        }
        LinkKind::FrameDeparts(found) => {
            let by = if found.what.has_steps() { " by more than its step" } else { "" };
            format!("a measurement departs{by}: {}", reading(found))
        }
        LinkKind::Suspected(seen) => format!("{} is Suspect: {}", seen.fault.words(), assessment(seen)),
        LinkKind::Confirmed(seen) => {
            let held = match seen.dwell {
                Millis::ZERO => "without a dwell".to_owned(),
                dwell => format!("after a dwell of {}", duration(dwell)),
            };
            format!("{} is Confirmed {held}: {}", seen.fault.words(), assessment(seen))
        }
        LinkKind::Reacted(now) => format!("the reaction holds: {}", reaction(*now)),
        LinkKind::ContactorsOpen => "the contactors are open".to_owned(),
        LinkKind::LinkDown => "the link is below 60 V".to_owned(),
        LinkKind::Acted(ask) => acted(*ask),
        LinkKind::Staged(seen) => {
            format!("{} is {}: {}", seen.fault.words(), stage(seen.stage), assessment(seen))
        }
        LinkKind::Told(told) => evidence(told),
    }
}

/// A danger that no measurement would show.
#[must_use]
pub fn unseen(unseen: Unseen) -> String {
    match unseen {
        Unseen::CellHigh(cell) => format!("too high a voltage of cell {}", cell + 1),
        Unseen::CellLow(cell) => format!("too low a voltage of cell {}", cell + 1),
        Unseen::ModuleHot(module) => format!("that module {} is too hot", module + 1),
        Unseen::ModuleCold(module) => format!("that module {} is too cold to be charged", module + 1),
        Unseen::Charge => "too much current into the pack".to_owned(),
        Unseen::Discharge => "too much current out of the pack".to_owned(),
        Unseen::LinkLive => "that the link is live to touch".to_owned(),
        Unseen::Leak => "a leak from the pack to the chassis".to_owned(),
    }
}

/// Whether the pack is dangerous, and how soon it would have been had nothing reacted.
#[must_use]
pub fn verdict(verdict: &Verdict, case: &Case) -> Vec<String> {
    let mut sentences = vec![match verdict.criticality() {
        Criticality::Critical => "Critical.".to_owned(),
        Criticality::ByBlindness => {
            "Critical by blindness: truth stays inside its safe bounds, but what would leave them would not be seen."
                .to_owned()
        }
        Criticality::NotCritical => "Not critical: truth stays inside its safe bounds.".to_owned(),
    }];
    if let Some(blind) = &verdict.blind {
        sentences.push(format!("No measurement is left that would show {}.", unseen(blind.unseen)));
    }
    if let Some(passed) = &verdict.passed {
        sentences.push(format!("In this run, at {}: {}.", clock(passed.seconds), breach(passed)));
    }
    if let Some(hazard) = &verdict.without_reactions {
        sentences.push(match verdict.seconds_to_hazard(case) {
            None => format!("Switched as if nothing were wrong: {}.", breach(hazard)),
            Some(after) => format!(
                "Driven on as if nothing were wrong, {} after the onset: {}.",
                seconds(after),
                breach(hazard)
            ),
        });
    }
    sentences
}

/// How far the hazard was from this second on, had nothing reacted.
#[must_use]
pub fn margin(verdict: &Verdict, case: &Case, from_seconds: f64) -> String {
    match (&verdict.without_reactions, verdict.seconds_left(case, from_seconds)) {
        (Some(hazard), Some(left)) if left >= 0.0 => {
            format!("Had nothing reacted, {} later: {}.", seconds(left), breach(hazard))
        }
        (Some(hazard), Some(left)) => {
            format!("Had nothing reacted, already {} before: {}.", seconds(-left), breach(hazard))
        }
        (Some(hazard), None) => format!("Switched as if nothing were wrong: {}.", breach(hazard)),
        (None, _) => "Had nothing reacted, truth would have stayed inside its safe bounds for half an hour after the onset.".to_owned(),
    }
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
