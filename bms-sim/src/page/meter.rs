//! # Proving dead
//!
//! A meter in somebody's hand, at two named points. Dead is what was proven so: the meter shows a known source, then each pair of
//! points that somebody may touch, then the known source again. A meter that has failed shows the same as a dead link, so that a
//! reading counts only between two proofs. Once anything moves, all of it begins anew.
//!
//! ```text
//! reading = potential at red − potential at black      all potentials above B−: B+ = pack, L− = lifted, L+ = lifted + link, chassis
//! ```
//! The rule of three proofs is common practice (prove, test, prove); the bound of 60 V is that of class A voltage.

use super::command::Mistake;
use crate::explain::words;
use crate::world::World;
use serde::{Deserialize, Serialize};

/// A point that a probe can touch.
#[derive(Clone, Copy, Debug, Deserialize, Eq, PartialEq, Serialize)]
pub enum Point {
    /// The pack's positive pole, before the contactors.
    #[serde(rename = "B+")]
    PackPositive,
    /// The pack's negative pole.
    #[serde(rename = "B-")]
    PackNegative,
    /// The link's positive pole, behind the contactors.
    #[serde(rename = "L+")]
    LinkPositive,
    /// The link's negative pole.
    #[serde(rename = "L-")]
    LinkNegative,
    /// The metal that everybody touches.
    #[serde(rename = "chassis")]
    Chassis,
}

impl Point {
    const fn name(self) -> &'static str {
        match self {
            Self::PackPositive => "B+",
            Self::PackNegative => "B−",
            Self::LinkPositive => "L+",
            Self::LinkNegative => "L−",
            Self::Chassis => "chassis",
        }
    }
}

/// The pairs that must be measured: both poles to each other, each pole to the chassis.
const PAIRS: [(Point, Point); 3] = [
    (Point::LinkPositive, Point::LinkNegative),
    (Point::LinkPositive, Point::Chassis),
    (Point::LinkNegative, Point::Chassis),
];

/// The known source shows this, in volts.
const SOURCE_VOLTS: f64 = 100.0;

/// What somebody has measured so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Proving {
    shown_before: bool,
    shown_after: bool,
    readings: Vec<Reading>,
}

#[derive(Clone, Copy, Debug)]
struct Reading {
    pair: (Point, Point),
    volts: f64,
    /// Time since pack and link were parted.
    apart_seconds: f64,
}

/// What the meter shows.
#[derive(Debug, Serialize)]
pub(super) struct Metered {
    kind: &'static str,
    volts: f64,
    said: String,
}

/// Whether dead is proven.
#[derive(Debug, Serialize)]
pub(super) struct Proven {
    kind: &'static str,
    dead: bool,
    /// What was left out or found, one sentence each.
    said: Vec<String>,
}

/// The potential of a point above B−, in volts.
fn potential<const CELLS: usize, const THERMISTORS: usize>(
    world: &World<CELLS, THERMISTORS>,
    point: Point,
) -> f64 {
    let bus = &world.bus;
    match point {
        Point::PackPositive => bus.pack_volts,
        Point::PackNegative => 0.0,
        Point::LinkPositive => bus.behind_positive_volts(),
        Point::LinkNegative => bus.lifted_volts(),
        Point::Chassis => bus.pole_volts()[1],
    }
}

impl Proving {
    /// The meter on its known source.
    pub(super) fn on_source(&mut self) -> Metered {
        if self.readings.is_empty() {
            self.shown_before = true;
        } else {
            self.shown_after = true;
        }
        Metered { kind: "metered", volts: SOURCE_VOLTS, said: words::meter::on_source(SOURCE_VOLTS) }
    }

    /// The meter between two points.
    pub(super) fn between<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        world: &World<CELLS, THERMISTORS>,
        red: Point,
        black: Point,
    ) -> Result<Metered, Mistake> {
        if red == black {
            return Err(Mistake::new(
                "black",
                black.name(),
                "accepted is another point than that of the red probe",
            ));
        }
        // What a meter of four digits shows.
        let volts = libm::rint(10.0 * (potential(world, red) - potential(world, black))) / 10.0 + 0.0;
        self.shown_after = false;
        self.readings.push(Reading { pair: (red, black), volts, apart_seconds: world.bus.apart_seconds });
        let safe = &world.spec().safe;
        let said = words::meter::reads(red.name(), black.name(), volts, volts.abs() < safe.link_volts);
        Ok(Metered { kind: "metered", volts, said })
    }

    /// What there is to say to somebody who holds the link for dead.
    pub(super) fn judged<const CELLS: usize, const THERMISTORS: usize>(
        &self,
        world: &World<CELLS, THERMISTORS>,
    ) -> Proven {
        let safe = &world.spec().safe;
        let mut said = Vec::new();
        if world.truth().apart_seconds <= 0.0 {
            said.push(words::meter::not_open());
        }
        if !self.shown_before {
            said.push(words::meter::not_shown_before());
        }
        for (one, other) in PAIRS {
            let is_it = |reading: &&Reading| reading.pair == (one, other) || reading.pair == (other, one);
            match self.readings.iter().rev().find(is_it) {
                None => said.push(words::meter::left_out(one.name(), other.name())),
                Some(reading) if reading.volts.abs() >= safe.link_volts => {
                    said.push(words::meter::live(one.name(), other.name(), reading.volts, safe.link_volts));
                }
                Some(reading) if reading.apart_seconds < safe.link_seconds => {
                    said.push(words::meter::too_early(one.name(), other.name(), safe.link_seconds));
                }
                Some(_) => {}
            }
        }
        if !self.shown_after {
            said.push(words::meter::not_shown_after());
        }
        let dead = said.is_empty();
        if dead {
            said.push(words::meter::proven_dead());
        }
        Proven { kind: "proven", dead, said }
    }
}
