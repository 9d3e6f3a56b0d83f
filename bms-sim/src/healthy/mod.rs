//! # False alarms
//!
//! A limit that finds every defect is worth nothing if it also accuses sound packs. So sound packs work here for hundreds of hours in all
//! corners of what a sound pack may be, and no fault may become Confirmed. How often one was suspected and healed within its dwell (a
//! near miss) is counted: it says where the room is small.
//!
//! | corner | values |
//! | --- | --- |
//! | temperature of the cells, in °C | −28, −20, −10, 0, 10, 25, 45 |
//! | between neighbouring modules | 0 or 10 °C, within −28…45 °C |
//! | charge at the start | 20, 60, 97 % |
//! | resistance of every cell, the firmware not told | ½, 1, 1½ of nominal |
//! | sensors | all at the upper end of their tolerance, all at the lower, neighbours at opposite ends |
//!
//! Each of the 378 corners is one story of 2 300 s on the trainer: two shifts with a rest between them, a top-up charge, and two stops; 241
//! hours in all. More seeds draw other noise and other scatter of cells and contactors for the same corners. What a story does is a pure
//! function of corner and seed.

use crate::case::{Case, CaseError, StartError, Surrounding};
use crate::explain::words;
use crate::run::Loop;
use bms_core::Fault;
use bms_core::fault::Stage;
use bms_core::witness::{Evidence, Witness};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Temperatures of the cells in °C.
const CELSIUS: [f64; 7] = [-28.0, -20.0, -10.0, 0.0, 10.0, 25.0, 45.0];
/// What every second module is warmer or colder, in °C.
const APART: [f64; 2] = [0.0, 10.0];
/// The warmest that cells may be, in °C.
const WARMEST: f64 = 45.0;
/// Charge at the start.
const CHARGE: [f64; 3] = [0.20, 0.60, 0.97];
/// Multiples of the nominal resistance.
const RESISTANCE: [f64; 3] = [0.5, 1.0, 1.5];

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

/// A corner of what a sound pack may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner {
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

impl fmt::Display for Corner {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { celsius, second_celsius, charge, resistance, sensors, seed } = self;
        let sensors = match sensors {
            SensorCorner::High => "all high",
            SensorCorner::Low => "all low",
            SensorCorner::Opposite => "at opposite ends",
        };
        let percent = charge * 100.0;
        write!(
            to,
            "modules at {celsius} and {second_celsius} °C, {percent:.0} % charged, {resistance} times the resistance, sensors {sensors}, \
             seed {seed}"
        )
    }
}

/// Every corner, for so many seeds from this one on.
#[must_use]
pub fn corners(first_seed: u64, seeds: u64) -> Vec<Corner> {
    let mut corners = Vec::new();
    for seed in (0..seeds).map(|more| first_seed.wrapping_add(more)) {
        for celsius in CELSIUS {
            for apart in APART {
                let second_celsius =
                    if celsius + apart > WARMEST { celsius - apart } else { celsius + apart };
                for charge in CHARGE {
                    for resistance in RESISTANCE {
                        for sensors in [SensorCorner::High, SensorCorner::Low, SensorCorner::Opposite] {
                            corners.push(Corner {
                                celsius,
                                second_celsius,
                                charge,
                                resistance,
                                sensors,
                                seed,
                            });
                        }
                    }
                }
            }
        }
    }
    corners
}

/// How a sound pack fared in a corner.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Story {
    /// The corner's place in the list, counted from 1.
    pub corner: usize,
    /// How long it was played, in seconds.
    pub seconds: f64,
    /// Every fault that became Confirmed.
    pub alarms: Vec<Alarm>,
    /// How often each fault was suspected and healed within its dwell, by its key.
    pub near_misses: BTreeMap<String, u32>,
}

/// A fault that became Confirmed on a sound pack.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Alarm {
    /// The fault's key.
    pub fault: String,
    /// When, in seconds from the start.
    pub seconds: f64,
    /// What was seen, as a sentence.
    pub seen: String,
}

