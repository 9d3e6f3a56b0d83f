//! # What happened, as a short story
//!
//! Decides which events a reader needs: the defect, the acts, every move of the contactors, every fault from Suspect to its end, and
//! how near the other faults came. The sentences come from [`words`].

use super::verdict::Verdict;
use super::words;
use crate::case::Ask;
use crate::recording::{Event, Recording, What};
use bms_core::Step;
use bms_core::fault::{Fault, Reading};
use bms_core::witness::{Assessment, Evidence};
use std::fmt::Write as _;

/// Faults that came nearest are told up to this number.
const NEAREST: usize = 5;

/// The story of a played case.
#[must_use]
pub fn text<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    verdict: &Verdict,
) -> String {
    let case = &recording.case;
    let mut story = format!("{}\n{}\n\n", case.title, case.story);
    let mut line = |text: &str| {
        story.push_str(text);
        story.push('\n');
    };
    for event in &recording.events {
        if let Some(sentence) = sentence(recording, event) {
            line(&format!("{:>10}  {sentence}", words::clock(event.seconds)));
        }
    }
    line("");
    for sentence in conclusion(recording, verdict) {
        line(&sentence);
    }
    let near = near(recording);
    if !near.is_empty() {
        line("");
        line("Nearest to a fault without one:");
        for sentence in near {
            line(&format!("  {sentence}"));
        }
    }
    let _written = writeln!(
        story,
        "\n{} ticks of {} ms, seed {}, case {:08x}, decisions {:08x}.",
        recording.ticks, case.tick_ms, case.seed, case.digest, recording.digest
    );
    story.push_str(words::CAUTIONS);
    story.push('\n');
    story
}

/// Any event as a sentence, also one that the story leaves out.
#[must_use]
pub fn happened<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    event: &Event,
) -> String {
    match &event.what {
        What::DutyBegan(work) => words::duty_begins(work),
        What::DefectBegan(_) | What::DefectEnded(_) | What::Acted(_) | What::Told(_) | What::Breached(_) => {
            sentence(recording, event).unwrap_or_default()
        }
    }
}

/// One event as a sentence, if a reader of the story needs it.
fn sentence<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    event: &Event,
) -> Option<String> {
    match &event.what {
        What::DefectBegan(place) => recording.case.defects.get(*place).map(words::defect_begins),
        What::DefectEnded(place) => recording.case.defects.get(*place).map(words::defect_ends),
        What::Acted(ask) => Some(match ask {
            Ask::Close => "the operator asks to close".to_owned(),
            Ask::Open => "the operator asks to open".to_owned(),
            Ask::Clear(_) => "the memory is to be cleared".to_owned(),
            Ask::Replace(cell) => {
                format!("the workshop reports that cell {} was replaced", u16::from(*cell) + 1)
            }
        }),
        What::DutyBegan(_) => None,
        What::Told(evidence) => Some(words::evidence(evidence)),
        What::Breached(breach) => Some(words::breach(breach)),
    }
}

