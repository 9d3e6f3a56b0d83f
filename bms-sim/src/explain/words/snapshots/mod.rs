//! Every kind of sentence once, beside the text that a reader gets, so that a change of words is seen where it is made.
//!
//! Values are built by hand. Kinds are named by matches without a catch-all: a new kind does not compile before it has a name here, and
//! fails before it has an example. Whether the figures are right other tests hold; here a person reads.

mod contrasts;
mod distances;
mod silences;
mod told;
mod truths;

use super::glossary::{GLOSSARY, Piece, pieces};
use crate::case::Case;
use bms_core::fault::{Fault, Reading, Stage};
use bms_core::units::{Amps, Millis, Volts};
use bms_core::witness::{Assessment, Place, Quantity};

/// Names examples by their kind, one line each with its sentence; fails where a kind of the list has no example.
macro_rules! each_kind {
    ($of:ty, $sentence:expr, $examples:expr, { $($kind:pat => $name:literal,)+ }) => {{
        let (examples, kinds) = ($examples, [$($name),+]);
        let named = |example: &$of| match example { $($kind => $name,)+ };
        let lines: Vec<(&str, String)> =
            examples.iter().map(|example: &$of| (named(example), $sentence(example))).collect();
        for kind in kinds {
            assert!(lines.iter().any(|(name, _)| *name == kind), "{kind} has no example");
        }
        lines
    }};
}
use each_kind;

/// The lines as a snapshot has them.
fn text(lines: &[(&str, String)]) -> String {
    lines.iter().fold(String::new(), |text, (name, said)| text + &format!("{name}: {said}\n"))
}

fn volts(milli: i32) -> Volts {
    Volts::from_milli(milli)
}

fn amps(milli: i32) -> Amps {
    Amps::from_milli(milli)
}

/// A cell over-voltage at cell 37, of so many millivolts against 3.650 V.
fn over_voltage(milli: i32, reading: Reading, stage: Stage) -> Assessment {
    Assessment {
        fault: Fault::CellOverVoltage,
        place: Place::Cell(36),
        observed: Some(Quantity::Volts(volts(milli))),
        limit: Some(Quantity::Volts(volts(3_650))),
        reading,
        stage,
        dwell: Millis(2_000),
    }
}

const CONFIRMED: Stage = Stage::Confirmed { well: Millis::ZERO };

/// A case with two defects.
fn case() -> Case {
    let text = "schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"crane\"\nseed = 4\nduration_s = 300\n[start]\ncharge_percent = 60\n\
                celsius = 18\n[[defect]]\nkind = \"added_resistance\"\ncell = 37\nmilliohms = 3\nat_s = 10\nramp_s = 2000\n[[defect]]\n\
                kind = \"cell_channel_offset\"\ncell = 4\nmillivolts = -30\nat_s = 20\n";
    Case::parse(text, "case.toml").unwrap()
}

/// Terms of the trade and of this project that a student may not know.
const TERMS: &[&str] = &[
    "active test",
    "balancing",
    "Barred",
    "bleed",
    "bleed resistor",
    "bled",
    "bleeds",
    "bleeding",
    "breaking limit",
    "charge interval",
    "chassis",
    "Clear",
    "Closed",
    "ClosingNegative",
    "ClosingPositive",
    "Confirmed",
    "contactor",
    "contactors",
    "critical",
    "cross voltage",
    "cross voltages",
    "decision",
    "defect",
    "Derate",
    "duty",
    "dwell",
    "Easing",
    "fault",
    "frame",
    "fuse",
    "heat budget",
    "hysteresis",
    "insulation",
    "interlock",
    "joint",
    "Latched",
    "limit",
    "link",
    "load step",
    "median",
    "meter",
    "near miss",
    "onset",
    "open-circuit voltage",
    "Opening",
    "OpenNow",
    "OpenSoon",
    "plated",
    "plating",
    "pole",
    "precharge",
    "Precharging",
    "ProvingDead",
    "quarantine",
    "rail",
    "reaction",
    "release limit",
    "Report",
    "sense wire",
    "sense wires",
    "service disconnect",
    "severity",
    "state of charge",
    "Suspect",
    "tacho",
    "test current",
    "thermistor",
    "tick",
    "twin",
    "vents",
    "weld",
    "welded",
];

/// Every term that a sentence uses has an entry in the glossary. A term that no sentence uses may have one.
#[test]
fn every_term_in_a_sentence_is_explained() {
    let all = [
        include_str!("because.txt"),
        include_str!("between_defects.txt"),
        include_str!("between_faults.txt"),
        include_str!("chain.txt"),
        include_str!("defects.txt"),
        include_str!("distances.txt"),
        include_str!("evidence.txt"),
        include_str!("faults.txt"),
        include_str!("insulation.txt"),
        include_str!("quarantine.txt"),
        include_str!("refusals.txt"),
        include_str!("departs.txt"),
        include_str!("silence.txt"),
        include_str!("truth.txt"),
        include_str!("verdicts.txt"),
    ];
    let sentences: Vec<&str> = all.iter().flat_map(|text| text.lines()).collect();
    let explained = |form: &str| GLOSSARY.iter().any(|term| term.forms.contains(&form));
    let used = |form: &str| {
        let whole = |said: &&str| {
            said.match_indices(form).any(|(at, _)| {
                let outside = |letter: Option<char>| letter.is_none_or(|letter| !letter.is_alphanumeric());
                outside(said[..at].chars().next_back()) && outside(said[at + form.len()..].chars().next())
            })
        };
        sentences.iter().any(whole)
    };
    let unexplained: Vec<&&str> = TERMS.iter().filter(|form| used(form) && !explained(form)).collect();
    assert!(unexplained.is_empty(), "the glossary lacks {unexplained:?}");
    let linked = sentences.iter().flat_map(|said| pieces(said));
    assert!(linked.filter(|piece| matches!(piece, Piece::Term(..))).count() > 200);
}
