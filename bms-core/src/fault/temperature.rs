//! # Temperatures
//!
//! Decides whether the pack is too hot, too cold, or warming by itself.
//!
//! Only a sensor at a rail is left out: a doubtful one still counts where it is the more dangerous reading, hot as hot and cold as
//! cold. A module without any believed sensor counts as its warmest neighbour and more, and as its coldest neighbour and less; where
//! that is the worst, the place is the module. Without any sensor in the whole pack it may be anything: every module counts as hot and
//! as cold as the table goes. Only a part that did not come says nothing here, because it is stale.
//!
//! How fast a blind module warms cannot be known; what it may have become counts. A rise counts from a temperature on that work does not
//! explain, and until the sensor is well below it again. A sensor that climbed to the rail of a short circuit is no short circuit
//! (`sense::thermistor`): it counts as the hottest there is, and its last rise holds.
//!
//! A cold pack that is merely not charged is no fault: the current limit holds it back. Charging one is.

use super::judge::{Limit, Seen, Sight, Watch};
use crate::sense::ModuleRange;
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

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Hottest {
    type Quantity = Celsius;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Celsius>) -> Sight {
        let hottest = seen.believed.temperatures.hottest;
        let worst = worst(seen, hottest, |range| range.hottest, |here, before| here > before);
        worst.map_or(Sight::UNKNOWN, |(place, celsius)| limit.sight(place, Some(celsius)))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Coldest {
    type Quantity = Celsius;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Celsius>) -> Sight {
        coldest(seen).map_or(Sight::UNKNOWN, |(place, celsius)| limit.sight(place, Some(celsius)))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for ColdestCharged {
    type Quantity = Celsius;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Celsius>) -> Sight {
        let (Some((place, celsius)), Some(current)) = (coldest(seen), seen.believed.current) else {
            return Sight::UNKNOWN;
        };
        // No charge, no danger: what is observed then is a place that is warm enough.
        let charging = current.amps > seen.config.sensing.calm;
        limit.sight(place, Some(if charging { celsius } else { celsius.max(limit.release) }))
    }
}

fn coldest<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
) -> Option<(Place, Celsius)> {
    let coldest = seen.believed.temperatures.coldest;
    worst(seen, coldest, |range| range.coldest, |here, before| here < before)
}

/// The worst sensor, or the blind module that may be worse; `None` while no thermistor was read.
#[inline]
fn worst<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
    sensor: Option<(u8, Celsius)>,
    end: impl Fn(&ModuleRange) -> Celsius,
    is_worse: impl Fn(Celsius, Celsius) -> bool,
) -> Option<(Place, Celsius)> {
    seen.believed.thermistors?;
    let mut worst = sensor.map(|(sensor, celsius)| (Place::Thermistor(sensor), celsius));
    let modules = seen.believed.temperatures.modules.iter().take(usize::from(seen.config.pack.modules));
    let mut module = 0_u8;
    for range in modules {
        if !range.measured && worst.is_none_or(|(_, before)| is_worse(end(range), before)) {
            worst = Some((Place::Module(module), end(range)));
        }
        module = module.saturating_add(1);
    }
    worst
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Rising {
    type Quantity = CelsiusPerSecond;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<CelsiusPerSecond>) -> Sight {
        // No sensor believed in this frame, or all of them at a rail: what they showed before is no reading.
        let Some((_, hottest)) = seen.believed.temperatures.hottest else { return Sight::UNKNOWN };
        let none = limit.sight(Place::Pack, Some(CelsiusPerSecond::ZERO));
        if hottest < seen.config.sensing.rises_until {
            return none;
        }
        let sensors = &seen.believed.temperatures.sensors;
        let warm = || sensors.numbered().filter(|(_, sensor)| sensor.warm && !sensor.at_rail());
        let fastest = warm().filter_map(|(place, sensor)| Some((sensor.rise()?, place))).max();
        match fastest {
            Some((rise, place)) => limit.sight(Place::Thermistor(place), Some(rise)),
            None if warm().next().is_none() => none,
            None => Sight::UNKNOWN,
        }
    }
}
