//! How fast surveys are: runs of a minute of 96 cells, over threads, over runs that share their beginning, and over settings that share a world.
//!
//! `cargo bench -p bms-sim --bench speed -- survey` measures them side by side. What a survey of 10⁹ runs costs is worked out from these
//! figures in the documentation of `bms_sim::survey`.

use bms_sim::case::Case;
use bms_sim::survey::Survey;
use bms_sim::work::spread;
use criterion::{BenchmarkId, Criterion, Throughput};
use std::hint::black_box;
use std::num::NonZeroUsize;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

/// A minute of the crane: closed after a second, hoists and lowers, and a joint that comes loose with ten seconds to go.
const CASE: &str = "schema = 1\ntitle = 't'\nstory = 's'\npack = 'crane'\nseed = 1\nduration_s = 60\n\
    start = { charge_percent = 60, celsius = 18 }\nact = [{ at_s = 1, ask = 'close' }]\n\
    duty = [{ do = 'park', for_s = 4 }, { times = 3, phases = [{ do = 'hoist' }, { do = 'hold', for_s = 3 }, { do = 'fast-lower' }] }]\n";

const DEFECT: &str = "[[defect]]\nkind = 'loose_joint_tap_above'\njoint = 37\nmilliohms = 2.0\nat_s = 50\n";

const VARY: &str = "vary = [{ what = 'defect.1.milliohms', log_uniform = [0.25, 8] }]\n";

/// Eight settings of limit and dwell.
const SWEEP: &str = "sweep = [{ what = 'limits.cell_resistance_high.trip', values = [0.8, 1.2, 1.7, 2.4] },\n\
    { what = 'limits.cell_resistance_high.dwell_ms', values = [0, 1000] }]\n";

/// Runs of a measured piece of work.
const RUNS: usize = 8;

fn survey(defect: &str, runs_a_prefix: usize, more: &str) -> Survey {
    let text = format!(
        "schema = 1\ntitle = 't'\nstory = 's'\ncases = ['case.toml']\nseed = 1\nruns = {RUNS}\nruns_a_prefix = {runs_a_prefix}\n\
         counts = ['cell_resistance_high']\n{more}"
    );
    let case = format!("{CASE}{defect}");
    Survey::parse(&text, "bench.toml", |_| Case::parse(&case, "case.toml")).expect("the survey is accepted")
}

fn play(survey: &Survey, threads: NonZeroUsize) {
    let stop = AtomicBool::new(false);
    let prefixes: Vec<usize> = (0..survey.prefixes()).collect();
    let work = |prefix: &usize| survey.play(*prefix, &stop).ok().flatten();
    spread(&prefixes, threads, &stop, work, |_, played| {
        black_box(played);
        true
    });
}

/// Every figure of surveys, in one group.
pub(super) fn survey_runs(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("survey");
    group.sample_size(10).measurement_time(Duration::from_secs(6));
    group.throughput(Throughput::Elements(RUNS as u64));
    // Sound packs alone: one run a prefix and nothing else.
    let sound = survey("", 1, "");
    let most = std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
    let counts = (0..).map(|doublings| 1 << doublings).take_while(|threads| *threads <= most.get());
    for threads in counts.filter_map(NonZeroUsize::new) {
        let id = BenchmarkId::new("runs of 60 s, threads", threads);
        group.bench_function(id, |bencher| bencher.iter(|| play(&sound, threads)));
    }
    for runs_a_prefix in [1, RUNS] {
        let shared = survey(DEFECT, runs_a_prefix, VARY);
        let id = BenchmarkId::new("defect at 50 s of 60 s, runs a prefix", runs_a_prefix);
        group.bench_function(id, |bencher| bencher.iter(|| play(&shared, NonZeroUsize::MIN)));
    }
    for (settings, sweep) in [(1, ""), (8, SWEEP)] {
        let abreast = survey("", 1, sweep);
        let id = BenchmarkId::new("runs of 60 s, settings", settings);
        group.bench_function(id, |bencher| bencher.iter(|| play(&abreast, NonZeroUsize::MIN)));
    }
    group.finish();
}
