//! Repairs as a case file writes them: the kind decides which key gives the place, and whether a new cell is described.

use super::check::{CELSIUS, milliseconds, words};
use super::defects::place_of;
use super::error::{Accepted, CaseError, Problem};
use super::file::{DefectTable, RepairTable};
use super::place::{Path, Source};
use super::{Pack, accepted};
use crate::repair::{NewCell, Repair, Work};
use serde::Serialize;

/// A repair of the story.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Repaired {
    /// When, in milliseconds from the start.
    pub at_ms: u64,
    /// What is done.
    #[serde(flatten)]
    pub repair: Repair,
}

/// Capacity and resistance of a cell that somebody would put in, in per cent of the rated and nominal ones.
const CAPACITY_PERCENT: (f64, f64) = (50.0, 120.0);
const RESISTANCE_PERCENT: (f64, f64) = (25.0, 400.0);

/// The checked repairs, in order of time.
pub(super) fn checked(
    source: &Source<'_>,
    tables: &[RepairTable],
    pack: Pack,
    most_seconds: f64,
) -> Result<Vec<Repaired>, CaseError> {
    let tables = tables.iter().enumerate();
    let one = |(item, typed): (usize, &RepairTable)| {
        let path = Path::TOP.key("repair").item(item);
        let typed_s = typed.at_s.ok_or_else(|| {
            let at = path.key("at_s");
            source.missing(&path, "at_s", accepted::at(source, &at))
        })?;
        let at_ms = milliseconds(source.number(&path.key("at_s"), typed_s, (0.0, most_seconds), "s")?);
        Ok(Repaired { at_ms, repair: from(source, &path, typed, pack)? })
    };
    let mut repairs = tables.map(one).collect::<Result<Vec<_>, _>>()?;
    repairs.sort_by_key(|repaired| repaired.at_ms);
    Ok(repairs)
}

/// A repair that is made when something else says so, and so not at a time of its own.
pub(super) fn begun(
    source: &Source<'_>,
    path: &Path,
    typed: &RepairTable,
    pack: Pack,
) -> Result<Repair, CaseError> {
    if typed.at_s.is_some() {
        let accepted = Accepted::Said("at_s of the change alone: the repair is made then");
        return Err(source.refuse(&path.key("at_s"), Problem::NotAccepted { accepted }));
    }
    from(source, path, typed, pack)
}

fn from(source: &Source<'_>, path: &Path, typed: &RepairTable, pack: Pack) -> Result<Repair, CaseError> {
    let keys: Vec<&str> = Work::ALL.iter().map(|work| work.key()).collect();
    let work = Work::ALL[source.word(&path.key("kind"), &typed.kind, &keys)?];
    refuse_others(source, path, typed, work)?;
    let share = |key: &str, percent: Option<f64>, range, usual: f64| match percent {
        Some(percent) => source.number(&path.key(key), percent, range, "%").map(|percent| percent / 100.0),
        None => Ok(usual),
    };
    let usual = NewCell::USUAL;
    let cell = NewCell {
        charge: share("charge_percent", typed.charge_percent, (0.0, 100.0), usual.charge)?,
        capacity: share("capacity_percent", typed.capacity_percent, CAPACITY_PERCENT, usual.capacity)?,
        resistance: share(
            "resistance_percent",
            typed.resistance_percent,
            RESISTANCE_PERCENT,
            usual.resistance,
        )?,
        celsius: match typed.celsius {
            Some(celsius) => Some(source.number(&path.key("celsius"), celsius, CELSIUS, "°C")?),
            None => None,
        },
    };
    let places = DefectTable {
        cell: typed.cell,
        joint: typed.joint,
        wire: typed.wire,
        thermistor: typed.thermistor,
        current_sensor: typed.current_sensor.clone(),
        contactor: typed.contactor.clone(),
        ..DefectTable::default()
    };
    Ok(Repair { work, place: place_of(source, path, &places, work.place(), pack)?, cell })
}

/// Every key of a place or of a new cell that this repair has no use for is a mistake.
fn refuse_others(source: &Source<'_>, path: &Path, typed: &RepairTable, work: Work) -> Result<(), CaseError> {
    let place = work.place().key();
    let of_cell: &[&str] = if work == Work::SwapCell { &NEW_CELL } else { &[] };
    let written = [
        ("cell", typed.cell.is_some()),
        ("joint", typed.joint.is_some()),
        ("wire", typed.wire.is_some()),
        ("thermistor", typed.thermistor.is_some()),
        ("current_sensor", typed.current_sensor.is_some()),
        ("contactor", typed.contactor.is_some()),
        ("charge_percent", typed.charge_percent.is_some()),
        ("capacity_percent", typed.capacity_percent.is_some()),
        ("resistance_percent", typed.resistance_percent.is_some()),
        ("celsius", typed.celsius.is_some()),
    ];
    let useless = |key: &str| Some(key) != place && !of_cell.contains(&key);
    match written.iter().find(|(key, there)| *there && useless(key)) {
        None => Ok(()),
        Some((stray, _)) => {
            let accepted: Vec<&str> =
                place.into_iter().chain(["at_s"]).chain(of_cell.iter().copied()).collect();
            let beside = format!("kind = \"{}\"", work.key());
            Err(source
                .refuse_key(&path.key(stray), Problem::NotBeside { beside, accepted: words(&accepted) }))
        }
    }
}

/// The keys that describe a new cell.
pub(crate) const NEW_CELL: [&str; 4] =
    ["charge_percent", "capacity_percent", "resistance_percent", "celsius"];
