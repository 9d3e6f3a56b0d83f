//! # False alarms
//!
//! A limit that finds every defect is worth nothing if it also accuses sound packs. So sound packs work and rest here in all
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
//! In each of the 378 corners the trainer goes through two lives, and the warmest through a third:
//!
//! | life | what happens | judged besides |
//! | --- | --- | --- |
//! | at work | two shifts with a rest between them, a top-up charge, and two stops: 2 300 s | everything that wants current |
//! | at rest | two rests of a day and a half, each after a charge, with larger steps of time | internal short, self-discharge, spread |
//! | cooling down | work and four hours of rest at 20 °C for a pack of 45 °C | cooling, what moves with temperature |
//!
//! With each temperature and charge the crane goes through the same, with one of the nine that differ in resistance and sensors. That is
//! 268 hours of work, 270 of cooling down and 30 240 of rest. More seeds draw other noise and other scatter of cells and contactors for the
//! same corners. What a story does is a pure function of corner and seed.

mod corner;

pub use corner::{Corner, Life, SensorCorner, corners};

use crate::case::{Case, CaseError, Pack, StartError};
use crate::explain::words;
use crate::run::Loop;
use bms_core::Fault;
use bms_core::fault::Stage;
use bms_core::witness::{Evidence, Witness};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

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

/// Plays the story of the corner at this place of the list; nothing when it was stopped.
///
/// # Errors
/// When the story is not accepted.
pub fn play(place: usize, corner: &Corner, stop: &AtomicBool) -> Result<Option<Story>, Trouble> {
    let case = corner.case()?;
    let heard = match corner.pack {
        Pack::Trainer => hear::<16, 8>(case, corner, stop)?,
        Pack::Crane => hear::<96, 16>(case, corner, stop)?,
    };
    let story = |(seconds, Listener { alarms, near_misses, .. })| Story {
        corner: place + 1,
        seconds,
        alarms,
        near_misses,
    };
    Ok(heard.map(story))
}

/// What is heard of a pack in its corner, and how long its story was in seconds; nothing when it was stopped.
fn hear<const CELLS: usize, const THERMISTORS: usize>(
    case: Case,
    corner: &Corner,
    stop: &AtomicBool,
) -> Result<Option<(f64, Listener)>, Trouble> {
    let mut played = Loop::<CELLS, THERMISTORS>::new(&Arc::new(case))?;
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
    Ok(Some((played.seconds(), listener)))
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

    /// Whether nobody was accused.
    #[must_use]
    pub fn sound(&self) -> bool {
        self.alarms.is_empty()
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

    /// Stories add up, and a stopped one is none.
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
            sum.text().contains("2 sound packs worked and stood for 1.0 hours.\nFALSE ALARMS: 1\n"),
            "{}",
            sum.text()
        );
    }

    /// The listener hears: a wire that is open for a tenth of a second is within its dwell of 200 ms and a near miss, one that stays open is
    /// an alarm, and without it nothing comes near.
    #[test]
    fn a_near_miss_is_counted_and_a_planted_alarm_fails() {
        let heard = |defects: &str| {
            let text = format!(
                "schema = 1\ntitle = ''\nstory = ''\npack = 'trainer'\nseed = 1\nduration_s = 10\ndefect = [{defects}]\n\
                 start = {{ charge_percent = 60, celsius = 25 }}\n"
            );
            let case = Case::parse(&text, "planted.toml").unwrap_or_else(|error| panic!("{error}"));
            let corner = Corner { celsius: 25.0, second_celsius: 25.0, resistance: 1.0, ..corners(1, 1)[0] };
            let (seconds, heard) = hear::<16, 8>(case, &corner, &AtomicBool::new(false)).unwrap().unwrap();
            Story { corner: 1, seconds, alarms: heard.alarms, near_misses: heard.near_misses }
        };
        let key = Fault::ThermistorOpen.key();
        let near = heard("{ kind = 'thermistor_open', thermistor = 3, at_s = 5, until_s = 5.1 }");
        let planted = heard("{ kind = 'thermistor_open', thermistor = 3, at_s = 5 }");
        let calm = heard("");
        assert_eq!((near.alarms.len(), near.near_misses.get(key)), (0, Some(&1)));
        assert_eq!((calm.alarms.len(), calm.near_misses.len()), (0, 0));
        let told: Vec<&str> = planted.alarms.iter().map(|alarm| alarm.fault.as_str()).collect();
        assert_eq!(told, [key]);
        assert!((5.1..5.4).contains(&planted.alarms[0].seconds), "{}", planted.alarms[0].seconds);
        let sum = |story: &Story| Sum::of(&corners(1, 1), std::slice::from_ref(story));
        assert!(sum(&near).sound() && sum(&calm).sound() && !sum(&planted).sound());
    }
}
