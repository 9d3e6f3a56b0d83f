use super::*;
use crate::config::Config;
use crate::each::Each;
use crate::sense::{ModuleRange, SensorReading, Temperatures};
use crate::units::{Amps, Celsius};
use proptest::{array::uniform16, prelude::*};

fn trainer() -> Checked {
    Config::trainer().check(16, 8).expect("the default is valid")
}

fn at(milli_celsius: i32) -> Temperatures<8> {
    let celsius = Celsius::from_milli(milli_celsius);
    Temperatures {
        sensors: Each::all(SensorReading::default()),
        modules: Each::all(ModuleRange {
            coldest: celsius,
            hottest: celsius,
            likely: celsius,
            measured: true,
        }),
        hottest: Some((0, celsius)),
        coldest: Some((0, celsius)),
    }
}

const fn mah(thousandths: i32) -> Coulombs {
    Coulombs::from_milliamp_hours(thousandths)
}

/// Each cell misses so many mAh, known to within so many either way.
fn known_within(missing: &[i32; 16], half: i32) -> impl Fn(u8) -> Option<Missing> + '_ {
    move |cell| {
        let here = *missing.get(usize::from(cell))?;
        let interval = Interval { low: mah(here - half), high: mah(here + half) };
        Some(Missing { to_full: interval, against_median: interval })
    }
}

struct Heard(Vec<Evidence>);

impl Witness for Heard {
    fn saw(&mut self, evidence: Evidence) {
        self.0.push(evidence);
    }
}

/// One cell of sixteen misses 2 Ah more, all known within 100 mAh: the fifteen others bleed, and lie at least 1.8 Ah above it.
#[test]
fn fifteen_cells_bleed_towards_a_swapped_one() {
    let mut missing = [500; 16];
    missing[6] = 2_500;
    let mut heard = Heard(Vec::new());
    let set: CellSet<16> = chosen(known_within(&missing, 100), None, &at(20_000), &trainer(), &mut heard);
    assert_eq!(set.count(), 15);
    assert!(!set.holds(6));
    assert_eq!(heard.0.len(), 16);
    assert_eq!(heard.0[0], Evidence::BleedChosen { cell: 0, excess: mah(1_800) });
    assert_eq!(heard.0[6], Evidence::BleedRefused { cell: 6, because: BleedRefusal::NotProvenAbove });
}

/// Intervals of 1 Ah either way leave no cell certainly above another that misses 2 Ah more.
#[test]
fn what_is_not_proven_does_not_bleed() {
    let mut missing = [500; 16];
    missing[6] = 2_500;
    let set: CellSet<16> = chosen(known_within(&missing, 1_000), None, &at(20_000), &trainer(), &mut ());
    assert!(set.is_empty());
}

#[test]
fn the_cold_the_heat_and_the_budget_refuse() {
    let mut missing = [500; 16];
    missing[6] = 2_500;
    for celsius in [-500, 46_000] {
        let set: CellSet<16> = chosen(known_within(&missing, 10), None, &at(celsius), &trainer(), &mut ());
        assert!(set.is_empty());
    }
    let mut config = Config::trainer();
    config.balance.most_per_module = 2;
    let config = config.check(16, 8).expect("two of four is valid");
    let set: CellSet<16> = chosen(known_within(&missing, 10), None, &at(20_000), &config, &mut ());
    assert!(set.iter().eq([0, 1, 4, 5, 8, 9, 12, 13]));
}

/// 30 % of the least capacity, 19 Ah, is a floor of 13.3 Ah missing.
#[test]
fn below_the_floor_nothing_bleeds() {
    let (mut low, mut high) = ([13_280; 16], [13_320; 16]);
    (low[6], high[6]) = (19_000, 19_000);
    let above: CellSet<16> = chosen(known_within(&low, 0), None, &at(20_000), &trainer(), &mut ());
    let below: CellSet<16> = chosen(known_within(&high, 0), None, &at(20_000), &trainer(), &mut ());
    assert_eq!((above.count(), below.count()), (15, 0));
}

