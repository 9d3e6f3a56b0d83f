//! Defects as a case file writes them: the kind decides which key gives the place and which one the severity.

use super::Pack;
use super::check::{MOST_SECONDS, place, words};
use super::error::{Accepted, CaseError, Problem};
use super::file::{DefectTable, severity_key};
use super::place::{Path, Source};
use crate::defect::{Defect, Kind, MOST, PlaceKind, Spells};

/// The keys of spells.
const PERIOD_KEY: &str = "intermittent_period_s";
const DUTY_KEY: &str = "intermittent_duty";

/// The checked defects.
pub(super) fn checked(
    source: &Source<'_>,
    tables: &[DefectTable],
    pack: Pack,
    most_seconds: f64,
) -> Result<Vec<Defect>, CaseError> {
    if tables.len() > MOST {
        let path = Path::TOP.key("defect").item(MOST);
        return Err(source.refuse_key(&path, Problem::TooMany { found: tables.len(), most: MOST }));
    }
    let defects = tables.iter().enumerate();
    defects
        .map(|(item, typed)| one(source, &Path::TOP.key("defect").item(item), typed, pack, most_seconds))
        .collect()
}

fn one(
    source: &Source<'_>,
    path: &Path,
    typed: &DefectTable,
    pack: Pack,
    most_seconds: f64,
) -> Result<Defect, CaseError> {
    let onset_seconds = typed.at_s.unwrap_or(0.0);
    source.number(&path.key("at_s"), onset_seconds, (0.0, most_seconds), "s")?;
    from(source, path, typed, pack, onset_seconds)
}

/// A defect that begins when something else says so, and so not at a time of its own.
pub(super) fn begun(
    source: &Source<'_>,
    path: &Path,
    typed: &DefectTable,
    pack: Pack,
    onset_seconds: f64,
) -> Result<Defect, CaseError> {
    if typed.at_s.is_some() {
        let accepted = Accepted::Said("at_s of the change alone: the defect begins with it");
        return Err(source.refuse(&path.key("at_s"), Problem::NotAccepted { accepted }));
    }
    from(source, path, typed, pack, onset_seconds)
}

fn from(
    source: &Source<'_>,
    path: &Path,
    typed: &DefectTable,
    pack: Pack,
    onset_seconds: f64,
) -> Result<Defect, CaseError> {
    let kind = Kind::ALL[source.word(&path.key("kind"), &typed.kind, &keys())?];
    if let Some(end) = typed.until_s {
        source.number(&path.key("until_s"), end, (0.0, MOST_SECONDS), "s")?;
        if end <= onset_seconds {
            let problem = Problem::NotAfter { after: "at_s".to_owned(), limit: onset_seconds };
            return Err(source.refuse(&path.key("until_s"), problem));
        }
    }
    let grows_seconds = typed.ramp_s.unwrap_or(0.0);
    source.number(&path.key("ramp_s"), grows_seconds, (0.0, MOST_SECONDS), "s")?;
    refuse_others(source, path, typed, kind)?;
    let spells = spells(source, path, typed)?;
    Ok(Defect {
        kind,
        place: place_of(source, path, typed, kind.place(), pack)?,
        severity: severity(source, path, typed, kind)?,
        onset_seconds,
        end_seconds: typed.until_s,
        grows_seconds,
        spells,
    })
}

/// The spells in which it comes and goes: both keys or none.
fn spells(source: &Source<'_>, path: &Path, typed: &DefectTable) -> Result<Option<Spells>, CaseError> {
    let missing =
        |key, (low, high), unit| Err(source.missing(path, key, Accepted::Number { low, high, unit }));
    match (typed.intermittent_period_s, typed.intermittent_duty) {
        (None, None) => Ok(None),
        (None, Some(_)) => missing(PERIOD_KEY, Spells::PERIOD_SECONDS, "s"),
        (Some(_), None) => missing(DUTY_KEY, Spells::DUTY, ""),
        (Some(period), Some(duty)) => Ok(Some(Spells {
            period_seconds: source.number(&path.key(PERIOD_KEY), period, Spells::PERIOD_SECONDS, "s")?,
            duty: source.number(&path.key(DUTY_KEY), duty, Spells::DUTY, "")?,
        })),
    }
}

fn keys() -> Vec<&'static str> {
    Kind::ALL.iter().map(|kind| kind.key()).collect()
}

