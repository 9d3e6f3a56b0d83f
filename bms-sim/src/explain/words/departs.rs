//! What differs from the same run with something otherwise.

use super::names;
use crate::explain::departs::{Departure, Fact, Reading};
use crate::world::deviation::PART_NAMES;

/// Something true that differs.
#[must_use]
pub(super) fn fact(differs: &Departure<Fact>) -> String {
    let both = |one: f64, digits: (usize, usize), unit: &str| {
        instead((one * differs.is, one * differs.twin), digits, unit)
    };
    match differs.what {
        Fact::CellVolts(cell) => format!("cell {} has {}", cell + 1, both(1.0, VOLTS_OF_CELL, "V")),
        Fact::CellCharge(cell) => {
            format!("the charge of cell {} is {}", cell + 1, both(100.0, PERCENT, "%"))
        }
        Fact::CellCelsius(cell) => format!("inside cell {} are {}", cell + 1, both(1.0, CELSIUS, "°C")),
        Fact::JointCelsius(cell) => {
            format!(
                "the joint between cells {} and {} is at {}",
                cell + 1,
                cell + 2,
                both(1.0, CELSIUS, "°C")
            )
        }
        Fact::PackVolts => format!("the pack has {}", both(1.0, VOLTS, "V")),
        Fact::LinkVolts => format!("the link has {}", both(1.0, VOLTS, "V")),
        Fact::LiftedVolts => format!("the link floats above the pack by {}", both(1.0, VOLTS, "V")),
        Fact::ChassisVolts => format!("the chassis stands above B− by {}", both(1.0, VOLTS, "V")),
        Fact::InsulationOhms => {
            format!("the weaker pole is insulated from the chassis by {}", both(1e-3, KILOOHMS, "kΩ"))
        }
        Fact::SupplyVolts => format!("the auxiliary supply has {}", both(1.0, VOLTS, "V")),
        Fact::ResistorCelsius => format!("the precharge resistor is at {}", both(1.0, CELSIUS, "°C")),
        Fact::Made(which) => {
            let said = |made: f64| if made > 0.5 { "passes current" } else { "stands open" };
            format!(
                "the {} contactor {}; otherwise it {}",
                contactor(which),
                said(differs.is),
                said(differs.twin)
            )
        }
        Fact::InterlockBreaks => {
            format!("breaks of the interlock loop so far: {}", counted(differs.is, differs.twin))
        }
        Fact::ImpactEdges => {
            format!("edges of the impact sensor so far: {}", counted(differs.is, differs.twin))
        }
    }
}

/// A reading that differs.
#[must_use]
pub(super) fn reading(differs: &Departure<Reading>) -> String {
    let both = |one: f64, digits: (usize, usize), unit: &str| {
        instead((one * differs.is, one * differs.twin), digits, unit)
    };
    let contact = |name: String| {
        let said = |made: f64| if made > 0.5 { "made" } else { "broken" };
        format!("{name} reads {} instead of {}", said(differs.is), said(differs.twin))
    };
    match differs.what {
        Reading::Cell(cell) => format!("cell {} reads {}", cell + 1, both(1.0, VOLTS_OF_CELL, "V")),
        Reading::CellPulled(cell) => {
            format!("cell {} under the test current reads {}", cell + 1, both(1.0, VOLTS_OF_CELL, "V"))
        }
        Reading::Thermistor(place) => {
            format!("thermistor {} shows, of its reference, {}", place + 1, both(100.0, PERCENT, "%"))
        }
        Reading::Current => format!("the main current sensor reads {}", both(1.0, AMPS, "A")),
        Reading::CurrentCheck => format!("the check current sensor reads {}", both(1.0, AMPS, "A")),
        Reading::Pack => format!("the pack voltage reads {}", both(1.0, VOLTS, "V")),
        Reading::BehindNegative => format!("B+ to L− reads {}", both(1.0, VOLTS, "V")),
        Reading::BehindPositive => format!("L+ to B− reads {}", both(1.0, VOLTS, "V")),
        Reading::Link => format!("the link reads {}", both(1.0, VOLTS, "V")),
        Reading::Supply => format!("the auxiliary supply reads {}", both(1.0, VOLTS, "V")),
        Reading::Pole(0) => format!("the chassis above B− reads {}", both(1.0, VOLTS, "V")),
        Reading::Pole(_) => format!("B+ above the chassis reads {}", both(1.0, VOLTS, "V")),
        Reading::Feedback(which) => {
            contact(format!("the feedback contact of the {} contactor", contactor(which)))
        }
        Reading::Interlock => contact("the interlock loop".to_owned()),
        Reading::Disconnect(0) => contact("the contact of the service disconnect".to_owned()),
        Reading::Disconnect(_) => contact("the contact of the auxiliary disconnect".to_owned()),
        Reading::Cooling => {
            let said = |turns: f64| if turns > 0.5 { "turning" } else { "standing" };
            format!("the tacho of the cooling says {} instead of {}", said(differs.is), said(differs.twin))
        }
        Reading::Bleeding => format!("cells seen to bleed: {}", counted(differs.is, differs.twin)),
        Reading::InterlockBreaks => {
            format!("breaks of the interlock counted: {}", counted(differs.is, differs.twin))
        }
        Reading::ImpactEdges => {
            format!("edges of the impact sensor counted: {}", counted(differs.is, differs.twin))
        }
        Reading::Age(part) => {
            let name = PART_NAMES.get(part).copied().unwrap_or_default().replace('_', " ");
            format!("the age of the frame's {name} is {} instead of {}", aged(differs.is), aged(differs.twin))
        }
        Reading::Instant => format!(
            "by the controller's clock the frame is of {} instead of {}",
            instant(differs.is),
            instant(differs.twin)
        ),
    }
}

