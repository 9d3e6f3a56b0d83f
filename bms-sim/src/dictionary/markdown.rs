//! The dictionary as a page to read: a summary, a table a defect, and what can be mistaken for what.
//!
//! Every table of a defect depends on that defect alone, so that a part of the page can be held to a part of the dictionary.

use super::{Confusions, Entry, Group, Row, Settings, Span, Subject};
use crate::dictionary::Observation;
use crate::explain::verdict::Criticality;
use crate::explain::words;
use crate::recording::file::GENERATOR;
use std::fmt::Write as _;

/// The whole page.
#[must_use]
pub fn page(settings: &Settings, entries: &[Entry]) -> String {
    let mut page = head(settings);
    let confusions = Confusions::of(entries);
    page += &summary(entries, &confusions);
    page += "\n## Defect by defect\n";
    for subject in subjects(entries) {
        page.push('\n');
        page += &section(subject, entries);
    }
    page += &confused(&confusions);
    let _ = write!(page, "\n{}\n", words::CAUTIONS);
    page
}

fn head(settings: &Settings) -> String {
    let mut head = format!(
        "# Dictionary of defects\n\n\
         What each defect does under each observation, computed by `bms-sim dictionary` ({GENERATOR}, seed {}) and not written by hand.\n\n\
         In a cell of a table stand the faults that become Confirmed, each with its time after the onset, in order; behind the arrow the\n\
         strongest reaction, which is what the firmware believes of the danger. What is true of it follows in bold: *critical* when a safe\n\
         bound is passed in truth within half an hour, reactions ignored; *critical by blindness* when none is, but a protection has lost its\n\
         only measurement. *If let* stands behind it when the observation itself stays within all bounds: because of a reaction, because the\n\
         current limits hold the pack back, which is no fault, or because it ends before. *Only measured* are channels that show the defect by more than\n\
         their own errors, although no fault is raised; *nothing* means that not even that is so.\n\n\
         | observation | what happens, the defect from |\n| --- | --- |\n",
        settings.seed
    );
    for observation in settings.observations.iter().filter_map(|place| Observation::ALL.get(*place)) {
        let story = observation.case(settings.seed).map(|case| case.story).unwrap_or_default();
        let _ = writeln!(head, "| {} | {story} From {} s. |", observation.key, observation.onset_seconds);
    }
    head
}

fn subjects(entries: &[Entry]) -> Vec<Subject> {
    let mut subjects: Vec<Subject> = Vec::new();
    for entry in entries {
        if !subjects.contains(&entry.subject) {
            subjects.push(entry.subject);
        }
    }
    subjects
}

fn of(subject: Subject, entries: &[Entry]) -> impl Iterator<Item = &Entry> + Clone {
    entries.iter().filter(move |entry| entry.subject == subject)
}

