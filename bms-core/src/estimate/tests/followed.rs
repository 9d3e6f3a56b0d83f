//! Readings that hang, and everything that must not look like it.

use super::*;
use crate::estimate::follow::Following;

/// Three hoists and lowerings of 150 A: each cell moves by what it resists, in µΩ, and the pack by all of it and 8 mΩ of cable.
fn three_steps(bench: &mut Bench, shows: impl Fn(u8) -> i32, truly: impl Fn(u8) -> i32) -> Option<Following> {
    let pack = 8_000 + (0..96).map(&truly).sum::<i32>();
    for (from, to) in [(0, -150_000), (-150_000, 0), (0, -150_000)] {
        bench.hold(from, 20);
        let moved = |micro_ohms: i32| Amps::from_milli(to - from) * Milliohms::from_milli(micro_ohms);
        for (cell, volts) in (0_u8..).zip(bench.volts.iter_mut()) {
            *volts = *volts + moved(shows(cell));
        }
        bench.pack = bench.pack.map(|volts| volts + moved(pack));
        bench.hold(to, 40);
    }
    bench.estimated.least_following()
}

/// A crane whose pack voltage is measured.
fn measured() -> Bench {
    let mut bench = Bench::new();
    bench.pack = Some(Volts::from_milli(316_800));
    bench
}

/// 130 of 715 µΩ are 18.2 %, told as the next whole hundredth.
#[test]
fn a_reading_that_hangs_is_named_after_three_steps_with_what_it_shows() {
    let mut bench = measured();
    for (n, (from, to)) in (1..).zip([(0, -150_000), (-150_000, 0), (0, -150_000)]) {
        assert_eq!(bench.estimated.least_following(), None);
        bench.step_current(from, to, 715, Some((41, 130 - 715)));
        assert_eq!(bench.estimated.least_following().is_some(), n == 3);
    }
    let following = bench.estimated.least_following().expect("three steps were seen");
    assert_eq!((following.cell, following.least), (41, Ratio::percent(19)));
    assert!(following.most >= Ratio::percent(100));
}

/// The best of the last three counts.
#[test]
fn one_step_that_a_reading_missed_proves_nothing() {
    let mut bench = measured();
    for n in 0..6 {
        let (from, to) = if n % 2 == 0 { (0, -150_000) } else { (-150_000, 0) };
        bench.step_current(from, to, 715, (n == 3).then_some((7, -715)));
        if let Some(following) = bench.estimated.least_following() {
            assert!(following.least >= Ratio::percent(100), "{following:?}");
        }
    }
}

/// A front end that hangs holds a module, half of the pack, or all of it. Without the pack voltage the median of the last two stands
/// still, and nothing is said.
#[test]
fn however_many_hang_the_pack_voltage_tells() {
    for (hang, by_cells_alone) in [(12, true), (47, true), (48, false), (95, false), (96, false)] {
        let shows = |cell| if cell < hang { 0 } else { 715 };
        let following = three_steps(&mut measured(), shows, |_| 715).expect("three steps were seen");
        assert!(following.cell < hang && following.least <= Ratio::percent(1), "{hang}: {following:?}");
        assert_eq!(following.most < Ratio::percent(20), hang == 96, "{hang}: {following:?}");
        let alone = three_steps(&mut Bench::new(), shows, |_| 715);
        assert_eq!(alone.is_some(), by_cells_alone, "{hang}");
    }
}

/// A joint of 200 mΩ drops 30 V of the pack and is measured with cell 38: the others resist 0.3 % of it.
#[test]
fn a_loose_joint_accuses_no_other_cell() {
    let joint = |cell| if cell == 37 { 200_715 } else { 715 };
    let following = three_steps(&mut measured(), joint, joint).expect("three steps were seen");
    assert!(following.least >= Ratio::percent(100), "{following:?}");
}

/// Outside heat on a module in the freezer: by the law of `cold` its cells resist 0.43 of 715 µΩ at 60 °C, the others 5.08 times as much.
#[test]
fn a_hot_module_in_the_freezer_follows() {
    let mut bench = measured();
    bench.celsius = Celsius::from_milli(-25_000);
    bench.modules = vec![(2, Celsius::from_milli(60_000))];
    let resists = |cell| if cell / 12 == 2 { 306 } else { 3_633 };
    let following = three_steps(&mut bench, resists, resists).expect("three steps were seen");
    assert!(following.least >= Ratio::percent(95), "{following:?}");
}

/// The workshop mended the channel, or another cell is in its place.
#[test]
fn what_hung_is_void_once_the_workshop_clears_or_replaces() {
    let hangs = |cell| if cell == 9 { 0 } else { 715 };
    for (cleared, replaced) in [(Some(Clearance::Service), None), (None, Some(9))] {
        let mut bench = measured();
        three_steps(&mut bench, hangs, |_| 715);
        (bench.step, bench.cleared) = (Step::Open, cleared);
        bench.tick(Some(reading(0)), TICK, replaced, &mut Heard::default());
        assert_eq!(bench.estimated.least_following(), None, "{replaced:?}");
    }
}

proptest! {
    /// Cells that resist a third less or more than they should at temperatures that are read 10 °C wrong either way, readings of 0.5 mV
    /// of noise and 10 ppm of 150 A in either channel: all follow. A sensor of the wrong sign or of half the gain changes nothing.
    #[test]
    fn no_healthy_cell_is_accused(
        resists in vec(-33..=33_i32, 96),
        celsius in -30..=50_i32,
        wrong in vec(-10..=10_i32, 8),
        noise in vec(-1_500..=1_500_i32, 96),
        (hangs, gain) in (0..96_u8, prop::sample::select(vec![100, 50, -100])),
    ) {
        let bench = || {
            let module = |(module, off): (u8, &i32)| (module, Celsius::from_milli((celsius + off) * 1_000));
            let modules = (0..).zip(&wrong).map(module).collect();
            Bench { celsius: Celsius::from_milli(celsius * 1_000), modules, ..measured() }
        };
        // What a step of 150 A makes of three times 0.5 mV, in µΩ.
        let noise_of = |cell: u8| noise[usize::from(cell)] / 150;
        let truly = |cell: u8| {
            let warm = Milliohms::from_milli(715).scaled(cold::growth(Celsius::from_milli(celsius * 1_000)));
            warm.milli() / 100 * (100 + resists[usize::from(cell)])
        };
        let shown = |micro: i32| micro * 100 / gain;
        let healthy = three_steps(&mut bench(), |cell| shown(truly(cell) + noise_of(cell)), |cell| shown(truly(cell)));
        let healthy = healthy.expect("three steps were seen");
        prop_assert!(healthy.least > Ratio::percent(25), "{healthy:?}");
        let one = |cell| shown(noise_of(cell) + if cell == hangs { 0 } else { truly(cell) });
        let found = three_steps(&mut bench(), one, |cell| shown(truly(cell))).expect("three steps were seen");
        prop_assert!(found.cell == hangs && found.least < Ratio::percent(20), "{found:?}");
    }
}
