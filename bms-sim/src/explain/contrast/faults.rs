//! # Why this fault and not that one
//!
//! Decides what separates two faults in one run. The firmware looks for both in every tick and tells what it saw: a value against its limit
//! and where, or that there is no reading. The two looks
//!
//! | are | when |
//! | --- | --- |
//! | apart | one lies beyond its limit and the other one, measured in the same tick, does not |
//! | not apart | both lie beyond their limits, or neither does, or the other one has no reading |
//!
//! What counts is the first tick in which they are apart within the suspicion that led to Confirmed: a suspicion that healed explains
//! nothing. Of a fault that was never Confirmed it is the first such tick of the run.
//!
//! Where both became Confirmed the earlier one may have caused the later one, by its reaction. That is tried: the run is played again with
//! the earlier one silenced, its dwell, or its limit, turned as far as a case file accepts. If the later one does not come then, it follows.
//!
//! If the looks were never apart, something must be done: each [`Trial`] is played on from the end of the case. An act separates the two
//! when one of them is Confirmed after it and the looks are apart within that suspicion.

use super::Trial;
use super::trial::{Questioned, end_ms};
use crate::case::{Case, Knob, StartError};
use crate::explain::chain::Chain;
use crate::explain::distance::{self, Came};
use crate::explain::{Account, story};
use crate::recording::{Nearest, Recording};
use crate::run::Loop;
use bms_core::Witness;
use bms_core::fault::{Fault, Reading, Stage};
use bms_core::witness::{Assessment, Evidence};
use std::sync::Arc;

/// The firmware judges a resistance by the last three load steps.
const LOAD_STEPS: usize = 3;

/// What separates two faults in a run.
#[derive(Clone, Debug)]
pub struct BetweenFaults {
    /// The fault that is asked about, and the other one.
    pub approaches: [Approach; 2],
    /// The first tick in which this one lies beyond its limit and the other one does not, in the order of `approaches`.
    pub apart: [Option<Looks>; 2],
    /// Both looks when this one became Confirmed first, in the order of `approaches`.
    pub when_confirmed: [Option<Looks>; 2],
    /// Which came first, and whether the other one follows from it; where both became Confirmed.
    pub order: Option<Order>,
    /// What each act would show, where they were never apart: the looks of the first tick in which they are.
    pub trials: Vec<(Trial, Option<Looks>)>,
}

/// How a run treats one fault.
#[derive(Clone, Copy, Debug)]
pub struct Approach {
    /// The fault.
    pub fault: Fault,
    /// When it became Confirmed first, in seconds from the start, and how it was judged then.
    pub confirmed: Option<(f64, Assessment)>,
    /// How near it came to its limit.
    pub nearest: Option<Nearest>,
    /// In how many ticks there was a reading.
    pub looked: u64,
    /// In how many ticks it lay beyond its limit.
    pub beyond: u64,
    /// The defect without which it does not come, by its place in the case's list.
    pub cause: Option<usize>,
}

/// Both looks of one tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Looks {
    /// The tick, from 0.
    pub tick: u64,
    /// When, in seconds from the start.
    pub seconds: f64,
    /// How the fault that is asked about was judged, and the other one.
    pub of: [Assessment; 2],
}

/// Which of two faults came first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Order {
    /// The place of the earlier one among the two.
    pub first: usize,
    /// How much later the other one came, in seconds.
    pub apart_seconds: f64,
    /// The number that silences the earlier one and the value that it was turned to; nothing when no value does.
    pub silenced: Option<(Knob, f64)>,
    /// When the later one came with the earlier one silenced, if it did.
    pub came: Option<Came>,
}

