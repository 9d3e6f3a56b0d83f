//! Figures that others have published, held against both crates together: one file a field, and each test names its source. Tables lie
//! in `data`.
//!
//! Beside the code stand others, each with its source. In the world: precharge, a load and a turning motor, a short and the fuse (`bus`,
//! `ngspice` and a resistor maker), the chassis with and without the link (`insulation`, `ngspice` and UN R100), a pulse, a worked example and
//! a hard short (`cell`, `ngspice` and `SciPy`), runaway (`harm`, `SciPy`), sheets of contactors (`contactor`), a cell's sheet and Arrhenius
//! (`ocv`), the Steinhart–Hart form (`thermistor`), the words of the generator (`noise`). In the core: the formula of UN R100
//! (`insulation`), the closed form of precharge and its printed fractions, the making life of a sheet (`sequence`), tables and coefficients
//! of two thermistors (`sense`), a cell's sheet and Arrhenius (`estimate`), the catalogue of checksums (`config`).
#![allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "small whole numbers"
)]

mod cells;
mod circuits;
mod contactors;
mod heat;
mod insulation;
mod limits;
mod records;
mod run_lengths;
mod statistics;
mod thermistors;

use bms_core::estimate::LoadStep;
use bms_core::frame::{Asked, Wanted};
use bms_core::sequence::PrechargeCheck;
use bms_core::units::Instant;
use bms_core::witness::Quantity;
use bms_core::{Config, Controller, Decision, Evidence, Fault, Witness};
use bms_sim::world::load::{Demand, Giver};
use bms_sim::world::spec::PackSpec;
use bms_sim::world::{Actuators, Initial, World};

type Crane = World<96, 16>;

/// The rows of a table as numbers; what is no number is NaN.
fn rows(table: &str) -> Vec<Vec<f64>> {
    let lines = table.lines().filter(|line| !line.starts_with('#')).skip(1);
    let rows: Vec<Vec<f64>> =
        lines.map(|line| line.split(',').map(|field| field.parse().unwrap_or(f64::NAN)).collect()).collect();
    assert!(rows.len() >= 4, "the table is empty");
    rows
}

/// Keeps what the tests look at.
#[derive(Default)]
struct Heard {
    hottest: Option<f64>,
    precharge: Vec<PrechargeCheck>,
    steps: Vec<LoadStep>,
}

impl Witness for Heard {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Assessed(seen) = evidence
            && seen.fault == Fault::OverTemperature
            && let Some(Quantity::Celsius(celsius)) = seen.observed
        {
            self.hottest = Some(f64::from(celsius.milli()) / 1_000.0);
        }
        if let Evidence::Precharging(check) = evidence {
            self.precharge.push(check);
        }
        if let Evidence::LoadStep(step) = evidence {
            self.steps.push(step);
        }
    }
}

fn near(found: f64, expected: f64, within: f64, what: &str) {
    assert!((found - expected).abs() <= within, "{what}: {found}, published {expected} ± {within}");
}

/// Runs world and firmware of this pack together. In the first tick open contactors are asked for: a switch that stands on when the
/// firmware starts closes nothing.
fn closed_loop_of(
    spec: &PackSpec,
    celsius: f64,
    seconds: f64,
    amps: impl Fn(f64) -> f64,
    wanted: impl Fn(f64) -> Wanted,
    mut look: impl FnMut(f64, &Crane, &Decision<96>),
) -> (Crane, Heard) {
    let mut world = Crane::new(spec, 2, Initial { charge: 0.7, celsius }).expect("the crane is whole");
    let mut core = Controller::<96, 16>::new(Config::crane().fit().expect("the default is valid"));
    let mut heard = Heard::default();
    for tick in 0..(seconds * 100.0) as u32 {
        let now = f64::from(tick) / 100.0;
        let contactors = if tick == 0 { Wanted::Open } else { wanted(now) };
        let asked = Asked { contactors, ..Asked::NOTHING };
        let decision = core.tick(&world.measure(tick.into(), Instant(tick * 10), asked), &mut heard);
        let demand = Demand { amps: amps(now), giver: Giver::Drive, outside_celsius: celsius };
        world.step(0.01, &Actuators::from(&decision), &demand);
        look(now, &world, &decision);
    }
    (world, heard)
}

/// The same of the crane as it is.
fn closed_loop(
    celsius: f64,
    seconds: f64,
    amps: impl Fn(f64) -> f64,
    wanted: impl Fn(f64) -> Wanted,
    look: impl FnMut(f64, &Crane, &Decision<96>),
) -> (Crane, Heard) {
    closed_loop_of(&PackSpec::crane(), celsius, seconds, amps, wanted, look)
}
