//! Charge intervals over a loss of power: see `kept` for the rule by which they widen.

use super::{Count, NOTHING};
use crate::config::Checked;
use crate::decision::CellSet;
use crate::estimate::Interval;
use crate::kept::{Laid, Reader, Writer};
use crate::sequence::Step;
use crate::units::{Amps, Coulombs, Millis};

impl<const CELLS: usize> Count<CELLS> {
    pub(in crate::estimate) fn keep(&self, to: &mut Writer<'_>) {
        self.bleeding.perhaps.write(to);
        for cell in cells::<CELLS>() {
            self.counted(cell).unwrap_or(self.anything()).write(to);
            self.difference(cell).unwrap_or(self.anything_apart()).write(to);
        }
    }

    pub(in crate::estimate) fn restore(
        &mut self,
        from: &mut Reader<'_>,
        (stood, holds, off): (Step, Millis, Option<Millis>),
        config: &Checked,
    ) {
        let (facts, range) = (&config.charge, config.pack.current_range);
        let moved = if stood.commands_open() { Coulombs::ZERO } else { range.over(holds) };
        let leaks = facts.drain + facts.self_discharge;
        let bleed = facts.bleed
            + facts.bleed.scaled(facts.bleed_tolerance + config.sensing.time_base)
            + Amps::from_bits(1);
        let worked = leaks.over(holds) + bleed.over(holds);
        let bled_then: CellSet<CELLS> = from.next();
        (self.extremes, self.known_extremes) = (NOTHING, NOTHING);
        for cell in cells::<CELLS>() {
            let bleeds = if bled_then.holds(cell) { bleed } else { Amps::ZERO };
            // Without a bound on the time, without a bound on what leaks.
            let leaked = off.map(|off| worked + (leaks + bleeds).over(off));
            let widened = |kept: Interval, moved: Coulombs, anything: Interval| {
                let high = leaked.map_or(anything.high, |leaked| kept.high + moved + leaked);
                Interval { low: kept.low - moved, high: high.max(kept.high) }
                    .common_with(anything)
                    .unwrap_or(anything)
            };
            let missing = widened(from.next(), moved, self.anything());
            self.believe(cell, missing);
            let apart = widened(from.next(), Coulombs::ZERO, self.anything_apart());
            self.write_difference(cell, apart);
            if let Some(known) = self.known(cell) {
                self.known_extremes = self.known_extremes.spanning(known);
            }
        }
        self.extremes_of_round = NOTHING;
    }
}

/// The cells, from 0.
fn cells<const CELLS: usize>() -> impl Iterator<Item = u8> {
    (0..=127_u8).take(CELLS)
}
