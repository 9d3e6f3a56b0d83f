//! # What happened, as a short story
//!
//! Decides which events a reader needs: the defect, the acts, every move of the contactors, every fault from Suspect to its end, and
//! how near the other faults came. What is ordinary and comes again and again is told twice and then counted, below the second telling.
//! The sentences come from [`words`].

use super::{Account, words};
use crate::case::Case;
use crate::recording::{Event, Nearest, Recording, What};
use bms_core::fault::{Fault, Reading};
use bms_core::insulation::InsulationStep;
use bms_core::sequence::Because;
use bms_core::witness::{Assessment, Evidence, Refusal};
use std::collections::BTreeMap;
use std::mem::discriminant;

/// Faults that came nearest are told up to this number.
const NEAREST: usize = 5;

/// Further away than this part of its limit, a fault did not come near.
const NEAR: f64 = 0.5;

/// An ordinary event is told this often.
const OFTEN_ENOUGH: usize = 2;

/// The story of a played case.
#[must_use]
pub fn text<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    account: &Account,
) -> String {
    let case = &recording.case;
    let lines = lines(recording);
    // A long story has longer times.
    let width = lines.iter().map(|(clock, _)| clock.chars().count()).max().unwrap_or(0).max(10);
    let mut story = vec![case.title.clone(), case.story.clone(), String::new()];
    story.extend(lines.iter().map(|(clock, happened)| format!("{clock:>width$}  {happened}")));
    story.push(String::new());
    story.extend(conclusion(recording, account));
    let near = near(recording);
    if !near.is_empty() {
        story.extend([String::new(), words::nearest_heading()]);
        story.extend(near.iter().map(|near| format!("  {}", words::nearest(near))));
    }
    story.push(String::new());
    story.push(words::played(recording));
    story.push(words::CAUTIONS.to_owned());
    story.join("\n") + "\n"
}

/// What a reader needs of what happened, in order of time: the time, and a sentence.
#[must_use]
pub fn lines<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Vec<(String, String)> {
    let case = &recording.case;
    let (mut lines, mut told) = (Vec::new(), BTreeMap::<String, Told>::new());
    for event in &recording.events {
        if matches!(event.what, What::DutyBegan(_)) {
            continue;
        }
        let Some(kind) = ordinary(&event.what) else {
            lines.push((words::clock(event.seconds), happened(case, event)));
            continue;
        };
        let told = told.entry(kind).or_default();
        told.times += 1;
        if told.times <= OFTEN_ENOUGH {
            lines.push((words::clock(event.seconds), happened(case, event)));
        }
        if told.times == OFTEN_ENOUGH {
            told.line = Some(lines.len());
            lines.push((String::new(), String::new()));
        }
        if let Some((_, again)) = told.line.and_then(|line| lines.get_mut(line)) {
            let more = told.times.saturating_sub(OFTEN_ENOUGH);
            *again = if more == 0 { String::new() } else { words::again_and_again(more, event.seconds) };
        }
    }
    lines.retain(|(_, sentence)| !sentence.is_empty());
    lines
}

/// What was told of an ordinary kind of event.
#[derive(Default)]
struct Told {
    times: usize,
    /// The line that counts those that are not told any more.
    line: Option<usize>,
}

/// One event as a sentence.
#[must_use]
pub fn happened(case: &Case, event: &Event) -> String {
    let defect = |place: usize| case.defects.get(place);
    match &event.what {
        What::DefectBegan(place) => defect(*place).map(words::defect_begins).unwrap_or_default(),
        What::DefectEnded(place) => defect(*place).map(words::defect_ends).unwrap_or_default(),
        What::Acted(ask) => words::acted(*ask),
        What::Repaired(repair) => words::repaired(repair),
        What::LimitsChanged(place) => {
            let changed = case.changes.get(*place);
            changed.map(|changed| words::stop::limits_changed(&changed.change, case)).unwrap_or_default()
        }
        What::DutyBegan(work) => words::duty_begins(work),
        What::Told(evidence) => words::evidence(evidence),
        What::Cooled(cooling) => words::cooled(*cooling),
        What::Breached(breach) => words::breach(breach),
    }
}

