//! Once a second: each reading against its own past and against its neighbours.

use super::{Doubt, HOTTEST, SECOND, SensorReading, Thermistors, Track};
use crate::config::{Config, Sensing};
use crate::each::Each;
use crate::units::{Celsius, CelsiusPerSecond, Millis};

/// A second that took longer than this had a gap: what lies on both sides of it is not compared as one second.
pub(super) const GAP: Millis = Millis(1_500);

/// Most sensors of one module that speak for it to its neighbours.
const SPEAKERS: usize = 5;

/// What the sensors of a module and of those beside it read, in rising order of bits.
type Neighbourhood = heapless::Vec<i32, { 3 * SPEAKERS }>;

impl<const THERMISTORS: usize> Thermistors<THERMISTORS> {
    pub(super) fn compare(&mut self, since_load: Millis, config: &Config) {
        let warmer = if since_load <= config.sensing.work_shows {
            config.sensing.stray.scaled(config.sensing.warmer_by_work)
        } else {
            Celsius::ZERO
        };
        let medians = medians(&self.readings.sensors, config);
        let partners = partners(&self.readings.sensors, config);
        let passed = Passed { time: self.since, frames: self.summed };
        let around = medians.iter().zip(&partners);
        for ((reading, track), around) in self.readings.sensors.iter_mut().zip(&mut self.tracks).zip(around) {
            if !reading.at_end() {
                track.against_its_past(reading, passed, config);
                track.against_its_neighbours(reading, around, warmer, &config.sensing);
            }
            track.sum = Some(0);
        }
        (self.since, self.summed) = (Millis::ZERO, 0);
    }
}

/// What lies between two judgements.
#[derive(Clone, Copy)]
struct Passed {
    time: Millis,
    frames: i32,
}

impl Track {
    fn against_its_past(&mut self, reading: &mut SensorReading, passed: Passed, config: &Config) {
        let jump = config.sensing.jump;
        let gap = passed.time > GAP;
        reading.change = match (self.before, self.last) {
            (Some(before), Some(last)) if !gap => borne_out(last - before, reading.celsius - before),
            (Some(_) | None, Some(_) | None) => Celsius::ZERO,
        };
        self.doubted = if reading.change.abs() >= jump {
            config.sensing.doubted_after_jump
        } else if !gap && self.is_away(reading.celsius, jump) {
            // Either the jump starts here or the reading before was the wild one: a second decides.
            self.doubted.saturating_sub(1).max(1)
        } else {
            self.doubted.saturating_sub(1)
        };
        self.before = match (self.before, self.last) {
            _ if gap => None,
            // The reading between was the wild one: measured from it, coming back would be a jump.
            (Some(before), Some(last))
                if (last - before).abs() >= jump && (reading.celsius - before).abs() < jump =>
            {
                Some(before)
            }
            (Some(_) | None, last) => last,
        };
        self.last = Some(reading.celsius);

        let mean = self.sum.and_then(|sum| sum.checked_div(passed.frames));
        let means = self.mean.zip(mean);
        self.mean = mean;
        // Beyond the end of the table no rise shows: that of a climb holds.
        if reading.celsius >= HOTTEST && self.climbs() {
            return;
        }
        reading.rise_known = means.is_some();
        reading.rise = means
            .map_or(CelsiusPerSecond::ZERO, |(before, now)| rise(now.saturating_sub(before), passed.time));
        let warm_from = if reading.warm { config.sensing.rises_until } else { config.sensing.rises_from };
        reading.warm = reading.celsius >= warm_from;
        let fast = reading.warm && reading.rise >= config.faults.temperature_rising_fast.release;
        self.climbing = if fast { self.climbing.saturating_add(1) } else { 0 };
    }

    fn against_its_neighbours(
        &mut self,
        reading: &mut SensorReading,
        (median, partner): (&Option<Celsius>, &Option<Celsius>),
        warmer: Celsius,
        sensing: &Sensing,
    ) {
        // A gap counts as one second: what was not seen did not stay the same.
        self.same = self.same + SECOND;
        let Some(median) = *median else {
            (reading.astray, self.stray) = (Celsius::ZERO, false);
            return;
        };
        let difference = denied(reading.celsius - median, partner.map(|partner| reading.celsius - partner));
        reading.astray =
            if difference > Celsius::ZERO { (difference - warmer).max(Celsius::ZERO) } else { difference };
        let limit = if self.stray { sensing.stray.scaled(sensing.stray_back) } else { sensing.stray };
        self.stray = reading.astray.abs() >= limit;

        let (lowest, highest) = self.neighbours.unwrap_or((median, median));
        let (lowest, highest) = (lowest.min(median), highest.max(median));
        self.neighbours = Some((lowest, highest));
        reading.neighbours_moved =
            if self.same >= sensing.frozen_window { highest - lowest } else { Celsius::ZERO };
    }
}

/// What is left of a difference to the neighbours' median for a sensor of the module that reads alike to deny: only a colder one is denied.
fn denied(from_median: Celsius, from_partner: Option<Celsius>) -> Celsius {
    let colder = |partner: &Celsius| from_median < Celsius::ZERO && partner.abs() < from_median.abs();
    from_partner.filter(colder).unwrap_or(from_median)
}

