//! # Sentences
//!
//! The only place where sentences are made. Each is made from evidence, in plain English, every number with its unit and a
//! sensible number of digits; the terminal, a report and a page all show the same one.
//!
//! Cells, modules and sensors are counted from 1 here, and only here.

use super::chain::{Link, LinkKind};
use super::verdict::Verdict;
use crate::case::Case;
use crate::defect::{Defect, PlaceKind};
use crate::recording::Nearest;
use crate::world::truth::{Bound, Breach};
use bms_core::BleedRefusal;
use bms_core::ConfigError;
use bms_core::decision::{Coil, Coils};
use bms_core::estimate::{Discarded, Interval, LoadStep};
use bms_core::fault::{Clearing, Fault, Reaction, Reading, Stage};
use bms_core::frame::{Clearance, Contactor};
use bms_core::limit::{LimitRule, Side};
use bms_core::sense::{Doubt, PartName};
use bms_core::sequence::{Because, Step};
use bms_core::units::{Amps, Celsius, Coulombs, Milliohms, Millis, Ohms, Ratio, Volts};
use bms_core::witness::{Act, Assessment, Evidence, Place, Quantity, Refusal, Unseparable};

/// The usual cautions, wherever work on a pack is shown.
pub const CAUTIONS: &str = "Cautions: this is a teaching model, not a certified safety function. A real pack is always live, also with its \
contactors open. Only qualified people work on one: rated gloves, face shield, insulated tools, a second person. Prove dead at every pair \
of points with a rated meter that is proven before and after (prove-test-prove). Local codes and licensed practice decide.";

/// A number of thousandths with so many digits behind the point (0 to 3), rounded to the nearest.
fn decimal(thousandths: i64, digits: usize) -> String {
    // Exact halves aside, the f64 division is far finer than the digits shown.
    #[allow(clippy::cast_precision_loss)]
    let value = thousandths as f64 / 1_000.0;
    let text = format!("{value:.digits$}");
    // "-0.0" is a zero.
    if text.trim_start_matches('-').chars().all(|digit| matches!(digit, '0' | '.')) {
        text.trim_start_matches('-').to_owned()
    } else {
        text.replace('-', "−")
    }
}

/// A voltage: millivolts for a cell, tenths for a pack.
#[must_use]
pub fn volts(volts: Volts) -> String {
    let digits = if volts.abs() < Volts::from_milli(10_000) { 3 } else { 1 };
    format!("{} V", decimal(volts.milli().into(), digits))
}

/// A current; its sign says charge (+) or discharge (−).
#[must_use]
pub fn amps(amps: Amps) -> String {
    let digits = if amps.abs() < Amps::from_milli(10_000) { 2 } else { 1 };
    format!("{} A", decimal(amps.milli().into(), digits))
}

/// A temperature.
#[must_use]
pub fn celsius(celsius: Celsius) -> String {
    format!("{} °C", decimal(celsius.milli().into(), 1))
}

/// A small resistance.
#[must_use]
pub fn milliohms(milliohms: Milliohms) -> String {
    format!("{} mΩ", decimal(milliohms.milli().into(), 2))
}

/// A large resistance.
#[must_use]
pub fn ohms(Ohms(ohms): Ohms) -> String {
    if ohms < 10_000 { format!("{ohms} Ω") } else { format!("{} kΩ", decimal(ohms.into(), 1)) }
}

/// A fraction as per cent.
#[must_use]
pub fn percent(ratio: Ratio) -> String {
    format!("{} %", decimal(i64::from(ratio.parts_per_million()) / 10, 1))
}

/// A charge in ampere-hours.
#[must_use]
pub fn amp_hours(charge: Coulombs) -> String {
    format!("{} Ah", decimal(charge.milliamp_hours().into(), 2))
}

/// A duration.
#[must_use]
pub fn duration(Millis(millis): Millis) -> String {
    seconds(f64::from(millis) / 1_000.0)
}

/// How long a fault must last until it is Confirmed.
#[must_use]
pub fn dwell(dwell: Millis) -> String {
    if dwell == Millis::ZERO { "at once".to_owned() } else { format!("after {}", duration(dwell)) }
}

