//! The firmware's limits as a case changes them.
//!
//! A limit is written in the unit that its fault is watched in: V, A, °C, °C/s, mΩ, %, Ah or ms. A release limit that is not given
//! moves along with its trip limit, so that the gap between them stays.
//!
//! A limit that no reading reaches is a protection switched off, and a slip of the decimal point makes one. So each fault has a range,
//! from a quarter of its usual limits to four times them, cut where its sensor ends; temperatures count from no zero and have the range
//! of the pack. What limits must be to each other, the configuration's own check knows.

use super::Pack;
use super::check::CELSIUS;
use super::error::{CaseError, Problem};
use super::file::LimitTable;
use super::place::{Path, Source};
use bms_core::fault::FaultLimits;
use bms_core::units::Millis;
use bms_core::witness::Quantity;
use bms_core::{Config, ConfigError, Fault};
use serde::Serialize;
use std::collections::BTreeMap;

/// A changed limit; what is `None` stays as it is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LimitChange {
    /// Whose limit.
    #[serde(serialize_with = "super::as_key")]
    pub fault: Fault,
    /// Trip limit, in the unit of the fault.
    pub trip: Option<f64>,
    /// Release limit, in the same unit.
    pub release: Option<f64>,
    /// Dwell until Confirmed, in milliseconds.
    pub dwell_ms: Option<u64>,
    /// Dwell within the release limit, in milliseconds.
    pub release_dwell_ms: Option<u64>,
}

/// Longest dwell that fits its store, in milliseconds; the configuration check knows a shorter one.
pub(super) const MOST_DWELL_MS: u64 = u32::MAX as u64;

/// The changes that a file asks for in these tables, which stand at this place.
pub(super) fn changes(
    source: &Source<'_>,
    limits: &Path,
    tables: &BTreeMap<String, LimitTable>,
    pack: Pack,
    tick_ms: u64,
) -> Result<Vec<LimitChange>, CaseError> {
    let mut changes = Vec::new();
    for (name, typed) in tables {
        let path = limits.key(name);
        let Some(fault) = Fault::ALL.into_iter().find(|fault| fault.key() == name) else {
            let keys = Fault::ALL.map(Fault::key);
            let suggestion = super::error::nearest(name, keys.into_iter()).map(str::to_owned);
            let accepted = super::check::words(&keys);
            return Err(source.refuse_key(&path, Problem::UnknownKey { suggestion, accepted }));
        };
        let range = range(fault, pack, tick_ms);
        for (key, value) in [("trip", typed.trip), ("release", typed.release)] {
            match (value, range) {
                (Some(value), Some((low, high, unit))) => {
                    source.number(&path.key(key), value, (low, high), unit)?;
                }
                (Some(_), None) => {
                    let beside = format!("limits.{name}");
                    let accepted = super::check::words(&["dwell_ms", "release_dwell_ms"]);
                    return Err(source.refuse_key(&path.key(key), Problem::NotBeside { beside, accepted }));
                }
                (None, _) => {}
            }
        }
        for (key, value) in [("dwell_ms", typed.dwell_ms), ("release_dwell_ms", typed.release_dwell_ms)] {
            source.whole(&path.key(key), value.unwrap_or(0), 0, MOST_DWELL_MS)?;
        }
        let LimitTable { trip, release, dwell_ms, release_dwell_ms } = *typed;
        changes.push(LimitChange { fault, trip, release, dwell_ms, release_dwell_ms });
    }
    Ok(changes)
}

/// The firmware's configuration with these changes, as its own check accepts it.
pub(super) fn configuration(
    source: &Source<'_>,
    changes: &[LimitChange],
    pack: Pack,
    tick_ms: u64,
) -> Result<Config, CaseError> {
    let refusal = |changes: &[LimitChange]| configured(changes, pack, tick_ms).err();
    let limits = Path::TOP.key("limits");
    configured(changes, pack, tick_ms)
        .map_err(|error| refused(source, &limits, &error, culprit(changes, &error, refusal)))
}

/// The same without a place in a file to refuse.
pub(super) fn configured(changes: &[LimitChange], pack: Pack, tick_ms: u64) -> Result<Config, ConfigError> {
    let usual = usual(pack, tick_ms);
    let config = Config { faults: changed(&usual.faults, changes), ..usual };
    config.check(size(pack.cells()), size(pack.thermistors())).map(|_| config)
}

