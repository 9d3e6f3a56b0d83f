//! Starts that fail for what is not the resistor or the capacitor: a precharge contactor that does not close, a motor that turns, contacts
//! that are worn.

use super::bench::Dialogue;
use crate::config::Config;
use crate::fault::{Fault, Reaction};
use crate::frame::{Contactor, Wanted};
use crate::sequence::{Because, Step};
use crate::units::Ratio;
use crate::witness::{Act, Evidence, Refusal, Unseparable};

fn crane() -> Dialogue {
    Dialogue::with(Config::crane()).at_ms(1_000)
}

/// With its feedback contact the contactor is named at the first start, and once it is cleared and closes, the pack does; without it nothing
/// tells it from an open resistor, and that is said.
#[test]
fn an_open_precharge_contactor_is_told_from_an_open_resistor_by_its_feedback_alone() {
    let such = Unseparable::OpenPrechargeFromOpenResistor;
    let named = crane()
        .with_plant(|plant| plant.precharge.stuck_open = true)
        .asks(Wanted::Closed)
        .until(Step::ProvingDead)
        .because(|because| matches!(because, Because::FaultDemands { fault: Fault::PrechargeStuckOpen, .. }))
        .for_ms(30_000);
    assert_eq!(named.found, [Fault::PrechargeStuckOpen]);
    assert_eq!(named.steps().iter().filter(|step| **step == Step::Precharging).count(), 1);
    assert_eq!(named.has_heard(|evidence| *evidence == Evidence::CannotSeparate(such)), 0);
    let closed = named
        .with_plant(|plant| plant.precharge.stuck_open = false)
        .clears()
        .asks(Wanted::Open)
        .for_ms(10)
        .asks(Wanted::Closed)
        .until(Step::Closed)
        .for_ms(10);
    assert_eq!(closed.findings.precharge_stuck_open.map(|found| found.broken), Some(false));

    for contactor in [true, false] {
        let blind = crane().with_plant(|plant| {
            plant.without_feedback = true;
            plant.precharge.stuck_open = contactor;
            plant.precharge_ohms = if contactor { 50 } else { 1_000_000_000 };
        });
        let blind = blind.asks(Wanted::Closed).until(Step::ProvingDead);
        assert_eq!(blind.found, [Fault::PrechargeFlat]);
        assert_eq!(blind.has_heard(|evidence| *evidence == Evidence::CannotSeparate(such)), 1);
    }
}

/// 5 % of 307.2 V are 15.36 V. Closed onto less, the link falls to the pack's voltage, which accuses nobody. The motor begins to turn with the coil, when the points of the curve at τ/2 and τ are near, and when they are
/// past; or before anything closes, so that the link never rises.
#[test]
fn a_link_that_a_motor_lifts_above_the_pack_is_not_closed_onto() {
    let turning = |millivolts: i64| Some((307_200 + millivolts) * 1_000);
    let started = |after_ms: u32, millivolts: i64| {
        crane()
            .asks(Wanted::Closed)
            .until(Step::Precharging)
            .for_ms(after_ms)
            .with_plant(|plant| plant.motor = turning(millivolts))
            .for_ms(300)
    };
    for dialogue in [started(0, 16_000), started(40, 16_000), started(100, 16_000), started(100, 90_000)] {
        assert_eq!(dialogue.found, [Fault::ClosingDifferenceLarge]);
        assert!(!dialogue.steps().contains(&Step::ClosingPositive));
        let failed = Because::PrechargeFailed { fault: Fault::ClosingDifferenceLarge };
        assert!(dialogue.moves().iter().any(|(_, _, because)| *because == failed));
    }
    let near = started(100, 14_000);
    assert_eq!((near.found, near.sequence.step()), (vec![], Step::Closed));

    let before = Dialogue::with(Config::crane())
        .with_plant(|plant| plant.motor = turning(60_000))
        .at_ms(1_000)
        .asks(Wanted::Closed)
        .for_ms(1_500);
    assert_eq!(before.found, [Fault::ClosingDifferenceLarge]);
}