/// A duration given in seconds.
#[must_use]
pub fn seconds(seconds: f64) -> String {
    match seconds {
        s if s < 1.0 => format!("{:.0} ms", s * 1_000.0),
        s if s < 10.0 => format!("{s:.2} s"),
        s if s < 600.0 => format!("{s:.1} s"),
        s if s < 36_000.0 => format!("{:.1} min", s / 60.0),
        s => format!("{:.1} h", s / 3_600.0),
    }
}

/// A time of the story, from its start.
#[must_use]
pub fn clock(seconds: f64) -> String {
    if seconds < 6_000.0 { format!("{seconds:.2} s") } else { format!("{:.2} h", seconds / 3_600.0) }
}

/// What a defect is and where; the severity with its unit.
#[must_use]
pub fn defect(defect: &Defect) -> String {
    let at = match defect.kind.place() {
        PlaceKind::Cell => format!(" at cell {}", defect.place + 1),
        PlaceKind::Joint => format!(" between cells {} and {}", defect.place + 1, defect.place + 2),
        PlaceKind::Thermistor => format!(" at thermistor {}", defect.place + 1),
        PlaceKind::Module => format!(" at module {}", defect.place + 1),
        PlaceKind::CurrentSensor => {
            format!(" at the {} current sensor", ["main", "second"][defect.place.min(1)])
        }
        PlaceKind::Contactor => {
            let which = [Contactor::Negative, Contactor::Precharge, Contactor::Positive];
            format!(" at the {} contactor", contactor(which[defect.place.min(2)]))
        }
        PlaceKind::Pack => String::new(),
    };
    let severity = if defect.kind.unit().is_empty() {
        String::new()
    } else {
        format!(", {} {}", defect.severity, defect.kind.unit())
    };
    format!("{}{at}{severity}", defect.kind.name())
}

/// A defect begins.
#[must_use]
pub fn defect_begins(begun: &Defect) -> String {
    let growing = if begun.grows_seconds > 0.0 {
        format!(" in {}", seconds(begun.grows_seconds))
    } else {
        String::new()
    };
    format!("DEFECT begins: {}{growing}", defect(begun))
}

/// A defect ends.
#[must_use]
pub fn defect_ends(ended: &Defect) -> String {
    format!("DEFECT ends: {}", defect(ended))
}

/// Another duty begins.
#[must_use]
pub fn duty_begins(work: &str) -> String {
    format!("the duty is now {work}")
}

/// A safe bound that truth has passed.
#[must_use]
pub fn breach(breach: &Breach) -> String {
    let cell = breach.place.map_or(0, |place| place + 1);
    let (value, limit) = (breach.value, breach.limit);
    match breach.bound {
        Bound::CellReversed => format!("in truth cell {cell} is reversed: {value:.3} V"),
        Bound::CellLow => {
            format!("in truth cell {cell} falls past {limit:.2} V, the least that is safe ({value:.3} V)")
        }
        Bound::CellHigh => {
            format!("in truth cell {cell} rises past {limit:.2} V, the most that is safe ({value:.3} V)")
        }
        Bound::CellHot => {
            format!("in truth cell {cell} passes {limit:.0} °C inside, the most that is safe ({value:.1} °C)")
        }
        Bound::ChargedFrozen => {
            format!(
                "in truth {value:.1} A charge cell {cell} below 0 °C, where {limit:.1} A is the most that is safe: plating does not heal"
            )
        }
        Bound::JointHeat => {
            format!(
                "in truth the joint between cells {cell} and {} passes {limit:.0} W as a mean over a minute ({value:.2} W)",
                cell + 1
            )
        }
        Bound::JointHot => format!(
            "in truth the joint between cells {cell} and {} passes {limit:.0} °C ({value:.1} °C)",
            cell + 1
        ),
        Bound::LinkLive => {
            format!("in truth the link is still at {value:.0} V, safe is less than {limit:.0} V")
        }
        Bound::ClosedOntoDifference => {
            format!("in truth a contactor closed onto {value:.0} V, safe is less than {limit:.0} V")
        }
        Bound::OpenedAboveLimit => {
            format!("in truth a contactor had to break {value:.0} A, safe is less than {limit:.0} A")
        }
        Bound::ResistorHot => {
            format!("in truth the precharge resistor is {value:.0} °C, safe is less than {limit:.0} °C")
        }
    }
}

