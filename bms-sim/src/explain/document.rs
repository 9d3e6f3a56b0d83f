//! # A played case as one JSON document
//!
//! For programs and notebooks: what the story and `why` tell, as data. [`document`] makes it, `run CASE --json`
//! and `why RECORDING-or-CASE --json` print it, and nothing else, to stdout; `why` adds `distances`.
//!
//! | key | holds |
//! | --- | --- |
//! | `schema` | integer: 1, the only one there is |
//! | `generator` | text: name and version of the program |
//! | `case` | object: `name`, `digest` (CRC-32 of its text, eight hexadecimal digits), `title`, `story`, `pack`, `seed`, `duration_seconds`, `tick_ms`; with case and seed the same run is played again |
//! | `defects` | list, in the order of the case: `kind` as `list defects` prints it, the place and the severity under the keys of the case file (`cell`, `milliohms`, …), `onset_seconds`, `grows_seconds`, `end_seconds` if it ends, `intermittent_period_seconds` and `intermittent_duty` if it comes and goes, `sentence` |
//! | `decisions_digest` | text: CRC-32 over every decision; equal for equal runs |
//! | `ticks`, `played_seconds`, `interrupted` | how far it was played, and whether it was stopped before its end |
//! | `events` | list, in order of time: `tick`, `seconds`, `kind`, `sentence`, `values` (see [`values`]) |
//! | `confirmed` | list of the faults that became Confirmed, in order of time: as `events`, `chain`, and `margin_seconds`, the time from then to the hazard had nothing reacted (less than none when it would have come before; `null` when none would have come, or it is the switching itself) |
//! | `chain` of a fault | list of what led to it and followed, as `events`: `defect_began`, `start_began`, `truth_departed` or `truth_unharmed`, `frame_departed`, `suspected`, `confirmed`, `reacted`, `contactors_open`, `link_down`. Each has its `tick`; what departed has `what`, its place if there are several, its value `is_…` and the twin's `twin_…` |
//! | `load_steps` | list of the load steps that a resistive cell was found by, as `events`; empty when it was not |
//! | `onset_to_open_seconds`, `start_to_open_seconds` | number: of the first fault that opened the contactors, the time from the onset of its defect until they were open; from the start, when they stood open at the onset. The other one is `null`, both are when nothing was opened |
//! | `nearest` | list of the faults that did not become Confirmed, the nearest to its limit first, as `events`; the values have the margin to the limit, in the unit of both and as a share of the limit (`margin_of_limit`), less than none beyond it |
//! | `distances` | list, only of `why`: what would have changed an outcome, see below |
//! | `silence` | list of sentences: what each defect did of which nothing was said |
//! | `tightest_limits` | list of the tightest limit of charge and of discharge current with the contactors closed, as `events` |
//! | `balancing` | object: `bled_cells`, and how far the fullest and the emptiest cell lay apart in truth, `spread_before_amp_hours`, `spread_after_amp_hours` |
//! | `step_at_end` | text: where the contactor sequence stands at the end |
//! | `critical` | true or false: whether the pack is dangerous as it stands |
//! | `criticality` | text: `not_critical`, `by_blindness` (a protection has lost its only measurement) or `critical` |
//! | `unseen` | text: the danger that no measurement would show any more, or `null` |
//! | `firmware` | object: `was` (`right`, `right_in_vain`, `late`, `blind`, `untested`, `misled` or `early`; see [`judged`](super::judged)) and `sentence` |
//! | `passed` | the first safe bound that truth passed in this run, as `events`, or `null` |
//! | `hazard` | the first one that it would have passed had nothing reacted, as `events`, with `after_onset_seconds` (`null` where the switching itself is the hazard); or `null` |
//! | `expectations` | object: `met` (`null` when the case expects nothing, or was interrupted) and `unmet`, one sentence for each that failed |
//! | `cautions` | text: what must be known before any of it is used |
//!
//! An entry of `distances` has `outcome` (`confirmed`, `any`, `trip`, `opened` or `hazard`), `fault` (whose limits were turned), `came` (as the
//! case stands: `tick`, `seconds` and `by` which fault, or `null`) and `numbers`, a list in rising order of the change: `number` (its name, as
//! [`Knob`] describes), `unit`, `stands` (its value in the case), `same` and `other` (the two neighbours between which the outcome
//! flips, each with `value` and `came`; left out where it does not), `ends` (where it does not: how far it was turned), `tolerance` (what
//! the change is measured by, in the unit), `change_in_tolerances` and `sentence`.
//!
//! # What separates two
//!
//! `why CASE FAULT --not OTHER --json` prints [`between_faults`], `why CASE --against DEFECT --json` prints [`between_defects`]. Both have
//! `schema`, `generator`, `case` and `cautions` as above, and `trials`: a list of what could be done where nothing separates the two up to
//! the end, each with `act` (`load_steps`, `charge`, `rest`, `open_and_close`, `meter`, `bleed` or `swap_thermistors`), `at` (the cell or
//! thermistor, if there is one), `separates`, the `looks` or the `difference` by which it does, and `sentence`.
//!
//! | of two faults | holds |
//! | --- | --- |
//! | `faults` | list of two, the one that is asked about first: `fault`, `looks_at`, `confirmed` and `nearest` (as `events`, or `null`), `ticks_looked` (there was a reading), `ticks_beyond` (it lay beyond its limit), `cause` (the defect without which it does not come, or `null`), `sentence` |
//! | `apart` | list of at most two, in order of time: `tick`, `seconds` and `looks`, how each of the two was judged in the first tick in which one lies beyond its limit and the other one, measured, does not |
//! | `order` | where both became Confirmed: `first`, `apart_seconds`, `follows` (whether the later one stays away when the earlier one is silenced; `null` where nothing silences it), `silenced_number` and `silenced_value` (by what), `sentence`; or `null` |
//!
//! | of two defects | holds |
//! | --- | --- |
//! | `here`, `there` | the defect of the case (`null` where it has none), and the one that is put in its place: as `defects` |
//! | `compared_until_seconds` | number: until when the frames of both were compared |
//! | `differences` | list of the first difference of each channel beyond noise and step, in order of time, as `events`: the values are the place, and the reading `here_…` and `there_…` with its unit (`made` and `turning`: 1 is yes) |
//! | `acts_apart_seconds` | number: when the firmware first acts differently, or `null` |
//! | `confirmed_here`, `confirmed_there` | lists of fault keys |
//!
//! "As `events`" means an object with `kind`, `seconds`, `sentence` and `values`. Times are seconds from the start; the unit ends each
//! key; cells, modules, sensors and defects are counted from 1; what has no number is left out.

