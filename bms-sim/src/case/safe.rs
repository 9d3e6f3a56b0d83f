//! What truth may be and still be safe, as a case changes it.
//!
//! A bound is accepted within a factor of its usual value, as a [limit](super::limits) is: one that nothing reaches would make every
//! pack safe.

use super::Pack;
use super::check::{CELSIUS, words};
use super::error::{Accepted, CaseError, Problem, nearest};
use super::place::{Path, Source};
use crate::world::truth::SafeBounds;
use std::collections::BTreeMap;

/// A bound lies within this factor of its usual value, either way.
const FACTOR: f64 = 4.0;

/// A bound as a case file writes it: its key, its unit, how many of that unit make one of the world's, and where it is kept.
struct Bound<'a>(&'static str, &'static str, f64, &'a mut f64);

/// All of them.
fn all(safe: &mut SafeBounds) -> [Bound<'_>; 15] {
    [
        Bound("cell_low_volts", "V", 1.0, &mut safe.cell_low_volts),
        Bound("cell_high_volts", "V", 1.0, &mut safe.cell_high_volts),
        Bound("cell_celsius", "°C", 1.0, &mut safe.cell_celsius),
        Bound("frozen_celsius", "°C", 1.0, &mut safe.frozen_celsius),
        Bound("frozen_charge_amps", "A", 1.0, &mut safe.frozen_charge_amps),
        Bound("plated_ampere_hours", "Ah", 1.0, &mut safe.plated_ampere_hours),
        Bound("reacted_percent", "%", 100.0, &mut safe.reacted),
        Bound("joint_watts", "W", 1.0, &mut safe.joint_watts),
        Bound("joint_celsius", "°C", 1.0, &mut safe.joint_celsius),
        Bound("link_volts", "V", 1.0, &mut safe.link_volts),
        Bound("link_s", "s", 1.0, &mut safe.link_seconds),
        Bound("closing_volts", "V", 1.0, &mut safe.closing_volts),
        Bound("opening_amps", "A", 1.0, &mut safe.opening_amps),
        Bound("resistor_celsius", "°C", 1.0, &mut safe.resistor_celsius),
        Bound("insulation_ohms_a_volt", "Ω/V", 1.0, &mut safe.insulation_ohms_a_volt),
    ]
}

/// The usual bounds of the pack with what a file changes.
pub(super) fn bounds(
    source: &Source<'_>,
    typed: &BTreeMap<String, f64>,
    pack: Pack,
) -> Result<SafeBounds, CaseError> {
    let path = Path::TOP.key("safe");
    let mut safe = pack.spec().safe;
    for (name, value) in typed {
        let path = path.key(name);
        let mut bounds = all(&mut safe);
        let Some(Bound(_, _, parts, kept)) = bounds.iter_mut().find(|bound| bound.0 == name) else {
            let keys = bounds.map(|bound| bound.0);
            let suggestion = nearest(name, keys.into_iter()).map(str::to_owned);
            return Err(source.refuse_key(&path, Problem::UnknownKey { suggestion, accepted: words(&keys) }));
        };
        if let Some((low, high, unit)) = range(name, pack) {
            **kept = source.number(&path, *value, (low, high), unit)? / *parts;
        }
    }
    if safe.cell_low_volts >= safe.cell_high_volts {
        let (key, accepted) = if typed.contains_key("cell_low_volts") {
            ("cell_low_volts", Accepted::Said("less than cell_high_volts"))
        } else {
            ("cell_high_volts", Accepted::Said("more than cell_low_volts"))
        };
        return Err(source.refuse(&path.key(key), Problem::NotAccepted { accepted }));
    }
    Ok(safe)
}

/// Least and most that a bound of this pack may be, and their unit; nothing for a key that is none.
pub(super) fn range(key: &str, pack: Pack) -> Option<(f64, f64, &'static str)> {
    let mut usual = pack.spec().safe;
    let Bound(key, unit, parts, usual) = all(&mut usual).into_iter().find(|bound| bound.0 == key)?;
    let usual = *usual * parts;
    let (low, high) = if key == "frozen_celsius" { CELSIUS } else { (usual / FACTOR, usual * FACTOR) };
    Some((low, high, unit))
}
