//! Cells against closed forms, a published worked example and Runge–Kutta.

use super::*;

/// A single cell of given resistances with a flat or a real curve, sound and without spread, leak or hysteresis.
fn cell(ohms: f64, pair_ohms: [f64; 2], pair_seconds: [f64; 2], charge: f64) -> Cells<1> {
    let mut spec = PackSpec::crane();
    (spec.cells, spec.cells_a_module, spec.thermistors_a_module) = (1, 1, 1);
    spec.cell.ohms = ohms;
    spec.cell.pair_ohms = pair_ohms;
    spec.cell.pair_seconds = pair_seconds;
    spec.cell.leak_ohms = f64::INFINITY;
    (spec.cell.hysteresis_volts, spec.cell.capacity_spread, spec.cell.resistance_spread) = (0.0, 0.0, 0.0);
    let mut cells = Cells::new(&spec, &Noise::new(1), charge, 25.0);
    cells.adapt(0.0, &[0.0], &Deviations::<1, 1>::none());
    cells
}

/// Runs at a held current, and gives the voltage at its end.
fn run(cells: &mut Cells<1>, curve: &Curve, dt: f64, seconds: f64, amps: f64) -> f64 {
    let mut time = 0.0;
    while time < seconds - 1e-9 {
        cells.refresh(dt, curve, &Deviations::<1, 1>::none());
        cells.step(dt, Flow::held(amps));
        time += dt;
    }
    cells.volts[0]
}

fn flat(volts: fn(f64) -> f64) -> Curve {
    Curve::tabulated(volts, |_| 0.0, |_| 1.0, 0.0)
}

/// Step response of R0 + R1 ∥ C1, V = OCV − I R0 − I R1 (1 − e^(−t/τ)); OCV 3.300 V, 0.5 mΩ, 0.3 mΩ, τ 30 s, 100
/// A for 60 s. Computed; ngspice 39.3 agrees within 1e-6 V.
#[test]
fn a_pulse_follows_the_textbook_step() {
    let curve = flat(|_| 3.3);
    for dt in [0.01, 0.5, 1.0] {
        let mut cells = cell(0.5e-3, [0.3e-3, 1e-12], [30.0, 120.0], 0.5);
        for (seconds, amps, expected) in [
            (10.0, -100.0, 3.241_495_939),
            (8.0, -100.0, 3.236_464_349),
            (12.0, -100.0, 3.231_036_383),
            (30.0, -100.0, 3.224_060_058),
            (1.0, 0.0, 3.274_910_471),
            (29.0, 0.0, 3.290_457_229),
            (60.0, 0.0, 3.298_708_526),
        ] {
            let seen = run(&mut cells, &curve, dt, seconds, amps);
            assert!((seen - expected).abs() < 1e-8, "{seen} for {expected} at steps of {dt} s");
        }
    }
}

/// Published worked example (A. Bohrey, "ECM voltage waveform"): OCV 3.7 V, R0 0.1 Ω, R1 0.05 Ω, C1 200 F, 2 A
/// for 5 s: instant drop 0.2 V, RC part tends to 0.1 V; 3.4607 V just before the end by the formula.
#[test]
fn the_worked_example_of_a_37_volt_cell_holds() {
    let curve = flat(|_| 3.7);
    let mut cells = cell(0.1, [0.05, 1e-12], [10.0, 120.0], 0.5);
    let first = run(&mut cells, &curve, 1e-6, 1e-6, -2.0);
    assert!((first - 3.5).abs() < 1e-6);
    let mut cells = cell(0.1, [0.05, 1e-12], [10.0, 120.0], 0.5);
    assert!((run(&mut cells, &curve, 0.01, 5.0, -2.0) - 3.4607).abs() < 5e-5);
    assert!((run(&mut cells, &curve, 1.0, 200.0, -2.0) - 3.4).abs() < 1e-6);
}

