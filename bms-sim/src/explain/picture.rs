//! # A tick as a picture of lines
//!
//! What the firmware measured and answered in one tick, and what it said of it, in a screen of 80 columns and 24 lines that needs no
//! colour: two lines are left for what was typed and for the next prompt. The cells are bars, one a cell, grouped by module:
//!
//! ```text
//! height = 1 + 8 · (volts − lowest) / span, at most 8      span = highest − lowest, at least 20 mV
//! ```
//!
//! Lowest and highest are named with their cell. The span does not shrink below 20 mV: else noise would look like a spread. What lies in truth otherwise than it is measured is said beside it.

use super::at_length::folded;
use super::story::{happened, relative};
use super::words;
use crate::case::Case;
use crate::recording::stepper::Stop;
use crate::recording::{Event, What};
use bms_core::fault::{Fault, FaultSet, Reading, Stage};
use bms_core::frame::{Contact, Contactor};
use bms_core::limit::{LimitRule, Side};
use bms_core::units::{Millis, Volts};
use bms_core::witness::{Assessment, Evidence};

/// Columns that a line has at most.
pub const WIDTH: usize = 80;

/// Lines that a picture has at most.
pub const HEIGHT: usize = 22;

/// Columns of the names before the lines.
const NAME: usize = 14;

/// Lines that the faults get at most.
const FAULT_LINES: usize = 4;

/// Bars of a cell, from the lowest to the highest.
const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// The span of the bars is at least this, in millivolts.
const LEAST_SPAN: i32 = 20;

/// One line of a picture.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Line {
    /// What it shows; empty where it goes on from the line above, none where the text takes the whole line.
    pub name: Option<&'static str>,
    /// What there is to be seen.
    pub text: String,
    /// Whether something is wrong there.
    pub alarming: bool,
}

impl Line {
    /// The line without colour.
    #[must_use]
    pub fn plain(&self) -> String {
        self.name.map_or_else(|| self.text.clone(), |name| format!("{name:NAME$}{}", self.text))
    }
}

/// The picture of a tick.
#[must_use]
pub fn of<const CELLS: usize, const THERMISTORS: usize>(
    stop: &Stop<CELLS, THERMISTORS>,
    case: &Case,
    branch: &str,
) -> Vec<Line> {
    let mut lines = section("tick", &words::stop::tick(stop.tick, stop.seconds, branch));
    lines.extend(section("duty", &words::stop::duty(&case.demand_at(stop.seconds))));
    lines.extend(cells(stop, usize::from(case.config().pack.cells_per_module)));
    lines.push(line("temperatures", temperatures(stop)));
    lines.extend(contactors(stop));
    lines.extend(section("voltages", &words::stop::voltages(&stop.frame)));
    lines.extend(section(
        "current",
        &words::stop::current(&stop.frame, stop.decision.limits, &binding(&stop.told)),
    ));
    let truth = stop.after.world.truth();
    let believed = stop.after.core.estimated().state_of_charge();
    lines.extend(section(
        "charge",
        &words::stop::charge(believed, (truth.charge_low.value, truth.charge_high.value)),
    ));
    lines.extend(faults(stop));
    lines.push(whole(String::new()));
    let room = HEIGHT.saturating_sub(lines.len());
    lines.extend(said(stop, case, room));
    lines
}

fn line(name: &'static str, text: String) -> Line {
    Line { name: Some(name), text, alarming: false }
}

fn whole(text: String) -> Line {
    Line { name: None, text, alarming: false }
}

/// A text after its name, on as many lines as it takes.
fn section(name: &'static str, text: &str) -> Vec<Line> {
    let wrapped = wrapped(text, WIDTH - NAME);
    let names = std::iter::once(name).chain(std::iter::repeat(""));
    names.zip(wrapped).map(|(name, text)| line(name, text)).collect()
}

