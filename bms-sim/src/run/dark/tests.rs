//! What the pack does without supply, and what is left of the records.

use super::*;
use bms_core::Evidence;
use bms_core::fault::Fault;
use bms_core::kept::{Restart, Unusable, label};

/// A trainer at work, closed, that loses its supply so at 5 s, or has whatever defect.
fn at_work(more: &str) -> Loop<16, 8> {
    let text = format!(
        "schema = 1\ntitle = \"\"\nstory = \"\"\npack = \"trainer\"\nseed = 3\nduration_s = 40\n[start]\ncharge_percent = 60\n\
         celsius = 18\n[[act]]\nat_s = 0.5\nask = \"close\"\n[[duty]]\ndo = \"travel\"\nfor_s = 60\n{more}"
    );
    Loop::new(&Arc::new(Case::parse(&text, "dark").unwrap_or_else(|error| panic!("{error}")))).unwrap()
}

/// Plays until it has begun anew, and gives the seconds at both sides of the gap and what it says in its first tick.
fn restarted(played: &mut Loop<16, 8>) -> (f64, f64, Restart) {
    #[derive(Default)]
    struct Ear(Vec<Restart>);
    impl bms_core::Witness for Ear {
        fn saw(&mut self, evidence: Evidence) {
            if let Evidence::Restarted(restart) = evidence {
                self.0.push(restart);
            }
        }
    }
    let mut before = 0.0;
    while played.restarts == 0 {
        before = played.seconds();
        played.advance(&mut ());
    }
    let (after, mut ear) = (played.seconds(), Ear::default());
    played.advance(&mut ear);
    (before, after, ear.0[0])
}

#[test]
fn a_loss_drops_everything_and_time_goes_on() {
    let mut played = at_work("[[act]]\nat_s = 5\nask = \"lose-power\"\nfor_s = 2\n");
    let (before, after, began) = restarted(&mut played);
    assert_eq!((before, after), (5.0, 7.01));
    let off = Some(Millis(2_000));
    assert!(
        matches!(began, Restart::Restored { holds: Millis(10), off: known, .. } if known == off),
        "{began:?}"
    );
    assert!(played.world.bus.contactors.iter().all(|contactor| !contactor.energised()));
    assert_eq!(played.core.step(), Step::Open);
    // The link has fallen by its own bleed-down meanwhile.
    assert!(played.world.bus.link_volts < 45.0, "{} V", played.world.bus.link_volts);
}

/// The last record is cut in its middle: the one before it is whole, and says itself for how long it holds.
#[test]
fn what_is_left_is_what_the_case_says() {
    let began = |record: &str| {
        let loss = format!("[[act]]\nat_s = 5\nask = \"lose-power\"\nrecord = \"{record}\"\nclock = false\n");
        restarted(&mut at_work(&loss)).2
    };
    let (kept, torn) = (began("kept"), began("torn"));
    let (Restart::Restored { number: last, .. }, Restart::Restored { number: before, holds, off }) =
        (kept, torn)
    else {
        panic!("{kept:?}, {torn:?}")
    };
    assert_eq!((before + 1, off), (last, None));
    assert!(holds >= EVERY, "{holds:?}");
    assert_eq!(began("lost"), Restart::Refused(Unusable::Blank));
}

/// The board writes as the schedule says, in turn, so that two whole records stand there, one number apart.
#[test]
fn records_are_written_in_turn() {
    let mut played = at_work("");
    while played.seconds() < 35.0 {
        played.advance(&mut ());
    }
    let [one, other] = &played.memory.slots;
    let numbers = [one, other].map(|slot| label(slot).map(|label| label.number));
    let (Ok(one), Ok(other)) = (numbers[0], numbers[1]) else { panic!("{numbers:?}") };
    assert_eq!(one.abs_diff(other), 1);
    assert_eq!(one.max(other), played.memory.number);
}

/// The disconnect of the auxiliary supply is out for five seconds: the controller dies with its hold-up, and begins anew when it is back.
/// What was confirmed as the supply fell still stands.
#[test]
fn a_supply_that_comes_back_begins_the_firmware_anew() {
    let out = "[[defect]]\nkind = \"auxiliary_disconnect_out\"\nat_s = 10\nuntil_s = 15\n";
    let mut played = at_work(out);
    let (before, after, began) = restarted(&mut played);
    assert!((10.0..14.0).contains(&before) && (15.0..15.1).contains(&after), "{before} to {after} s");
    assert!(matches!(began, Restart::Restored { .. }), "{began:?}");
    while !played.over() {
        played.advance(&mut ());
    }
    assert!((played.seconds() - 40.0).abs() < 0.02 && played.restarts == 1);
    let faults = played.core.faults();
    assert!(faults.latched.holds(Fault::AuxiliaryDisconnectPulled), "{faults:?}");
    assert_eq!(played.core.step(), Step::Open);
}

/// One that does not come back ends the story, as it stood.
#[test]
fn a_supply_that_stays_away_ends_the_story() {
    let mut played = at_work("[[defect]]\nkind = \"auxiliary_disconnect_out\"\nat_s = 10\n");
    while !played.over() {
        played.advance(&mut ());
    }
    assert!(played.seconds() < 15.0 && played.restarts == 0, "{} s", played.seconds());
}
