//! Dialogues: what the sequence does when the bench behaves, and when each part of it does not.

use super::bench::{Dialogue, findings};
use crate::config::Config;
use crate::decision::{Coil, Coils};
use crate::fault::{Fault, Reaction};
use crate::frame::{Contact, Contactor, Wanted};
use crate::sequence::{Because, Step};
use crate::units::{Millis, Ratio, Volts};
use crate::witness::{Evidence, Refusal, Unseparable};

fn crane() -> Dialogue {
    Dialogue::with(Config::crane()).at_ms(1_000)
}

fn refusals(dialogue: &Dialogue) -> Vec<Refusal> {
    let refused = |evidence: &Evidence| match evidence {
        Evidence::Refused(refusal) => Some(*refusal),
        _ => None,
    };
    dialogue.heard.iter().filter_map(refused).collect()
}

#[test]
fn a_healthy_pack_closes_and_opens_step_by_step() {
    for config in [Config::crane(), Config::trainer()] {
        let dialogue = Dialogue::with(config)
            .at_ms(1_000)
            .asks(Wanted::Closed)
            .for_ms(10)
            .answers(Step::ClosingNegative)
            .because(|because| matches!(because, Because::ClosingAsked { .. }))
            .until(Step::Precharging)
            .because(|because| matches!(because, Because::NegativeClosed { .. }))
            .until(Step::ClosingPositive)
            .until(Step::Closed)
            .because(|because| matches!(because, Because::PositiveClosed { .. }))
            .for_ms(3_000)
            .answers(Step::Closed)
            .asks(Wanted::Open)
            .until(Step::Open);
        let by_the_book = [
            Step::ClosingNegative,
            Step::Precharging,
            Step::ClosingPositive,
            Step::Closed,
            Step::Easing,
            Step::Opening,
            Step::ProvingDead,
            Step::Open,
        ];
        assert_eq!(dialogue.steps(), by_the_book);
        assert_eq!(dialogue.found, []);
        let dialogue = dialogue.for_ms(1_000);
        assert!(dialogue.sequence.proven_open());
        assert_eq!(dialogue.coils, Coils::NONE);
    }
}

/// τ = 49.0 ms, the link ends at 98.04 % and is charged at 95 %: t = −τ·ln(1 − 0.95/0.9804) = 170 ms (charge law of TI TIDUF73).
#[test]
fn precharge_ends_when_the_closed_form_says() {
    let dialogue = crane().asks(Wanted::Closed).until(Step::ClosingPositive);
    let ended = |(_, _, because): (Step, Step, Because)| match because {
        Because::LinkCharged { after, .. } => Some(after.0),
        _ => None,
    };
    let after = dialogue.moves().into_iter().find_map(ended).unwrap_or(0);
    assert!((155..=185).contains(&after), "{after} ms");
}

/// ½CV² in the resistor and half of it in the most allowed: a start from nothing shows 50 %, whenever contact is made within a tick.
#[test]
fn a_healthy_start_heats_the_resistor_by_one_start() {
    let mut dialogue = crane().asks(Wanted::Closed).until(Step::ClosingNegative);
    let mut hottest = Ratio::ZERO;
    while dialogue.sequence.step() != Step::Closed {
        dialogue.tick();
        hottest = hottest.max(dialogue.findings.resistor_heat);
    }
    assert!((490..=510).contains(&hottest.milli()), "{hottest:?}");
}

/// What is told is what was compared, and nothing where nothing was.
#[test]
fn findings_tell_the_figures_that_decided() {
    let figures = |dialogue: &Dialogue| {
        findings(&dialogue.findings).map(|(found, _)| found.and_then(|found| found.figures))
    };
    let at_rest = crane();
    assert_eq!(figures(&at_rest)[..6], [None; 6], "no start runs");
    assert!(at_rest.findings.precharge_stalled.is_some_and(|found| !found.broken));

    // A turning motor lifts the link 30 V above the pack once positive has parted: 5 % of 307.2 V are allowed, on either side. It has
    // fallen for 50 ms by the time it is found: 337.2 V · e^(−50 ms/2.5 s) − 307.2 V = 23.3 V.
    let mut parted = Dialogue::closed().with_plant(|plant| {
        plant.positive.stuck_open = true;
        plant.link = plant.pack + 30_000_000;
    });
    while parted.found.is_empty() {
        parted.tick();
    }
    let found = parted.findings.positive_stuck_open.expect("found just now");
    let (observed, bound) = found.figures.expect("measured");
    assert!(found.broken && (23_000..=23_700).contains(&observed.milli()), "{observed:?}");
    assert!((15_340..=15_380).contains(&bound.milli()), "{bound:?}");
}

