//! # One tick at length
//!
//! What the [picture](super::picture) has no room for: every cell and thermistor with its number, how each fault was judged where it
//! came nearest to its limit, the limits themselves, and all that was said of the sequence.

use super::picture::{WIDTH, hung, wrapped};
use super::story::{happened, relative};
use super::words;
use crate::case::Case;
use crate::recording::What;
use crate::recording::stepper::Stop;
use bms_core::Fault;
use bms_core::fault::Stage;
use bms_core::witness::{Assessment, Evidence};
use serde::Deserialize;
use std::cmp::Ordering;

/// THE list of what is shown at length: a stepper at a terminal and a page offer the same.
#[derive(Clone, Copy, Debug, Deserialize, Eq, PartialEq)]
#[serde(rename_all = "snake_case")]
pub enum AtLength {
    /// Each cell.
    Cells,
    /// Each thermistor.
    Temperatures,
    /// How each fault is judged.
    Faults,
    /// The limits and dwells.
    Limits,
    /// Where the sequence stands, and what it waits for.
    Sequence,
    /// All that the firmware told of this tick.
    Evidence,
    /// The defects of the case.
    Defects,
}

impl AtLength {
    /// All of it.
    pub const ALL: [Self; 7] = [
        Self::Cells,
        Self::Temperatures,
        Self::Faults,
        Self::Limits,
        Self::Sequence,
        Self::Evidence,
        Self::Defects,
    ];

    /// Its name at a terminal and in commands.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Cells => "cells",
            Self::Temperatures => "temperatures",
            Self::Faults => "faults",
            Self::Limits => "limits",
            Self::Sequence => "sequence",
            Self::Evidence => "evidence",
            Self::Defects => "defects",
        }
    }

    /// It, line by line, where somebody stands in a case; before the first tick that nothing was played yet.
    #[must_use]
    pub fn lines<const CELLS: usize, const THERMISTORS: usize>(
        self,
        stop: Option<&Stop<CELLS, THERMISTORS>>,
        case: &Case,
    ) -> Vec<String> {
        match (self, stop) {
            (Self::Defects, _) => defects(case),
            (_, None) => vec![words::stop::before_the_first()],
            (Self::Cells, Some(stop)) => cells(stop),
            (Self::Temperatures, Some(stop)) => temperatures(stop),
            (Self::Faults, Some(stop)) => faults(stop),
            (Self::Limits, Some(stop)) => limits(stop),
            (Self::Sequence, Some(stop)) => sequence(stop),
            (Self::Evidence, Some(stop)) => evidence(stop, case),
        }
    }
}

/// Each cell's voltage as measured, modules parted by an empty line.
#[must_use]
pub fn cells<const CELLS: usize, const THERMISTORS: usize>(stop: &Stop<CELLS, THERMISTORS>) -> Vec<String> {
    /// Cells in a line.
    const IN_A_LINE: usize = 4;
    let each: Vec<String> = (1..)
        .zip(stop.frame.cells.value.iter())
        .map(|(cell, volts)| format!("{:>7} {:>8}", words::stop::cell(cell), words::volts(*volts)))
        .collect();
    let a_module = usize::from(stop.after.core.config().pack.cells_per_module).max(1);
    let modules = each.chunks(a_module).map(|module| module.chunks(IN_A_LINE).map(|row| row.join("  ")));
    (1..)
        .zip(modules)
        .flat_map(|(module, rows)| std::iter::once(words::stop::module(module)).chain(rows))
        .collect()
}

/// Each thermistor's temperature as measured.
#[must_use]
pub fn temperatures<const CELLS: usize, const THERMISTORS: usize>(
    stop: &Stop<CELLS, THERMISTORS>,
) -> Vec<String> {
    let config = stop.after.core.config();
    let shown = (1..)
        .zip(stop.frame.thermistors.value.iter())
        .map(|(thermistor, ratio)| words::stop::thermistor(thermistor, config.sensing.celsius(*ratio)));
    let each: Vec<String> = shown.collect();
    let a_module = usize::from(config.pack.thermistors_per_module).max(1);
    (1..)
        .zip(each.chunks(a_module))
        .map(|(module, row)| format!("{:<11}{}", words::stop::module(module), row.join("  ")))
        .collect()
}

