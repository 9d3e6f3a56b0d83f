//! # Three faults, each on a pack that stands near its limit
//!
//! What an alarm is false of must be said, or its rate means nothing. So here stand three packs, parked and at rest, their sensors in the middle of
//! their tolerance, each with one thing that is almost, but not, what a fault looks for. What is watched lies inside its limit by a distance; nothing
//! moves but the noise of the sensors. Every limit and dwell is the default of the crane.
//!
//! The three differ in what stands between noise and an alarm:
//!
//! | fault | what it waits for | closed form |
//! | --- | --- | --- |
//! | cell under-voltage, first step | one reading beyond: its band is a hundred times the noise, and what lies in it keeps the dwell going | the tail of the noise |
//! | current sensors disagree | one reading beyond, and twenty more not within: the band is six times the noise | a run: `p qⁿ` |
//! | pack sum disagrees | a smoothed value beyond: fifteen readings in its memory, a band of sixteen times what is left of the noise | the run length of a smoothed value |

use super::closed::{Readings, Smoothed, in_a_row};
use super::excursion::{Standing, StandingError};
use super::lean::{Channel, Lean};
use crate::case::{Case, CaseError};
use crate::run::Loop;
use crate::world::World;
use bms_core::{Config, Fault};
use std::sync::Arc;

/// The pack that stands.
pub type Crane = Standing<96, 16>;

/// A fault, and how a pack stands near its limit.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Situation {
    /// A cell almost empty.
    LowCell,
    /// Two current sensors that differ.
    ApartSensors,
    /// A pack meter that reads too much.
    OffMeter,
}

/// What keeps a pack from standing so.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SituationError {
    /// Its case is not accepted.
    #[error(transparent)]
    Case(#[from] CaseError),
    /// It does not stand.
    #[error(transparent)]
    Standing(#[from] StandingError),
    /// No severity of the defect brings it there.
    #[error(
        "{fault}: no severity brings what is watched to {wanted}; accepted is a distance within the range of the defect"
    )]
    OutOfReach {
        /// The fault's key.
        fault: &'static str,
        /// Where it should stand, in the unit of the limit.
        wanted: f64,
    },
}

/// The cell that is low, from 0.
const LOW: usize = 36;

/// Seconds until all of it stands: the estimates of the core have begun.
const STANDS_AFTER: f64 = 2.0;

/// The fixed point of the core: bits of a unit.
const BITS: f64 = 65_536.0;