#[test]
fn nothing_closes_before_the_link_has_settled() {
    let dialogue =
        Dialogue::with(Config::crane()).at_ms(10).asks(Wanted::Closed).until(Step::ClosingNegative);
    assert!(dialogue.now_ms() >= 520); // release 20 ms, five time constants of 100 ms
    assert_eq!(refusals(&dialogue), []);
}

#[test]
fn an_open_precharge_resistor_is_flat_three_times_and_then_waits_for_a_clear() {
    let dialogue = crane()
        .with_plant(|plant| plant.precharge_ohms = 1_000_000_000)
        .asks(Wanted::Closed)
        .until(Step::ProvingDead)
        .because(|because| *because == Because::PrechargeFailed { fault: Fault::PrechargeFlat })
        .until(Step::Open)
        .for_ms(30_000);
    assert_eq!(dialogue.found, [Fault::PrechargeFlat]);
    let starts = dialogue.steps().iter().filter(|step| **step == Step::Precharging).count();
    assert_eq!(starts, 3);
    let told = refusals(&dialogue);
    assert!(told.contains(&Refusal::Retries { wait: Millis::MAX }), "{told:?}");
    let closed = dialogue
        .with_plant(|plant| plant.precharge_ohms = 50)
        .clears()
        .for_ms(10)
        .asks(Wanted::Open)
        .for_ms(10)
        .asks(Wanted::Closed)
        .until(Step::Closed)
        .for_ms(10);
    assert_eq!(closed.findings.precharge_flat.map(|found| found.broken), Some(false));
}

/// Manual reset, EN ISO 13849-1 (from memory): it starts nothing by itself. The switch stands on all the time; whoever clears need not
/// stand at the load. Asked for open and for closed contactors again, the pack closes.
#[test]
fn neither_a_restart_nor_a_clear_nor_the_end_of_a_fault_closes_by_itself() {
    let restarted = Dialogue::with(Config::crane()).asks(Wanted::Closed);
    let barred = Dialogue::closed()
        .demands(Reaction::OpenNow, Fault::CellOverVoltageFar)
        .until(Step::Barred)
        .clears()
        .answers(Step::Open);
    let mut opened =
        Dialogue::closed().demands(Reaction::OpenSoon, Fault::OverTemperatureFar).until(Step::Open);
    let cleared = Dialogue::with(Config::crane())
        .at_ms(1_000)
        .demands(Reaction::OpenSoon, Fault::OverTemperatureFar)
        .asks(Wanted::Closed)
        .for_ms(500)
        .clears()
        .answers(Step::Open);
    opened.reaction = None;
    for dialogue in [restarted, barred, opened, cleared] {
        let steps = dialogue.steps().len();
        let dialogue = dialogue.for_ms(30_000).answers(Step::Open);
        assert_eq!((dialogue.steps().len(), dialogue.coils), (steps, Coils::NONE));
        assert_eq!(refusals(&dialogue).last(), Some(&Refusal::AskAgain));
        assert_eq!(refusals(&dialogue).iter().filter(|refusal| **refusal == Refusal::AskAgain).count(), 1);
        dialogue.asks(Wanted::Open).for_ms(10).asks(Wanted::Closed).until(Step::Closed);
    }
}

/// 500 Ω beside 2.5 kΩ behind 50 Ω: the link ends at 89.3 % (voltage divider).
#[test]
fn a_load_left_on_stalls_and_is_told_in_ohms() {
    let dialogue = crane()
        .with_plant(|plant| plant.load_ohms = Some(500))
        .asks(Wanted::Closed)
        .until(Step::ProvingDead)
        .because(|because| *because == Because::PrechargeFailed { fault: Fault::PrechargeStalled });
    let told = |evidence: &Evidence| match evidence {
        Evidence::Precharging(check) => check.explained_by,
        _ => None,
    };
    let ohms = dialogue.heard.iter().find_map(told).map_or(0, |load| load.0);
    assert!((400..=560).contains(&ohms), "{ohms} Ω");
}

