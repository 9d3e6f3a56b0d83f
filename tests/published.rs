//! Figures that others have published, held against both crates together. Each test names its source; tables lie in `published/data`.
//!
//! Beside the code, against the same sources, stand: the Steinhart–Hart form of the thermistor and its moisture path (2), the pulse
//! of an RC cell and the worked 3.7 V example (2), the OCV function and its lines (2), lumped heating, cooling and the thermistor's lag
//! (3), the Philox words and normal moments (2), the melting curve (1), 50 mA for a day (1), charge and energy laws (2).
#![allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "small whole numbers"
)]

use bms_core::config::ThermistorCurve;
use bms_core::estimate::LoadStep;
use bms_core::fault::{Counter, Dwells, Reading, Stage};
use bms_core::frame::{Asked, Frame, Part, Wanted};
use bms_core::sequence::PrechargeCheck;
use bms_core::units::{Instant, Millis, Ratio};
use bms_core::witness::Quantity;
use bms_core::{Config, Controller, Decision, Each, Evidence, Fault, Step, Witness};
use bms_sim::case::Case;
use bms_sim::world::load::{Demand, Giver};
use bms_sim::world::noise::Noise;
use bms_sim::world::spec::PackSpec;
use bms_sim::world::{Actuators, Initial, World, thermistor};

type Crane = World<96, 16>;

const TABLE: &str = include_str!("published/data/ntc_b57330v2103.csv");
const OCV: &str = include_str!("published/data/lfp_ocv_functions.csv");
const RUNS: &str = include_str!("published/data/run_waiting_times.csv");
const PRECHARGE: &str = include_str!("published/data/precharge_cases.csv");

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

/// What the firmware reads when every divider of the training bench stands at this ratio.
fn firmware_reads(curve: ThermistorCurve, ratio: f64) -> f64 {
    let mut config = Config::trainer();
    config.sensing.curve = curve;
    let mut core = Controller::<16, 8>::new(config.fit().expect("the default is valid"));
    let mut heard = Heard::default();
    for tick in 0..4 {
        let mut frame = Frame::empty(Instant(tick * 10));
        frame.thermistors = Part::fresh(Each::all(Ratio::from_bits((ratio * 65_536.0).round() as i32)));
        core.tick(&frame, &mut heard);
    }
    heard.hottest.unwrap_or(f64::NAN)
}

fn near(found: f64, expected: f64, within: f64, what: &str) {
    assert!((found - expected).abs() <= within, "{what}: {found}, published {expected} ± {within}");
}

/// EPCOS/TDK B57330V2103, the maker's table as reproduced in the Linux kernel's `ntc_thermistor.c`, in a divider with 10 kΩ.
#[test]
fn the_firmware_reads_the_makers_table() {
    for row in rows(TABLE) {
        let ratio = row[1] / (row[1] + 10_000.0);
        near(firmware_reads(ThermistorCurve::B3435, ratio), row[0], 0.06, "°C");
    }
}

/// The same table: what the world makes of a temperature is the maker's resistance within a fifth of a per cent.
#[test]
fn the_world_has_the_makers_table() {
    for row in rows(TABLE) {
        near(thermistor::ohms(row[0]) / row[1], 1.0, 2e-3, "ohm");
    }
}

/// From truth through the divider to the firmware: neither end of the chain may lean on the other's interpolation. No figure from outside:
/// the two tests above tie both ends to the maker's table, this one what lies between its points.
#[test]
fn world_and_firmware_agree_between_the_points() {
    for half in -70..=200 {
        let celsius = f64::from(half) / 2.0;
        let ratio = thermistor::ratio(celsius, 0.0, 10_000.0);
        near(firmware_reads(ThermistorCurve::B3435, ratio), celsius, 0.12, "°C");
    }
}

/// Vishay NTCLE100E3, document 29049: R = 10 kΩ · exp(A + B/T + C/T² + D/T³).
#[test]
fn the_other_class_follows_its_coefficients() {
    for five in -7..=24 {
        let celsius = f64::from(five * 5);
        let kelvin = celsius + 273.15;
        let logarithm =
            -14.6337 + 4_791.842 / kelvin - 115_334.0 / (kelvin * kelvin) - 3.730_535e6 / kelvin.powi(3);
        let ohms = 10_000.0 * logarithm.exp();
        near(firmware_reads(ThermistorCurve::B3977, ohms / (ohms + 10_000.0)), celsius, 0.1, "°C");
    }
}

