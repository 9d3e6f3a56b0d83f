//! # Sentences
//!
//! The only place where sentences about what happened in a pack are made (an error says itself what is accepted). Each is made from
//! evidence, in plain English, every number with its unit and a sensible number of digits; the terminal, a report and a page all show
//! the same one.
//!
//! Cells, modules and sensors are counted from 0 inside and from 1 wherever people read or write them: here, in case files and in files for
//! programs.

pub mod bench;
mod between;
pub mod cautions;
mod contrast;
mod departs;
pub mod diagnosed;
mod distance;
mod evidence;
pub mod glossary;
mod healthy;
mod insulation;
mod judged;
pub mod meter;
mod names;
mod numbers;
mod quarantine;
mod recording;
mod report;
mod restart;
mod silence;
#[cfg(test)]
mod snapshots;
pub mod stop;
mod story;
mod watched;
mod world;

pub use between::{approached, between_faults, came_in_order, looks_at, tried};
pub use contrast::{contrast, reading, tried_in_both};
pub use distance::{distance, distances_heading, distances_not_asked};
pub use evidence::{assessment, because, by_hand, evidence, fault_stage, load_steps, refusal};
pub use healthy::{accused_falsely, false_alarm, near_misses, sound_packs_worked};
pub use judged::judged;
pub use names::{clearing, coils, contactor, part, reaction, rule, stage, step};
pub use numbers::{
    amp_hours, amps, celsius, clock, duration, dwell, milliohms, ohms, percent, place, quantity, seconds,
    volts,
};
pub use recording::{cut_short, ends_early};
pub use report::{again, column, heading, held, lanes_show, letters_of, run_shows, time_axis, watched_shows};
pub use silence::{nothing_wrong, quiet};
pub use story::{
    acted, again_and_again, balanced, confirmed, cooled, duty_begins, ends, nearest, nearest_heading,
    none_confirmed, nothing_then, played, tightest, unmet, until_open, why,
};
pub use world::{
    breach, defect, defect_begins, defect_ends, defect_place, link, margin, never_suspected, repaired,
    unseen, verdict,
};

/// The usual cautions, wherever work on a pack is shown.
pub const CAUTIONS: &str = "Cautions: this is a teaching model, not a certified safety function. A real pack is always live, also with its \
contactors open. Only qualified people work on one: rated gloves inspected before use, face shield, insulated tools, no jewellery, a \
second person. Wait the labelled time, then prove dead at every pair of points (both poles to each other, each pole to chassis) with a \
rated meter that is itself proven before and after (prove, test, prove). Heat, hiss, smell or swelling: leave, warn, ventilate from \
outside. Local codes and licensed practice decide.";

#[cfg(test)]
mod tests {
    use super::*;
    use bms_core::units::{Amps, Celsius, Coulombs, Millis, Ohms, Ratio, Volts};
    use bms_core::witness::Place;

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

    /// A motor that holds the link above the pack shows as much as a fall, but is none.
    #[test]
    fn a_link_that_is_held_up_has_not_fallen() {
        let told = |from, to| {
            let (from, to) = (Volts::from_milli(from), Volts::from_milli(to));
            because(&bms_core::sequence::Because::LinkFell { from, to, after: Millis(120) })
        };
        assert_eq!(
            told(51_200, 48_300),
            "the link fell from 51.2 V to 48.3 V in 120 ms: positive and precharge are open"
        );
        assert_eq!(
            told(56_000, 56_000),
            "the link is at 56.0 V after 120 ms and the pack is not: something else holds it there, positive and precharge are open"
        );
    }

    #[test]
    fn people_count_from_one() {
        assert_eq!(place(Place::Cell(36)), "cell 37");
        assert_eq!(place(Place::Cell(255)), "cell 256");
    }
}