/// What came out, with the times between cause and effect.
fn conclusion<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    verdict: &Verdict,
) -> Vec<String> {
    let confirmed = recording.confirmed();
    let mut sentences = Vec::new();
    if confirmed.is_empty() {
        sentences.push("No fault was Confirmed.".to_owned());
    }
    let onset = first_onset(recording);
    for (seconds, assessment) in &confirmed {
        let after = onset.map_or_else(String::new, |onset| {
            format!(", {} after the onset", words::seconds(seconds - onset))
        });
        sentences.push(format!(
            "{}: {}{after}.",
            capital(assessment.fault.words()),
            words::assessment(assessment)
        ));
        if assessment.fault == Fault::CellResistanceHigh {
            sentences.extend(words::load_steps(&recording.load_steps).lines().map(str::to_owned));
        }
    }
    if let (Some(onset), Some(opened)) = (onset, opened(recording)) {
        sentences.push(format!("From onset to open contactors: {}.", words::seconds(opened - onset)));
    }
    sentences.extend(words::verdict(verdict, &recording.case));
    sentences.push(format!("The contactors end in {}.", words::step(recording.ends())));
    sentences
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn first_onset<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Option<f64> {
    recording.case.defects.iter().map(|defect| defect.onset_seconds).reduce(f64::min)
}

/// When positive was first commanded open by a fault.
fn opened<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Option<f64> {
    let first = recording.confirmed().first()?.0;
    recording.events.iter().find_map(|event| match &event.what {
        What::Told(Evidence::Moved { to: Step::Opening | Step::ProvingDead, .. })
            if event.seconds >= first =>
        {
            Some(event.seconds)
        }
        _ => None,
    })
}

/// The faults that came nearest to their limit without being Confirmed.
fn near<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Vec<String> {
    let confirmed: Vec<Fault> =
        recording.confirmed().iter().map(|(_, assessment)| assessment.fault).collect();
    // What another room finds at a moment of its own has no distance in between.
    let has_limit = |fault: Fault| recording.case.config().faults.shown(fault).trip.is_some();
    let mut near: Vec<(f64, f64, Assessment)> = recording
        .nearest
        .iter()
        .flatten()
        .filter(|nearest| {
            !confirmed.contains(&nearest.assessment.fault) && has_limit(nearest.assessment.fault)
        })
        .filter_map(|nearest| Some((relative(&nearest.assessment)?, nearest.seconds, nearest.assessment)))
        .collect();
    near.sort_by(|one, other| one.0.total_cmp(&other.0));
    near.into_iter()
        .take(NEAREST)
        .map(|(_, seconds, seen)| {
            format!("{} at {}: {}", seen.fault.words(), words::clock(seconds), words::assessment(&seen))
        })
        .collect()
}

/// Distance to the limit as a fraction of the limit; nothing for a limit of zero.
#[expect(clippy::cast_precision_loss, reason = "for an order only")]
fn relative(seen: &Assessment) -> Option<f64> {
    let (observed, limit) = (seen.observed?.bits() as f64, seen.limit?.bits() as f64);
    (limit != 0.0 && seen.reading != Reading::Unknown).then(|| ((observed - limit) / limit).abs())
}

/// What the case expects and did not get; nothing when all is as expected.
#[must_use]
pub fn unmet<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    verdict: &Verdict,
) -> Vec<String> {
    let Some(expect) = &recording.case.expect else { return Vec::new() };
    let confirmed = recording.confirmed();
    let mut unmet = Vec::new();
    for fault in &expect.faults {
        if !confirmed.iter().any(|(_, seen)| seen.fault == *fault) {
            unmet.push(format!("{} was not Confirmed", fault.words()));
        }
    }
    for (_, seen) in &confirmed {
        if !expect.faults.contains(&seen.fault) {
            unmet.push(format!("{} was Confirmed", seen.fault.words()));
        }
    }
    if let Some(ends) = expect.ends
        && ends != recording.ends()
    {
        unmet.push(format!(
            "the contactors end in {}, not in {}",
            words::step(recording.ends()),
            words::step(ends)
        ));
    }
    if let Some(critical) = expect.critical
        && critical != verdict.critical()
    {
        unmet.push(format!("the pack is {}critical", if critical { "not " } else { "" }));
    }
    if let Some(most) = expect.spread_ampere_hours
        && recording.spread_ampere_hours() > most
    {
        unmet.push(format!(
            "the cells end {:.2} Ah apart, at most {most:.2} Ah",
            recording.spread_ampere_hours()
        ));
    }
    let onset = first_onset(recording).unwrap_or(0.0);
    for bound in &expect.within {
        if let Some((seconds, _)) = confirmed.iter().find(|(_, seen)| seen.fault == bound.fault)
            && seconds - onset > bound.seconds
        {
            let took = words::seconds(seconds - onset);
            unmet.push(format!(
                "{} took {took}, at most {}",
                bound.fault.words(),
                words::seconds(bound.seconds)
            ));
        }
    }
    unmet
}