impl BetweenFaults {
    /// What separates two faults in a run that was played.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack.
    pub fn of<const CELLS: usize, const THERMISTORS: usize>(
        recording: &Recording<CELLS, THERMISTORS>,
        account: &Account,
        faults: [Fault; 2],
    ) -> Result<Self, StartError> {
        let case = &recording.case;
        let until_ms = if recording.end.over() { u64::MAX } else { recording.end.at_ms };
        let heard = Listener::to::<CELLS, THERMISTORS>(case, faults, 0, until_ms)?;
        let confirmed = recording.confirmed();
        let approaches = [0, 1].map(|place| {
            let (fault, of) = (faults[place], &heard.of[place]);
            Approach {
                fault,
                confirmed: confirmed.iter().find(|(_, seen)| seen.fault == fault).copied(),
                nearest: recording.nearest.get(fault as usize).copied().flatten(),
                looked: of.looked,
                beyond: of.beyond,
                cause: account.chain(fault).and_then(Chain::cause),
            }
        });
        let apart = heard.of.each_ref().map(Heard::apart);
        let when_confirmed = heard.of.each_ref().map(|of| of.when_confirmed);
        let order = order::<CELLS, THERMISTORS>(case, &approaches, until_ms)?;
        let mut trials = Vec::new();
        // What was cut short has no end from which anything could be played on.
        if apart == [None; 2] && recording.end.over() {
            let spec = case.pack.spec();
            let places = heard.of.iter().filter_map(|of| Some(of.worst?.place));
            let questioned =
                places.fold(Questioned::default(), |places, place| places.with_place(place, &spec));
            for trial in Trial::all(&questioned, LOAD_STEPS) {
                trials.push((trial, after::<CELLS, THERMISTORS>(case, trial, faults)?));
            }
        }
        Ok(Self { approaches, apart, when_confirmed, order, trials })
    }
}

/// The looks that are apart after an act, if it separates the two.
fn after<const CELLS: usize, const THERMISTORS: usize>(
    case: &Case,
    trial: Trial,
    faults: [Fault; 2],
) -> Result<Option<Looks>, StartError> {
    let done = Arc::new(trial.done(case));
    let heard = Listener::to::<CELLS, THERMISTORS>(&done, faults, end_ms(case), u64::MAX)?;
    let apart = heard.of.into_iter().filter_map(|of| of.of_confirmed);
    Ok(apart.min_by_key(|looks| looks.tick))
}

/// Which came first, and what comes of the other one without it; nothing unless both became Confirmed.
fn order<const CELLS: usize, const THERMISTORS: usize>(
    case: &Arc<Case>,
    approaches: &[Approach; 2],
    until_ms: u64,
) -> Result<Option<Order>, StartError> {
    let [Some((one, _)), Some((other, _))] = approaches.map(|approach| approach.confirmed) else {
        return Ok(None);
    };
    let first = usize::from(other < one);
    let [earlier, later] = [first, 1 - first].map(|place| approaches[place].fault);
    let (mut silenced, mut second) = (None, None);
    for (knob, value, turned) in distance::silencing(case, earlier, [Knob::Dwell, Knob::Trip]) {
        let [spoke, comes] = come::<CELLS, THERMISTORS>(&Arc::new(turned), [earlier, later], until_ms)?;
        if spoke.is_none() {
            (silenced, second) = (Some((knob, value)), comes);
            break;
        }
    }
    Ok(Some(Order { first, apart_seconds: (one - other).abs(), silenced, came: second }))
}

/// When each of two faults is Confirmed first.
fn come<const CELLS: usize, const THERMISTORS: usize>(
    case: &Arc<Case>,
    faults: [Fault; 2],
    until_ms: u64,
) -> Result<[Option<Came>; 2], StartError> {
    let (mut now, mut firsts) = (Loop::<CELLS, THERMISTORS>::new(case)?, [None; 2]);
    while !now.over() && now.at_ms < until_ms {
        let at = (now.tick, now.seconds());
        let confirmed = now.advance(&mut ()).faults.confirmed;
        for (first, fault) in firsts.iter_mut().zip(faults) {
            let this = Came { tick: at.0, seconds: at.1, by: Some(fault) };
            *first = first.or(confirmed.holds(fault).then_some(this));
        }
    }
    Ok(firsts)
}

/// Listens to how two faults are judged.
struct Listener {
    of: [Heard; 2],
}