/// One line a defect.
fn summary(entries: &[Entry], confusions: &Confusions) -> String {
    let mut lines = String::from(
        "\n## Summary\n\n\
         *Found by* lists the faults that come first under any observation. *Not found* is the range of severity that no observation\n\
         finds. *Critical* are the severities, of those tried, that are dangerous under any observation, by blindness or\n\
         in themselves. *Never told apart from* are\n\
         defects with the same picture under every observation, at some severity of each.\n\n\
         | defect | found by | not found | critical | never told apart from |\n| --- | --- | --- | --- | --- |\n",
    );
    for subject in subjects(entries) {
        let mine = of(subject, entries);
        let rows = || mine.clone().flat_map(|entry| &entry.rows);
        let mut first: Vec<&str> = Vec::new();
        for fault in rows().filter_map(|row| row.faults.first()).map(|raised| raised.fault.key()) {
            if !first.contains(&fault) {
                first.push(fault);
            }
        }
        let found_by = if first.is_empty() { "nothing".to_owned() } else { ticked(&first) };
        let unit = subject.kind.unit();
        let unfound = match (unit.is_empty(), first.is_empty()) {
            (true, true) => "ever".to_owned(),
            (true, false) => String::new(),
            (false, _) => shown_spans(&common(mine.clone().map(|entry| entry.undetected.as_slice())), unit),
        };
        let tried: Vec<(f64, bool)> = mine.clone().next().map_or_else(Vec::new, |entry| {
            entry
                .rows
                .iter()
                .map(|row| row.severity)
                .map(|severity| {
                    let is = |row: &&Row| row.severity.to_bits() == severity.to_bits();
                    (severity, rows().filter(is).any(|row| row.danger.criticality > Criticality::NotCritical))
                })
                .collect()
        });
        let critical = match (unit.is_empty(), tried.iter().any(|(_, critical)| *critical)) {
            (_, false) => "no".to_owned(),
            (true, true) => "yes".to_owned(),
            (false, true) => shown_spans(&runs(&tried), unit),
        };
        let mut alike: Vec<String> = Vec::new();
        for group in confusions
            .always
            .iter()
            .filter(|group| group.members.iter().any(|member| member.subject == subject))
        {
            for other in group.members.iter().filter(|member| member.subject != subject) {
                let name = name(other.subject);
                if !alike.contains(&name) {
                    alike.push(name);
                }
            }
        }
        let _ = writeln!(
            lines,
            "| {} | {found_by} | {unfound} | {critical} | {} |",
            name(subject),
            alike.join("; ")
        );
    }
    lines
}

/// The table of one defect.
#[must_use]
pub fn section(subject: Subject, entries: &[Entry]) -> String {
    let (kind, mine) = (subject.kind, of(subject, entries));
    let mut section = format!("### {}\n\n`{}`: {}\n\n", name(subject), kind.key(), kind.changes());
    let heading = if kind.unit().is_empty() { "present" } else { kind.unit() };
    let observations: Vec<&str> = mine.clone().map(|entry| entry.observation.as_str()).collect();
    let _ = writeln!(section, "| {heading} | {} |", observations.join(" | "));
    let _ = writeln!(section, "| --- |{}", " --- |".repeat(observations.len()));
    let first = mine.clone().next();
    for (place, row) in first.iter().flat_map(|entry| entry.rows.iter().enumerate()) {
        let severity = if kind.unit().is_empty() { "yes".to_owned() } else { number(row.severity) };
        let cells: Vec<String> =
            mine.clone().map(|entry| entry.rows.get(place).map(cell).unwrap_or_default()).collect();
        let _ = writeln!(section, "| {severity} | {} |", cells.join(" | "));
    }
    if !kind.unit().is_empty() {
        let spans: Vec<String> = mine.map(|entry| shown_spans(&entry.undetected, kind.unit())).collect();
        let _ = writeln!(section, "| *not found* | {} |", spans.join(" | "));
    }
    section
}

/// What one severity does under one observation.
fn cell(row: &Row) -> String {
    let faults: Vec<String> = row
        .faults
        .iter()
        .map(|raised| format!("`{}` {}", raised.fault.key(), words::seconds(raised.seconds)))
        .collect();
    let mut cell = match (faults.is_empty(), row.measured.is_empty()) {
        (true, true) => "nothing".to_owned(),
        (true, false) => format!("only measured: {}", row.measured.join(", ")),
        (false, _) => format!("{} → {}", faults.join(", "), row.belief.map_or("", words::reaction)),
    };
    if row.danger.criticality == Criticality::ByBlindness {
        cell += " **critical by blindness**";
    }
    if row.danger.criticality == Criticality::Critical {
        cell += " **critical**";
        if let Some(after) = row.danger.after_seconds {
            let _ = write!(cell, " after {}", words::seconds(after));
        }
        if !row.danger.passed {
            cell += " *if let*";
        }
    }
    cell
}

