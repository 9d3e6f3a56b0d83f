//! What the firmware told.

use super::{CONFIRMED, amps, each_kind, over_voltage, text, volts};
use crate::explain::words::{self, assessment, because, evidence, refusal};
use bms_core::BleedRefusal;
use bms_core::config::{Config, Pack, SequenceFacts};
use bms_core::estimate::{Discarded, Interval, LoadStep};
use bms_core::fault::{Clearing, Fault, Reaction, Reading, Stage, Was};
use bms_core::frame::{Clearance, Contactor, Pole, ToChassis};
use bms_core::insulation::{Insulated, InsulationSide, InsulationStep, Spoilt};
use bms_core::kept::{Restart, Unusable};
use bms_core::limit::{LimitRule, Side};
use bms_core::quarantine::{Disturbance, Quarantine};
use bms_core::sense::{Doubt, PartName};
use bms_core::sequence::{Because, PrechargeCheck, Step};
use bms_core::units::{Celsius, Coulombs, Milliohms, Millis, Ohms, Ratio, Uptime};
use bms_core::wires::{OpenWire, WireTest};
use bms_core::witness::{Act, Assessment, Evidence, Place, Quantity, Refusal, Unseparable};
use snapbox::{assert_data_eq, file};

fn ah(low: i32, high: i32) -> Interval {
    Interval { low: Coulombs::from_milliamp_hours(low), high: Coulombs::from_milliamp_hours(high) }
}

const STEP: LoadStep = LoadStep {
    cell: 36,
    volts: bms_core::units::Volts::from_milli(-418),
    amps: bms_core::units::Amps::from_milli(-150_000),
    resistance: Milliohms::from_milli(2_790),
    expected: Milliohms::from_milli(900),
    allowed: Milliohms::from_milli(1_725),
};

