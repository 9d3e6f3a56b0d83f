//! Numbers with their unit and a sensible number of digits, times, and places counted from 1.

use super::names::contactor;
use bms_core::units::{Amps, Celsius, Coulombs, Milliohms, Millis, Ohms, Ratio, Volts};
use bms_core::witness::{Place, Quantity};

/// A number of thousandths with so many digits behind the point (0 to 3), rounded to the nearest.
pub(super) fn decimal(thousandths: i64, digits: usize) -> String {
    // Exact halves aside, the f64 division is far finer than the digits shown.
    #[allow(clippy::cast_precision_loss)]
    let value = thousandths as f64 / 1_000.0;
    let text = format!("{value:.digits$}");
    // "-0.0" is a zero.
    if text.trim_start_matches('-').chars().all(|digit| matches!(digit, '0' | '.')) {
        text.trim_start_matches('-').to_owned()
    } else {
        text.replace('-', "−")
    }
}

/// A voltage: millivolts for a cell, tenths for a pack.
#[must_use]
pub fn volts(volts: Volts) -> String {
    let digits = if volts.abs() < Volts::from_milli(10_000) { 3 } else { 1 };
    format!("{} V", decimal(volts.milli().into(), digits))
}

/// A current; its sign says charge (+) or discharge (−).
#[must_use]
pub fn amps(amps: Amps) -> String {
    let digits = if amps.abs() < Amps::from_milli(10_000) { 2 } else { 1 };
    format!("{} A", decimal(amps.milli().into(), digits))
}

/// A temperature.
#[must_use]
pub fn celsius(celsius: Celsius) -> String {
    format!("{} °C", decimal(celsius.milli().into(), 1))
}

/// A small resistance.
#[must_use]
pub fn milliohms(milliohms: Milliohms) -> String {
    format!("{} mΩ", decimal(milliohms.milli().into(), 2))
}

/// A large resistance.
#[must_use]
pub fn ohms(Ohms(ohms): Ohms) -> String {
    if ohms < 10_000 { format!("{ohms} Ω") } else { format!("{} kΩ", decimal(ohms.into(), 1)) }
}

/// A fraction as per cent.
#[must_use]
pub fn percent(ratio: Ratio) -> String {
    format!("{} %", decimal(i64::from(ratio.parts_per_million()) / 10, 1))
}

/// A charge in ampere-hours.
#[must_use]
pub fn amp_hours(charge: Coulombs) -> String {
    format!("{} Ah", decimal(charge.milliamp_hours().into(), 2))
}

/// A duration.
#[must_use]
pub fn duration(Millis(millis): Millis) -> String {
    seconds(f64::from(millis) / 1_000.0)
}

/// How long a fault must last until it is Confirmed.
#[must_use]
pub fn dwell(dwell: Millis) -> String {
    if dwell == Millis::ZERO { "at once".to_owned() } else { format!("after {}", duration(dwell)) }
}

/// A duration given in seconds.
#[must_use]
pub fn seconds(seconds: f64) -> String {
    match seconds {
        s if s < 1.0 => format!("{:.0} ms", s * 1_000.0),
        s if s < 10.0 => format!("{s:.2} s"),
        s if s < 600.0 => format!("{s:.1} s"),
        s if s < 36_000.0 => format!("{:.1} min", s / 60.0),
        s => format!("{:.1} h", s / 3_600.0),
    }
}

/// A time of the story, from its start.
#[must_use]
pub fn clock(seconds: f64) -> String {
    if seconds < 6_000.0 { format!("{seconds:.2} s") } else { format!("{:.2} h", seconds / 3_600.0) }
}

/// A value with its unit.
#[must_use]
pub fn quantity(quantity: Quantity) -> String {
    match quantity {
        Quantity::Volts(q) => volts(q),
        Quantity::Amps(q) => amps(q),
        Quantity::Celsius(q) => celsius(q),
        Quantity::CelsiusPerSecond(q) => format!("{} °C/s", decimal(q.milli().into(), 2)),
        Quantity::Milliohms(q) => milliohms(q),
        Quantity::Ohms(q) => ohms(q),
        Quantity::Ratio(q) => percent(q),
        Quantity::Coulombs(q) => amp_hours(q),
        Quantity::Millis(q) => duration(q),
        Quantity::Count(count) => count.to_string(),
    }
}

/// A place; cells, modules and sensors from 1.
#[must_use]
pub fn place(place: Place) -> String {
    match place {
        Place::Pack => "the pack".to_owned(),
        Place::Link => "the link".to_owned(),
        Place::Supply => "the auxiliary supply".to_owned(),
        Place::Cell(cell) => format!("cell {}", u16::from(cell) + 1),
        Place::Module(module) => format!("module {}", u16::from(module) + 1),
        Place::Thermistor(thermistor) => format!("thermistor {}", u16::from(thermistor) + 1),
        Place::Contactor(which) => format!("the {} contactor", contactor(which)),
    }
}
