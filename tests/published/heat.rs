//! Heat of joints and cells.

use crate::{Crane, closed_loop, near};
use bms_core::frame::Wanted;
use bms_sim::world::bus::{Bus, NEGATIVE, PRECHARGE, Source};
use bms_sim::world::deviation::Deviations;
use bms_sim::world::fuse::melting_seconds;
use bms_sim::world::heat::{Heat, Heating};
use bms_sim::world::insulation::Chassis;
use bms_sim::world::load::{Demand, Load};
use bms_sim::world::noise::Noise;
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

/// One module of the crane by itself: 12 cells of 2 kJ/K.
struct Module {
    heat: Heat<12, 2>,
    celsius: [f64; 12],
    seconds: f64,
}

impl Module {
    fn at(celsius: f64) -> Self {
        let spec = PackSpec { cells: 12, ..PackSpec::crane() };
        Self { heat: Heat::new(&spec, celsius), celsius: [celsius; 12], seconds: 0.0 }
    }

    /// Until that second, with so many watts in each cell and in joint 6, at this temperature outside.
    fn until(&mut self, seconds: f64, cell_watts: &[f64; 12], joint_watts: f64, outside: (f64, bool)) {
        let step = if seconds < 1_000.0 { 0.1 } else { 1.0 };
        let mut deviations = Deviations::<12, 2>::none();
        deviations.joint_ohms[5] = joint_watts;
        while self.seconds < seconds - 1e-6 {
            let heating = Heating {
                cell_joules: &cell_watts.map(|watts| watts * step),
                square_seconds: step,
                joint_ohms: 0.0,
                outside_celsius: outside.0,
                cooling: outside.1,
            };
            self.heat.step(step, &mut self.celsius, &heating, &deviations);
            self.seconds += step;
        }
    }
}

/// 50 W in the sixth of twelve cells at 25 °C, air standing still. `SciPy` 1.17.1, `solve_ivp` LSODA, rtol 1e-10, of the 25 equations at the
/// head of `world/heat.rs` with 1 W/K to a neighbour, 0.5 to the air, 3 from the air to the outside, 0.4 to a joint; 2 000, 3 000, 30 J/K.
#[test]
fn heat_spreads_in_a_module_as_its_equations_integrate() {
    let mut module = Module::at(25.0);
    let mut watts = [0.0; 12];
    watts[5] = 50.0;
    for (seconds, cells, joint, air) in [
        (600.0, [25.0231, 25.1873, 35.3217, 26.5691, 25.0228], 30.6389, 25.4226),
        (3_600.0, [26.3994, 30.4399, 50.9258, 36.9515, 26.2660], 43.8432, 28.7519),
        (14_400.0, [35.4915, 42.2246, 64.2358, 49.8030, 34.6067], 56.9951, 36.0886),
    ] {
        module.until(seconds, &watts, 0.0, (25.0, false));
        for (cell, expected) in [0, 3, 5, 6, 11].into_iter().zip(cells) {
            near(module.celsius[cell], expected, 0.01, &format!("°C of cell {} after {seconds} s", cell + 1));
        }
        near(module.heat.joint_celsius[5], joint, 0.01, "°C of the joint");
        near(module.heat.air_celsius[0], air, 0.01, "°C of the air");
    }
}

/// The same equations with the fan running, which multiplies the flows to and from the air by three: from 45 °C into −20 °C.
#[test]
fn a_module_cools_down_as_its_equations_integrate() {
    let mut module = Module::at(45.0);
    for (seconds, end, middle, air) in [
        (600.0, 37.8858, 37.9222, 19.7101),
        (3_600.0, 8.7268, 8.7796, -0.3032),
        (14_400.0, -17.6850, -17.6803, -18.4124),
    ] {
        module.until(seconds, &[0.0; 12], 0.0, (-20.0, true));
        near(module.celsius[0], end, 0.02, "°C at the end");
        near(module.celsius[5], middle, 0.02, "°C in the middle");
        near(module.heat.air_celsius[0], air, 0.02, "°C of the air");
    }
}

/// 40 W in a joint, 4 mΩ under 100 A, by the same equations: past 73 °C in two minutes while its cells have warmed by less than one.
#[test]
fn a_loose_joint_heats_as_its_equations_integrate() {
    let mut module = Module::at(25.0);
    for (seconds, joint, cell) in [
        (30.0, 52.5552, 25.0924),
        (120.0, 73.4713, 25.8018),
        (600.0, 79.2597, 29.5111),
        (3_600.0, 89.9975, 40.0746),
    ] {
        module.until(seconds, &[0.0; 12], 40.0, (25.0, false));
        near(module.heat.joint_celsius[5], joint, 0.1, &format!("°C of the joint after {seconds} s"));
        near(module.celsius[5], cell, 0.01, "°C of its cell");
    }
}

