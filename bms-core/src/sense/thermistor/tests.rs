use super::*;
use proptest::prelude::*;

/// Resistance of B57330V2103 in ohms by whole °C, as printed (data sheet as reproduced in the Linux kernel's `ntc_thermistor.c`).
const PRINTED: [(i32, i64); 12] = [
    (-40, 190_030),
    (-25, 87_041),
    (-10, 42_576),
    (-5, 34_001),
    (0, 27_326),
    (15, 14_703),
    (20, 12_090),
    (25, 10_000),
    (30, 8_311),
    (40, 5_825),
    (50, 4_158),
    (60, 3_019),
];

fn ohms(ohms: i64) -> Ratio {
    Ratio::from_wide(ohms * 65_536 / (ohms + 10_000))
}

/// A printed temperature.
fn printed(degrees: i32) -> Ratio {
    ohms(PRINTED.iter().find(|(celsius, _)| *celsius == degrees).unwrap().1)
}

/// The ratio that reads a temperature, by bisection of the conversion: for slopes between the printed points only.
fn reading(milli: i32) -> Ratio {
    let (mut warm, mut cold) = (700, 64_800);
    while cold - warm > 1 {
        let middle = i32::midpoint(warm, cold);
        let read =
            celsius(Config::crane().sensing.curve, Config::crane().sensing.wiring, Ratio::from_bits(middle));
        if read.milli() > milli { warm = middle } else { cold = middle }
    }
    Ratio::from_bits(warm)
}

/// The crane's sensors, fed once a tick of 10 ms.
struct Bench {
    thermistors: Thermistors<16>,
    config: Config,
    ratios: Each<Ratio, 16>,
    since_load: Millis,
    ticks: u32,
}

impl Bench {
    fn at(ratio: Ratio) -> Self {
        let (config, ratios) = (Config::crane(), Each::all(ratio));
        let mut bench =
            Self { thermistors: Thermistors::NEW, config, ratios, since_load: Millis::MAX, ticks: 0 };
        bench.run(3_000);
        bench
    }

    fn set(&mut self, place: u8, ratio: Ratio) -> &mut Self {
        *self.ratios.at_mut(place).unwrap() = ratio;
        self
    }

    /// One bit to and fro, as a living converter shows: nothing is frozen by accident.
    fn tick(&mut self, millis: u32) -> Temperatures<16> {
        self.ticks += 1;
        let flicker = (self.ticks % 2).cast_signed();
        let ratios = Each(self.ratios.0.map(|ratio| Ratio::from_bits(ratio.bits() ^ flicker)));
        self.thermistors.judge(Some(&ratios), Millis(millis), self.since_load, &self.config, &mut ())
    }

    fn run(&mut self, millis: u32) -> Temperatures<16> {
        let mut last = self.tick(10);
        for _ in 1..millis / 10 {
            last = self.tick(10);
        }
        last
    }
}

fn doubt(seen: &Temperatures<16>, place: u8) -> Option<Doubt> {
    seen.sensors.at(place).unwrap().doubt
}

#[test]
fn a_frozen_hall_is_cold_and_not_broken() {
    let seen = Bench::at(printed(-25)).run(1_000);
    assert!(seen.sensors.iter().all(|sensor| sensor.doubt.is_none()));
    assert_eq!(seen.coldest.map(|(_, celsius)| (celsius.milli() + 500) / 1_000), Some(-24));
    assert!(seen.modules.iter().take(8).all(|module| module.measured));
}

#[test]
fn a_real_minus_forty_is_no_rail_but_strays_from_warm_neighbours() {
    let mut bench = Bench::at(printed(20));
    let seen = bench.set(4, printed(-40)).run(70_000);
    assert_eq!(doubt(&seen, 4), Some(Doubt::Stray));
    assert_eq!(seen.coldest.map(|(place, _)| place), Some(4)); // cold still counts as cold
}