#[expect(clippy::too_many_lines, reason = "one example a kind: a table, not a procedure")]
fn examples() -> Vec<Evidence> {
    let suspect = Stage::Suspect { held: Millis(500), was: Was::Clear };
    let seen = over_voltage(3_661, Reading::Beyond, suspect);
    let quick = Config::for_pack(Pack::crane(), SequenceFacts::of(Ohms(20), Ohms(2_500), 1_000));
    let moved = |from, to, because| Evidence::Moved { from, to, because };
    let check = PrechargeCheck {
        since_rise: Millis(120),
        link: volts(251_300),
        expected: volts(279_100),
        pack: volts(307_200),
        within: volts(15_400),
        rise: Ratio::percent(20),
        explained_by: None,
    };
    let limited = |rule, given| Evidence::Limited {
        side: Side::Discharge,
        rule,
        allows: amps(83_100),
        runner_up: LimitRule::Rating,
        runner_up_allows: amps(200_000),
        given: amps(given),
    };
    let mut all = vec![
        Evidence::ConfigRefused(quick.check(96, 16).unwrap_err()),
        Evidence::FrameNotNewer { at: 1_000, before: 1_010 },
        Evidence::FrameLate { gap: Millis(150), oldest: Millis(100) },
        Evidence::PartStale { part: PartName::Cells, age: Millis(120), oldest: Millis(100) },
        Evidence::PartStale { part: PartName::Poles, age: Millis::MAX, oldest: Millis(100) },
        Evidence::Assessed(over_voltage(3_612, Reading::Between, Stage::Clear)),
        Evidence::StageChanged { from: Stage::Clear, assessment: seen },
        Evidence::NearMiss(over_voltage(3_598, Reading::Within, Stage::Clear)),
        Evidence::Reacting { from: None, to: Some((Reaction::OpenSoon, Fault::CellResistanceHigh)) },
        Evidence::Reacting { from: Some((Reaction::Derate, Fault::CellOverVoltage)), to: None },
        moved(Step::Precharging, Step::Opening, Because::OpeningAsked),
        Evidence::Waits { step: Step::Precharging, since: Millis(300), deadline: Millis(2_000) },
        Evidence::Waits { step: Step::Barred, since: Millis(61_000), deadline: Millis::MAX },
        Evidence::OpenedUnderLoad { amps: amps(-120_000), count: 2 },
        Evidence::Precharging(check),
        Evidence::Precharging(PrechargeCheck { explained_by: Some(Ohms(500)), ..check }),
        Evidence::Refused(Refusal::AskAgain),
        limited(LimitRule::CellVoltage, 83_100),
        Evidence::OcvCompared {
            cell: 2,
            volts: volts(3_331),
            shift: volts(2),
            error: volts(6),
            counted: ah(38_000, 44_000),
            by_ocv: ah(30_000, 60_000),
            after: ah(38_000, 44_000),
        },
        Evidence::ChargeDisagrees {
            cell: 2,
            counted: ah(10_000, 12_000),
            by_ocv: ah(20_000, 30_000),
            after: ah(10_000, 30_000),
        },
        Evidence::ChargeImpossible { cell: 2, counted: ah(104_000, 109_000), possible: ah(-2_000, 103_000) },
        Evidence::LoadStep(STEP),
        Evidence::BleedChosen { cell: 5, excess: Coulombs::from_milliamp_hours(420) },
        Evidence::Insulation(InsulationStep::PausedForCharger),
        Evidence::Quarantined(Quarantine {
            fault: Fault::InternalShort,
            disturbance: None,
            quiet: Millis::from_seconds(3_600),
            needed: Millis::from_seconds(86_400),
        }),
        Evidence::Restarted(Restart::Restored {
            number: 12,
            holds: Millis(50),
            off: Some(Millis::from_seconds(2)),
        }),
        Evidence::Restarted(Restart::Restored { number: 4_711, holds: Millis::ZERO, off: None }),
        Evidence::RecordDropped { fault: Fault::ThermistorJump, dropped: 3 },
        Evidence::Cleared { fault: Fault::CellOverVoltage, by: Clearance::Panel },
        Evidence::CellReplaced { cell: 36 },
        Evidence::ContactorReplaced { contactor: Contactor::Positive },
        Evidence::OffsetLearnt { amps: amps(-230), over: Millis(60_000) },
    ];
    let doubts = [
        Doubt::AtOpenRail,
        Doubt::AtShortRail,
        Doubt::ClimbedToRail,
        Doubt::Jumped,
        Doubt::Stray,
        Doubt::Frozen,
    ];
    let doubted = |doubt| Evidence::Doubted { thermistor: 2, doubt, reads: Celsius::from_milli(-21_400) };
    all.extend(doubts.map(doubted));
    let pairs = [
        Unseparable::WeldedPositiveFromOpen,
        Unseparable::WeldedNegativeFromOpen,
        Unseparable::WeldedPositiveFromOpenBleedDown,
        Unseparable::OpenPrechargeFromOpenResistor,
    ];
    all.extend(pairs.map(Evidence::CannotSeparate));
    let rules = [
        LimitRule::Rating,
        LimitRule::Temperature,
        LimitRule::Charge,
        LimitRule::HeatBudget,
        LimitRule::Derate,
        LimitRule::LostReading,
        LimitRule::NotClosed,
        LimitRule::Smoothing,
    ];
    all.extend(rules.map(|rule| limited(rule, 80_000)));
    let reasons =
        [Discarded::TooSmall, Discarded::CurrentMoved, Discarded::ReadingMissing, Discarded::NotQuiet];
    all.extend(reasons.map(|because| Evidence::LoadStepDiscarded { because, amps: amps(-20_000) }));
    let refusals = [
        BleedRefusal::NotProvenAbove,
        BleedRefusal::BelowFloor,
        BleedRefusal::Temperature,
        BleedRefusal::HeatBudget,
        BleedRefusal::ReadingDoubted,
        BleedRefusal::WiresUntested,
        BleedRefusal::Measuring,
    ];
    all.extend(refusals.map(|because| Evidence::BleedRefused { cell: 5, because }));
    let tests = [
        WireTest::Begun,
        WireTest::Unanswered(Millis(3_000)),
        WireTest::Open(OpenWire { wire: 12, apart: volts(310) }),
        WireTest::Dismissed(12),
        WireTest::Sound,
    ];
    all.extend(tests.map(Evidence::Wires));
    let reasons = [
        Unusable::Blank,
        Unusable::TooShort { found: 4_096, needed: 8_650 },
        Unusable::NoRecord { found: [0xDE, 0xAD, 0xBE, 0xEF] },
        Unusable::WrongSum { found: 0x1234_ABCD, stated: 0xE306_9283 },
        Unusable::OtherVersion { found: 2, known: 1 },
        Unusable::OtherPack { found: 4_712, expected: 4_711 },
        Unusable::OtherSize { found: (16, 8), expected: (96, 16) },
        Unusable::OtherConfiguration { found: 0x1234_ABCD, expected: 0xE306_9283 },
    ];
    all.extend(reasons.map(|reason| Evidence::Restarted(Restart::Refused(reason))));
    all
}

