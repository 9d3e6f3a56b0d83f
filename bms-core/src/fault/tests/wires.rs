//! An open sense wire before the voltages that it fakes, and real cells before a wire that is sound.

use super::*;
use crate::frame::{Inputs, Pulled};
use crate::wires::WireTest;
use proptest::prelude::*;

/// The training bench with a front end on paper: millivolts, wires 0 to 8 below the fuse and 9 to 17 above it.
struct Bench {
    paper: Paper<16, 8>,
    truth: [i32; 16],
    open: Option<usize>,
    /// By how much the input behind the open wire lies off its tap.
    off: i32,
    /// Whether that wire conducts badly: its filter fills again at once.
    corroded: bool,
    /// What the load does to every cell between the reading and the one under the test current.
    stepped: i32,
    answers: bool,
}

/// A pull takes 500 µA · 2 ms = 1 µC out of two filters of 1 µF.
const PULLED: i32 = -500;

impl Bench {
    fn new() -> Self {
        let (truth, open, off, stepped) = ([3_300; 16], None, 0, 0);
        Self { paper: trainer(), truth, open, off, corroded: false, stepped, answers: true }
    }

    /// What the channels read with the open input so far off: the cell below it moves with it, the one above against it.
    fn read(&self, off: i32) -> Each<Volts, 16> {
        Each(core::array::from_fn(|cell| {
            let lower = if cell < 8 { cell } else { cell + 1 };
            let moved = |wire| if self.open == Some(wire) { off } else { 0 };
            // Channels end at −0.3 and 5 V.
            Volts::from_milli((self.truth[cell] + moved(lower + 1) - moved(lower)).clamp(-300, 5_000))
        }))
    }

    fn pulls(&self, inputs: Inputs) -> bool {
        let odd = |wire: usize| (if wire < 9 { wire } else { wire - 9 }) % 2 == 1;
        self.open.is_some_and(|wire| odd(wire) == (inputs == Inputs::Odd))
    }

    fn tick(&mut self) -> &mut Self {
        self.paper.frame.cells = Part::fresh(self.read(self.off));
        let asked = self.paper.decision.and_then(|decision| decision.pull).filter(|_| self.answers);
        self.paper.frame.cells_pulled = match asked {
            Some(inputs) => {
                if self.pulls(inputs) {
                    // A diode ends it half a volt below the neighbour.
                    self.off = (self.off + PULLED).max(-3_800);
                }
                let mut cells = self.read(self.off);
                cells.iter_mut().for_each(|volts| *volts = *volts + Volts::from_milli(self.stepped));
                self.off = if self.corroded { 0 } else { self.off };
                Part::fresh(Pulled { inputs, cells })
            }
            None => Part::never(Pulled { inputs: Inputs::Odd, cells: Each::all(Volts::ZERO) }),
        };
        self.paper.after(10);
        self
    }

    fn ticks(&mut self, count: u32) -> &mut Self {
        for _ in 0..count {
            self.tick();
        }
        self
    }

    fn confirmed(&self) -> bool {
        self.paper.confirmed(Fault::SenseWireOpen)
    }

    fn suspect(&self) -> bool {
        self.paper.suspect(Fault::SenseWireOpen)
    }

    fn told(&self, like: impl Fn(&WireTest) -> bool) -> usize {
        let test = |evidence: &&Evidence| matches!(evidence, Evidence::Wires(test) if like(test));
        self.paper.heard.0.iter().filter(test).count()
    }
}

/// The filter of an open input keeps the old reading: nothing shows. The test at the start would have found it, the next comes a minute later.
#[test]
fn a_wire_that_holds_its_reading_is_found_by_the_active_test_only() {
    for wire in [0, 1, 8, 9, 12, 17] {
        let mut bench = Bench::new();
        bench.ticks(500);
        assert_eq!(bench.told(|test| *test == WireTest::Sound), 1);
        bench.open = Some(wire);
        bench.ticks(5_490);
        assert!(!bench.suspect() && !bench.confirmed(), "wire {wire}");
        // The pull has emptied the filter, which shows from then on in a pair, and above an outermost wire at 3.8 V. The cell below one reads 2.8 V,
        // and may well be like that: a second test decides, a second later.
        bench.ticks(20);
        assert_eq!(bench.suspect(), ![8, 17].contains(&wire), "wire {wire}");
        bench.ticks(if bench.suspect() { 0 } else { 100 });
        assert!(bench.suspect() && !bench.confirmed(), "wire {wire}");
        bench.ticks(50);
        assert!(bench.confirmed(), "wire {wire}");
        assert_eq!(
            bench.paper.remembers(Fault::SenseWireOpen),
            Some(Place::Wire(u8::try_from(wire).unwrap()))
        );
        let reaction = bench.paper.core.faults().reaction.map(|(reaction, _)| reaction);
        assert_eq!(reaction, Some(Reaction::OpenSoon), "wire {wire}");
    }
}