/// What two readings after the same one both say of the change: the smaller amount, or nothing when their signs differ.
fn borne_out(first: Celsius, second: Celsius) -> Celsius {
    if first > Celsius::ZERO && second > Celsius::ZERO {
        first.min(second)
    } else if first < Celsius::ZERO && second < Celsius::ZERO {
        first.max(second)
    } else {
        Celsius::ZERO
    }
}

/// A difference of means in 1/256 °C over a time, as a rate; never below zero.
fn rise(difference: i32, over: Millis) -> CelsiusPerSecond {
    let scaled = i64::from(difference).saturating_mul(256 * 1_000).checked_div(i64::from(over.0));
    CelsiusPerSecond::from_wide(scaled.unwrap_or(0)).max(CelsiusPerSecond::ZERO)
}

/// For each sensor the median of its neighbours: the other sensors of its module and those of the modules beside it, without
/// those at a rail. `None` where there is no neighbour.
fn medians<const THERMISTORS: usize>(
    sensors: &Each<SensorReading, THERMISTORS>,
    config: &Config,
) -> Each<Option<Celsius>, THERMISTORS> {
    let per_module = usize::from(config.pack.thermistors_per_module);
    let mut medians = Each::all(None);
    let mut places = medians.iter_mut().zip(sensors);
    for module in 0..usize::from(config.pack.modules) {
        let readings = neighbourhood(sensors, module, per_module);
        let mut speakers = SPEAKERS;
        for (median, sensor) in places.by_ref().take(per_module) {
            let own = (speakers > 0 && !sensor.at_rail()).then_some(sensor.celsius);
            *median = median_without(&readings, own);
            speakers = speakers.saturating_sub(1);
        }
    }
    medians
}

/// For each sensor the reading of its own module that comes nearest to it, of those that are believed but for being stray themselves. `None`
/// for the only one.
fn partners<const THERMISTORS: usize>(
    sensors: &Each<SensorReading, THERMISTORS>,
    config: &Config,
) -> Each<Option<Celsius>, THERMISTORS> {
    let per_module = usize::from(config.pack.thermistors_per_module);
    let mut partners = Each::all(None);
    let mut places = partners.iter_mut().zip(sensors);
    for module in 0..usize::from(config.pack.modules) {
        let speakers = || {
            let first = module.saturating_mul(per_module);
            let speakers = sensors.iter().skip(first).take(per_module.min(SPEAKERS));
            speakers.filter(|other| matches!(other.doubt, None | Some(Doubt::Stray)))
        };
        for (partner, sensor) in places.by_ref().take(per_module) {
            let others = speakers().filter(|other| !core::ptr::eq(*other, sensor));
            *partner =
                others.map(|other| other.celsius).min_by_key(|celsius| (sensor.celsius - *celsius).abs());
        }
    }
    partners
}

fn neighbourhood<const THERMISTORS: usize>(
    sensors: &Each<SensorReading, THERMISTORS>,
    module: usize,
    per_module: usize,
) -> Neighbourhood {
    let mut sorted = Neighbourhood::new();
    for beside in [module.checked_sub(1), Some(module), module.checked_add(1)].into_iter().flatten() {
        let first = beside.saturating_mul(per_module);
        for sensor in sensors.iter().skip(first).take(per_module.min(SPEAKERS)).filter(|s| !s.at_rail()) {
            let mut carried = sensor.celsius.bits();
            for place in &mut sorted {
                if carried < *place {
                    core::mem::swap(&mut carried, place);
                }
            }
            if sorted.push(carried).is_err() {
                return sorted; // never: there is a place for each speaker
            }
        }
    }
    sorted
}

/// The median of sorted readings, one of them left out; the mean of the middle two where their count is even.
fn median_without(sorted: &Neighbourhood, own: Option<Celsius>) -> Option<Celsius> {
    let own = own.and_then(|own| sorted.iter().position(|bits| *bits == own.bits())).unwrap_or(usize::MAX);
    let others = if own == usize::MAX { sorted.len() } else { sorted.len().saturating_sub(1) };
    let past_own = |place: usize| if place < own { place } else { place.saturating_add(1) };
    let lower = sorted.get(past_own(others.checked_sub(1)? / 2))?;
    let upper = sorted.get(past_own(others / 2))?;
    Some(Celsius::from_bits(lower.midpoint(*upper)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The same as sorting the others and taking the middle, as the standard library does it.
        #[test]
        fn the_median_leaves_one_reading_out(mut bits in proptest::collection::vec(-8_000_000..8_000_000_i32, 1..15), which in any::<prop::sample::Index>()) {
            let own = bits[which.index(bits.len())];
            bits.sort_unstable();
            let sorted = Neighbourhood::from_slice(&bits).unwrap();
            let mut others = bits.clone();
            others.remove(bits.iter().position(|bits| *bits == own).unwrap());
            let expected = (!others.is_empty())
                .then(|| others[(others.len() - 1) / 2].midpoint(others[others.len() / 2]));
            let median = median_without(&sorted, Some(Celsius::from_bits(own)));
            prop_assert_eq!(median.map(Celsius::bits), expected);
        }
    }

    #[test]
    fn a_change_needs_both_readings() {
        let celsius = |degrees: i32| Celsius::from_milli(degrees * 1_000);
        for (first, second, change) in [(6, 7, 6), (6, 0, 0), (6, -6, 0), (-8, -5, -5), (0, 9, 0)] {
            assert_eq!(borne_out(celsius(first), celsius(second)), celsius(change));
        }
    }
}
