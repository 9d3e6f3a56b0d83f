//! What is true, and whether the firmware was right.

use super::{CONFIRMED, case, each_kind, over_voltage, text};
use crate::case::{Ask, PowerLoss, RecordFate};
use crate::defect::{Defect, Kind, Spells};
use crate::explain::blind::{Blind, Unseen};
use crate::explain::chain::{Link, LinkKind, Since, Wrong};
use crate::explain::channels::Channel;
use crate::explain::departs::{Departure, Fact};
use crate::explain::judged::Judged;
use crate::explain::verdict::{Criticality, Verdict};
use crate::explain::words;
use crate::recording::Nearest;
use crate::world::truth::{Bound, Breach};
use bms_core::fault::{Fault, Reaction, Reading, Stage, Was};
use bms_core::frame::{Clearance, Contactor, Replaced};
use bms_core::sequence::Because;
use bms_core::units::Millis;
use bms_core::witness::{Evidence, Refusal};
use snapbox::{assert_data_eq, file};

/// Each kind with its usual severity; where a severity can be negative, with the least one too; and one that grows, comes, goes and ends.
const fn lost(record: RecordFate) -> Ask {
    Ask::LosePower(PowerLoss { for_ms: 2_500, record, clock: true })
}

#[test]
fn a_defect_of_every_kind() {
    let mut defects: Vec<Defect> = Vec::new();
    for kind in Kind::ALL {
        let usual = Defect::usual(*kind, 0, 10.0);
        defects.push(usual);
        if kind.range().0 < 0.0 {
            defects.push(Defect { severity: kind.range().0, ..usual });
        }
    }
    let usual = Defect::usual(Kind::LooseJointTapAbove, 36, 10.0);
    defects.push(Defect { grows_seconds: 2_000.0, ..usual });
    defects.push(Defect { spells: Some(Spells { period_seconds: 20.0, duty: 0.25 }), ..usual });
    let lines: Vec<(&str, String)> =
        defects.iter().map(|defect| (defect.kind.key(), words::defect(defect))).collect();
    assert_data_eq!(text(&lines), file!["defects.txt"]);
}