/// Mean voltage of the crane's cells as the sensors see it, at rest.
fn rested_volts(charge: f64) -> f64 {
    let world =
        Crane::new(&PackSpec::crane(), 4, Initial { charge, celsius: 25.0 }).expect("the crane is whole");
    let frame = world.measure(0, Instant(0), Asked::NOTHING);
    frame.cells.value.iter().map(|volts| f64::from(volts.bits()) / 65_536.0).sum::<f64>() / 96.0
}

/// Safari and Delacourt, J. Electrochem. Soc. 158 (2011) A562: ±20 mV where the curve is flat, ±100 mV at 5 and 10 %.
#[test]
fn rested_cells_lie_on_the_first_published_curve() {
    for row in rows(OCV).iter().filter(|row| (5.0..=90.0).contains(&row[0])) {
        near(rested_volts(row[0] / 100.0), row[1], if row[0] < 15.0 { 0.1 } else { 0.02 }, "V");
    }
}

/// Kasavajjula, Wang and Arce, J. Electrochem. Soc. 155 (2008) A866: another group's curve, 20 mV from the first and 10 mV more for ours.
#[test]
fn rested_cells_lie_near_the_second_published_curve() {
    for row in rows(OCV).iter().filter(|row| (15.0..=90.0).contains(&row[0])) {
        near(rested_volts(row[0] / 100.0), row[2], 0.03, "V");
    }
}

/// Lishen LP54173207, specification of 2020-03-09, table 1: stored at 30 to 50 % it stands at 3.275 to 3.304 V.
#[test]
fn the_storage_window_is_met() {
    near(rested_volts(0.3), 3.275, 0.02, "V at 30 %");
    near(rested_volts(0.5), 3.304, 0.02, "V at 50 %");
}

/// A seller's sheet of a 12.8 V 50 Ah LFP battery (machineu.com, item pz60d32f6): stored at about 50 % it stands at 13.2 V, four cells.
#[test]
fn four_cells_stand_at_the_storage_voltage() {
    near(4.0 * rested_volts(0.5), 13.2, 0.06, "V");
}

const PRECHARGING: Actuators = Actuators { coils: [true, true, false], ..Actuators::OFF };