#[test]
fn evidence_of_every_kind() {
    let lines = each_kind!(Evidence, evidence, examples(), {
        Evidence::ConfigRefused(_) => "configuration refused",
        Evidence::FrameNotNewer { .. } => "frame not newer",
        Evidence::FrameLate { .. } => "frame late",
        Evidence::PartStale { .. } => "part stale",
        Evidence::Doubted { .. } => "doubted",
        Evidence::Assessed(_) => "assessed",
        Evidence::StageChanged { .. } => "stage changed",
        Evidence::NearMiss(_) => "near miss",
        Evidence::Reacting { .. } => "reacting",
        Evidence::Moved { .. } => "moved",
        Evidence::Waits { .. } => "waits",
        Evidence::OpenedUnderLoad { .. } => "opened under load",
        Evidence::Precharging(_) => "precharging",
        Evidence::CannotSeparate(_) => "cannot separate",
        Evidence::Refused(_) => "refused",
        Evidence::Limited { .. } => "limited",
        Evidence::OcvCompared { .. } => "rested voltage compared",
        Evidence::ChargeDisagrees { .. } => "charge disagrees",
        Evidence::ChargeImpossible { .. } => "charge impossible",
        Evidence::LoadStep(_) => "load step",
        Evidence::LoadStepDiscarded { .. } => "load step discarded",
        Evidence::BleedChosen { .. } => "bleed chosen",
        Evidence::BleedRefused { .. } => "bleed refused",
        Evidence::Insulation(_) => "insulation",
        Evidence::Wires(_) => "wires",
        Evidence::RecordDropped { .. } => "record dropped",
        Evidence::Cleared { .. } => "cleared",
        Evidence::Quarantined(_) => "quarantined",
        Evidence::Restarted(_) => "restarted",
        Evidence::CellReplaced { .. } => "cell replaced",
        Evidence::ContactorReplaced { .. } => "contactor replaced",
        Evidence::OffsetLearnt { .. } => "offset learnt",
    });
    assert_data_eq!(text(&lines), file!["evidence.txt"]);
}