#[test]
fn every_link_of_a_chain() {
    let suspect = Stage::Suspect { held: Millis(0), was: Was::Clear };
    let refused = Evidence::Refused(Refusal::FaultHolds {
        act: bms_core::witness::Act::Close,
        fault: Fault::CellOverVoltage,
    });
    let examples = [
        LinkKind::DefectBegins(0),
        LinkKind::StartBegins,
        LinkKind::TruthDeparts(Departure { what: Fact::CellVolts(36), is: 3.212_3, twin: 3.229 }),
        LinkKind::TruthUnharmed(Wrong::Reading),
        LinkKind::TruthUnharmed(Wrong::Way),
        LinkKind::TruthUnharmed(Wrong::Controller),
        LinkKind::FrameDeparts(Departure { what: Channel::Cell(36), is: 3.212_3, twin: 3.229 }),
        LinkKind::FrameDeparts(Departure { what: Channel::Interlock, is: 0.0, twin: 1.0 }),
        LinkKind::FrameDeparts(Departure { what: Channel::Clock, is: 10_000.0, twin: 10_020.0 }),
        LinkKind::Suspected(over_voltage(3_661, Reading::Beyond, suspect)),
        LinkKind::Confirmed(over_voltage(3_672, Reading::Beyond, CONFIRMED)),
        LinkKind::Reacted(Reaction::Derate),
        LinkKind::Reacted(Reaction::OpenNow),
        LinkKind::ContactorsOpen,
        LinkKind::LinkDown,
        LinkKind::Acted(Ask::Close),
        LinkKind::Acted(Ask::Open),
        LinkKind::Acted(Ask::Clear(Clearance::Panel)),
        LinkKind::Acted(Ask::Clear(Clearance::Service)),
        LinkKind::Acted(Ask::Replace(Replaced::Cell(36))),
        LinkKind::Acted(Ask::Replace(Replaced::Contactor(Contactor::Positive))),
        LinkKind::Acted(lost(RecordFate::Kept)),
        LinkKind::Acted(lost(RecordFate::Torn)),
        LinkKind::Acted(lost(RecordFate::Lost)),
        LinkKind::Staged(over_voltage(3_500, Reading::Within, Stage::Latched)),
        LinkKind::Told(refused),
        LinkKind::Told(Evidence::Moved {
            from: bms_core::Step::Closed,
            to: bms_core::Step::Easing,
            because: Because::FaultDemands { fault: Fault::CellResistanceHigh, reaction: Reaction::OpenSoon },
        }),
    ]
    .map(|what| Link { what, tick: 17_232, seconds: 172.32 });
    let said = |link: &Link| words::link(link, &case());
    let lines = each_kind!(Link, said, examples, {
        Link { what: LinkKind::DefectBegins(_), .. } => "defect begins",
        Link { what: LinkKind::StartBegins, .. } => "start begins",
        Link { what: LinkKind::TruthDeparts(_), .. } => "truth departs",
        Link { what: LinkKind::TruthUnharmed(_), .. } => "truth unharmed",
        Link { what: LinkKind::FrameDeparts(_), .. } => "frame departs",
        Link { what: LinkKind::Suspected(_), .. } => "suspected",
        Link { what: LinkKind::Confirmed(_), .. } => "confirmed",
        Link { what: LinkKind::Reacted(_), .. } => "reacted",
        Link { what: LinkKind::ContactorsOpen, .. } => "contactors open",
        Link { what: LinkKind::LinkDown, .. } => "link down",
        Link { what: LinkKind::Acted(_), .. } => "acted",
        Link { what: LinkKind::Staged(_), .. } => "staged",
        Link { what: LinkKind::Told(_), .. } => "told",
    });
    let near = Nearest { assessment: over_voltage(3_598, Reading::Within, Stage::Clear), seconds: 39.15 };
    let besides = [
        words::why(Fault::CellOverVoltage).trim_end().to_owned(),
        words::until_open(Since::Onset, 162.42),
        words::until_open(Since::Start, 0.62),
        words::never_suspected(None),
        words::never_suspected(Some(&near)),
        words::nothing_then(12.0),
        words::nearest_heading(),
        words::nearest(&near),
    ];
    assert_data_eq!(text(&lines) + &besides.join("\n") + "\n", file!["chain.txt"]);
}

