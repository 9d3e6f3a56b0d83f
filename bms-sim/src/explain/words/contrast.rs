//! What separates one defect from another.

use super::names::part;
use super::numbers::{clock, seconds};
use super::world::defect;
use crate::case::Case;
use crate::explain::contrast::{Channel, Contrast, Difference, Trial};
use bms_core::Fault;

/// What separates the defect of a case from another one, line by line.
#[must_use]
pub fn contrast(contrast: &Contrast, case: &Case) -> String {
    let here = contrast.of.and_then(|place| case.defects.get(place));
    let here = here.map_or_else(|| "nothing wrong".to_owned(), defect);
    let played = &contrast.played;
    let mut text = format!("Here: {here}.\nThere: {}.\n", defect(&contrast.instead));
    if played.differences.is_empty() {
        text += &format!("Nothing that is measured separates the two up to {}.\n", clock(played.until));
    } else {
        text += "What separates them, by the first reading that differs beyond noise and step:\n";
    }
    for difference in played.differences.iter().take(MOST_DIFFERENCES) {
        text += &format!("{:>12}  {}\n", clock(difference.seconds), reading(difference));
    }
    let more = played.differences.len().saturating_sub(MOST_DIFFERENCES);
    if more > 0 {
        text += &format!("              and {more} more later\n");
    }
    if let Some(apart) = played.acts_apart {
        text += &format!("From {} on the firmware acts differently.\n", clock(apart));
    }
    let [one, other] = played.confirmed.each_ref().map(|faults| confirmed(faults));
    text += &format!("Confirmed here: {one}. Confirmed there: {other}.\n");
    if !contrast.trials.is_empty() {
        text += "What could be done, played on in both from there:\n";
    }
    for (trial, difference) in &contrast.trials {
        text += &format!("  {}\n", tried_in_both(*trial, difference.as_ref()));
    }
    text
}

/// What an act shows in both worlds.
#[must_use]
pub fn tried_in_both(trial: Trial, difference: Option<&Difference>) -> String {
    let done = act(trial);
    match difference {
        Some(apart) => {
            format!("{done}: separates them at {}, {}", clock(apart.seconds), reading(apart))
        }
        None => format!("{done}: shows the same in both"),
    }
}

/// So many readings are told; what follows them is mostly their consequence.
const MOST_DIFFERENCES: usize = 8;

fn confirmed(faults: &[Fault]) -> String {
    if faults.is_empty() {
        return "no fault".to_owned();
    }
    faults.iter().map(|fault| fault.words()).collect::<Vec<_>>().join(", ")
}

/// What is done.
pub(super) fn act(trial: Trial) -> String {
    match trial {
        Trial::LoadSteps(1) => "a load step (cleared, closed, hoisting for 8 s)".to_owned(),
        Trial::LoadSteps(times) => format!("load steps (cleared, closed, hoisting for 8 s, {times} times)"),
        Trial::Charge => "charging at the dock for ten minutes".to_owned(),
        Trial::Rest => "opening and half an hour of rest".to_owned(),
        Trial::Reclose => "opening and closing again".to_owned(),
        Trial::Bleed(cell) => format!("opening and bleeding cell {} for 5 s", cell + 1),
        Trial::SwapThermistors(place) => {
            format!("exchanging the plugs of thermistor {} and its neighbour", place + 1)
        }
        Trial::Meter => {
            "a meter at each cell and to the chassis, a thermometer at each cell and joint".to_owned()
        }
    }
}

/// A reading, here and there.
#[must_use]
pub fn reading(difference: &Difference) -> String {
    let (here, there) = (difference.here, difference.there);
    let number = |value: f64, digits: usize, unit: &str| format!("{value:.digits$} {unit}").replace('-', "−");
    let both = |name: String, digits: usize, unit: &str| {
        format!("{name} reads {} here and {} there", number(here, digits, unit), number(there, digits, unit))
    };
    let contact = |name: String| {
        let said = |value: f64| if value > 0.5 { "made" } else { "broken" };
        format!("{name} is {} here and {} there", said(here), said(there))
    };
    let counted = |what: &str| format!("{here:.0} {what} are counted here and {there:.0} there");
    let named = |names: [&str; 3], which: usize| names.get(which).copied().unwrap_or_default().to_owned();
    match difference.channel {
        Channel::Cell(cell) => both(format!("cell {}", cell + 1), 3, "V"),
        Channel::PulledCell(cell) => both(format!("under the test current cell {}", cell + 1), 3, "V"),
        Channel::Thermistor(place) => both(format!("thermistor {}", place + 1), 1, "% of its reference"),
        Channel::Current => both("the main current sensor".to_owned(), 1, "A"),
        Channel::CurrentCheck => both("the check current sensor".to_owned(), 1, "A"),
        Channel::Pack => both("the pack voltage".to_owned(), 1, "V"),
        Channel::BehindNegative => both("the voltage behind negative".to_owned(), 1, "V"),
        Channel::BehindPositive => both("the voltage behind positive".to_owned(), 1, "V"),
        Channel::Link => both("the link".to_owned(), 1, "V"),
        Channel::Supply => both("the auxiliary supply".to_owned(), 2, "V"),
        Channel::Pole(pole) => {
            both(format!("the {} pole to chassis", named(["negative", "positive", ""], pole)), 1, "V")
        }
        Channel::Feedback(which) => {
            contact(format!("the feedback of {}", named(["negative", "precharge", "positive"], which)))
        }
        Channel::Interlock => contact("the interlock".to_owned()),
        Channel::InterlockBreaks => counted("breaks of the interlock"),
        Channel::ImpactEdges => counted("edges of the impact sensor"),
        Channel::Cooling => {
            let said = |value: f64| if value > 0.5 { "turns" } else { "stands" };
            format!("by its tacho the fan {} here and {} there", said(here), said(there))
        }
        Channel::Age(of) => {
            let age = |age: f64| {
                if age >= f64::from(u32::MAX) {
                    "never measured".to_owned()
                } else {
                    format!("{} old", seconds(age / 1_000.0))
                }
            };
            format!("in the frame, {}: {} here, {} there", part(of), age(here), age(there))
        }
        Channel::Clock => {
            format!("the frame is dated {} here and {} there", clock(here / 1_000.0), clock(there / 1_000.0))
        }
        Channel::Disconnect(which) => {
            contact(format!("the {} disconnect", named(["service", "auxiliary", ""], which)))
        }
        Channel::Bleeding => "other cells are seen to bleed".to_owned(),
        Channel::MeteredCell(cell) => both(format!("a meter at cell {}", cell + 1), 3, "V"),
        Channel::MeteredBleed(cell) => {
            both(format!("a meter across the bleed resistor of cell {}", cell + 1), 3, "V")
        }
        Channel::MeteredInsulation => both("a meter from the pack to the chassis".to_owned(), 0, "kΩ"),
        Channel::WarmCell(cell) => both(format!("a thermometer at cell {}", cell + 1), 1, "°C"),
        Channel::WarmJoint(cell) => {
            both(format!("a thermometer at the joint of cells {} and {}", cell + 1, cell + 2), 1, "°C")
        }
    }
}
