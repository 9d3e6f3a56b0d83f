//! # Several settings, one world
//!
//! A limit changes nothing in the world until the firmware drives something otherwise. So one world serves many firmwares that differ in
//! their limits: each hears the same frames, and as long as all of them drive the same, one step of time is theirs together. Where one
//! drives otherwise, the world is copied and goes its own way from that very tick. Nothing is assumed about which limit could
//! change what: the outcome is that of playing each setting by itself, bit for bit (a test compares them).

use super::row::{Fate, Found};
use super::vary::Build;
use crate::case::{Ask, Case, StartError};
use crate::defect::Kind;
use crate::run::Loop;
use crate::world::Actuators;
use bms_core::fault::FaultSet;
use bms_core::{Controller, Decision};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// The packs of one story, one for each setting, as far as they differ.
#[derive(Clone, Debug)]
pub(super) struct Abreast<const CELLS: usize, const THERMISTORS: usize> {
    together: Vec<Together<CELLS, THERMISTORS>>,
    fates: Vec<Fate>,
    /// What counts, under each setting.
    counts: Vec<FaultSet>,
}

/// One world with the firmwares that have driven the same so far.
#[derive(Clone, Debug)]
struct Together<const CELLS: usize, const THERMISTORS: usize> {
    now: Loop<CELLS, THERMISTORS>,
    /// The setting whose firmware drives.
    leader: usize,
    followers: Vec<Follower<CELLS, THERMISTORS>>,
}

/// A firmware that only listens, since it would drive the same.
#[derive(Clone, Debug)]
struct Follower<const CELLS: usize, const THERMISTORS: usize> {
    setting: usize,
    core: Controller<CELLS, THERMISTORS>,
    case: Arc<Case>,
}

impl<const CELLS: usize, const THERMISTORS: usize> Abreast<CELLS, THERMISTORS> {
    /// At the start of a story, which differs in its limits from setting to setting.
    pub(super) fn new(cases: &[Arc<Case>], build: Build, counts: Vec<FaultSet>) -> Result<Self, StartError> {
        let start = |case: &Arc<Case>| {
            let mut now = Loop::new(case)?;
            build.bring(&mut now);
            Ok::<_, StartError>(now)
        };
        let mut together: Vec<Together<CELLS, THERMISTORS>> = Vec::new();
        for (setting, case) in cases.iter().enumerate() {
            let now = start(case)?;
            match together.first_mut() {
                Some(first) if shares(case) => {
                    first.followers.push(Follower { setting, core: now.core, case: Arc::clone(case) });
                }
                _ => together.push(Together { now, leader: setting, followers: Vec::new() }),
            }
        }
        Ok(Self { together, fates: vec![Fate::default(); cases.len()], counts })
    }

    /// Goes on with other stories, one for each setting, that are the same up to here.
    pub(super) fn turn_to(&mut self, cases: &[Arc<Case>]) {
        for Together { now, leader, followers } in &mut self.together {
            if let Some(case) = cases.get(*leader) {
                now.turn_to(Arc::clone(case));
            }
            for follower in followers {
                if let Some(case) = cases.get(follower.setting) {
                    follower.case = Arc::clone(case);
                }
            }
        }
    }

    /// The pack of the first setting, where it stands; nothing when it is settled already.
    pub(super) fn of_first(&self) -> Option<Loop<CELLS, THERMISTORS>> {
        self.together.iter().find_map(|together| {
            let mut now = together.now.clone();
            if together.leader != 0 {
                let follower = together.followers.iter().find(|follower| follower.setting == 0)?;
                now.core = follower.core.clone();
                now.turn_to(Arc::clone(&follower.case));
            }
            Some(now)
        })
    }

    /// Plays on while the next tick cannot reach this time; says whether it was not stopped.
    pub(super) fn play_to(&mut self, until_ms: u64, stop: &AtomicBool) -> bool {
        let mut place = 0;
        while place < self.together.len() {
            while let Some(together) = self.together.get_mut(place) {
                let longest_ms = together.now.case().rest_ms.unwrap_or(together.now.case().tick_ms);
                if together.now.over() || together.now.at_ms.saturating_add(longest_ms) > until_ms {
                    break;
                }
                if stop.load(Ordering::Relaxed) {
                    return false;
                }
                let parted = together.tick(&mut self.fates, &self.counts);
                match parted {
                    Ticked::On(parted) => self.together.extend(parted),
                    Ticked::Settled(parted) => {
                        self.together.remove(place);
                        self.together.extend(parted);
                    }
                }
            }
            place += 1;
        }
        true
    }

    /// Plays to the end and gives what became of each; nothing when it was stopped.
    pub(super) fn play_out(mut self, stop: &AtomicBool) -> Option<Vec<Fate>> {
        if !self.play_to(u64::MAX, stop) {
            return None;
        }
        for Together { now, leader, followers } in &self.together {
            for setting in followers.iter().map(|follower| follower.setting).chain([*leader]) {
                if let Some(fate) = self.fates.get_mut(setting) {
                    fate.watched_seconds = now.seconds();
                }
            }
        }
        Some(self.fates)
    }
}