/// The kind of an event that happens in every shift; nothing for one that is always told.
fn ordinary(what: &What) -> Option<String> {
    match what {
        What::Acted(ask) => Some(format!("{ask:?}")),
        What::Cooled(cooling) => Some(format!("{cooling:?}")),
        What::Told(Evidence::Moved { from, to, because }) => match because {
            Because::ClosingAsked { .. }
            | Because::OpeningAsked
            | Because::NegativeClosed { .. }
            | Because::LinkCharged { .. }
            | Because::PositiveClosed { .. }
            | Because::CurrentFallen { .. }
            | Because::LinkFell { .. }
            | Because::CoilsOff
            | Because::ProvenDead { .. } => Some(format!("{from:?} {to:?}")),
            Because::FaultDemands { .. }
            | Because::GraceOver { .. }
            | Because::FuseCleared { .. }
            | Because::NotProven { .. }
            | Because::PrechargeFailed { .. }
            | Because::Cleared => None,
        },
        What::Told(Evidence::NearMiss(seen)) => Some(format!("{:?}", seen.fault)),
        // For the same reason, whatever its values.
        What::Told(Evidence::Insulation(InsulationStep::Spoilt(by))) => {
            Some(format!("{:?}", discriminant(by)))
        }
        What::Told(Evidence::Refused(Refusal::FaultHolds { act, fault })) => {
            Some(format!("{act:?} {fault:?}"))
        }
        What::DefectBegan(_)
        | What::DefectEnded(_)
        | What::Repaired(_)
        | What::LimitsChanged(_)
        | What::DutyBegan(_)
        | What::Told(_)
        | What::Breached(_) => None,
    }
}

/// What came out, with the times between cause and effect.
#[must_use]
pub fn conclusion<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    account: &Account,
) -> Vec<String> {
    let confirmed = recording.confirmed();
    let mut sentences = Vec::new();
    if confirmed.is_empty() {
        sentences.push(words::none_confirmed());
    }
    sentences.extend(account.silence_in_words(&recording.case));
    for (seconds, seen) in &confirmed {
        let onset = account.chain(seen.fault).and_then(super::chain::Chain::onset);
        sentences.push(words::confirmed(*seconds, seen, onset));
        if seen.fault == Fault::CellResistanceHigh {
            let by_hand = words::load_steps(&recording.load_steps, &recording.case);
            sentences.extend(by_hand.lines().map(str::to_owned));
        }
    }
    sentences.extend(account.until_open().map(|(since, took)| words::until_open(since, took)));
    sentences.extend(account.verdict_in_words(&recording.case));
    sentences.extend(recording.tightest.iter().flatten().map(words::tightest));
    if !recording.bled.is_empty() {
        let (before, after) = recording.spread_ampere_hours();
        sentences.push(words::balanced(recording.bled.len(), before, after));
    }
    sentences.push(words::ends(recording.ends()));
    sentences
}

/// The faults that came nearest to their limit without being Confirmed, those beyond it first.
#[must_use]
pub fn near<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
) -> Vec<Nearest> {
    let confirmed: Vec<Fault> = recording.confirmed().iter().map(|(_, seen)| seen.fault).collect();
    let open = |nearest: &&Nearest| !confirmed.contains(&nearest.assessment.fault);
    let known = recording.nearest.iter().flatten().filter(open);
    let mut near: Vec<(f64, Nearest)> =
        known.filter_map(|nearest| Some((relative(&nearest.assessment)?, *nearest))).collect();
    near.retain(|(apart, _)| *apart < NEAR);
    near.sort_by(|one, other| one.0.total_cmp(&other.0));
    let mut told: Vec<Nearest> = Vec::new();
    for (_, nearest) in near {
        // The second step of a fault says nothing new about the reading that came nearest to its first one.
        let same = |other: &Nearest| {
            other.assessment.place == nearest.assessment.place
                && other.assessment.observed == nearest.assessment.observed
        };
        if told.len() < NEAREST && !told.iter().any(same) {
            told.push(nearest);
        }
    }
    told
}

