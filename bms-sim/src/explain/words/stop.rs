//! What is said beside the picture of a tick.

use super::evidence::assessment;
use super::names::{contactor as name, reaction as demanded, rule, step};
use super::numbers::{amps, celsius, clock, decimal, duration, percent, seconds, volts};
use crate::case::{Case, Change, Duty, Knob, LimitChange};
use crate::defect::Defect;
use crate::explain::compare::{Comparison, First};
use crate::recording::stepper::Way;
use crate::recording::{Cost, MOST_NEAR, MOST_SNAPSHOTS};
use bms_core::decision::{Coil, Cooling, CurrentLimits, Decision, Warning};
use bms_core::fault::{Fault, Reaction};
use bms_core::frame::{Contactor, Frame};
use bms_core::limit::{LimitRule, Side};
use bms_core::units::{Amps, Celsius, Millis, Ratio, Volts};
use bms_core::witness::Assessment;

/// Which tick, when, and in which branch.
#[must_use]
pub fn tick(tick: u64, seconds: f64, branch: &str) -> String {
    format!("{tick} at {}, {branch}", clock(seconds))
}

/// What the crane does, and wants.
#[must_use]
pub fn duty(duty: &Duty) -> String {
    #[expect(clippy::cast_possible_truncation, reason = "a current of some hundred amperes")]
    let wanted = Amps::from_milli((duty.demand.amps * 1_000.0) as i32);
    let wants = if wanted == Amps::ZERO { String::new() } else { format!(", wants {}", amps(wanted)) };
    format!("{} since {}{wants}", duty.work.name(), clock(duty.since_seconds))
}

/// How old a part of the frame is, where it is not fresh.
#[must_use]
pub fn age(age: Millis) -> String {
    match age {
        Millis::ZERO => String::new(),
        Millis::MAX => "never measured".to_owned(),
        age => format!("{} old", duration(age)),
    }
}

/// The ends of the bars, cells from 0, and how much all eight steps are in millivolts.
#[must_use]
pub fn cells((lowest, highest): ((usize, Volts), (usize, Volts)), span: i32, old: Millis) -> String {
    let old = if old == Millis::ZERO { String::new() } else { format!("; {}", age(old)) };
    let of = |(cell, shows): (usize, Volts)| format!("cell {} {}", cell + 1, volts(shows));
    format!("lowest {}, highest {}; bars over {span} mV{old}", of(lowest), of(highest))
}

/// A temperature in whole degrees without its unit; dashes where there is none.
#[must_use]
pub fn whole_degrees(celsius: Option<Celsius>) -> String {
    celsius.map_or_else(|| "---".to_owned(), |celsius| decimal(celsius.milli().into(), 0))
}

/// A contactor by its feedback contact, and its coil and truth where they say otherwise.
#[must_use]
pub fn contactor(which: Contactor, coil: Coil, says_closed: bool, closed: bool) -> String {
    let word = |closed: bool| if closed { "closed" } else { "open" };
    let coil = match (coil, says_closed) {
        (Coil::On, false) => " (coil on)",
        (Coil::Off, true) => " (coil off)",
        (Coil::On, true) | (Coil::Off, false) => "",
    };
    let truth = if closed == says_closed { String::new() } else { format!(" (in truth {})", word(closed)) };
    format!("{} {}{coil}{truth}", name(which), word(says_closed))
}

/// Where the sequence stands, and what else is switched.
#[must_use]
pub fn sequence<const CELLS: usize>(decision: &Decision<CELLS>) -> String {
    let cooling = if decision.cooling == Cooling::On { "; cooling runs" } else { "" };
    let bleeding = match decision.bleed.count() {
        0 => String::new(),
        1 => "; 1 cell bleeds".to_owned(),
        count => format!("; {count} cells bleed"),
    };
    let warning = match decision.warning {
        None => "",
        Some(Warning::Danger) => "; warning: danger, do not touch",
        Some(Warning::Evacuate) => "; warning: leave the pack",
    };
    format!("{}{cooling}{bleeding}{warning}", step(decision.step))
}

/// The voltages around the contactors, and of the supply.
#[must_use]
pub fn voltages<const CELLS: usize, const THERMISTORS: usize>(frame: &Frame<CELLS, THERMISTORS>) -> String {
    let around = &frame.voltages.value;
    format!(
        "pack {}, link {}, auxiliary supply {}",
        volts(around.pack),
        volts(around.link),
        volts(frame.supply.value)
    )
}