/// The text broken between words into lines of at most so many columns. A word that is longer has a line of its own.
#[must_use]
pub fn wrapped(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.last_mut().map(|last| (last.chars().count(), last));
        match last {
            Some((0, last)) => last.push_str(word),
            Some((length, last)) if length + 1 + word.chars().count() <= columns => {
                last.push(' ');
                last.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// A line broken likewise, its further lines below what comes after the last gap in it.
#[must_use]
pub fn hung(line: &str, columns: usize) -> Vec<String> {
    let after = line.rfind("  ").map_or(0, |gap| gap + 2);
    let (before, text) = line.split_at(after);
    let margin = before.chars().count();
    let rest = " ".repeat(margin);
    let before = std::iter::once(before).chain(std::iter::repeat(rest.as_str()));
    before
        .zip(wrapped(text, columns.saturating_sub(margin)))
        .map(|(before, text)| format!("{before}{text}"))
        .collect()
}

/// The bars, whole modules a line, and the legend below them.
fn cells<const CELLS: usize, const THERMISTORS: usize>(
    stop: &Stop<CELLS, THERMISTORS>,
    cells_a_module: usize,
) -> Vec<Line> {
    /// Columns of the number before a line of bars, and of the gap after a module.
    const NUMBER: usize = 4;
    let volts: Vec<Volts> = stop.frame.cells.value.iter().copied().collect();
    if stop.frame.cells.age == Millis::MAX {
        return vec![line("cells", words::stop::age(stop.frame.cells.age))];
    }
    let (lowest, highest) = ends(&volts);
    let modules = CELLS.div_ceil(cells_a_module.max(1));
    let most = ((WIDTH - NAME - NUMBER + 1) / (cells_a_module + 1)).max(1);
    let in_a_line = modules.div_ceil(modules.div_ceil(most)) * cells_a_module;
    let mut lines: Vec<Line> = Vec::new();
    for (first, row) in (1..).step_by(in_a_line).zip(volts.chunks(in_a_line)) {
        let bars = row.chunks(cells_a_module).map(|module| {
            let bars = module.iter().map(|cell| bar(*cell, volts[lowest], volts[highest]));
            bars.collect::<String>()
        });
        let bars = bars.collect::<Vec<_>>().join(" ");
        lines.push(line(if first == 1 { "cells" } else { "" }, format!("{first:>3} {bars}")));
    }
    let ends = ((lowest, volts[lowest]), (highest, volts[highest]));
    let legend = words::stop::cells(ends, span(volts[lowest], volts[highest]), stop.frame.cells.age);
    lines.extend(section("", &legend));
    lines
}

/// The places of the lowest and of the highest, the first ones if several are equal.
fn ends(volts: &[Volts]) -> (usize, usize) {
    let places = 0..volts.len();
    let lowest = places.clone().min_by_key(|place| volts[*place]);
    let highest = places.max_by_key(|place| (volts[*place], std::cmp::Reverse(*place)));
    (lowest.unwrap_or(0), highest.unwrap_or(0))
}

/// The bar of a cell between the lowest and the highest.
fn bar(volts: Volts, lowest: Volts, highest: Volts) -> char {
    let above = (volts - lowest).milli();
    let place = usize::try_from(8 * above / span(lowest, highest)).unwrap_or(0);
    BARS[place.min(BARS.len() - 1)]
}

/// What all bars together stand for, in millivolts.
fn span(lowest: Volts, highest: Volts) -> i32 {
    (highest - lowest).milli().max(LEAST_SPAN)
}

/// Each thermistor in whole °C, modules parted by a stroke; dashes for one that stands at a rail.
fn temperatures<const CELLS: usize, const THERMISTORS: usize>(stop: &Stop<CELLS, THERMISTORS>) -> String {
    let config = stop.after.core.config();
    let ratios: Vec<_> = stop.frame.thermistors.value.iter().copied().collect();
    let modules = ratios.chunks(usize::from(config.pack.thermistors_per_module).max(1)).map(|module| {
        let shown = module.iter().map(|ratio| words::stop::whole_degrees(config.sensing.celsius(*ratio)));
        shown.map(|degrees| format!("{degrees:>3}")).collect::<Vec<_>>().join(" ")
    });
    format!("{} °C", modules.collect::<Vec<_>>().join("|"))
}

fn contactors<const CELLS: usize, const THERMISTORS: usize>(stop: &Stop<CELLS, THERMISTORS>) -> Vec<Line> {
    let feedback = stop.frame.feedback.value;
    let truth = stop.after.world.truth();
    let each = [
        (Contactor::Negative, feedback.negative),
        (Contactor::Precharge, feedback.precharge),
        (Contactor::Positive, feedback.positive),
    ];
    let each = each.iter().zip(truth.made).map(|((which, says), made)| {
        words::stop::contactor(*which, stop.decision.coils.of(*which), *says == Contact::Made, made)
    });
    let mut lines = section("contactors", &each.collect::<Vec<_>>().join(", "));
    lines.extend(section("sequence", &words::stop::sequence(&stop.decision)));
    lines
}

/// The rules that bind the current, where they say more than that the pack is built so or stands open.
fn binding(told: &[Evidence]) -> Vec<(Side, LimitRule)> {
    let rules = told.iter().filter_map(|told| match told {
        Evidence::Limited { side, rule, runner_up, .. } => {
            Some((*side, if *rule == LimitRule::Smoothing { *runner_up } else { *rule }))
        }
        _ => None,
    });
    rules.filter(|(_, rule)| !matches!(rule, LimitRule::Rating | LimitRule::NotClosed)).collect()
}

/// The faults that are not Clear, the gravest stage first, and the reaction that holds.
fn faults<const CELLS: usize, const THERMISTORS: usize>(stop: &Stop<CELLS, THERMISTORS>) -> Vec<Line> {
    let faults = &stop.decision.faults;
    let named = |set: FaultSet| set.iter().map(Fault::words).collect::<Vec<_>>().join(", ");
    let stages = [("Confirmed", faults.confirmed), ("Suspect", faults.suspect), ("Latched", faults.latched)];
    let told: Vec<String> = stages
        .into_iter()
        .filter(|(_, set)| !set.is_empty())
        .map(|(stage, set)| format!("{stage}: {}", named(set)))
        .collect();
    if told.is_empty() {
        return section("faults", &words::stop::all_clear());
    }
    let mut lines: Vec<Line> = told.iter().flat_map(|stage| section("", stage)).collect();
    if lines.len() > FAULT_LINES {
        lines.truncate(FAULT_LINES - 1);
        lines.extend(section("", &words::stop::more_faults()));
    }
    if let Some(first) = lines.first_mut() {
        first.name = Some("faults");
    }
    if let Some((reaction, fault)) = faults.reaction {
        lines.extend(section("reaction", &words::stop::reaction(reaction, fault)));
    }
    lines.into_iter().map(|line| Line { alarming: true, ..line }).collect()
}

/// What is to be said of the tick, in at most so many lines.
fn said<const CELLS: usize, const THERMISTORS: usize>(
    stop: &Stop<CELLS, THERMISTORS>,
    case: &Case,
    room: usize,
) -> Vec<Line> {
    let sentences = sentences(stop, case);
    let mut lines: Vec<Line> = Vec::new();
    for (place, sentence) in sentences.iter().enumerate() {
        let more: Vec<Line> = folded(sentence).into_iter().map(whole).collect();
        let last = usize::from(place + 1 < sentences.len());
        if lines.len() + more.len() + last > room {
            let left = words::stop::more_sentences(sentences.len() - place);
            lines.push(whole(left));
            break;
        }
        lines.extend(more);
    }
    lines
}

/// What happened in the tick; which dwells run; and if there is nothing of that, what came nearest to its limit.
pub(crate) fn sentences<const CELLS: usize, const THERMISTORS: usize>(
    stop: &Stop<CELLS, THERMISTORS>,
    case: &Case,
) -> Vec<String> {
    let mut sentences: Vec<String> = stop.events.iter().map(|event| happened(case, event)).collect();
    let judged = stop.told.iter().filter_map(|told| match told {
        Evidence::Assessed(seen) => Some(seen),
        _ => None,
    });
    let told = |fault: Fault| {
        let changed = |event: &Event| matches!(&event.what, What::Told(Evidence::StageChanged { assessment, .. }) if assessment.fault == fault);
        stop.events.iter().any(changed)
    };
    let dwelling =
        judged.clone().filter(|seen| matches!(seen.stage, Stage::Suspect { .. }) && !told(seen.fault));
    sentences.extend(dwelling.map(|seen| words::evidence(&Evidence::Assessed(*seen))));
    sentences
        .extend(stop.told.iter().filter(|told| matches!(told, Evidence::Waits { .. })).map(words::evidence));
    if sentences.is_empty() {
        let near = judged.filter(|seen| seen.stage == Stage::Clear && seen.reading != Reading::Unknown);
        let near = near.filter_map(|seen| Some((relative(seen)?, seen)));
        let nearest: Option<(f64, &Assessment)> = near.min_by(|one, other| one.0.total_cmp(&other.0));
        sentences.extend(nearest.map(|(_, seen)| words::stop::nearest(seen)));
    }
    sentences
}
