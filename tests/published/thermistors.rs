//! Thermistors: makers' tables, coefficients, and what an open or a shorted one shows.

use crate::{Heard, near, rows};
use bms_core::config::ThermistorCurve;
use bms_core::frame::{Frame, Part};
use bms_core::units::{Instant, Ratio};
use bms_core::{Config, Controller, Each, Fault};
use bms_sim::world::thermistor;

const TABLE: &str = include_str!("data/ntc_b57330v2103.csv");

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

/// What a formula without ends makes of a broken wire, by the 3 977 K coefficients of Vishay document 29049 (computed): code 4 094 of 4 095
/// is 40.9 MΩ or −98 °C, 10 MΩ of leakage −84 °C, 1 MΩ −56 °C, a short of 10 Ω +321 °C. Nothing of this is a temperature, while the ends of
/// the maker's table are: −40 °C and 125 °C.
#[test]
fn a_broken_wire_is_no_temperature() {
    for (ohms, expected) in [
        (40.94e6, Some(Fault::ThermistorOpen)),
        (10e6, Some(Fault::ThermistorOpen)),
        (1e6, Some(Fault::ThermistorOpen)),
        (190_030.0, None),
        (531.0, None),
        (10.0, Some(Fault::ThermistorShorted)),
    ] {
        let mut core = Controller::<16, 8>::new(Config::trainer().fit().expect("the default is valid"));
        let ratio: f64 = ohms / (ohms + 10_000.0);
        for tick in 0..100 {
            let mut frame = Frame::empty(Instant(tick * 10));
            frame.thermistors = Part::fresh(Each::all(Ratio::from_bits((ratio * 65_536.0).round() as i32)));
            core.tick(&frame, &mut ());
        }
        for fault in [Fault::ThermistorOpen, Fault::ThermistorShorted] {
            assert_eq!(core.faults().confirmed.holds(fault), expected == Some(fault), "{ohms} Ω: {fault:?}");
        }
    }
}

/// Codes of an ideal 12-bit converter, 4095 · R / (R + 10 kΩ), of the maker's table and of the other class (computed, unrounded): read back
/// within what half a code and the firmware's curve may be off.
#[test]
fn the_codes_of_a_converter_are_read_back() {
    for (celsius, code) in [
        (-40.0, 3_890.281),
        (-20.0, 3_570.699),
        (0.0, 2_997.910),
        (10.0, 2_631.088),
        (25.0, 2_047.500),
        (40.0, 1_507.322),
        (45.0, 1_348.705),
        (50.0, 1_202.642),
        (60.0, 949.597),
        (80.0, 585.401),
        (85.0, 518.893),
        (100.0, 363.113),
        (125.0, 206.480),
    ] {
        near(firmware_reads(ThermistorCurve::B3435, f64::round(code) / 4_095.0), celsius, 0.2, "°C");
        near(thermistor::ratio(celsius, 0.0, 10_000.0) * 4_095.0 / code, 1.0, 2e-3, "of the code");
    }
}

/// Ohm: a rail at 1 % of the reference is 101 Ω beside 10 kΩ, one at 99 % is 990 kΩ. Next to it on either side.
#[test]
fn a_rail_is_where_the_divider_puts_it() {
    for (ohms, expected) in [
        (98.0, Some(Fault::ThermistorShorted)),
        (104.0, None),
        (960e3, None),
        (1_020e3, Some(Fault::ThermistorOpen)),
    ] {
        let mut core = Controller::<16, 8>::new(Config::trainer().fit().expect("the default is valid"));
        let ratio: f64 = ohms / (ohms + 10_000.0);
        for tick in 0..100 {
            let mut frame = Frame::empty(Instant(tick * 10));
            frame.thermistors = Part::fresh(Each::all(Ratio::from_bits((ratio * 65_536.0).round() as i32)));
            core.tick(&frame, &mut ());
        }
        for fault in [Fault::ThermistorOpen, Fault::ThermistorShorted] {
            assert_eq!(core.faults().confirmed.holds(fault), expected == Some(fault), "{ohms} Ω: {fault:?}");
        }
    }
}
