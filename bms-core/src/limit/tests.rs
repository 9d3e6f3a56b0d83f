use super::*;
use crate::config::Config;
use crate::decision::FaultSummary;
use proptest::{collection::vec, prelude::*};

fn crane() -> LimitRules {
    Config::crane().check(96, 16).expect("the default is valid").limits
}

const fn amps(milli: i32) -> Amps {
    Amps::from_milli(milli)
}

const fn celsius(milli: i32) -> Celsius {
    Celsius::from_milli(milli)
}

/// A sound crane pack at half charge and rest, its cells at 3.30 V.
fn rested(milli_celsius: i32) -> Situation {
    let here = celsius(milli_celsius);
    Situation {
        current: Some(Amps::ZERO),
        to_empty: Some(Volts::from_milli(450) + Config::crane().cells.reduction_at(here)),
        to_full: Some(Volts::from_milli(300)),
        resistance: crane().resistance.scaled(resistance_factor(here)),
        temperatures: Some((here, here)),
        charge: (Ratio::percent(45), Ratio::percent(55)),
        heat_used: Ratio::ZERO,
        one_c: amps(100_000),
        derated: false,
        too_cold: false,
        path: Path::Closed,
    }
}

fn binding(situation: &Situation, side: Side) -> (LimitRule, i32) {
    let [(rule, allows), _] = situation.smallest(side, &crane());
    (rule, allows.milli() / 1_000)
}

/// Worked by hand at 3.30 V: 450 mV / 1.144 mΩ = 393 A at 25 °C; at −25 °C 950 mV / (1.144 mΩ · 5.0815) = 163 A; and eleven times
/// the resistance with the cold limit leaves 950 mV / 12.58 mΩ = 75 A.
#[test]
fn the_voltage_rule_gives_what_ohms_law_gives() {
    assert_eq!(binding(&rested(25_000), Side::Discharge), (LimitRule::CellVoltage, 393));
    assert_eq!(binding(&rested(-25_000), Side::Discharge), (LimitRule::CellVoltage, 163));
    let mut grown = rested(-25_000);
    grown.resistance = crane().resistance.scaled(Ratio::percent(1_100));
    assert_eq!(binding(&grown, Side::Discharge), (LimitRule::CellVoltage, 75));
}

/// The sag of the present current is in the reading: 150 A through 1.144 mΩ leaves the same limit.
#[test]
fn the_present_current_explains_the_present_sag() {
    let mut loaded = rested(25_000);
    loaded.current = Some(amps(-150_000));
    loaded.to_empty = Some(Volts::from_milli(450) - amps(150_000) * crane().resistance);
    assert_eq!(binding(&loaded, Side::Discharge), (LimitRule::CellVoltage, 393));
    let [_, (next, allows)] = loaded.smallest(Side::Discharge, &crane());
    assert_eq!((next, allows), (LimitRule::Rating, amps(400_000)));
}

/// A cell with 3 mΩ more than is credible: obeying the limit ends at the limit voltage all the same.
#[test]
fn a_load_that_takes_all_ends_at_the_margin() {
    let true_resistance = Milliohms::from_milli(4_144);
    let mut situation = rested(25_000);
    let mut drawn = Amps::ZERO;
    for _ in 0..200 {
        situation.current = Some(-drawn);
        situation.to_empty = Some(Volts::from_milli(450) - drawn * true_resistance);
        let [(_, allows), _] = situation.smallest(Side::Discharge, &crane());
        drawn = allows.held_between(drawn - amps(10_000), drawn + amps(10_000));
    }
    // 450 mV / 4.144 mΩ = 108.6 A; the swing of one step on either side is the smoothing.
    assert!((drawn - amps(108_600)).abs() <= amps(10_000), "{} mA", drawn.milli());
}

