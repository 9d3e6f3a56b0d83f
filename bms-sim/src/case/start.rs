//! How a pack stands when its story begins, and the world built from it.

use super::{Case, Repaired};
use crate::defect::DefectError;
use crate::repair::NoSuchPlace;
use crate::world::{Initial, World, WorldError};
use serde::Serialize;

/// How the pack stands: at rest for hours.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Start {
    /// State of charge of every cell that is not named below, 0 to 1.
    pub charge: f64,
    /// Temperature of everything in °C.
    pub celsius: f64,
    /// Cells that stand differently.
    pub cells: Vec<CellStart>,
}

/// A cell that stands differently.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CellStart {
    /// The cell, counted from 0.
    pub cell: usize,
    /// Its state of charge, 0 to 1.
    pub charge: f64,
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
        let spec = self.pack.spec();
        let initial = Initial { charge: self.start.charge, celsius: self.start.celsius };
        let mut world = World::new(&spec, self.seed, initial)?;
        for different in &self.start.cells {
            if different.cell >= CELLS {
                return Err(StartError::Cell { found: different.cell + 1, count: CELLS });
            }
            let coulombs = (different.charge - self.start.charge) * spec.cell.capacity_coulombs;
            world.swap_charge(different.cell, coulombs);
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
