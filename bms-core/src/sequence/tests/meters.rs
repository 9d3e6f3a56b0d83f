//! A meter of the pack or of the link that lies: it accuses no contactor, hides none, and lets none close onto a difference.

use super::bench::Dialogue;
use crate::config::Config;
use crate::fault::Fault;
use crate::frame::Wanted;
use crate::sequence::Step;

fn crane() -> Dialogue {
    Dialogue::with(Config::crane()).at_ms(1_000)
}

/// A pack voltmeter that reads 2 % too much or too little has a fault of its own: it does not accuse a contactor.
#[test]
fn a_scale_error_of_the_pack_accuses_no_contactor() {
    for pack_scale in [980, 1_020] {
        let mut dialogue = crane();
        dialogue.pack_scale = pack_scale;
        let dialogue = dialogue.asks(Wanted::Closed).until(Step::Closed).for_ms(1_000).answers(Step::Closed);
        assert_eq!(dialogue.found, []);
    }
}

/// The pack's meter alone reads low while everything is closed: the cells add up to what the link shows.
#[test]
fn a_pack_meter_that_reads_low_accuses_no_contactor() {
    for pack_scale in [760, 900, 1_100] {
        let mut dialogue = Dialogue::closed();
        dialogue.pack_scale = pack_scale;
        let dialogue = dialogue.for_ms(1_000).answers(Step::Closed);
        assert_eq!(dialogue.found, [], "{pack_scale} ‰");
        // It does not hide a contactor that drops.
        let dropped = dialogue.with_plant(|plant| {
            plant.positive.stuck_open = true;
            plant.load_ohms = Some(100);
        });
        assert_eq!(dropped.until(Step::Easing).found, [Fault::PositiveStuckOpen], "{pack_scale} ‰");
    }
}

/// 5 % of the pack are allowed, by the pack's own meter and by the sum of the cells: the bench holds every closing to the truth. A meter that
/// is so far off that both limits leave nothing between them, as 12 % are, keeps the pack from closing.
#[test]
fn precharge_ends_by_the_cells_as_well_as_by_the_pack_meter() {
    for (pack_scale, closes) in [(880, false), (940, true), (970, true), (1_020, true)] {
        let mut dialogue = crane().asks(Wanted::Closed).until(Step::Precharging);
        dialogue.pack_scale = pack_scale;
        let dialogue = dialogue.for_ms(600);
        assert_eq!(dialogue.sequence.step() == Step::Closed, closes, "{pack_scale} ‰");
        assert_eq!(dialogue.found.is_empty(), closes, "{pack_scale} ‰: {:?}", dialogue.found);
    }
}

/// Everything is closed, and the link's meter dies or hangs. The cross voltages still say where the link is.
#[test]
fn a_link_meter_that_lies_is_named_and_accuses_no_contactor() {
    for reads in [0, 250_000_000, 350_000_000] {
        for load_milliamps in [0, -80_000] {
            let dialogue = Dialogue::closed().with_plant(|plant| {
                (plant.link_reads, plant.load_milliamps) = (Some(reads), load_milliamps);
            });
            let dialogue = dialogue.until(Step::Easing).for_ms(10_000).answers(Step::Barred);
            assert_eq!(dialogue.found, [Fault::LinkReadingImplausible], "{reads} µV, {load_milliamps} mA");
        }
    }
}

/// Hung at the pack's voltage it shows first when the link falls; that the reading does not fall is no weld.
#[test]
fn a_link_meter_that_hangs_is_no_weld() {
    let dialogue = Dialogue::closed().with_plant(|plant| plant.link_reads = Some(plant.pack));
    let dialogue = dialogue.asks(Wanted::Open).until(Step::ProvingDead).for_ms(10_000).answers(Step::Barred);
    assert_eq!(dialogue.found, [Fault::LinkReadingImplausible]);
}

/// It reads 0 V from the beginning, which is true until precharge begins; or the pack's voltage, when positive would close at once.
#[test]
fn a_start_by_a_link_meter_that_lies_ends_and_closes_no_positive() {
    for (share, precharges) in [(0, true), (1, false)] {
        let dialogue = Dialogue::with(Config::crane())
            .with_plant(|plant| plant.link_reads = Some(plant.pack * share))
            .at_ms(1_000)
            .asks(Wanted::Closed)
            .for_ms(10_000);
        assert_eq!(dialogue.found, [Fault::LinkReadingImplausible]);
        assert_eq!(dialogue.steps().contains(&Step::Precharging), precharges);
        assert!(!dialogue.steps().contains(&Step::ClosingPositive));
    }
}

/// Without the cross voltages a load's current tells: 80 A are more than the 6 A that precharge lets pass, and positive is closed. Without a load
/// the graver of the two is taken.
#[test]
fn a_load_denies_an_open_positive() {
    for (load_milliamps, found) in [(-80_000, Fault::LinkReadingImplausible), (0, Fault::PositiveStuckOpen)] {
        let closed = Dialogue::without_points(false, false).at_ms(1_000).asks(Wanted::Closed);
        let lied = closed.until(Step::Closed).for_ms(100).with_plant(|plant| {
            (plant.link_reads, plant.load_milliamps) = (Some(0), load_milliamps);
        });
        assert_eq!(lied.until(Step::Easing).found, [found]);
    }
}
