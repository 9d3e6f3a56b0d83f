//! What would have changed an outcome: every edge is played again from a case file in which nothing but that number was written
//! otherwise, and some edges are worked out by hand.

mod proof;

use bms_core::Fault;
use bms_sim::case::{Case, Knob, Pack, Work};
use bms_sim::explain::distance::{Answer, Distance, Found, Outcome, Side, answer, usual_questions};
use bms_sim::recording::Recording;
use bms_sim::run::Loop;
use proof::{confirmed, parsed, played};
use proptest::prelude::*;
use std::path::{Path, PathBuf};
use std::sync::Arc;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/cases")
}

fn shipped(name: &str) -> Case {
    Case::read(&folder().join(name)).unwrap_or_else(|error| panic!("{error}"))
}

/// Plays both sides of every distance that `why` tells of a case again, and counts them.
fn proven<const CELLS: usize, const THERMISTORS: usize>(case: Case) -> usize {
    let recording: Recording<CELLS, THERMISTORS> = played(case);
    let questions = usual_questions(&recording);
    questions.into_iter().map(|(outcome, fault)| proof::proven(&recording, outcome, fault)).sum()
}

/// Every shipped case whose distances `why` tells without being asked; all of them, not a sample.
#[test]
fn every_distance_is_proven_by_its_replays() {
    let mut sides = 0;
    for entry in std::fs::read_dir(folder()).expect("there are cases") {
        let case = Case::read(&entry.expect("a case").path()).unwrap_or_else(|error| panic!("{error}"));
        // Of a longer story `why` tells distances only when it is asked.
        if case.duration_seconds > 1_200.0 {
            continue;
        }
        sides += match case.pack {
            Pack::Crane => proven::<96, 16>(case),
            Pack::Trainer => proven::<16, 8>(case),
        };
    }
    assert!(sides >= 25, "{sides}");
}

fn edge(answer: &Answer, knob: Knob) -> (Side, Side) {
    let found = answer.distances.iter().find(|distance| distance.knob == knob);
    match found {
        Some(Distance { found: Found::Edge { same, other }, .. }) => (*same, *other),
        other => panic!("{other:?}"),
    }
}

/// By Ohm's law from truth, without the firmware: as hoisting begins, the cell with the loose joint moves by ΔV under ΔI, the median cell
/// by less. The excess less a quarter of what is expected is what the limit is held against, in the weakest of three steps in a row;
/// the limit that does not trip is the largest of these.
#[test]
fn the_limit_that_keeps_a_loose_joint_quiet_is_voltage_over_current_less_the_median() {
    let recording: Recording<96, 16> = played(shipped("loose-joint.toml"));
    let fault = Fault::CellResistanceHigh;
    let answer = answer(&recording, Outcome::Confirmed(fault), fault).expect("the crane has 96 cells");
    let (same, other) = edge(&answer, Knob::Trip(fault));
    // The world in which it stays quiet.
    let quiet = Arc::new(Knob::Trip(fault).turned(&recording.case, other.value).expect("it was played"));
    let mut now = Loop::<96, 16>::new(&quiet).expect("the crane has 96 cells");
    let (mut before, mut begun, mut excess) = (None, f64::NEG_INFINITY, Vec::new());
    let mut work = Work::Park;
    while !now.over() {
        // Between its taps; the upper one of this cell lies beyond the joint.
        let seen = (now.world.truth().string_amps, now.world.cells.volts);
        let duty = quiet.demand_at(now.seconds());
        if duty.work != work {
            (work, begun) = (duty.work, now.seconds());
            before = Some(seen);
        }
        // The window that is judged lies some tenths of a second behind the step.
        if (now.seconds() - begun - 0.27).abs() < 0.004
            && begun > 31.0
            && let Some((amps, volts)) = &before
        {
            let step = seen.0 - amps;
            let mut milliohms: Vec<f64> =
                seen.1.iter().zip(volts).map(|(now, before)| 1e3 * (now - before) / step).collect();
            let own = milliohms[36];
            milliohms.sort_by(f64::total_cmp);
            excess.push(own - 1.25 * milliohms[48]);
        }
        now.advance(&mut ());
    }
    let weakest = excess.windows(3).map(|three| three.iter().copied().fold(f64::INFINITY, f64::min));
    let by_hand = weakest.fold(f64::NEG_INFINITY, f64::max);
    assert!(other.value - same.value < 0.001_5);
    assert!((by_hand - other.value).abs() < 0.02, "{by_hand} by hand, {} played", other.value);
}

/// A trainer at rest whose fifth cell reads too high for a while.
fn reads_high(millivolts: f64, seconds: f64) -> Case {
    parsed(&format!(
        "schema = 1\ntitle = \"A reading\"\nstory = \"It is too high for a while.\"\npack = \"trainer\"\nseed = 3\nduration_s = 12\n\
         [start]\ncharge_percent = 60\ncelsius = 18\n\
         [[defect]]\nkind = \"cell_channel_offset\"\ncell = 5\nmillivolts = {millivolts:?}\nat_s = 2\nuntil_s = {}\n",
        2.0 + seconds
    ))
}

