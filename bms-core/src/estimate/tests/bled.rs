//! Bleed switches that do not do what they are told.

use super::*;

fn cells(places: &[u8]) -> CellSet<96> {
    places.iter().fold(CellSet::EMPTY, |mut set, cell| {
        set.insert(*cell);
        set
    })
}

impl Bench {
    /// For so many seconds these cells are told to bleed, and those are seen to.
    fn bleeds(&mut self, told: &[u8], flows: &[u8], seconds: u32) {
        (self.bleeding, self.flows) = (cells(told), Some(cells(flows)));
        self.hold(0, seconds * 100);
    }

    fn stuck(&self) -> (Vec<u8>, Vec<u8>) {
        let places = |set: Option<&CellSet<96>>| set.map_or_else(Vec::new, |set| set.iter().collect());
        (
            places(self.estimated.bleeds_stuck_on(&self.config)),
            places(self.estimated.bleeds_stuck_off(&self.config)),
        )
    }
}

/// Once a second, three times.
#[test]
fn three_observations_name_a_switch() {
    let mut bench = Bench::new();
    bench.bleeds(&[3, 4], &[4, 60], 2);
    assert_eq!(bench.stuck(), (vec![], vec![]));
    bench.bleeds(&[3, 4], &[4, 60], 2);
    assert_eq!(bench.stuck(), (vec![60], vec![3]));
}

/// Told on, a switch that is stuck on looks sound, and told off one that is stuck off: neither acquits nor accuses.
#[test]
fn a_switch_is_judged_only_by_what_it_is_told() {
    let mut bench = Bench::new();
    bench.bleeds(&[3], &[60], 4);
    bench.bleeds(&[60], &[60], 20);
    assert_eq!(bench.stuck(), (vec![60], vec![3]));
    bench.bleeds(&[3], &[3], 2);
    assert_eq!(bench.stuck(), (vec![], vec![]));
}

/// One observation to the contrary, and they must be made anew; a set that changes in every frame is never judged.
#[test]
fn a_switch_that_obeys_once_is_not_stuck() {
    let mut bench = Bench::new();
    for _ in 0..5 {
        bench.bleeds(&[3], &[60], 2);
        bench.bleeds(&[3], &[3], 1);
    }
    assert_eq!(bench.stuck(), (vec![], vec![]));
    for _ in 0..1_000 {
        for told in [&[3_u8, 9][..], &[9]] {
            (bench.bleeding, bench.flows) = (cells(told), Some(cells(&[9])));
            bench.hold(0, 1);
        }
    }
    assert_eq!(bench.stuck(), (vec![], vec![]));
}

#[test]
fn without_comparators_nothing_is_said() {
    let mut bench = Bench::new();
    bench.bleeding = cells(&[3]);
    bench.hold(0, 1_000);
    assert_eq!(
        (bench.estimated.bleeds_stuck_on(&bench.config), bench.estimated.bleeds_stuck_off(&bench.config)),
        (None, None)
    );
}

/// Somebody clears: void is what was seen before, but not what the last look showed. Cell 61 is told on now and cell 4 is told off, so
/// neither of them shows that it is stuck any more; 60 and 3 do.
#[test]
fn clearing_voids_what_was_stuck_and_not_what_is() {
    let mut bench = Bench::new();
    bench.bleeds(&[3, 4], &[60, 61], 4);
    assert_eq!(bench.stuck(), (vec![60, 61], vec![3, 4]));
    bench.bleeds(&[3, 61], &[60, 61], 2);
    assert_eq!(bench.stuck(), (vec![60, 61], vec![3, 4]));
    (bench.step, bench.cleared) = (Step::Open, Some(Clearance::Panel));
    bench.hold(0, 1);
    assert_eq!(bench.stuck(), (vec![60], vec![3]));
    // Mended, and looked at again.
    bench.cleared = None;
    bench.bleeds(&[3], &[3], 2);
    assert_eq!(bench.stuck(), (vec![], vec![]));
}

/// 0.1 A for an hour are 0.1 Ah, a tenth more or less. Nobody knows which of switch and comparator is right.
#[test]
fn the_count_allows_for_both() {
    let hours = |milli: i32| Coulombs::from_milliamp_hours(milli);
    let mut bench = Bench::new();
    for cell in [3, 4, 60, 61] {
        bench.hold(0, 1);
        bench.estimated.count.believe(cell, Interval { low: hours(50_000), high: hours(50_000) });
    }
    bench.bleeds(&[3, 4], &[4, 60], 3_600);
    let since = |cell: u8| {
        let now = bench.estimated.count.counted(cell).expect("there is such a cell");
        let idle = bench.estimated.count.counted(61).expect("there is such a cell");
        let (low, high) = (now.low - idle.low, now.high - idle.high);
        (low.milliamp_hours(), high.milliamp_hours())
    };
    for (cell, low, high) in [(3, 0..=0, 109..=111), (4, 89..=90, 109..=111), (60, 0..=0, 109..=111)] {
        let (least, most) = since(cell);
        assert!(low.contains(&least) && high.contains(&most), "{cell}: {least} {most}");
    }
}
