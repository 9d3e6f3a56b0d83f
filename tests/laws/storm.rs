//! # Storms: what no frame whatever makes the core do
//!
//! Two kinds of weather. Frames of any bits at all show that every frame is answered; but contactors hardly ever close on them, so they
//! say little of what a closed pack does. The other storm is a simulated pack that starts properly, works, is opened and cleared, while
//! its readings are spoilt for a stretch: stuck, offset, missing or swapped, one or two at once, and frames are lost. How often it got
//! to each situation is counted, so that the laws cannot hold for want of a case.

use super::{Everything, law};
use bms_core::config::SequenceFacts;
use bms_core::decision::{Coil, Coils, CurrentLimits, Decision};
use bms_core::frame::{Asked, Clearance, Frame, Wanted};
use bms_core::units::{Amps, Instant, Ohms};
use bms_core::{Config, Controller, Reaction, Step};
use bms_sim::strategies::{Odd, Spell, frames, spells};
use bms_sim::world::load::{Demand, Giver};
use bms_sim::world::noise::Noise;
use bms_sim::world::spec::PackSpec;
use bms_sim::world::{Actuators, Initial, World};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use std::cell::RefCell;

/// What the decision before left behind.
struct Before {
    coils: Coils,
    step: Step,
    asked: Asked,
}

impl Before {
    const NOTHING: Self = Self { coils: Coils::NONE, step: Step::Open, asked: Asked::NOTHING };
}

/// What holds for any decision and the one before it.
fn obeys<const CELLS: usize, const THERMISTORS: usize>(
    frame: &Frame<CELLS, THERMISTORS>,
    before: &Before,
    decision: &Decision<CELLS>,
    config: &Config,
) -> Result<(), TestCaseError> {
    let closes = before.coils.positive == Coil::Off && decision.coils.positive == Coil::On;
    if closes {
        let seen = frame.voltages.within(config.pack.oldest_age);
        prop_assert!(seen.is_some(), "positive closes without a fresh reading of the link");
        if let Some(seen) = seen {
            // 95 % or 20 V, whichever is nearer.
            let apart = (i64::from(seen.pack.bits()) - i64::from(seen.link.bits())).abs();
            let within = i64::from(seen.pack.bits()) / 20;
            prop_assert!(
                apart <= within.min(20 << 16) + 1,
                "positive closes over {:?} of {:?}",
                seen.link,
                seen.pack
            );
        }
    }
    // What stands at the end of its range may be more; the second channel's lies beyond the breaking limit.
    let range = i64::from(config.pack.current_range.bits()) * 99 / 100;
    let breaks = |amps: Amps| amps.abs() < config.sequence.breaking_limit;
    let at_end = i64::from(frame.current.value.abs().bits()) >= range;
    let may_break = breaks(frame.current.value) && !at_end && breaks(frame.current_check.value);
    let demanded = decision.faults.reaction;
    if let Some((Reaction::OpenNow, fault)) = demanded
        && may_break
    {
        prop_assert_eq!(decision.coils, Coils::NONE, "{:?} demands OpenNow", fault);
    }
    let off = matches!(decision.step, Step::Open | Step::ProvingDead | Step::Barred);
    prop_assert_eq!(decision.coils == Coils::NONE, off, "{:?}", decision.step);
    let opens = demanded.is_some_and(|(reaction, _)| reaction >= Reaction::OpenSoon);
    prop_assert!(
        before.step != Step::Open || decision.step != Step::ClosingNegative || !opens,
        "closing begins against {:?}",
        demanded
    );
    if before.step == Step::Barred && decision.step != Step::Barred {
        let cleared = frame.asked.clear.is_some() && frame.asked.clear != before.asked.clear;
        prop_assert!(cleared && !opens, "barred was left uncleared, or against {:?}", demanded);
    }
    if !matches!(decision.step, Step::Closed | Step::Easing) {
        prop_assert_eq!(decision.limits, CurrentLimits::NONE, "{:?}", decision.step);
    }
    let up = |limit: Amps| limit >= Amps::ZERO;
    prop_assert!(up(decision.limits.charge) && up(decision.limits.discharge));
    prop_assert!(decision.bleed.iter().all(|cell| usize::from(cell) < CELLS));
    Ok(())
}

/// Frames without any truth behind them, one after another.
fn any_frames<const CELLS: usize, const THERMISTORS: usize>(
    config: &Config,
    frames: &[Odd<CELLS, THERMISTORS>],
) -> Result<(), TestCaseError> {
    let checked = config.fit();
    let checked = checked.map_err(|error| TestCaseError::fail(format!("{error:?}")))?;
    let mut core = Controller::<CELLS, THERMISTORS>::new(checked);
    let mut before = Before::NOTHING;
    for (tick, odd) in (0..).zip(frames) {
        // One in eight comes at the time of another.
        let turned = if odd.lies.len() > 6 { tick / 2 } else { tick };
        let frame = odd.frame(config, Instant(10 * turned));
        let decision = core.tick(&frame, &mut Everything::default());
        obeys(&frame, &before, &decision, config)?;
        before = Before { coils: decision.coils, step: decision.step, asked: frame.asked };
    }
    Ok(())
}

