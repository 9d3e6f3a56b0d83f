//! What is watched for each fault: the words before its value.

use super::numbers::place;
use bms_core::fault::Fault;
use bms_core::witness::Place;

/// What is watched for a fault, as the beginning of a sentence that its value ends.
pub(super) fn watched(fault: Fault, at: Place) -> String {
    let at = place(at);
    match fault {
        Fault::CellSpread | Fault::CellSpreadFar => "highest and lowest cell differ by".to_owned(),
        Fault::PackSumDisagrees => "the sum of the cells and the pack's voltage differ by".to_owned(),
        Fault::CellResistanceHigh => format!("{at} resists more than is expected, by"),
        Fault::CellReadingFrozen => format!("of a typical cell's movement under load, {at} shows"),
        Fault::CellSelfDischarge => format!("more than the median cell, in thirty days {at} loses"),
        Fault::InternalShort => format!("at rest and against a typical cell, in an hour {at} fell by"),
        Fault::ChargeCountDisagrees => {
            format!("at {at} counted charge and open-circuit voltage lie apart by")
        }
        Fault::TemperatureRisingFast => format!("{at} warms by"),
        Fault::ThermistorOpen | Fault::ThermistorShorted => {
            format!("of the reference voltage, {at} shows")
        }
        Fault::ThermistorJump => format!("from one reading to the next {at} moved by"),
        Fault::ThermistorStray => format!("{at} is off the median of its neighbours by"),
        Fault::ThermistorFrozen => format!("while {at} stood still its neighbours moved by"),
        Fault::OverCurrentCharge
        | Fault::OverCurrentDischarge
        | Fault::CurrentWhileOpen
        | Fault::CurrentSignImplausible => "the current is".to_owned(),
        Fault::LimitNotObeyed | Fault::LimitNotObeyedFar => {
            "the current is beyond what was allowed, by".to_owned()
        }
        Fault::ThermalCurrentNear | Fault::ThermalCurrentOver => {
            "of the heat budget of fuse and cable is used".to_owned()
        }
        Fault::CurrentSensorsDisagree => "the two current channels differ by".to_owned(),
        Fault::PrechargeResistorHot => {
            "of the heat that the precharge resistor may hold, it holds by model".to_owned()
        }
        Fault::NegativeWelded
        | Fault::PrechargeWelded
        | Fault::PositiveWelded
        | Fault::NegativeStuckOpen
        | Fault::PrechargeStuckOpen
        | Fault::PositiveStuckOpen => format!("the voltages around {at} show"),
        Fault::LinkReadingImplausible => {
            format!("{at} reads off the other voltages around the contactors by")
        }
        Fault::ContactorWorn | Fault::ContactorWornOut => {
            format!("of the life that its sheet gives it, {at} has used")
        }
        Fault::InsulationLow | Fault::InsulationLowFar | Fault::ChargedWithLeak => {
            format!("{at} is insulated from the chassis by")
        }
        Fault::InsulationUnknown => "insulation from the chassis has not been found for".to_owned(),
        Fault::SenseWireOpen => format!("{at} moves its cells apart by"),
        Fault::MeasurementsStale => "the oldest part of the frame has an age of".to_owned(),
        Fault::TickLate => "the newest frame came after the one before it by".to_owned(),
        Fault::InterlockIntermittent | Fault::InterlockIntermittentFar => {
            "short breaks of the interlock within its window:".to_owned()
        }
        Fault::StringOpen => "of the sum of the cells, the pack's terminals are off by".to_owned(),
        Fault::ImpactSignal => "edges of the impact sensor within its window:".to_owned(),
        // Its place shows its value: nothing more has to be said.
        _ => format!("{at} shows"),
    }
}