#[test]
fn open_and_shorted_wires_are_dropped_in_either_wiring() {
    for (wiring, open, short) in
        [(crate::config::Wiring::PullUp, 65_400, 100), (crate::config::Wiring::PullDown, 100, 65_400)]
    {
        let mut bench = Bench::at(Ratio::from_bits(32_768));
        bench.config.sensing.wiring = wiring;
        let seen = bench.set(2, Ratio::from_bits(open)).set(9, Ratio::from_bits(short)).run(10);
        assert_eq!((doubt(&seen, 2), doubt(&seen, 9)), (Some(Doubt::AtOpenRail), Some(Doubt::AtShortRail)));
        let (hottest, coldest) = (seen.hottest.unwrap().1, seen.coldest.unwrap().1);
        assert!((hottest - coldest).abs() < Celsius::from_milli(100));
        assert!(seen.modules.iter().take(8).all(|module| module.measured));
    }
}

/// Wherever in the second it falls: doubted at once, no change for the fault, believed again two seconds later at the latest.
#[test]
fn one_wild_reading_is_doubted_and_is_no_jump() {
    for moment in 0..100 {
        let mut bench = Bench::at(printed(20));
        bench.run(1_000 + moment * 10);
        let wild = bench.set(3, printed(30)).run(10);
        assert_eq!(doubt(&wild, 3), Some(Doubt::Jumped), "{moment}");
        bench.set(3, printed(20));
        for tick in 0..400 {
            let after = bench.run(10);
            assert_eq!(after.sensors.at(3).unwrap().change, Celsius::ZERO);
            assert!(tick < 200 || doubt(&after, 3).is_none(), "{moment}: {tick}");
        }
    }
}

/// 10 °C at once: one change of 10 °C, doubted for a minute, then believed again.
#[test]
fn a_jump_is_borne_out_by_the_second_reading_and_doubted_for_a_minute() {
    let mut bench = Bench::at(printed(20));
    bench.set(3, printed(30));
    let (mut changes, mut rises, mut doubted) = (0, 0, 0);
    for _ in 0..7_000 {
        let seen = bench.run(10);
        let sensor = seen.sensors.at(3).unwrap();
        changes += u32::from(sensor.change >= Celsius::from_milli(9_000));
        rises += u32::from(sensor.rise() > Some(CelsiusPerSecond::from_milli(300)));
        doubted += u32::from(sensor.doubt == Some(Doubt::Jumped));
        assert_eq!(seen.hottest.map(|(place, _)| place), Some(3)); // hot still counts as hot
    }
    assert_eq!(changes, 100); // one second
    assert!(rises <= 200, "{rises} ticks of rise"); // the step lies in at most two means
    assert!((6_000..=6_300).contains(&doubted), "{doubted} ticks");
}

#[test]
fn a_moisture_path_in_the_freezer_is_doubted_and_relaxes_nothing() {
    let mut bench = Bench::at(printed(-25));
    // 87 041 Ω and 22 kΩ side by side: 17 561 Ω, about +10 °C.
    let seen = bench.set(5, ohms(17_561)).run(65_000);
    assert_eq!(doubt(&seen, 5), Some(Doubt::Stray));
    let module = seen.modules.at(2).unwrap();
    assert!(module.coldest < Celsius::from_milli(-24_000) && module.measured);
    assert!(seen.coldest.unwrap().1 < Celsius::from_milli(-24_000));
    // Both sensors of the module: it counts as its neighbours, not as the ten degrees that both show.
    let both = bench.set(4, ohms(17_561)).run(65_000);
    let module = both.modules.at(2).unwrap();
    assert!(module.coldest < Celsius::from_milli(-29_000) && !module.measured);
}

/// The 100 kΩ path of the trade's warning: −25 °C reads about −12 °C (46 536 Ω), which is inside the limit for stray ones; the
/// coldest place of the module still is the honest sensor.
#[test]
fn a_weak_moisture_path_is_believed_but_its_module_stays_cold() {
    let mut bench = Bench::at(printed(-25));
    let seen = bench.set(5, ohms(46_536)).run(65_000);
    assert_eq!(doubt(&seen, 5), None);
    assert!(seen.modules.at(2).unwrap().coldest < Celsius::from_milli(-24_000));
}