use super::chain::{Chain, Link, LinkKind, Since};
use super::distance::Answer;
use super::verdict::{Criticality, Verdict};
use super::{Account, story, words};
#[cfg(doc)]
use crate::case::Knob;
use crate::case::{Case, Pack, severity_key};
use crate::defect::Defect;
use crate::recording::file::{GENERATOR, hexadecimal};
use crate::recording::values::{self, EventShown, Values};
use crate::recording::{JudgedStep, Nearest, Recording, Tightest, What, number};
use crate::world::truth::Breach;
use bms_core::fault::Reading;
use bms_core::witness::{Assessment, Evidence, Quantity};
use distances::AnswerShown;
use serde::Serialize;

mod contrasts;
mod distances;

pub use contrasts::{BetweenDefectsShown, BetweenFaultsShown, between_defects, between_faults};

/// What the module's head describes.
#[derive(Clone, Debug, Serialize)]
pub struct Document {
    schema: u32,
    generator: &'static str,
    case: CaseShown,
    defects: Vec<DefectShown>,
    decisions_digest: String,
    ticks: u64,
    played_seconds: f64,
    interrupted: bool,
    events: Vec<EventShown>,
    confirmed: Vec<Confirmed>,
    load_steps: Vec<Shown>,
    onset_to_open_seconds: Option<f64>,
    start_to_open_seconds: Option<f64>,
    nearest: Vec<Shown>,
    #[serde(skip_serializing_if = "Option::is_none")]
    distances: Option<Vec<AnswerShown>>,
    silence: Vec<String>,
    tightest_limits: Vec<Shown>,
    balancing: Balancing,
    step_at_end: bms_core::Step,
    critical: bool,
    criticality: Criticality,
    unseen: Option<String>,
    firmware: Firmware,
    passed: Option<Shown>,
    hazard: Option<Hazard>,
    expectations: Expectations,
    cautions: &'static str,
}

