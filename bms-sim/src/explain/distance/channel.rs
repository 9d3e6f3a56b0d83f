//! Which sensor a fault is seen with, and the defect that displaces its reading.

use crate::case::{Case, Knob};
use crate::defect::Kind;
use bms_core::Fault;
use bms_core::witness::{Assessment, Place, Quantity};

/// A sensor is turned off by up to so many of its stated errors: ten times worse than its sheet is a defect, not an error.
pub(super) const MOST_ERRORS: f64 = 10.0;

/// How far the sensor is off that showed this; nothing where several measurements are compared or a defect of the case sits there.
pub(super) fn of(seen: &Assessment, case: &Case) -> Option<Knob> {
    let (kind, place) = match (seen.observed?, seen.place) {
        (Quantity::Volts(_) | Quantity::Milliohms(_), Place::Cell(cell))
            if seen.fault == Fault::CellResistanceHigh =>
        {
            (Kind::CellChannelGain, usize::from(cell))
        }
        (Quantity::Volts(_), Place::Cell(cell)) => (Kind::CellChannelOffset, usize::from(cell)),
        // Whatever is worked out of its divider.
        (_, Place::Thermistor(thermistor)) => (Kind::ThermistorOffset, usize::from(thermistor)),
        (Quantity::Volts(_), Place::Link) => (Kind::LinkVoltageGain, 0),
        (Quantity::Volts(_), Place::Supply) => (Kind::SupplyReadingGain, 0),
        (Quantity::OhmsPerVolt(_), _) => (Kind::PackVoltageGain, 0),
        _ if matches!(seen.fault, Fault::PackSumDisagrees | Fault::StringOpen) => (Kind::PackVoltageGain, 0),
        (Quantity::Amps(_), _) => (Kind::CurrentOffset, 0),
        // A current squared over time.
        _ if matches!(seen.fault, Fault::ThermalCurrentNear | Fault::ThermalCurrentOver) => {
            (Kind::CurrentOffset, 0)
        }
        _ => return None,
    };
    let taken = case.defects.iter().any(|defect| defect.kind == kind && defect.place == place);
    (!taken).then_some(Knob::Error(kind, place))
}
