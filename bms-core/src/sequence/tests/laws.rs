//! Laws that hold from every step, for every frame and every demand.

use super::bench::{Dialogue, findings};
use crate::config::{Checked, Config};
use crate::decision::{Coil, Coils, FaultSummary};
use crate::fault::{Fault, Reaction};
use crate::frame::{Asked, Clearance, Contact, Feedback, PackVoltages, ToChassis, Wanted};
use crate::sense::CurrentReading;
use crate::sequence::closing::reason_to_open;
use crate::sequence::measured::Measured;
use crate::sequence::state::Sequence;
use crate::sequence::{Because, Step};
use crate::units::{Amps, Millis, Volts};
use crate::witness::{Evidence, Witness};
use proptest::prelude::*;

/// The sequence as it stands in a step that a bench has really reached.
fn standing_in(step: Step) -> Dialogue {
    let opened = |dialogue: Dialogue| dialogue.asks(Wanted::Open);
    match step {
        Step::Open => Dialogue::with(Config::crane()).at_ms(1_000),
        Step::ClosingNegative | Step::Precharging | Step::ClosingPositive | Step::Closed => {
            Dialogue::with(Config::crane()).at_ms(1_000).asks(Wanted::Closed).until(step)
        }
        Step::Easing => {
            opened(Dialogue::closed().with_plant(|plant| plant.load_milliamps = -80_000)).until(step)
        }
        Step::Opening | Step::ProvingDead => opened(Dialogue::closed()).until(step),
        Step::Barred => Dialogue::with(Config::crane())
            .at_ms(1_000)
            .demands(Reaction::OpenNow, Fault::CellReversed)
            .until(step),
    }
}

fn demand(reaction: Option<(Reaction, Fault)>) -> FaultSummary {
    FaultSummary { reaction, ..FaultSummary::default() }
}

const REACTIONS: [Option<(Reaction, Fault)>; 5] = [
    None,
    Some((Reaction::Report, Fault::CellSpread)),
    Some((Reaction::Derate, Fault::CellOverVoltage)),
    Some((Reaction::OpenSoon, Fault::OverTemperatureFar)),
    Some((Reaction::OpenNow, Fault::CellOverVoltageFar)),
];

/// The links that an arrow may lead along; everything else is forbidden.
fn may_follow(from: Step, to: Step) -> bool {
    match from {
        Step::Open => matches!(to, Step::ClosingNegative | Step::Barred),
        Step::ClosingNegative => matches!(to, Step::Precharging | Step::ProvingDead),
        Step::Precharging => matches!(to, Step::ClosingPositive | Step::ProvingDead),
        Step::ClosingPositive => matches!(to, Step::Closed | Step::Easing | Step::ProvingDead),
        Step::Closed => matches!(to, Step::Easing | Step::ProvingDead),
        Step::Easing => matches!(to, Step::Opening | Step::ProvingDead),
        Step::Opening => matches!(to, Step::ProvingDead),
        Step::ProvingDead => matches!(to, Step::Open | Step::Barred),
        Step::Barred => matches!(to, Step::Open),
    }
}

/// Whether the contactors may break the current by all that is said of it: 2 kA by the crane's facts. At its end, 600 A, the main channel
/// says "at least"; then the second one must confirm that and say how much.
fn may_break(now: &Measured) -> bool {
    let check = now.current_check.map(|amps| amps.milli().abs());
    let less = |milliamps: i32| milliamps < 1_999_000;
    match now.current {
        Some(current) if current.at_end => {
            check.is_some_and(|check| check >= current.amps.milli().abs() && less(check))
        }
        Some(current) => less(current.amps.milli().abs()) && check.is_none_or(less),
        None => check.is_none_or(less),
    }
}

#[derive(Default)]
struct Moves(Vec<(Step, Step, Because)>);

impl Witness for Moves {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Moved { from, to, because } = evidence {
            self.0.push((from, to, because));
        }
    }
}