fn confused(confusions: &Confusions) -> String {
    let mut text = String::from(
        "\n## What can be mistaken for what\n\n\
         Defects with the same picture: the same faults in the same order at the same places, and the same channels that show anything.\n\
         What shows nothing at all is not repeated here.\n\n### Under every observation together\n\n",
    );
    text += &list(&confusions.always);
    for (observation, groups) in &confusions.under {
        let _ = write!(text, "\n### Under {observation} alone\n\n");
        text += &list(groups);
    }
    text
}

fn list(groups: &[Group]) -> String {
    if groups.is_empty() {
        return "None.\n".to_owned();
    }
    groups.iter().fold(String::new(), |mut list, group| {
        let members: Vec<String> = group
            .members
            .iter()
            .map(|member| {
                let unit = member.subject.kind.unit();
                let severities: Vec<String> = member.severities.iter().copied().map(number).collect();
                let severities = if unit.is_empty() {
                    String::new()
                } else {
                    format!(" ({} {unit})", severities.join(", "))
                };
                name(member.subject) + &severities
            })
            .collect();
        let pictures: Vec<&str> = group
            .picture
            .iter()
            .map(|picture| if picture.is_empty() { "nothing" } else { picture })
            .collect();
        let _ = writeln!(list, "- {}: {}", members.join("; "), pictures.join(" · "));
        list
    })
}

/// A defect and its place.
fn name(subject: Subject) -> String {
    match words::defect_place(subject.kind.place(), subject.place).as_str() {
        "" => subject.kind.name().to_owned(),
        place => format!("{}, {place}", subject.kind.name()),
    }
}

fn ticked(keys: &[&str]) -> String {
    keys.iter().map(|key| format!("`{key}`")).collect::<Vec<_>>().join(", ")
}

fn shown_spans(spans: &[Span], unit: &str) -> String {
    let shown = |span: &Span| match (number(span.from), number(span.to)) {
        (from, to) if from == to => format!("{from} {unit}"),
        (from, to) => format!("{from} to {to} {unit}"),
    };
    spans.iter().map(shown).collect::<Vec<_>>().join(", ")
}

/// Neighbouring severities for which it holds.
fn runs(tried: &[(f64, bool)]) -> Vec<Span> {
    let mut runs: Vec<Span> = Vec::new();
    let mut before = false;
    for (severity, holds) in tried.iter().copied() {
        match (runs.last_mut().filter(|_| before), holds) {
            (Some(run), true) => run.to = severity,
            (None, true) => runs.push(Span { from: severity, to: severity }),
            (_, false) => {}
        }
        before = holds;
    }
    runs
}

/// What lies in a span of every list.
fn common<'a>(mut lists: impl Iterator<Item = &'a [Span]>) -> Vec<Span> {
    let first = lists.next().map(<[Span]>::to_vec).unwrap_or_default();
    lists.fold(first, |common, list| {
        let both = |one: &Span| {
            let one = *one;
            list.iter().filter_map(move |other| {
                let (from, to) = (one.from.max(other.from), one.to.min(other.to));
                (from <= to).then_some(Span { from, to })
            })
        };
        common.iter().flat_map(both).collect()
    })
}

/// A severity as it was rounded.
fn number(severity: f64) -> String {
    severity.to_string().replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_observation_finds_is_common_to_all_lists() {
        let span = |from, to| Span { from, to };
        let lists = [
            vec![span(-3.0, 5.0), span(8.0, 9.0)],
            vec![span(-1.0, 20.0)],
            vec![span(-9.0, 2.0), span(4.0, 8.5)],
        ];
        let found = common(lists.iter().map(Vec::as_slice));
        assert_eq!(found, [span(-1.0, 2.0), span(4.0, 5.0), span(8.0, 8.5)]);
        assert_eq!(shown_spans(&found, "mV"), "−1 to 2 mV, 4 to 5 mV, 8 to 8.5 mV");
        assert_eq!(
            runs(&[(1.0, true), (2.0, true), (3.0, false), (4.0, true)]),
            [span(1.0, 2.0), span(4.0, 4.0)]
        );
    }
}