/// What was heard of one of them.
struct Heard {
    fault: Fault,
    /// How it was judged in this tick, where it was worst.
    now: Option<Assessment>,
    /// The worst of all ticks.
    worst: Option<Assessment>,
    looked: u64,
    beyond: u64,
    /// Both looks when it became Confirmed first.
    when_confirmed: Option<Looks>,
    /// The first looks that were apart, it being beyond its limit and the other one not.
    first: Option<Looks>,
    /// The same within the present suspicion.
    of_suspicion: Option<Looks>,
    /// The same within the first suspicion that led to Confirmed.
    of_confirmed: Option<Looks>,
}

impl Listener {
    /// Plays a case and listens, from one instant to another, both in milliseconds.
    fn to<const CELLS: usize, const THERMISTORS: usize>(
        case: &Arc<Case>,
        faults: [Fault; 2],
        from_ms: u64,
        until_ms: u64,
    ) -> Result<Self, StartError> {
        let mut now = Loop::<CELLS, THERMISTORS>::new(case)?;
        let mut listening = Self { of: faults.map(Heard::nothing) };
        while !now.over() && now.at_ms < until_ms {
            if now.at_ms < from_ms {
                now.advance(&mut ());
                continue;
            }
            let (tick, seconds) = (now.tick, now.seconds());
            listening.of.iter_mut().for_each(|heard| heard.now = None);
            now.advance(&mut listening);
            listening.note(tick, seconds);
        }
        Ok(listening)
    }

    /// Takes what was heard in a tick.
    fn note(&mut self, tick: u64, seconds: f64) {
        if let [Some(one), Some(other)] = self.of.each_ref().map(|heard| heard.now) {
            let looks = Looks { tick, seconds, of: [one, other] };
            let [a, b] = &mut self.of;
            a.note(&one, &other, looks);
            b.note(&other, &one, looks);
        }
    }
}

impl Heard {
    const fn nothing(fault: Fault) -> Self {
        Self {
            fault,
            now: None,
            worst: None,
            looked: 0,
            beyond: 0,
            when_confirmed: None,
            first: None,
            of_suspicion: None,
            of_confirmed: None,
        }
    }

    /// The looks that were apart: within the suspicion that led to Confirmed, or where none did the first ones.
    const fn apart(&self) -> Option<Looks> {
        if self.when_confirmed.is_some() { self.of_confirmed } else { self.first }
    }

    fn note(&mut self, its: &Assessment, others: &Assessment, looks: Looks) {
        let beyond = its.reading == Reading::Beyond;
        self.looked += u64::from(its.reading != Reading::Unknown);
        self.beyond += u64::from(beyond);
        if self.worst.is_none_or(|worst| severity(its) > severity(&worst)) {
            self.worst = Some(*its);
        }
        if matches!(its.stage, Stage::Clear | Stage::Latched) {
            self.of_suspicion = None;
        }
        if beyond && matches!(others.reading, Reading::Within | Reading::Between) {
            self.of_suspicion = self.of_suspicion.or(Some(looks));
            self.first = self.first.or(Some(looks));
        }
        if matches!(its.stage, Stage::Confirmed { .. }) {
            self.when_confirmed = self.when_confirmed.or(Some(looks));
            self.of_confirmed = self.of_confirmed.or(self.of_suspicion);
        }
    }
}

impl Witness for Listener {
    fn saw(&mut self, evidence: Evidence) {
        let Evidence::Assessed(seen) = evidence else { return };
        for heard in self.of.iter_mut().filter(|heard| heard.fault == seen.fault) {
            // A thermistor's fault is judged once for each of them.
            if heard.now.is_none_or(|now| severity(&seen) > severity(&now)) {
                heard.now = Some(seen);
            }
        }
    }
}

/// The order of assessments of one fault: what lies beyond before what does not, then what is nearer to its limit.
fn severity(seen: &Assessment) -> (u8, i64) {
    let reading = match seen.reading {
        Reading::Unknown => 0,
        Reading::Within => 1,
        Reading::Between => 2,
        Reading::Beyond => 3,
    };
    // In millionths of the limit.
    #[expect(clippy::cast_possible_truncation, reason = "a cast of a float saturates, which keeps the order")]
    let nearness = story::relative(seen).map_or(i64::MIN, |apart| (-1e6 * apart) as i64);
    (reading, nearness)
}