/// A link of a chain.
#[must_use]
pub fn link(link: &Link, case: &Case) -> String {
    match &link.what {
        LinkKind::DefectBegins(place) => match case.defects.get(*place) {
            Some(begun) => format!("the defect begins: {}", defect(begun)),
            None => "a defect begins".to_owned(),
        },
        LinkKind::TruthDeparts => "truth departs from the same run without the defect".to_owned(),
        LinkKind::FrameDeparts => "a measurement departs by more than its step".to_owned(),
        LinkKind::Suspected(seen) => format!("{} is Suspect: {}", seen.fault.words(), assessment(seen)),
        LinkKind::Confirmed(seen) => format!("{} is Confirmed: {}", seen.fault.words(), assessment(seen)),
        LinkKind::Reacted(now) => format!("the reaction holds: {}", reaction(*now)),
        LinkKind::ContactorsOpen => "the contactors are open".to_owned(),
        LinkKind::LinkDown => "the link is below 60 V".to_owned(),
    }
}

/// Whether the pack is dangerous, and how soon it would have been had nothing reacted.
#[must_use]
pub fn verdict(verdict: &Verdict, case: &Case) -> Vec<String> {
    let onset = case.defects.iter().map(|defect| defect.onset_seconds).fold(f64::INFINITY, f64::min);
    let mut sentences = vec![if verdict.critical() {
        "Critical.".to_owned()
    } else {
        "Not critical: truth stays inside its safe bounds.".to_owned()
    }];
    if let Some(passed) = &verdict.passed {
        sentences.push(format!(
            "In this run a bound was passed at {}: {}.",
            clock(passed.seconds),
            breach(passed)
        ));
    }
    if let Some(hazard) = &verdict.without_reactions {
        sentences.push(format!(
            "Had nothing reacted, {} after the onset: {}.",
            seconds((hazard.seconds - onset).max(0.0)),
            breach(hazard)
        ));
    }
    sentences
}

/// A fault that was never suspected, and how near it came.
#[must_use]
pub fn never_suspected(nearest: Option<&Nearest>) -> String {
    nearest.map_or_else(
        || "It was never suspected, and nothing was measured that could tell.".to_owned(),
        |near| {
            format!(
                "It was never suspected. Nearest at {}: {}.",
                clock(near.seconds),
                assessment(&near.assessment)
            )
        },
    )
}

/// The load steps that a resistive cell was found by, line by line.
#[must_use]
pub fn load_steps(steps: &[LoadStep]) -> String {
    let heading = "By hand, the last three load steps; the smallest excess counts:\n".to_owned();
    steps.iter().fold(heading, |text, step| text + &format!("  {}\n", by_hand(step)))
}

/// The load step of a resistive cell as a sum for a pocket calculator.
#[must_use]
pub fn by_hand(step: &LoadStep) -> String {
    format!(
        "{} changed by {} in a step of {}: {} ÷ {} = {}; {} is expected at its temperature, so {} too much, where {} more is allowed",
        place(Place::Cell(step.cell)),
        volts(step.volts),
        amps(step.amps),
        volts(step.volts.abs()),
        amps(step.amps.abs()),
        milliohms(step.resistance),
        milliohms(step.expected),
        milliohms(step.resistance - step.expected),
        milliohms(step.allowed)
    )
}

/// A value with its unit.
#[must_use]
pub fn quantity(quantity: Quantity) -> String {
    match quantity {
        Quantity::Volts(q) => volts(q),
        Quantity::Amps(q) => amps(q),
        Quantity::Celsius(q) => celsius(q),
        Quantity::CelsiusPerSecond(q) => format!("{} °C/s", decimal(q.milli().into(), 2)),
        Quantity::Milliohms(q) => milliohms(q),
        Quantity::Ohms(q) => ohms(q),
        Quantity::Ratio(q) => percent(q),
        Quantity::Coulombs(q) => amp_hours(q),
        Quantity::Millis(q) => duration(q),
    }
}

/// A place; cells, modules and sensors from 1.
#[must_use]
pub fn place(place: Place) -> String {
    match place {
        Place::Pack => "the pack".to_owned(),
        Place::Link => "the link".to_owned(),
        Place::Supply => "the auxiliary supply".to_owned(),
        Place::Cell(cell) => format!("cell {}", u16::from(cell) + 1),
        Place::Module(module) => format!("module {}", u16::from(module) + 1),
        Place::Thermistor(thermistor) => format!("thermistor {}", u16::from(thermistor) + 1),
        Place::Contactor(which) => format!("the {} contactor", contactor(which)),
    }
}

