//! Cells that lose voltage at rest, and everything that must not look like it.

use super::*;
use crate::estimate::fall::Fall;

/// A pack that stands open, cell by cell at what `millivolts` says of it (cell, seconds), read every so many seconds.
fn rest(bench: &mut Bench, seconds: u32, every: u32, microvolts: impl Fn(u8, u32) -> i32) -> Option<Fall> {
    (bench.step, bench.proven_open) = (Step::Open, true);
    let mut heard = Heard::default();
    for second in (0..=seconds).step_by(usize::try_from(every).expect("fits")) {
        for (cell, volts) in (0_u8..).zip(bench.volts.iter_mut()) {
            *volts = Volts::from_wide(i64::from(3_300_000 + microvolts(cell, second)) * 65_536 / 1_000_000);
        }
        bench.tick(Some(reading(0)), Millis(every * 1_000), None, &mut heard);
    }
    bench.estimated.fastest_fall()
}

/// What a cell lost that falls by so many microvolts an hour.
fn fallen(an_hour: i32, seconds: u32) -> i32 {
    let lost = i64::from(an_hour) * i64::from(seconds) / 3_600;
    i32::try_from(-lost).expect("a few millivolts")
}

/// 6 mV an hour from the beginning. At 25 °C the window begins after an hour of rest and ends an hour later, at the second or the minute;
/// the middles of its means lie 20 min apart in either half. What relaxation may have left after two rests of half an hour is 2 mV: 3 mV an hour.
#[test]
fn a_cell_that_falls_is_named_after_two_hours_however_often_it_is_read() {
    for every in [1, 10, 60] {
        let falls = |cell, second| if cell == 30 { fallen(6_000, second) } else { 0 };
        let mut bench = Bench::new();
        assert_eq!(rest(&mut bench, 7_130, every, falls), None, "{every} s");
        let mut bench = Bench::new();
        let fall = rest(&mut bench, 7_330, every, falls).expect("a window is full");
        let micro = i64::from(fall.an_hour.bits()) * 1_000_000 / 65_536;
        assert!(fall.cell == 30 && (5_800..=6_200).contains(&micro), "{every} s: {micro}");
        assert!((3..=4).contains(&fall.explained.milli()), "{:?}", fall.explained);
    }
}

/// A step is no slope, wherever in the window it falls: one of 8 mV, as a channel makes that drifts at once, would be 9.6 mV an hour from
/// end to end.
#[test]
fn a_step_is_no_fall() {
    for every in [10, 600] {
        for at in (3_500..7_300).step_by(190) {
            let steps = |cell, second| if cell == 30 && second >= at { -8_000 } else { 0 };
            let fall = rest(&mut Bench::new(), 7_800, every, steps).expect("a window is full");
            assert!(fall.an_hour <= fall.explained, "{at} s, every {every} s: {fall:?}");
        }
    }
}

/// The same leak falls through a flatter and a steeper part of the curve: 3 mV an hour in the first half of the window and 9 in the second are
/// 6 mV an hour. With 1 and 11 the first half vouches for 4; what is kept of it in steps of 61 µV, over 20 min, is 0.18 mV an hour near, four
/// times that here.
#[test]
fn a_fall_need_not_be_even() {
    for (first, second, told) in [(3_000, 9_000, 5_700..=6_300), (1_000, 11_000, 3_250..=4_750)] {
        let falls = |cell, now: u32| {
            let (early, late) = (now.min(5_400), now.saturating_sub(5_400));
            if cell == 30 { fallen(first, early) + fallen(second, late) } else { 0 }
        };
        let fall = rest(&mut Bench::new(), 7_330, 10, falls).expect("a window is full");
        let micro = i64::from(fall.an_hour.bits()) * 1_000_000 / 65_536;
        assert!(fall.cell == 30 && told.contains(&micro), "{first} and {second}: {micro}");
    }
}

/// By the table, 1 % of charge is 29 mV below 3.436 V (1 and 2 % missing), 0.7 mV below 3.300 V (57 and 58 %), 43 mV below full and, on the
/// wall below empty, 48 mV for each 0.5 %.
#[test]
fn what_a_leak_moves_depends_on_the_curve() {
    for (base, least) in [(136_000, 28..=29), (0, 0..=1), (-470_000, 94..=97), (179_000, 42..=43)] {
        let falls = |cell, second: u32| {
            base + if cell == 30 { fallen(6_000, second.saturating_sub(3_600)) } else { 0 }
        };
        let fall = rest(&mut Bench::new(), 7_330, 60, falls).expect("a window is full");
        assert!(least.contains(&fall.least.milli()), "{base}: {:?}", fall.least);
    }
}

/// Behind a wire that is not trusted nobody knows what a cell does.
#[test]
fn a_cell_beside_a_suspect_wire_is_not_judged() {
    let falls = |cell, second| if cell == 30 { fallen(9_000, second) } else { 0 };
    let mut bench = Bench::new();
    rest(&mut bench, 5_400, 10, falls);
    bench.beside_wire = Some(Beside([Some(29), Some(30)]));
    bench.tick(Some(reading(0)), TICK, None, &mut Heard::default());
    bench.beside_wire = None;
    let fall =
        rest(&mut bench, 2_000, 10, |cell, second| falls(cell, second + 5_410)).expect("a window is full");
    assert!(fall.cell != 30 && fall.an_hour < Volts::from_milli(1), "{fall:?}");
}

/// A controller that sleeps for an hour between frames sees it as well, from three readings.
#[test]
fn a_sleeper_sees_the_fall() {
    for (every, seconds) in [(900, 6_400), (3_600, 7_300), (10_800, 21_700)] {
        let falls = |cell, second| if cell == 30 { fallen(6_000, second) } else { 0 };
        let fall = rest(&mut Bench::new(), seconds, every, falls).expect("a window is full");
        let micro = i64::from(fall.an_hour.bits()) * 1_000_000 / 65_536;
        assert!(fall.cell == 30 && (5_800..=6_200).contains(&micro), "{every} s: {micro}");
    }
}