/// So many frames with up to seven lies each.
fn row<const CELLS: usize, const THERMISTORS: usize>() -> impl Strategy<Value = Vec<Odd<CELLS, THERMISTORS>>>
{
    proptest::collection::vec(frames(0..8), 80)
}

/// A pack of so many cells in one module, with the contactors of the training bench.
fn pack_of(cells: u8) -> Config {
    let nominal = i32::from(cells) * 3_200;
    let pack = bms_core::config::Pack::of(1, cells, 1, 20_000, nominal);
    let resistors = match cells {
        0..32 => SequenceFacts::trainer(),
        32..=96 => SequenceFacts::crane(),
        // A full pack of 467 V must fall below 60 V within five seconds.
        _ => SequenceFacts::of(Ohms(50), Ohms(2_000), 1_000),
    };
    Config::for_pack(pack, resistors)
}

/// How often a storm came to each situation.
#[derive(Debug, Default)]
struct Visits {
    precharging: u32,
    /// Positive was commanded closed.
    closing_positive: u32,
    closed: u32,
    /// A load began to draw or to feed more than a fifth of C.
    driving: u32,
    easing: u32,
    /// OpenNow took coils off.
    tripped: u32,
    barred: u32,
    /// A clear led from Barred to Open.
    cleared: u32,
}

impl Visits {
    fn count(&mut self, before: &Before, now: (Step, Coils), trips: bool) {
        let enters = |step| u32::from(now.0 == step && before.step != step);
        self.precharging += enters(Step::Precharging);
        self.closing_positive += enters(Step::ClosingPositive);
        self.closed += enters(Step::Closed);
        self.easing += enters(Step::Easing);
        self.barred += enters(Step::Barred);
        self.cleared += u32::from(before.step == Step::Barred && now.0 == Step::Open);
        self.tripped += u32::from(trips && before.coils != Coils::NONE && now.1 == Coils::NONE);
    }

    fn add(&mut self, other: &Self) {
        self.precharging += other.precharging;
        self.closing_positive += other.closing_positive;
        self.closed += other.closed;
        self.driving += other.driving;
        self.easing += other.easing;
        self.tripped += other.tripped;
        self.barred += other.barred;
        self.cleared += other.cleared;
    }
}

/// What an operator does by chance in one tick.
struct Dice {
    noise: Noise,
    tick: u32,
}

impl Dice {
    fn below(&self, most: usize, what: u32) -> usize {
        usize::try_from(self.noise.of_run(self.tick.into(), what) >> 33).unwrap_or(0) % most
    }

    fn one_in(&self, many: usize, what: u32) -> bool {
        self.below(many, what) == 0
    }
}

/// What is done with the pack meanwhile: closed mostly, opened now and then, cleared by the workshop, loaded either way.
struct Shift {
    wants: Wanted,
    /// In parts of 1C, positive when it charges.
    load: f64,
    /// The button is held down: only its edge may count.
    clear: bool,
}

impl Shift {
    /// A pack that stands open although closed contactors are asked for is soon asked again, as an operator would.
    fn asked(&mut self, dice: &Dice, step: Step) -> Asked {
        let patience = if step == Step::Open { 30 } else { 600 };
        self.wants = match self.wants {
            Wanted::Closed if dice.one_in(patience, 0) => Wanted::Open,
            Wanted::Open if dice.one_in(patience.min(150), 0) => Wanted::Closed,
            stays => stays,
        };
        if dice.one_in(200, 1) {
            self.load = if dice.one_in(2, 2) { -0.5 } else { [-1.5, 0.0, 0.5][dice.below(3, 3)] };
        }
        if dice.one_in(80, 4) {
            self.clear = !self.clear;
        }
        Asked { contactors: self.wants, clear: self.clear.then_some(Clearance::Service), replaced: None }
    }
}

/// Ticks of a storm: 36 s.
const TICKS: u32 = 3_600;

/// What goes wrong meanwhile.
#[derive(Clone, Debug, Default)]
struct Storm {
    spells: Vec<Spell>,
    /// Frames that are lost: from this tick on, two to the power of so many.
    lost: Vec<(u32, u32)>,
}

impl Storm {
    fn loses(&self, tick: u32) -> bool {
        self.lost.iter().any(|(from, doublings)| tick >= *from && tick - from < 1 << doublings)
    }
}

fn storms<const CELLS: usize, const THERMISTORS: usize>() -> impl Strategy<Value = Storm> {
    let lost = proptest::collection::vec((0..TICKS, 0..6_u32), 0..=18);
    (spells::<CELLS, THERMISTORS>(TICKS, 50), lost).prop_map(|(spells, lost)| Storm { spells, lost })
}