#[test]
fn every_bound_of_truth_and_every_blindness() {
    let breach = |bound, value, limit| Breach { bound, place: Some(36), value, limit, seconds: 61.0 };
    let examples = [
        breach(Bound::CellReversed, -0.12, 0.0),
        breach(Bound::CellLow, 1.99, 2.0),
        breach(Bound::CellHigh, 3.81, 3.8),
        breach(Bound::CellHot, 70.04, 70.0),
        breach(Bound::ChargedFrozen, 6.2, 5.0),
        breach(Bound::CellPlated, 1.02, 1.0),
        breach(Bound::CellVents, 0.21, 0.2),
        breach(Bound::JointHeat, 31.0, 30.0),
        breach(Bound::JointHot, 121.0, 120.0),
        breach(Bound::LinkLive, 61.2, 60.0),
        breach(Bound::ClosedOntoDifference, 48.0, 30.0),
        breach(Bound::OpenedAboveLimit, 900.0, 500.0),
        breach(Bound::ResistorHot, 260.0, 250.0),
        breach(Bound::InsulationLow, 71.0, 100.0),
    ];
    let said = |breach: &Breach| words::breach(breach);
    let mut lines = each_kind!(Breach, said, examples, {
        Breach { bound: Bound::CellReversed, .. } => "cell reversed",
        Breach { bound: Bound::CellLow, .. } => "cell low",
        Breach { bound: Bound::CellHigh, .. } => "cell high",
        Breach { bound: Bound::CellHot, .. } => "cell hot",
        Breach { bound: Bound::ChargedFrozen, .. } => "charged frozen",
        Breach { bound: Bound::CellPlated, .. } => "cell plated",
        Breach { bound: Bound::CellVents, .. } => "cell vents",
        Breach { bound: Bound::JointHeat, .. } => "joint heat",
        Breach { bound: Bound::JointHot, .. } => "joint hot",
        Breach { bound: Bound::LinkLive, .. } => "link live",
        Breach { bound: Bound::ClosedOntoDifference, .. } => "closed onto difference",
        Breach { bound: Bound::OpenedAboveLimit, .. } => "opened above limit",
        Breach { bound: Bound::ResistorHot, .. } => "resistor hot",
        Breach { bound: Bound::InsulationLow, .. } => "insulation low",
    });
    let unseen = [
        Unseen::CellHigh(36),
        Unseen::CellLow(36),
        Unseen::ModuleHot(1),
        Unseen::ModuleCold(1),
        Unseen::Charge,
        Unseen::Discharge,
        Unseen::LinkLive,
        Unseen::Leak,
    ];
    lines.extend(each_kind!(Unseen, |unseen: &Unseen| words::unseen(*unseen), unseen, {
        Unseen::CellHigh(_) => "unseen, cell high",
        Unseen::CellLow(_) => "unseen, cell low",
        Unseen::ModuleHot(_) => "unseen, module hot",
        Unseen::ModuleCold(_) => "unseen, module cold",
        Unseen::Charge => "unseen, charge",
        Unseen::Discharge => "unseen, discharge",
        Unseen::LinkLive => "unseen, link live",
        Unseen::Leak => "unseen, leak",
    }));
    assert_data_eq!(text(&lines), file!["truth.txt"]);
}

#[test]
fn every_verdict_and_how_the_firmware_did() {
    let fault = Fault::CellResistanceHigh;
    let judged = [
        Judged::InTime { fault: Some(fault), left_seconds: Some(83.2) },
        Judged::InTime { fault: Some(fault), left_seconds: None },
        Judged::InTime { fault: None, left_seconds: None },
        Judged::InVain { fault, before_seconds: 12.0 },
        Judged::Late { fault, after_seconds: 3.4 },
        Judged::Blind,
        Judged::Untested { after_end_seconds: 420.0 },
        Judged::Misled { fault: Fault::CellOverVoltageFar },
        Judged::Early { fault },
        Judged::Told { fault: Fault::ModuleWithoutSensor },
        Judged::Calm,
    ];
    let mut lines = each_kind!(Judged, words::judged, judged, {
        Judged::InTime { .. } => "right, in time",
        Judged::InVain { .. } => "right, in vain",
        Judged::Late { .. } => "late",
        Judged::Blind => "blind",
        Judged::Untested { .. } => "untested",
        Judged::Misled { .. } => "misled",
        Judged::Early { .. } => "early",
        Judged::Told { .. } => "right, told",
        Judged::Calm => "right, calm",
    });
    let breach = |bound, value, limit, seconds| Breach { bound, place: Some(36), value, limit, seconds };
    let heat = breach(Bound::JointHeat, 31.0, 30.0, 255.0);
    let nothing = Verdict { passed: None, without_reactions: None, blind: None };
    let verdicts = [
        nothing,
        Verdict { blind: Some(Blind { unseen: Unseen::ModuleHot(1), seconds: 11.0 }), ..nothing },
        Verdict { passed: Some(heat), without_reactions: Some(heat), ..nothing },
        Verdict { without_reactions: Some(breach(Bound::ClosedOntoDifference, 48.0, 30.0, 31.0)), ..nothing },
    ];
    let said = |verdict: &Verdict| words::verdict(verdict, &case()).join(" ");
    lines.extend(verdicts.iter().map(|verdict| {
        let name = match verdict.criticality() {
            Criticality::NotCritical => "not critical",
            Criticality::ByBlindness => "critical by blindness",
            Criticality::Critical => "critical",
        };
        (name, said(verdict))
    }));
    assert_data_eq!(text(&lines), file!["verdicts.txt"]);
}