#[test]
fn work_explains_a_warmer_sensor_but_not_a_colder_one() {
    for (degrees, since_load, stray) in
        [(40, 0, true), (-5, 0, true), (40, 700_000, true), (30, 0, false), (0, 0, true)]
    {
        let mut bench = Bench::at(printed(20));
        bench.since_load = Millis(since_load);
        let seen = bench.set(7, printed(degrees)).run(70_000);
        let at_load = degrees == 40 && since_load == 0;
        let expected = Celsius::from_milli(if at_load { 15_005 } else { (degrees - 20) * 1_000 });
        let astray = seen.sensors.at(7).unwrap().astray;
        if degrees == 30 {
            assert!(astray < Celsius::from_milli(5_100), "{astray:?}");
        } else {
            assert!((astray - expected).abs() < Celsius::from_milli(100), "{degrees}: {astray:?}");
        }
        assert_eq!(doubt(&seen, 7), stray.then_some(Doubt::Stray), "{degrees} °C");
    }
}

/// A module is heated from outside. The end module has more neighbours there than of its own, and they are hot; but both of its sensors say that
/// it is cool. Those of the hot one may be wet, both of them; they are doubted and count as hot. A single sensor that reads colder than
/// all the others has nobody beside it.
#[test]
fn a_cool_module_beside_a_hot_one_is_not_stray() {
    let stray = |bench: &mut Bench| {
        // A jump is over after a minute.
        let seen = bench.run(70_000);
        (0..16).filter(|place| doubt(&seen, *place) == Some(Doubt::Stray)).collect::<Vec<u8>>()
    };
    let mut bench = Bench::at(reading(20_000));
    assert_eq!(stray(bench.set(2, reading(60_000)).set(3, reading(55_000))), [2, 3]);
    let seen = bench.tick(10);
    assert_eq!(seen.modules.at(0).map(|module| module.measured), Some(true));
    assert_eq!(seen.hottest.map(|(place, _)| place), Some(2));
    bench.set(2, reading(20_000)).set(3, reading(20_000));
    assert_eq!(stray(bench.set(4, reading(-5_000))), [4]);
}

#[test]
fn a_reading_frozen_to_the_bit_is_found_when_the_neighbours_have_moved() {
    let mut bench = Bench::at(printed(20));
    let still = printed(20);
    let mut found = None;
    for second in 0..1_200 {
        // One kelvin in five minutes.
        let now = reading(20_000 - second * 10 / 3);
        bench.ratios = Each::all(now);
        for _ in 0..2 {
            bench.ticks += 1;
            let flicker = (bench.ticks % 2).cast_signed();
            let mut ratios = Each(bench.ratios.0.map(|ratio| Ratio::from_bits(ratio.bits() ^ flicker)));
            *ratios.at_mut(6).unwrap() = still;
            let seen =
                bench.thermistors.judge(Some(&ratios), Millis(500), Millis::MAX, &bench.config, &mut ());
            assert!(
                seen.sensors.iter().zip(0..16).all(|(sensor, place)| place == 6 || sensor.doubt.is_none())
            );
            if doubt(&seen, 6) == Some(Doubt::Frozen) && found.is_none() {
                found = Some(second);
            }
        }
    }
    // Three kelvin take 900 s; the window of 600 s is over by then.
    assert!(found.is_some_and(|second| (895..=905).contains(&second)), "{found:?}");
}