/// Every key of a place, a severity or a growth that this kind has no use for is a mistake.
fn refuse_others(source: &Source<'_>, path: &Path, typed: &DefectTable, kind: Kind) -> Result<(), CaseError> {
    let place_key = kind.place().key();
    let places = [
        ("cell", typed.cell.is_some()),
        ("joint", typed.joint.is_some()),
        ("wire", typed.wire.is_some()),
        ("thermistor", typed.thermistor.is_some()),
        ("module", typed.module.is_some()),
        ("current_sensor", typed.current_sensor.is_some()),
        ("contactor", typed.contactor.is_some()),
        ("part", typed.part.is_some()),
    ];
    let severities = typed.severities();
    let severity_key = severity_key(kind.unit());
    let stray_place =
        places.iter().find(|(key, there)| *there && Some(*key) != place_key).map(|(key, _)| *key);
    let stray_severity = severities
        .iter()
        .find(|(key, _, there)| there.is_some() && Some(*key) != severity_key)
        .map(|(key, _, _)| *key);
    let stray_growth = (typed.ramp_s.is_some() && !kind.grows()).then_some("ramp_s");
    let spells =
        [(PERIOD_KEY, typed.intermittent_period_s.is_some()), (DUTY_KEY, typed.intermittent_duty.is_some())];
    let stray_spell = spells.iter().find(|(_, there)| *there && !kind.comes_and_goes()).map(|(key, _)| *key);
    match stray_place.or(stray_severity).or(stray_growth).or(stray_spell) {
        None => Ok(()),
        Some(stray) => {
            let times = ["at_s", "until_s"].into_iter().chain(kind.grows().then_some("ramp_s"));
            let times = times.chain([PERIOD_KEY, DUTY_KEY].into_iter().filter(|_| kind.comes_and_goes()));
            let accepted: Vec<&str> = place_key.into_iter().chain(severity_key).chain(times).collect();
            let beside = format!("kind = \"{}\"", kind.key());
            Err(source
                .refuse_key(&path.key(stray), Problem::NotBeside { beside, accepted: words(&accepted) }))
        }
    }
}

/// The place under the key of its kind.
pub(super) fn place_of(
    source: &Source<'_>,
    path: &Path,
    typed: &DefectTable,
    kind: PlaceKind,
    pack: Pack,
) -> Result<usize, CaseError> {
    let Some(key) = kind.key() else { return Ok(0) };
    let path_of_key = path.key(key);
    let counted = |found: Option<u64>, count: u64| match found {
        Some(found) => place(source, &path_of_key, found, count),
        None => Err(source.missing(path, key, Accepted::Whole { low: 1, high: count })),
    };
    let named = |found: &Option<String>, names: &[&str]| match found {
        Some(found) => source.word(&path_of_key, found, names),
        None => Err(source.missing(path, key, Accepted::Words(words(names)))),
    };
    match kind {
        PlaceKind::Cell => counted(typed.cell, pack.cells()),
        PlaceKind::Joint => counted(typed.joint, pack.cells() - 1),
        PlaceKind::Wire => counted(typed.wire, pack.wires()),
        PlaceKind::Thermistor => counted(typed.thermistor, pack.thermistors()),
        PlaceKind::Module => counted(typed.module, pack.modules()),
        PlaceKind::CurrentSensor => named(&typed.current_sensor, kind.names()),
        PlaceKind::Contactor => named(&typed.contactor, kind.names()),
        PlaceKind::FramePart => named(&typed.part, kind.names()),
        PlaceKind::Pack => Ok(0),
    }
}

/// The severity in the kind's unit; the usual one when nothing is said.
fn severity(source: &Source<'_>, path: &Path, typed: &DefectTable, kind: Kind) -> Result<f64, CaseError> {
    let severities = typed.severities();
    let written = severities.iter().find(|(_, unit, _)| *unit == kind.unit());
    match written {
        Some((key, unit, Some(severity))) => source.number(&path.key(key), *severity, kind.range(), unit),
        Some((_, _, None)) | None => Ok(kind.usual()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A unit that no key stands for would silently take the usual severity.
    #[test]
    fn every_unit_in_the_list_of_defects_has_a_key() {
        for kind in Kind::ALL {
            let known = severity_key(kind.unit()).is_some();
            assert!(known || kind.unit().is_empty(), "no key for {} in {}", kind.unit(), kind.key());
        }
    }
}