/// A contactor's name.
#[must_use]
pub const fn contactor(contactor: Contactor) -> &'static str {
    match contactor {
        Contactor::Negative => "negative",
        Contactor::Precharge => "precharge",
        Contactor::Positive => "positive",
    }
}

/// A step of the contactor sequence.
#[must_use]
pub const fn step(step: Step) -> &'static str {
    match step {
        Step::Open => "Open",
        Step::ClosingNegative => "ClosingNegative",
        Step::Precharging => "Precharging",
        Step::ClosingPositive => "ClosingPositive",
        Step::Closed => "Closed",
        Step::Easing => "Easing",
        Step::Opening => "Opening",
        Step::ProvingDead => "ProvingDead",
        Step::Barred => "Barred",
    }
}

/// A reaction.
#[must_use]
pub const fn reaction(reaction: Reaction) -> &'static str {
    match reaction {
        Reaction::Report => "Report",
        Reaction::Derate => "Derate",
        Reaction::OpenSoon => "OpenSoon",
        Reaction::OpenNow => "OpenNow",
    }
}

/// A stage.
#[must_use]
pub const fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::Clear => "Clear",
        Stage::Suspect { .. } => "Suspect",
        Stage::Confirmed { .. } => "Confirmed",
        Stage::Latched => "Latched",
    }
}

/// Which coils are energised.
#[must_use]
pub fn coils(coils: Coils) -> String {
    let on: Vec<&str> = [Contactor::Negative, Contactor::Precharge, Contactor::Positive]
        .into_iter()
        .filter(|which| coils.of(*which) == Coil::On)
        .map(contactor)
        .collect();
    if on.is_empty() { "no coil".to_owned() } else { on.join(", ") }
}

/// The name of a frame's part.
#[must_use]
pub const fn part(part: PartName) -> &'static str {
    match part {
        PartName::Cells => "cell voltages",
        PartName::Thermistors => "thermistors",
        PartName::Current => "current",
        PartName::CurrentCheck => "second current channel",
        PartName::Voltages => "pack and link voltages",
        PartName::Supply => "auxiliary supply",
        PartName::Feedback => "feedback contacts",
    }
}

/// A rule of the current limit.
#[must_use]
pub const fn rule(rule: LimitRule) -> &'static str {
    match rule {
        LimitRule::Rating => "what the pack is built for",
        LimitRule::CellVoltage => "a cell's voltage ten seconds ahead",
        LimitRule::Temperature => "temperature",
        LimitRule::Charge => "the worse end of the charge interval",
        LimitRule::HeatBudget => "the heat budget of fuse and cable",
        LimitRule::Derate => "a fault that demands Derate",
        LimitRule::LostReading => "a reading that is missing",
        LimitRule::NotClosed => "the contactors are not closed",
        LimitRule::Smoothing => "a limit may only change so fast",
    }
}

/// Who may clear a fault.
const fn clearing(clearing: Clearing) -> &'static str {
    match clearing {
        Clearing::AtPanel => "at the panel",
        Clearing::AtService => "by the workshop only",
    }
}

/// Who clears.
const fn clearance(by: Clearance) -> &'static str {
    match by {
        Clearance::Panel => "at the panel",
        Clearance::Service => "by the workshop",
    }
}

fn interval(interval: Interval) -> String {
    format!("{} to {}", amp_hours(interval.low), amp_hours(interval.high))
}

/// How one fault was judged: the observed value against its limit, and the margin between them.
#[must_use]
pub fn assessment(seen: &Assessment) -> String {
    let at = place(seen.place);
    let dwell = match seen.stage {
        Stage::Suspect { held, .. } => {
            format!(", for {} of the {} it takes", duration(held), duration(seen.dwell))
        }
        Stage::Clear | Stage::Confirmed { .. } | Stage::Latched => String::new(),
    };
    match (seen.observed, seen.limit) {
        (Some(observed), Some(limit)) => {
            format!(
                "{at} shows {} against a limit of {}{}{dwell}",
                quantity(observed),
                quantity(limit),
                margin(observed, limit)
            )
        }
        (Some(observed), None) => format!("{at} shows {}{dwell}", quantity(observed)),
        (None, _) => match seen.reading {
            Reading::Beyond => format!("found at {at}{dwell}"),
            Reading::Within | Reading::Between => format!("not found at {at}{dwell}"),
            Reading::Unknown => "there is no reading".to_owned(),
        },
    }
}