/// How each fault of the list is judged: the words before a value, with a value of 1.8 where it is beyond a limit of 1.7, whatever the unit.
#[test]
fn an_assessment_of_every_fault() {
    let limits = Config::crane().faults;
    let lines: Vec<(&str, String)> = Fault::ALL
        .into_iter()
        .map(|fault| {
            let of = |milli| limits.shown(fault).trip.map(|trip| like(trip, milli));
            let place = match fault {
                Fault::ThermistorOpen
                | Fault::ThermistorShorted
                | Fault::ThermistorJump
                | Fault::ThermistorStray
                | Fault::ThermistorFrozen
                | Fault::OverTemperature
                | Fault::OverTemperatureFar
                | Fault::ChargingTooCold
                | Fault::TooColdToWork => Place::Thermistor(2),
                Fault::SenseWireOpen => Place::Wire(12),
                Fault::LinkStaysLive | Fault::LinkReadingImplausible => Place::Link,
                Fault::SupplyLow => Place::Supply,
                Fault::TemperatureRisingFast | Fault::ModuleWithoutSensor => Place::Module(1),
                Fault::InsulationLow | Fault::InsulationLowFar | Fault::ChargedWithLeak => {
                    Place::Pole(Pole::Negative)
                }
                Fault::NegativeWelded | Fault::NegativeStuckOpen => Place::Contactor(Contactor::Negative),
                Fault::ContactorWorn | Fault::ContactorWornOut | Fault::PositiveWelded => {
                    Place::Contactor(Contactor::Positive)
                }
                Fault::PrechargeWelded | Fault::PrechargeStuckOpen => Place::Contactor(Contactor::Precharge),
                Fault::PositiveStuckOpen => Place::Contactor(Contactor::Positive),
                Fault::CellReadingFrozen
                | Fault::ChargeCountDisagrees
                | Fault::CellSelfDischarge
                | Fault::BleedPathStuckOn
                | Fault::BleedPathStuckOff => Place::Cell(36),
                Fault::CellSpread | Fault::CellSpreadFar | Fault::PackSumDisagrees => Place::Pack,
                _ if matches!(of(0), Some(Quantity::Volts(_) | Quantity::Milliohms(_))) => Place::Cell(36),
                _ => Place::Pack,
            };
            let (observed, limit, reading) = (of(1_800), of(1_700), Reading::Beyond);
            let seen =
                Assessment { fault, place, observed, limit, reading, stage: CONFIRMED, dwell: Millis(500) };
            (fault.words(), assessment(&seen))
        })
        .collect();
    assert_data_eq!(text(&lines), file!["faults.txt"]);
}

/// A quantity of the same kind, of so many thousandths of its unit.
fn like(of: Quantity, milli: i32) -> Quantity {
    let whole = milli.unsigned_abs();
    match of {
        Quantity::Volts(_) => Quantity::Volts(volts(milli)),
        Quantity::Amps(_) => Quantity::Amps(amps(milli)),
        Quantity::Celsius(_) => Quantity::Celsius(Celsius::from_milli(milli)),
        Quantity::CelsiusPerSecond(_) => {
            Quantity::CelsiusPerSecond(bms_core::units::CelsiusPerSecond::from_milli(milli))
        }
        Quantity::Milliohms(_) => Quantity::Milliohms(Milliohms::from_milli(milli)),
        Quantity::Ohms(_) => Quantity::Ohms(Ohms(whole)),
        Quantity::OhmsPerVolt(_) => Quantity::OhmsPerVolt(bms_core::units::OhmsPerVolt(whole)),
        Quantity::Ratio(_) => Quantity::Ratio(Ratio::from_milli(milli / 2)),
        Quantity::Coulombs(_) => Quantity::Coulombs(Coulombs::from_milliamp_hours(milli)),
        Quantity::Millis(_) => Quantity::Millis(Millis(whole)),
        Quantity::Count(_) => Quantity::Count(whole / 100),
    }
}