/// The configuration of a pack that is asked so often.
fn usual(pack: Pack, tick_ms: u64) -> Config {
    let mut config = pack.config();
    let tick = u32::try_from(tick_ms).unwrap_or(u32::MAX);
    if Millis(tick) != config.pack.tick {
        // Three missed parts of a frame are stale, whatever the tick.
        config.pack.tick = Millis(tick);
        config.pack.oldest_age = Millis(tick.saturating_mul(3));
        config.faults = FaultLimits::for_pack(&config.pack);
    }
    config
}

fn size(count: u64) -> usize {
    usize::try_from(count).unwrap_or(usize::MAX)
}

/// The change without which this error would not be: the one that the error names, if that is one of them.
fn culprit(
    changes: &[LimitChange],
    error: &ConfigError,
    refusal: impl Fn(&[LimitChange]) -> Option<ConfigError>,
) -> Option<LimitChange> {
    let key = error.key().to_string();
    let without = |culprit: &&LimitChange| {
        let others: Vec<_> = changes.iter().filter(|change| change.fault != culprit.fault).copied().collect();
        refusal(&others).is_none_or(|other| other.key() != error.key())
    };
    let named = |change: &&LimitChange| key.split('.').nth(1) == Some(change.fault.key());
    changes.iter().find(named).or_else(|| changes.iter().find(without)).copied()
}

/// A limit lies within this factor of its usual value, either way: room for any lesson, less than a slip of the decimal point.
const FACTOR: f64 = 4.0;

/// The part of a sensor's range that a limit may reach: some must be left to read beyond it.
const REACH: f64 = 0.9;

/// Least and most that a limit of this fault may be, and their unit; nothing where the fault has no limit to set.
pub(super) fn range(fault: Fault, pack: Pack, tick_ms: u64) -> Option<(f64, f64, &'static str)> {
    let shown = usual(pack, tick_ms).faults.shown(fault);
    let Scale { bits_a_unit, unit } = scale(shown.trip?);
    if matches!(
        fault,
        Fault::OverTemperature | Fault::OverTemperatureFar | Fault::ChargingTooCold | Fault::TooColdToWork
    ) {
        return Some((CELSIUS.0, CELSIUS.1, unit));
    }
    #[expect(clippy::cast_precision_loss, reason = "bits of a limit are far below 2⁵³")]
    let limits = [shown.trip?, shown.release?].map(|limit| limit.bits() as f64 / bits_a_unit);
    let (low, high) = (limits[0].min(limits[1]) / FACTOR, limits[0].max(limits[1]) * FACTOR);
    Some((two_digits(low), two_digits(high).min(reach(fault, pack, shown.trip?)), unit))
}

/// How far a limit of this fault may go, so that a reading can still lie beyond it; without end where no range is known.
fn reach(fault: Fault, pack: Pack, of: Quantity) -> f64 {
    let sensors = pack.spec().sensors;
    match (fault, of) {
        (
            Fault::CellOverVoltage
            | Fault::CellOverVoltageFar
            | Fault::CellUnderVoltage
            | Fault::CellUnderVoltageFar
            | Fault::CellDeeplyDischarged
            | Fault::CellReversed
            | Fault::CellSpread
            | Fault::CellSpreadFar,
            _,
        ) => REACH * sensors.cell.range,
        // In lives: more than one can be used up.
        (Fault::ContactorWorn | Fault::ContactorWornOut, _) => f64::INFINITY,
        (Fault::SupplyLow, _) => REACH * sensors.supply.range,
        (_, Quantity::Volts(_)) => two_digits(REACH * sensors.pack.range),
        (_, Quantity::Amps(_)) => REACH * sensors.current.range,
        (_, Quantity::Ratio(_)) => 100.0,
        _ => f64::INFINITY,
    }
}

/// Rounded to two digits, as a bound for people.
fn two_digits(value: f64) -> f64 {
    format!("{value:.1e}").parse().unwrap_or(value)
}

