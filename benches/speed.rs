//! How fast the rooms and the house are, on one core.
//!
//! `cargo bench -p bms-sim` measures; `cargo bench -p bms-sim -- --test` runs each bench once, on a short story. The story is
//! the shipped healthy shift: charge, hoist, lower, travel, from the dock into the freezer, with noise on every channel and every
//! decision of the firmware. Nobody listens to the evidence except where the name says so.
//!
//! The closed loop is held against the same pack written as a practitioner would ([`baseline`]), in the same run.

mod baseline;
mod rare;
mod survey;

use bms_core::decision::Decision;
use bms_core::units::{Amps, Instant, Ratio, Volts};
use bms_core::{Controller, Evidence, Frame, Witness};
use bms_sim::case::Case;
use bms_sim::recording::{self, Recording};
use bms_sim::run::Loop;
use bms_sim::world::Actuators;
use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant as Clock};

/// The pack of the shipped cases.
type Crane = Loop<96, 16>;

/// The case that is played.
const STORY: &str = include_str!("../examples/cases/healthy-shift.toml");

/// Ticks of 10 ms in 600 s.
const TICKS: u64 = 60_000;

/// Ticks after which the pack carries a hoist in the freezer: 232 s.
const IN_THE_FREEZER: u64 = 23_200;

/// Frames that the core is given in turn, so that it never sees the same one twice in a row.
const FRAMES: usize = 256;

/// A bad frame comes so often: each fault becomes suspect and heals again, which costs more than one that stays.
const BAD_EVERY: u64 = 4;

/// Whether criterion only tries each bench once.
fn tried_only() -> bool {
    std::env::args().any(|argument| argument == "--test")
}

fn story() -> Arc<Case> {
    Arc::new(Case::parse(STORY, "healthy-shift.toml").expect("the shipped case is accepted"))
}

fn start(case: &Arc<Case>) -> Crane {
    Crane::new(case).expect("the case is about this pack")
}

fn play_on(pack: &mut Crane, ticks: u64) {
    for _ in 0..ticks {
        black_box(pack.advance(&mut ()));
    }
}

/// The closed loop that is measured: a function of its own, so that its instructions can be counted apart from all preparations.
#[inline(never)]
fn closed_loop_ticks(pack: &mut Crane, ticks: u64) {
    play_on(pack, ticks);
}

/// The pack in the middle of its work.
fn at_work() -> Crane {
    let mut pack = start(&story());
    play_on(&mut pack, if tried_only() { 1_000 } else { IN_THE_FREEZER });
    pack
}

/// Counts evidence and keeps nothing.
struct Counting(u64);

impl Witness for Counting {
    fn saw(&mut self, evidence: Evidence) {
        black_box(evidence);
        self.0 += 1;
    }
}

/// What the firmware sees while the pack works.
fn frames(pack: &Crane) -> Vec<Frame<96, 16>> {
    let mut pack = pack.clone();
    (0..FRAMES)
        .map(|_| {
            let frame = pack.frame();
            pack.advance(&mut ());
            frame
        })
        .collect()
}

/// A frame in which nothing is as it should be: thermistors at their rail, cells far apart, currents that contradict each other.
fn spoilt(frame: &Frame<96, 16>) -> Frame<96, 16> {
    let mut bad = *frame;
    bad.thermistors.value.iter_mut().for_each(|ratio| *ratio = Ratio::ONE);
    for (volts, high) in bad.cells.value.iter_mut().zip([true, false].into_iter().cycle()) {
        *volts = Volts::from_milli(if high { 4_500 } else { 500 });
    }
    bad.current.value = Amps::from_milli(-600_000);
    bad.current_check.value = Amps::from_milli(600_000);
    bad.supply.value = Volts::from_milli(5_000);
    bad
}

/// One tick of the core, each frame 10 ms after the one before.
struct Fed {
    core: Controller<96, 16>,
    frames: Vec<Frame<96, 16>>,
    at: u32,
    turn: usize,
}

impl Fed {
    fn tick(&mut self, witness: &mut impl Witness) -> Decision<96> {
        self.turn = (self.turn + 1) % self.frames.len();
        self.at = self.at.wrapping_add(10);
        let frame = &mut self.frames[self.turn];
        frame.at = Instant(self.at);
        self.core.tick(frame, witness)
    }
}