#[test]
fn every_reason_to_move() {
    let examples = [
        Because::ClosingAsked {
            behind_negative: volts(153_600),
            behind_positive: volts(153_400),
            pack: volts(307_200),
        },
        Because::OpeningAsked,
        Because::NegativeClosed { behind_negative: volts(307_000), pack: volts(307_200), link: volts(400) },
        Because::LinkCharged {
            link: volts(301_210),
            pack: volts(307_200),
            within: volts(6_140),
            after: Millis(210),
        },
        Because::PositiveClosed { link: volts(307_100), pack: volts(307_200) },
        Because::FaultDemands { fault: Fault::CellResistanceHigh, reaction: Reaction::OpenSoon },
        Because::CurrentFallen { amps: amps(-1_200), below: amps(5_000) },
        Because::GraceOver { amps: Some(amps(-83_000)), grace: Millis(1_000) },
        Because::GraceOver { amps: None, grace: Millis(1_000) },
        Because::FuseCleared { amps: Some(amps(0)), after: Millis(40) },
        Because::FuseCleared { amps: None, after: Millis(500) },
        Because::LinkFell { from: volts(307_000), to: volts(290_000), after: Millis(120) },
        Because::LinkFell { from: volts(307_000), to: volts(307_000), after: Millis(120) },
        Because::CoilsOff,
        Because::ProvenDead { link: volts(41_000), behind_negative: volts(153_000), after: Millis(3_900) },
        Because::NotProven { link: Some(volts(181_000)), deadline: Millis(10_000) },
        Because::NotProven { link: None, deadline: Millis(10_000) },
        Because::PrechargeFailed { fault: Fault::PrechargeStalled },
        Because::Cleared,
    ];
    let lines = each_kind!(Because, because, examples, {
        Because::ClosingAsked { .. } => "closing asked",
        Because::OpeningAsked => "opening asked",
        Because::NegativeClosed { .. } => "negative closed",
        Because::LinkCharged { .. } => "link charged",
        Because::PositiveClosed { .. } => "positive closed",
        Because::FaultDemands { .. } => "fault demands",
        Because::CurrentFallen { .. } => "current fallen",
        Because::GraceOver { .. } => "grace over",
        Because::FuseCleared { .. } => "fuse cleared",
        Because::LinkFell { .. } => "link fell",
        Because::CoilsOff => "coils off",
        Because::ProvenDead { .. } => "proven dead",
        Because::NotProven { .. } => "not proven",
        Because::PrechargeFailed { .. } => "precharge failed",
        Because::Cleared => "cleared",
    });
    let steps = [
        Step::Open,
        Step::ClosingNegative,
        Step::Precharging,
        Step::ClosingPositive,
        Step::Closed,
        Step::Easing,
        Step::Opening,
        Step::ProvingDead,
        Step::Barred,
    ];
    let ends = steps.map(|step| ("ends", words::ends(step)));
    assert_data_eq!(text(&lines) + &text(&ends), file!["because.txt"]);
}

#[test]
fn every_refusal() {
    let present = over_voltage(3_661, Reading::Beyond, CONFIRMED);
    let examples = [
        Refusal::FaultHolds { act: Act::Close, fault: Fault::PositiveWelded },
        Refusal::FaultHolds { act: Act::Replace, fault: Fault::PositiveWelded },
        Refusal::ConditionPresent(present),
        Refusal::ConditionUnmeasured { fault: Fault::CellSpread },
        Refusal::NotAllowed { fault: Fault::CellResistanceHigh, by: Clearing::AtService },
        Refusal::NotAllowed { fault: Fault::CellOverVoltage, by: Clearing::AtPanel },
        Refusal::SupplyTooLow { volts: volts(8_200), least: volts(9_000) },
        Refusal::ResistorHot { rise: Celsius::from_milli(112_000), most: Celsius::from_milli(60_000) },
        Refusal::Retries { wait: Millis(12_000) },
        Refusal::Retries { wait: Millis::MAX },
        Refusal::Unmeasured(PartName::Voltages),
        Refusal::InsulationUnknown,
        Refusal::NotProvenOpen {
            behind_negative: volts(0),
            behind_positive: volts(307_100),
            link: volts(300),
            pack: volts(307_200),
        },
        Refusal::AwaitsClearing,
        Refusal::AskAgain,
        Refusal::NoSuchCell(99),
        Refusal::NotOpen(Act::Replace),
    ];
    let lines = each_kind!(Refusal, refusal, examples, {
        Refusal::FaultHolds { .. } => "fault holds",
        Refusal::ConditionPresent(_) => "condition present",
        Refusal::ConditionUnmeasured { .. } => "condition unmeasured",
        Refusal::NotAllowed { .. } => "not allowed",
        Refusal::SupplyTooLow { .. } => "supply too low",
        Refusal::ResistorHot { .. } => "resistor hot",
        Refusal::Retries { .. } => "retries",
        Refusal::Unmeasured(_) => "unmeasured",
        Refusal::InsulationUnknown => "insulation unknown",
        Refusal::NotProvenOpen { .. } => "not proven open",
        Refusal::AwaitsClearing => "awaits clearing",
        Refusal::AskAgain => "ask again",
        Refusal::NoSuchCell(_) => "no such cell",
        Refusal::NotOpen(_) => "not open",
    });
    assert_data_eq!(text(&lines), file!["refusals.txt"]);
}