/// Where it ends, from the linear equations (`numpy.linalg.solve`): 3 W in every cell with the fan standing are 12 K from the air to the
/// outside and 6 K from a cell to the air; 20 W in one cell with the fan running.
#[test]
fn a_module_ends_where_its_equations_balance() {
    let mut module = Module::at(25.0);
    module.until(200_000.0, &[3.0; 12], 0.0, (25.0, false));
    near(module.celsius[0], 43.0, 0.001, "°C");
    near(module.heat.air_celsius[0], 37.0, 0.001, "°C of the air");
    let mut module = Module::at(25.0);
    let mut watts = [0.0; 12];
    watts[5] = 20.0;
    module.until(100_000.0, &watts, 0.0, (25.0, true));
    for (cell, expected) in [(0, 27.2644), (4, 29.4613), (5, 33.7283), (6, 29.4612), (11, 27.2367)] {
        near(module.celsius[cell], expected, 0.001, &format!("°C of cell {}", cell + 1));
    }
}

/// A first-order sensor on a ramp lags by slope times time constant in the end: 1 K at 0.1 K/s and 10 s, and 63.212, 95.021 and 99.752 % of it
/// after 10, 30 and 60 s.
#[test]
fn a_thermistor_lags_behind_a_ramp() {
    let spec = PackSpec { cells: 12, ..PackSpec::crane() };
    let mut heat = Heat::<12, 2>::new(&spec, 25.0);
    let sound = Deviations::<12, 2>::none();
    for tick in 1..=6_000_u32 {
        let seconds = f64::from(tick) * 0.01;
        let mut celsius = [25.0 + 0.1 * (seconds - 0.005); 12];
        let heating = Heating {
            cell_joules: &[0.0; 12],
            square_seconds: 0.0,
            joint_ohms: 0.0,
            outside_celsius: 25.0,
            cooling: false,
        };
        heat.step(0.01, &mut celsius, &heating, &sound);
        if let Some(share) =
            [(1_000, 0.632_12), (3_000, 0.950_21), (6_000, 0.997_52)].iter().find(|(at, _)| *at == tick)
        {
            near(25.0 + 0.1 * seconds - heat.thermistor_celsius[0], share.1, 2e-3, "K behind");
        }
    }
}

/// `P/k · (1 − e^(−k t/C))` of a resistor of 50 Ω with 12 J/K and 0.4 W/K on a shorted link of 317 V, 2 010 W: rated 250 °C are passed after
/// 1.374 s, and at 450 °C it burns, after 2.651 s (computed).
#[test]
fn a_precharge_resistor_on_a_shorted_link_burns_when_computed() {
    let mut spec = PackSpec::crane();
    (spec.bus.cable_ohms, spec.bus.contactor.contact_ohms) = (0.0, 0.0);
    let mut bus = Bus::new(&spec.bus, &Noise::new(1), 317.0, 25.0);
    let mut deviations = Deviations::<1, 1>::none();
    (deviations.contactors[NEGATIVE].welded, deviations.contactors[PRECHARGE].welded) = (true, true);
    deviations.left_on_siemens = 1e6;
    let mut load = Load::new(&spec.load);
    let source = Source { volts: 317.0, cell_ohms: 0.0, joint_ohms: 0.0 };
    let (mut seconds, mut rated) = (0.0, None);
    while !bus.resistor_burnt && seconds < 10.0 {
        bus.step(1e-3, source, &mut load, &deviations, &Chassis::default());
        bus.weather(1e-3, 25.0, 1.0);
        seconds += 1e-3;
        rated = rated.or((bus.resistor_celsius > 250.0).then_some(seconds));
    }
    near(rated.unwrap_or(f64::NAN), 1.374, 0.01, "s to the rated temperature");
    near(seconds, 2.651, 0.02, "s until it burns");
}

/// A fuse's curve is straight on logarithmic scales: `numpy.interp` of the logarithms of its points.
#[test]
fn a_fuse_melts_between_its_points_where_the_logarithms_lie() {
    let fuse = PackSpec::crane().bus.fuse;
    for (amps, seconds) in [
        (600.0, 88.7728),
        (900.0, 6.009_93),
        (1_200.0, 1.212_39),
        (2_000.0, 0.109_368),
        (3_000.0, 0.021_424_9),
    ] {
        near(
            melting_seconds(&fuse, amps).unwrap_or(f64::NAN) / seconds,
            1.0,
            1e-5,
            &format!("of the time at {amps} A"),
        );
    }
}