/// The distance between value and limit; nothing where the two are not of one kind.
fn margin(observed: Quantity, limit: Quantity) -> String {
    let apart = match (observed, limit) {
        (Quantity::Volts(a), Quantity::Volts(b)) => Quantity::Volts((a - b).abs()),
        (Quantity::Amps(a), Quantity::Amps(b)) => Quantity::Amps((a - b).abs()),
        (Quantity::Celsius(a), Quantity::Celsius(b)) => Quantity::Celsius((a - b).abs()),
        (Quantity::CelsiusPerSecond(a), Quantity::CelsiusPerSecond(b)) => {
            Quantity::CelsiusPerSecond((a - b).abs())
        }
        (Quantity::Milliohms(a), Quantity::Milliohms(b)) => Quantity::Milliohms((a - b).abs()),
        (Quantity::Ratio(a), Quantity::Ratio(b)) => Quantity::Ratio((a - b).abs()),
        (Quantity::Coulombs(a), Quantity::Coulombs(b)) => Quantity::Coulombs((a - b).abs()),
        (Quantity::Millis(Millis(a)), Quantity::Millis(Millis(b))) => Quantity::Millis(Millis(a.abs_diff(b))),
        (Quantity::Ohms(Ohms(a)), Quantity::Ohms(Ohms(b))) => Quantity::Ohms(Ohms(a.abs_diff(b))),
        _ => return String::new(),
    };
    format!(" ({} apart)", quantity(apart))
}

/// A fault with its stage.
#[must_use]
pub fn fault_stage(fault: Fault, now: Stage) -> String {
    format!("{} is {}", fault.words(), stage(now))
}

/// Why the contactor sequence moved.
#[must_use]
pub fn because(because: &Because) -> String {
    match because {
        Because::ClosingAsked { behind_negative, behind_positive, pack } => format!(
            "closing is asked for, and the cross voltages {} and {} of a pack of {} prove that all contactors are open",
            volts(*behind_negative),
            volts(*behind_positive),
            volts(*pack)
        ),
        Because::OpeningAsked => "opening is asked for".to_owned(),
        Because::NegativeClosed { behind_negative, pack, link } => format!(
            "the voltage behind negative became {} of {} and the link stayed at {}: negative is closed, the others are open",
            volts(*behind_negative),
            volts(*pack),
            volts(*link)
        ),
        Because::LinkCharged { link, pack, within, after } => format!(
            "the link reached {} of {} ({} allowed) {} after it began to rise",
            volts(*link),
            volts(*pack),
            volts(*within),
            duration(*after)
        ),
        Because::PositiveClosed { link, pack } => {
            format!("link {} and pack {} are one: positive is closed", volts(*link), volts(*pack))
        }
        Because::FaultDemands { fault, reaction: demanded } => {
            format!("{} demands {}", fault.words(), reaction(*demanded))
        }
        Because::CurrentFallen { amps: now, below } => {
            format!("the current has fallen to {}, below the switching limit of {}", amps(*now), amps(*below))
        }
        Because::GraceOver { amps: now, grace } => match now {
            Some(now) => {
                format!("the current is still {} after the {} allowed", amps(*now), duration(*grace))
            }
            None => format!("the current is not known and the {} allowed are over", duration(*grace)),
        },
        Because::FuseCleared { amps: now, after } => match now {
            Some(now) => {
                format!("the current is {} after waiting {} for the fuse", amps(*now), duration(*after))
            }
            None => format!("the current is not known after waiting {} for the fuse", duration(*after)),
        },
        Because::LinkFell { from, to, after } => format!(
            "the link fell from {} to {} in {}: positive and precharge are open",
            volts(*from),
            volts(*to),
            duration(*after)
        ),
        Because::CoilsOff => "all coils are off".to_owned(),
        Because::ProvenDead { link, behind_negative, after } => format!(
            "the link is down to {} after {} and the voltage behind negative settled at {}: all contactors are open",
            volts(*link),
            duration(*after),
            volts(*behind_negative)
        ),
        Because::NotProven { link, deadline } => match link {
            Some(link) => {
                format!("the link still reads {} at the deadline of {}", volts(*link), duration(*deadline))
            }
            None => format!("the link cannot be read at the deadline of {}", duration(*deadline)),
        },
        Because::PrechargeFailed { fault } => format!("the start is aborted: {}", fault.words()),
        Because::Cleared => "the memory was cleared and no condition is present".to_owned(),
    }
}