/// A simulated pack for 36 s, in calm weather or in a storm.
fn weather<const CELLS: usize, const THERMISTORS: usize>(
    (spec, config): (&PackSpec, Config),
    seed: u64,
    storm: &Storm,
) -> Result<Visits, TestCaseError> {
    let refused = |error: &dyn std::fmt::Debug| TestCaseError::fail(format!("{error:?}"));
    let initial = Initial { charge: 0.6, celsius: 20.0 };
    let mut world = World::<CELLS, THERMISTORS>::new(spec, seed, initial).map_err(|error| refused(&error))?;
    let checked = config.fit().map_err(|error| refused(&error))?;
    let mut core = Controller::<CELLS, THERMISTORS>::new(checked);
    let noise = Noise::new(seed);
    let mut shift = Shift { wants: Wanted::Closed, load: -0.5, clear: false };
    let (mut before, mut visits, mut drove) = (Before::NOTHING, Visits::default(), false);
    let mut actuators = Actuators::OFF;
    let mut began_with = vec![None; storm.spells.len()];
    for tick in 0..TICKS {
        let dice = Dice { noise, tick };
        // A switch that stands on when the firmware starts closes nothing.
        let asked = if tick == 0 { Asked::NOTHING } else { shift.asked(&dice, before.step) };
        if !storm.loses(tick) {
            let mut frame = world.measure(tick.into(), Instant(tick * 10), asked);
            for (spell, began_with) in storm.spells.iter().zip(&mut began_with) {
                spell.spoil(tick, &mut frame, began_with, &config);
            }
            let decision = core.tick(&frame, &mut ());
            obeys(&frame, &before, &decision, &config)?;
            let trips = matches!(decision.faults.reaction, Some((Reaction::OpenNow, _)));
            visits.count(&before, (decision.step, decision.coils), trips);
            before = Before { coils: decision.coils, step: decision.step, asked: frame.asked };
            actuators = Actuators::from(&decision);
            let drives = decision.step == Step::Closed && frame.current.value.abs() > config.pack.rate(20);
            visits.driving += u32::from(drives && !drove);
            drove = drives;
        }
        let one_c = spec.cell.capacity_coulombs / 3_600.0;
        let demand = Demand { amps: shift.load * one_c, giver: Giver::Drive, outside_celsius: 20.0 };
        world.step(0.01, &actuators, &demand);
    }
    Ok(visits)
}

proptest! {
    #![proptest_config(law(100, 1_000))]

    #[test]
    fn any_frame_is_answered_by_packs_of_any_size(
        crane in row::<96, 16>(),
        trainer in row::<16, 8>(),
        one in row::<1, 1>(),
        most in row::<128, 1>(),
    ) {
        any_frames(&Config::crane(), &crane)?;
        any_frames(&Config::trainer(), &trainer)?;
        any_frames(&pack_of(1), &one)?;
        any_frames(&pack_of(128), &most)?;
    }
}

#[test]
fn a_storm_of_frames_closes_and_opens_by_the_rules() {
    let config = law(200, 200);
    let cases = config.cases;
    let (mut runner, all) = (TestRunner::new(config), RefCell::new(Visits::default()));
    let storms = (any::<u64>(), 0..4_u8, storms::<96, 16>(), storms::<16, 8>());
    let outcome = runner.run(&storms, |(seed, pack, on_crane, on_trainer)| {
        let visits = if pack == 0 {
            weather::<96, 16>((&PackSpec::crane(), Config::crane()), seed, &on_crane)?
        } else {
            weather::<16, 8>((&PackSpec::trainer(), Config::trainer()), seed, &on_trainer)?
        };
        all.borrow_mut().add(&visits);
        Ok(())
    });
    if let Err(error) = outcome {
        panic!("{error}");
    }
    let visits = all.into_inner();
    for (situation, count, in_a_hundred) in [
        ("precharging", visits.precharging, 200),
        ("closing positive", visits.closing_positive, 150),
        ("closed", visits.closed, 150),
        ("driving", visits.driving, 125),
        ("easing", visits.easing, 150),
        ("tripped", visits.tripped, 6),
        ("barred", visits.barred, 40),
        ("cleared", visits.cleared, 25),
    ] {
        assert!(
            count * 100 >= cases * in_a_hundred,
            "{situation}: only {count} times in {cases} storms; {visits:?}"
        );
    }
}

/// In calm weather the same shifts trip nothing.
#[test]
fn calm_weather_trips_nothing() {
    for seed in 1..=20 {
        let visits = weather::<16, 8>((&PackSpec::trainer(), Config::trainer()), seed, &Storm::default());
        assert!(
            matches!(visits, Ok(Visits { tripped: 0, barred: 0, closed: 1.., .. })),
            "{seed}: {visits:?}"
        );
    }
}
