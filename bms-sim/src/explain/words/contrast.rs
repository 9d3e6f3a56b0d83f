//! What separates one defect from another.

use super::numbers::clock;
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
        text += &format!("              and {more} more readings later\n");
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
        let shown = difference.as_ref().map_or_else(
            || "shows the same in both".to_owned(),
            |difference| format!("separates them at {}: {}", clock(difference.seconds), reading(difference)),
        );
        text += &format!("  {} {shown}\n", act(*trial));
    }
    text
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
const fn act(trial: Trial) -> &'static str {
    match trial {
        Trial::LoadStep => "a load step (cleared, closed, hoisting for 8 s)",
        Trial::Charge => "charging at the dock for ten minutes",
        Trial::Rest => "opening and half an hour of rest",
        Trial::Reclose => "opening and closing again",
        Trial::SwapThermistors(_) => "exchanging the plugs of the thermistor and its neighbour",
        Trial::Meter => "a meter at each cell and to the chassis, a thermometer at each cell and joint,",
    }
}

/// A reading, here and there.
fn reading(difference: &Difference) -> String {
    let (here, there) = (difference.here, difference.there);
    let number = |value: f64, digits: usize, unit: &str| format!("{value:.digits$} {unit}").replace('-', "−");
    let both = |name: String, digits: usize, unit: &str| {
        format!("{name} reads {} here and {} there", number(here, digits, unit), number(there, digits, unit))
    };
    let contact = |name: String| {
        let said = |value: f64| if value > 0.5 { "made" } else { "broken" };
        format!("{name} is {} here and {} there", said(here), said(there))
    };
    let named = |names: [&str; 3], which: usize| names.get(which).copied().unwrap_or_default().to_owned();
    match difference.channel {
        Channel::Cell(cell) => both(format!("cell {}", cell + 1), 3, "V"),
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
        Channel::Disconnect(which) => {
            contact(format!("the {} disconnect", named(["service", "auxiliary", ""], which)))
        }
        Channel::Bleeding => "other cells are seen to bleed".to_owned(),
        Channel::MeteredCell(cell) => both(format!("a meter at cell {}", cell + 1), 3, "V"),
        Channel::MeteredInsulation => both("a meter from the pack to the chassis".to_owned(), 0, "kΩ"),
        Channel::WarmCell(cell) => both(format!("a thermometer at cell {}", cell + 1), 1, "°C"),
        Channel::WarmJoint(cell) => {
            both(format!("a thermometer at the joint of cells {} and {}", cell + 1, cell + 2), 1, "°C")
        }
    }
}