/// What keeps a story from being played.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Trouble {
    /// The story is no accepted case.
    #[error("{0}")]
    Case(#[from] CaseError),
    /// Its world cannot be built.
    #[error("{0}")]
    Start(#[from] StartError),
}

/// The story of a corner, before its pack is brought there.
///
/// # Errors
/// Never for the shipped story: a test reads it.
fn case(corner: &Corner) -> Result<Case, CaseError> {
    let mut case = Case::parse(include_str!("work.toml"), "work.toml")?;
    case.seed = corner.seed;
    case.start.charge = corner.charge;
    case.start.celsius = corner.celsius;
    case.surroundings = vec![Surrounding { at_seconds: 0.0, celsius: corner.celsius }];
    Ok(case)
}

/// Plays the story of the corner at this place of the list; nothing when it was stopped.
///
/// # Errors
/// When the story is not accepted.
pub fn play(place: usize, corner: &Corner, stop: &AtomicBool) -> Result<Option<Story>, Trouble> {
    let mut played = Loop::<16, 8>::new(&Arc::new(case(corner)?))?;
    let world = &mut played.world;
    world.scale_resistance(corner.resistance);
    world.soak(|module| if module % 2 == 0 { corner.celsius } else { corner.second_celsius });
    world.recalibrate(|channel| match corner.sensors {
        SensorCorner::High => 1.0,
        SensorCorner::Low => -1.0,
        SensorCorner::Opposite => {
            if channel % 2 == 0 {
                1.0
            } else {
                -1.0
            }
        }
    });
    let mut listener = Listener::default();
    while !played.over() {
        if stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        listener.seconds = played.seconds();
        played.advance(&mut listener);
    }
    let Listener { alarms, near_misses, .. } = listener;
    Ok(Some(Story { corner: place + 1, seconds: played.seconds(), alarms, near_misses }))
}

/// Hears of nothing but alarms and near misses.
#[derive(Debug, Default)]
struct Listener {
    seconds: f64,
    alarms: Vec<Alarm>,
    near_misses: BTreeMap<String, u32>,
}

impl Witness for Listener {
    fn saw(&mut self, evidence: Evidence) {
        match evidence {
            Evidence::StageChanged { assessment, .. }
                if matches!(assessment.stage, Stage::Confirmed { .. }) =>
            {
                let seen = format!("{}: {}", words::place(assessment.place), words::assessment(&assessment));
                self.alarms.push(Alarm {
                    fault: assessment.fault.key().to_owned(),
                    seconds: self.seconds,
                    seen,
                });
            }
            Evidence::NearMiss(seen) => {
                *self.near_misses.entry(seen.fault.key().to_owned()).or_default() += 1;
            }
            _ => {}
        }
    }
}

/// What all stories come to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sum {
    /// How many stories.
    pub stories: usize,
    /// How long they were played together, in hours.
    pub hours: f64,
    /// The alarms, each with its corner's number and words.
    pub alarms: Vec<(usize, String, Alarm)>,
    /// Near misses of each fault, in the order of the list of faults.
    pub near_misses: Vec<(String, u32)>,
}

impl Sum {
    /// Of stories, in the order of their corners.
    #[must_use]
    pub fn of(corners: &[Corner], stories: &[Story]) -> Self {
        let told = |story: &Story| corners.get(story.corner - 1).map(Corner::to_string).unwrap_or_default();
        let alarms = |story: &Story| {
            let (number, corner) = (story.corner, told(story));
            story.alarms.iter().map(move |alarm| (number, corner.clone(), alarm.clone())).collect::<Vec<_>>()
        };
        let misses = |fault: Fault| {
            let count = stories.iter().filter_map(|story| story.near_misses.get(fault.key())).sum();
            (count > 0).then(|| (fault.key().to_owned(), count))
        };
        Self {
            stories: stories.len(),
            hours: stories.iter().map(|story| story.seconds).sum::<f64>() / 3_600.0,
            alarms: stories.iter().flat_map(alarms).collect(),
            near_misses: Fault::ALL.into_iter().filter_map(misses).collect(),
        }
    }

    /// As text for people.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = words::sound_packs_worked(self.stories, self.hours) + "\n";
        text += &(words::accused_falsely(self.alarms.len()) + "\n");
        for (number, corner, alarm) in &self.alarms {
            let Alarm { fault, seconds, seen } = alarm;
            text += &format!("  {}\n", words::false_alarm(fault, *seconds, (*number, corner), seen));
        }
        text += &format!("{}\n", words::near_misses(self.near_misses.is_empty()));
        for (fault, count) in &self.near_misses {
            text += &format!("  {fault:<28} {count:>8}\n");
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_corners_make_more_than_two_hundred_hours_and_stay_where_cells_may_be() {
        let corners = corners(1, 1);
        let seconds = case(&corners[0]).unwrap().duration_seconds;
        assert!(f64::from(u32::try_from(corners.len()).unwrap()) * seconds / 3_600.0 > 200.0);
        for corner in &corners {
            assert!(
                [corner.celsius, corner.second_celsius]
                    .iter()
                    .all(|celsius| (-28.0..=45.0).contains(celsius))
            );
        }
        assert!(corners.iter().any(|corner| (corner.celsius - corner.second_celsius).abs() > 9.9));
    }

    /// A corner changes the pack as it says: the string's resistance, the modules' temperatures and what the channels read.
    #[test]
    fn a_story_counts_what_it_hears() {
        let stop = AtomicBool::new(true);
        assert_eq!(play(0, &corners(1, 1)[0], &stop).unwrap(), None);
        let alarm = Alarm { fault: "supply_low".to_owned(), seconds: 3.0, seen: "seen".to_owned() };
        let story = |corner, misses| Story {
            corner,
            seconds: 1_800.0,
            alarms: vec![alarm.clone(); corner - 1],
            near_misses: BTreeMap::from([("thermistor_jump".to_owned(), misses)]),
        };
        let sum = Sum::of(&corners(1, 1), &[story(1, 2), story(2, 3)]);
        assert_eq!(
            (sum.stories, sum.alarms.len(), sum.near_misses.clone()),
            (2, 1, vec![("thermistor_jump".to_owned(), 5)])
        );
        assert!(
            sum.text().contains("2 sound packs worked for 1.0 hours.\nFALSE ALARMS: 1\n"),
            "{}",
            sum.text()
        );
    }
}
