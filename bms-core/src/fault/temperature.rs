//! # Temperatures
//!
//! Decides whether the pack is too hot, too cold, or warming by itself.
//!
//! Only a sensor at a rail is left out: a doubtful one still counts where it is the more dangerous reading, hot as hot and cold as
//! cold. A module without any sensor counts as its warmest neighbour and more, and as its coldest neighbour and less.
//!
//! A cold pack that is merely not charged is no fault: the current limit holds it back. Charging one is.

use super::judge::{Limit, Seen, Sight, Watch};
use crate::units::{Celsius, CelsiusPerSecond};
use crate::witness::Place;

/// The hottest credible place.
pub(super) struct Hottest;

/// The coldest credible place.
pub(super) struct Coldest;

/// The coldest credible place while charge current flows.
pub(super) struct ColdestCharged;

/// The fastest rise of a sensor that is already warm.
pub(super) struct Rising;

/// A rise below this is warming by work, not by itself. Common practice.
const RISE_COUNTS_FROM: Celsius = Celsius::from_milli(45_000);

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Hottest {
    type Quantity = Celsius;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Celsius>) -> Sight {
        match seen.believed.temperatures.hottest {
            Some((sensor, celsius)) => limit.sight(Place::Thermistor(sensor), Some(celsius)),
            None => Sight::UNKNOWN,
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Coldest {
    type Quantity = Celsius;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Celsius>) -> Sight {
        match seen.believed.temperatures.coldest {
            Some((sensor, celsius)) => limit.sight(Place::Thermistor(sensor), Some(celsius)),
            None => Sight::UNKNOWN,
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for ColdestCharged {
    type Quantity = Celsius;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Celsius>) -> Sight {
        let (Some((sensor, celsius)), Some(current)) =
            (seen.believed.temperatures.coldest, seen.believed.current)
        else {
            return Sight::UNKNOWN;
        };
        // No charge, no danger: what is observed then is a place that is warm enough.
        let charging = current.amps > seen.config.pack.rate(5);
        limit.sight(
            Place::Thermistor(sensor),
            Some(if charging { celsius } else { celsius.max(limit.release) }),
        )
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Rising {
    type Quantity = CelsiusPerSecond;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<CelsiusPerSecond>) -> Sight {
        // No sensor believed in this frame, or all of them at a rail: what they showed before is no reading.
        let Some((_, hottest)) = seen.believed.temperatures.hottest else { return Sight::UNKNOWN };
        if hottest < RISE_COUNTS_FROM {
            return limit.sight(Place::Pack, Some(CelsiusPerSecond::ZERO));
        }
        let sensors = &seen.believed.temperatures.sensors;
        let fastest = sensors
            .numbered()
            .filter(|(_, sensor)| !sensor.at_rail() && sensor.celsius >= RISE_COUNTS_FROM)
            .filter_map(|(place, sensor)| Some((sensor.rise()?, place)))
            .max();
        match fastest {
            Some((rise, place)) => limit.sight(Place::Thermistor(place), Some(rise)),
            None => Sight::UNKNOWN,
        }
    }
}
