//! Contactors that have done what their sheet allows, and twice that.

use super::*;
use crate::frame::{Contactor, Replaced};
use crate::sequence::{Step, Wear};
use crate::witness::Refusal;

/// A whole life in steps of the store.
const LIFE: u32 = 1 << 28;

/// A pack whose positive contactor has used so much, asked to close.
fn asked_with(positive: u32) -> Paper<16, 8> {
    let config = Config::trainer().fit().expect("the defaults are valid");
    let mut paper = Paper::<16, 8>::new(&config);
    paper.core = Controller::new(config).with_wear(Wear::from_bits([LIFE / 2, 0, positive]));
    paper.for_ms(3_000).frame.asked.contactors = Wanted::Closed;
    paper.for_ms(20);
    paper
}

#[test]
fn one_life_is_told_and_two_bar_closing() {
    let found = |positive| {
        let paper = asked_with(positive);
        let [worn, out] = [Fault::ContactorWorn, Fault::ContactorWornOut].map(|fault| paper.confirmed(fault));
        (worn, out, paper.core.step())
    };
    // 15 ppm, the steps in which it is judged.
    assert_eq!(found(LIFE - 4_096), (false, false, Step::ClosingNegative));
    assert_eq!(found(LIFE), (true, false, Step::ClosingNegative));
    assert_eq!(found(2 * LIFE - 4_096), (true, false, Step::ClosingNegative));
    assert_eq!(found(2 * LIFE), (true, true, Step::Open));
    assert_eq!(found(u32::MAX), (true, true, Step::Open));
    let worn = asked_with(LIFE);
    assert_eq!(worn.remembers(Fault::ContactorWorn), Some(Place::Contactor(Contactor::Positive)));
    assert_eq!(worn.core.faults().reaction, Some((Reaction::Report, Fault::ContactorWorn)));
}

/// Only the workshop clears it, once it has entered the new contactor, and not one that was not worn.
#[test]
fn a_worn_out_contactor_is_cleared_once_it_is_replaced() {
    let mut paper = asked_with(2 * LIFE);
    paper.frame.asked.contactors = Wanted::Open;
    let replace = |paper: &mut Paper<16, 8>, contactor| {
        paper.frame.asked.replaced = Some(Replaced::Contactor(contactor));
        paper.after(10).frame.asked.replaced = None;
        paper.for_ms(1_000).clear(Clearance::Panel).clear(Clearance::Service);
        paper.confirmed(Fault::ContactorWornOut)
    };
    assert!(replace(&mut paper, Contactor::Negative));
    assert!(!replace(&mut paper, Contactor::Positive));
    let not_allowed = |evidence: &Evidence| {
        matches!(evidence, Evidence::Refused(Refusal::NotAllowed { fault: Fault::ContactorWornOut, .. }))
    };
    assert!(paper.heard.0.iter().any(not_allowed));
    assert!(paper.core.faults().latched.is_empty() && paper.core.wear() == Wear::NONE);
    paper.frame.asked.contactors = Wanted::Closed;
    paper.for_ms(20);
    assert_eq!(paper.core.step(), Step::ClosingNegative);
}
