//! # A digest of decisions
//!
//! CRC-32/ISO-HDLC over everything that the firmware answered, tick by tick. Runs with equal digests decided the same: the same
//! coils, limits, bleeding cells, cooling, step, faults and reaction, in the same order.

use bms_core::Decision;
use bms_core::decision::{Coils, CurrentLimits, FaultSummary};
use bms_core::fault::FaultSet;

static CRC: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

/// The digest of the decisions so far.
#[derive(Clone)]
pub(crate) struct Digest(crc::Digest<'static, u32>);

impl std::fmt::Debug for Digest {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(to, "Digest({:08x})", self.value())
    }
}

impl Digest {
    /// Of no decision.
    pub(super) const fn new() -> Self {
        Self(CRC.digest())
    }

    /// Takes one more decision in. Its parts are named one by one, so that a new one cannot be left out.
    pub(super) fn feed<const CELLS: usize>(&mut self, decision: &Decision<CELLS>) {
        let Decision { coils, limits, bleed, cooling, pull, resistor, warning, step, faults } = decision;
        let Coils { negative, precharge, positive } = *coils;
        let CurrentLimits { charge, discharge } = *limits;
        let FaultSummary { suspect, confirmed, latched, reaction } = *faults;
        let bled = bleed.iter().fold(0_u128, |set, cell| set | 1 << cell);
        let (reaction, by) =
            reaction.map_or((0, 0), |(reaction, fault)| (1 + reaction as u8, 1 + fault as u8));
        self.0.update(&[
            negative as u8,
            precharge as u8,
            positive as u8,
            *cooling as u8,
            pull.map_or(0, |inputs| 1 + inputs as u8),
            *resistor as u8,
            warning.map_or(0, |warning| 1 + warning as u8),
            *step as u8,
            reaction,
            by,
        ]);
        self.0.update(&charge.bits().to_le_bytes());
        self.0.update(&discharge.bits().to_le_bytes());
        self.0.update(&bled.to_le_bytes());
        for set in [suspect, confirmed, latched] {
            self.0.update(&bits(set).to_le_bytes());
        }
    }

    /// The digest itself.
    pub(super) fn value(&self) -> u32 {
        self.0.clone().finalize()
    }
}

/// One bit a fault, in the order of the list.
fn bits(faults: FaultSet) -> u128 {
    faults.iter().fold(0, |set, fault| set | 1_u128 << fault as u8)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::dropped;
    use bms_core::Step;
    use bms_core::decision::{CellSet, Coil, Cooling, Warning};
    use bms_core::fault::{Fault, Reaction};
    use bms_core::frame::{Inputs, ToChassis};
    use bms_core::units::Amps;
    use std::collections::BTreeSet;

    /// Everything stands still.
    const STILL: Decision<16> = dropped();

    fn digest(decision: &Decision<16>) -> u32 {
        let mut digest = Digest::new();
        digest.feed(decision);
        digest.value()
    }

    fn cells(of: &[u8]) -> CellSet<16> {
        let mut set = CellSet::EMPTY;
        for cell in of {
            set.insert(*cell);
        }
        set
    }

    /// As many cells bleed, but others; or anything else that hardware and load would notice.
    #[test]
    fn whatever_differs_in_a_decision_changes_the_digest() {
        let first = Decision { bleed: cells(&[2, 5]), ..STILL };
        let amps = Amps::from_milli(12_345);
        let mut hot = FaultSet::EMPTY;
        hot.insert(Fault::OverTemperature);
        let others = [
            Decision { bleed: cells(&[2, 6]), ..first },
            Decision { bleed: cells(&[2]), ..first },
            Decision { coils: Coils { negative: Coil::On, ..Coils::NONE }, ..first },
            Decision { coils: Coils { positive: Coil::On, ..Coils::NONE }, ..first },
            Decision { limits: CurrentLimits { charge: amps, ..first.limits }, ..first },
            Decision { limits: CurrentLimits { discharge: amps, ..first.limits }, ..first },
            Decision { cooling: Cooling::On, ..first },
            Decision { step: Step::Barred, ..first },
            Decision { pull: Some(Inputs::Odd), ..first },
            Decision { pull: Some(Inputs::Even), ..first },
            Decision { resistor: ToChassis::Negative, ..first },
            Decision { warning: Some(Warning::Danger), ..first },
            Decision { faults: FaultSummary { suspect: hot, ..first.faults }, ..first },
            Decision { faults: FaultSummary { confirmed: hot, ..first.faults }, ..first },
            Decision { faults: FaultSummary { latched: hot, ..first.faults }, ..first },
            Decision {
                faults: FaultSummary {
                    reaction: Some((Reaction::Report, Fault::OverTemperature)),
                    ..first.faults
                },
                ..first
            },
        ];
        let digests: BTreeSet<u32> = others.iter().chain([&first]).map(digest).collect();
        assert_eq!(digests.len(), others.len() + 1);
    }

    /// The same decisions in another order are another run.
    #[test]
    fn the_order_counts() {
        let (one, other) = (STILL, Decision { bleed: cells(&[7]), ..STILL });
        let run = |decisions: [&Decision<16>; 2]| {
            let mut digest = Digest::new();
            for decision in decisions {
                digest.feed(decision);
            }
            digest.value()
        };
        assert_ne!(run([&one, &other]), run([&other, &one]));
    }
}