/// How each fault was judged where it is furthest or came nearest to its limit: those that are not Clear first.
#[must_use]
pub fn faults<const CELLS: usize, const THERMISTORS: usize>(stop: &Stop<CELLS, THERMISTORS>) -> Vec<String> {
    let mut nearest: Vec<Assessment> = Vec::new();
    for fault in Fault::ALL {
        let seen = stop.told.iter().filter_map(|told| match told {
            Evidence::Assessed(seen) if seen.fault == fault => Some(seen),
            _ => None,
        });
        nearest.extend(seen.min_by(|one, other| order(one, other)).copied());
    }
    nearest.sort_by(order);
    let silent = |seen: &Assessment| seen.stage == Stage::Clear && seen.observed.is_none();
    let silent_ones = nearest.iter().filter(|seen| silent(seen)).count();
    let told =
        nearest.iter().filter(|seen| !silent(seen)).map(|seen| words::evidence(&Evidence::Assessed(*seen)));
    told.chain([words::stop::silent(silent_ones)]).flat_map(|said| folded(&said)).collect()
}

/// The order in which assessments are told: what is furthest from Clear, then what is nearest to its limit.
fn order(one: &Assessment, other: &Assessment) -> Ordering {
    let stage = |seen: &Assessment| match seen.stage {
        Stage::Confirmed { .. } => 0,
        Stage::Suspect { .. } => 1,
        Stage::Latched => 2,
        Stage::Clear => 3,
    };
    let apart = |seen: &Assessment| relative(seen).unwrap_or(f64::INFINITY);
    stage(one).cmp(&stage(other)).then(apart(one).total_cmp(&apart(other)))
}

/// The limits of each fault, as the firmware has them in this tick.
#[must_use]
pub fn limits<const CELLS: usize, const THERMISTORS: usize>(stop: &Stop<CELLS, THERMISTORS>) -> Vec<String> {
    let faults = &stop.after.core.config().faults;
    let each = Fault::ALL.into_iter().map(|fault| {
        let shown = faults.shown(fault);
        let limit = |limit: Option<_>| limit.map_or_else(String::new, words::quantity);
        let (trip, release, dwell) = (limit(shown.trip), limit(shown.release), words::dwell(shown.dwell));
        format!(
            "{:<27} {trip:>12} {release:>12}  {dwell:<14} {}",
            fault.key(),
            words::reaction(shown.reaction)
        )
    });
    std::iter::once(words::stop::limits_heading()).chain(each).collect()
}

/// What was said of the contactors in this tick, and where they stand.
#[must_use]
pub fn sequence<const CELLS: usize, const THERMISTORS: usize>(
    stop: &Stop<CELLS, THERMISTORS>,
) -> Vec<String> {
    let told = stop.told.iter().filter(|told| {
        matches!(
            told,
            Evidence::Moved { .. }
                | Evidence::Waits { .. }
                | Evidence::Precharging(_)
                | Evidence::Refused(_)
                | Evidence::CannotSeparate(_)
                | Evidence::OpenedUnderLoad { .. }
                | Evidence::Insulation(_)
        )
    });
    let stands = words::stop::sequence(&stop.decision);
    std::iter::once(stands).chain(told.map(words::evidence)).flat_map(|said| folded(&said)).collect()
}

/// All that happened and was told in this tick, but for the faults that are Clear.
#[must_use]
pub fn evidence<const CELLS: usize, const THERMISTORS: usize>(
    stop: &Stop<CELLS, THERMISTORS>,
    case: &Case,
) -> Vec<String> {
    let untold = stop.events.iter().filter(|event| !matches!(event.what, What::Told(_)));
    let clear = |told: &&Evidence| matches!(told, Evidence::Assessed(seen) if seen.stage == Stage::Clear);
    let told = stop.told.iter().filter(|told| !clear(told));
    let sentences = untold.map(|event| happened(case, event)).chain(told.map(words::evidence));
    sentences.flat_map(|said| folded(&said)).collect()
}

/// The defects of a case, each with the number under which it is mended.
#[must_use]
pub fn defects(case: &Case) -> Vec<String> {
    if case.defects.is_empty() {
        return vec![words::stop::no_defect()];
    }
    let numbered =
        (1..).zip(&case.defects).map(|(number, defect)| words::stop::numbered_defect(number, defect));
    numbered.flat_map(|line| hung(&line, WIDTH)).collect()
}

/// A sentence after a dash, over as many lines as it takes.
pub(super) fn folded(sentence: &str) -> Vec<String> {
    let marks = std::iter::once("- ").chain(std::iter::repeat("  "));
    marks.zip(wrapped(sentence, WIDTH - 2)).map(|(mark, line)| format!("{mark}{line}")).collect()
}
