//! What finding a rare false alarm costs: plain sampling, leaning, splitting, and both together, on the same pack in the same run.
//!
//! Two current sensors differ by 1.4 A less than the limit: a false alarm in some hours. What counts is neither time nor variance but
//! their product, the work-normalised variance: how long it takes until the interval of 95 % is ± 10 % wide.
//!
//! ```text
//! seconds to ± 10 % = (1.96/0.1)² · variance of one repeat/mean² · seconds of one repeat
//! ```
//!
//! Plain sampling never meets such a rate in a bench. Its variance is known all the same, (1 − p)/p for each tick, and its ticks are timed.

use bms_sim::survey::rare::situations::{Crane, Situation};
use bms_sim::survey::rare::splitting::{Effort, Once};
use criterion::Criterion;
use std::hint::black_box;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant as Clock};

/// Below the limit by so many A.
const BELOW: f64 = 1.4;

/// Hours of plain sampling that are timed at once.
const PLAIN_HOURS: f64 = 0.02;

/// Repeats that were made, and how long they took.
#[derive(Default)]
struct Made {
    found: Vec<f64>,
    took: Duration,
}

impl Made {
    /// Seconds until the interval is ± 10 % wide, by what this mean is in truth.
    fn to_a_tenth(&self, mean: f64) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "some dozens")]
        let count = self.found.len() as f64;
        let squares: f64 = self.found.iter().map(|found| (found / mean - 1.0) * (found / mean - 1.0)).sum();
        seconds(squares / count, self.took.as_secs_f64() / count)
    }
}

fn seconds(variance: f64, each: f64) -> f64 {
    (1.96 / 0.1) * (1.96 / 0.1) * variance * each
}

/// The group, and what it comes to.
pub(crate) fn rare(criterion: &mut Criterion) {
    let situation = Situation::ApartSensors;
    let leaning = situation.standing(BELOW).expect("two sensors may differ so much");
    let upright = leaning.clone().upright();
    let truth = situation.calculated(&leaning, BELOW);
    let mut group = criterion.benchmark_group("rare");
    group.sample_size(10).measurement_time(Duration::from_secs(4));
    let (mut ticks, mut took) = (0, Duration::ZERO);
    group.bench_function("plain, 72 s of the pack", |bencher| {
        bencher.iter_custom(|times| {
            let begun = Clock::now();
            for time in 0..times {
                let watched = upright.watched(PLAIN_HOURS, time, &AtomicBool::new(false));
                ticks += black_box(watched).map_or(0, |watched| watched.ticks);
            }
            took += begun.elapsed();
            begun.elapsed()
        });
    });
    let mut told = Vec::new();
    if ticks > 0 {
        #[expect(clippy::cast_precision_loss, reason = "far below 2⁵³")]
        let each = took.as_secs_f64() / ticks as f64;
        told.push(("plain", seconds((1.0 - truth) / truth, each)));
    }
    for (name, standing, levels, work) in [
        ("leaning", &leaning, 1, (500, 500)),
        ("splitting", &upright, 10, (200_000, 100)),
        ("leaning and splitting", &leaning, 10, (500, 200)),
    ] {
        let effort = standing.effort(levels, work, 2, 1);
        let mut made = Made::default();
        group.bench_function(name, |bencher| {
            bencher.iter_custom(|times| repeats(standing, &effort, times, &mut made));
        });
        if made.found.len() > 1 {
            told.push((name, made.to_a_tenth(truth)));
        }
    }
    group.finish();
    for (name, needs) in &told {
        println!("{name}: {needs:.1} s until the interval is ± 10 % wide");
    }
}

fn repeats(standing: &Crane, effort: &Effort, times: u64, made: &mut Made) -> Duration {
    let begun = Clock::now();
    for _ in 0..times {
        let number = made.found.len() as u64;
        made.found.push(Once::of(standing, effort, number).probability);
    }
    let took = begun.elapsed();
    made.took += took;
    took
}