/// Something that was asked for.
fn act(act: Act) -> String {
    match act {
        Act::Close => "closing".to_owned(),
        Act::Clear(fault) => format!("clearing {}", fault.words()),
        Act::Replace => "entering a replaced cell".to_owned(),
    }
}

/// Why something is refused, and what would have to change.
#[must_use]
pub fn refusal(refusal: &Refusal) -> String {
    match refusal {
        Refusal::FaultHolds { act: asked, fault } => {
            format!("{} is refused while {} holds: clear it first", act(*asked), fault.words())
        }
        Refusal::ConditionPresent(seen) => {
            format!(
                "clearing {} is refused, the condition is still present: {}",
                seen.fault.words(),
                assessment(seen)
            )
        }
        Refusal::NotAllowed { fault, by } => format!("{} is cleared {}", fault.words(), clearing(*by)),
        Refusal::SupplyTooLow { volts: now, least } => {
            format!(
                "closing is refused: the auxiliary supply is {}, at least {} is needed",
                volts(*now),
                volts(*least)
            )
        }
        Refusal::ResistorHot { rise, most } => format!(
            "closing is refused until the precharge resistor has cooled: {} above its surroundings, {} allowed",
            celsius(*rise),
            celsius(*most)
        ),
        Refusal::Retries { wait: Millis::MAX } => {
            "closing is refused: too many starts failed in a row; find the cause and clear".to_owned()
        }
        Refusal::Retries { wait } => {
            format!("closing is refused for another {} after a failed start", duration(*wait))
        }
        Refusal::Unmeasured(missing) => {
            format!("closing is refused: no valid reading of the {}", part(*missing))
        }
        Refusal::NotProvenOpen { behind_negative, behind_positive, link, pack } => format!(
            "closing is refused: cross voltages {} and {} with the link at {} and the pack at {} do not prove that all are open",
            volts(*behind_negative),
            volts(*behind_positive),
            volts(*link),
            volts(*pack)
        ),
        Refusal::AwaitsClearing => {
            "closing is barred: nothing holds any more, but the memory must be cleared".to_owned()
        }
        Refusal::NoSuchCell(cell) => format!("there is no cell {}", u16::from(*cell) + 1),
        Refusal::NotOpen(asked) => format!("{} is refused while the contactors are not open", act(*asked)),
    }
}

/// What speaks against a thermistor's reading.
const fn doubt(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::AtOpenRail => "it stands at the rail of an open wire and is dropped",
        Doubt::AtShortRail => "it stands at the rail of a short circuit and is dropped",
        Doubt::Jumped => "it changed faster than its mass allows",
        Doubt::Stray => "it is far from its neighbours",
        Doubt::Frozen => "it stayed identical while its neighbours moved",
    }
}

/// Why a load step was not used.
const fn discarded(because: Discarded) -> &'static str {
    match because {
        Discarded::TooSmall => "it is too small",
        Discarded::CurrentMoved => "the current still moved in the window after it",
        Discarded::ReadingMissing => "a reading was missing in a window",
        Discarded::NotQuiet => "cells were bleeding or precharge was running",
    }
}

/// Why a cell does not bleed.
const fn bleed_refusal(because: BleedRefusal) -> &'static str {
    match because {
        BleedRefusal::NotProvenAbove => {
            "its charge interval does not prove that it is fuller than the emptiest cell"
        }
        BleedRefusal::BelowFloor => "it may be too empty",
        BleedRefusal::Temperature => "its module is too cold or too hot",
        BleedRefusal::HeatBudget => "its module already makes all the heat that is allowed",
        BleedRefusal::ReadingDoubted => "a fault speaks against its reading",
        BleedRefusal::Measuring => "cells are being measured",
    }
}

