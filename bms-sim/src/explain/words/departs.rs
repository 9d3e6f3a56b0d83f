//! What differs from the same run with something otherwise.

use super::names::{self, part};
use crate::explain::channels::Channel;
use crate::explain::departs::{Departure, Fact};

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
pub(super) fn reading(differs: &Departure<Channel>) -> String {
    let both = |digits: (usize, usize), unit: &str| instead((differs.is, differs.twin), digits, unit);
    let cell_volts = |name: String| format!("{name} reads {}", both(VOLTS_OF_CELL, "V"));
    let volts = |name: &str| format!("{name} reads {}", both(VOLTS, "V"));
    let degrees = |name: String| format!("{name} shows {}", both(CELSIUS, "°C"));
    let either = |name: String, said: [&str; 2]| {
        let said = |value: f64| if value > 0.5 { said[0] } else { said[1] };
        format!("{name} {} instead of {}", said(differs.is), said(differs.twin))
    };
    let contact = |name: String| either(name, ["made", "broken"]);
    match differs.what {
        Channel::Cell(cell) => cell_volts(format!("cell {}", cell + 1)),
        Channel::PulledCell(cell) => cell_volts(format!("under the test current cell {}", cell + 1)),
        Channel::Thermistor(place) => {
            format!("thermistor {} shows, of its reference, {}", place + 1, both(PERCENT, "%"))
        }
        Channel::Current => format!("the main current sensor reads {}", both(AMPS, "A")),
        Channel::CurrentCheck => format!("the check current sensor reads {}", both(AMPS, "A")),
        Channel::Pack => volts("the pack voltage"),
        Channel::BehindNegative => volts("the voltage behind negative"),
        Channel::BehindPositive => volts("the voltage behind positive"),
        Channel::Link => volts("the link"),
        Channel::Supply => volts("the auxiliary supply"),
        Channel::Pole(0) => volts("the negative pole to chassis"),
        Channel::Pole(_) => volts("the positive pole to chassis"),
        Channel::Feedback(which) => contact(format!("the feedback of {} is", contactor(which))),
        Channel::Interlock => contact("the interlock is".to_owned()),
        Channel::Disconnect(0) => contact("the service disconnect is".to_owned()),
        Channel::Disconnect(_) => contact("the auxiliary disconnect is".to_owned()),
        Channel::Cooling => either("by its tacho the fan is".to_owned(), ["turning", "standing"]),
        Channel::Bleeding => "other cells are seen to bleed".to_owned(),
        Channel::InterlockBreaks => {
            format!("breaks of the interlock counted: {}", counted(differs.is, differs.twin))
        }
        Channel::ImpactEdges => {
            format!("edges of the impact sensor counted: {}", counted(differs.is, differs.twin))
        }
        Channel::Age(of) => {
            format!(
                "of the frame, {} are {} old instead of {}",
                part(of),
                aged(differs.is),
                aged(differs.twin)
            )
        }
        Channel::Clock => {
            format!("the frame is dated {} instead of {}", dated(differs.is), dated(differs.twin))
        }
        Channel::MeteredCell(cell) => cell_volts(format!("a meter at cell {}", cell + 1)),
        Channel::MeteredBleed(cell) => {
            cell_volts(format!("a meter across the bleed resistor of cell {}", cell + 1))
        }
        Channel::MeteredInsulation => {
            format!("a meter from the pack to the chassis reads {}", both(KILOOHMS, "kΩ"))
        }
        Channel::WarmCell(cell) => degrees(format!("a thermometer at cell {}", cell + 1)),
        Channel::WarmJoint(cell) => {
            degrees(format!("a thermometer at the joint of cells {} and {}", cell + 1, cell + 2))
        }
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

/// An age in ms; the greatest stands for what was never measured.
fn aged(milliseconds: f64) -> String {
    if milliseconds >= f64::from(u32::MAX) {
        "endlessly".to_owned()
    } else {
        super::seconds(milliseconds / 1_000.0)
    }
}

fn dated(milliseconds: f64) -> String {
    format!("{:.3} s", milliseconds / 1_000.0)
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