/// The current against what is allowed, and the rules that bind it.
#[must_use]
pub fn current<const CELLS: usize, const THERMISTORS: usize>(
    frame: &Frame<CELLS, THERMISTORS>,
    limits: CurrentLimits,
    binding: &[(Side, LimitRule)],
) -> String {
    let allowed = if limits == CurrentLimits::NONE {
        "none allowed".to_owned()
    } else {
        format!("allowed {} to {}", amps(-limits.discharge), amps(limits.charge))
    };
    let binding = binding.iter().map(|(side, bound)| {
        let side = match side {
            Side::Charge => "charge",
            Side::Discharge => "discharge",
        };
        format!("; {side} bound by {}", rule(*bound))
    });
    format!("{}, {allowed}{}", amps(frame.current.value), binding.collect::<String>())
}

/// What is believed of the charge, and what is true.
#[must_use]
pub fn charge((low, high): (Ratio, Ratio), (least, most): (f64, f64)) -> String {
    let truth = format!("in truth {:.1} % to {:.1} %", 100.0 * least, 100.0 * most);
    if low <= Ratio::ZERO && high >= Ratio::ONE {
        return format!("nothing measured so far tells it; {truth}");
    }
    format!("by measurement {} to {}; {truth}", percent(low), percent(high))
}

/// No fault is anything but Clear.
#[must_use]
pub fn all_clear() -> String {
    "all Clear".to_owned()
}

/// More faults than a picture shows.
#[must_use]
pub fn more_faults() -> String {
    "and more: show faults".to_owned()
}

/// More sentences than a picture shows.
#[must_use]
pub fn more_sentences(left: usize) -> String {
    format!("and {left} more: show evidence")
}

/// The reaction that holds.
#[must_use]
pub fn reaction(now: Reaction, fault: Fault) -> String {
    format!("{}, demanded by {}", demanded(now), fault.words())
}

/// What came nearest to its limit in a tick in which nothing happened.
#[must_use]
pub fn nearest(seen: &Assessment) -> String {
    format!("nearest to its limit is {}: {}", seen.fault.words(), assessment(seen))
}

/// A cell's number, from 1, before its voltage.
#[must_use]
pub fn cell(number: usize) -> String {
    format!("cell {number}")
}

/// A module's number, from 1, before what is in it.
#[must_use]
pub fn module(number: usize) -> String {
    format!("module {number}")
}

/// A thermistor's number, from 1, and what it reads.
#[must_use]
pub fn thermistor(number: usize, reads: Option<Celsius>) -> String {
    let reads = reads.map_or_else(|| "at a rail".to_owned(), celsius);
    format!("thermistor {number:>2} {reads:>9}")
}

/// Heading of the limits.
#[must_use]
pub fn limits_heading() -> String {
    format!("{:<27} {:>12} {:>12}  {:<14} reaction", "fault", "trip", "release", "dwell")
}

/// A stepper that has nothing to show yet.
#[must_use]
pub fn before_the_first() -> String {
    "nothing was played yet: tick goes on".to_owned()
}

/// Nothing more is found in this direction.
#[must_use]
pub fn nothing_there(way: Way) -> String {
    match way {
        Way::On => "nothing of that comes any more",
        Way::Back => "nothing of that came before",
    }
    .to_owned()
}

/// How much there is to step through.
#[must_use]
pub fn introduction(ticks: u64, played: f64, events: usize) -> String {
    format!("{ticks} ticks were played, {} of the story, with {events} events.", seconds(played))
}

/// What to type first.
#[must_use]
pub fn how_to_begin() -> String {
    "tick, event or stage go on from the start, back goes back, help lists all commands.".to_owned()
}

/// The faults that nothing was told of.
#[must_use]
pub fn silent(faults: usize) -> String {
    format!("{faults} more are Clear and have no value in this tick")
}

/// When two branches part, line by line.
#[must_use]
pub fn compared(found: &Comparison, one: &str, other: &str) -> Vec<String> {
    let first = |what: &str, first: Option<First>| match first {
        Some(First { tick, seconds }) => format!("{what} first in tick {tick} at {}", clock(seconds)),
        None => format!("{what} in no tick that both have"),
    };
    let shared = match found.parting {
        u64::MAX => format!("{one} and {other} are one and the same"),
        0 => format!("{one} and {other} share no tick"),
        ticks => format!("{one} and {other} share their first {ticks} ticks"),
    };
    vec![
        shared,
        first("truth differs", found.truth),
        first("a measurement differs by more than its step", found.frame),
        first("the firmware answers otherwise", found.decision),
    ]
}

/// Heading of what happened in one branch and not in the other.
#[must_use]
pub fn only_in(branch: &str, events: usize) -> String {
    match events {
        0 => format!("nothing happened only in {branch}"),
        _ => format!("only in {branch}:"),
    }
}