/// The case under `case`.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct CaseShown {
    name: String,
    digest: String,
    title: String,
    story: String,
    pack: Pack,
    seed: u64,
    duration_seconds: f64,
    tick_ms: u64,
}

#[derive(Clone, Debug, Serialize)]
struct DefectShown {
    kind: &'static str,
    /// Place and severity, under the keys of the case file.
    #[serde(flatten)]
    what: Values,
    onset_seconds: f64,
    grows_seconds: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    end_seconds: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    intermittent_period_seconds: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    intermittent_duty: Option<f64>,
    sentence: String,
}

/// What happened or was found at an instant.
#[derive(Clone, Debug, Serialize)]
struct Shown {
    kind: &'static str,
    seconds: f64,
    sentence: String,
    values: Values,
}

#[derive(Clone, Debug, Serialize)]
struct Confirmed {
    #[serde(flatten)]
    fault: Shown,
    chain: Vec<Shown>,
    /// From the reaction to the hazard, had nothing reacted.
    margin_seconds: Option<f64>,
}

#[derive(Clone, Debug, Serialize)]
struct Hazard {
    #[serde(flatten)]
    bound: Shown,
    after_onset_seconds: Option<f64>,
}

#[derive(Clone, Debug, Serialize)]
struct Firmware {
    was: &'static str,
    sentence: String,
}

#[derive(Clone, Debug, Serialize)]
struct Balancing {
    bled_cells: Vec<u16>,
    spread_before_amp_hours: f64,
    spread_after_amp_hours: f64,
}

#[derive(Clone, Debug, Serialize)]
struct Expectations {
    met: Option<bool>,
    unmet: Vec<String>,
}

/// The document of a played case; `interrupted` when it was not played to its end.
#[must_use]
pub fn document<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    account: &Account,
    interrupted: bool,
) -> Document {
    let case = &*recording.case;
    let confirmed = recording.confirmed();
    let unmet = if interrupted { Vec::new() } else { story::unmet(recording, account) };
    let judgeable = case.expect.is_some() && !interrupted;
    let (before, after) = recording.spread_ampere_hours();
    let until_open =
        |since| account.until_open().filter(|(counted, _)| *counted == since).map(|(_, seconds)| seconds);
    let event = |event| EventShown::of(event, story::happened(case, event));
    Document {
        schema: 1,
        generator: GENERATOR,
        case: of_case(case),
        defects: case.defects.iter().map(of_defect).collect(),
        decisions_digest: hexadecimal(recording.digest),
        ticks: recording.ticks,
        played_seconds: recording.end.seconds(),
        interrupted,
        events: recording.events.iter().map(event).collect(),
        confirmed: confirmed
            .iter()
            .map(|(seconds, seen)| Confirmed {
                fault: of_assessment("confirmed", *seconds, seen),
                chain: account.chain(seen.fault).map(|chain| of_chain(chain, case)).unwrap_or_default(),
                margin_seconds: account.verdict.seconds_left(case, *seconds),
            })
            .collect(),
        load_steps: recording.load_steps.iter().map(|step| of_load_step(step, case)).collect(),
        onset_to_open_seconds: until_open(Since::Onset),
        start_to_open_seconds: until_open(Since::Start),
        nearest: nearest(&recording.nearest, &confirmed),
        distances: None,
        silence: account.silence_in_words(case),
        tightest_limits: recording.tightest.iter().flatten().map(tightest).collect(),
        balancing: Balancing {
            bled_cells: recording.bled.iter().map(|cell| u16::from(*cell) + 1).collect(),
            spread_before_amp_hours: before,
            spread_after_amp_hours: after,
        },
        step_at_end: recording.ends(),
        critical: account.verdict.critical(),
        criticality: account.verdict.criticality(),
        unseen: account.verdict.blind.map(|blind| words::unseen(blind.unseen)),
        firmware: Firmware { was: account.judged.key(), sentence: words::judged(&account.judged) },
        passed: account.verdict.passed.as_ref().map(of_breach),
        hazard: hazard(&account.verdict, case),
        expectations: Expectations { met: judgeable.then_some(unmet.is_empty()), unmet },
        cautions: words::CAUTIONS,
    }
}