fn measured(voltages: Option<PackVoltages>, milliamps: Option<i32>, at_end: bool) -> Measured {
    let current = milliamps.map(|milliamps| CurrentReading {
        amps: Amps::from_milli(milliamps),
        raw: Amps::from_milli(milliamps),
        unlearnt: Amps::ZERO,
        error: Amps::ZERO,
        at_end,
        calm: Millis::ZERO,
    });
    Measured {
        elapsed: Millis(10),
        credit: Millis(10),
        voltages,
        current,
        current_check: milliamps.map(Amps::from_milli),
        supply: Some(Volts::from_milli(12_000)),
        feedback: None,
        cells: None,
        insulated: true,
        leaks_denied: None,
        resistor: ToChassis::Open,
    }
}

fn volts(pack: i32, behind_negative: i32, behind_positive: i32, link: i32) -> PackVoltages {
    let volts = |whole: i32| Volts::from_milli(whole * 1_000);
    PackVoltages {
        pack: volts(pack),
        behind_negative: volts(behind_negative),
        behind_positive: volts(behind_positive),
        link: volts(link),
    }
}

/// One tick from a copy, held against every law.
fn tick(
    sequence: &mut Sequence,
    before: Coils,
    now: &Measured,
    asked: Asked,
    faults: &FaultSummary,
    config: &Checked,
) -> Result<Coils, TestCaseError> {
    let from = sequence.step();
    let mut moves = Moves::default();
    sequence.look(now, config, &mut moves);
    prop_assert_eq!(sequence.step(), from, "a look moves nothing");
    let coils = sequence.decide(now, asked, faults, config, &mut moves);

    prop_assert!(moves.0.len() <= 1, "two moves in one tick: {:?}", moves.0);
    for (from, to, because) in &moves.0 {
        prop_assert!(may_follow(*from, *to), "{from:?} to {to:?} because {because:?}");
    }
    if moves.0.is_empty() {
        prop_assert_eq!(sequence.step(), from, "the step changed without a reason");
    }
    if coils.positive == Coil::On && before.positive == Coil::Off {
        // 5 % of the pack or 20 V, whichever is less; a millivolt for rounding.
        let charged = now.voltages.is_some_and(|seen| {
            let apart = i64::from(seen.pack.milli()) - i64::from(seen.link.milli());
            apart.abs() <= i64::from(seen.pack.milli() / 20).min(20_000) + 1
        });
        prop_assert!(charged, "positive commanded onto {:?}", now.voltages);
    }
    if let Some((Reaction::OpenNow, _)) = faults.reaction
        && may_break(now)
    {
        prop_assert_eq!(coils, Coils::NONE, "OpenNow from {:?}", from);
    }
    if from == Step::Barred && sequence.step() != Step::Barred {
        let holds = faults.reaction.is_some_and(|(reaction, _)| reaction >= Reaction::OpenSoon);
        prop_assert!(asked.clear.is_some() && !holds, "barred was left uncleared");
        prop_assert_eq!(coils, Coils::NONE);
    }
    if sequence.proven_open() {
        prop_assert_eq!(coils, Coils::NONE);
    }
    Ok(coils)
}

/// Every step, every class of voltages and currents, every reaction, every wish: 9 · 9 · 5 · 5 · 2 · 2 ticks.
#[test]
fn every_step_keeps_the_laws_in_every_situation() {
    let voltages = [
        None,
        Some(volts(307, 153, 153, 0)),   // all open
        Some(volts(307, 307, 0, 0)),     // negative closed
        Some(volts(307, 0, 307, 0)),     // positive joined
        Some(volts(307, 307, 150, 150)), // charging
        Some(volts(307, 307, 300, 300)), // charged
        Some(volts(307, 307, 307, 307)), // one
        Some(volts(307, 307, 330, 330)), // above the pack
        Some(volts(0, 0, 0, 0)),         // the string is open
    ];
    let currents =
        [None, Some((0, false)), Some((-80_000, false)), Some((-600_000, true)), Some((2_500_000, true))];
    for step in Step::ALL {
        let standing = standing_in(step);
        assert_eq!(standing.sequence.step(), step);
        for seen in voltages {
            for current in currents {
                let at_end = current.is_some_and(|(_, at_end)| at_end);
                let now = measured(seen, current.map(|(milliamps, _)| milliamps), at_end);
                for reaction in REACTIONS {
                    for contactors in [Wanted::Open, Wanted::Closed] {
                        for clear in [None, Some(Clearance::Service)] {
                            let asked = Asked { contactors, clear, replaced: None };
                            let mut sequence = standing.sequence.clone();
                            let outcome = tick(
                                &mut sequence,
                                standing.coils,
                                &now,
                                asked,
                                &demand(reaction),
                                &standing.config,
                            );
                            assert!(
                                outcome.is_ok(),
                                "{step:?} {seen:?} {current:?} {reaction:?}: {outcome:?}"
                            );
                        }
                    }
                }
            }
        }
    }
}

