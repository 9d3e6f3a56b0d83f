//! How a pack stands when its story begins, and the world built from it.

use super::check::{CELSIUS, contactor, place};
use super::error::{Accepted, CaseError, Problem};
use super::file::{StartCellTable, StartContactorTable, StartTable};
use super::place::{Path, Source};
use super::{Case, Pack, Repaired};
use crate::defect::DefectError;
use crate::repair::NoSuchPlace;
use crate::world::{Initial, World, WorldError};
use bms_core::frame::Contactor;
use bms_core::sequence::Wear;
use serde::Serialize;

/// How much of its life a contactor may have used, in per cent; from a whole one on it has welded.
pub(super) const WORN_PERCENT: (f64, f64) = (0.0, 100.0);
/// How much of it the firmware may have counted, in per cent: ten lives, of the sixteen that it can hold.
pub(super) const COUNTED_PERCENT: (f64, f64) = (0.0, 1_000.0);

/// How the pack stands: at rest for hours.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Start {
    /// State of charge of every cell that is not named below, 0 to 1.
    pub charge: f64,
    /// Temperature of everything in °C.
    pub celsius: f64,
    /// Cells that stand differently.
    pub cells: Vec<CellStart>,
    /// Contactors that are not new.
    pub contactors: Vec<ContactorStart>,
}

/// A cell that stands differently.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CellStart {
    /// The cell, counted from 0.
    pub cell: usize,
    /// Its state of charge, 0 to 1.
    pub charge: f64,
}

/// A contactor that is not new.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ContactorStart {
    /// The contactor.
    pub contactor: Contactor,
    /// The part of its life that it has used, 0 to 1.
    pub worn: f64,
    /// The part of its life that the firmware has counted and stored: the same, unless the contactor was replaced and nobody told it, or
    /// its store was lost.
    pub counted: f64,
}

impl Start {
    /// What the firmware has stored of the contactors' lives before this start.
    #[must_use]
    pub fn counted_wear(&self) -> Wear {
        let counted = |contactor| {
            let of = self.contactors.iter().find(|start| start.contactor == contactor);
            of.map_or(0, |start| steps(start.counted))
        };
        Wear::from_bits([Contactor::Negative, Contactor::Precharge, Contactor::Positive].map(counted))
    }
}

/// A part of a life in the steps of the store.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "ten lives of 2²⁸ steps fit")]
fn steps(life: f64) -> u32 {
    /// Steps of a whole life, as [`Wear::bits`] counts them.
    const LIFE: f64 = 268_435_456.0;
    libm::rint(life * LIFE) as u32
}