/// The corners of the charge table, and half way between: none at 0 °C, 0.2C at 5, 0.35C at 10, 0.5C at 15, 1C from 20 °C on.
#[test]
fn charging_is_held_back_in_the_cold() {
    let allowed = |milli| cold_charge(celsius(milli), amps(100_000), &crane()).map(Amps::milli);
    assert_eq!(allowed(-5_000), Some(0));
    assert_eq!(allowed(0), Some(0));
    assert_eq!(allowed(5_000), Some(20_000));
    assert_eq!(allowed(10_000), Some(35_000));
    assert_eq!(allowed(15_000), Some(50_000));
    assert_eq!(allowed(20_000), None);
    assert_eq!(binding(&rested(-5_000), Side::Charge), (LimitRule::Temperature, 0));
}

/// Half way from 45 to 54 °C half is left on both sides.
#[test]
fn heat_holds_both_sides_back() {
    assert_eq!(binding(&rested(49_500), Side::Charge), (LimitRule::Temperature, 50));
    assert_eq!(binding(&rested(49_500), Side::Discharge), (LimitRule::Temperature, 200));
    assert_eq!(binding(&rested(54_000), Side::Discharge), (LimitRule::Temperature, 0));
}

#[test]
fn the_cell_nearest_to_the_end_holds_the_current_back() {
    let at = |emptiest, fullest, side| {
        let mut situation = rested(25_000);
        situation.charge = (Ratio::percent(emptiest), Ratio::percent(fullest));
        situation.charge(side, amps(400_000), &crane()).map(|allows| allows.milli() / 1_000)
    };
    // Half way through the taper: (400 + 10) / 2.
    assert_eq!(at(5, 20, Side::Discharge), Some(205));
    assert_eq!(at(0, 10, Side::Discharge), Some(10));
    assert_eq!(at(90, 100, Side::Charge), Some(10));
    // Cells far apart hold both sides back, cells of which nothing is known (the ends cross) neither.
    assert_eq!((at(5, 100, Side::Discharge), at(0, 100, Side::Charge)), (Some(205), Some(10)));
    assert_eq!((at(80, 20, Side::Charge), at(80, 20, Side::Discharge)), (None, None));
}

/// From 50 to 75 % of the budget down to 1C; in the middle 250 A.
#[test]
fn the_heat_budget_leads_towards_1c() {
    let mut hot = rested(25_000);
    hot.heat_used = Ratio::from_milli(625);
    assert_eq!(binding(&hot, Side::Discharge), (LimitRule::HeatBudget, 250));
    hot.heat_used = Ratio::percent(90);
    assert_eq!(binding(&hot, Side::Discharge), (LimitRule::HeatBudget, 100));
}

#[test]
fn a_fault_takes_half_and_a_lost_reading_leaves_a_fifth_of_c() {
    let mut derated = rested(25_000);
    derated.derated = true;
    assert_eq!(binding(&derated, Side::Discharge), (LimitRule::Derate, 196));
    derated.too_cold = true;
    assert_eq!(binding(&derated, Side::Discharge), (LimitRule::Derate, 20));
    let mut blind = rested(25_000);
    (blind.to_empty, blind.to_full) = (None, None);
    assert_eq!(binding(&blind, Side::Discharge), (LimitRule::LostReading, 20));
    let mut blind = rested(25_000);
    blind.temperatures = None;
    assert_eq!(binding(&blind, Side::Charge), (LimitRule::LostReading, 0));
    assert_eq!(binding(&blind, Side::Discharge), (LimitRule::LostReading, 20));
}

struct Heard(Vec<Evidence>);

impl Witness for Heard {
    fn saw(&mut self, evidence: Evidence) {
        self.0.push(evidence);
    }
}

/// While smoothing binds, the runner-up is where the limit is going.
#[test]
fn smoothing_is_told_with_what_it_moves_towards() {
    let limiter = Limiter::new();
    let mut heard = Heard(Vec::new());
    let given = limiter.smoothed(Side::Discharge, &rested(25_000), &crane(), &mut heard);
    assert_eq!(given, crane().step);
    match heard.0.as_slice() {
        [Evidence::Limited { rule, allows, runner_up, given, .. }] => {
            assert_eq!((*rule, *runner_up), (LimitRule::Smoothing, LimitRule::CellVoltage));
            assert_eq!((*allows, *given), (crane().step, crane().step));
        }
        other => panic!("{other:?}"),
    }
}