#[test]
fn open_now_opens_everything_in_that_tick_from_every_step() {
    for step in Step::ALL {
        let mut dialogue = standing_in(step).demands(Reaction::OpenNow, Fault::CellReversed);
        dialogue.tick();
        assert_eq!(dialogue.coils, Coils::NONE, "from {step:?}");
        let dialogue = dialogue.asks(Wanted::Closed).until(Step::Barred).for_ms(5_000).answers(Step::Barred);
        assert_eq!(dialogue.coils, Coils::NONE);
        dialogue.clears().answers(Step::Open);
    }
}

/// The same ticks decide the same whether anybody listens or not.
#[test]
fn nobody_listening_changes_nothing() {
    for step in Step::ALL {
        let standing = standing_in(step);
        let (mut heard, mut unheard) = (standing.sequence.clone(), standing.sequence.clone());
        for link in 0..40 {
            let now = measured(Some(volts(307, 307, 5 * link, 5 * link)), Some(-1_000), false);
            let asked = Asked { contactors: Wanted::Closed, ..Asked::NOTHING };
            let (faults, config) = (FaultSummary::default(), &standing.config);
            let loud = heard.look(&now, config, &mut Moves::default());
            assert_eq!(loud, unheard.look(&now, config, &mut ()));
            let coils = heard.decide(&now, asked, &faults, config, &mut Moves::default());
            assert_eq!(coils, unheard.decide(&now, asked, &faults, config, &mut ()));
        }
        assert_eq!(heard, unheard);
    }
}

#[test]
fn demands_come_before_wishes() {
    let asked = Asked { contactors: Wanted::Closed, ..Asked::NOTHING };
    let demanded = Some((Reaction::OpenSoon, Fault::SupplyLow));
    assert!(matches!(reason_to_open(asked, demanded), Some(Because::FaultDemands { .. })));
    assert_eq!(reason_to_open(asked, None), None);
    assert_eq!(reason_to_open(Asked::NOTHING, None), Some(Because::OpeningAsked));
}

/// A voltage near the places where something is decided, or any bits whatever.
fn voltage() -> impl Strategy<Value = Volts> {
    prop_oneof![
        6 => prop::sample::select(vec![0, 60, 150, 153, 160, 292, 300, 301, 307, 310, 330])
            .prop_map(|whole| Volts::from_milli(whole * 1_000)),
        3 => (0..320_000).prop_map(Volts::from_milli),
        1 => any::<i32>().prop_map(Volts::from_bits),
    ]
}

fn frames() -> impl Strategy<Value = Measured> {
    let voltages = prop::option::weighted(0.9, (voltage(), voltage(), voltage(), voltage()));
    let contact = any::<bool>().prop_map(|made| if made { Contact::Made } else { Contact::Broken });
    let feedback = prop::option::of([contact.clone(), contact.clone(), contact]);
    let milliamps = || prop_oneof![-3_000_000..3_000_000, -20_000..20_000];
    let current = prop::option::weighted(0.9, (milliamps(), any::<bool>(), prop::option::of(milliamps())));
    (voltages, feedback, current, prop_oneof![4 => 0..31_u32, 1 => any::<u32>()]).prop_map(
        |(voltages, feedback, current, elapsed)| Measured {
            elapsed: Millis(elapsed),
            credit: Millis(elapsed.min(30)),
            voltages: voltages.map(|(pack, behind_negative, behind_positive, link)| PackVoltages {
                pack,
                behind_negative,
                behind_positive,
                link,
            }),
            feedback: feedback.map(|[negative, precharge, positive]| Feedback {
                negative,
                precharge,
                positive,
            }),
            current_check: current.and_then(|(_, _, check)| check).map(Amps::from_milli),
            ..measured(
                None,
                current.map(|(milliamps, _, _)| milliamps),
                current.is_some_and(|(milliamps, at_end, _): (i32, bool, _)| at_end && milliamps > 590_000),
            )
        },
    )
}

