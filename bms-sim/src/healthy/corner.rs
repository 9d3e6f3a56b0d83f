//! The corners of what a sound pack may be, and the story of each.

use crate::case::{Case, CaseError, Pack, Surrounding};
use std::fmt;

/// Temperatures of the cells in °C.
const CELSIUS: [f64; 7] = [-28.0, -20.0, -10.0, 0.0, 10.0, 25.0, 45.0];
/// What every second module is warmer or colder, in °C.
const APART: [f64; 2] = [0.0, 10.0];
/// The warmest that cells may be, in °C.
const WARMEST: f64 = 45.0;
/// Around a pack that cools down, in °C.
const COOLER: f64 = 20.0;
/// Charge at the start.
const CHARGE: [f64; 3] = [0.20, 0.60, 0.97];
/// Multiples of the nominal resistance.
const RESISTANCE: [f64; 3] = [0.5, 1.0, 1.5];
const SENSORS: [SensorCorner; 3] = [SensorCorner::High, SensorCorner::Low, SensorCorner::Opposite];

/// Where the sensors are in their tolerance.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum SensorCorner {
    /// All at the upper end.
    High,
    /// All at the lower end.
    Low,
    /// Neighbours at opposite ends.
    Opposite,
}

/// What a sound pack goes through.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Life {
    /// Two shifts with a rest between them, a top-up charge, two stops.
    Work,
    /// Two rests of a day and a half, each after a charge.
    Rest,
    /// Work and four hours of rest where it is cooler; only for the warmest packs.
    CoolingDown,
}

impl Life {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Work, Self::Rest, Self::CoolingDown];

    /// Its name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Work => "at work",
            Self::Rest => "at rest",
            Self::CoolingDown => "cooling down",
        }
    }

    /// Its story; the pack is left out.
    const fn text(self) -> &'static str {
        match self {
            Self::Work => include_str!("stories/work.toml"),
            Self::Rest => include_str!("stories/rest.toml"),
            Self::CoolingDown => include_str!("stories/cooling-down.toml"),
        }
    }
}

/// A corner of what a sound pack may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner {
    /// Which pack.
    pub pack: Pack,
    /// What it goes through.
    pub life: Life,
    /// Temperature of the first module, in °C.
    pub celsius: f64,
    /// Temperature of the second, in °C; they alternate.
    pub second_celsius: f64,
    /// Charge at the start, 0 to 1.
    pub charge: f64,
    /// Multiple of the nominal resistance.
    pub resistance: f64,
    /// Where the sensors are.
    pub sensors: SensorCorner,
    /// Seed of noise and scatter.
    pub seed: u64,
}

impl Corner {
    /// Its story, before its pack is brought there.
    ///
    /// # Errors
    /// Never for the shipped stories: a test reads them.
    pub fn case(&self) -> Result<Case, CaseError> {
        let text = format!("pack = \"{}\"\n{}", self.pack.name(), self.life.text());
        let mut case = Case::parse(&text, self.life.name())?;
        case.seed = self.seed;
        case.start.charge = self.charge;
        case.start.celsius = self.celsius;
        let celsius = if self.life == Life::CoolingDown { COOLER } else { self.celsius };
        case.surroundings = vec![Surrounding { at_seconds: 0.0, celsius }];
        Ok(case)
    }
}

impl fmt::Display for Corner {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { pack, life, celsius, second_celsius, charge, resistance, sensors, seed } = self;
        let sensors = match sensors {
            SensorCorner::High => "all high",
            SensorCorner::Low => "all low",
            SensorCorner::Opposite => "at opposite ends",
        };
        let percent = charge * 100.0;
        write!(
            to,
            "{} {}, modules at {celsius} and {second_celsius} °C, {percent:.0} % charged, {resistance} times the resistance, sensors \
             {sensors}, seed {seed}",
            pack.name(),
            life.name(),
        )
    }
}

/// Every corner, for so many seeds from this one on.
#[must_use]
pub fn corners(first_seed: u64, seeds: u64) -> Vec<Corner> {
    let mut corners = Vec::new();
    for seed in (0..seeds).map(|more| first_seed.wrapping_add(more)) {
        for pack in [Pack::Trainer, Pack::Crane] {
            for life in Life::ALL {
                corners.extend(of(pack, life, seed));
            }
        }
    }
    corners
}

/// The corners of one pack and life: of the trainer all, of the crane with each temperature and charge one of nine that differ in
/// resistance and sensors, since it is six times the work and has the same cells and sensors.
fn of(pack: Pack, life: Life, seed: u64) -> Vec<Corner> {
    let nines = RESISTANCE.iter().flat_map(|resistance| SENSORS.map(|sensors| (*resistance, sensors)));
    let nines: Vec<_> = nines.collect();
    let mut places = Vec::new();
    for celsius in CELSIUS.into_iter().filter(|celsius| life != Life::CoolingDown || *celsius >= WARMEST) {
        for apart in APART {
            let second_celsius = if celsius + apart > WARMEST { celsius - apart } else { celsius + apart };
            places.extend(CHARGE.map(|charge| (celsius, second_celsius, charge)));
        }
    }
    let with = |(place, (celsius, second_celsius, charge)): (usize, (f64, f64, f64))| {
        let nines = nines.iter().enumerate();
        let wanted = nines.filter(move |(which, _)| pack == Pack::Trainer || *which == place % 9);
        wanted.map(move |(_, (resistance, sensors))| Corner {
            pack,
            life,
            celsius,
            second_celsius,
            charge,
            resistance: *resistance,
            sensors: *sensors,
            seed,
        })
    };
    places.into_iter().enumerate().flat_map(with).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_corners_make_more_than_two_hundred_hours_of_work_and_stay_where_cells_may_be() {
        let corners = corners(1, 1);
        let hours = |life: Life| {
            let of = corners.iter().filter(|corner| corner.life == life);
            of.map(|corner| corner.case().unwrap().duration_seconds / 3_600.0).sum::<f64>()
        };
        assert!(
            hours(Life::Work) > 200.0 && hours(Life::CoolingDown) > 200.0 && hours(Life::Rest) > 20_000.0
        );
        for corner in &corners {
            assert!(
                [corner.celsius, corner.second_celsius]
                    .iter()
                    .all(|celsius| (-28.0..=45.0).contains(celsius))
            );
        }
        assert!(corners.iter().any(|corner| (corner.celsius - corner.second_celsius).abs() > 9.9));
        // 7 · 2 · 3 temperatures and charges, of which one in seven is warm; each with nine of resistance and sensors on the trainer.
        let count =
            |pack, life| corners.iter().filter(|corner| (corner.pack, corner.life) == (pack, life)).count();
        assert_eq!(Life::ALL.map(|life| count(Pack::Trainer, life)), [378, 378, 54]);
        assert_eq!(Life::ALL.map(|life| count(Pack::Crane, life)), [42, 42, 6]);
    }
}