/// The world of a case cannot be built.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StartError {
    /// The type has other counts than the case's pack.
    #[error(transparent)]
    World(#[from] WorldError),
    /// A defect was put into the case by hand and makes no sense.
    #[error(transparent)]
    Defect(#[from] DefectError),
    /// A repair was put into the case by hand at a place that there is not.
    #[error(transparent)]
    Repair(#[from] NoSuchPlace),
    /// The firmware was configured by hand for sensors that the pack does not have.
    #[error(transparent)]
    Board(#[from] bms_core::hal::Misfit),
    /// A cell was put into the case by hand that the pack does not have.
    #[error("start.cell = {found}; accepted is 1 to {count}")]
    Cell {
        /// The cell asked for, counted from 1.
        found: usize,
        /// How many there are.
        count: usize,
    },
}

impl Case {
    /// The world at the start of the story: pack, start, defects to come.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack. What a file can say was checked when it was read.
    pub fn world<const CELLS: usize, const THERMISTORS: usize>(
        &self,
    ) -> Result<World<CELLS, THERMISTORS>, StartError> {
        let spec = self.spec();
        let initial = Initial { charge: self.start.charge, celsius: self.start.celsius };
        let mut world = World::new(&spec, self.seed, initial)?;
        for different in &self.start.cells {
            if different.cell >= CELLS {
                return Err(StartError::Cell { found: different.cell + 1, count: CELLS });
            }
            let coulombs = (different.charge - self.start.charge) * spec.cell.capacity_coulombs;
            world.swap_charge(different.cell, coulombs);
        }
        for ContactorStart { contactor, worn, .. } in &self.start.contactors {
            world.bus.contactors[*contactor as usize].wear_out(*worn);
        }
        // At rest for hours with these charges: what the first reading shows follows from them.
        world.cells.settle(0.0);
        world.bus.stand(world.cells.sum_of_open_volts());
        for defect in &self.defects {
            world.inject(*defect)?;
        }
        for Repaired { repair, .. } in &self.repairs {
            repair.check(&spec)?;
        }
        Ok(world)
    }
}

/// The checked start.
pub(super) fn checked(source: &Source<'_>, table: &StartTable, pack: Pack) -> Result<Start, CaseError> {
    let path = Path::TOP.key("start");
    let percent = source.number(&path.key("charge_percent"), table.charge_percent, (0.0, 100.0), "%")?;
    let celsius = source.number(&path.key("celsius"), table.celsius, CELSIUS, "°C")?;
    let mut cells: Vec<CellStart> = Vec::new();
    for (item, typed) in table.cell.iter().enumerate() {
        let path = path.key("cell").item(item);
        let start = cell_start(source, &path, typed, percent, pack)?;
        if cells.iter().any(|other| other.cell == start.cell) {
            return Err(source.refuse(&path.key("cell"), Problem::Twice));
        }
        cells.push(start);
    }
    let mut contactors: Vec<ContactorStart> = Vec::new();
    for (item, typed) in table.contactor.iter().enumerate() {
        let path = path.key("contactor").item(item);
        let start = contactor_start(source, &path, typed)?;
        if contactors.iter().any(|other| other.contactor == start.contactor) {
            return Err(source.refuse(&path.key("contactor"), Problem::Twice));
        }
        contactors.push(start);
    }
    Ok(Start { charge: percent / 100.0, celsius, cells, contactors })
}

/// A cell in a pack that is charged so far.
fn cell_start(
    source: &Source<'_>,
    path: &Path,
    typed: &StartCellTable,
    percent: f64,
    pack: Pack,
) -> Result<CellStart, CaseError> {
    let cell = place(source, &path.key("cell"), typed.cell, pack.cells())?;
    let charge = match (typed.charge_percent, typed.missing_ah) {
        (Some(percent), None) => {
            source.number(&path.key("charge_percent"), percent, (0.0, 100.0), "%")? / 100.0
        }
        (None, Some(missing)) => {
            let held = pack.ampere_hours() * percent / 100.0;
            let missing = source.number(&path.key("missing_ah"), missing, (0.0, held), "Ah")?;
            (held - missing) / pack.ampere_hours()
        }
        (Some(_), Some(_)) => {
            let problem = Problem::NotBeside { beside: "charge_percent".to_owned(), accepted: Vec::new() };
            return Err(source.refuse_key(&path.key("missing_ah"), problem));
        }
        (None, None) => {
            let accepted = Accepted::Said("the cell's charge in percent, or missing_ah instead");
            return Err(source.missing(path, "charge_percent", accepted));
        }
    };
    Ok(CellStart { cell, charge })
}

fn contactor_start(
    source: &Source<'_>,
    path: &Path,
    typed: &StartContactorTable,
) -> Result<ContactorStart, CaseError> {
    let percent = |key: &str, percent, range| source.number(&path.key(key), percent, range, "%");
    let worn = percent("worn_percent", typed.worn_percent, WORN_PERCENT)? / 100.0;
    let counted = match typed.counted_percent {
        Some(counted) => percent("counted_percent", counted, COUNTED_PERCENT)? / 100.0,
        None => worn,
    };
    Ok(ContactorStart {
        contactor: contactor(source, &path.key("contactor"), &typed.contactor)?,
        worn,
        counted,
    })
}
