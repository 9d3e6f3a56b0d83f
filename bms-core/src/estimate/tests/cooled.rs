//! Cooling that is told on and does not cool.

use super::*;
use crate::frame::Turning;

impl Bench {
    /// So many seconds in ticks of one, the hottest sensor as it is said by second.
    fn stands_warm(&mut self, seconds: core::ops::Range<u32>, milli_celsius: impl Fn(i32) -> i32) {
        for second in seconds {
            self.celsius = Celsius::from_milli(milli_celsius(second.try_into().expect("small")));
            self.tick(Some(reading(0)), Millis(1_000), None, &mut Heard::default());
        }
    }

    fn has_tacho(mut self, cooling: Turning) -> Self {
        (self.cooling, self.contacts) = (Cooling::On, Some(Contacts { cooling, ..Contacts::SOUND }));
        self
    }
}

#[test]
fn a_tacho_that_stands_for_five_minutes_is_found_and_one_that_turns_ends_it() {
    let mut bench = Bench::new().has_tacho(Turning::Standing);
    bench.stands_warm(0..299, |_| 36_000);
    assert_eq!(bench.estimated.cooling_fails(), None);
    bench.stands_warm(299..300, |_| 36_000);
    assert_eq!(bench.estimated.cooling_fails(), Some(true));
    let mut bench = bench.has_tacho(Turning::Turning);
    bench.stands_warm(0..1, |_| 36_000);
    assert_eq!(bench.estimated.cooling_fails(), Some(false));
}

/// Told off, it may stand for as long as it likes; a turn in between begins anew; and a pack may have no tacho.
#[test]
fn what_may_stand_is_not_accused() {
    let mut off = Bench::new().has_tacho(Turning::Standing);
    off.cooling = Cooling::Off;
    off.stands_warm(0..1_000, |_| 36_000);
    assert_eq!(off.estimated.cooling_fails(), None);
    let mut turned = Bench::new().has_tacho(Turning::Standing);
    turned.stands_warm(0..200, |_| 36_000);
    let mut turned = turned.has_tacho(Turning::Turning);
    turned.stands_warm(0..1, |_| 36_000);
    let mut turned = turned.has_tacho(Turning::Standing);
    turned.stands_warm(0..200, |_| 36_000);
    assert_eq!(turned.estimated.cooling_fails(), Some(false));
    let mut config = Config::crane();
    config.cooling.tacho = false;
    let mut without = Bench::new().has_tacho(Turning::Standing);
    without.config = config.check(96, 16).expect("it is sensible");
    without.stands_warm(0..1_000, |_| 36_000);
    assert_eq!(without.estimated.cooling_fails(), None);
}

/// 300 s with a time constant of 4 000 s bring a cell down by 7.2 % of what it is above its surroundings, with a fifth of the air by 1.5 %.
/// Those are 45 °C at the most. Below 50 °C nothing is said of it, nor under load or while cells bleed.
#[test]
fn a_hot_pack_that_does_not_cool_down_is_found() {
    let told = |start: i32, fall_milli: i32, milliamps: i32, bleeds: bool| {
        let mut bench = Bench::new().has_tacho(Turning::Turning);
        if bleeds {
            bench.bleeding.insert(4);
        }
        for second in 0..700 {
            bench.celsius = Celsius::from_milli(start - fall_milli * second / 300);
            bench.tick(Some(reading(milliamps)), Millis(1_000), None, &mut Heard::default());
        }
        bench.estimated.cooling_fails()
    };
    assert_eq!(told(55_000, 720, 0, false), Some(false));
    assert_eq!(told(55_000, 150, 0, false), Some(true));
    // In surroundings of 45 °C nothing can bring 50.5 °C down by more.
    assert_eq!(told(50_500, 390, 0, false), Some(false));
    assert_eq!(told(50_500, 80, 0, false), Some(true));
    assert_eq!(told(49_000, 150, 0, false), Some(false));
    assert_eq!(told(55_000, 150, -20_000, false), Some(false));
    assert_eq!(told(55_000, 150, 0, true), Some(false));
}

/// What does not cool is told for as long as it is hot. Once it has become colder there is nothing to be brought down: the next time that
/// it is hot decides.
#[test]
fn what_did_not_cool_is_told_until_it_is_no_longer_hot() {
    let mut bench = Bench::new().has_tacho(Turning::Turning);
    bench.stands_warm(0..400, |_| 55_000);
    assert_eq!(bench.estimated.cooling_fails(), Some(true));
    for (milli, fails) in [(47_500, true), (46_900, false), (51_000, false)] {
        bench.celsius = Celsius::from_milli(milli);
        bench.hold(-20_000, 100);
        assert_eq!(bench.estimated.cooling_fails(), Some(fails), "{milli}");
    }
    bench.stands_warm(0..400, |_| 55_000);
    assert_eq!(bench.estimated.cooling_fails(), Some(true));
}

/// A sensor that hangs, or shows what none of its neighbours does, says nothing of the cooling; one at a rail is not even a temperature.
#[test]
fn only_believed_sensors_say_whether_it_cools() {
    for doubt in [Doubt::Frozen, Doubt::Stray, Doubt::Jumped, Doubt::AtShortRail] {
        let mut bench = Bench::new().has_tacho(Turning::Turning);
        bench.odd = vec![(3, Celsius::from_milli(60_000), doubt)];
        bench.stands_warm(0..700, |_| 30_000);
        assert_eq!(bench.estimated.cooling_fails(), Some(false), "{doubt:?}");
        // Nor does it hide a pack that stays hot.
        bench.odd = vec![(3, Celsius::from_milli(60_000), doubt)];
        for second in 0..700 {
            bench.odd = vec![(3, Celsius::from_milli(70_000 - second * 10), doubt)];
            bench.stands_warm(0..1, |_| 55_000);
        }
        assert_eq!(bench.estimated.cooling_fails(), Some(true), "{doubt:?}");
    }
}

/// Whoever clears in front of a fan that stands has not mended it. A fan that turns, or is told off, may be cleared.
#[test]
fn clearing_does_not_void_a_fan_that_stands() {
    let told = |now: Turning, cooling: Cooling| {
        let mut bench = Bench::new().has_tacho(Turning::Standing);
        bench.stands_warm(0..300, |_| 36_000);
        bench = bench.has_tacho(now);
        (bench.cooling, bench.step, bench.cleared) = (cooling, Step::Open, Some(Clearance::Panel));
        bench.stands_warm(0..1, |_| 36_000);
        bench.estimated.cooling_fails()
    };
    assert_eq!(told(Turning::Standing, Cooling::On), Some(true));
    assert_eq!(told(Turning::Turning, Cooling::On), None);
    assert_eq!(told(Turning::Standing, Cooling::Off), None);
}
