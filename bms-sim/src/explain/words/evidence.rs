//! What the firmware told, as sentences: one arm a kind of evidence, without the full stop.

use super::insulation::insulation;
use super::names::{
    act, bleed_refusal, clearance, clearing, discarded, doubt, part, reaction, rule, stage, step,
};
use super::numbers::{
    amp_hours, amps, celsius, clock, compared, duration, milliohms, ohms, percent, place, placed, quantity,
    rounded, volts, volts_finely,
};
use super::quarantine::quarantine;
use super::restart::restart;
use super::watched::watched;
use crate::case::Case;
use crate::recording::JudgedStep;
use bms_core::Config;
use bms_core::estimate::{Interval, LoadStep};
use bms_core::fault::{Fault, Reading, Stage};
use bms_core::limit::Side;
use bms_core::sequence::Because;
use bms_core::units::{Milliohms, Millis, Volts};
use bms_core::wires::WireTest;
use bms_core::witness::{Assessment, Evidence, Place, Refusal, Unseparable};
use core::cmp::Ordering;

/// The load steps that a resistive cell was found by, line by line.
#[must_use]
pub fn load_steps(steps: &[JudgedStep], case: &Case) -> String {
    let heading = "By hand, the last three load steps; the smallest excess counts:\n".to_owned();
    steps.iter().fold(heading, |text, judged| {
        let limit = case.limits_at(judged.seconds).cell_resistance_high.trip;
        let (at, sum) = (clock(judged.seconds), by_hand(&judged.step, limit, case.config()));
        text + &format!("  {at:>10}  from {} to {}: {sum}\n", judged.from, judged.duty)
    })
}

/// The load step of a resistive cell as sums for a pocket calculator, held against this limit: every result follows from the figures
/// shown.
#[must_use]
pub fn by_hand(step: &LoadStep, limit: Milliohms, config: &Config) -> String {
    let facts = &config.pack.resistance;
    let hundredth = |number: i64, unit: &str| format!("{} {unit}", placed(number, 2));
    let thousandth = |number: i64| format!("{} mΩ", placed(number, 3));
    let millivolts = rounded((i64::from(step.volts.bits()) * 1_000_000) >> 16, 2);
    let amps = rounded(step.amps.milli().into(), 2);
    // A current step that is told is never zero; thousandths of the quotient of two hundredths.
    let shown = (millivolts.abs() * 2_000 / amps.abs().max(1) + 1) / 2;
    let (expected, fixed) = (i64::from(step.expected.milli()), i64::from(limit.milli()));
    let part = rounded(expected * i64::from(facts.excess_of_expected.parts_per_million()) / 1_000, 0);
    format!(
        "{} moved by {} in a step of {}: {} ÷ {} = {}; by the pack's median cell {} is expected at its temperature, so {} too much; allowed are {} and {} of what is \
expected, together {}",
        place(Place::Cell(step.cell)),
        hundredth(millivolts, "mV"),
        hundredth(amps, "A"),
        hundredth(millivolts.abs(), "mV"),
        hundredth(amps.abs(), "A"),
        thousandth(shown),
        thousandth(expected),
        thousandth(shown - expected),
        thousandth(fixed),
        percent(facts.excess_of_expected),
        thousandth(fixed + part)
    )
}

/// Both bounds of a charge.
fn interval(interval: Interval) -> String {
    format!("{} to {}", amp_hours(interval.low), amp_hours(interval.high))
}