impl Document {
    /// With what would have changed an outcome.
    #[must_use]
    pub fn with_distances(self, answers: &[Answer], case: &Case) -> Self {
        Self { distances: Some(distances::shown(answers, case)), ..self }
    }
}

/// What is said of a case itself.
pub(crate) fn of_case(case: &Case) -> CaseShown {
    CaseShown {
        name: case.name.clone(),
        digest: hexadecimal(case.digest),
        title: case.title.clone(),
        story: case.story.clone(),
        pack: case.pack,
        seed: case.seed,
        duration_seconds: case.duration_seconds,
        tick_ms: case.tick_ms,
    }
}

fn of_defect(defect: &Defect) -> DefectShown {
    let kind = defect.kind;
    let mut what = Values::default();
    if let Some(key) = kind.place().key() {
        what = match kind.place().names() {
            [] => what.with(key, defect.place + 1),
            names => what.with(key, names.get(defect.place).copied()),
        };
    }
    if let Some(key) = severity_key(kind.unit()) {
        what = what.with(key, defect.severity);
    }
    DefectShown {
        kind: kind.key(),
        what,
        onset_seconds: defect.onset_seconds,
        grows_seconds: defect.grows_seconds,
        end_seconds: defect.end_seconds,
        intermittent_period_seconds: defect.spells.map(|spells| spells.period_seconds),
        intermittent_duty: defect.spells.map(|spells| spells.duty),
        sentence: words::defect(defect),
    }
}

fn of_assessment(kind: &'static str, seconds: f64, seen: &Assessment) -> Shown {
    Shown { kind, seconds, sentence: words::assessment(seen), values: Values::default().assessed(seen) }
}

fn of_breach(breach: &Breach) -> Shown {
    Shown {
        kind: "safe_bound_passed",
        seconds: breach.seconds,
        sentence: words::breach(breach),
        values: Values::default().breached(breach),
    }
}

fn of_chain(chain: &Chain, case: &Case) -> Vec<Shown> {
    let shown = |link: &Link| {
        let none = Values::default();
        let (kind, values) = match &link.what {
            LinkKind::DefectBegins(place) => ("defect_began", none.with("defect", place + 1)),
            LinkKind::StartBegins => ("start_began", none),
            LinkKind::TruthDeparts(found) => {
                let (what, place, unit) = found.what.key();
                let at = place.map(|place| ("place", (place + 1).into()));
                ("truth_departed", departed((what, at, unit), (found.is, found.twin)))
            }
            LinkKind::TruthUnharmed(wrong) => ("truth_unharmed", none.with("wrong", wrong.key())),
            LinkKind::FrameDeparts(found) => {
                ("frame_departed", departed(contrasts::channel(found.what), (found.is, found.twin)))
            }
            LinkKind::Suspected(seen) => ("suspected", none.assessed(seen)),
            LinkKind::Confirmed(seen) => ("confirmed", none.assessed(seen)),
            LinkKind::Reacted(reaction) => ("reacted", none.name("reaction", reaction)),
            LinkKind::ContactorsOpen => ("contactors_open", none),
            LinkKind::LinkDown => ("link_down", none),
            LinkKind::Acted(ask) => values::of(&What::Acted(*ask)),
            LinkKind::Staged(seen) => ("staged", none.assessed(seen)),
            LinkKind::Told(told) => values::of(&What::Told(*told)),
        };
        let values = values.with("tick", link.tick);
        Shown { kind, seconds: link.seconds, sentence: words::link(link, case), values }
    };
    chain.links.iter().map(shown).collect()
}