/// What one step of the stored number means in the unit that people write.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    pub(super) bits_a_unit: f64,
    pub(super) unit: &'static str,
}

pub(super) fn scale(quantity: Quantity) -> Scale {
    let (bits_a_unit, unit) = match quantity {
        Quantity::Volts(_) => (65_536.0, "V"),
        Quantity::Amps(_) => (65_536.0, "A"),
        Quantity::Celsius(_) => (65_536.0, "°C"),
        Quantity::CelsiusPerSecond(_) => (65_536.0, "°C/s"),
        Quantity::Milliohms(_) => (65_536.0, "mΩ"),
        Quantity::Ratio(_) => (655.36, "%"),
        // A step is 2⁻¹⁶ A·ms; an hour has 3 600 000 ms.
        Quantity::Coulombs(_) => (65_536.0 * 3.6e6, "Ah"),
        Quantity::Ohms(_) => (1.0, "Ω"),
        Quantity::OhmsPerVolt(_) => (1.0, "Ω/V"),
        Quantity::Count(_) => (1.0, ""),
        Quantity::Millis(_) => (1.0, "ms"),
    };
    Scale { bits_a_unit, unit }
}

/// Limits that hold already, with changes more.
pub(super) fn changed_further(config: &Config, changes: &[LimitChange]) -> Result<FaultLimits, ConfigError> {
    let faults = changed(&config.faults, changes);
    let (cells, thermistors) = (config.pack.cells(), config.pack.thermistors());
    Config { faults, ..*config }.check(size(cells.into()), size(thermistors.into())).map(|_| faults)
}

/// The limits with the changes written in. The list of faults gives each limit a type of its own, so they are reached by name, in
/// the form that the core writes them in.
fn changed(limits: &FaultLimits, changes: &[LimitChange]) -> FaultLimits {
    let Ok(mut written) = serde_json::to_value(limits) else { return *limits };
    for change in changes {
        let one = &mut written[change.fault.key()];
        if let Some(scale) = limits.shown(change.fault).trip.map(scale) {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "the range of a limit keeps it far inside of 64 bits"
            )]
            let bits = |value: f64| (value * scale.bits_a_unit).round() as i64;
            let was = |part: &serde_json::Value| part.as_i64().unwrap_or_default();
            let (trip, release) = (was(&one["trip"]), was(&one["release"]));
            let to = change.trip.map_or(trip, bits);
            one["trip"] = to.into();
            one["release"] = change.release.map_or(release + (to - trip), bits).into();
        }
        if let Some(dwell) = change.dwell_ms {
            one["dwell"] = dwell.into();
        }
        if let Some(dwell) = change.release_dwell_ms {
            one["release_dwell"] = dwell.into();
        }
    }
    serde_json::from_value(written).unwrap_or(*limits)
}

/// The refusal of the configuration check, at the key that caused it: the one that the error names, or else whatever was changed.
pub(super) fn refused(
    source: &Source<'_>,
    limits: &Path,
    error: &ConfigError,
    culprit: Option<LimitChange>,
) -> CaseError {
    // What the firmware calls its faults' limits is called limits in a case.
    let sentence = || Problem::Configuration { reason: error.to_string().replace("faults.", "limits.") };
    let Some(LimitChange { fault, trip, release, dwell_ms, release_dwell_ms }) = culprit else {
        return source.refuse_key(limits, sentence());
    };
    let typed = [
        ("release", "release", release.is_some()),
        ("trip", "trip", trip.is_some()),
        ("dwell", "dwell_ms", dwell_ms.is_some()),
        ("release_dwell", "release_dwell_ms", release_dwell_ms.is_some()),
    ];
    let key = error.key().to_string();
    let own =
        |(part, _, typed): &&(&str, &str, bool)| *typed && key == format!("faults.{}.{part}", fault.key());
    let path = limits.key(fault.key());
    match (typed.iter().find(own), typed.iter().find(|(_, _, typed)| *typed)) {
        (Some((_, name, _)), _) => {
            source.refuse(&path.key(name), Problem::Configuration { reason: error.objection().to_string() })
        }
        (None, Some((_, name, _))) => source.refuse(&path.key(name), sentence()),
        (None, None) => source.refuse_key(&path, sentence()),
    }
}