impl Situation {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::LowCell, Self::ApartSensors, Self::OffMeter];

    /// Which fault is looked at.
    #[must_use]
    pub const fn fault(self) -> Fault {
        match self {
            Self::LowCell => Fault::CellUnderVoltage,
            Self::ApartSensors => Fault::CurrentSensorsDisagree,
            Self::OffMeter => Fault::PackSumDisagrees,
        }
    }

    /// How the pack stands, and what stands between noise and an alarm.
    #[must_use]
    pub const fn story(self) -> &'static str {
        match self {
            Self::LowCell => {
                "The pack stands at 8 % of its charge; cell 37 is almost empty and rests just above the limit. Its channel has 0.5 mV of noise. The \
                 release limit lies a hundred times as far away: after one wild reading every other one keeps the dwell going, so the dwell of 2 s \
                 does not filter noise at all."
            }
            Self::ApartSensors => {
                "No current flows. The check sensor has drifted and reads almost 3 % of the main sensor's range more. Their difference has 0.3 A of \
                 noise, and the release limit lies six times as far below the trip limit: where the difference stands between the two, \
                 each of the twenty readings of the dwell may end it."
            }
            Self::OffMeter => {
                "The pack stands at 60 % of its charge and its voltage is read almost 1 % too high. The core smooths the difference to the sum of the \
                 cells over 150 ms, which leaves a fifth of its noise; what is smoothed moves slowly, so once it is beyond the trip limit it stays \
                 outside the release limit for the whole dwell."
            }
        }
    }

    /// What is calculated beside what is found.
    #[must_use]
    pub const fn closed_form(self) -> &'static str {
        match self {
            Self::LowCell => {
                "the tail of the normal distribution, from half a step of the reading before the limit"
            }
            Self::ApartSensors => {
                "a run: one reading beyond, twenty not within, p q²⁰, over all pairs of steps of the two sensors"
            }
            Self::OffMeter => "the integral equation of a smoothed value (Crowder 1987), with λ = 1/15",
        }
    }

    /// How far inside its limit what is watched stands, in V or A, from near to far.
    #[must_use]
    pub const fn distances(self) -> [f64; 6] {
        match self {
            Self::LowCell => [1.8e-3, 2.2e-3, 2.5e-3, 3.0e-3, 3.5e-3, 4.0e-3],
            Self::ApartSensors => [1.2, 1.35, 1.45, 1.6, 1.75, 1.85],
            Self::OffMeter => [76e-3, 84e-3, 92e-3, 110e-3, 130e-3, 148e-3],
        }
    }

    /// Hours of plain sampling at each distance, where that reaches.
    #[must_use]
    pub const fn plain_hours(self) -> [f64; 6] {
        [4.0, 20.0, 24.0, 0.0, 0.0, 0.0]
    }

    /// The unit in which the distance is said, how many of it make a V or A, and with how many decimal places.
    #[must_use]
    pub const fn unit(self) -> (&'static str, f64, usize) {
        match self {
            Self::LowCell => ("mV", 1e3, 1),
            Self::ApartSensors => ("A", 1.0, 2),
            Self::OffMeter => ("mV", 1e3, 0),
        }
    }

    fn case(self, severity: f64) -> Result<Case, CaseError> {
        let (charge, defect) = match self {
            Self::LowCell => {
                (8, format!("kind = 'charge_out_of_line', cell = {}, ampere_hours = {severity}", LOW + 1))
            }
            Self::ApartSensors => {
                (60, format!("kind = 'current_offset', current_sensor = 'check', amps = {severity}"))
            }
            Self::OffMeter => (60, format!("kind = 'pack_voltage_gain', percent = {severity}")),
        };
        let text = format!(
            "schema = 1\ntitle = 'Near a limit'\nstory = 'Nothing moves.'\npack = 'crane'\nseed = 1\nduration_s = 3600\n\
             start = {{ charge_percent = {charge}, celsius = 18 }}\ndefect = [{{ {defect} }}]\n"
        );
        Case::parse(&text, self.fault().key())
    }

    /// What is watched, without noise, with sensors in the middle of their tolerance.
    fn watched(self, world: &World<96, 16>, severity: f64) -> f64 {
        match self {
            Self::LowCell => world.cells.volts[LOW],
            Self::ApartSensors => severity,
            Self::OffMeter => {
                let cells: f64 = world.cells.volts.iter().sum();
                world.bus.pack_volts * (1.0 + severity / 100.0) - cells - Smoothing::of(world).explained
            }
        }
    }

    /// The pack that stands so far inside the limit.
    ///
    /// # Errors
    /// When no severity of its defect brings it there.
    pub fn standing(self, distance: f64) -> Result<Crane, SituationError> {
        let fault = self.fault();
        let played = |severity: f64| -> Result<(Loop<96, 16>, f64), SituationError> {
            let mut now = Loop::new(&Arc::new(self.case(severity)?)).map_err(StandingError::from)?;
            now.world.recalibrate(|_| 0.0);
            while now.seconds() < STANDS_AFTER {
                now.advance(&mut ());
            }
            let watched = self.watched(&now.world, severity);
            Ok((now, watched))
        };
        let (trip, _) = limits(fault);
        let wanted = if self == Self::LowCell { trip + distance } else { trip - distance };
        // What is watched grows with the severity. The chord between two ends that hold it, the older end made lighter (Illinois).
        let [mut low, mut high] = self.severities();
        let (mut below, mut above) = (played(low)?.1 - wanted, played(high)?.1 - wanted);
        for _ in 0..40 {
            let severity = high - above * (high - low) / (above - below);
            let (now, found) = played(severity)?;
            let off = found - wanted;
            if off.abs() < 1e-9 * distance {
                let standing = Standing::later(now, fault, STANDS_AFTER)?;
                return Ok(self.prepared(standing, distance));
            }
            if off > 0.0 {
                (high, above, below) = (severity, off, 0.5 * below);
            } else {
                (low, below, above) = (severity, off, 0.5 * above);
            }
        }
        Err(SituationError::OutOfReach { fault: fault.key(), wanted })
    }

    /// Between which severities of its defect it stands at every distance.
    const fn severities(self) -> [f64; 2] {
        match self {
            Self::LowCell => [-9.0, -7.0],
            Self::ApartSensors => [0.0, 20.0],
            Self::OffMeter => [0.0, 2.0],
        }
    }

    /// With the lean that brings it to the limit.
    fn prepared(self, standing: Crane, distance: f64) -> Crane {
        let sensors = &standing.stands().world.spec().sensors;
        match self {
            Self::LowCell => {
                let sigmas = -distance / sensors.cell.noise;
                standing.leaning(Lean::once(Channel::Cell(LOW), sigmas))
            }
            Self::ApartSensors => {
                // The likeliest way: each by its part of the variance, the two apart.
                let (main, check) = (sensors.current.noise, sensors.current_check.noise);
                let each = distance / (main * main + check * check);
                standing
                    .leaning(Lean::once(Channel::CurrentCheck, each * check))
                    .leaning(Lean::once(Channel::Current, -each * main))
            }
            Self::OffMeter => {
                let smoothing = Smoothing::of(&standing.stands().world);
                let lean = Lean::smoothed(Channel::Pack, distance / smoothing.deviation(), smoothing.part);
                // With the leaning readings, ten times as long as it remembers.
                standing.leaning(lean).settling(SETTLES.saturating_sub(lean.readings))
            }
        }
    }

    /// In how many levels the dwell is gone through: as many as there are chances to fall back.
    #[must_use]
    pub const fn levels(self) -> u32 {
        match self {
            Self::LowCell | Self::OffMeter => 1,
            Self::ApartSensors => 10,
        }
    }

    /// How many try to begin, and copies at each level, in one repeat.
    #[must_use]
    pub const fn copies(self) -> (usize, usize) {
        match self {
            Self::LowCell => (2_000, 50),
            Self::ApartSensors => (2_000, 500),
            Self::OffMeter => (800, 50),
        }
    }

    /// Standard deviation of the noise of what is watched, in V or A.
    #[must_use]
    pub fn noise(self, standing: &Crane) -> f64 {
        let world = &standing.stands().world;
        let sensors = &world.spec().sensors;
        match self {
            Self::LowCell => sensors.cell.noise,
            Self::ApartSensors => {
                let variance =
                    |of: &crate::world::spec::ChannelSpec| of.noise * of.noise + of.step * of.step / 12.0;
                libm::sqrt(variance(&sensors.current) + variance(&sensors.current_check))
            }
            Self::OffMeter => Smoothing::of(world).deviation(),
        }
    }

    /// What is calculated of false alarms, for a tick at which the fault is Clear.
    #[must_use]
    pub fn calculated(self, standing: &Crane, distance: f64) -> f64 {
        let (trip, release) = limits(self.fault());
        let ticks = standing.dwell_ticks();
        let world = &standing.stands().world;
        let sensors = &world.spec().sensors;
        match self {
            Self::LowCell => {
                let channel = &sensors.cell;
                let cell = Readings { mean: trip + distance, noise: channel.noise, step: channel.step };
                in_a_row(cell.up_to(trip), 1.0 - cell.from(release), ticks)
            }
            Self::ApartSensors => {
                let (main, check) = (&sensors.current, &sensors.current_check);
                let check = Readings { mean: trip - distance, noise: check.noise, step: check.step };
                let main = Readings { mean: 0.0, noise: main.noise, step: main.step };
                let beyond =
                    |limit: f64| main.all().map(|(amps, share)| share * check.from(limit + amps)).sum();
                // What equals the release limit is within it.
                in_a_row(beyond(trip), beyond(release + 1.0 / BITS), ticks)
            }
            Self::OffMeter => {
                let smoothing = Smoothing::of(world);
                Smoothed { part: smoothing.part, low: f64::NEG_INFINITY, high: distance / smoothing.reading }
                    .leaves()
            }
        }
    }
}