/// What differs and where, its value and that of the twin.
fn departed(
    (what, at, unit): (&str, Option<(&str, serde_json::Value)>, &str),
    (is, twin): (f64, f64),
) -> Values {
    let values = Values::default().with("what", what);
    let values = at.into_iter().fold(values, |values, (key, at)| values.with(key, at));
    let end = if unit.is_empty() { String::new() } else { format!("_{unit}") };
    values.with(&format!("is{end}"), is).with(&format!("twin{end}"), twin)
}

fn of_load_step(judged: &JudgedStep, case: &Case) -> Shown {
    let (kind, values) = values::of(&What::Told(Evidence::LoadStep(judged.step)));
    Shown {
        kind,
        seconds: judged.seconds,
        sentence: words::by_hand(
            &judged.step,
            case.limits_at(judged.seconds).cell_resistance_high.trip,
            case.config(),
        ),
        values: values.with("from", judged.from).with("to", judged.duty),
    }
}

fn tightest(limit: &Tightest) -> Shown {
    let values = Values::default().name("side", limit.side).name("rule", limit.rule);
    Shown {
        kind: "tightest_limit",
        seconds: limit.seconds,
        sentence: words::tightest(limit),
        values: values.and("allows", Quantity::Amps(limit.allows)),
    }
}

/// The faults that did not become Confirmed, the nearest first; last those whose limit is zero, of which nothing is a share.
fn nearest(known: &[Option<Nearest>], confirmed: &[(f64, Assessment)]) -> Vec<Shown> {
    let open = |near: &&Nearest| !confirmed.iter().any(|(_, seen)| seen.fault == near.assessment.fault);
    let mut sorted: Vec<(Option<f64>, &Nearest)> =
        known.iter().flatten().filter(open).map(|near| (story::relative(&near.assessment), near)).collect();
    sorted.sort_by(|(one, _), (other, _)| {
        one.unwrap_or(f64::INFINITY).total_cmp(&other.unwrap_or(f64::INFINITY))
    });
    let shown = |(share, near): (Option<f64>, &Nearest)| {
        let mut shown = of_assessment("nearest", near.seconds, &near.assessment);
        if let Some((margin, unit)) = margin(&near.assessment) {
            shown.values = shown.values.with(&format!("margin_{unit}"), margin);
        }
        if let Some(share) = share {
            shown.values = shown.values.with("margin_of_limit", share);
        }
        shown
    };
    sorted.into_iter().map(shown).collect()
}

/// How far the value is from its limit, less than none beyond it, and in which unit.
fn margin(seen: &Assessment) -> Option<(f64, &'static str)> {
    let ((observed, unit), (limit, _)) = (number(seen.observed?), number(seen.limit?));
    // Both are whole millionths at most: their difference is none but for the last bits.
    let apart = ((observed - limit).abs() * 1e6).round() / 1e6;
    Some((if seen.reading == Reading::Beyond { -apart } else { apart }, unit))
}

fn hazard(verdict: &Verdict, case: &Case) -> Option<Hazard> {
    let breach = verdict.without_reactions.as_ref()?;
    Some(Hazard { bound: of_breach(breach), after_onset_seconds: verdict.seconds_to_hazard(case) })
}

#[cfg(test)]
mod tests;