/// I²R (100 A through 0.5 mΩ is 5 W), and what the pair stores during a pulse comes out as heat after it: in the
/// end the heat is the electrical work against a flat curve.
#[test]
fn heat_is_the_work_against_the_curve() {
    let curve = flat(|_| 3.3);
    let mut cells = cell(0.5e-3, [1e-12, 1e-12], [5.0, 120.0], 0.5);
    let mut joules = [0.0];
    run(&mut cells, &curve, 0.01, 0.01, 100.0);
    cells.take_heat(&curve, &mut joules);
    assert!((joules[0] / 0.01 - 5.0).abs() < 1e-6);
    for dt in [0.01, 10.0] {
        let mut cells = cell(0.5e-3, [0.3e-3, 0.6e-3], [30.0, 120.0], 0.5);
        let mut heat = 0.0;
        let mut work = 0.0;
        for (seconds, amps) in [(60.0, -100.0), (5_000.0, 0.0)] {
            let mut time = 0.0;
            while time < seconds - 1e-9 {
                run(&mut cells, &curve, dt, dt, amps);
                cells.take_heat(&curve, &mut joules);
                heat += joules[0];
                time += dt;
            }
            // ∫(OCV − V)·I dt of the pulse: I²·[R0 t + Σ Rk (t − τk (1 − e^(−t/τk)))].
            let pair = |ohms: f64, tau: f64| ohms * (seconds - tau * (1.0 - libm::exp(-seconds / tau)));
            work += amps * amps * (0.5e-3 * seconds + pair(0.3e-3, 30.0) + pair(0.6e-3, 120.0));
        }
        assert!((heat / work - 1.0).abs() < 1e-9, "{heat} J for {work} J at steps of {dt} s");
    }
}

#[test]
fn hysteresis_moves_with_throughput_only_and_ends_at_its_limit() {
    let curve = Curve::lithium_iron_phosphate();
    let mut cells = cell(0.7e-3, [0.4e-3, 0.6e-3], [5.0, 120.0], 0.3);
    cells.hysteresis_limit = 10e-3;
    run(&mut cells, curve, 1.0, 720.0, 100.0);
    assert!((cells.hysteresis_volts[0] - 10e-3).abs() < 1e-6);
    let before = cells.hysteresis_volts[0];
    run(&mut cells, curve, 1.0, 3_600.0, 0.0);
    assert!((cells.hysteresis_volts[0] - before).abs() < 1e-15);
    // dh/dq = (M − h)·γ/Q: over 1 % of the capacity the other way, h = −M + 2M e^(−0.5).
    run(&mut cells, curve, 0.01, 36.0, -100.0);
    let exact = -10e-3 + (before + 10e-3) * libm::exp(-0.5);
    assert!((cells.hysteresis_volts[0] - exact).abs() < 1e-8, "{}", cells.hysteresis_volts[0]);
}