/// Frames that are lost stretch the time between two levels that are compared: the load is a load all the same.
#[test]
fn a_load_is_a_load_also_when_every_second_frame_or_two_of_three_are_lost() {
    for ticks_ms in [vec![10], vec![20], vec![30], vec![10, 30], vec![20, 30], vec![30, 30, 10, 30, 10]] {
        for load_ohms in [300, 400, 500] {
            let mut dialogue =
                Dialogue::with(Config::crane()).with_plant(|plant| plant.load_ohms = Some(load_ohms));
            dialogue.ticks_ms.clone_from(&ticks_ms);
            let found = dialogue.at_ms(1_000).asks(Wanted::Closed).until(Step::ProvingDead).found;
            assert_eq!(found, [Fault::PrechargeStalled], "{load_ohms} Ω, {ticks_ms:?} ms");
        }
    }
}

/// The divider of the precharge resistor and the load holds the link: 35 Ω leave 41 % of the pack, after 5 time constants of 20 ms.
#[test]
fn a_heavy_load_that_was_left_on_is_a_load_and_no_slow_start() {
    for ohms in [25, 35, 50, 100, 200] {
        let dialogue = crane()
            .with_plant(|plant| plant.load_ohms = Some(ohms))
            .asks(Wanted::Closed)
            .until(Step::ProvingDead)
            .because(|because| *because == Because::PrechargeFailed { fault: Fault::PrechargeStalled });
        // Up to 40 Ω the link stands no sooner than two full starts' energy is spent in the resistor.
        let both = [Fault::PrechargeStalled, Fault::PrechargeResistorHot];
        assert_eq!(dialogue.found, both[..if ohms > 40 { 1 } else { 2 }], "{ohms} Ω");
        let told = |evidence: &Evidence| match evidence {
            Evidence::Precharging(check) => check.explained_by,
            _ => None,
        };
        let told = dialogue.heard.iter().find_map(told).map_or(0, |load| i64::from(load.0));
        assert!((told - ohms).abs() <= ohms / 10 + 1, "{told} Ω for {ohms} Ω");
    }
}

#[test]
fn a_resistor_or_a_capacitor_of_thrice_its_value_is_too_slow() {
    for change in [0, 1] {
        let dialogue = crane()
            .with_plant(|plant| match change {
                0 => plant.precharge_ohms *= 3,
                _ => plant.microfarads *= 4,
            })
            .asks(Wanted::Closed)
            .until(Step::ProvingDead)
            .because(|because| *because == Because::PrechargeFailed { fault: Fault::PrechargeTooSlow });
        // The energy that the slow start cost has been counted as well.
        assert!(dialogue.findings.resistor_heat > Ratio::percent(50));
    }
}

#[test]
fn missing_capacitance_is_too_fast_and_a_cold_capacitor_is_not() {
    for (microfarads, fault) in [(20, true), (300, true), (800, false), (1_100, false)] {
        let dialogue =
            crane().with_plant(|plant| plant.microfarads = microfarads).asks(Wanted::Closed).for_ms(1_000);
        let expected: &[Fault] = if fault { &[Fault::PrechargeTooFast] } else { &[] };
        assert_eq!(dialogue.found, expected, "{microfarads} µF");
    }
}

/// A short holds the whole pack across the resistor: after one R·C it has taken two full starts, and no rise was seen.
#[test]
fn a_shorted_link_is_flat_and_heats_the_resistor() {
    let dialogue = crane()
        .with_plant(|plant| plant.load_ohms = Some(1))
        .asks(Wanted::Closed)
        .until(Step::ProvingDead)
        .because(|because| *because == Because::PrechargeFailed { fault: Fault::PrechargeFlat })
        .until(Step::Open)
        .for_ms(6_000);
    assert!(dialogue.found.contains(&Fault::PrechargeResistorHot));
}

#[test]
fn a_welded_positive_is_found_before_anything_closes() {
    for points in [(true, true), (false, true)] {
        let mut dialogue = Dialogue::without_points(points.0, points.1)
            .with_plant(|plant| plant.positive.welded = true)
            .asks(Wanted::Closed);
        while dialogue.now_ms() < 3_000 {
            dialogue.tick();
            assert_eq!(dialogue.coils, Coils::NONE);
        }
        let dialogue = dialogue.answers(Step::Barred);
        assert_eq!(dialogue.found, [Fault::PositiveWelded]);
        // Clearing alone does not help while the voltages show the weld.
        let dialogue = dialogue.clears().answers(Step::Barred);
        dialogue.with_plant(|plant| plant.positive.welded = false).for_ms(1_500).clears().answers(Step::Open);
    }
}

