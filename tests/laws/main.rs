//! Laws that hold for any pack, any frame and any story, checked across both crates.
//!
//! | law | test |
//! | --- | --- |
//! | the core answers any frame whatever | `any_frame_is_answered…` |
//! | positive closes only onto a charged link, by the readings of that very tick | `a_storm_of_frames…` |
//! | OpenNow takes all coils off in that tick | `a_storm_of_frames…` |
//! | closing begins against no demand to open, and Barred is left only by the edge of a clear | `a_storm_of_frames…` |
//! | no current is allowed but through closed contactors | `a_storm_of_frames…` |
//! | from a crossing to open coils it takes a dwell, a tick and the age of the reading at most | `a_reaction_is_in_time` |
//! | true charge lies inside its interval, and a healthy pack has no Confirmed fault | `a_healthy_pack…` |
//! | true charge lies inside its interval over losses of power at any tick | `charge_stays…` |
//! | a start that loses its supply in any tick ends open, and a weld is found by closing nothing | `a_start_that_is_cut…` |
//! | the same case and seed give the same recording | `the_same_case…` |
//! | who listens changes nothing | `who_listens…` |
//! | twins are equal until the onset | `twins…` |
//! | a visited tick is the tick of the straight run | `any_tick…` |

mod power;
mod storm;

use bms_core::decision::Coils;
use bms_core::frame::{Asked, Wanted};
use bms_core::units::{Instant, Millis, Volts};
use bms_core::{Config, Controller, Evidence, Fault, Step, Witness};
use bms_sim::case::Case;
use bms_sim::recording;
use bms_sim::run::Loop;
use bms_sim::world::load::Demand;
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

/// Listens to everything.
#[derive(Default)]
struct Everything(Vec<Evidence>);

impl Witness for Everything {
    fn saw(&mut self, evidence: Evidence) {
        self.0.push(evidence);
    }
}

proptest! {
    #![proptest_config(law(200, 200))]

    /// From the first frame that shows a cell beyond its far limit to the reaction: the dwell, one tick and the age. Over-voltage takes
    /// all coils off, under-voltage begins to ease the current. An outermost cell of a front end might be an open wire: it waits two ticks for
    /// the test current to say that it is none.
    #[test]
    fn a_reaction_is_in_time(high in any::<bool>(), cell in 0..16_usize, age in 0..=30_u32, tick_ms in 1..=10_u32) {
        let config = Config::trainer();
        let fault = if high { Fault::CellOverVoltageFar } else { Fault::CellUnderVoltageFar };
        let limit = config.faults.shown(fault).dwell;
        let reading = Volts::from_milli(if high { 3_900 } else { 1_500 });
        let spec = PackSpec::trainer();
        let mut world = World::<16, 8>::new(&spec, 9, Initial { charge: 0.6, celsius: 20.0 }).unwrap();
        let mut core = Controller::<16, 8>::new(config.fit().unwrap());
        let (onset, mut opened) = (3_000 / tick_ms, None);
        for tick in 0..onset + 2_000 / tick_ms {
            // A switch that stands on when the firmware starts closes nothing.
            let contactors = if tick == 0 { Wanted::Open } else { Wanted::Closed };
            let asked = Asked { contactors, ..Asked::NOTHING };
            let mut frame = world.measure(tick.into(), Instant(tick * tick_ms), asked);
            if tick >= onset {
                frame.cells.age = Millis(age);
                frame.cells.value.0[cell] = reading;
                frame.cells_pulled.value.cells.0[cell] = reading;
            }
            let decision = core.tick(&frame, &mut ());
            if tick + 1 == onset {
                prop_assert_eq!(decision.step, Step::Closed);
            }
            let reacted = if high { decision.coils == Coils::NONE } else { decision.step != Step::Closed };
            if tick >= onset && reacted && opened.is_none() {
                // By this protection, not by another that opens for a reason of its own.
                prop_assert_eq!(decision.faults.reaction.map(|(_, by)| by), Some(fault));
                opened = Some((tick - onset) * tick_ms);
            }
            world.step(f64::from(tick_ms) / 1_000.0, &Actuators::from(&decision), &Demand::default());
        }
        let outermost = [0, 7, 8, 15].contains(&cell);
        let most = limit.0 + tick_ms + age + if outermost { 2 * tick_ms } else { 0 };
        prop_assert!(opened.is_some_and(|took| took <= most), "{:?} ms, at most {} ms", opened, most);
    }
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