/// The closed form of an ideal RC, one row checked with ngspice 39.3, one printed by a resistor maker (resistor-factory.com, page "RC time
/// constant": 3 τ = 141.0 ms, 216.4 ms): times are free of the voltage, so the crane's 317 V show them as well as 800 V do.
#[test]
fn precharge_takes_the_published_times() {
    for row in rows(PRECHARGE) {
        let (ohms, farads) = (row[2], row[3]);
        let mut spec = PackSpec::crane();
        (spec.bus.precharge_ohms, spec.bus.link_farads, spec.bus.bleed_down_ohms) = (ohms, farads, 1e9);
        spec.bus.divider_ohms = 1e9;
        let mut world =
            Crane::new(&spec, 1, Initial { charge: 0.5, celsius: 25.0 }).expect("the crane is whole");
        let mut marks = [(0.001, None), (0.90, None), (0.95, None), (0.99, None)];
        for tick in 1..1_500_u32 {
            world.step(0.0005, &PRECHARGING, &Demand { outside_celsius: 25.0, ..Demand::default() });
            let share = world.bus.link_volts / world.bus.pack_volts;
            for (mark, at) in &mut marks {
                if share >= *mark && at.is_none() {
                    *at = Some(f64::from(tick) * 0.0005);
                }
            }
        }
        let [from, t90, t95, t99] = marks.map(|(_, at)| at.unwrap_or(f64::NAN));
        near(t95 - t90, row[6] - row[5], 0.001, "seconds from 90 to 95 %");
        near(t99 - t95, row[7] - row[6], 0.001, "seconds from 95 to 99 %");
        // The contact bounces for up to 5 ms after its first touch.
        near(t95 - from, row[6] + 0.0025, 0.0035, "seconds to 95 %");
        let stored = 0.5 * farads * world.bus.pack_volts * world.bus.pack_volts;
        near(world.bus.moved.resistor_joules / stored, 1.0, 0.02, "energy in the resistor over ½CV²");
    }
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

/// TI TIDUF73 (2024), equation 1, with the bleed-down in parallel: v = kV(1 − e^(−t/kRC)), k = 2 500/2 550.
#[test]
fn the_expected_curve_is_the_closed_form_and_the_loop_follows_it() {
    let (_, heard) = closed_loop(25.0, 3.0, |_| 0.0, |_| Wanted::Closed, |_, _, _| ());
    let rising: Vec<_> = heard.precharge.iter().filter(|check| check.since_rise > Millis::ZERO).collect();
    assert!(rising.len() > 10, "only {} looks at precharge", rising.len());
    let k = 2_500.0 / 2_550.0;
    for check in rising {
        let pack = f64::from(check.pack.milli()) / 1_000.0;
        let closed = |seconds: f64| k * pack * (1.0 - (-seconds / (k * 50.0 * 1e-3)).exp());
        let since = f64::from(check.since_rise.0) / 1_000.0;
        let (expected, link) =
            (f64::from(check.expected.milli()) / 1_000.0, f64::from(check.link.milli()) / 1_000.0);
        // The firmware may not know the rise better than a tick.
        assert!(
            closed(since - 0.012) - 2.0 <= expected && expected <= closed(since + 0.012) + 2.0,
            "{expected} V"
        );
        assert!(closed(since - 0.012) - 2.0 <= link && link <= closed(since + 0.012) + 2.0, "{link} V");
    }
}

/// Discharge of a capacitor through a resistor: t = RC · ln(V/60 V), with the 60 V DC that may be touched (ISO 6469-3). RC is 2.5 s; 96
/// cells at 70 % stand at 3.3285 V each on the first published curve.
#[test]
fn the_link_is_below_sixty_volts_after_the_closed_form_time() {
    let (mut from, mut below) = (None, None);
    let wanted = |now: f64| if now < 3.0 { Wanted::Closed } else { Wanted::Open };
    closed_loop(
        25.0,
        10.0,
        |_| 0.0,
        wanted,
        |now, world, decision| {
            if now > 3.0
                && decision.step != Step::Closed
                && world.bus.link_volts < world.bus.pack_volts - 1.0
                && from.is_none()
            {
                from = Some(now);
            }
            if now > 3.0 && world.bus.link_volts < 60.0 && below.is_none() {
                below = Some(now);
            }
        },
    );
    let (since, below) = (from.expect("it opens"), below.expect("it discharges"));
    near(below - since, 2.5 * (96.0 * 3.3285 / 60.0_f64).ln(), 0.06, "seconds");
}

/// ΔV/ΔI of a pulse as in the DOE/INL battery test manual for plug-in hybrids, INL/EXT-14-32849 (2014; the equation from memory), with
/// the step response of two RC pairs, R0 + Rj + Σ Ri·(1 − e^(−t/τi)): of cells that are given here, between 0.1 and 0.5 s after the step.
#[test]
fn a_load_step_gives_the_resistance_of_a_pulse_test() {
    let mut spec = PackSpec::crane();
    spec.cell.resistance_spread = 0.0;
    (spec.cell.ohms, spec.joint_ohms) = (0.75e-3, 60e-6);
    (spec.cell.pair_ohms, spec.cell.pair_seconds) = ([0.5e-3, 0.55e-3], [4.0, 100.0]);
    let wants = |now| if now > 4.0 { -100.0 } else { 0.0 };
    let (_, heard) = closed_loop_of(&spec, 25.0, 8.0, wants, |_| Wanted::Closed, |_, _, _| ());
    let step = heard.steps.last().expect("a load step is judged");
    let pulse = |seconds: f64| {
        let pairs = 0.5 * (1.0 - (-seconds / 4.0_f64).exp()) + 0.55 * (1.0 - (-seconds / 100.0_f64).exp());
        0.75 + 0.06 + pairs
    };
    let found = f64::from(step.resistance.milli()) / 1_000.0;
    assert!(
        (pulse(0.1) - 0.02..=pulse(0.5) + 0.02).contains(&found),
        "{found} mΩ, {} to {}",
        pulse(0.1),
        pulse(0.5)
    );
}

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

/// Faraday's bookkeeping: 100 A for 36 s are 1 Ah.
#[test]
fn charge_is_current_times_time() {
    let mut marks = Vec::new();
    closed_loop(
        25.0,
        45.0,
        |now| if now > 4.0 { -100.0 } else { 0.0 },
        |_| Wanted::Closed,
        |now, world, _| {
            if (now - 6.0).abs() < 1e-6 || (now - 42.0).abs() < 1e-6 {
                marks.push(world.cells.coulombs(50));
            }
        },
    );
    near((marks[0] - marks[1]) / 3_600.0, 1.0, 0.003, "Ah");
}

/// Arrhenius, computed in Python: `math.exp(20e3 / 8.314 * (1 / (t + 273.15) - 1 / 298.15))` gives 2.09 at 0 °C, 4.20 at −20, 0.60 at 45.
/// That LFP cells have about 20 kJ/mol is from memory.
#[test]
fn resistance_follows_the_printed_factors() {
    let ohms = |celsius| {
        Crane::new(&PackSpec::crane(), 5, Initial { charge: 0.6, celsius })
            .expect("whole")
            .cells
            .sum_of_ohms()
    };
    let warm = ohms(25.0);
    for (celsius, factor) in [(0.0, 2.09), (-20.0, 4.20), (45.0, 0.60)] {
        near(ohms(celsius) / warm, factor, 0.01, "times");
    }
}

/// V/R: a cell that stands at 3.30 V (both published curves: within 11 mV from 35 to 50 %) over 33 Ω loses 100 mA, so an ampere-hour takes
/// 10.00 h.
#[test]
fn bleeding_an_ampere_hour_takes_ten_hours() {
    let spec = PackSpec::crane();
    let mut world =
        Crane::new(&spec, 6, Initial { charge: 0.42, celsius: 25.0 }).expect("the crane is whole");
    let stored = |world: &Crane| [7, 8].map(|cell| world.cells.coulombs(cell) / 3_600.0);
    let before = stored(&world);
    let bleeding = Actuators { bleeding: 1 << 7, ..Actuators::OFF };
    for _ in 0..600 {
        world.step(60.0, &bleeding, &Demand { outside_celsius: 25.0, ..Demand::default() });
    }
    // What its neighbour loses by itself is no bleeding.
    let after = stored(&world);
    near(before[0] - after[0] - (before[1] - after[1]), 1.0, 0.01, "Ah in ten hours");
}

/// Feller, An Introduction to Probability Theory, vol. I, chapter XIII: mean and scatter of the time to a run of n exceedances. The
/// stage confirms with its dwell of n − 1 ticks; the noise is that of the sensors. Four standard errors are allowed.
fn waits_as_feller_says(sigmas: f32, (probability, run): (f64, f64), trials: usize) {
    let printed = rows(RUNS);
    let printed =
        printed.iter().find(|row| (row[0] - probability).abs() < 1e-9 && (row[1] - run).abs() < 0.1);
    let printed = printed.expect("the table has this row");
    let dwells =
        Dwells { trip: Millis((run as u32 - 1) * 10), release: Millis(1_000), counter: Counter::Resetting };
    let noise = Noise::new(20_260_101);
    let (mut stages, mut waits) = ([(Stage::Clear, 0_u32); 96], Vec::new());
    let mut tick = 0;
    while waits.len() < trials {
        for (draw, (stage, waited)) in noise.draws::<96, 16>(tick).cells().iter().zip(&mut stages) {
            let seen = if *draw > sigmas { Reading::Beyond } else { Reading::Within };
            *waited += 1;
            *stage = stage.next(seen, Millis(10), dwells);
            if matches!(stage, Stage::Confirmed { .. }) {
                waits.push(f64::from(*waited));
                (*stage, *waited) = (Stage::Clear, 0);
            }
        }
        tick += 1;
    }
    let mean = waits.iter().sum::<f64>() / waits.len() as f64;
    // Runs that are still going when the last one ends are long ones: they cost at most one wait in each of the 96 rows.
    let cut = printed[2] * 96.0 / waits.len() as f64;
    near(mean, printed[2], 4.0 * printed[3] / (waits.len() as f64).sqrt() + cut, "ticks");
}

#[test]
fn two_in_a_row_beyond_one_sigma() {
    waits_as_feller_says(1.0, (0.158_655_253_9, 2.0), 20_000);
}

#[test]
fn three_in_a_row_beyond_one_sigma() {
    waits_as_feller_says(1.0, (0.158_655_253_9, 3.0), 10_000);
}

#[test]
fn two_in_a_row_beyond_two_sigma() {
    waits_as_feller_says(2.0, (0.022_750_131_9, 2.0), 4_000);
}

#[test]
fn five_in_a_row_of_even_chances() {
    waits_as_feller_says(0.0, (0.5, 5.0), 20_000);
}

#[test]
fn one_beyond_three_sigma() {
    waits_as_feller_says(3.0, (0.001_349_898, 1.0), 4_000);
}

/// Catalogue of parametrised CRC algorithms: CRC-32/ISO-HDLC gives CBF43926 for "123456789". A routine of its own, bit by bit, meets
/// that, and then the digest of a case.
#[test]
fn the_digest_of_a_case_is_the_catalogues_crc() {
    let bitwise = |text: &str| {
        !text.bytes().fold(u32::MAX, |sum, byte| {
            (0..8).fold(sum ^ u32::from(byte), |sum, _| (sum >> 1) ^ (0xEDB8_8320 * (sum & 1)))
        })
    };
    assert_eq!(bitwise("123456789"), 0xCBF4_3926);
    let text = include_str!("../examples/cases/loose-joint.toml");
    let case = Case::parse(text, "loose-joint.toml").unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(case.digest, bitwise(text));
}