/// 1 kΩ drops half a volt under the test current and nothing without it: no reading shows it. One answer alone is one frame, whatever time
/// passes after it; the next test is a second later, and its result the second one.
#[test]
fn one_answer_that_nothing_bears_out_confirms_no_wire() {
    for (wire, again) in [(4, false), (8, false), (4, true), (8, true)] {
        let mut bench = Bench::new();
        (bench.open, bench.corroded) = (Some(wire), true);
        bench.ticks(5);
        assert_eq!(bench.told(|test| matches!(test, WireTest::Open(_))), 1);
        bench.open = bench.open.filter(|_| again);
        bench.ticks(95);
        assert!(!bench.suspect() && !bench.confirmed(), "wire {wire}");
        bench.ticks(10);
        assert_eq!(bench.suspect(), again, "wire {wire}");
        bench.ticks(50);
        assert_eq!(bench.confirmed(), again, "wire {wire}");
    }
}

/// 1 V off: 4.3 V and 2.3 V. Suspect at once, 500 ms dwell; until then both cells' voltages wait, and then they speak: 300 ms later they open.
#[test]
fn voltage_faults_wait_for_the_wire_and_no_longer() {
    let mut bench = Bench::new();
    bench.answers = false;
    bench.ticks(100);
    (bench.open, bench.off) = (Some(4), -1_000);
    let voltages = [Fault::CellOverVoltageFar, Fault::CellUnderVoltageFar];
    for tick in 0..50 {
        bench.tick();
        assert!(bench.suspect() && !bench.confirmed(), "tick {tick}");
        assert!(voltages.iter().all(|fault| !bench.paper.suspect(*fault)), "tick {tick}");
    }
    bench.ticks(2);
    assert!(bench.confirmed() && voltages.iter().all(|fault| bench.paper.suspect(*fault)));
    bench.ticks(32);
    assert!(voltages.iter().all(|fault| bench.paper.confirmed(*fault)));
}

/// Two cells that really are 3.9 and 2.7 V beside each other: the test finds their wire sound within three ticks, and the voltage opens as
/// soon as ever.
#[test]
fn cells_that_really_differ_are_no_open_wire() {
    let mut bench = Bench::new();
    bench.ticks(100);
    (bench.truth[5], bench.truth[6]) = (3_900, 2_700);
    bench.ticks(36);
    assert!(bench.paper.confirmed(Fault::CellOverVoltageFar));
    assert!(bench.told(|test| matches!(test, WireTest::Dismissed(6))) == 1 && !bench.suspect());
    bench.ticks(500);
    assert_eq!(bench.told(|test| matches!(test, WireTest::Dismissed(_))), 1);
    assert!(!bench.confirmed());
}

/// An outermost cell alone at 3.9 V: the pack voltage cannot tell 0.6 V, the test can.
#[test]
fn an_outermost_cell_that_really_is_high_is_no_open_wire() {
    let mut bench = Bench::new();
    bench.ticks(100);
    bench.truth[15] = 3_900;
    bench.ticks(36);
    assert!(bench.paper.confirmed(Fault::CellOverVoltageFar) && !bench.confirmed());
}

/// A cold cell under load reads less than 2.5 V and may: from −20 °C down its limit is 2.0 V. No wire has to explain that; at 25 °C one does.
#[test]
fn a_cold_outermost_cell_under_load_is_no_open_wire() {
    // 10 kΩ at 25 °C; the thermistor is above 100 kΩ below −20 °C.
    for (ratio, suspected) in [(500, true), (920, false)] {
        let mut bench = Bench::new();
        bench.answers = false;
        bench.paper.ratios(ratio, &[]);
        bench.ticks(100);
        bench.truth = [2_560; 16];
        bench.truth[0] = 2_420;
        bench.paper.frame.voltages.value.pack = Volts::from_milli(15 * 2_560 + 2_420);
        bench.tick();
        assert_eq!(bench.suspect(), suspected, "{ratio} parts in a thousand");
    }
}