/// The scheme (curve and resistances held for 100 ms, explicit temperature) against Runge–Kutta of fourth order
/// at 1 ms on the same equations: a hoist, travel, hold and lower, from 0 °C, where resistance moves with
/// temperature.
#[test]
fn the_tick_scheme_stays_within_a_fiftieth_of_a_millivolt() {
    let curve = Curve::lithium_iron_phosphate();
    let capacity = 360_000.0;
    let slopes = |state: [f64; 4], amps: f64| {
        let [charge, fast, slow, celsius] = state;
        let piece = curve.at(charge);
        let factor = curve.cold_factor(celsius) * (piece.rise_level + piece.rise_slope * charge);
        let entropy = piece.entropy_level + piece.entropy_slope * charge;
        let (r0, r1, r2) = (0.7e-3 * factor, 0.4e-3 * factor, 0.6e-3 * factor);
        let heat =
            amps * amps * r0 + fast * fast / r1 + slow * slow / r2 + amps * (celsius + 273.15) * entropy;
        let volts = curve.volts(charge) + (celsius - 25.0) * entropy + fast + slow + amps * r0;
        ([amps / capacity, (amps * r1 - fast) / 5.0, (amps * r2 - slow) / 120.0, heat / 2_000.0], volts)
    };
    let mut cells = cell(0.7e-3, [0.4e-3, 0.6e-3], [5.0, 120.0], 0.15);
    cells.celsius = [0.0];
    let mut state = [0.15, 0.0, 0.0, 0.0];
    let mut worst: f64 = 0.0;
    for tick in 0..9_200_u32 {
        let amps = match tick % 4_600 {
            0..800 => -150.0,
            800..2_800 => -40.0,
            2_800..3_800 => 0.0,
            _ => 60.0,
        };
        if tick % 10 == 0 {
            if tick > 0 {
                let mut joules = [0.0];
                cells.take_heat(curve, &mut joules);
                cells.celsius[0] += joules[0] / 2_000.0;
            }
            cells.refresh(0.01, curve, &Deviations::<1, 1>::none());
        }
        cells.step(0.01, Flow::held(amps));
        for _ in 0..10 {
            let add = |slope: [f64; 4], h: f64| core::array::from_fn(|part| state[part] + h * slope[part]);
            let one = slopes(state, amps).0;
            let two = slopes(add(one, 0.5e-3), amps).0;
            let three = slopes(add(two, 0.5e-3), amps).0;
            let four = slopes(add(three, 1e-3), amps).0;
            state = core::array::from_fn(|part| {
                state[part] + 1e-3 / 6.0 * (one[part] + 2.0 * two[part] + 2.0 * three[part] + four[part])
            });
        }
        worst = worst.max((cells.volts[0] - slopes(state, amps).1).abs());
    }
    assert!(worst < 2e-5, "{worst} V");
}

/// A hard short of 10 mΩ across 3.3 V, 0.7 mΩ and two pairs (0.4 mΩ, 5 s; 0.6 mΩ, 120 s) for a minute: 2.910 226 V, 17 685.56 C and 57
/// 794.60 J of heat, all of it in the cell (`SciPy` 1.17.1, `solve_ivp`, rtol 1e-11). The short's current is held for each step: first
/// order in the step.
#[test]
fn a_hard_short_drains_and_heats_as_its_circuit_says() {
    let curve = flat(|_| 3.3);
    for (dt, within) in [(0.01, 2e-5), (0.1, 2e-4), (1.0, 2e-3)] {
        let mut cells = cell(0.7e-3, [0.4e-3, 0.6e-3], [5.0, 120.0], 0.5);
        let mut deviations = Deviations::<1, 1>::none();
        deviations.leak_siemens[0] = 100.0;
        cells.adapt(0.0, &[0.0], &deviations);
        let (before, mut heat, mut joules) = (cells.coulombs(0), 0.0, [0.0]);
        let mut time = 0.0;
        while time < 60.0 - 1e-9 {
            run(&mut cells, &curve, dt, dt, 0.0);
            cells.take_heat(&curve, &mut joules);
            heat += joules[0];
            time += dt;
        }
        let drained = before - cells.coulombs(0);
        for (seen, exact) in [(cells.volts[0], 2.910_226), (drained, 17_685.56), (heat, 57_794.60)] {
            assert!((seen / exact - 1.0).abs() < within, "{seen} for {exact} at steps of {dt} s");
        }
        assert!(cells.bleed_joules().abs() < 1e-9);
    }
}

/// The same short while the string carries 150 A: Kirchhoff, V = (E + I R) S / (R + S) at once, S the short.
#[test]
fn a_short_takes_its_share_of_the_string_current() {
    let curve = flat(|_| 3.3);
    for amps in [-150.0, 0.0, 150.0] {
        let mut cells = cell(0.7e-3, [1e-12, 1e-12], [5.0, 120.0], 0.5);
        let mut deviations = Deviations::<1, 1>::none();
        deviations.leak_siemens[0] = 100.0;
        cells.adapt(0.0, &[0.0], &deviations);
        let seen = run(&mut cells, &curve, 0.01, 0.01, amps);
        let exact = (3.3 + amps * 0.7e-3) * 10.0 / 10.7;
        assert!((seen - exact).abs() < 1e-9, "{seen} for {exact}");
    }
}