/// Ticks after which what is smoothed over fifteen has forgotten where it stood: e⁻¹⁰ of it is left.
const SETTLES: u32 = 150;

/// The default trip and release limit of the crane, in the unit of the fault.
fn limits(fault: Fault) -> (f64, f64) {
    let shown = Config::crane().faults.shown(fault);
    let value = |limit: Option<bms_core::witness::Quantity>| {
        #[expect(clippy::cast_precision_loss, reason = "far below 2⁵³")]
        let bits = limit.map_or(f64::NAN, |limit| limit.bits() as f64);
        bits / BITS
    };
    (value(shown.trip), value(shown.release))
}

/// How the core smooths the pack's voltage less the sum of its cells.
#[derive(Clone, Copy, Debug)]
struct Smoothing {
    /// What part a reading renews: 10 ms of 150 ms, in the fixed point of the core.
    part: f64,
    /// Standard deviation of one reading, in V.
    reading: f64,
    /// What the core takes off in the mean, in V: the drop that noise of the current explains, and what it rounds down.
    explained: f64,
}

impl Smoothing {
    fn of(world: &World<96, 16>) -> Self {
        let sensors = &world.spec().sensors;
        let variance = |of: &crate::world::spec::ChannelSpec| of.noise * of.noise + of.step * of.step / 12.0;
        // 6 ‰ of 307.2 V at 100 A, from current towards charge only, whose noise is half of the time: mean σ/√(2π), variance σ² (½ − 1/2π).
        let drop = 18.432e-3 * libm::sqrt(variance(&sensors.current));
        let two_pi = 2.0 * core::f64::consts::PI;
        let part = libm::floor(BITS * 10.0 / 150.0) / BITS;
        let square =
            variance(&sensors.pack) + 96.0 * variance(&sensors.cell) + drop * drop * (0.5 - 1.0 / two_pi);
        // Each step is rounded down to a bit, by half of one in the mean.
        let explained = drop / libm::sqrt(two_pi) + 0.5 / BITS / part;
        Self { part, reading: libm::sqrt(square), explained }
    }

    fn deviation(&self) -> f64 {
        self.reading * libm::sqrt(self.part / (2.0 - self.part))
    }
}
