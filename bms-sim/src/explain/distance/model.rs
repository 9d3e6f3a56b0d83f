//! # Where an edge probably is
//!
//! As long as a fault is not Confirmed, its limit and its dwell change nothing but its own stage. So a run without it tells, tick by tick,
//! what every other limit would have been held against: the stage is counted through what the firmware told, for as many limits as
//! are asked. This costs a thousandth of a replay. It is a guess all the same: other rooms may ask about a limit too, and two replays
//! decide.

use crate::case::{Case, Knob};
use bms_core::Witness;
use bms_core::fault::{Counter, Dwells, Fault, Reading, Stage};
use bms_core::units::Millis;
use bms_core::witness::{Assessment, Evidence, Place, Quantity};
use std::collections::BTreeMap;

/// Listens to what the firmware tells of one fault.
pub(super) struct Listener {
    fault: Fault,
    told: Vec<Told>,
}

/// One look at the fault.
struct Told {
    place: Place,
    observed: Option<i64>,
    limit: Option<i64>,
    reading: Reading,
}

/// What was told of a fault in a run in which it was not Confirmed, and the limits that it was held against there.
pub(super) struct Heard {
    fault: Fault,
    told: Vec<Told>,
    trip: i64,
    tick: Millis,
}

impl Listener {
    pub(super) const fn of(fault: Fault) -> Self {
        Self { fault, told: Vec::new() }
    }

    /// What it heard while that case was played.
    pub(super) fn heard(self, case: &Case) -> Heard {
        let trip = case.config().faults.shown(self.fault).trip.map_or(0, Quantity::bits);
        Heard { fault: self.fault, told: self.told, trip, tick: case.config().pack.tick }
    }
}

impl Witness for Listener {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Assessed(Assessment { fault, place, observed, limit, reading, .. }) = evidence
            && fault == self.fault
        {
            let (observed, limit) = (observed.map(Quantity::bits), limit.map(Quantity::bits));
            self.told.push(Told { place, observed, limit, reading });
        }
    }
}

impl Heard {
    /// The two neighbours between which the fault begins or ceases to be Confirmed, from where a number stands to an end; nothing if it
    /// does not, or if the number is none that this can count.
    pub(super) fn edge(&self, case: &Case, knob: Knob, stands: f64, end: f64) -> Option<[f64; 2]> {
        let comes = |value| self.comes(case, knob, value);
        let (here, there) = (comes(stands)?, comes(end)?);
        if here == there {
            return None;
        }
        let (mut same, mut other) = (stands, end);
        while let Some(middle) = knob.grid(case).between(same, other) {
            if comes(middle)? == here {
                same = middle;
            } else {
                other = middle;
            }
        }
        Some([same, other])
    }

    /// Whether it would be Confirmed.
    fn comes(&self, case: &Case, knob: Knob, value: f64) -> Option<bool> {
        if !matches!(knob, Knob::Trip(_) | Knob::Release(_) | Knob::Dwell(_)) {
            return None;
        }
        let turned = knob.turned(case, value).ok()?;
        let shown = turned.config().faults.shown(self.fault);
        let (trip, release) = (shown.trip.map_or(0, Quantity::bits), shown.release.map_or(0, Quantity::bits));
        let (above, gap) = (trip >= release, trip - release);
        // A good reading makes the fault begin anew; how long it takes to end is not asked here.
        let dwells = Dwells { trip: shown.dwell, release: Millis::MAX, counter: Counter::Resetting };
        let mut stages = BTreeMap::<u8, Stage>::new();
        Some(self.told.iter().any(|told| {
            let reading = match (told.observed, told.limit) {
                (Some(observed), Some(limit)) => {
                    let limit = limit - self.trip + trip;
                    let past = if above { observed - limit } else { limit - observed };
                    match past {
                        0.. => Reading::Beyond,
                        past if past <= -gap.abs() => Reading::Within,
                        _ => Reading::Between,
                    }
                }
                _ => told.reading,
            };
            let own = match told.place {
                Place::Thermistor(place) if self.fault.is_per_thermistor() => place,
                _ => 0,
            };
            let stage = stages.entry(own).or_default();
            *stage = stage.next(reading, self.tick, dwells);
            matches!(stage, Stage::Confirmed { .. })
        }))
    }
}