/// How one fault was judged: the observed value against its limit, and the margin between them.
#[must_use]
pub fn assessment(seen: &Assessment) -> String {
    let (at, shows) = (place(seen.place), watched(seen.fault, seen.place));
    let dwell = match seen.stage {
        Stage::Suspect { held, .. } => {
            format!(", for {} of the {} it takes", duration(held), duration(seen.dwell))
        }
        Stage::Clear | Stage::Confirmed { .. } | Stage::Latched => String::new(),
    };
    match (seen.observed, seen.limit) {
        (Some(observed), Some(limit)) => {
            let (observed, limit, apart) = compared(observed, limit);
            let side = if seen.reading == Reading::Beyond { "past it" } else { "short of it" };
            let apart = apart.map_or_else(String::new, |apart| format!(" ({apart} {side})"));
            format!("{shows} {observed} against a limit of {limit}{apart}{dwell}")
        }
        (Some(observed), None) => format!("{shows} {}{dwell}", quantity(observed)),
        (None, _) => match seen.reading {
            Reading::Beyond => format!("found at {at}{dwell}"),
            Reading::Within | Reading::Between => format!("not found at {at}{dwell}"),
            Reading::Unknown => "there is no reading".to_owned(),
        },
    }
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
            "the link reached {} of {} ({} may be missing) {} after it began to rise",
            volts_finely(*link),
            volts_finely(*pack),
            volts_finely(*within),
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
        Because::LinkFell { from, to, after } => link_fell(*from, *to, *after),
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

/// A link that has fallen, or that a motor holds up where the pack is not: either shows that nothing joins the two.
fn link_fell(from: Volts, to: Volts, after: Millis) -> String {
    let (highest, now, after) = (volts(from), volts(to), duration(after));
    if to < from && now != highest {
        format!("the link fell from {highest} to {now} in {after}: positive and precharge are open")
    } else {
        format!(
            "the link is at {now} after {after} and the pack is not: something else holds it there, positive and precharge are open"
        )
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
        Refusal::ConditionUnmeasured { fault } => format!(
            "clearing {} is refused: its measurement is missing, so that nothing says whether the condition is gone",
            fault.words()
        ),
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
        Refusal::InsulationUnknown => {
            "closing is refused until insulation is measured, and found sufficient".to_owned()
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
        Refusal::AskAgain => {
            "closing is refused: nothing closes by itself after a start of the controller, a clear, or an opening that a fault \
             demanded; ask for open contactors once, then for closed ones"
                .to_owned()
        }
        Refusal::NoSuchCell(cell) => format!("there is no cell {}", u16::from(*cell) + 1),
        Refusal::NotOpen(asked) => format!("{} is refused while the contactors are not open", act(*asked)),
    }
}

/// The active test of the sense wires.
fn wire_test(test: WireTest) -> String {
    let wire = |wire: u8| place(Place::Wire(wire));
    match test {
        WireTest::Begun => "the front ends pull a test current on odd, then on even inputs".to_owned(),
        WireTest::Unanswered(after) => {
            format!("no reading under the test current came for {}: no sense wire is tested", duration(after))
        }
        WireTest::Open(open) => format!(
            "the test current moves the cells beside {} apart by {}: it is open",
            wire(open.wire),
            volts(open.apart)
        ),
        WireTest::Dismissed(sound) => {
            format!(
                "the test current moves nothing at {}: it is sound, and its cells really differ",
                wire(sound)
            )
        }
        WireTest::Sound => "the test current moves no cell: all sense wires are sound".to_owned(),
    }
}

/// One piece of evidence as a sentence, without its full stop.
#[must_use]
#[expect(clippy::too_many_lines, reason = "one arm a kind of evidence: a table, not a procedure")]
pub fn evidence(evidence: &Evidence) -> String {
    match evidence {
        Evidence::ConfigRefused(error) => format!("the configuration is refused: {error}"),
        Evidence::FrameNotNewer { at, before } => {
            format!(
                "a frame of {at} ms is not newer than the one of {before} ms: a tick is counted, and its parts are that much older"
            )
        }
        Evidence::FrameLate { gap, oldest } => format!(
            "a frame came {} after the one before it, later than the {} for which readings are believed",
            duration(*gap),
            duration(*oldest)
        ),
        Evidence::PartStale { part: name, age, oldest } => {
            if *age == Millis::MAX {
                format!("{}: never measured", part(*name))
            } else {
                format!(
                    "{}: {} old, where at most {} are believed",
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
            format!("near miss: {} healed within its dwell of {}", seen.fault.words(), duration(seen.dwell))
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
                format!("contactors have stood in {} for {}", step(*at), duration(*since))
            } else {
                format!(
                    "contactors have waited in {} for {} of at most {}",
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
                volts_finely(check.link),
                volts_finely(check.expected),
                duration(check.since_rise),
                volts_finely(check.pack)
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
            Unseparable::WeldedPositiveFromOpenBleedDown => {
                "while negative is closed, a welded positive cannot be told from an open bleed-down of the link"
                    .to_owned()
            }
            Unseparable::OpenPrechargeFromOpenResistor => {
                "without the feedback of the precharge contactor, one that does not close cannot be told from an open resistor"
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
        Evidence::OcvCompared { cell, volts: rested, shift, error, counted, by_ocv, after } => format!(
            "{} rests at {}{}: its open-circuit voltage is {} ± {}; missing charge by count {}, by that voltage {}, believed {}",
            place(Place::Cell(*cell)),
            volts(*rested),
            match shift.cmp(&Volts::ZERO) {
                Ordering::Less => ", held up by the charge before",
                Ordering::Equal => "",
                Ordering::Greater => ", held down by the discharge before",
            },
            volts(*rested + *shift),
            volts(*error),
            interval(*counted),
            interval(*by_ocv),
            interval(*after)
        ),
        Evidence::ChargeDisagrees { cell, counted, by_ocv, after } => format!(
            "{}: missing charge by count {} and by open-circuit voltage {} exclude each other; believed from now on {}",
            place(Place::Cell(*cell)),
            interval(*counted),
            interval(*by_ocv),
            interval(*after)
        ),
        Evidence::ChargeImpossible { cell, counted, possible } => format!(
            "{}: missing charge by count {}, where only {} is possible; from now on the cell may be full, empty or between",
            place(Place::Cell(*cell)),
            interval(*counted),
            interval(*possible)
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
        Evidence::Insulation(step) => insulation(step),
        Evidence::Quarantined(told) => quarantine(told),
        Evidence::Restarted(began) => restart(*began),
        Evidence::Wires(test) => wire_test(*test),
        Evidence::RecordDropped { fault, dropped } => {
            format!("memory is full: the record of {} is dropped, {dropped} in all", fault.words())
        }
        Evidence::Cleared { fault, by } => format!("{} was cleared {}", fault.words(), clearance(*by)),
        Evidence::ContactorReplaced { contactor } => {
            format!("{} was replaced: nothing of its life is used", place(Place::Contactor(*contactor)))
        }
        Evidence::CellReplaced { cell } => {
            format!("{} was replaced: its charge may be anything now", place(Place::Cell(*cell)))
        }
        Evidence::OffsetLearnt { amps: offset, over } => {
            format!("the idle offset of the current sensor is {} over {}", amps(*offset), duration(*over))
        }
    }
}
