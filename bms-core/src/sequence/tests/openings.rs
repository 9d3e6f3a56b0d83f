//! Openings: what the fall of the link tells, and what it must not be taken for.

use super::bench::Dialogue;
use crate::fault::{Fault, Reaction};
use crate::frame::{Contact, Wanted};
use crate::sequence::{Because, Step};
use crate::units::Volts;
use crate::witness::{Evidence, Unseparable};

#[test]
fn opening_tells_a_welded_positive_from_a_welded_precharge() {
    for fault in [Fault::PositiveWelded, Fault::PrechargeWelded] {
        let dialogue = Dialogue::closed()
            .with_plant(|plant| {
                plant.positive.welded = fault == Fault::PositiveWelded;
                plant.precharge.welded = fault == Fault::PrechargeWelded;
            })
            .asks(Wanted::Open)
            .until(Step::ProvingDead)
            .because(|because| *because == Because::FaultDemands { fault, reaction: Reaction::OpenNow });
        assert_eq!(dialogue.found, [fault]);
        // At rest both look alike; what the fall has told is kept.
        let dialogue = dialogue.until(Step::Barred).for_ms(10_000);
        assert_eq!(dialogue.found, [fault]);
    }
}

/// The link stays at the pack in both cases while negative holds, and that is said once. A contact that says closed, or is not read, makes a
/// weld of it. Once negative has opened they part, whatever the contact says: behind a weld the link is down to 60 V after
/// 2.5 s · ln(307/60) = 4.1 s and hangs at the positive pole, without a bleed-down it stays live and is never proven dead.
#[test]
fn an_open_bleed_down_is_told_from_a_welded_positive() {
    let (made, broken) = (Some(Contact::Made), Some(Contact::Broken));
    let weld = Because::FaultDemands { fault: Fault::PositiveWelded, reaction: Reaction::OpenNow };
    for (welded, contact, at_once, in_the_end) in [
        (true, made, true, true),
        (true, None, true, true),
        (true, broken, false, true),
        (false, None, true, true),
        (false, broken, false, false),
    ] {
        let mut opened = Dialogue::closed().with_plant(|plant| {
            plant.positive.welded = welded;
            plant.bleed_down_ohms = if welded { plant.bleed_down_ohms } else { 1_000_000_000 };
            (plant.without_feedback, plant.positive_feedback) = (contact.is_none(), contact);
        });
        // No leak holds a link that its bleed-down empties.
        opened.leaks_denied = None;
        let opened = opened.asks(Wanted::Open).until(Step::ProvingDead);
        let alike = Evidence::CannotSeparate(Unseparable::WeldedPositiveFromOpenBleedDown);
        assert_eq!(opened.has_heard(|evidence| *evidence == alike), 1);
        let found = |is: bool| if is { vec![Fault::PositiveWelded] } else { vec![] };
        assert_eq!(opened.found, found(at_once), "{welded} {contact:?}");
        let barred = opened.until(Step::Barred).for_ms(6_000);
        assert_eq!(barred.found, found(in_the_end), "{welded} {contact:?}");
        let left = barred.findings.link_after_opening.map_or(0, |left| left.volts.milli());
        let because = barred.moves().pop().map(|(_, _, because)| because);
        if welded {
            assert!(because == Some(weld) && left < 60_000, "{because:?}, {left} mV");
        } else {
            assert!(
                matches!(because, Some(Because::NotProven { .. })) && left > 300_000,
                "{because:?}, {left} mV"
            );
        }
    }
    // A sound opening has nothing to say of it.
    let sound = Dialogue::closed().asks(Wanted::Open).until(Step::Open);
    assert_eq!(sound.has_heard(|evidence| matches!(evidence, Evidence::CannotSeparate(_))), 0);
}