fn core_tick(criterion: &mut Criterion) {
    let pack = at_work();
    let healthy = frames(&pack);
    let at = healthy.first().map_or(0, |frame| frame.at.0);
    let mixed: Vec<_> = (0..)
        .zip(&healthy)
        .map(|(turn, frame)| if u64::is_multiple_of(turn, BAD_EVERY) { spoilt(frame) } else { *frame })
        .collect();
    let fed =
        |frames: &[Frame<96, 16>]| Fed { core: pack.core.clone(), frames: frames.to_vec(), at, turn: 0 };
    let mut group = criterion.benchmark_group("core tick");
    let mut core = fed(&healthy);
    group.bench_function("healthy", |bencher| bencher.iter(|| core.tick(&mut ())));
    let (mut core, mut listener) = (fed(&healthy), Counting(0));
    group.bench_function("healthy, with a witness", |bencher| bencher.iter(|| core.tick(&mut listener)));
    let mut core = fed(&mixed);
    group.bench_function("worst: every fault comes and goes", |bencher| bencher.iter(|| core.tick(&mut ())));
    let (mut core, mut listener) = (fed(&mixed), Counting(0));
    group.bench_function("worst, with a witness", |bencher| bencher.iter(|| core.tick(&mut listener)));
    group.finish();
}

fn world(criterion: &mut Criterion) {
    let mut pack = at_work();
    let decision = pack.advance(&mut ());
    let (actuators, duty) = (Actuators::from(&decision), pack.case().demand_at(pack.seconds()));
    let mut group = criterion.benchmark_group("world");
    let mut moving = pack.world.clone();
    group.bench_function("step", |bencher| bencher.iter(|| moving.step(0.01, &actuators, &duty.demand)));
    let mut tick = 0;
    group.bench_function("measure", |bencher| {
        bencher.iter(|| {
            tick += 1;
            pack.world.measure(tick, Instant(0), bms_core::frame::Asked::NOTHING)
        });
    });
    group.finish();
}

fn snapshot(criterion: &mut Criterion) {
    let pack = at_work();
    let mut kept = pack.clone();
    criterion.bench_function("snapshot", |bencher| bencher.iter(|| kept.clone_from(black_box(&pack))));
}

/// One tick back in an hour of the crane, at any place of it; and what it would take without snapshots, from the start to the middle.
fn step_back(criterion: &mut Criterion) {
    let case = if tried_only() { short_story() } else { lasting(3_600.0) };
    let recording: Recording<96, 16> = recording::play(&case, |_| true).expect("the case is about this pack");
    let cost = recording.snapshots_cost();
    println!("{} snapshots of {} B, one every {} ticks", cost.snapshots, cost.bytes_each, cost.spacing);
    let (ticks, middle) = (recording.ticks, recording.ticks / 2);
    let mut group = criterion.benchmark_group("step back");
    // A stride that shares no factor with the spacing visits every distance from a snapshot.
    let mut tick = 0;
    group.bench_function("anywhere in an hour", |bencher| {
        bencher.iter(|| {
            tick = (tick + 7_919) % ticks;
            black_box(recording.stop(tick).tick)
        });
    });
    let mut worst = cost.spacing - 1;
    group.bench_function("the tick before a snapshot", |bencher| {
        bencher.iter(|| {
            worst = (worst + cost.spacing) % ticks;
            black_box(recording.stop(worst).tick)
        });
    });
    group.sample_size(10);
    group.bench_function("half an hour in, played from the start", |bencher| {
        bencher.iter(|| {
            let mut pack = start(&case);
            play_on(&mut pack, middle);
            black_box(pack.tick)
        });
    });
    group.finish();
}

/// The story with rest behind it, or cut short.
fn lasting(seconds: f64) -> Arc<Case> {
    let mut case = Case::parse(STORY, "healthy-shift.toml").expect("the shipped case is accepted");
    case.duration_seconds = seconds;
    Arc::new(case)
}

/// A few seconds of the story.
fn short_story() -> Arc<Case> {
    lasting(5.0)
}

fn closed_loop(criterion: &mut Criterion) {
    let case = story();
    let ticks = if tried_only() { 6_000 } else { TICKS };
    let mut group = criterion.benchmark_group("closed loop");
    group.throughput(Throughput::Elements(ticks)).sample_size(10).measurement_time(Duration::from_secs(5));
    let mut least = Duration::MAX;
    group.bench_function("600 s of 96 cells", |bencher| {
        bencher.iter_batched(
            || start(&case),
            |mut pack| {
                let begun = Clock::now();
                closed_loop_ticks(&mut pack, ticks);
                least = least.min(begun.elapsed());
                pack
            },
            BatchSize::PerIteration,
        );
    });
    group.finish();
    // Still at its start when a filter left the bench out.
    if !tried_only() && least < Duration::MAX {
        baseline::compare(least);
    }
}

criterion_group!(
    benches,
    core_tick,
    world,
    snapshot,
    step_back,
    closed_loop,
    survey::survey_runs,
    rare::rare
);
criterion_main!(benches);
