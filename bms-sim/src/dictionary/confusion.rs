//! Which defects give the same picture.

use super::{Entry, Row, Subject};
use serde::Serialize;
use std::collections::BTreeMap;

/// Defects that cannot be told apart.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Confusions {
    /// Under every observation together: nothing of what was observed separates them.
    pub always: Vec<Group>,
    /// Under one observation each, by its name; another one may separate them.
    pub under: Vec<(String, Vec<Group>)>,
}

/// Defects that share a picture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Group {
    /// The picture: what each observation shows; empty where it shows nothing.
    pub picture: Vec<String>,
    /// Who shares it.
    pub members: Vec<Member>,
}

/// A defect with the severities at which it gives the picture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Member {
    /// What is wrong and where.
    #[serde(flatten)]
    pub subject: Subject,
    /// At which of the severities that were tried.
    pub severities: Vec<f64>,
}

impl Confusions {
    /// Of all entries, in the order of the table.
    #[must_use]
    pub fn of(entries: &[Entry]) -> Self {
        let mut observations: Vec<&str> = Vec::new();
        for entry in entries {
            if !observations.contains(&entry.observation.as_str()) {
                observations.push(&entry.observation);
            }
        }
        let under = |observation: &&str| {
            let entries = entries.iter().filter(|entry| entry.observation == *observation);
            let shown = entries.flat_map(|entry| {
                entry.rows.iter().map(|row| (entry.subject, row.severity, vec![picture(row)]))
            });
            ((*observation).to_owned(), groups(shown))
        };
        Self { always: groups(whole(entries).into_iter()), under: observations.iter().map(under).collect() }
    }
}

/// Each defect and severity with its pictures under all observations, in their order.
fn whole(entries: &[Entry]) -> Vec<(Subject, f64, Vec<String>)> {
    let mut whole: Vec<(Subject, f64, Vec<String>)> = Vec::new();
    for entry in entries {
        for row in &entry.rows {
            let is = |known: &&mut (Subject, f64, Vec<String>)| {
                known.0 == entry.subject && known.1.to_bits() == row.severity.to_bits()
            };
            match whole.iter_mut().find(is) {
                Some((_, _, pictures)) => pictures.push(picture(row)),
                None => whole.push((entry.subject, row.severity, vec![picture(row)])),
            }
        }
    }
    whole
}

/// What is seen from inside: the faults in order with their places, and the channels that show anything.
fn picture(row: &Row) -> String {
    let fault = |raised: &super::Raised| match raised.place.as_str() {
        "" => raised.fault.key().to_owned(),
        place => format!("{} ({place})", raised.fault.key()),
    };
    let faults: Vec<String> = row.faults.iter().map(fault).collect();
    match (faults.is_empty(), row.measured.is_empty()) {
        (true, true) => String::new(),
        (false, true) => faults.join(", "),
        (true, false) => format!("only measured: {}", row.measured.join(", ")),
        (false, false) => format!("{}; measured: {}", faults.join(", "), row.measured.join(", ")),
    }
}

/// Who shares a picture that shows anything, where at least two do; in the order in which the pictures come.
fn groups(shown: impl Iterator<Item = (Subject, f64, Vec<String>)>) -> Vec<Group> {
    let mut order: Vec<Vec<String>> = Vec::new();
    let mut members: BTreeMap<Vec<String>, Vec<Member>> = BTreeMap::new();
    for (subject, severity, picture) in
        shown.filter(|(_, _, picture)| picture.iter().any(|shown| !shown.is_empty()))
    {
        if !members.contains_key(&picture) {
            order.push(picture.clone());
        }
        let members = members.entry(picture).or_default();
        match members.iter_mut().find(|member| member.subject == subject) {
            Some(member) => member.severities.push(severity),
            None => members.push(Member { subject, severities: vec![severity] }),
        }
    }
    let group = |picture: Vec<String>| {
        let members = members.remove(&picture)?;
        (members.len() > 1).then_some(Group { picture, members })
    };
    order.into_iter().filter_map(group).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::defect::Kind;
    use crate::dictionary::{Danger, Raised};
    use crate::explain::verdict::Criticality;
    use bms_core::fault::Reaction;
    use bms_core::{Fault, Step};

    fn row(severity: f64, faults: &[Fault]) -> Row {
        let raised = |fault: &Fault| Raised {
            fault: *fault,
            place: String::new(),
            seconds: severity,
            reaction: Reaction::Report,
        };
        Row {
            severity,
            faults: faults.iter().map(raised).collect(),
            belief: None,
            ends: Step::Open,
            danger: Danger {
                criticality: Criticality::NotCritical,
                because: String::new(),
                after_seconds: None,
                passed: false,
            },
            measured: Vec::new(),
        }
    }

    fn entry(kind: Kind, observation: &str, rows: Vec<Row>) -> Entry {
        let subject = Subject { kind, place: 0 };
        Entry { subject, observation: observation.to_owned(), rows, undetected: Vec::new() }
    }

    /// Two defects that one observation confuses and the other separates; a third that shows nothing is in no group. When a fault came
    /// makes no picture another one, but its order does.
    #[test]
    fn what_one_observation_separates_is_confused_under_the_other_only() {
        let (flat, slow) = (Fault::PrechargeFlat, Fault::PrechargeTooSlow);
        let entries = [
            entry(Kind::PrechargeOpen, "start", vec![row(1.0, &[flat])]),
            entry(Kind::PrechargeOpen, "shift", vec![row(1.0, &[])]),
            entry(Kind::LoadLeftOn, "start", vec![row(1.0, &[flat, slow]), row(5.0, &[flat])]),
            entry(Kind::LoadLeftOn, "shift", vec![row(1.0, &[]), row(5.0, &[slow])]),
            entry(Kind::BleedDownOpen, "start", vec![row(1.0, &[slow, flat])]),
            entry(Kind::BleedDownOpen, "shift", vec![row(1.0, &[])]),
        ];
        let found = Confusions::of(&entries);
        assert_eq!(found.always, []);
        let [start, shift] = &found.under[..] else { panic!("two observations") };
        assert_eq!((start.0.as_str(), start.1.len(), shift.1.len()), ("start", 1, 0));
        let members: Vec<_> = start.1[0]
            .members
            .iter()
            .map(|member| (member.subject.kind, member.severities.clone()))
            .collect();
        assert_eq!(members, [(Kind::PrechargeOpen, vec![1.0]), (Kind::LoadLeftOn, vec![5.0])]);
    }
}