/// Distance to the limit as a fraction of the limit, less than none beyond it; nothing for a limit of zero.
#[expect(clippy::cast_precision_loss, reason = "for an order only")]
pub(crate) fn relative(seen: &Assessment) -> Option<f64> {
    let (observed, limit) = (seen.observed?.bits() as f64, seen.limit?.bits() as f64);
    let apart = ((observed - limit) / limit).abs();
    (limit != 0.0 && seen.reading != Reading::Unknown).then_some(if seen.reading == Reading::Beyond {
        -apart
    } else {
        apart
    })
}

/// What the case expects and did not get; nothing when all is as expected.
#[must_use]
pub fn unmet<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    account: &Account,
) -> Vec<String> {
    let Some(expect) = &recording.case.expect else { return Vec::new() };
    let confirmed = recording.confirmed();
    let came = |fault: Fault| confirmed.iter().find(|(_, seen)| seen.fault == fault).map(|(at, _)| *at);
    let mut unmet = Vec::new();
    let missing = expect.faults.iter().filter(|fault| came(**fault).is_none());
    unmet.extend(missing.map(|fault| words::unmet::missing(*fault)));
    let unwanted = confirmed.iter().filter(|(_, seen)| !expect.faults.contains(&seen.fault));
    unmet.extend(unwanted.map(|(_, seen)| words::unmet::unwanted(seen.fault)));
    let ends = expect.ends.filter(|ends| *ends != recording.ends());
    unmet.extend(ends.map(|ends| words::unmet::ends(recording.ends(), ends)));
    let critical = expect.critical.filter(|critical| *critical != account.verdict.critical());
    unmet.extend(critical.map(words::unmet::critical));
    let cooling = expect.cooling.filter(|cooling| *cooling != recording.cools());
    unmet.extend(cooling.map(words::unmet::cooling));
    let (_, spread) = recording.spread_ampere_hours();
    let most = expect.spread_ampere_hours.filter(|most| spread > *most);
    unmet.extend(most.map(|most| words::unmet::spread(spread, most)));
    let onsets = recording.case.defects.iter().map(|defect| defect.onset_seconds);
    let first_onset = onsets.reduce(f64::min).unwrap_or(0.0);
    unmet.extend(expect.within.iter().filter_map(|bound| {
        let took = came(bound.fault)? - first_onset;
        (took > bound.seconds).then(|| words::unmet::late(bound.fault, took, bound.seconds))
    }));
    unmet
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording;
    use std::sync::Arc;

    /// Four starts and stops: each move is told twice, then once how often it came again and when last; nothing else is lost.
    #[test]
    fn what_comes_again_and_again_is_counted_below_its_second_telling() {
        let acts = (0..8).map(|turn| {
            let ask = if turn % 2 == 0 { "close" } else { "open" };
            format!("{{ at_s = {}, ask = '{ask}' }}", 1 + 10 * turn)
        });
        let acts = acts.collect::<Vec<_>>().join(", ");
        let text = format!(
            "schema = 1\ntitle = ''\nstory = ''\npack = 'trainer'\nseed = 1\nduration_s = 90\nact = [{acts}]\n[start]\ncharge_percent = 60\ncelsius = 18\n"
        );
        let case = Arc::new(Case::parse(&text, "often.toml").unwrap());
        let played = recording::play::<16, 8>(&case, |_| true).unwrap();
        let lines = lines(&played);
        let asked = |(clock, sentence): &(String, String)| {
            (sentence == &words::acted(crate::case::Ask::Close)).then(|| clock.clone())
        };
        assert_eq!(lines.iter().filter_map(asked).collect::<Vec<_>>(), ["1.00 s", "21.00 s"]);
        let second = lines.iter().rposition(|line| asked(line).is_some()).unwrap();
        assert_eq!(lines[second + 1], (String::new(), "  and 2 times more, the last at 61.00 s".to_owned()));
        let counted = |(clock, sentence): &(String, String)| match sentence.strip_prefix("  and ") {
            Some(rest) if clock.is_empty() => rest.split(' ').next().and_then(|count| count.parse().ok()),
            _ => Some(1),
        };
        let told: usize = lines.iter().filter_map(counted).sum();
        let happened = played.events.iter().filter(|event| !matches!(event.what, What::DutyBegan(_))).count();
        assert_eq!(told, happened);
    }
}