/// A limit that falls is due from the load only after 200 ms, and no later than 400 ms.
#[test]
fn the_load_has_its_time_to_follow() {
    let mut limiter = Limiter::new();
    let high = CurrentLimits { charge: amps(50_000), discharge: amps(300_000) };
    (0..100).for_each(|_| limiter.give(high, Millis(10), Millis(200)));
    for tick in 1..=60 {
        limiter.give(CurrentLimits::NONE, Millis(10), Millis(200));
        let due = limiter.due();
        if tick <= 20 {
            assert_eq!(due, high, "after {tick} ticks");
        } else if tick > 40 {
            assert_eq!(due, CurrentLimits::NONE, "after {tick} ticks");
        }
    }
}

#[test]
fn the_nearest_cell_is_found_where_modules_differ() {
    use crate::each::Each;
    let config = Config::trainer().check(16, 8).expect("the default is valid");
    let warm = ModuleRange {
        coldest: celsius(5_000),
        hottest: celsius(5_000),
        likely: celsius(5_000),
        measured: true,
    };
    let cold = ModuleRange {
        coldest: celsius(-20_000),
        hottest: celsius(-20_000),
        likely: celsius(-20_000),
        measured: true,
    };
    let temperatures = Temperatures::<8> {
        sensors: Each::all(crate::sense::SensorReading::default()),
        modules: Each([cold, warm, warm, warm, warm, warm, warm, warm]),
        hottest: Some((2, celsius(5_000))),
        coldest: Some((0, celsius(-20_000))),
    };
    // Cell 0 is the lowest, but its limit is half a volt lower: cell 5 is nearer to its own.
    let mut volts = Each::<Volts, 16>::all(Volts::from_milli(3_300));
    volts.0[0] = Volts::from_milli(2_900);
    volts.0[5] = Volts::from_milli(3_100);
    let cells = CellReadings {
        volts: &volts,
        lowest: (0, Volts::from_milli(2_900)),
        highest: (1, Volts::from_milli(3_300)),
        sum: Volts::from_milli(52_200),
    };
    assert_eq!(nearest_to_empty(&cells, &temperatures, &config), Volts::from_milli(3_100));
}

fn any_situation() -> impl Strategy<Value = Situation> {
    let milli = |low: i32, high: i32| proptest::option::weighted(0.9, low..high);
    (
        (milli(-600_000, 600_000), milli(-2_000, 2_000), milli(-2_000, 2_000), milli(-45_000, 90_000)),
        (0..=100_i32, 0..=100_i32, 0..200_i32),
        (any::<bool>(), any::<bool>(), prop_oneof![Just(Path::Closed), Just(Path::Ending), Just(Path::Open)]),
    )
        .prop_map(|((current, empty, full, here), (low, high, heat), (derated, too_cold, path))| {
            let cells = empty.zip(full);
            Situation {
                current: current.map(amps),
                to_empty: cells.map(|(empty, _)| Volts::from_milli(empty)),
                to_full: cells.map(|(_, full)| Volts::from_milli(full)),
                resistance: crane().resistance.scaled(resistance_factor(here.map_or(Celsius::MIN, celsius))),
                temperatures: here.map(|here| (celsius(here), celsius(here))),
                charge: (Ratio::percent(low.min(high)), Ratio::percent(low.max(high))),
                heat_used: Ratio::percent(heat),
                one_c: amps(100_000),
                derated,
                too_cold,
                path,
            }
        })
}