#[test]
fn a_welded_negative_is_found_at_rest_and_after_opening() {
    let dialogue = crane().with_plant(|plant| plant.negative.welded = true).for_ms(500).answers(Step::Barred);
    assert_eq!(dialogue.found, [Fault::NegativeWelded]);

    let dialogue = Dialogue::closed()
        .with_plant(|plant| plant.negative.welded = true)
        .asks(Wanted::Open)
        .until(Step::ProvingDead)
        .until(Step::Barred);
    assert_eq!(dialogue.found, [Fault::NegativeWelded]);
}

#[test]
fn without_the_cross_voltage_a_weld_shows_when_negative_closes() {
    for (fault, unseen) in [
        (Fault::PositiveWelded, Unseparable::WeldedPositiveFromOpen),
        (Fault::PrechargeWelded, Unseparable::WeldedPositiveFromOpen),
    ] {
        let dialogue = Dialogue::without_points(true, false)
            .with_plant(|plant| {
                plant.positive.welded = fault == Fault::PositiveWelded;
                plant.precharge.welded = fault == Fault::PrechargeWelded;
            })
            .at_ms(1_000)
            .asks(Wanted::Closed)
            .until(Step::ClosingNegative)
            .until(Step::ProvingDead);
        assert_eq!(dialogue.found, [fault]);
        assert_eq!(dialogue.has_heard(|evidence| *evidence == Evidence::CannotSeparate(unseen)), 1);
        assert!(!dialogue.sequence.proven_open());
    }
}

#[test]
fn a_pack_without_any_cross_voltage_still_closes() {
    let dialogue =
        Dialogue::without_points(false, false).at_ms(1_000).asks(Wanted::Closed).until(Step::Closed);
    assert_eq!(dialogue.found, []);
    let dialogue = dialogue.asks(Wanted::Open).until(Step::Open).for_ms(2_000);
    assert!(!dialogue.sequence.proven_open());
}

#[test]
fn contactors_that_do_not_close_are_named() {
    let dialogue = crane()
        .with_plant(|plant| plant.negative.stuck_open = true)
        .asks(Wanted::Closed)
        .until(Step::ProvingDead);
    assert_eq!(dialogue.found, [Fault::NegativeStuckOpen]);

    let dialogue = crane()
        .with_plant(|plant| {
            plant.positive.stuck_open = true;
            plant.positive_feedback = Some(Contact::Made); // and its contact lies
        })
        .asks(Wanted::Closed)
        .until(Step::Easing)
        .until(Step::Open);
    assert_eq!(dialogue.found, [Fault::PositiveStuckOpen]);
    assert!(!dialogue.steps().contains(&Step::Closed));
}

#[test]
fn a_contactor_that_drops_out_is_named() {
    let dialogue = Dialogue::closed()
        .with_plant(|plant| {
            plant.negative.stuck_open = true;
            plant.load_ohms = Some(100);
        })
        .until(Step::Easing);
    assert_eq!(dialogue.found, [Fault::NegativeStuckOpen]);
    let dialogue = Dialogue::closed()
        .with_plant(|plant| {
            plant.positive.stuck_open = true;
            plant.load_ohms = Some(100);
        })
        .until(Step::Easing);
    assert_eq!(dialogue.found, [Fault::PositiveStuckOpen]);
}

/// A coil wire that breaks for 60 ms under load: the contactor parts and would close again. Nothing re-closes it before a clear and a
/// new request.
#[test]
fn a_negative_that_drops_out_is_not_closed_again_by_itself() {
    let mut dialogue = Dialogue::closed().with_plant(|plant| {
        plant.load_milliamps = -150_000;
        plant.load_ohms = Some(2);
        plant.negative.stuck_open = true;
    });
    dialogue = dialogue.for_ms(60).with_plant(|plant| {
        plant.negative.stuck_open = false;
        (plant.load_milliamps, plant.load_ohms) = (0, None);
    });
    let dialogue = dialogue.until(Step::Open).for_ms(60_000).answers(Step::Open);
    assert_eq!(dialogue.found, [Fault::NegativeStuckOpen]);
    assert_eq!(dialogue.steps().iter().filter(|step| **step == Step::ClosingNegative).count(), 1);
    let fault = Fault::NegativeStuckOpen;
    let last = refusals(&dialogue).pop();
    assert_eq!(
        last,
        Some(Refusal::FaultHolds { act: crate::witness::Act::Close, fault }),
        "it holds until cleared"
    );
}