/// The load takes its last 4 V from a link without its bleed-down: 98.7 %, where a welded precharge would hold it. Its contact says open.
#[test]
fn a_link_without_bleed_down_that_the_load_has_lowered_is_no_welded_precharge() {
    let dialogue = Dialogue::closed()
        .with_plant(|plant| plant.bleed_down_ohms = 1_000_000_000)
        .asks(Wanted::Open)
        .until(Step::Opening)
        .for_ms(30)
        .with_plant(|plant| plant.link = plant.pack - 4_000_000)
        .until(Step::Barred);
    assert_eq!(dialogue.found, []);
}

/// A positive that opens 10 to 85 ms late lets the link fall as far as a welded precharge holds it by the time of the verdict, but on from
/// there: it is no weld. One that takes longer has not opened by then, and is called so.
#[test]
fn a_slow_positive_is_no_welded_precharge() {
    for late_ms in (0..=300).step_by(5) {
        let dialogue = Dialogue::closed()
            .with_plant(|plant| plant.positive.late_ms = late_ms)
            .asks(Wanted::Open)
            .until(Step::ProvingDead)
            .for_ms(10_000);
        match late_ms {
            // Not longer than the release that is configured, and what the fall of the link takes to show.
            0..=85 => assert_eq!(dialogue.found, [], "{late_ms} ms late"),
            // It has not opened when it is judged.
            200.. => assert_eq!(dialogue.found, [Fault::PositiveWelded], "{late_ms} ms late"),
            _ => assert!(
                dialogue.found.is_empty() || dialogue.found == [Fault::PositiveWelded],
                "{late_ms} ms late: {:?}",
                dialogue.found
            ),
        }
    }
}

/// A braking load charges the link for a moment after positive has opened, also after the time that a release may take: 8 A for 1 ms
/// lift 1 mF by 8 V. The height it falls from is not the pack's, so half a tick's worth of fall below the pack is no weld.
#[test]
fn a_link_that_braking_lifts_while_positive_opens_is_no_weld() {
    for after_ms in [10, 20, 30, 50, 80] {
        for lifted_volts in [0, 3, 7, 12, 40] {
            let dialogue = Dialogue::closed()
                .asks(Wanted::Open)
                .until(Step::Opening)
                .for_ms(after_ms)
                .with_plant(|plant| plant.link = plant.pack + lifted_volts * 1_000_000);
            assert_eq!(dialogue.until(Step::Open).found, [], "{lifted_volts} V after {after_ms} ms");
        }
    }
}

/// The readings go missing while closed and come back while opening: the height that the link fell from is not known.
#[test]
fn a_link_first_seen_while_opening_is_judged_by_its_fall_from_there() {
    for seen_after_ms in (20..400).step_by(10) {
        let mut dialogue = Dialogue::closed();
        dialogue.voltages_are_stale = true;
        let mut dialogue = dialogue.asks(Wanted::Open).until(Step::Opening).for_ms(seen_after_ms);
        dialogue.voltages_are_stale = false;
        assert_eq!(dialogue.until(Step::Open).found, [], "seen after {seen_after_ms} ms");
    }
}

/// Braking lifts the link while nobody reads it: its fall is counted from the first reading afterwards, however high it was before.
#[test]
fn a_lift_that_nobody_saw_is_no_weld() {
    for lifted_volts in [10, 25, 40] {
        for gap_ms in (50..400).step_by(10) {
            let dialogue = Dialogue::closed()
                .asks(Wanted::Open)
                .until(Step::Opening)
                .for_ms(10)
                .with_plant(|plant| plant.link = plant.pack + lifted_volts * 1_000_000)
                .blind_for_ms(gap_ms)
                .until(Step::Open);
            assert_eq!(dialogue.found, [], "{lifted_volts} V, unseen for {gap_ms} ms");
        }
    }
}

#[test]
fn a_link_that_stays_live_is_reported_and_bars() {
    let dialogue = Dialogue::closed()
        .with_plant(|plant| plant.bleed_down_ohms = 40_000)
        .asks(Wanted::Open)
        .until(Step::Barred);
    let left = dialogue.findings.link_after_opening.map_or(Volts::ZERO, |left| left.volts);
    assert!(left > Volts::from_milli(60_000));
}
