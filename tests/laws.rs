//! Laws that hold for any pack, any frame and any story, checked across both crates.
//!
//! | law | test |
//! | --- | --- |
//! | the core answers any frame whatever | `any_frame_is_answered…` |
//! | positive closes only onto a charged link, by the readings of that very tick | `a_storm_of_frames…` |
//! | OpenNow takes all coils off in that tick | `a_storm_of_frames…` |
//! | from a crossing to open coils it takes a dwell, a tick and the age of the reading at most | `a_reaction_is_in_time` |
//! | true charge lies inside its interval, and a healthy pack has no Confirmed fault | `a_healthy_pack…` |
//! | the same case and seed give the same recording | `the_same_case…` |
//! | who listens changes nothing | `who_listens…` |
//! | twins are equal until the onset | `twins…` |
//! | a visited tick is the tick of the straight run | `any_tick…` |

use bms_core::config::SequenceFacts;
use bms_core::decision::{Coil, Coils, Decision};
use bms_core::frame::{Asked, Clearance, Contact, Feedback, Frame, PackVoltages, Part, Wanted};
use bms_core::units::{Amps, Instant, Millis, Ohms, Ratio, Volts};
use bms_core::{Config, Controller, Each, Evidence, Fault, Reaction, Step, Witness};
use bms_sim::case::Case;
use bms_sim::recording;
use bms_sim::run::Loop;
use bms_sim::world::load::{Demand, Giver};
use bms_sim::world::spec::PackSpec;
use bms_sim::world::{Actuators, Initial, World};
use proptest::prelude::*;
use std::sync::Arc;

/// The runs of one law. `.cargo/config.toml` fixes the seed; to search further, give another one and more cases. What then fails is
/// printed with its input and becomes a test:
///
/// ```text
/// PROPTEST_RNG_SEED=$RANDOM PROPTEST_CASES=2000 cargo test --test laws storm
/// ```
fn law(cases: u32, max_shrink_iters: u32) -> ProptestConfig {
    let given = ProptestConfig::default(); // from the environment
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() { given.cases } else { cases };
    ProptestConfig { cases, max_shrink_iters, failure_persistence: None, ..given }
}

/// A small generator for the contents of frames; proptest chooses its seed (xorshift64*, Vigna, 2016).
struct Dice(u64);

impl Dice {
    fn word(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    fn bits(&mut self) -> i32 {
        // Small, ordinary and wild values, all of them often.
        let word = self.word();
        ((word >> 32) as i32) >> (word & 31)
    }

    fn one_in(&mut self, many: u64) -> bool {
        (self.word() >> 33).is_multiple_of(many)
    }

    fn age(&mut self) -> Millis {
        match self.word() >> 62 {
            0 => Millis(0),
            1 => Millis(self.bits().unsigned_abs() % 60),
            2 => Millis(self.bits().cast_unsigned()),
            _ => Millis::MAX,
        }
    }

    fn part<T>(&mut self, part: &mut Part<T>, value: impl FnOnce(&mut Self) -> T) {
        *part = Part { value: value(self), age: self.age() };
    }

    fn volts(&mut self) -> Volts {
        Volts::from_bits(self.bits())
    }

    fn contact(&mut self) -> Contact {
        if self.one_in(2) { Contact::Made } else { Contact::Broken }
    }

    fn asked(&mut self) -> Asked {
        Asked {
            contactors: if self.one_in(2) { Wanted::Closed } else { Wanted::Open },
            clear: self.one_in(4).then_some(Clearance::Service),
            replaced: self.one_in(8).then(|| self.bits().to_le_bytes()[0]),
        }
    }

    /// Spoils a frame: each part with a chance of one in `many`.
    fn spoil<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        frame: &mut Frame<CELLS, THERMISTORS>,
        many: u64,
    ) {
        if self.one_in(many) {
            self.part(&mut frame.cells, |dice| Each(std::array::from_fn(|_| dice.volts())));
        }
        if self.one_in(many) {
            self.part(&mut frame.thermistors, |dice| {
                Each(std::array::from_fn(|_| Ratio::from_bits(dice.bits())))
            });
        }
        if self.one_in(many) {
            self.part(&mut frame.current, |dice| Amps::from_bits(dice.bits()));
        }
        if self.one_in(many) {
            self.part(&mut frame.current_check, |dice| Amps::from_bits(dice.bits()));
        }
        if self.one_in(many) {
            self.part(&mut frame.voltages, |dice| PackVoltages {
                pack: dice.volts(),
                behind_negative: dice.volts(),
                behind_positive: dice.volts(),
                link: dice.volts(),
            });
        }
        if self.one_in(many) {
            self.part(&mut frame.supply, Self::volts);
        }
        if self.one_in(many) {
            self.part(&mut frame.feedback, |dice| Feedback {
                negative: dice.contact(),
                precharge: dice.contact(),
                positive: dice.contact(),
            });
        }
        if self.one_in(many) {
            frame.asked = self.asked();
        }
        if self.one_in(4 * many) {
            frame.at = Instant(self.bits().cast_unsigned());
        }
    }
}