const GAPS_MS: [u32; 10] = [100, 130, 160, 200, 250, 300, 400, 600, 1_000, 3_000];

/// Without positive the link holds while precharge does, and falls afterwards. Whatever part of that nobody saw, two equal readings on
/// either side of a gap are no proof that positive is closed.
#[test]
fn a_gap_in_the_readings_never_proves_positive() {
    for gap_ms in GAPS_MS {
        for after_ms in (0..=160).step_by(10) {
            let start = || {
                crane()
                    .with_plant(|plant| plant.positive.stuck_open = true)
                    .asks(Wanted::Closed)
                    .until(Step::ClosingPositive)
                    .for_ms(after_ms)
            };
            for dialogue in [start().blind_for_ms(gap_ms), start().lost_for_ms(gap_ms)] {
                let dialogue = dialogue.for_ms(400);
                let steps = dialogue.steps();
                assert!(!steps.contains(&Step::Closed), "{gap_ms} ms from {after_ms} ms on: {steps:?}");
            }
        }
    }
}

/// Nor does a gap accuse a sound contactor: the start goes on or ends as not proven, and nothing is found.
#[test]
fn a_gap_in_the_readings_accuses_nobody() {
    for gap_ms in GAPS_MS {
        for step in [Step::ClosingNegative, Step::Precharging, Step::ClosingPositive, Step::Opening] {
            for after_ms in [0, 10, 30, 60, 90] {
                let start = || {
                    let begun = if step == Step::Opening {
                        Dialogue::closed().asks(Wanted::Open)
                    } else {
                        crane().asks(Wanted::Closed)
                    };
                    begun.until(step).for_ms(after_ms)
                };
                for dialogue in [start().blind_for_ms(gap_ms), start().lost_for_ms(gap_ms)] {
                    let found = dialogue.for_ms(2_000).found;
                    assert_eq!(found, [], "{gap_ms} ms from {after_ms} ms after {step:?} on");
                }
            }
        }
    }
}

#[test]
fn a_lying_feedback_contact_is_only_reported() {
    let mut dialogue = crane().with_plant(|plant| plant.positive_feedback = Some(Contact::Made));
    dialogue.tick();
    assert_eq!(dialogue.findings.feedback_contradicts, Some(Some(Contactor::Positive)));
    let closed = dialogue.asks(Wanted::Closed).until(Step::Closed).for_ms(100);
    assert_eq!(closed.findings.feedback_contradicts, Some(None));
}

#[test]
fn refusals_name_what_must_change_and_are_told_once() {
    let mut dialogue = crane().asks(Wanted::Closed);
    dialogue.supply = Volts::from_milli(9_800);
    let mut dialogue = dialogue.for_ms(1_000).answers(Step::Open);
    assert!(matches!(refusals(&dialogue)[..], [Refusal::SupplyTooLow { .. }]));
    dialogue.reaction = Some((Reaction::OpenSoon, Fault::OverTemperatureFar));
    let dialogue = dialogue.for_ms(1_000).answers(Step::Open);
    assert!(matches!(refusals(&dialogue)[..], [_, Refusal::FaultHolds { .. }]));
    let dialogue = dialogue.asks(Wanted::Open).for_ms(50).asks(Wanted::Closed).for_ms(50);
    assert_eq!(refusals(&dialogue).len(), 3);
}

#[test]
fn a_pack_voltage_that_has_collapsed_proves_nothing() {
    let dialogue = Dialogue::with(Config::crane())
        .at_ms(10)
        .with_plant(|plant| plant.pack = 0)
        .asks(Wanted::Closed)
        .for_ms(3_000);
    let dialogue = dialogue.answers(Step::Open);
    assert!(matches!(refusals(&dialogue)[..], [Refusal::NotProvenOpen { .. }]));
    assert!(!dialogue.sequence.proven_open());
}

#[test]
fn positive_is_driven_while_precharge_still_holds() {
    let dialogue = crane().asks(Wanted::Closed).until(Step::ClosingPositive);
    assert_eq!(dialogue.coils, Coils { negative: Coil::On, precharge: Coil::On, positive: Coil::On });
    let dialogue = dialogue.until(Step::Closed);
    assert_eq!(dialogue.coils, Coils { negative: Coil::On, precharge: Coil::Off, positive: Coil::On });
}
