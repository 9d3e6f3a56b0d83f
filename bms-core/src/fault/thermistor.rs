//! # Thermistors
//!
//! Decides whether a temperature reading can be true. The readings are judged in `sense::thermistor`; here each judgement becomes
//! a fault with its stages. A lying sensor is no danger in itself, so these faults report; only a module that has lost its last
//! sensor takes current away, because a protection is blind then.

use super::judge::{Found, Limit, Seen, Sight, Watch, WatchThermistor};
use crate::config::Wiring;
use crate::sense::{Doubt, SensorReading};
use crate::units::{Celsius, Ratio};
use crate::witness::Place;

/// Nearly all of the reference stands at the thermistor: an open wire.
pub(super) struct Open;

/// Nearly nothing of it does: a short circuit.
pub(super) struct Shorted;

/// Change over a second, twice in a row.
pub(super) struct Jump;

/// Difference to the neighbours' median.
pub(super) struct Stray;

/// Movement of the neighbours while the reading stays identical.
pub(super) struct Frozen;

/// A module without any sensor that is believed.
pub(super) struct ModulesBlind;

impl<const CELLS: usize, const THERMISTORS: usize> WatchThermistor<CELLS, THERMISTORS> for Open {
    type Quantity = Ratio;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, thermistor: u8, limit: &Limit<Ratio>) -> Sight {
        limit.sight(Place::Thermistor(thermistor), share(seen, thermistor))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> WatchThermistor<CELLS, THERMISTORS> for Shorted {
    type Quantity = Ratio;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, thermistor: u8, limit: &Limit<Ratio>) -> Sight {
        // What climbed to the rail is hot, and no short circuit.
        let sensor = seen.believed.temperatures.sensors.at(thermistor);
        let climbed = sensor.is_some_and(|sensor| sensor.doubt == Some(Doubt::ClimbedToRail));
        let share = share(seen, thermistor);
        let share = if climbed { share.map(|share| share.max(limit.release)) } else { share };
        limit.sight(Place::Thermistor(thermistor), share)
    }
}

/// The thermistor's own share of the reference: 1 when its wire is open, 0 when it is shorted, however it is wired.
fn share<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
    thermistor: u8,
) -> Option<Ratio> {
    let measured = *seen.believed.thermistors?.at(thermistor)?;
    Some(match seen.config.sensing.wiring {
        Wiring::PullUp => measured,
        Wiring::PullDown => Ratio::ONE - measured,
    })
}

impl<const CELLS: usize, const THERMISTORS: usize> WatchThermistor<CELLS, THERMISTORS> for Jump {
    type Quantity = Celsius;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, thermistor: u8, limit: &Limit<Celsius>) -> Sight {
        judged(seen, thermistor, limit, |sensor| sensor.change.abs())
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> WatchThermistor<CELLS, THERMISTORS> for Stray {
    type Quantity = Celsius;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, thermistor: u8, limit: &Limit<Celsius>) -> Sight {
        judged(seen, thermistor, limit, |sensor| sensor.astray.abs())
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> WatchThermistor<CELLS, THERMISTORS> for Frozen {
    type Quantity = Celsius;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, thermistor: u8, limit: &Limit<Celsius>) -> Sight {
        judged(seen, thermistor, limit, |sensor| sensor.neighbours_moved)
    }
}

/// A sensor's quantity against the limit; a sensor at a rail has its own fault and is not judged twice.
fn judged<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
    thermistor: u8,
    limit: &Limit<Celsius>,
    quantity: impl FnOnce(&SensorReading) -> Celsius,
) -> Sight {
    let sensor = seen.believed.temperatures.sensors.at(thermistor).filter(|sensor| !sensor.at_rail());
    match (seen.believed.thermistors, sensor) {
        (Some(_), Some(sensor)) => limit.sight(Place::Thermistor(thermistor), Some(quantity(sensor))),
        (Some(_), None) => limit.sight(Place::Thermistor(thermistor), Some(Celsius::ZERO)),
        (None, _) => Sight::UNKNOWN,
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for ModulesBlind {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        let mut modules = (0..seen.config.pack.modules).zip(&seen.believed.temperatures.modules);
        match modules.find(|(_, range)| !range.measured) {
            Some((module, _)) => Sight::found(Place::Module(module), true),
            None => Sight::found(Place::Pack, false),
        }
    }
}
