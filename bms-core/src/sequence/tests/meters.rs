//! A meter of the pack voltage that lies: it accuses no contactor, hides none, and lets none close onto a difference.

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
