//! The lists that a page chooses from, each made from the one list of its kind.

use super::folder::Folder;
use crate::case::{Case, Knob, Work};
use crate::defect::{Kind, PlaceKind};
use crate::explain::words;
use crate::explain::words::cautions::{self, AT_ACTS};
use crate::explain::words::glossary::GLOSSARY;
use crate::repair;
use crate::world::spec::PackSpec;
use bms_core::Fault;
use serde::Serialize;
use std::collections::BTreeMap;

/// All lists.
#[derive(Debug, Serialize)]
pub(super) struct Lists {
    kind: &'static str,
    cases: Vec<String>,
    duties: Vec<DutyListed>,
    words: Vec<WordListed>,
    cautions: &'static str,
    cautions_at: BTreeMap<&'static str, &'static str>,
    generator: &'static str,
}

#[derive(Debug, Serialize)]
struct DutyListed {
    work: &'static str,
    usual_rate_c: f64,
}

#[derive(Debug, Serialize)]
struct WordListed {
    word: &'static str,
    forms: &'static [&'static str],
    means: &'static str,
}

/// The lists of a case.
#[derive(Debug, Serialize)]
pub(super) struct OfCase {
    kind: &'static str,
    defects: Vec<DefectListed>,
    repairs: Vec<RepairListed>,
    faults: Vec<FaultListed>,
}

#[derive(Debug, Serialize)]
struct DefectListed {
    kind: &'static str,
    name: &'static str,
    changes: &'static str,
    place: Option<PlaceListed>,
    severity: Option<SeverityListed>,
    grows: bool,
    /// What must be known before somebody comes near such a defect on a real pack.
    caution: &'static str,
}

#[derive(Debug, Serialize)]
struct RepairListed {
    kind: &'static str,
    name: &'static str,
    does: &'static str,
    place: Option<PlaceListed>,
}

#[derive(Debug, Serialize)]
struct PlaceListed {
    key: &'static str,
    names: &'static [&'static str],
    count: usize,
}

#[derive(Debug, Serialize)]
struct SeverityListed {
    unit: &'static str,
    least: f64,
    most: f64,
    usual: f64,
}

#[derive(Debug, Serialize)]
struct FaultListed {
    fault: &'static str,
    words: &'static str,
    meaning: &'static str,
    trip: Option<KnobListed>,
    dwell: Option<KnobListed>,
}

/// A limit or a dwell as it stands, and what is accepted.
#[derive(Debug, Serialize)]
struct KnobListed {
    value: f64,
    least: f64,
    most: f64,
    unit: &'static str,
}

impl Lists {
    pub(super) fn of(folder: &Folder) -> Self {
        Self {
            kind: "lists",
            cases: folder.names(),
            duties: Work::ALL
                .map(|work| DutyListed { work: work.name(), usual_rate_c: work.usual_rate() })
                .into_iter()
                .collect(),
            words: GLOSSARY
                .iter()
                .map(|term| WordListed { word: term.term, forms: term.forms, means: term.means })
                .collect(),
            cautions: words::CAUTIONS,
            cautions_at: AT_ACTS.iter().map(|caution| (caution.act, caution.said)).collect(),
            generator: crate::recording::file::GENERATOR,
        }
    }
}

impl OfCase {
    pub(super) fn of(case: &Case) -> Self {
        let spec = case.spec();
        Self {
            kind: "of_case",
            defects: Kind::ALL.iter().map(|kind| of_defect(*kind, &spec)).collect(),
            repairs: repair::Work::ALL.iter().map(|work| of_repair(*work, &spec)).collect(),
            faults: Fault::ALL.iter().map(|fault| of_fault(*fault, case)).collect(),
        }
    }
}

fn of_place(kind: PlaceKind, spec: &PackSpec) -> Option<PlaceListed> {
    kind.key().map(|key| PlaceListed { key, names: kind.names(), count: kind.count(spec) })
}

fn of_defect(kind: Kind, spec: &PackSpec) -> DefectListed {
    let (least, most) = kind.range();
    let severity = SeverityListed { unit: kind.unit(), least, most, usual: kind.usual() };
    DefectListed {
        kind: kind.key(),
        name: kind.name(),
        changes: kind.changes(),
        place: of_place(kind.place(), spec),
        severity: (!kind.unit().is_empty()).then_some(severity),
        grows: kind.grows(),
        caution: cautions::near(kind.place()),
    }
}

fn of_repair(work: repair::Work, spec: &PackSpec) -> RepairListed {
    RepairListed {
        kind: work.key(),
        name: work.name(),
        does: work.does(),
        place: of_place(work.place(), spec),
    }
}

fn of_fault(fault: Fault, case: &Case) -> FaultListed {
    let listed = |knob: Knob| {
        let ((least, most), value) = (knob.range(case)?, knob.get(case)?);
        Some(KnobListed { value, least, most, unit: knob.unit(case) })
    };
    FaultListed {
        fault: fault.key(),
        words: fault.words(),
        meaning: fault.meaning(),
        trip: listed(Knob::Trip(fault)),
        dwell: listed(Knob::Dwell(fault)),
    }
}