/// One piece of evidence as a sentence, without its full stop.
#[must_use]
#[expect(clippy::too_many_lines, reason = "one arm a kind of evidence: a table, not a procedure")]
pub fn evidence(evidence: &Evidence) -> String {
    match evidence {
        Evidence::ConfigRefused(error) => format!("the configuration is refused: {}", config_error(error)),
        Evidence::FrameNotNewer { at, before } => {
            format!("a frame of {at} ms is not newer than the one of {before} ms: no time is counted")
        }
        Evidence::PartStale { part: name, age, oldest } => {
            if *age == Millis::MAX {
                format!("the {} were never measured", part(*name))
            } else {
                format!(
                    "the {} are {} old, older than the {} that are believed",
                    part(*name),
                    duration(*age),
                    duration(*oldest)
                )
            }
        }
        Evidence::Doubted { thermistor, doubt: why, reads } => {
            format!("{} reads {}: {}", place(Place::Thermistor(*thermistor)), celsius(*reads), doubt(*why))
        }
        Evidence::Assessed(seen) => format!("{}: {}", fault_stage(seen.fault, seen.stage), assessment(seen)),
        Evidence::StageChanged { from, assessment: seen } => format!(
            "{} went from {} to {}: {}",
            seen.fault.words(),
            stage(*from),
            stage(seen.stage),
            assessment(seen)
        ),
        Evidence::NearMiss(seen) => {
            format!("near miss: {} healed within its {}", seen.fault.words(), duration(seen.dwell))
        }
        Evidence::Reacting { to, .. } => match to {
            Some((now, fault)) => {
                format!("the reaction is now {}, demanded by {}", reaction(*now), fault.words())
            }
            None => "no reaction holds any more".to_owned(),
        },
        Evidence::Moved { from, to, because: why } => {
            format!("contactors went from {} to {} because {}", step(*from), step(*to), because(why))
        }
        Evidence::Waits { step: at, since, deadline } => {
            if *deadline == Millis::MAX {
                format!("contactors stay in {} since {}", step(*at), duration(*since))
            } else {
                format!(
                    "contactors wait in {} since {}, at most {}",
                    step(*at),
                    duration(*since),
                    duration(*deadline)
                )
            }
        }
        Evidence::OpenedUnderLoad { amps: now, count } => {
            format!(
                "contactors were opened at {}: opening number {count} under load, which wears the contacts",
                amps(*now)
            )
        }
        Evidence::Precharging(check) => {
            let cause = check
                .explained_by
                .map_or_else(String::new, |load| format!("; a load of {} would explain it", ohms(load)));
            format!(
                "link {} against {} expected {} after it began to rise, pack {}{cause}",
                volts(check.link),
                volts(check.expected),
                duration(check.since_rise),
                volts(check.pack)
            )
        }
        Evidence::CannotSeparate(pair) => match pair {
            Unseparable::WeldedPositiveFromOpen => {
                "without the voltage behind positive, a welded positive cannot be told from open contactors"
                    .to_owned()
            }
            Unseparable::WeldedNegativeFromOpen => {
                "without the voltage behind negative, a welded negative cannot be told from open contactors"
                    .to_owned()
            }
        },
        Evidence::Refused(why) => refusal(why),
        Evidence::Limited { side, rule: binds, allows, runner_up, runner_up_allows, given } => {
            let side = match side {
                Side::Charge => "charge",
                Side::Discharge => "discharge",
            };
            format!(
                "{side} limit {}: bound by {} at {}, next {} at {}",
                amps(*given),
                rule(*binds),
                amps(*allows),
                rule(*runner_up),
                amps(*runner_up_allows)
            )
        }
        Evidence::OcvCompared { cell, volts: rested, error, counted, by_ocv, after } => format!(
            "{} rests at {} ± {}: missing charge by count {}, by open-circuit voltage {}, believed {}",
            place(Place::Cell(*cell)),
            volts(*rested),
            volts(*error),
            interval(*counted),
            interval(*by_ocv),
            interval(*after)
        ),
        Evidence::ChargeDisagrees { cell, counted, by_ocv } => format!(
            "{}: missing charge by count {} and by open-circuit voltage {} exclude each other; the count is kept",
            place(Place::Cell(*cell)),
            interval(*counted),
            interval(*by_ocv)
        ),
        Evidence::LoadStep(seen) => format!(
            "a load step of {} moved {} by {}: {} where {} is expected and {} more allowed",
            amps(seen.amps),
            place(Place::Cell(seen.cell)),
            volts(seen.volts),
            milliohms(seen.resistance),
            milliohms(seen.expected),
            milliohms(seen.allowed)
        ),
        Evidence::LoadStepDiscarded { because: why, amps: by } => {
            format!("a load step of {} is not used: {}", amps(*by), discarded(*why))
        }
        Evidence::BleedChosen { cell, excess } => {
            format!(
                "{} bleeds: it is fuller than the emptiest cell by at least {}",
                place(Place::Cell(*cell)),
                amp_hours(*excess)
            )
        }
        Evidence::BleedRefused { cell, because: why } => {
            format!("{} does not bleed: {}", place(Place::Cell(*cell)), bleed_refusal(*why))
        }
        Evidence::RecordDropped { fault, dropped } => {
            format!("memory is full: the record of {} is dropped, {dropped} in all", fault.words())
        }
        Evidence::Cleared { fault, by } => format!("{} was cleared {}", fault.words(), clearance(*by)),
        Evidence::CellReplaced { cell } => {
            format!("{} was replaced: its charge may be anything now", place(Place::Cell(*cell)))
        }
        Evidence::OffsetLearnt { amps: offset, over } => {
            format!("the idle offset of the current sensor is {} over {}", amps(*offset), duration(*over))
        }
        Evidence::Running { uptime } => format!("running for {} s", uptime.0 / 1_000),
    }
}