/// A cell that really is empty, beside one that lies 30 mV above the others: no front end has to answer before it speaks.
#[test]
fn an_empty_cell_is_no_open_wire() {
    for answers in [true, false] {
        let mut bench = Bench::new();
        bench.answers = answers;
        bench.ticks(100);
        (bench.truth[5], bench.truth[6]) = (0, 3_330);
        bench.paper.frame.voltages.value.pack = Volts::from_milli(14 * 3_300 + 3_330);
        for _ in 0..36 {
            bench.tick();
            assert!(!bench.suspect());
        }
        assert!(bench.paper.confirmed(Fault::CellReversed));
    }
}

/// 140 mV off is short of the release limit of 150 mV; between it and 200 mV nothing is suspect either.
#[test]
fn a_small_shift_is_none() {
    for off in [140, 190] {
        let mut bench = Bench::new();
        bench.answers = false;
        bench.ticks(100);
        (bench.open, bench.off) = (Some(4), -off);
        bench.ticks(200);
        assert!(!bench.suspect() && !bench.confirmed(), "{off} mV");
    }
}

/// A hoist begins between the reading and the one under the test current: every cell moves by 0.4 V, none against its neighbour.
#[test]
fn a_load_step_between_the_readings_opens_no_wire() {
    let mut bench = Bench::new();
    bench.stepped = -400;
    bench.ticks(7_000);
    assert!(
        bench.told(|test| *test == WireTest::Sound) >= 2
            && bench.told(|test| matches!(test, WireTest::Open(_))) == 0
    );
    assert!(!bench.suspect() && !bench.confirmed());
}

/// As long as the wire is open nobody clears it; mended, the next test finds it sound.
#[test]
fn a_mended_wire_is_tested_and_cleared() {
    let mut bench = Bench::new();
    bench.open = Some(4);
    bench.ticks(300);
    assert!(bench.confirmed());
    bench.paper.frame.asked.clear = Some(Clearance::Service);
    bench.ticks(200);
    assert!(bench.confirmed());
    bench.paper.frame.asked.clear = None;
    (bench.open, bench.off) = (None, 0);
    bench.ticks(300);
    assert!(bench.paper.core.faults().latched.holds(Fault::SenseWireOpen));
    bench.paper.frame.asked.clear = Some(Clearance::Service);
    bench.ticks(2);
    assert_eq!(bench.paper.remembers(Fault::SenseWireOpen), None);
}

/// A front end that cannot pull is told of once, and its pack never bleeds.
#[test]
fn a_test_without_an_answer_is_told_once() {
    let mut bench = Bench::new();
    bench.answers = false;
    bench.ticks(500);
    assert_eq!(bench.told(|test| matches!(test, WireTest::Unanswered(_))), 1);
    assert!(!bench.paper.core.bleeding().iter().any(|_| true));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    /// One open wire never raises a cell over- or under-voltage that opens the contactors before the wire itself is Suspect, whatever the
    /// charge and the current, however far the input drifts and however fast.
    #[test]
    fn one_open_wire_is_suspect_before_its_voltages_are(
        wire in 0..18_usize, volts in 2_600..3_650_i32, drift in -300..300_i32, answers in any::<bool>(), at in 60..300_u32,
        amps in -80..80_i32, share in 0..100_i32,
    ) {
        let mut bench = Bench::new();
        bench.truth = [volts; 16];
        bench.answers = answers;
        // 8 mΩ of cable, fuse and disconnect, or a part of them, lie between the cells and where the pack is measured.
        let pack = Volts::from_milli(volts * 16 + amps * 8 * share / 100);
        bench.paper.frame.current = Part::fresh(Amps::from_milli(amps * 1_000));
        bench.paper.frame.voltages.value.pack = pack;
        (bench.paper.frame.voltages.value.behind_negative, bench.paper.frame.voltages.value.behind_positive) =
            (Volts::from_bits(pack.bits() / 2), Volts::from_bits(pack.bits() / 2));
        bench.ticks(at);
        bench.open = Some(wire);
        for _ in 0..200 {
            bench.off = (bench.off + drift).clamp(-3_800, 3_800);
            bench.tick();
            if bench.suspect() || bench.confirmed() {
                break;
            }
            for fault in [Fault::CellOverVoltageFar, Fault::CellUnderVoltageFar, Fault::CellReversed] {
                prop_assert!(!bench.paper.suspect(fault), "{:?} at {} mV off", fault, bench.off);
            }
        }
    }
}
