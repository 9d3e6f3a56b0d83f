//! What is wrong and where, and how badly it is tried: taken from the list of defects, whatever stands there.

use super::digits::rounded;
use crate::defect::{Defect, Kind, Once};
use crate::world::spec::{COULOMBS_AN_AMPERE_HOUR, PackSpec};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A kind of defect at a place.
#[derive(Clone, Copy, Debug, Deserialize, Eq, PartialEq, Serialize)]
pub struct Subject {
    /// What is wrong.
    #[serde(rename = "defect", serialize_with = "as_key", deserialize_with = "by_key")]
    pub kind: Kind,
    /// Where, counted from 0.
    pub place: usize,
}

/// The smallest amount that is tried where a range reaches down to none: this part of the usual severity.
const SMALLEST: f64 = 0.01;

impl Subject {
    /// The subjects of a kind: each place where places have names and so differ in what they are for, else one a third of the way along.
    pub fn of(kind: Kind, spec: &PackSpec) -> impl Iterator<Item = Self> {
        let places = match kind.place().names() {
            [] => {
                let third = kind.place().count(spec) / 3;
                third..third + 1
            }
            names => 0..names.len(),
        };
        places.map(move |place| Self { kind, place })
    }

    /// The severities that are tried, in rising order: so many from the least to the most of the range, evenly on a log scale and to
    /// two digits; as many again below zero where the range goes there. Only the usual one of what is present or absent. No more charge is
    /// moved than a cell holds.
    #[must_use]
    pub fn severities(self, count: usize, spec: &PackSpec) -> Vec<f64> {
        let kind = self.kind;
        if kind.unit().is_empty() {
            return vec![kind.usual()];
        }
        let (low, high) = match (kind.range(), kind.once()) {
            ((low, high), Once::MovesCharge) => {
                let holds = spec.cell.capacity_coulombs / COULOMBS_AN_AMPERE_HOUR;
                (low.max(-holds), high.min(holds))
            }
            (range, Once::Nothing | Once::CatchesCell | Once::CatchesThermistor | Once::CatchesLink) => range,
        };
        let smallest = SMALLEST * kind.usual().abs();
        let above = ladder(if low > 0.0 { low } else { smallest }, high, count);
        let below = ladder(smallest, -low, count);
        let mut severities: Vec<f64> = below.into_iter().rev().map(|amount| -amount).chain(above).collect();
        severities.dedup();
        severities
    }

    /// The defect, from that instant on.
    #[must_use]
    pub const fn defect(self, severity: f64, onset_seconds: f64) -> Defect {
        Defect { severity, ..Defect::usual(self.kind, self.place, onset_seconds) }
    }
}

/// Evenly spaced amounts on a log scale, ends included; none when there is no such range.
fn ladder(low: f64, high: f64, count: usize) -> Vec<f64> {
    if high < low {
        return Vec::new();
    }
    let steps = count.max(2) - 1;
    let share = |step: usize| {
        let part = |of: usize| f64::from(u32::try_from(of).unwrap_or(u32::MAX));
        part(step) / part(steps)
    };
    let between = |step: usize| rounded(low * libm::pow(high / low, share(step)), 2).clamp(low, high);
    (0..=steps).map(|step| if step == steps { high } else { between(step) }).collect()
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
fn as_key<S: Serializer>(kind: &Kind, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(kind.key())
}

fn by_key<'de, D: Deserializer<'de>>(from: D) -> Result<Kind, D::Error> {
    let key = String::deserialize(from)?;
    let known = Kind::ALL.iter().copied().find(|kind| kind.key() == key);
    known.ok_or_else(|| serde::de::Error::custom(format!("there is no defect {key}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 0.05, 0.05·(200/0.05)^¼ = 0.398, 3.16, 25.1, 200.
    #[test]
    fn severities_are_evenly_spaced_on_a_log_scale() {
        assert_eq!(ladder(0.05, 200.0, 5), [0.05, 0.4, 3.2, 25.0, 200.0]);
        assert_eq!(ladder(3.0, 2.0, 5), [0.0; 0]);
    }

    /// A cell of the trainer holds 20 Ah.
    #[test]
    fn no_more_charge_is_moved_than_a_cell_holds() {
        let moved = Subject { kind: Kind::ChargeOutOfLine, place: 5 }.severities(3, &PackSpec::trainer());
        assert_eq!(moved, [-20.0, -0.63, -0.02, 0.02, 0.63, 20.0]);
    }

    #[test]
    fn every_defect_of_the_list_has_subjects_and_severities_within_its_range() {
        let spec = PackSpec::trainer();
        for kind in Kind::ALL {
            let subjects: Vec<Subject> = Subject::of(*kind, &spec).collect();
            assert!(!subjects.is_empty(), "{}", kind.key());
            let (low, high) = kind.range();
            for subject in subjects {
                assert!(subject.place < kind.place().count(&spec));
                let severities = subject.severities(5, &spec);
                assert!(severities.is_sorted() && !severities.is_empty());
                assert!(severities.iter().all(|severity| (low..=high).contains(severity)), "{}", kind.key());
                if low < 0.0 && !kind.unit().is_empty() {
                    assert!(severities.iter().any(|severity| *severity < 0.0), "{}", kind.key());
                }
            }
        }
    }
}