/// A motor has lifted the link above the pack and stands again when negative closes: through the precharge resistor the link falls with 49 ms to
/// the pack's own level, long before it is late for a rise. Precharge has nothing to do with that; after the pause of 5 s the link has
/// bled down and the start succeeds.
#[test]
fn a_start_onto_a_link_above_the_pack_is_no_flat_precharge() {
    for millivolts in [16_000, 18_000, 25_000, 60_000, 100_000] {
        let dialogue = Dialogue::with(Config::crane())
            .with_plant(|plant| plant.motor = Some((307_200 + millivolts) * 1_000))
            .at_ms(1_000)
            .asks(Wanted::Closed)
            .until(Step::ClosingNegative)
            .with_plant(|plant| plant.motor = None)
            .for_ms(600);
        // One that falls past the pack before negative shows begins a start from below it, and nothing is wrong.
        let found: &[Fault] = if millivolts > 20_000 { &[Fault::ClosingDifferenceLarge] } else { &[] };
        assert_eq!(dialogue.found, found, "{millivolts} mV");
        assert_eq!(dialogue.until(Step::Closed).found, found, "{millivolts} mV");
    }
}

/// Used parts of the lives of negative, precharge and positive, in millionths.
fn used(dialogue: &Dialogue) -> [i32; 3] {
    let wear = dialogue.sequence.wear();
    [Contactor::Negative, Contactor::Precharge, Contactor::Positive]
        .map(|contactor| wear.of(contactor).parts_per_million())
}

/// A closing onto less than 10 % is a 50 000th: 20 ppm. Opened with 150 A after the grace, positive alone breaks them: (150/2 000)²/10 are
/// 562.5 ppm; with OpenNow negative breaks them as well. A store of 2⁻¹⁶ is 15 ppm fine.
#[test]
fn a_day_wears_positive_by_a_closing_and_load_wears_what_breaks_it() {
    let closed = Dialogue::closed();
    assert_eq!(used(&closed)[..2], [0, 0]);
    assert!((4..=20).contains(&used(&closed)[2]), "{:?}", used(&closed));
    let loaded = || Dialogue::closed().with_plant(|plant| plant.load_milliamps = -150_000);
    let near = |found: i32, expected: i32| (found - expected).abs() <= 20;

    let calm = Dialogue::closed().asks(Wanted::Open).until(Step::Open);
    assert_eq!(used(&calm), used(&closed));
    let grace = loaded().asks(Wanted::Open).until(Step::ProvingDead);
    assert!(used(&grace)[..2] == [0, 0] && near(used(&grace)[2], 582), "{:?}", used(&grace));
    let now = loaded().demands(Reaction::OpenNow, Fault::CellOverVoltageFar).until(Step::ProvingDead);
    assert!(near(used(&now)[0], 562) && used(&now)[1] == 0 && near(used(&now)[2], 582), "{:?}", used(&now));
}

#[test]
fn a_contactor_that_is_worn_out_is_not_closed_until_it_is_replaced() {
    let mut dialogue = crane();
    dialogue.confirmed = Some(Fault::ContactorWornOut);
    let dialogue = dialogue.asks(Wanted::Closed).for_ms(500).answers(Step::Open);
    let refusal = Refusal::FaultHolds { act: Act::Close, fault: Fault::ContactorWornOut };
    assert_eq!(dialogue.has_heard(|evidence| *evidence == Evidence::Refused(refusal)), 1);

    // Entered with the contactors closed it is refused.
    let mut closed = Dialogue::closed();
    closed.sequence.replace(Contactor::Positive, &mut ());
    assert!(closed.sequence.wear().of(Contactor::Positive) > Ratio::ZERO);
    let mut open = closed.asks(Wanted::Open).until(Step::Open);
    open.sequence.replace(Contactor::Negative, &mut ());
    assert!(open.sequence.wear().of(Contactor::Positive) > Ratio::ZERO);
    open.sequence.replace(Contactor::Positive, &mut ());
    assert_eq!(open.sequence.wear().of(Contactor::Positive), Ratio::ZERO);
}

/// A fault that opens at once bars by itself; whoever asks to close then is told so, once a request.
#[test]
fn what_bars_is_named_to_whoever_asks_to_close() {
    let named = Refusal::FaultHolds { act: Act::Close, fault: Fault::InterlockOpen };
    let heard = |dialogue: &Dialogue| dialogue.has_heard(|evidence| *evidence == Evidence::Refused(named));
    let barred = crane().demands(Reaction::OpenNow, Fault::InterlockOpen).for_ms(100).answers(Step::Barred);
    assert_eq!(heard(&barred), 0);
    let asked = barred.asks(Wanted::Closed).for_ms(1_000).answers(Step::Barred);
    assert_eq!(heard(&asked), 1);
    assert_eq!(heard(&asked.asks(Wanted::Open).for_ms(50).asks(Wanted::Closed).for_ms(50)), 2);
}