/// Why a configuration is refused.
#[must_use]
pub fn config_error(error: &ConfigError) -> String {
    match error {
        ConfigError::CellCount { modules, per_module, built } => {
            format!(
                "pack.modules = {modules} times cells_per_module = {per_module} must be the {built} cells of the controller"
            )
        }
        ConfigError::ThermistorCount { modules, per_module, built } => format!(
            "pack.modules = {modules} times thermistors_per_module = {per_module} must be the {built} thermistors of the controller"
        ),
        ConfigError::NotPositive { field } => format!("{field} must be above zero"),
        ConfigError::OutOfOrder { smaller, larger } => format!("{smaller} must be below {larger}"),
        ConfigError::RangeTooSmall { range, least } => {
            format!(
                "pack.current_range = {} cannot see the over-current limit: at least {}",
                amps(*range),
                amps(*least)
            )
        }
        ConfigError::AgeBelowTick { oldest_age, tick } => {
            format!("pack.oldest_age = {} is below the tick of {}", duration(*oldest_age), duration(*tick))
        }
        ConfigError::ReleaseBeyondTrip { fault } => {
            format!("faults.{}: the release limit must lie inwards of the trip limit", fault.key())
        }
        ConfigError::DwellTooLong { fault, most } => {
            format!("faults.{}: a dwell of more than {} never ends", fault.key(), duration(*most))
        }
        ConfigError::PrechargeNeverEnds { ends_at, needed } => format!(
            "precharge and bleed-down resistor divide: the link ends at {} of the pack, {} is needed",
            percent(*ends_at),
            percent(*needed)
        ),
        ConfigError::PrechargeTooQuick { time_constant, least } => {
            format!(
                "the precharge time constant of {} is too short: at least {}",
                duration(*time_constant),
                duration(*least)
            )
        }
        ConfigError::BleedDownTooSlow { left, limit } => {
            format!("the link is still at {} when it must be below {}", volts(*left), volts(*limit))
        }
        _ => "an unknown rule is broken".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_their_unit_and_no_more_digits_than_they_deserve() {
        assert_eq!(volts(Volts::from_milli(3_301)), "3.301 V");
        assert_eq!(volts(Volts::from_milli(307_240)), "307.2 V");
        assert_eq!(amps(Amps::from_milli(-150_000)), "−150.0 A");
        assert_eq!(celsius(Celsius::from_milli(-40)), "0.0 °C");
        assert_eq!(percent(Ratio::percent(98)), "98.0 %");
        assert_eq!(amp_hours(Coulombs::from_milliamp_hours(1_250)), "1.25 Ah");
        assert_eq!(duration(Millis(300)), "300 ms");
        assert_eq!(duration(Millis(2_500)), "2.50 s");
        assert_eq!(ohms(Ohms(1_470)), "1470 Ω");
    }

    #[test]
    fn people_count_from_one() {
        assert_eq!(place(Place::Cell(36)), "cell 37");
        assert_eq!(place(Place::Cell(255)), "cell 256");
    }
}