proptest! {
    /// No limit moves by more than a tenth of C in a tick while current can flow; none is negative or beyond the rating; with
    /// the contactors open it is zero, and while they are about to open it only falls.
    #[test]
    fn limits_move_smoothly_and_are_zero_when_open(situations in vec(any_situation(), 1..60)) {
        let rules = crane();
        let mut limiter = Limiter::new();
        for situation in situations {
            let before = limiter.given();
            let given = CurrentLimits {
                charge: limiter.smoothed(Side::Charge, &situation, &rules, &mut ()),
                discharge: limiter.smoothed(Side::Discharge, &situation, &rules, &mut ()),
            };
            limiter.give(given, Millis(10), Millis(200));
            for (was, now, rating) in [
                (before.charge, given.charge, rules.charge),
                (before.discharge, given.discharge, rules.discharge),
            ] {
                prop_assert!(now >= Amps::ZERO && now <= rating);
                prop_assert!(situation.path == Path::Open || (now - was).abs() <= rules.step);
                prop_assert!(situation.path != Path::Open || now == Amps::ZERO);
                prop_assert!(situation.path == Path::Closed || now <= was);
            }
        }
    }

    /// Nothing is charged at or below 0 °C, and in the cold never more than the steps of the table.
    #[test]
    fn a_frozen_pack_is_not_charged(situation in any_situation()) {
        if let Some((coldest, _)) = situation.temperatures {
            let [(_, allows), _] = situation.smallest(Side::Charge, &crane());
            prop_assert!(coldest > Celsius::ZERO || allows == Amps::ZERO);
            prop_assert!(coldest > celsius(5_000) || allows <= amps(20_000));
            prop_assert!(coldest > celsius(15_000) || allows <= amps(50_000));
        }
    }

    /// The one that binds is never more than the one after it.
    #[test]
    fn the_runner_up_allows_no_less(situation in any_situation()) {
        for side in [Side::Charge, Side::Discharge] {
            let [(_, binding), (_, next)] = situation.smallest(side, &crane());
            prop_assert!(binding <= next);
        }
    }
}

/// What no fault touches: only Derate and above holds the current back.
#[test]
fn a_report_does_not_derate() {
    let config = Config::trainer().check(16, 8).expect("the default is valid");
    let frame = crate::frame::Frame::<16, 8>::empty(crate::units::Instant(0));
    let believed =
        crate::sense::Sense::<8>::new().judge(&frame, &config, crate::sense::Standstill::default(), &mut ());
    let estimated = Estimated::new(&config);
    for (reaction, derated) in
        [(Reaction::Report, false), (Reaction::Derate, true), (Reaction::OpenNow, true)]
    {
        let faults =
            FaultSummary { reaction: Some((reaction, Fault::CellSpread)), ..FaultSummary::default() };
        let situation = Situation::of(&believed, &estimated, &faults, Step::Closed, &config);
        assert_eq!(situation.derated, derated);
    }
}

/// OpenNow may leave the contactors closed until the fuse has cleared: meanwhile nothing may be asked of the load but to let go.
#[test]
fn contactors_that_must_open_allow_no_current_while_they_are_still_closed() {
    let config = Config::trainer().check(16, 8).expect("the default is valid");
    let frame = crate::frame::Frame::<16, 8>::empty(crate::units::Instant(0));
    let believed =
        crate::sense::Sense::<8>::new().judge(&frame, &config, crate::sense::Standstill::default(), &mut ());
    let estimated = Estimated::new(&config);
    for (reaction, path) in [
        (None, Path::Closed),
        (Some(Reaction::Derate), Path::Closed),
        (Some(Reaction::OpenSoon), Path::Ending),
        (Some(Reaction::OpenNow), Path::Ending),
    ] {
        let reaction = reaction.map(|reaction| (reaction, Fault::CellReversed));
        let faults = FaultSummary { reaction, ..FaultSummary::default() };
        let situation = Situation::of(&believed, &estimated, &faults, Step::Closed, &config);
        assert_eq!(situation.path, path, "{reaction:?}");
        let none_left =
            situation.smallest(Side::Discharge, &crane())[0] == (LimitRule::NotClosed, Amps::ZERO);
        assert_eq!(none_left, path == Path::Ending, "{reaction:?}");
    }
}
