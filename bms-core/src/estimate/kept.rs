//! Charge and heat over a loss of power.

use super::Estimated;
use crate::config::Checked;
use crate::decision::CellSet;
use crate::kept::{Laid, Reader, Writer};
use crate::sequence::Step;
use crate::units::Millis;

impl<const CELLS: usize> Estimated<CELLS> {
    /// Two intervals a cell. Heat and bleeding cells stand in the head.
    pub(crate) const KEPT_BYTES: usize = CELLS.saturating_mul(32);

    pub(crate) fn keep(&self, to: &mut Writer<'_>) {
        self.heat.keep(to);
        self.count.keep(to);
    }

    /// Goes on from a record, after the time that it says it `holds` for, and a time without supply that is known or not.
    pub(crate) fn restore(
        &mut self,
        from: &mut Reader<'_>,
        (stood, holds, off): (Step, Millis, Option<Millis>),
        config: &Checked,
    ) {
        self.heat.restore(from, &config.pack);
        self.count.restore(from, (stood, holds, off), config);
    }
}

impl<const CELLS: usize> Laid for CellSet<CELLS> {
    const BYTES: usize = 16;
    fn write(&self, to: &mut Writer<'_>) {
        self.words().iter().for_each(|word| word.write(to));
    }
    fn read(from: &mut Reader<'_>) -> Self {
        Self::from_words(core::array::from_fn(|_| from.next()))
    }
}
