//! # Repairs: what a workshop does
//!
//! Clearing a defect undoes it, as if the part had never been touched; what physics has made of the pack meanwhile stays: heat, charge,
//! wear, a weld, a melted fuse. A repair is the other thing: somebody puts in a new part. What was wrong with the old one goes with it
//! (every defect in [`Work::mends`] at that place), and so does what physics kept in it. What is not in the part stays as it is.
//!
//! The firmware is told nothing by a repair. A workshop that swaps a cell and does not report it (the act `replace`) leaves the firmware
//! with an interval of charge that belongs to a cell in the scrap.

mod list;

pub use list::Work;

use crate::defect::Defect;
use crate::world::World;
use crate::world::spec::PackSpec;
use serde::{Serialize, Serializer};

/// One repair.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Repair {
    /// What is done.
    #[serde(serialize_with = "as_key")]
    pub work: Work,
    /// Where, counted from 0; what is counted, [`Work::place`] says. 0 where there is only one.
    pub place: usize,
    /// The cell that comes in, where one does.
    pub cell: NewCell,
}

impl Repair {
    /// Whether a pack has such a place.
    pub(crate) fn check(&self, spec: &PackSpec) -> Result<(), NoSuchPlace> {
        let count = self.work.place().count(spec);
        let found = self.place + 1;
        if found > count { Err(NoSuchPlace { work: self.work.name(), found, count }) } else { Ok(()) }
    }
}

/// A cell that comes in for another one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct NewCell {
    /// Its state of charge, 0 to 1.
    pub charge: f64,
    /// Its capacity as a multiple of the rated one.
    pub capacity: f64,
    /// Its resistance as a multiple of the nominal one.
    pub resistance: f64,
    /// Its temperature in °C; that of the old one when not given.
    pub celsius: Option<f64>,
}

impl NewCell {
    /// As it leaves the maker: half charged.
    pub const USUAL: Self = Self { charge: 0.5, capacity: 1.0, resistance: 1.0, celsius: None };
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
fn as_key<S: Serializer>(work: &Work, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(work.key())
}

/// There is no such place.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{work}: there is no place {found}; accepted is 1 to {count}")]
pub struct NoSuchPlace {
    /// Name of the work.
    work: &'static str,
    /// The place asked for, counted from 1.
    found: usize,
    /// How many there are.
    count: usize,
}

impl<const CELLS: usize, const THERMISTORS: usize> World<CELLS, THERMISTORS> {
    /// Puts in a new part. Gives back the defects that went with the old one; one that was still to come comes all the same.
    ///
    /// # Errors
    /// When there is no such place.
    pub fn repair(&mut self, repair: &Repair) -> Result<Vec<Defect>, NoSuchPlace> {
        let Repair { work, place, cell } = *repair;
        repair.check(self.spec())?;
        let now = self.seconds;
        let is_in_the_part = |defect: &Defect| {
            let here = defect.place == place || defect.kind.place() != work.place();
            here && work.mends().contains(&defect.kind) && defect.onset_seconds <= now
        };
        let gone: Vec<_> =
            self.defects().iter().filter(|(_, defect)| is_in_the_part(defect)).map(|(id, _)| id).collect();
        let gone = gone.into_iter().filter_map(|id| self.clear(id)).collect();
        self.put_in(work, place, cell);
        Ok(gone)
    }
}

#[cfg(test)]
mod tests;