/// What is otherwise from some time on.
#[must_use]
pub fn change(change: &Change, case: &Case) -> String {
    match *change {
        Change::Limits(ref changes) => {
            let said: Vec<String> = changes.iter().map(|change| limits(change, case)).collect();
            said.join("; ")
        }
        Change::Duty { work, rate_c } => {
            let tenths = libm::rint(10.0 * rate_c * case.pack.ampere_hours());
            format!("the duty is {} with {} A", work.name(), tenths / 10.0)
        }
        Change::Act(ask) => super::acted(ask),
        Change::Defect(ref begun) => super::defect_begins(begun),
        Change::Mend(place) => format!("defect {} is mended", place + 1),
        Change::Repair(ref repair) => super::repaired(repair),
    }
}

/// The firmware takes other limits in mid-story.
#[must_use]
pub fn limits_changed(changed: &Change, case: &Case) -> String {
    format!("CHANGE: from now on {}", change(changed, case))
}

/// The limits of a fault from now on.
fn limits(change: &LimitChange, case: &Case) -> String {
    let LimitChange { fault, trip, release, dwell_ms, release_dwell_ms } = *change;
    let unit = Knob::Trip(fault).unit(case);
    let value = |name: &str, value: Option<f64>| {
        value.map(|value| format!("the {name} of {} is {value} {unit}", fault.words()))
    };
    let time = |name: &str, time: Option<u64>| {
        time.map(|time| format!("the {name} of {} is {time} ms", fault.words()))
    };
    let said = [
        value("limit", trip),
        value("release limit", release),
        time("dwell", dwell_ms),
        time("release dwell", release_dwell_ms),
    ];
    said.into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// A branch among the others.
#[must_use]
pub fn branch(
    name: &str,
    of: Option<(&str, u64)>,
    changed: Option<&Change>,
    case: &Case,
    here: bool,
) -> String {
    let here = if here { "here: " } else { "" };
    match (of, changed) {
        (Some((trunk, tick)), Some(changed)) => {
            format!("{here}{name}, from tick {tick} of {trunk}: {}", change(changed, case))
        }
        _ => format!("{here}{name}, as it was played"),
    }
}

/// A run stands in a case file.
#[must_use]
pub fn saved_as_case(file: &str, case: &Case) -> String {
    let expects = if case.expect.is_some() { "" } else { "; it expects nothing to come out" };
    format!("{file}: a case that run, why, step and report take{expects}")
}

/// A branch stands in a recording.
#[must_use]
pub fn saved_as_recording(file: &str, ticks: u64) -> String {
    format!("{file}: a recording of {ticks} ticks that why, step and report take")
}

/// An interruption ended a long piece of work before its time.
#[must_use]
pub fn interrupted(left_undone: &str) -> String {
    format!("interrupted: {left_undone}")
}

/// A defect of the case with its number, as `mend` takes it.
#[must_use]
pub fn numbered_defect(number: usize, listed: &Defect) -> String {
    let ends = listed.end_seconds.map_or_else(String::new, |end| format!(", to {}", clock(end)));
    format!("{number}  from {}{ends}: {}", clock(listed.onset_seconds), super::defect(listed))
}

/// That nothing is wrong with the pack.
#[must_use]
pub fn no_defect() -> String {
    "the case has no defect".to_owned()
}

/// What the snapshots around where one stands cost.
#[must_use]
pub fn near_by(cost: &Cost) -> String {
    let Cost { snapshots, spacing, bytes_each } = *cost;
    let kilobytes = |bytes: usize| bytes.div_ceil(1_000);
    format!(
        "around this tick: {snapshots} more of {} kB, {} kB in all; one every {spacing} ticks, at most {MOST_NEAR} ({} kB)",
        kilobytes(bytes_each),
        kilobytes(bytes_each * snapshots),
        kilobytes(bytes_each * MOST_NEAR)
    )
}

/// What the snapshots of a recording cost.
#[must_use]
pub fn snapshots(name: &str, cost: &Cost) -> String {
    let Cost { snapshots, spacing, bytes_each } = *cost;
    let kilobytes = |bytes: usize| bytes.div_ceil(1_000);
    format!(
        "{name}: {snapshots} snapshots of {} kB, {} kB in all; one every {spacing} ticks, at most {MOST_SNAPSHOTS} ({} kB); none on disk",
        kilobytes(bytes_each),
        kilobytes(bytes_each * snapshots),
        kilobytes(bytes_each * MOST_SNAPSHOTS)
    )
}
