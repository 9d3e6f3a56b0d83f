//! What separates one fault from another.

use super::contrast::act;
use super::distance::{number, turned_to};
use super::evidence::assessment;
use super::names::stage;
use super::numbers::{clock, seconds};
use super::world::defect;
use crate::case::{Case, Knob};
use crate::explain::contrast::Trial;
use crate::explain::contrast::faults::{Approach, BetweenFaults, Looks, Order};
use bms_core::witness::Assessment;

/// What separates the fault that is asked about from another one, line by line.
#[must_use]
pub fn between_faults(found: &BetweenFaults, case: &Case) -> Vec<String> {
    let [one, other] = found.approaches.map(|approach| approach.fault.words());
    let mut lines = vec![format!("Why {one} and not {other}?")];
    lines.extend(found.approaches.iter().map(looks_at));
    lines.extend(found.approaches.iter().map(approached));
    lines.extend(of_one_defect(&found.approaches, case));
    lines.extend(found.order.iter().flat_map(|order| came_in_order(order, &found.approaches, case)));
    let mut apart: Vec<(usize, &Looks)> =
        found.apart.iter().enumerate().filter_map(|(place, looks)| Some((place, looks.as_ref()?))).collect();
    apart.sort_by_key(|(_, looks)| looks.tick);
    if apart.is_empty() {
        lines.push(not_parted().to_owned());
    }
    for (nth, (place, looks)) in apart.into_iter().enumerate() {
        lines.push(parted(nth, looks));
        lines.extend(looks.of.iter().map(|seen| format!("  {}", look(seen))));
        let before = found.when_confirmed[place].filter(|before| before.tick < looks.tick);
        lines.extend(before.map(|before| not_yet(&before, place)));
    }
    if !found.trials.is_empty() {
        lines.push("What could be done, played on from the end:".to_owned());
    }
    for (trial, looks) in &found.trials {
        lines.push(format!("  {}", tried(*trial, looks.as_ref())));
        let both = looks.iter().flat_map(|looks| looks.of.iter());
        lines.extend(both.map(|seen| format!("    {}", look(seen))));
    }
    lines
}

/// What the firmware looks at for a fault.
#[must_use]
pub fn looks_at(approach: &Approach) -> String {
    format!("{} looks at this: {}", approach.fault.words(), approach.fault.meaning())
}

/// Whether a fault was Confirmed, or how near it came.
#[must_use]
pub fn approached(approach: &Approach) -> String {
    let name = approach.fault.words();
    match (approach.confirmed, approach.nearest, approach.looked) {
        (Some((at, _)), _, _) => format!("{name} was Confirmed at {}.", clock(at)),
        (None, Some(near), _) => format!(
            "{name} was not Confirmed; it came nearest at {}: {}.",
            clock(near.seconds),
            assessment(&near.assessment)
        ),
        (None, None, 0) => format!("{name} was not Confirmed: in no tick was there a reading to look at."),
        (None, None, looked) => {
            format!("{name} was not Confirmed: looked for in {looked} ticks, found in {}.", approach.beyond)
        }
    }
}

/// Whether both come of one defect; nothing where a cause is not known.
fn of_one_defect(approaches: &[Approach; 2], case: &Case) -> Option<String> {
    let [one, other] = approaches;
    let [here, there] = [case.defects.get(one.cause?)?, case.defects.get(other.cause?)?];
    Some(if one.cause == other.cause {
        format!("Both come of the same defect: {}.", defect(here))
    } else {
        format!(
            "They come of two defects: the one of {} is {}; the one of {} is {}.",
            one.fault.words(),
            defect(here),
            other.fault.words(),
            defect(there)
        )
    })
}

/// Which came first, and whether the other one follows from it.
#[must_use]
pub fn came_in_order(order: &Order, approaches: &[Approach; 2], case: &Case) -> [String; 2] {
    let [first, second] = [order.first, 1 - order.first].map(|place| approaches[place].fault.words());
    let order_of_both = if order.apart_seconds > 0.0 {
        format!("{first} came first, {second} {} later.", seconds(order.apart_seconds))
    } else {
        "Both came in the same tick.".to_owned()
    };
    let follows = match (order.silenced, order.came) {
        (None, _) => format!(
            "Whether {second} follows from {first} cannot be tried: no dwell and no limit that is accepted keeps {first} from being Confirmed."
        ),
        (Some((knob, value)), later) => {
            let value = match knob {
                Knob::Dwell(_) => seconds(value / 1_000.0),
                _ => turned_to(knob, value, case),
            };
            let again =
                format!("played again with {first} silenced (its {} turned to {value})", number(knob, case));
            match later {
                None => format!("{second} follows from {first}: {again}, {second} is not Confirmed."),
                Some(later) => format!(
                    "{second} does not follow from {first}: {again}, {second} is Confirmed all the same, at {}.",
                    clock(later.seconds)
                ),
            }
        }
    };
    [order_of_both, follows]
}

/// When they are apart; the first such heading, or the one after it.
fn parted(place: usize, looks: &Looks) -> String {
    let (at, tick) = (clock(looks.seconds), looks.tick);
    match place {
        0 => format!("What separates them, first at {at} (tick {tick}):"),
        _ => format!("And the other way round, first at {at} (tick {tick}):"),
    }
}

/// Why they were not apart when the one at this place was Confirmed already.
fn not_yet(before: &Looks, place: usize) -> String {
    let [seen, other] = [before.of[place], before.of[1 - place]];
    format!(
        "  Not yet when {} was Confirmed, at {}: {}",
        seen.fault.words(),
        clock(before.seconds),
        look(&other)
    )
}

/// They never were.
const fn not_parted() -> &'static str {
    "Nothing that was measured separates them: in no tick did one lie beyond its limit while the other one was measured and did not."
}

/// How one of them was judged.
fn look(seen: &Assessment) -> String {
    format!("{}, {}: {}", seen.fault.words(), stage(seen.stage), assessment(seen))
}

/// What an act shows.
#[must_use]
pub fn tried(trial: Trial, looks: Option<&Looks>) -> String {
    let done = match trial {
        Trial::Meter => "a meter in place of the readings".to_owned(),
        _ => act(trial),
    };
    match looks {
        Some(looks) => format!("{done}: separates them at {}", clock(looks.seconds)),
        None => format!("{done}: does not separate them"),
    }
}
