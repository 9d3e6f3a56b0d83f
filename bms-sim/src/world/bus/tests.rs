use super::*;
use crate::world::spec::PackSpec;

/// A bus of ideal parts: only source, resistor, capacitor.
fn ideal(volts: f64, ohms: f64, farads: f64) -> (Bus, Source, Load, Deviations<1, 1>) {
    let mut spec = PackSpec::crane();
    spec.bus.cable_ohms = 0.0;
    spec.bus.contactor.contact_ohms = 0.0;
    spec.bus.precharge_ohms = ohms;
    spec.bus.link_farads = farads;
    (spec.bus.bleed_down_ohms, spec.bus.divider_ohms) = (1e15, 1e15);
    let bus = Bus::new(&spec.bus, &Noise::new(1), volts, 25.0);
    let mut deviations = Deviations::none();
    deviations.contactors[NEGATIVE].welded = true;
    deviations.contactors[PRECHARGE].welded = true;
    (bus, Source { volts, cell_ohms: 0.0, joint_ohms: 0.0 }, Load::new(&spec.load), deviations)
}

/// Precharge closed form v = V (1 − e^(−t/RC)). 400 V, 50 Ω, 1 mF: 252.848 V at 50 ms, 380.085 V at 150 ms, 8 A,
/// 80 J (ngspice 39.3: the same, 79.9997 J). A resistor maker's published example, 800 V, 47 Ω, 1 mF: 95 % after
/// 141.0 ms, 99 % after 216.4 ms, 17.0 A, 320.0 J.
#[test]
fn precharge_follows_the_closed_form_and_the_published_example() {
    for (volts, ohms, instants, amps, joules) in [
        (400.0, 50.0, [(0.05, 252.848), (0.15, 380.085)], 8.0, 80.0),
        (800.0, 47.0, [(0.140_799, 760.0), (0.216_443, 792.0)], 17.0213, 320.0),
    ] {
        for pieces in [1, 7] {
            let (mut bus, source, mut load, deviations) = ideal(volts, ohms, 1e-3);
            let mut now = 0.0;
            for (instant, expected) in instants {
                let dt = (instant - now) / f64::from(pieces);
                for piece in 0..pieces {
                    let flow = bus.step(dt, source, &mut load, &deviations, &Chassis::default());
                    if now == 0.0 && piece == 0 {
                        assert!((flow.start_amps + amps).abs() < 1e-4);
                    }
                }
                now = instant;
                assert!((bus.link_volts - expected).abs() < 2e-3, "{} for {expected}", bus.link_volts);
            }
            bus.step(2.0, source, &mut load, &deviations, &Chassis::default());
            assert!((bus.moved.resistor_joules / joules - 1.0).abs() < 1e-6);
            assert!((bus.link_joules() / joules - 1.0).abs() < 1e-6);
        }
    }
}

/// A load of 500 Ω during precharge through 50 Ω: it ends at `V·R_L/(R + R_L)` = 90.9 % and never reaches 95 %;
/// 10 kΩ: 99.50 %.
#[test]
fn a_load_left_on_stalls_precharge() {
    for (ohms, share) in [(500.0, 0.909_09), (10_000.0, 0.995_02)] {
        let (mut bus, source, mut load, mut deviations) = ideal(400.0, 50.0, 1e-3);
        deviations.left_on_siemens = 1.0 / ohms;
        bus.step(5.0, source, &mut load, &deviations, &Chassis::default());
        assert!((bus.link_volts / 400.0 - share).abs() < 1e-5);
    }
}

/// Closing at 95 % of 400 V into 20 mΩ: 1000 A at first (Ohm).
#[test]
fn the_rest_of_the_step_goes_through_the_contact() {
    let (mut bus, mut source, mut load, mut deviations) = ideal(400.0, 50.0, 1e-3);
    source.cell_ohms = 0.02;
    bus.link_volts = 380.0;
    deviations.contactors[POSITIVE].welded = true;
    let flow = bus.step(0.01, source, &mut load, &deviations, &Chassis::default());
    assert!((flow.start_amps + 1_000.0).abs() < 1e-9);
    // The exact mean: the charge of 20 V on 1 mF in 10 ms.
    assert!((flow.mean_amps + 2.0).abs() < 1e-6);
}

