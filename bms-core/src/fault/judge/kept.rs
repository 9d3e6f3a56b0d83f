//! Stages and memory over a loss of power.

use super::{EachThermistor, Faults, Kept, Memory, OfPack};
use crate::fault::Stage;
use crate::kept::{Laid, Reader, Writer};

impl OfPack {
    pub(in crate::fault) fn stages(&self) -> &[Stage] {
        core::slice::from_ref(&self.0)
    }

    pub(in crate::fault) fn stages_mut(&mut self) -> &mut [Stage] {
        core::slice::from_mut(&mut self.0)
    }
}

impl<const THERMISTORS: usize> EachThermistor<THERMISTORS> {
    pub(in crate::fault) fn stages(&self) -> &[Stage] {
        &self.0.0
    }

    pub(in crate::fault) fn stages_mut(&mut self) -> &mut [Stage] {
        &mut self.0.0
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Faults<CELLS, THERMISTORS> {
    pub(crate) const KEPT_BYTES: usize = Kept::<THERMISTORS>::STAGES.saturating_add(Memory::KEPT_BYTES);

    pub(crate) fn keep(&self, to: &mut Writer<'_>) {
        self.kept.each(|stages| write(stages, to));
        self.memory.keep(to);
    }

    /// Goes on with the stages and the memory of a record. What was confirmed is so until its condition is found gone.
    pub(crate) fn restore(&mut self, from: &mut Reader<'_>) {
        self.kept.each_mut(|stages| read(stages, from));
        self.memory.restore(from);
    }
}

// Not inlined: once for each fault it would be ten kilobytes.

#[inline(never)]
fn write(stages: &[Stage], to: &mut Writer<'_>) {
    for stage in stages {
        stage.write(to);
    }
}

#[inline(never)]
fn read(stages: &mut [Stage], from: &mut Reader<'_>) {
    for stage in stages {
        *stage = from.next();
    }
}
