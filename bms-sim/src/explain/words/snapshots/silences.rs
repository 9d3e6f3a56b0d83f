//! What differs from the same run without a defect, why nothing was said of one, and how far the hazard was.

use super::{case, each_kind, over_voltage, text};
use crate::explain::channels::Channel;
use crate::explain::departs::{Departure, Fact, Most};
use crate::explain::silence::{Nearer, Quiet};
use crate::explain::verdict::Verdict;
use crate::explain::words::{self, departs};
use crate::recording::Nearest;
use crate::world::truth::{Bound, Breach};
use bms_core::fault::{Reading, Stage};
use bms_core::sense::PartName;
use snapbox::{assert_data_eq, file};

#[test]
fn whatever_departs() {
    let of = |what, is, twin| Departure { what, is, twin };
    let facts = [
        of(Fact::CellVolts(36), 3.212_3, 3.229),
        of(Fact::CellVolts(36), 3.300_000_1, 3.3),
        of(Fact::CellCharge(36), 0.593_9, 0.595),
        of(Fact::CellCelsius(36), 21.4, 18.0),
        of(Fact::JointCelsius(36), 58.2, 19.1),
        of(Fact::PackVolts, 307.2, 316.1),
        of(Fact::LinkVolts, 0.0, 307.2),
        of(Fact::LiftedVolts, -12.3, 0.0),
        of(Fact::ChassisVolts, 12.0, 153.6),
        of(Fact::InsulationOhms, 19_800.0, 2_000_000.0),
        of(Fact::SupplyVolts, 8.7, 12.4),
        of(Fact::ResistorCelsius, 92.0, 31.0),
        of(Fact::Made(2), 1.0, 0.0),
        of(Fact::InterlockBreaks, 1.0, 0.0),
        of(Fact::ImpactEdges, 20.0, 0.0),
    ];
    let lines = each_kind!(Departure<Fact>, departs::fact, facts, {
        Departure { what: Fact::CellVolts(_), .. } => "cell volts",
        Departure { what: Fact::CellCharge(_), .. } => "cell charge",
        Departure { what: Fact::CellCelsius(_), .. } => "cell celsius",
        Departure { what: Fact::JointCelsius(_), .. } => "joint celsius",
        Departure { what: Fact::PackVolts, .. } => "pack volts",
        Departure { what: Fact::LinkVolts, .. } => "link volts",
        Departure { what: Fact::LiftedVolts, .. } => "lifted volts",
        Departure { what: Fact::ChassisVolts, .. } => "chassis volts",
        Departure { what: Fact::InsulationOhms, .. } => "insulation",
        Departure { what: Fact::SupplyVolts, .. } => "supply",
        Departure { what: Fact::ResistorCelsius, .. } => "resistor",
        Departure { what: Fact::Made(_), .. } => "contactor",
        Departure { what: Fact::InterlockBreaks, .. } => "interlock",
        Departure { what: Fact::ImpactEdges, .. } => "impact",
    });
    let of = |what, is, twin| Departure { what, is, twin };
    let readings = [
        of(Channel::Cell(36), 3.212_3, 3.229),
        of(Channel::PulledCell(36), 1.1, 3.3),
        of(Channel::Thermistor(4), 99.9, 54.3),
        of(Channel::Current, -150.0, -148.5),
        of(Channel::CurrentCheck, 0.0, -148.5),
        of(Channel::Pack, 307.2, 316.1),
        of(Channel::BehindNegative, 307.2, 153.6),
        of(Channel::BehindPositive, 0.0, 153.6),
        of(Channel::Link, 0.0, 307.2),
        of(Channel::Supply, 8.7, 12.4),
        of(Channel::Pole(0), 12.0, 153.6),
        of(Channel::Pole(1), 295.2, 153.6),
        of(Channel::Feedback(1), 1.0, 0.0),
        of(Channel::Interlock, 0.0, 1.0),
        of(Channel::InterlockBreaks, 3.0, 0.0),
        of(Channel::Disconnect(0), 0.0, 1.0),
        of(Channel::Disconnect(1), 0.0, 1.0),
        of(Channel::ImpactEdges, 20.0, 0.0),
        of(Channel::Cooling, 0.0, 1.0),
        of(Channel::Bleeding, 0.0, 1.0),
        of(Channel::Age(PartName::Cells), 20.0, 0.0),
        of(Channel::Age(PartName::Poles), f64::from(u32::MAX), 0.0),
        of(Channel::Clock, 10_000.0, 10_020.0),
    ];
    let readings: Vec<(&str, String)> =
        readings.iter().map(|reading| ("reading", departs::reading(reading))).collect();
    assert_data_eq!(text(&lines) + &text(&readings), file!["departs.txt"]);
}

#[test]
fn every_silence_and_every_margin() {
    let near =
        |milli, seconds| Nearest { assessment: over_voltage(milli, Reading::Within, Stage::Clear), seconds };
    let reading =
        |times, what| Some((43.0, Most { times, departure: Departure { what, is: 3.072, twin: 3.133 } }));
    let broken = Departure { what: Channel::Interlock, is: 0.0, twin: 1.0 };
    let interlock = Some((43.0, Most { times: f64::INFINITY, departure: broken }));
    let charge = Departure { what: Fact::CellCharge(36), is: 0.593_9, twin: 0.595 };
    let truth = Some((43.0, Most { times: 1.1, departure: charge }));
    let nearer = Some(Nearer { with: near(3_522, 25.0), without: near(3_422, 24.9) });
    let of = |truth, reading, nearer| Quiet { defect: 1, truth, reading, nearer };
    let quiet = [
        of(truth, reading(0.12, Channel::Cell(36)), None),
        of(None, reading(14.0, Channel::Cell(3)), nearer),
        of(None, interlock, None),
        of(None, None, None),
    ];
    let mut told: Vec<String> = vec![words::nothing_wrong()];
    told.extend(quiet.iter().flat_map(|quiet| words::quiet(quiet, &case())));
    let hazard = |bound, seconds| Breach { bound, place: Some(36), value: 31.0, limit: 15.0, seconds };
    for (hazard, from) in [
        (Some(hazard(Bound::JointHeat, 103.9)), 43.34),
        (Some(hazard(Bound::JointHeat, 103.9)), 110.0),
        (Some(hazard(Bound::ClosedOntoDifference, 2.0)), 43.34),
        (None, 43.34),
    ] {
        let verdict = Verdict { passed: None, without_reactions: hazard, blind: None };
        told.push(words::margin(&verdict, &case(), from));
    }
    assert_data_eq!(told.join("\n") + "\n", file!["silence.txt"]);
}