/// Truth from ngspice 39 (`tran 10u 0.4`): 317 V through 50.087 Ω onto 1 mF, on which 2.5 kΩ, 1 MΩ, 500 Ω and a drive that draws 2 A
/// hang, and a motor of 280 V behind 4 Ω and an ideal rectifier: 65.066 V at 1 ms, 181.098 V at 4 ms, 271.725 V at 20 ms (37.53 mC
/// through the resistor until then), 272.901 V at 400 ms.
#[test]
fn precharge_with_a_load_and_a_turning_motor_is_that_of_ngspice() {
    let spec = PackSpec::crane();
    let mut bus = Bus::new(&spec.bus, &Noise::new(1), 317.0, 25.0);
    let mut deviations = Deviations::<1, 1>::none();
    deviations.contactors[NEGATIVE].welded = true;
    deviations.contactors[PRECHARGE].welded = true;
    deviations.left_on_siemens = 1.0 / 500.0;
    // The drive's own limit of 180 V is not part of the circuit.
    let mut stiff = spec.load.clone();
    stiff.under_voltage = -1.0;
    let mut load = Load::new(&stiff);
    (load.amps, load.motor_volts) = (-2.0, 280.0);
    let source = Source { volts: 317.0, cell_ohms: 0.067_2 + 0.004_8, joint_ohms: 0.0 };
    let mut now = 0.0;
    for (instant, expected) in [(0.001, 65.0662), (0.004, 181.0980), (0.02, 271.7253), (0.4, 272.9009)] {
        bus.step(instant - now, source, &mut load, &deviations, &Chassis::default());
        now = instant;
        assert!((bus.link_volts - expected).abs() < 0.02, "{} for {expected}", bus.link_volts);
        if (0.01..0.1).contains(&instant) {
            assert!((bus.moved.string_coulombs + 37.5266e-3).abs() < 1e-5, "{}", bus.moved.string_coulombs);
        }
    }
}

/// Truth from ngspice 39 (`tran 0.1u 0.0134`): a short of 5 mΩ across a charged link of 1 mF, 317 V behind 87 mΩ: 3 445.65 A and
/// 17.228 V, and ∫I² of 158.212 kA²s until 13.333 ms. By the fuse's curve, between 2 500 A at 40 ms and 4 000 A at 8 ms, 3 445.65 A melt
/// in 13.33 ms.
#[test]
fn a_short_melts_the_fuse_when_its_curve_says() {
    let spec = PackSpec::crane();
    let mut bus = Bus::new(&spec.bus, &Noise::new(1), 317.0, 25.0);
    bus.link_volts = 317.0;
    let mut deviations = Deviations::<1, 1>::none();
    deviations.contactors[NEGATIVE].welded = true;
    deviations.contactors[POSITIVE].welded = true;
    deviations.left_on_siemens = 1.0 / 5e-3;
    let mut load = Load::new(&spec.load);
    let source = Source { volts: 317.0, cell_ohms: 0.072, joint_ohms: 0.0 };
    let (mut melts_ms, mut square) = (0.0_f64, 0.0_f64);
    while !bus.fuse_cleared() {
        let flow = bus.step(1e-5, source, &mut load, &deviations, &Chassis::default());
        (melts_ms, square) = (melts_ms + 0.01, square + flow.mean_square * 1e-5);
        if !bus.fuse_cleared() {
            assert!((bus.link_volts - 17.228).abs() < 0.01 || melts_ms < 0.1, "{}", bus.link_volts);
        }
    }
    assert!(
        (melts_ms - 13.33).abs() < 0.011 && (square / 158_212.0 - 1.0).abs() < 1e-3,
        "{melts_ms} ms, {square} A²s"
    );
}
