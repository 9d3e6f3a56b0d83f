//! The measurement of insulation as sentences.

use super::names::pole;
use super::numbers::{duration, ohms, quantity, volts};
use bms_core::frame::{Pole, ToChassis};
use bms_core::insulation::{Insulated, InsulationSide, InsulationStep, Spoilt};
use bms_core::units::Ohms;
use bms_core::witness::Quantity;

/// One step of the measurement.
pub(super) fn insulation(step: &InsulationStep) -> String {
    match step {
        InsulationStep::NotMeasured => {
            "insulation is not known: the poles have no measuring points to the chassis".to_owned()
        }
        InsulationStep::Begun(at) => format!("insulation of {} is measured", side(*at)),
        InsulationStep::Read { resistor, negative, positive } => format!(
            "with the known resistor {}, the negative pole lies {} from the chassis and the positive one {}",
            placed(*resistor),
            volts(*negative),
            volts(*positive)
        ),
        InsulationStep::Spoilt(why) => format!("a measurement of insulation is thrown away: {}", spoilt(why)),
        InsulationStep::PausedForCharger => {
            "insulation is not measured while a charger charges: its own monitor would be disturbed"
                .to_owned()
        }
        InsulationStep::Found(found) => result(found),
    }
}

const fn side(side: InsulationSide) -> &'static str {
    match side {
        InsulationSide::Pack => "the pack alone",
        InsulationSide::WithLoad => "the pack with its load",
    }
}

const fn placed(resistor: ToChassis) -> &'static str {
    match resistor {
        ToChassis::Open => "away",
        ToChassis::Negative => "at the negative pole",
        ToChassis::Positive => "at the positive pole",
    }
}

fn spoilt(why: &Spoilt) -> String {
    match why {
        Spoilt::PackMoved(lowest, highest) => {
            format!("the pack's voltage moved from {} to {} meanwhile", volts(*lowest), volts(*highest))
        }
        Spoilt::ContactorsMoved => "the contactors moved".to_owned(),
        Spoilt::Unsettled(after) => format!("a pole had not settled after {}", duration(*after)),
        Spoilt::PolesContradictPack { poles, pack } => {
            format!("the two poles together read {}, the pack {}", volts(*poles), volts(*pack))
        }
        Spoilt::NoPack(pack) => format!("only {} stand between the poles", volts(*pack)),
    }
}

fn result(found: &Insulated) -> String {
    let other = match found.weaker {
        Pole::Negative => Pole::Positive,
        Pole::Positive => Pole::Negative,
    };
    let per_volt = if found.ohms == Ohms(u32::MAX) {
        String::new()
    } else {
        format!(" ({})", quantity(Quantity::OhmsPerVolt(found.per_volt())))
    };
    format!(
        "insulation of {}: the {} pole has {} to the chassis{per_volt}, the {} one {}",
        side(found.side),
        pole(found.weaker),
        ohms(found.ohms),
        pole(other),
        ohms(found.stronger)
    )
}