/// The cold needs longer: at −25 °C twice two hours.
#[test]
fn in_the_cold_nothing_is_judged_before_the_cells_have_settled() {
    let falls = |cell, second| if cell == 30 { fallen(6_000, second) } else { 0 };
    let cold = || Bench { celsius: Celsius::from_milli(-25_000), ..Bench::new() };
    assert_eq!(rest(&mut cold(), 17_900, 10, falls), None);
    assert!(rest(&mut cold(), 18_100, 10, falls).is_some());
}

/// What bled meanwhile was made to fall, and a new cell is none that fell.
#[test]
fn a_bled_or_new_cell_is_not_judged_in_that_window() {
    let falls = |cell, second| if cell == 30 { fallen(9_000, second) } else { 0 };
    let mut bench = Bench::new();
    bench.bleeding.insert(30);
    let fall = rest(&mut bench, 7_330, 10, falls).expect("a window is full");
    assert!(fall.an_hour < Volts::from_milli(1), "{fall:?}");
    let mut bench = Bench::new();
    rest(&mut bench, 5_400, 10, falls);
    bench.tick(Some(reading(0)), TICK, Some(30), &mut Heard::default());
    let later = |cell, second| falls(cell, second + 5_410);
    let fall = rest(&mut bench, 2_000, 10, later).expect("a window is full");
    assert!(fall.an_hour < Volts::from_milli(1), "{fall:?}");
}

/// A hoist in the second hour: the rest begins anew. What was found before it stays until the next window says otherwise.
#[test]
fn a_load_begins_the_rest_anew() {
    let falls = |cell, second| if cell == 30 { fallen(6_000, second) } else { 0 };
    let mut bench = Bench::new();
    rest(&mut bench, 7_000, 10, falls);
    (bench.step, bench.proven_open) = (Step::Closed, false);
    bench.hold(-150_000, 10);
    assert_eq!(rest(&mut bench, 7_000, 10, falls), None);
    let fall = rest(&mut bench, 600, 10, |cell, second| falls(cell, second + 7_010));
    assert!(fall.is_some());
    bench.proven_open = false;
    bench.hold(-150_000, 10);
    assert_eq!(bench.estimated.fastest_fall(), fall);
    let mended = rest(&mut bench, 7_400, 10, |_, _| 0).expect("a window is full");
    assert!(mended.an_hour < Volts::from_milli(1), "{mended:?}");
}

#[test]
fn what_fell_is_void_once_the_workshop_clears() {
    let mut bench = Bench::new();
    rest(&mut bench, 7_400, 10, |cell, second| if cell == 30 { fallen(6_000, second) } else { 0 });
    bench.cleared = Some(Clearance::Panel);
    bench.tick(Some(reading(0)), TICK, None, &mut Heard::default());
    assert!(bench.estimated.fastest_fall().is_some());
    bench.cleared = Some(Clearance::Service);
    bench.tick(Some(reading(0)), TICK, None, &mut Heard::default());
    assert_eq!(bench.estimated.fastest_fall(), None);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]
    /// A healthy pack at rest: each cell has its own part of what relaxation may leave (4 mV after half an hour, then half of it each half
    /// hour) and an entropy of up to 0.25 mV/K, its module cools or warms by up to 15 K with a time constant of an hour, and each reading is
    /// noise of up to 1 mV. None of it is a fall of 5 mV an hour, however far apart the frames are.
    #[test]
    fn no_healthy_cell_falls(
        relaxes in vec(-100..=100_i32, 96),
        entropy in vec(-250..=250_i32, 96),
        warms in vec(-15..=15_i32, 8),
        every in prop::sample::select(vec![5_u32, 60, 700, 1_800]),
        seed in any::<u32>(),
    ) {
        let mut bench = Bench::new();
        (bench.step, bench.proven_open) = (Step::Open, true);
        let mut heard = Heard::default();
        let mut noise = u64::from(seed);
        for second in (0..14_400).step_by(usize::try_from(every).expect("fits")) {
            // Straight between halvings, and between 1, 1/e, 1/e², 1/e³ of what is left to warm.
            let halvings = second / 1_800;
            let left = (8_000 >> halvings) - (4_000 >> halvings) * (second % 1_800) / 1_800;
            let to_warm = [1_000, 368, 135, 50, 18];
            let hour = usize::try_from(second / 3_600).expect("four hours");
            let kept = to_warm[hour] - (to_warm[hour] - to_warm[hour + 1]) * (second % 3_600) / 3_600;
            let warmed = |module: usize| warms[module] * (1_000 - kept);
            bench.modules = (0_u8..8).map(|module| {
                (module, Celsius::from_milli(25_000 + warmed(module.into())))
            }).collect();
            for (cell, volts) in bench.volts.iter_mut().enumerate() {
                noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let reads = i32::try_from((noise >> 40) % 2_001).expect("small") - 1_000;
                let micro = relaxes[cell] * left / 200 + entropy[cell] * warmed(cell / 12) / 1_000 + reads;
                *volts = Volts::from_wide(i64::from(3_300_000 + micro) * 65_536 / 1_000_000);
            }
            bench.tick(Some(reading(0)), Millis(every * 1_000), None, &mut heard);
            if let Some(fall) = bench.estimated.fastest_fall() {
                prop_assert!(fall.an_hour - fall.explained < Volts::from_milli(5), "{second} s: {fall:?}");
            }
        }
        prop_assert!(bench.estimated.fastest_fall().is_some());
    }
}