/// A reading is beyond the limit for so long: a dwell of less is Confirmed, one of more is not. And it stands so far above the limit as the
/// limit must rise, and as far as the sensor must read less.
#[test]
fn a_dwell_ends_with_the_time_beyond_and_a_limit_with_the_reading() {
    let recording: Recording<16, 8> = played(reads_high(400.0, 7.3));
    let fault = Fault::CellOverVoltage;
    let answer = answer(&recording, Outcome::Confirmed(fault), fault).expect("the trainer has 16 cells");
    let (same, other) = edge(&answer, Knob::Dwell(fault));
    assert!(
        (7_280.0..=7_300.0).contains(&same.value) && (other.value - same.value - 10.0).abs() < 1e-9,
        "{same:?} {other:?}"
    );
    let truth = recording.end.world.cells.volts[4];
    let (_, limit) = edge(&answer, Knob::Trip(fault));
    // Noise and error of the channel: the firmware takes 3 mV for granted.
    assert!((truth + 0.4 - limit.value).abs() < 0.003, "{truth} and {limit:?}");
    let (_, severity) = edge(&answer, Knob::Severity(0));
    assert!((truth + 1e-3 * severity.value - 3.65).abs() < 0.007, "{truth} and {severity:?}");
}

/// What stayed silent says how little more it would have taken.
#[test]
fn a_silent_fault_says_what_would_have_made_it_speak() {
    let recording: Recording<16, 8> = played(reads_high(300.0, 7.3));
    let fault = Fault::CellOverVoltage;
    assert_eq!(confirmed(&recording, fault), None);
    let answer = answer(&recording, Outcome::Confirmed(fault), fault).expect("the trainer has 16 cells");
    assert_eq!(answer.came, None);
    let truth = recording.end.world.cells.volts[4];
    let (_, limit) = edge(&answer, Knob::Trip(fault));
    assert!((truth + 0.3 - limit.value).abs() < 0.003, "{truth} and {limit:?}");
    let (_, severity) = edge(&answer, Knob::Severity(0));
    assert!((truth + 1e-3 * severity.value - 3.65).abs() < 0.007, "{truth} and {severity:?}");
    let multiples: Vec<f64> = answer.distances.iter().filter_map(Distance::multiple).collect();
    assert!(multiples.len() >= 2 && multiples.is_sorted(), "{multiples:?}");
}

/// Whether truth passes a bound may hang on every fault that held the pack back, and on how long it did so: their limits and dwells take
/// part, too. Here none decides, since a channel that lies harms nothing.
#[test]
fn what_holds_the_pack_back_takes_part_in_what_comes_of_it() {
    let recording: Recording<16, 8> = played(reads_high(480.0, 7.3));
    let (near, far) = (Fault::CellOverVoltage, Fault::CellOverVoltageFar);
    assert!(confirmed(&recording, near).is_some() && confirmed(&recording, far).is_some());
    let answer = answer(&recording, Outcome::Hazard, far).expect("the trainer has 16 cells");
    for knob in
        [Knob::Trip(far), Knob::Trip(near), Knob::Dwell(near), Knob::Release(near), Knob::ReleaseDwell(near)]
    {
        let found = answer.distances.iter().find(|distance| distance.knob == knob);
        let found = &found.unwrap_or_else(|| panic!("{knob:?} took no part")).found;
        assert!(matches!(found, Found::Nowhere { .. }), "{knob:?}: {found:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// A limit further away and a longer dwell never make a fault come earlier.
    #[test]
    fn further_away_is_never_earlier(
        millivolts in 300..480_i32,
        limits in (3_560..3_740_i32, 3_560..3_740_i32),
        dwells in (0..400_u32, 0..400_u32),
    ) {
        let case = reads_high(f64::from(millivolts), 3.0);
        let fault = Fault::CellOverVoltage;
        let came = |millivolts: i32, ticks: u32| {
            let turned = Knob::Trip(fault).turned(&case, f64::from(millivolts) / 1_000.0);
            let turned = turned.and_then(|turned| Knob::Dwell(fault).turned(&turned, f64::from(10 * ticks)));
            let turned = turned.unwrap_or_else(|error| panic!("{error}"));
            confirmed(&played::<16, 8>(turned), fault).unwrap_or(u64::MAX)
        };
        let (near, far) = (limits.0.min(limits.1), limits.0.max(limits.1));
        let (short, long) = (dwells.0.min(dwells.1), dwells.0.max(dwells.1));
        prop_assert!(came(near, short) <= came(far, long), "{near} mV, {short} ticks; {far} mV, {long} ticks");
    }
}