/// Fewest and most digits behind the point.
const VOLTS_OF_CELL: (usize, usize) = (3, 6);
const VOLTS: (usize, usize) = (2, 6);
const AMPS: (usize, usize) = (2, 3);
const PERCENT: (usize, usize) = (1, 6);
const CELSIUS: (usize, usize) = (1, 5);
const KILOOHMS: (usize, usize) = (1, 6);

/// Two values with as many digits as show the first two of their difference, within what they deserve.
fn instead((is, twin): (f64, f64), (fewest, most): (usize, usize), unit: &str) -> String {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to some digits")]
    let needed = (1.0 - (is - twin).abs().max(1e-12).log10().floor()).clamp(0.0, 12.0) as usize;
    let digits = needed.clamp(fewest, most);
    let number = |value: f64| format!("{value:.digits$}").replace('-', "−");
    let (one, other) = (number(is), number(twin));
    if one == other {
        let (way, least) =
            (if is > twin { "more" } else { "less" }, 10_f64.powi(-i32::try_from(digits).unwrap_or(0)));
        return format!("{one} {unit}, {way}, by less than {least:.digits$} {unit}");
    }
    format!("{one} {unit} instead of {other} {unit}")
}

/// Two counts.
fn counted(is: f64, twin: f64) -> String {
    format!("{is:.0} instead of {twin:.0}")
}

/// An age; the oldest stands for never.
fn aged(seconds: f64) -> String {
    if seconds > 4e6 { "endless".to_owned() } else { super::seconds(seconds) }
}

fn instant(seconds: f64) -> String {
    format!("{seconds:.3} s")
}

/// In the order negative, precharge, positive.
fn contactor(which: usize) -> &'static str {
    use bms_core::frame::Contactor;
    match which {
        0 => names::contactor(Contactor::Negative),
        1 => names::contactor(Contactor::Precharge),
        _ => names::contactor(Contactor::Positive),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As many digits as show what differs, and no more than are deserved.
    #[test]
    fn digits_show_the_difference() {
        let cell = |is, twin| instead((is, twin), VOLTS_OF_CELL, "V");
        assert_eq!(cell(3.312, 3.329), "3.312 V instead of 3.329 V");
        assert_eq!(cell(3.312_34, 3.312_51), "3.31234 V instead of 3.31251 V");
        assert_eq!(cell(3.3, 3.3 - 1e-7), "3.300000 V, more, by less than 0.000001 V");
        assert_eq!(instead((-150.0, -148.5), AMPS, "A"), "−150.00 A instead of −148.50 A");
    }
}