/// Half a kelvin a second from 50 °C on: the rise shows in every second, whatever is doubted.
#[test]
fn a_fast_true_rise_is_never_hidden() {
    for kelvin_per_second in [1, 6] {
        let mut bench = Bench::at(printed(50));
        let mut shown = 0;
        for tick in 0..1_000 {
            bench.set(11, reading(50_000 + tick * 10 * kelvin_per_second));
            let seen = bench.run(10);
            let sensor = seen.sensors.at(11).unwrap();
            if tick >= 200 {
                assert!(
                    sensor.rise() >= Some(CelsiusPerSecond::from_milli(900 * kelvin_per_second)),
                    "{sensor:?}"
                );
                assert_eq!(seen.hottest.map(|(place, _)| place), Some(11));
                assert_eq!(seen.modules.at(5).unwrap().hottest, sensor.celsius);
                shown += 1;
            }
        }
        assert_eq!(shown, 800);
    }
}

/// 20 °C a second from 50 °C on: the end of the table at 125 °C (531 Ω) comes after 4 s, the rail at 101 Ω later. It stays the hottest with its
/// last rise, also while it flickers around the rail; once it comes back it is a reading like any other.
#[test]
fn what_climbs_to_the_rail_is_heat() {
    let mut bench = Bench::at(printed(50));
    for tick in 0..375 {
        bench.set(11, reading(50_000 + tick * 200)).run(10);
    }
    for tick in 0..300 {
        bench.set(11, ohms(531 - i64::from(tick) * 3 / 2)).run(10);
    }
    for (shows, at_rail) in [(90, true), (0, true), (180, false), (80, true)] {
        let seen = bench.set(11, ohms(shows)).run(3_000);
        let sensor = seen.sensors.at(11).unwrap();
        assert_eq!(seen.hottest, Some((11, HOTTEST)), "{shows} Ω");
        assert!(sensor.rise() >= Some(CelsiusPerSecond::from_milli(15_000)), "{shows} Ω: {sensor:?}");
        assert_eq!(sensor.doubt == Some(Doubt::ClimbedToRail), at_rail, "{shows} Ω");
    }
    let back = bench.set(11, printed(50)).run(4_000);
    assert_eq!(back.sensors.at(11).unwrap().rise(), Some(CelsiusPerSecond::ZERO));
    assert!(back.hottest.unwrap().1 < Celsius::from_milli(51_000));
    let short = bench.set(11, Ratio::ZERO).run(10);
    assert_eq!(doubt(&short, 11), Some(Doubt::AtShortRail));
}

/// From 20 °C; from a steady 60 °C; and by way of one second at 60 °C, which is a jump.
#[test]
fn a_short_circuit_is_no_heat() {
    for (before, between) in [(20, None), (60, None), (20, Some(60))] {
        let mut bench = Bench::at(printed(before));
        bench.run(3_000);
        if let Some(between) = between {
            bench.set(11, printed(between)).run(1_000);
        }
        let seen = bench.set(11, Ratio::ZERO).run(2_000);
        assert_eq!(doubt(&seen, 11), Some(Doubt::AtShortRail), "{before} {between:?}");
        assert_ne!(seen.hottest.map(|(place, _)| place), Some(11));
    }
}

/// Around 45 °C it begins to count once, and it counts until it is below 42 °C.
#[test]
fn a_rise_begins_to_count_once() {
    let mut bench = Bench::at(printed(40));
    let mut warm = Vec::new();
    for milli in [44_800, 45_200, 44_800, 45_200, 44_000, 42_200, 41_800, 42_200, 44_800] {
        let seen = bench.set(11, reading(milli)).run(1_000);
        warm.push(seen.sensors.at(11).unwrap().warm);
    }
    assert_eq!(warm, [false, true, true, true, true, true, false, false, false]);
}

#[test]
fn coming_back_from_a_rail_is_neither_a_jump_nor_a_rise() {
    let mut bench = Bench::at(printed(50));
    bench.set(1, Ratio::ONE).run(1_730);
    bench.set(1, printed(50));
    let mut known = 0;
    for _ in 0..400 {
        let sensor = *bench.run(10).sensors.at(1).unwrap();
        assert_eq!(
            (sensor.change, sensor.rise().unwrap_or_default()),
            (Celsius::ZERO, CelsiusPerSecond::ZERO)
        );
        known += u32::from(sensor.rise().is_some());
    }
    // Two whole seconds must lie behind it; the second in which it came back is none.
    assert!((101..=200).contains(&known), "{known} of 400 ticks");
    assert_eq!(doubt(&bench.run(10), 1), None);
}