#[test]
fn a_doubting_fault_and_a_moving_sequence_stop_it() {
    let sound = FaultSummary::default();
    assert_eq!(hindrance(true, &sound, Step::Closed), None);
    assert_eq!(hindrance(false, &sound, Step::Closed), Some(BleedRefusal::ReadingDoubted));
    assert_eq!(hindrance(true, &sound, Step::Precharging), Some(BleedRefusal::Measuring));
    let mut doubted = sound;
    doubted.suspect.insert(Fault::PackSumDisagrees);
    assert_eq!(hindrance(true, &doubted, Step::Closed), Some(BleedRefusal::ReadingDoubted));
}

/// What stops is told, once for each cell that bled.
#[test]
fn a_pause_is_told_when_it_begins() {
    let mut balance = Balance::<16>::new();
    balance.chosen.insert(3);
    let mut heard = Heard(Vec::new());
    assert!(balance.give(None, &mut heard).holds(3));
    assert!(balance.give(Some(BleedRefusal::Measuring), &mut heard).is_empty());
    assert!(balance.give(Some(BleedRefusal::Measuring), &mut heard).is_empty());
    assert_eq!(heard.0, [Evidence::BleedRefused { cell: 3, because: BleedRefusal::Measuring }]);
    assert!(balance.bleeding().is_empty());
}

/// t = ΔQ·R/V: 1 Ah at 3.3 V through 33 Ω, 100 mA, is 10 h, plus at most one period of the choice.
#[test]
fn one_ampere_hour_takes_ten_hours() {
    let config = trainer();
    let mut missing = [1_000_000_i64; 16]; // µAh
    missing[6] = 2_100_000;
    let mut minutes = 0;
    let minute = Amps::from_milli(100).over(Millis(60_000));
    loop {
        let interval = |cell: u8| {
            let here = Coulombs::from_bits(missing[usize::from(cell)] * mah(1).bits() / 1_000);
            let interval = Interval { low: here, high: here };
            Some(Missing { to_full: interval, against_median: interval })
        };
        let set: CellSet<16> = chosen(interval, None, &at(20_000), &config, &mut ());
        if set.is_empty() {
            break;
        }
        for cell in set.iter() {
            missing[usize::from(cell)] += minute.bits() * 1_000 / mah(1).bits();
        }
        minutes += 1;
    }
    // 1.1 Ah apart, 0.1 Ah of margin: 1 Ah is bled.
    assert!((600..=601).contains(&minutes), "{minutes} minutes");
}

proptest! {
    /// Whatever the intervals that hold the truth: no cell bleeds that is not truly fuller than the emptiest one by the margin.
    #[test]
    fn only_a_fuller_cell_bleeds(
        truth in uniform16(0..8_000_i32),
        below in uniform16(0..1_500_i32),
        above in uniform16(0..1_500_i32),
    ) {
        let missing = |cell: u8| {
            let cell = usize::from(cell);
            let interval =
                Interval { low: mah(truth[cell] - below[cell]), high: mah(truth[cell] + above[cell]) };
            Some(Missing { to_full: interval, against_median: interval })
        };
        let set: CellSet<16> = chosen(missing, None, &at(20_000), &trainer(), &mut ());
        let emptiest = truth.iter().max().copied().unwrap_or(0);
        for cell in set.iter() {
            prop_assert!(truth[usize::from(cell)] + 100 < emptiest);
        }
    }

    /// In a toy pack, bled for two days at 100 mA, the true spread never widens, no cell is bled below the floor, and in the
    /// end no two cells are further apart than margin, width of the intervals and one step.
    #[test]
    fn bleeding_never_widens_the_spread(mut truth in uniform16(0..4_000_i32), half in 0..300_i32) {
        let spread = |cells: &[i32; 16]| cells.iter().max().unwrap_or(&0) - cells.iter().min().unwrap_or(&0);
        let mut before = spread(&truth);
        for _ in 0..288 {
            let set: CellSet<16> = chosen(known_within(&truth, half), None, &at(20_000), &trainer(), &mut ());
            for cell in set.iter() {
                truth[usize::from(cell)] += 17; // ten minutes at 100 mA
                prop_assert!(truth[usize::from(cell)] <= 13_300);
            }
            prop_assert!(spread(&truth) <= before);
            before = spread(&truth);
        }
        prop_assert!(before <= 100 + 2 * half + 17);
    }
}
