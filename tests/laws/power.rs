//! Losses of the auxiliary supply at any tick: what is believed afterwards, and what closes.

use super::{law, story};
use bms_core::decision::Coils;
use bms_core::fault::Fault;
use bms_core::{Evidence, Step, Witness};
use bms_sim::run::Loop;
use proptest::prelude::*;
use std::fmt::Write;

/// How the firmware says that it began anew.
#[derive(Default)]
struct Restarts(u32);

impl Witness for Restarts {
    fn saw(&mut self, evidence: Evidence) {
        self.0 += u32::from(matches!(evidence, Evidence::Restarted(_)));
    }
}

/// A pack that has rested for hours, so that its charge is known, and works; then its supply goes, at this tick after it began to close,
/// for so long, with this record, and perhaps a clock. Afterwards it is opened and closed anew. Three times.
type Losses = [(u32, u32, usize, bool); 3];

fn losses(losses: Losses) -> String {
    let mut more = "duration_s = 4200\n[rest]\nstep_s = 10\n[start]\ncharge_percent = 97\ncelsius = 20\n\
        [[act]]\nat_s = 4000\nask = \"close\"\n[[duty]]\ndo = \"park\"\nfor_s = 4003\n\
        [[duty]]\ntimes = 5\nphases = [{ do = \"hoist\" }, { do = \"hold\" }, { do = \"fast-lower\" }]\n"
        .to_owned();
    let mut at_ms = 4_000_000;
    for (after, off_ticks, record, clock) in losses {
        let fate = ["kept", "torn", "lost"][record];
        let (begins, off) = (at_ms + after * 10, off_ticks * 10);
        let (opens, closes) = (begins + off + 5_000, begins + off + 7_000);
        let seconds = |ms: u32| f64::from(ms) / 1_000.0;
        writeln!(
            more,
            "[[act]]\nat_s = {}\nask = \"lose-power\"\nfor_s = {}\nrecord = \"{fate}\"\nclock = {clock}\n\
             [[act]]\nat_s = {}\nask = \"open\"\n[[act]]\nat_s = {}\nask = \"clear\"\n[[act]]\nat_s = {}\nask = \"close\"",
            seconds(begins),
            seconds(off),
            seconds(opens),
            seconds(opens + 1_000),
            seconds(closes)
        )
        .expect("a string takes all");
        at_ms = closes;
    }
    more
}

proptest! {
    #![proptest_config(law(16, 12))]

    /// The true charge of no cell ever leaves its interval, whenever the supply goes and whatever is left of the record.
    #[test]
    fn charge_stays_in_its_interval_over_losses_of_power(
        seed in any::<u32>(),
        lost in proptest::array::uniform3((0..2_000_u32, 1..1_500_u32, 0..3_usize, any::<bool>())),
    ) {
        let case = story("trainer", seed.into(), &losses(lost));
        let mut now = Loop::<16, 8>::new(&case).expect("the trainer has 16 cells");
        let mut told = Restarts::default();
        let mut narrowest = f64::INFINITY;
        while !now.over() {
            let before = now.restarts;
            now.advance(&mut told);
            // What the new one begins with, and then some ticks of each second.
            if now.restarts == before && !now.tick.is_multiple_of(20) {
                continue;
            }
            for (place, charge) in (0..).zip(now.world.cells.charge) {
                let empty = (1.0 - charge).max(0.0);
                let truth = empty / now.world.cells.per_coulomb[usize::from(place)] / 3.6;
                let missing = now.core.estimated().missing(place).expect("the cell exists");
                let [low, high] = [missing.low, missing.high].map(|end| f64::from(end.milliamp_hours()));
                prop_assert!(
                    low - 1.0 <= truth && truth <= high + 1.0,
                    "cell {}: {truth} mAh are missing, believed {low} to {high}, at {} s after {} restarts",
                    place + 1,
                    now.seconds(),
                    now.restarts
                );
                if now.restarts > before {
                    narrowest = narrowest.min(high - low);
                }
            }
        }
        prop_assert_eq!((now.restarts, told.0), (3, 3));
        // Of 20 Ah; with the first record whole and a clock the interval is that of the rest before, and what the work has added.
        if lost[0].2 == 0 && lost[0].3 {
            prop_assert!(narrowest < 5_000.0, "{narrowest} mAh wide");
        }
    }
}

/// A start that is cut in any of its ticks ends in open contactors. The new firmware tells by the cross voltages whether one has welded,
/// with all coils off, although closing is asked for all the while.
#[test]
fn a_start_that_is_cut_in_any_tick_ends_open_and_welds_are_found_by_closing_nothing() {
    const WELDS: [(Option<&str>, Fault); 4] = [
        (None, Fault::NegativeWelded),
        (Some("negative"), Fault::NegativeWelded),
        (Some("precharge"), Fault::PrechargeWelded),
        (Some("positive"), Fault::PositiveWelded),
    ];
    let start = |seconds: u32, more: &str| {
        let text = format!(
            "duration_s = {seconds}\n[start]\ncharge_percent = 60\ncelsius = 18\n[[act]]\nat_s = 0.5\nask = \"close\"\n{more}"
        );
        Loop::<16, 8>::new(&story("trainer", 5, &text)).expect("the trainer has 16 cells")
    };
    let mut sound = start(30, "");
    let mut closing = Vec::new();
    while sound.core.step() != Step::Closed {
        let decision = sound.advance(&mut ());
        if !matches!(decision.step, Step::Open | Step::Closed) {
            closing.push(sound.at_ms - 10);
        }
    }
    assert!(closing.len() > 20, "{closing:?}");
    for (tick, at_ms) in closing.into_iter().enumerate() {
        let (weld, fault) = WELDS[tick % 4];
        let at_s = f64::from(u32::try_from(at_ms).expect("a short story")) / 1_000.0;
        let welded = weld.map_or(String::new(), |which| {
            format!("[[defect]]\nkind = \"contactor_welded\"\ncontactor = \"{which}\"\nat_s = {at_s}\n")
        });
        let loss = format!("[[act]]\nat_s = {at_s}\nask = \"lose-power\"\nfor_s = 0.3\n{welded}");
        let mut cut = start(30, &loss);
        while cut.restarts == 0 {
            cut.advance(&mut ());
        }
        let lost_at = cut.seconds();
        while !cut.over() {
            let decision = cut.advance(&mut ());
            assert_eq!(decision.coils, Coils::NONE, "{weld:?}, cut at {at_s} s, at {} s", cut.seconds());
        }
        let faults = cut.core.faults();
        match weld {
            None => {
                assert!(faults.reaction.is_none() && cut.core.proven_open(), "{faults:?}, cut at {at_s} s");
            }
            Some(_) => assert!(
                faults.confirmed.holds(fault) && cut.core.step() == Step::Barred,
                "{weld:?}, cut at {at_s} s, restarted at {lost_at} s: {faults:?}"
            ),
        }
    }
}