/// 10 K in a gap of 20 s and up to a second before it, whether frames are lost or come without readings: half a kelvin a second, and nothing after it.
#[test]
fn a_rise_over_a_gap_is_spread_over_it() {
    for lost in [true, false] {
        let mut bench = Bench::at(printed(50));
        if !lost {
            for _ in 0..1_999 {
                bench.thermistors.judge(None, Millis(10), Millis::MAX, &bench.config, &mut ());
            }
        }
        bench.set(3, printed(60));
        let rise = |seen: Temperatures<16>| seen.sensors.at(3).unwrap().rise().unwrap().milli();
        let over = rise(bench.tick(if lost { 20_000 } else { 10 }));
        assert!((474..=503).contains(&over), "{over} mK/s");
        let after = rise(bench.run(1_000));
        assert!(after <= 1, "{after} mK/s");
    }
}

#[test]
fn without_readings_nothing_is_measured() {
    let mut bench = Bench::at(printed(20));
    let seen = bench.thermistors.judge(None, Millis(10), Millis::MAX, &bench.config, &mut ());
    assert_eq!((seen.hottest, seen.coldest), (None, None));
    assert!(seen.modules.iter().take(8).all(|module| !module.measured
        && module.hottest == bench.config.limits.hot_none
        && module.coldest == Celsius::from_milli(-40_000)));
}

#[test]
fn a_doubt_is_told_when_it_comes_and_once_a_second() {
    struct Ear(Vec<Evidence>);
    impl Witness for Ear {
        fn saw(&mut self, evidence: Evidence) {
            self.0.push(evidence);
        }
    }
    let mut bench = Bench::at(printed(20));
    bench.set(3, Ratio::ONE);
    let mut ear = Ear(Vec::new());
    for _ in 0..205 {
        bench.thermistors.judge(Some(&bench.ratios), Millis(10), Millis::MAX, &bench.config, &mut ear);
    }
    assert_eq!(ear.0.len(), 3);
    assert!(
        ear.0
            .iter()
            .all(|told| matches!(told, Evidence::Doubted { thermistor: 3, doubt: Doubt::AtOpenRail, .. }))
    );
}

proptest! {
    /// Any ratios at any pace, for counts that fit and counts that do not (a barred controller measures all the same): no panic,
    /// each module's range in order, no rise below zero, and a doubtful sensor never makes its module's range narrower.
    #[test]
    fn any_ratios_are_answered(
        frames in proptest::collection::vec((proptest::option::of(proptest::array::uniform8(any::<i32>())), any::<u32>()), 1..40),
        modules in any::<u8>(), per_module in any::<u8>(),
    ) {
        let mut config = Config::trainer();
        let fits = modules % 2 == 0;
        if !fits {
            (config.pack.modules, config.pack.thermistors_per_module) = (modules, per_module);
        }
        let mut thermistors = Thermistors::<8>::NEW;
        for (bits, elapsed) in frames {
            let ratios = bits.map(|bits| Each(bits.map(|bits| Ratio::from_bits(bits % 70_000))));
            let seen = thermistors.judge(ratios.as_ref(), Millis(elapsed), Millis(elapsed), &config, &mut ());
            prop_assert!(seen.sensors.iter().all(|sensor| sensor.rise().is_none_or(|rise| rise >= CelsiusPerSecond::ZERO)));
            if fits {
                prop_assert!(seen.modules.iter().take(4).all(|module| module.coldest <= module.hottest));
            }
            if fits && ratios.is_some() {
                for (place, sensor) in (0_u8..).zip(&seen.sensors).filter(|(_, sensor)| !sensor.at_rail()) {
                    let module = seen.modules.at(place / 2).unwrap();
                    prop_assert!(module.coldest <= sensor.celsius && sensor.celsius <= module.hottest);
                }
            }
        }
    }
}