/// What a tick leaves in its world; with it come those that parted.
enum Ticked<const CELLS: usize, const THERMISTORS: usize> {
    /// It goes on.
    On(Vec<Together<CELLS, THERMISTORS>>),
    /// Nobody is left in it.
    Settled(Vec<Together<CELLS, THERMISTORS>>),
}

impl<const CELLS: usize, const THERMISTORS: usize> Together<CELLS, THERMISTORS> {
    fn tick(&mut self, fates: &mut [Fate], counts: &[FaultSet]) -> Ticked<CELLS, THERMISTORS> {
        let seconds = self.now.seconds();
        let mut settled = |setting: usize, decision: &Decision<CELLS>| {
            let (fate, counts) = (fates.get_mut(setting), counts.get(setting));
            fate.zip(counts).is_some_and(|(fate, counts)| fate.hears(decision, seconds, *counts))
        };
        let frame = self.now.begin(&self.now.measured());
        let led = self.now.core.tick(&frame, &mut ());
        let leader_settled = settled(self.leader, &led);
        let rests = self.now.case().rest_ms.is_some();
        let mut apart: Vec<(Decision<CELLS>, Vec<Follower<CELLS, THERMISTORS>>)> = Vec::new();
        let mut place = 0;
        while let Some(follower) = self.followers.get_mut(place) {
            let decision = follower.core.tick(&frame, &mut ());
            if settled(follower.setting, &decision) {
                self.followers.remove(place);
            } else if alike((&led, &self.now.core), (&decision, &follower.core), rests) {
                place += 1;
            } else {
                let follower = self.followers.remove(place);
                let same = |(way, with): &&mut (Decision<CELLS>, Vec<Follower<CELLS, THERMISTORS>>)| {
                    with.first()
                        .is_some_and(|first| alike((way, &first.core), (&decision, &follower.core), rests))
                };
                match apart.iter_mut().find(same) {
                    Some((_, with)) => with.push(follower),
                    None => apart.push((decision, vec![follower])),
                }
            }
        }
        let parted =
            apart.into_iter().filter_map(|(decision, followers)| self.parted(&decision, followers)).collect();
        if leader_settled && !self.led_by_next() {
            return Ticked::Settled(parted);
        }
        self.now.end(&led);
        Ticked::On(parted)
    }

    /// A copy of the world in the middle of the tick, led by the first of these.
    fn parted(
        &self,
        decision: &Decision<CELLS>,
        followers: Vec<Follower<CELLS, THERMISTORS>>,
    ) -> Option<Self> {
        let mut parted = Self { now: self.now.clone(), leader: self.leader, followers };
        parted.led_by_next().then(|| {
            parted.now.end(decision);
            parted
        })
    }

    /// Hands over to the first follower, if there is one.
    fn led_by_next(&mut self) -> bool {
        if self.followers.is_empty() {
            return false;
        }
        let Follower { setting, core, case } = self.followers.remove(0);
        self.leader = setting;
        self.now.core = core;
        self.now.turn_to(case);
        true
    }
}

/// Whether a world of this story can serve several firmwares: not where one's memory is disturbed, takes other limits later, or loses its
/// supply, since the board stores records of one firmware alone.
fn shares(case: &Case) -> bool {
    const OWN: [Kind; 3] = [Kind::ConfigurationBit, Kind::AuxiliaryDisconnectOut, Kind::SupplySagging];
    case.later_limits().is_empty()
        && case.acts.iter().all(|act| !matches!(act.ask, Ask::LosePower(_)))
        && case.defects.iter().all(|defect| !OWN.contains(&defect.kind))
}

/// Whether the world is the same after either decision. Where steps may be larger at rest, they follow from more of what was decided.
fn alike<const CELLS: usize, const THERMISTORS: usize>(
    (one, its): (&Decision<CELLS>, &Controller<CELLS, THERMISTORS>),
    (other, others): (&Decision<CELLS>, &Controller<CELLS, THERMISTORS>),
    rests: bool,
) -> bool {
    let steps = |decision: &Decision<CELLS>, core: &Controller<CELLS, THERMISTORS>| {
        (decision.step, core.proven_open(), decision.faults.suspect.is_empty())
    };
    Actuators::from(one) == Actuators::from(other) && (!rests || steps(one, its) == steps(other, others))
}

impl Fate {
    /// Hears what was decided at this time; says whether nothing more is wanted of this setting.
    fn hears<const CELLS: usize>(
        &mut self,
        decision: &Decision<CELLS>,
        seconds: f64,
        counts: FaultSet,
    ) -> bool {
        let confirmed = decision.faults.confirmed;
        if confirmed.is_empty() {
            return false;
        }
        let found = |fault| Found { fault, seconds };
        self.first = self.first.or_else(|| confirmed.iter().next().map(found));
        self.counted = confirmed.iter().find(|fault| counts.holds(*fault)).map(found);
        self.watched_seconds = seconds;
        self.counted.is_some()
    }
}