/// Listens to everything.
#[derive(Default)]
struct Everything(Vec<Evidence>);

impl Witness for Everything {
    fn saw(&mut self, evidence: Evidence) {
        self.0.push(evidence);
    }
}

/// What holds for any decision and the one before it.
fn obeys<const CELLS: usize, const THERMISTORS: usize>(
    frame: &Frame<CELLS, THERMISTORS>,
    before: Coils,
    decision: &Decision<CELLS>,
    config: &Config,
) -> Result<(), TestCaseError> {
    let closes = before.positive == Coil::Off && decision.coils.positive == Coil::On;
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
    let breaks = |amps: Amps| amps.abs() < config.sequence.breaking_limit;
    let may_break = breaks(frame.current.value) && breaks(frame.current_check.value);
    if let Some((Reaction::OpenNow, fault)) = decision.faults.reaction
        && may_break
    {
        prop_assert_eq!(decision.coils, Coils::NONE, "{:?} demands OpenNow", fault);
    }
    let up = |limit: Amps| limit >= Amps::ZERO;
    prop_assert!(up(decision.limits.charge) && up(decision.limits.discharge));
    prop_assert!(decision.bleed.iter().all(|cell| usize::from(cell) < CELLS));
    Ok(())
}

/// Frames without any truth behind them.
fn any_frames<const CELLS: usize, const THERMISTORS: usize>(
    config: &Config,
    seed: u64,
) -> Result<(), TestCaseError> {
    let checked = config.fit();
    let checked = checked.map_err(|error| TestCaseError::fail(format!("{error:?}")))?;
    let mut core = Controller::<CELLS, THERMISTORS>::new(checked);
    let mut dice = Dice(seed | 1);
    let mut before = Coils::NONE;
    let mut at = 0_u32;
    for _ in 0..150 {
        at = at.wrapping_add(10);
        let mut frame = Frame::empty(Instant(at));
        dice.spoil(&mut frame, 1);
        frame.at = if dice.one_in(4) { frame.at } else { Instant(at) };
        let decision = core.tick(&frame, &mut Everything::default());
        obeys(&frame, before, &decision, config)?;
        before = decision.coils;
    }
    Ok(())
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

/// Runs a real pack through its life and spoils one part of a frame in `many`.
fn storm<const CELLS: usize, const THERMISTORS: usize>(
    (spec, config): (&PackSpec, Config),
    seed: u64,
    many: u64,
) -> Result<bool, TestCaseError> {
    let refused = |error: &dyn std::fmt::Debug| TestCaseError::fail(format!("{error:?}"));
    let initial = Initial { charge: 0.6, celsius: 20.0 };
    let mut world = World::<CELLS, THERMISTORS>::new(spec, seed, initial).map_err(|error| refused(&error))?;
    let checked = config.fit().map_err(|error| refused(&error))?;
    let mut core = Controller::<CELLS, THERMISTORS>::new(checked);
    let mut dice = Dice(seed | 1);
    let (mut before, mut closed) = (Coils::NONE, false);
    for tick in 0..900_u32 {
        let asked = Asked { contactors: Wanted::Closed, ..Asked::NOTHING };
        let mut frame = world.measure(tick.into(), Instant(tick * 10), asked);
        // Calm at first, so that most packs get to Closed before the storm.
        if tick > 60 {
            dice.spoil(&mut frame, many);
        }
        let decision = core.tick(&frame, &mut ());
        obeys(&frame, before, &decision, &config)?;
        before = decision.coils;
        closed |= decision.step == Step::Closed;
        let demand = Demand {
            amps: -0.5 * spec.cell.capacity_coulombs / 3_600.0,
            giver: Giver::Drive,
            outside_celsius: 20.0,
        };
        world.step(0.01, &Actuators::from(&decision), &demand);
    }
    Ok(closed)
}

proptest! {
    #![proptest_config(law(200, 200))]

    #[test]
    fn any_frame_is_answered_by_packs_of_any_size(seed in any::<u64>()) {
        any_frames::<96, 16>(&Config::crane(), seed)?;
        any_frames::<16, 8>(&Config::trainer(), seed)?;
        any_frames::<1, 1>(&pack_of(1), seed)?;
        any_frames::<128, 1>(&pack_of(128), seed)?;
    }

    #[test]
    fn a_storm_of_frames_closes_and_opens_by_the_rules(seed in any::<u64>(), rare in 0..3_usize) {
        storm::<16, 8>((&PackSpec::trainer(), Config::trainer()), seed, [40, 400, 4_000][rare])?;
    }

    /// From the first frame that shows a cell beyond its far limit to the reaction: the dwell, one tick and the age. Over-voltage takes
    /// all coils off, under-voltage begins to ease the current.
    #[test]
    fn a_reaction_is_in_time(high in any::<bool>(), cell in 0..16_usize, age in 0..=30_u32, tick_ms in 1..=10_u32) {
        let config = Config::trainer();
        let limit = if high { config.faults.cell_over_voltage_far.dwell } else { config.faults.cell_under_voltage_far.dwell };
        let reading = Volts::from_milli(if high { 3_900 } else { 1_500 });
        let spec = PackSpec::trainer();
        let mut world = World::<16, 8>::new(&spec, 9, Initial { charge: 0.6, celsius: 20.0 }).unwrap();
        let mut core = Controller::<16, 8>::new(config.fit().unwrap());
        let asked = Asked { contactors: Wanted::Closed, ..Asked::NOTHING };
        let (onset, mut opened) = (3_000 / tick_ms, None);
        for tick in 0..onset + 2_000 / tick_ms {
            let mut frame = world.measure(tick.into(), Instant(tick * tick_ms), asked);
            if tick >= onset {
                frame.cells.age = Millis(age);
                frame.cells.value.0[cell] = reading;
            }
            let decision = core.tick(&frame, &mut ());
            if tick + 1 == onset {
                prop_assert_eq!(decision.step, Step::Closed);
            }
            let reacted = if high { decision.coils == Coils::NONE } else { decision.step != Step::Closed };
            if tick >= onset && reacted && opened.is_none() {
                opened = Some((tick - onset) * tick_ms);
            }
            world.step(f64::from(tick_ms) / 1_000.0, &Actuators::from(&decision), &Demand::default());
        }
        let most = limit.0 + tick_ms + age;
        prop_assert!(opened.is_some_and(|took| took <= most), "{:?} ms, at most {} ms", opened, most);
    }
}

/// The storm is no storm in a glass: in calm weather the pack closes.
#[test]
fn the_storm_reaches_closed_packs() {
    let closed = storm::<16, 8>((&PackSpec::trainer(), Config::trainer()), 3, u64::MAX >> 34);
    assert!(matches!(closed, Ok(true)), "{closed:?}");
}

/// A short story of the training bench or the crane.
fn story(pack: &str, seed: u64, more: &str) -> Arc<Case> {
    let text = format!(
        "schema = 1\ntitle = \"A shift\"\nstory = \"One of many.\"\npack = \"{pack}\"\nseed = {seed}\n{more}"
    );
    Arc::new(Case::parse(&text, "law").unwrap_or_else(|error| panic!("{error}\n{text}")))
}

const WORK: [&str; 6] = ["hoist", "travel", "lower", "fast-lower", "hold", "top-up"];

/// A healthy life: hours of rest in larger steps, a shift of random work, a rest again.
fn healthy(pack: &str, seed: u64, (charge, celsius): (u32, i32), work: &[(usize, u32)]) -> Arc<Case> {
    use std::fmt::Write;
    let mut more = format!(
        "duration_s = 7800\n[rest]\nstep_s = 10\n[start]\ncharge_percent = {charge}\ncelsius = {celsius}\n"
    );
    more.push_str("[[act]]\nat_s = 4000\nask = \"close\"\n[[act]]\nat_s = 4200\nask = \"open\"\n[[duty]]\ndo = \"park\"\nfor_s = 4005\n");
    for (which, seconds) in work {
        writeln!(more, "[[duty]]\ndo = \"{}\"\nfor_s = {seconds}", WORK[*which]).expect("a string takes all");
    }
    story(pack, seed, &more)
}

/// Plays it and compares each cell's interval of missing charge with truth.
fn stays_healthy<const CELLS: usize, const THERMISTORS: usize>(
    case: &Arc<Case>,
) -> Result<(), TestCaseError> {
    let mut now =
        Loop::<CELLS, THERMISTORS>::new(case).map_err(|error| TestCaseError::fail(error.to_string()))?;
    let mut was_closed = false;
    while !now.over() {
        let decision = now.advance(&mut ());
        was_closed |= decision.step == Step::Closed;
        if !decision.faults.confirmed.is_empty() || !decision.faults.latched.is_empty() {
            let names: Vec<Fault> =
                decision.faults.confirmed.iter().chain(decision.faults.latched.iter()).collect();
            return Err(TestCaseError::fail(format!("{names:?} at {} s on a healthy pack", now.seconds())));
        }
        if !now.tick.is_multiple_of(20) {
            continue;
        }
        for cell in 0..CELLS {
            // A cell that was charged a little beyond full misses nothing.
            let empty = (1.0 - now.world.cells.charge[cell]).max(0.0);
            let truth = empty / now.world.cells.per_coulomb[cell] / 3.6;
            let place = u8::try_from(cell).expect("at most 128");
            let missing = now.core.estimated().missing(place).expect("the cell exists");
            let (low, high) =
                (f64::from(missing.low.milliamp_hours()), f64::from(missing.high.milliamp_hours()));
            prop_assert!(
                low - 1.0 <= truth && truth <= high + 1.0,
                "cell {}: {truth} mAh are missing, believed {low} to {high}, at {} s",
                cell + 1,
                now.seconds()
            );
        }
    }
    prop_assert!(was_closed, "the pack was never closed");
    Ok(())
}

proptest! {
    #![proptest_config(law(48, 12))]

    #[test]
    fn a_healthy_pack_keeps_its_charge_in_the_interval_and_has_no_fault(
        seed in any::<u32>(),
        charge in 5..=100_u32,
        celsius in -28..=45_i32,
        work in proptest::collection::vec((0..WORK.len(), 1..=15_u32), 1..10),
    ) {
        stays_healthy::<16, 8>(&healthy("trainer", seed.into(), (charge, celsius), &work))?;
        if seed.is_multiple_of(6) {
            stays_healthy::<96, 16>(&healthy("crane", seed.into(), (charge, celsius), &work))?;
        }
    }
}

const SHIFT: &str = "duration_s = 40\n[start]\ncharge_percent = 70\ncelsius = 5\n[[act]]\nat_s = 1\nask = \"close\"\n\
    [[duty]]\ndo = \"park\"\nfor_s = 3\n[[duty]]\ntimes = 2\nphases = [{ do = \"hoist\" }, { do = \"hold\" }, { do = \"lower\" }]\n";

#[test]
fn the_same_case_and_seed_give_the_same_recording() {
    let play = |seed| {
        recording::play::<16, 8>(&story("trainer", seed, SHIFT), |_| true).expect("the trainer has 16 cells")
    };
    let (one, other, third) = (play(5), play(5), play(6));
    assert_eq!((one.digest, one.ticks), (other.digest, other.ticks));
    assert_eq!((&one.end.world, &one.end.core), (&other.end.world, &other.end.core));
    assert_ne!(one.digest, third.digest, "the seed changes nothing");
}

#[test]
fn who_listens_changes_nothing() {
    let case = story("crane", 11, SHIFT);
    let mut deaf = Loop::<96, 16>::new(&case).expect("the crane has 96 cells");
    let mut heard = deaf.clone();
    let mut told = 0;
    while !deaf.over() {
        let mut all = Everything::default();
        assert_eq!(deaf.advance(&mut ()), heard.advance(&mut all), "in tick {}", deaf.tick);
        told += all.0.len();
    }
    assert!(deaf.core == heard.core && told > 100_000, "{told} pieces of evidence");
}

#[test]
fn twins_are_equal_until_the_onset() {
    const ONSET: f64 = 20.0;
    let defect =
        format!("{SHIFT}[[defect]]\nkind = \"added_resistance\"\ncell = 4\nmilliohms = 12\nat_s = {ONSET}\n");
    let mut sick = Loop::<16, 8>::new(&story("trainer", 8, &defect)).expect("the trainer has 16 cells");
    let mut sound = Loop::<16, 8>::new(&story("trainer", 8, SHIFT)).expect("the trainer has 16 cells");
    let mut parted = None;
    while !sick.over() {
        let measured_same = sick.frame() == sound.frame();
        let decided = (sick.advance(&mut ()), sound.advance(&mut ()));
        let same = measured_same && decided.0 == decided.1;
        if !same && parted.is_none() {
            parted = Some(sick.seconds());
        }
        assert!(same || sick.seconds() > ONSET, "they part at {} s", sick.seconds());
    }
    assert!(parted.is_some(), "the defect changes nothing");
}

proptest! {
    #![proptest_config(law(6, 12))]

    #[test]
    fn any_tick_that_is_visited_is_that_of_the_straight_run(ticks in proptest::collection::vec(0..=4_000_u64, 4)) {
        let case = story("trainer", 21, SHIFT);
        let recording = recording::play::<16, 8>(&case, |_| true).expect("the trainer has 16 cells");
        for tick in ticks {
            let mut straight = Loop::<16, 8>::new(&case).expect("the trainer has 16 cells");
            while straight.tick < tick {
                straight.advance(&mut ());
            }
            let visited = recording.at(tick);
            prop_assert_eq!(visited.tick, tick);
            prop_assert!(visited.world == straight.world && visited.core == straight.core, "tick {}", tick);
        }
    }
}
