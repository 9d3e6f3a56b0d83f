//! # How a sound pack goes on
//!
//! The [verdict](super::verdict) drives the world of a case with the decisions of its twin. For many defects of one pack under one duty
//! that twin is the same: it is played here once, and its world is kept at the onset and at every look for a lost measurement.
//!
//! What only measures changes no truth. Such a defect has the sound pack's verdict, and only what it blinds is looked for: on the worlds
//! that were kept, with what the defect makes of their sensors.

use super::blind;
use super::verdict::{Driven, FIRST_LOOK_SECONDS, LOOKS_APART_SECONDS, Verdict, driven, going_on};
use crate::case::{Case, StartError};
use crate::defect::Defect;
use crate::world::World;
use crate::world::truth::Breach;

/// A sound pack under its duty, from the start to half an hour after an onset.
#[derive(Clone, Debug)]
pub struct Sound<const CELLS: usize, const THERMISTORS: usize> {
    going: Case,
    driven: Vec<Driven>,
    onset: World<CELLS, THERMISTORS>,
    looks: Vec<World<CELLS, THERMISTORS>>,
    passed: Option<Breach>,
}

impl<const CELLS: usize, const THERMISTORS: usize> Sound<CELLS, THERMISTORS> {
    /// Plays it, for defects that begin at this second.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack.
    pub fn of(case: &Case, onset_seconds: f64) -> Result<Self, StartError> {
        /// Less than any step, more than the rounding of a sum of them, in seconds.
        const MOMENT: f64 = 1e-6;
        let going = going_on(&case.without_defects(), onset_seconds);
        let driven: Vec<Driven> = driven::<CELLS, THERMISTORS>(&going)?.collect();
        let mut world: World<CELLS, THERMISTORS> = going.world()?;
        let bounds = world.spec().safe;
        let mut next_look = onset_seconds + FIRST_LOOK_SECONDS;
        let (mut onset, mut looks, mut passed) = (None, Vec::new(), None);
        for Driven { seconds, step_seconds, actuators } in &driven {
            if onset.is_none() && world.seconds + MOMENT >= onset_seconds {
                onset = Some(world.clone());
            }
            world.step(*step_seconds, actuators, &going.demand_at(*seconds).demand);
            if world.seconds >= next_look {
                looks.push(world.clone());
                next_look += LOOKS_APART_SECONDS;
            }
            passed = passed.or_else(|| bounds.first_breach(&world.truth()));
        }
        Ok(Self { going, driven, onset: onset.unwrap_or(world), looks, passed })
    }

    /// The verdict on the same case with this defect, which begins at that second and stays as it is; a run has passed this bound.
    ///
    /// # Errors
    /// When the defect makes no sense in this pack.
    pub fn verdict(&self, defect: Defect, passed: Option<Breach>) -> Result<Verdict, StartError> {
        let mut with = self.onset.clone();
        with.inject(defect)?;
        // A charge is moved once and leaves no deviation behind.
        if !with.deviations().only_measure() || with.cells != self.onset.cells {
            let case = self.going.with_defect(defect);
            return Verdict::driven_on::<CELLS, THERMISTORS>(&case, passed, self.driven.iter().copied());
        }
        let blind = self.looks.iter().find_map(|sound| {
            let mut world = sound.clone();
            world.deviate(with.deviations().clone());
            blind::look(&world, self.going.config())
        });
        Ok(Verdict { passed, without_reactions: self.passed, blind })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::defect::{Kind, PlaceKind};

    /// What only measures has the same verdict as if its whole half hour had been played.
    #[test]
    fn what_only_measures_needs_no_second_run() {
        let text = "schema = 1\ntitle = ''\nstory = ''\npack = 'trainer'\nseed = 3\nduration_s = 60\nact = [{ at_s = 1, ask = 'close' }]\n\
                    duty = [{ do = 'park', for_s = 10 }, { do = 'hoist' }, { do = 'lower' }]\n[start]\ncharge_percent = 60\ncelsius = 18\n";
        let case = Case::parse(text, "case.toml").unwrap();
        let sound = Sound::<16, 8>::of(&case, 12.0).unwrap();
        assert_eq!((sound.looks.len(), sound.passed), (30, None));
        let mut blinds = 0;
        for (kind, place, severity) in [
            (Kind::CellChannelFrozen, 5, 1.0),
            (Kind::CellChannelOffset, 5, -60.0),
            (Kind::CellChannelOffset, 5, -40.0),
            (Kind::ThermistorOpen, 2, 1.0),
            (Kind::ThermistorDetached, 2, 90.0),
            (Kind::CurrentDrift, 0, 100.0),
            (Kind::PartStale, 0, 1.0),
            (Kind::FeedbackStuckOpen, 2, 1.0),
        ] {
            let defect = Defect { severity, ..Defect::usual(kind, place, 12.0) };
            let short = sound.verdict(defect, None).unwrap();
            let with = sound.going.with_defect(defect);
            let long = Verdict::driven_on::<16, 8>(&with, None, sound.driven.iter().copied()).unwrap();
            assert_eq!(short, long, "{}", kind.key());
            blinds += usize::from(short.blind.is_some());
        }
        // The frozen channel, the one that reads 60 mV too low, and the cells that stand still.
        assert_eq!(blinds, 3);
    }

    /// A charge that was moved, a wire that carries the bleed current, and whatever else acts on truth is played.
    #[test]
    fn what_acts_on_truth_does_not_only_measure() {
        let only: Vec<&str> =
            Kind::ALL.iter().filter(|kind| only_measures(**kind)).map(|kind| kind.key()).collect();
        for key in [
            "cell_channel_gain",
            "thermistors_swapped",
            "current_reversed",
            "link_reading_dead",
            "clock_fast",
        ] {
            assert!(only.contains(&key), "{key}");
        }
        for kind in Kind::ALL {
            let of_joint_or_module =
                matches!(kind.place(), PlaceKind::Joint | PlaceKind::Module | PlaceKind::Wire);
            assert!(!of_joint_or_module || !only_measures(*kind), "{}", kind.key());
        }
        for kind in [
            Kind::ChargeOutOfLine,
            Kind::CellLeak,
            Kind::BleedStuckOn,
            Kind::ContactorWelded,
            Kind::SupplySagging,
        ] {
            assert!(!only_measures(kind), "{}", kind.key());
        }
    }

    fn only_measures(kind: Kind) -> bool {
        let initial = crate::world::Initial { charge: 0.6, celsius: 18.0 };
        let sound = World::<16, 8>::new(&crate::world::spec::PackSpec::trainer(), 1, initial).unwrap();
        let mut world = sound.clone();
        world.inject(Defect::usual(kind, 0, 0.0)).unwrap();
        world.deviations().only_measure() && world.cells == sound.cells
    }
}
