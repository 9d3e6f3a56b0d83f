//! Heat of joints and cells.

use crate::{Crane, closed_loop, near};
use bms_core::frame::Wanted;
use bms_sim::world::load::Demand;
use bms_sim::world::spec::{COULOMBS_AN_AMPERE_HOUR, PackSpec};
use bms_sim::world::{Actuators, Initial};

/// Joule: 96 joints of 50 µΩ under 100 A make 48 W.
#[test]
fn joints_warm_by_the_square_of_the_current() {
    let mut marks = Vec::new();
    closed_loop(
        25.0,
        30.0,
        |now| if now > 4.0 { -100.0 } else { 0.0 },
        |_| Wanted::Closed,
        |now, world, _| {
            if (10.0..=29.9).contains(&now) {
                marks.push((now, world.joint_joules));
            }
        },
    );
    let (first, last) = (marks[0], marks[marks.len() - 1]);
    near((last.1 - first.1) / (last.0 - first.0), 48.0, 0.6, "W");
}

/// Warmth of all cells in J/K times kelvin after 20 s at this current, from rest at half charge; nothing leaves the cells.
fn warmth(spec: &PackSpec, amps: f64) -> f64 {
    let demand = |amps| Demand { amps, outside_celsius: 25.0, ..Demand::default() };
    let free = Actuators { charge_limit_amps: 1_000.0, discharge_limit_amps: 1_000.0, ..Actuators::OFF };
    let mut world = Crane::new(spec, 3, Initial { charge: 0.5, celsius: 25.0 }).expect("the crane is whole");
    for _ in 0..100 {
        world.step(0.01, &Actuators { coils: [true, true, false], ..free }, &demand(0.0));
    }
    let closed = Actuators { coils: [true, false, true], ..free };
    for _ in 0..50 {
        world.step(0.01, &closed, &demand(0.0));
    }
    let stored = |world: &Crane| spec.cell.joules_per_kelvin * world.cells.celsius.iter().sum::<f64>();
    let before = stored(&world);
    for _ in 0..2_000 {
        world.step(0.01, &closed, &demand(amps));
    }
    stored(&world) - before
}

/// A cell of the size that a maker prints (Lishen LP54173207-202Ah: 202 A, 0.2 mΩ at 1 kHz, 3.95 kg; 1 100 J/(kg·K), rounded): 8.16 W, so
/// 0.1127 K a minute. Charge and discharge warm it alike but for the reversible heat, which the mean of both leaves out.
///
/// Bernardi's reversible heat, Q = I·T·dU/dT: half of the difference between both ways is that of the slope which the rested cells
/// themselves show between 20 and 30 °C. (An identity of thermodynamics; 100 A, 298.15 K and 0.1 mV/K make 2.98 W.)
#[test]
fn a_cell_warms_by_current_and_by_entropy() {
    let mut spec = PackSpec::crane();
    spec.cell.capacity_coulombs = 202.0 * COULOMBS_AN_AMPERE_HOUR;
    (spec.cell.ohms, spec.cell.pair_ohms) = (0.2e-3, [1e-9; 2]);
    (spec.cell.joules_per_kelvin, spec.cell.resistance_spread) = (3.95 * 1_100.0, 0.0);
    (spec.cell.hysteresis_volts, spec.joint_ohms) = (0.0, 0.0);
    spec.heat.air_watts_per_kelvin = 0.0;
    let (charged, discharged) = (warmth(&spec, 202.0), warmth(&spec, -202.0));
    let kelvin_a_minute = 0.5 * (charged + discharged) / 96.0 / spec.cell.joules_per_kelvin * 3.0;
    near(kelvin_a_minute, 0.1127, 0.002, "K a minute");

    let rested = |celsius| {
        let world = Crane::new(&spec, 3, Initial { charge: 0.5, celsius }).expect("the crane is whole");
        world.cells.volts.iter().sum::<f64>()
    };
    let slope = (rested(30.0) - rested(20.0)) / 10.0;
    let reversible = 202.0 * 298.15 * slope * 20.0;
    near(0.5 * (charged - discharged) / reversible, 1.0, 0.05, "of I·T·dU/dT");
}
