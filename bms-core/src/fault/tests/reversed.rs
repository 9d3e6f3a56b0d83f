//! A cell driven backwards, and a channel that reads as if it were.

use super::*;

/// 96 cells of 3.3 V are 316.8 V. A dead channel leaves the pack where it is; a cell driven backwards takes its voltage from it.
#[test]
fn a_cell_is_reversed_only_while_the_pack_voltage_bears_it_out() {
    let reversed_with = |pack: Option<i32>| {
        let mut crane = crane();
        crane.for_ms(200).cell(3, -100);
        match pack {
            Some(milli) => crane.frame.voltages.value.pack = Volts::from_milli(milli),
            None => crane.frame.voltages.age = Millis::MAX,
        }
        crane.for_ms(400);
        // Whatever it is, it does not go unanswered.
        assert!(crane.confirmed(Fault::CellUnderVoltageFar));
        let reaction = crane.core.faults().reaction.map(|(reaction, _)| reaction);
        (crane.confirmed(Fault::CellReversed), reaction)
    };
    assert_eq!(reversed_with(Some(316_800)), (false, Some(Reaction::OpenSoon)));
    // 3.4 V less, and half a per cent of the meter's error either way.
    for pack in [311_900, 313_400, 314_900] {
        assert_eq!(reversed_with(Some(pack)), (true, Some(Reaction::OpenNow)), "{pack} mV");
    }
    // No second witness, or the string is open: the reading stands.
    for pack in [None, Some(0)] {
        assert_eq!(reversed_with(pack), (true, Some(Reaction::OpenNow)), "{pack:?}");
    }
}

/// The crane's way from its cells to the meter has up to 18.4 mΩ: at 100 A of charge a true pack of 313.4 V may read 1.84 V more, and 1.5 V
/// by the meter's error. Under 150 A of discharge it reads up to 2.8 V less whether a channel died or not; what tells is that the pack
/// did not move when the cell did.
#[test]
fn what_drops_on_the_way_to_the_meter_neither_denies_a_reversed_cell_nor_hides_a_dead_channel() {
    for (milliamps, before, after, reversed) in [
        (100_000, 318_500, 316_700, true),
        (-150_000, 314_000, 314_000, false),
        (-150_000, 314_000, 310_600, true),
    ] {
        let mut crane = crane();
        crane.frame.voltages.value.pack = Volts::from_milli(before);
        crane.amps(milliamps).for_ms(200);
        crane.frame.voltages.value.pack = Volts::from_milli(after);
        crane.amps(milliamps).cell(3, -100).for_ms(400);
        assert!(crane.confirmed(Fault::CellUnderVoltageFar));
        assert_eq!(crane.confirmed(Fault::CellReversed), reversed, "{milliamps} mA, {before} to {after} mV");
    }
}

/// 150 A that begin in the tick in which the channel dies, or rise over four from then on: by their end the pack is 2.8 V lower, all of which
/// 18.4 mΩ explain and 2.8 V of a cell that is driven backwards would as well. But no cell goes from 3.3 V to -0.1 V in 10 ms. One that takes
/// four readings to get there does not lie.
#[test]
fn a_channel_that_dies_as_the_load_begins_is_no_reversed_cell() {
    let reads = |frames: [(i32, i32, i32); 4]| {
        let mut crane = crane();
        crane.for_ms(200);
        for (milliamps, pack, cell) in frames {
            crane.frame.voltages.value.pack = Volts::from_milli(pack);
            crane.amps(milliamps).cell(3, cell).for_ms(10);
        }
        crane.for_ms(400);
        assert!(crane.confirmed(Fault::CellUnderVoltageFar));
        crane.confirmed(Fault::CellReversed)
    };
    let at_once = [(-150_000, 314_000, -100); 4];
    let rising = [
        (-20_000, 316_430, -100),
        (-90_000, 315_140, -100),
        (-130_000, 314_400, -100),
        (-150_000, 314_000, -100),
    ];
    let backwards = [
        (-150_000, 316_000, 2_500),
        (-150_000, 315_200, 1_700),
        (-150_000, 314_600, 1_100),
        (-150_000, 313_400, -100),
    ];
    assert_eq!([at_once, rising, backwards].map(reads), [false, false, true]);
}
