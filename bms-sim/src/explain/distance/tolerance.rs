//! # What a change is measured by
//!
//! | number | its tolerance |
//! | --- | --- |
//! | a limit, a release limit | the stated worst error of the sensor that it is held against; a tenth of the limit where no single sensor is |
//! | a dwell | a tick: dwells are counted in ticks |
//! | a sensor's error | its stated worst error |
//! | a severity | a tenth of it: it is what was assumed, and ranges over decades |
//!
//! The stated errors are those of the firmware's configuration, which its own bounds rest on. None rests on the auxiliary supply: its error is
//! that of the modelled channel.

use crate::case::{Case, Knob};
use crate::defect::Kind;
use bms_core::Fault;
use bms_core::witness::Quantity;

/// What a change of a number is measured by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// How much, in the unit of the number.
    pub amount: f64,
    /// What that is.
    pub measure: Measure,
}

/// What a tolerance is.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Measure {
    /// The stated worst error of a sensor.
    SensorError,
    /// A tick.
    Tick,
    /// A tenth of the number as it stands.
    Tenth,
}

impl Tolerance {
    /// That of a number of a case.
    #[must_use]
    pub fn of(knob: Knob, case: &Case) -> Self {
        match knob {
            Knob::Trip(fault) | Knob::Release(fault) => {
                let trip = case.config().faults.shown(fault).trip;
                let stated = match fault {
                    Fault::SupplyLow => Some(supply_error(case)),
                    _ => trip.and_then(|trip| sensor_error(case, trip)),
                };
                match stated {
                    Some(amount) => Self { amount, measure: Measure::SensorError },
                    None => Self::tenth(knob, case),
                }
            }
            Knob::Dwell(_) | Knob::ReleaseDwell(_) => {
                Self { amount: f64::from(case.config().pack.tick.0), measure: Measure::Tick }
            }
            Knob::Severity(_) => Self::tenth(knob, case),
            Knob::Error(kind, _) => Self { amount: channel_error(kind, case), measure: Measure::SensorError },
        }
    }

    fn tenth(knob: Knob, case: &Case) -> Self {
        let tenth = knob.get(case).unwrap_or_default().abs() / 10.0;
        Self { amount: tenth.max(knob.grid(case).step()), measure: Measure::Tenth }
    }
}

/// The stated error of the sensor that shows such a quantity, in its unit; nothing where several are compared.
fn sensor_error(case: &Case, limit: Quantity) -> Option<f64> {
    let sensing = &case.config().sensing;
    let milli = |thousandths: i32| f64::from(thousandths) / 1_000.0;
    match limit {
        // A cell's voltage stays far below that of a pack.
        Quantity::Volts(volts) if volts.milli() < 20_000 => Some(milli(sensing.cell_error.milli())),
        Quantity::Volts(_) => Some(milli(sensing.voltage_error.milli())),
        Quantity::Amps(_) => Some(milli(sensing.current_offset.milli())),
        Quantity::Celsius(_) => Some(milli(sensing.temperature_error.milli())),
        _ => None,
    }
}

/// The worst error of the auxiliary supply's channel, in volts.
fn supply_error(case: &Case) -> f64 {
    let spec = case.pack.spec();
    spec.sensors.supply.offset + spec.sensors.supply.gain * spec.supply.volts
}

/// The stated error of a channel, in the unit of the defect that displaces it.
fn channel_error(kind: Kind, case: &Case) -> f64 {
    let sensing = &case.config().sensing;
    let (cell, nominal) =
        (f64::from(sensing.cell_error.milli()), f64::from(case.config().pack.nominal.milli()));
    match kind {
        // In mV.
        Kind::CellChannelOffset => cell,
        // In A and °C.
        Kind::CurrentOffset => f64::from(sensing.current_offset.milli()) / 1_000.0,
        Kind::ThermistorOffset => f64::from(sensing.temperature_error.milli()) / 1_000.0,
        // In % of what stands there: of a cell, of the pack.
        Kind::PackVoltageGain | Kind::LinkVoltageGain => {
            100.0 * f64::from(sensing.voltage_error.milli()) / nominal
        }
        Kind::SupplyReadingGain => 100.0 * supply_error(case) / case.pack.spec().supply.volts,
        _ => 100.0 * cell * f64::from(case.config().pack.cells()) / nominal,
    }
}
