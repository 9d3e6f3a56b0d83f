//! Circuits beside `ngspice`: each test names its netlist in `data`, and what `ngspice -b` of version 39 measures in it stands here.

use crate::near;
use bms_core::frame::ToChassis;
use bms_sim::world::bus::{Bus, NEGATIVE, PRECHARGE, Source};
use bms_sim::world::deviation::Deviations;
use bms_sim::world::insulation::{Chassis, Hold, Insulation, Leaks, Pairs};
use bms_sim::world::load::Load;
use bms_sim::world::noise::Noise;
use bms_sim::world::spec::PackSpec;
use bms_sim::world::wire::Wires;

/// The link of a pack at these instants while it precharges, negative and precharge made, and what went through the resistor until then.
fn precharged(spec: &PackSpec, volts: f64, celsius: f64, left_on: f64, at: &[f64]) -> Vec<(f64, f64)> {
    let mut bus = Bus::new(&spec.bus, &Noise::new(1), volts, celsius);
    bus.weather(0.0, celsius, 1.0);
    let mut deviations = Deviations::<1, 1>::none();
    (deviations.contactors[NEGATIVE].welded, deviations.contactors[PRECHARGE].welded) = (true, true);
    deviations.left_on_siemens = left_on;
    let mut load = Load::new(&spec.load);
    // What the netlist has between the source and the resistor, less the cables and one contact.
    let source = Source { volts, cell_ohms: 0.0, joint_ohms: 0.0 };
    let mut now = 0.0;
    let mut marks = Vec::new();
    for instant in at {
        while now < instant - 1e-9 {
            bus.step(1e-3, source, &mut load, &deviations, &Chassis::default());
            now += 1e-3;
        }
        marks.push((bus.link_volts, bus.moved.string_coulombs));
    }
    marks
}

/// `precharge_bench_loaded.cir`: a load left on holds the link of the bench at 47.1 of 52.8 V.
#[test]
fn a_bench_that_precharges_with_a_load_is_that_of_ngspice() {
    let mut spec = PackSpec::trainer();
    spec.bus.cable_ohms = 0.06 - 2.0 * spec.bus.contactor.contact_ohms;
    let found = precharged(&spec, 52.8, 25.0, 1.0 / 100.0, &[0.005, 0.02, 0.05, 0.1, 0.3]);
    for ((volts, _), expected) in found.iter().zip([4.966_716, 16.940_20, 31.648_61, 42.036_58, 47.053_24]) {
        near(*volts, expected, 0.01, "V");
    }
    near(found[3].1, -0.244_080, 1e-4, "C");
}

/// `precharge_crane_cold.cir`: a link that has lost a fifth of its capacitance in the cold charges faster, and ends at the same 98 %.
#[test]
fn a_crane_that_precharges_in_the_cold_is_that_of_ngspice() {
    let mut spec = PackSpec::crane();
    spec.bus.cable_ohms = 0.12 - 2.0 * spec.bus.contactor.contact_ohms;
    let found = precharged(&spec, 310.0, -25.0, 0.0, &[0.01, 0.04, 0.08, 0.136, 0.137, 0.16, 0.4]);
    let expected = [68.263_10, 194.053_1, 264.191_9];
    for ((volts, _), expected) in found.iter().zip(expected) {
        near(*volts, expected, 0.02, "V");
    }
    // 95 % of the source after 136.658 ms.
    assert!(found[3].0 < 294.5 && found[4].0 > 294.5, "{found:?}");
    near(found[5].0, 298.705_9, 0.02, "V");
    near(found[6].0, 303.880_8, 0.02, "V");
}

/// `insulation_bench.cir`: how the chassis of the bench settles with a leak of 47 kΩ at B−, and then with the known resistor at B+.
#[test]
fn the_benchs_insulation_settles_as_ngspice_says() {
    let spec = PackSpec::trainer().bus;
    let pairs = Pairs { pack: 52.8, link: 52.8 };
    let mut insulation = Insulation::new(&spec);
    insulation.settle(0.0, pairs, Hold::AtNegative, &Leaks::default(), &Chassis::default());
    let leaks = Leaks { negative: 1.0 / 47e3, ..Leaks::default() };
    let mut now = 0;
    for (at_ms, resistor, expected) in [
        (20, ToChassis::Open, 16.614_81),
        (50, ToChassis::Open, 8.735_495),
        (200, ToChassis::Open, 1.998_590),
        (990, ToChassis::Open, 1.846_431),
        (1_000, ToChassis::Open, 1.846_4),
        (1_010, ToChassis::Positive, 18.143_10),
        (1_030, ToChassis::Positive, 30.275_76),
        (2_000, ToChassis::Positive, 34.261_40),
    ] {
        while now < at_ms {
            let chassis = Chassis { resistor, ..Chassis::default() };
            insulation.settle(0.01, pairs, Hold::AtNegative, &leaks, &chassis);
            now += 10;
        }
        near(insulation.negative_volts(pairs), expected, 0.003, &format!("V at {at_ms} ms"));
    }
}

/// `bleeding_corroded.cir`: two neighbours bleed through one corroded wire, and hinder each other.
#[test]
fn bleeding_through_corroded_wires_is_that_of_ngspice() {
    let spec = PackSpec::trainer();
    let volts: [f64; 16] = core::array::from_fn(|cell| [3.32, 3.2][cell % 2]);
    let mut deviations = Deviations::<16, 8>::none();
    (deviations.wires[1].ohms, deviations.wires[2].ohms) = (100.0, 40.0);
    let mut wires = Wires::new(&spec);
    wires.adapt(&volts, 0b11, &deviations);
    let siemens = wires.bleed_siemens(&volts, 0b11, &deviations);
    near(siemens[0] * volts[0], 68.749_33e-3, 1e-6, "A");
    near(siemens[1] * volts[1], 58.236_61e-3, 1e-6, "A");
}