proptest! {
    /// Whatever is measured, asked and demanded, tick after tick, from wherever a bench can stand.
    #[test]
    fn the_laws_hold_on_every_path(
        place in 0..Step::ALL.len(),
        ticks in prop::collection::vec((frames(), 0..REACTIONS.len() + 20, any::<bool>(), 0..30_u8), 1..120),
    ) {
        let standing = standing_in(Step::ALL[place]);
        let (mut sequence, mut coils) = (standing.sequence, standing.coils);
        for (now, reaction, wants, clear) in ticks {
            let contactors = if wants { Wanted::Closed } else { Wanted::Open };
            let clear = (clear == 0).then_some(Clearance::Service);
            let faults = demand(REACTIONS.get(reaction).copied().flatten());
            coils = tick(&mut sequence, coils, &now, Asked { contactors, clear, replaced: None }, &faults, &standing.config)?;
        }
    }

    /// Frames that are lost, two in a row at most, are no faults of a healthy bench.
    #[test]
    fn lost_frames_are_no_faults(
        ticks_ms in prop::collection::vec(prop::sample::select(vec![10, 10, 20, 30]), 1..40),
        microfarads in 800..1_100_i64,
    ) {
        let mut dialogue =
            Dialogue::with(Config::crane()).with_plant(|plant| plant.microfarads = microfarads);
        dialogue.ticks_ms = ticks_ms;
        let dialogue =
            dialogue.at_ms(1_000).asks(Wanted::Closed).until(Step::Closed).asks(Wanted::Open).until(Step::Open);
        prop_assert_eq!(&dialogue.found, &[]);
    }

    /// Nor do lost frames hide a fault: each defect is found, and by its own name.
    #[test]
    fn lost_frames_hide_nothing(
        ticks_ms in prop::collection::vec(prop::sample::select(vec![10, 10, 20, 30]), 1..40),
        defect in 0..4_usize,
    ) {
        let mut dialogue = Dialogue::with(Config::crane()).with_plant(|plant| match defect {
            0 => plant.positive.stuck_open = true,
            1 => plant.precharge.stuck_open = true,
            2 => plant.load_ohms = Some(400),
            _ => plant.positive.welded = true,
        });
        dialogue.ticks_ms = ticks_ms;
        let dialogue = dialogue.at_ms(1_000).asks(Wanted::Closed).for_ms(2_000);
        let expected = [
            Fault::PositiveStuckOpen,
            Fault::PrechargeStuckOpen,
            Fault::PrechargeStalled,
            Fault::PositiveWelded,
        ];
        prop_assert_eq!(&dialogue.found[..], &expected[defect..=defect]);
        prop_assert!(!dialogue.steps().contains(&Step::Closed));
    }

    /// A healthy bench with any capacitor within its tolerance and any resistor within its own starts and stops without a finding.
    #[test]
    fn tolerances_are_no_faults(microfarads in 800..1_100_i64, ohms in 47..=52_i64, bleed in 2_400..=2_600_i64) {
        let dialogue = Dialogue::with(Config::crane())
            .with_plant(|plant| {
                (plant.microfarads, plant.precharge_ohms, plant.bleed_down_ohms) = (microfarads, ohms, bleed);
            })
            .at_ms(1_000)
            .asks(Wanted::Closed)
            .until(Step::Closed)
            .asks(Wanted::Open)
            .until(Step::Open);
        prop_assert_eq!(&dialogue.found, &[]);
        prop_assert!(findings(&dialogue.findings).iter().all(|(found, _)| found.is_none_or(|found| !found.broken)));
    }
}