#[test]
fn every_step_of_measuring_insulation() {
    let found = |ohms, side| {
        InsulationStep::Found(Insulated {
            at: Uptime(60_000),
            weaker: Pole::Negative,
            ohms,
            stronger: Ohms(u32::MAX),
            pack: volts(307_200),
            side,
        })
    };
    let mut examples = vec![
        InsulationStep::NotMeasured,
        InsulationStep::Begun(InsulationSide::Pack),
        InsulationStep::Read { resistor: ToChassis::Open, negative: volts(20_100), positive: volts(287_000) },
        InsulationStep::Read {
            resistor: ToChassis::Negative,
            negative: volts(9_100),
            positive: volts(298_000),
        },
        InsulationStep::Read {
            resistor: ToChassis::Positive,
            negative: volts(298_000),
            positive: volts(9_100),
        },
        InsulationStep::PausedForCharger,
        found(Ohms(21_000), InsulationSide::WithLoad),
        found(Ohms(u32::MAX), InsulationSide::Pack),
    ];
    let spoilt = [
        Spoilt::PackMoved(volts(301_000), volts(309_000)),
        Spoilt::ContactorsMoved,
        Spoilt::Unsettled(Millis(8_000)),
        Spoilt::PolesContradictPack { poles: volts(150_000), pack: volts(307_000) },
        Spoilt::NoPack(volts(2_000)),
    ];
    examples.extend(spoilt.map(InsulationStep::Spoilt));
    let said = |step: &InsulationStep| evidence(&Evidence::Insulation(*step));
    let lines = each_kind!(InsulationStep, said, examples, {
        InsulationStep::NotMeasured => "not measured",
        InsulationStep::Begun(_) => "begun",
        InsulationStep::Read { .. } => "read",
        InsulationStep::Spoilt(Spoilt::PackMoved(..)) => "spoilt by the pack",
        InsulationStep::Spoilt(Spoilt::ContactorsMoved) => "spoilt by contactors",
        InsulationStep::Spoilt(Spoilt::Unsettled(_)) => "spoilt, unsettled",
        InsulationStep::Spoilt(Spoilt::PolesContradictPack { .. }) => "spoilt, poles",
        InsulationStep::Spoilt(Spoilt::NoPack(_)) => "spoilt, no pack",
        InsulationStep::PausedForCharger => "paused for charger",
        InsulationStep::Found(_) => "found",
    });
    assert_data_eq!(text(&lines), file!["insulation.txt"]);
}

#[test]
fn everything_that_disturbs_a_quarantine() {
    let examples = [
        None,
        Some(Disturbance::Holds(Fault::InternalShort)),
        Some(Disturbance::NotOpen),
        Some(Disturbance::Unseen(PartName::Thermistors)),
        Some(Disturbance::Warms),
        Some(Disturbance::FallUnknown),
        Some(Disturbance::Falls(36)),
        Some(Disturbance::Loses(36)),
        Some(Disturbance::InsulationLow),
    ];
    let said = |disturbance: &Option<Disturbance>| {
        evidence(&Evidence::Quarantined(Quarantine {
            fault: Fault::InternalShort,
            disturbance: *disturbance,
            quiet: Millis::from_seconds(86_400),
            needed: Millis::from_seconds(86_400),
        }))
    };
    let lines = each_kind!(Option<Disturbance>, said, examples, {
        None => "quiet",
        Some(Disturbance::Holds(_)) => "a fault holds",
        Some(Disturbance::NotOpen) => "not open",
        Some(Disturbance::Unseen(_)) => "unseen",
        Some(Disturbance::Warms) => "warms",
        Some(Disturbance::FallUnknown) => "not watched yet",
        Some(Disturbance::Falls(_)) => "falls",
        Some(Disturbance::Loses(_)) => "loses",
        Some(Disturbance::InsulationLow) => "insulation low",
    });
    assert_data_eq!(text(&lines), file!["quarantine.txt"]);
}
