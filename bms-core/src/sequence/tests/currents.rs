//! Dialogues about currents: when they have fallen, and when the fuse must go first.

use super::bench::Dialogue;
use crate::decision::Coils;
use crate::fault::{Fault, Reaction};
use crate::frame::Wanted;
use crate::sequence::{Because, Step};
use crate::units::{Amps, Millis};
use crate::witness::Evidence;

#[test]
fn easing_waits_for_the_current_or_for_the_end_of_the_grace() {
    let dialogue = Dialogue::closed()
        .with_plant(|plant| plant.load_milliamps = -80_000)
        .asks(Wanted::Open)
        .for_ms(1_000)
        .answers(Step::Easing)
        .with_plant(|plant| plant.load_milliamps = -9_000)
        .for_ms(10)
        .answers(Step::Opening);
    assert_eq!(dialogue.has_heard(|evidence| matches!(evidence, Evidence::OpenedUnderLoad { .. })), 0);

    let dialogue = Dialogue::closed()
        .with_plant(|plant| plant.load_milliamps = -80_000)
        .demands(Reaction::OpenSoon, Fault::OverTemperatureFar)
        .for_ms(1_990)
        .answers(Step::Easing)
        .for_ms(20)
        .answers(Step::Opening)
        .because(|because| matches!(because, Because::GraceOver { .. }));
    let amps = Amps::from_milli(-80_000);
    assert!(dialogue.heard.contains(&Evidence::OpenedUnderLoad { amps, count: 1 }));

    let mut stale = Dialogue::closed().asks(Wanted::Open);
    stale.current_is_stale = true;
    let grace = Millis(2_000);
    stale
        .for_ms(2_020)
        .answers(Step::Opening)
        .because(|because| *because == Because::GraceOver { amps: None, grace });
}

/// The main channel is dead while the hoist draws 150 A: what the second one shows has not fallen.
#[test]
fn a_dead_main_channel_hides_no_current_from_easing() {
    let mut dialogue = Dialogue::closed();
    dialogue.check_milliamps = Some(-150_000); // the plant's 0 A are what the main channel shows
    let dialogue = dialogue
        .demands(Reaction::OpenSoon, Fault::CurrentSensorsDisagree)
        .for_ms(1_990)
        .answers(Step::Easing)
        .for_ms(20)
        .answers(Step::Opening)
        .because(|because| matches!(because, Because::GraceOver { amps: Some(amps), .. } if amps.milli() == -150_000));
    let amps = Amps::from_milli(-150_000);
    assert!(dialogue.heard.contains(&Evidence::OpenedUnderLoad { amps, count: 1 }));

    let mut dialogue = Dialogue::closed().demands(Reaction::OpenSoon, Fault::CurrentSensorsDisagree);
    dialogue.check_milliamps = Some(-150_000);
    let mut dialogue = dialogue.for_ms(500).answers(Step::Easing);
    dialogue.check_milliamps = Some(-9_000);
    dialogue.for_ms(10).answers(Step::Opening);
}

#[test]
fn a_supply_that_is_low_or_pulled_shortens_the_grace() {
    for fault in [Fault::SupplyLow, Fault::AuxiliaryDisconnectPulled] {
        Dialogue::closed()
            .with_plant(|plant| plant.load_milliamps = -80_000)
            .demands(Reaction::OpenSoon, fault)
            .for_ms(190)
            .answers(Step::Easing)
            .for_ms(30)
            .answers(Step::Opening);
    }
}

#[test]
fn open_soon_opens_even_when_its_fault_has_gone_meanwhile() {
    let mut dialogue = Dialogue::closed()
        .with_plant(|plant| plant.load_milliamps = -80_000)
        .demands(Reaction::OpenSoon, Fault::OverTemperatureFar)
        .for_ms(500);
    dialogue.reaction = None;
    dialogue.until(Step::Opening).with_plant(|plant| plant.load_milliamps = 0).until(Step::Open);
}

#[test]
fn above_the_breaking_limit_the_fuse_goes_first_but_not_for_ever() {
    let short = |dialogue: Dialogue| {
        dialogue
            .with_plant(|plant| plant.load_milliamps = -3_500_000)
            .demands(Reaction::OpenNow, Fault::OverCurrentDischarge)
            .for_ms(200)
            .answers(Step::Closed)
    };
    let mut cleared = short(Dialogue::closed()).with_plant(|plant| plant.load_milliamps = 0);
    cleared.tick();
    assert_eq!(cleared.coils, Coils::NONE);
    cleared
        .because(|because| *because == Because::FuseCleared { amps: Some(Amps::ZERO), after: Millis(200) });

    let dialogue = short(Dialogue::closed()).for_ms(790).answers(Step::Closed).for_ms(20);
    let dialogue = dialogue.answers(Step::ProvingDead);
    assert_eq!(dialogue.has_heard(|evidence| matches!(evidence, Evidence::OpenedUnderLoad { .. })), 1);
}

/// The times from the demand to open coils, by what each channel says. A dead short is 307 V / 87 mΩ = 3.5 kA, and the fuse must clear
/// what is beyond the breaking limit of 2 kA; in the cold the same short is 0.9 kA, which the contactors must break at once. The main
/// channel ends at 600 A, the second one at 2.5 kA. A second where nothing says otherwise, 200 ms where the two contradict each other.
#[test]
fn the_second_current_channel_is_asked_before_contactors_break() {
    const SHORT: i32 = -3_500_000;
    const COLD: i32 = -900_000;
    const WORK: i32 = -80_000;
    for (main, check, waits_ms) in [
        (Some(SHORT), Some(SHORT), 1_000),
        (Some(SHORT), None, 1_000),
        (None, Some(SHORT), 1_000),
        (Some(SHORT), Some(WORK), 200),
        (Some(WORK), Some(SHORT), 200),
        (Some(COLD), Some(COLD), 0),
        (Some(-650_000), Some(-650_000), 0),
        (Some(-1_990_000), Some(-1_990_000), 0),
        (Some(-2_010_000), Some(-2_010_000), 1_000),
        (Some(COLD), None, 1_000), // at least 600 A, maybe 3.5 kA
        (None, Some(COLD), 0),
        (Some(COLD), Some(-590_000), 0), // within the error of two sensors
        (Some(WORK), Some(WORK), 0),
        (None, Some(WORK), 0),
        (Some(WORK), None, 0),
        (None, None, 0),
    ] {
        let mut dialogue = Dialogue::closed().with_plant(|plant| plant.load_milliamps = main.unwrap_or(0));
        (dialogue.current_is_stale, dialogue.check_is_stale) = (main.is_none(), check.is_none());
        dialogue.check_milliamps = check;
        let mut dialogue = dialogue.demands(Reaction::OpenNow, Fault::CellReversed);
        let from = dialogue.now_ms();
        while dialogue.coils != Coils::NONE {
            dialogue.tick();
        }
        assert_eq!(dialogue.now_ms() - from, waits_ms + 10, "{main:?} and {check:?} mA");
    }
}
