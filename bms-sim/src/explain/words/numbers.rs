//! Numbers with their unit and a sensible number of digits, times, and places counted from 1.

use super::names;
use bms_core::units::{Amps, Celsius, Coulombs, Milliohms, Millis, Ohms, OhmsPerVolt, Ratio, Volts};
use bms_core::witness::{Place, Quantity};

/// A number of thousandths, rounded to so many digits behind the point (0 to 3), in the unit of its last digit.
pub(super) fn rounded(thousandths: i64, digits: u32) -> i64 {
    let step = 10_i64.pow(3_u32.saturating_sub(digits));
    let half = if thousandths < 0 { -step / 2 } else { step / 2 };
    (thousandths + half) / step
}

/// A number in units of its last digit, with so many digits behind the point.
pub(super) fn placed(number: i64, digits: u32) -> String {
    let (whole, one) = (number.unsigned_abs(), 10_u64.pow(digits));
    let sign = if number < 0 { "−" } else { "" };
    match usize::try_from(digits) {
        Ok(0) | Err(_) => format!("{sign}{whole}"),
        Ok(width) => format!("{sign}{}.{:0width$}", whole / one, whole % one),
    }
}

/// A number of thousandths with so many digits behind the point (0 to 3), rounded to the nearest.
pub(super) fn decimal(thousandths: i64, digits: u32) -> String {
    placed(rounded(thousandths, digits), digits)
}

/// Digits that a number of thousandths deserves: the finer ones below ten.
const fn digits(thousandths: i64, below_ten: u32, above: u32) -> u32 {
    if thousandths.unsigned_abs() < 10_000 { below_ten } else { above }
}

/// A voltage: millivolts for a cell, tenths for a pack.
#[must_use]
pub fn volts(volts: Volts) -> String {
    quantity(Quantity::Volts(volts))
}

/// A voltage to the hundredth, where two large ones are compared.
pub(super) fn volts_finely(volts: Volts) -> String {
    format!("{} V", decimal(volts.milli().into(), 2))
}

/// A current; its sign says charge (+) or discharge (−).
#[must_use]
pub fn amps(amps: Amps) -> String {
    quantity(Quantity::Amps(amps))
}

/// A temperature.
#[must_use]
pub fn celsius(celsius: Celsius) -> String {
    quantity(Quantity::Celsius(celsius))
}

/// A small resistance.
#[must_use]
pub fn milliohms(milliohms: Milliohms) -> String {
    quantity(Quantity::Milliohms(milliohms))
}

/// A large resistance.
#[must_use]
pub fn ohms(Ohms(ohms): Ohms) -> String {
    match ohms {
        u32::MAX => "more than can be measured".to_owned(),
        0..10_000 => format!("{ohms} Ω"),
        _ => format!("{} kΩ", decimal(ohms.into(), 1)),
    }
}

/// A fraction as per cent.
#[must_use]
pub fn percent(ratio: Ratio) -> String {
    quantity(Quantity::Ratio(ratio))
}

/// A charge in ampere-hours.
#[must_use]
pub fn amp_hours(charge: Coulombs) -> String {
    quantity(Quantity::Coulombs(charge))
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

/// A time of the story, from its start; from 100 minutes on in hours, minutes and seconds.
#[must_use]
pub fn clock(seconds: f64) -> String {
    if seconds < 6_000.0 {
        return format!("{seconds:.2} s");
    }
    let hours = (seconds / 3_600.0).floor();
    let minutes = ((seconds - 3_600.0 * hours) / 60.0).floor();
    let left = seconds - 3_600.0 * hours - 60.0 * minutes;
    format!("{hours:.0} h {minutes:02.0} min {left:05.2} s")
}

/// A value with its unit.
#[must_use]
pub fn quantity(quantity: Quantity) -> String {
    match (quantity, scale(quantity)) {
        (Quantity::Ohms(q), _) => ohms(q),
        (Quantity::Millis(q), _) => duration(q),
        (Quantity::Count(q), _) => q.to_string(),
        (_, (thousandths, digits, unit)) => format!("{} {unit}", decimal(thousandths, digits)),
    }
}

/// Thousandths of the unit that is shown, the digits that it deserves, and the unit.
fn scale(quantity: Quantity) -> (i64, u32, &'static str) {
    match quantity {
        Quantity::Volts(q) => (q.milli().into(), digits(q.milli().into(), 3, 1), "V"),
        Quantity::Amps(q) => (q.milli().into(), digits(q.milli().into(), 2, 1), "A"),
        Quantity::Celsius(q) => (q.milli().into(), 1, "°C"),
        Quantity::CelsiusPerSecond(q) => (q.milli().into(), 2, "°C/s"),
        Quantity::Milliohms(q) => (q.milli().into(), 2, "mΩ"),
        Quantity::Ohms(Ohms(q)) => (i64::from(q) * 1_000, 0, "Ω"),
        Quantity::OhmsPerVolt(OhmsPerVolt(q)) => (i64::from(q) * 1_000, 0, "Ω/V"),
        Quantity::Ratio(q) => (i64::from(q.parts_per_million()) / 10, 1, "%"),
        Quantity::Coulombs(q) => (q.milliamp_hours().into(), 2, "Ah"),
        Quantity::Millis(Millis(q)) => (q.into(), 3, "s"),
        Quantity::Count(q) => (i64::from(q) * 1_000, 0, ""),
    }
}

/// Two values of one kind, to the same digit, and the distance between the two as they are shown; the distance is `None` where they are of
/// two kinds.
pub(super) fn compared(one: Quantity, other: Quantity) -> (String, String, Option<String>) {
    let ((a, fine, unit), (b, coarse, other_unit)) = (scale(one), scale(other));
    if unit != other_unit {
        return (quantity(one), quantity(other), None);
    }
    if let (Quantity::Millis(Millis(a)), Quantity::Millis(Millis(b))) = (one, other) {
        return (quantity(one), quantity(other), Some(duration(Millis(a.abs_diff(b)))));
    }
    if let (Quantity::Volts(a), Quantity::Volts(b)) = (one, other)
        && a.milli().abs().max(b.milli().abs()) < 100
    {
        // Tenths of a millivolt.
        let tenths = |volts: Volts| (i64::from(volts.bits()) * 10_000 + 0x8000) >> 16;
        let (a, b) = (tenths(a), tenths(b));
        let shown = |tenths: i64| format!("{} mV", placed(tenths, 1));
        return (shown(a), shown(b), Some(shown((a - b).abs())));
    }
    let digits = fine.min(coarse);
    let (a, b) = (rounded(a, digits), rounded(b, digits));
    let shown = |number: i64| format!("{} {unit}", placed(number, digits)).trim_end().to_owned();
    (shown(a), shown(b), Some(shown((a - b).abs())))
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
        Place::Contactor(which) => format!("the {} contactor", names::contactor(which)),
        Place::Wire(wire) => format!("sense wire {}", u16::from(wire) + 1),
        Place::Pole(pole) => format!("the {} pole", names::pole(pole)),
    }
}
