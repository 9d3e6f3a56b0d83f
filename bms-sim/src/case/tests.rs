//! What is read from a text is what stands in it.

use super::*;
use crate::defect::{Kind, Spells};
use bms_core::frame::{Clearance, Wanted};
use bms_core::units::{Millis, Volts};
use proptest::prelude::*;

const LEAST: &str = "schema = 1\ntitle = 't'\nstory = 's'\npack = 'trainer'\nseed = 1\nduration_s = 60\n[start]\ncharge_percent = 60\ncelsius = 18\n";

fn with(more: &str) -> Case {
    Case::parse(&format!("{LEAST}{more}"), "t.toml")
        .unwrap_or_else(|error| panic!("{}", error.excerpt(false)))
}

#[test]
fn the_least_case_is_parked_at_the_temperature_of_its_start() {
    let case = with("");
    assert_eq!((case.tick_ms, case.rest_ms, case.expect.as_ref()), (10, None, None));
    let duty = case.demand_at(30.0);
    assert_eq!((duty.work, duty.demand.amps, duty.demand.outside_celsius), (Work::Park, 0.0, 18.0));
    assert_eq!(case.asked_at(0, 10), Asked::NOTHING);
    assert_eq!(case.config(), &Config::trainer());
    assert!((case.next_change_after(0.0) - 60.0).abs() < 1e-9);
}

/// 1.5C of 20 Ah are 30 A out of the pack; a repeated round begins where the one before ended: 1 + 2 · (8 + 2) = 21 s.
#[test]
fn duty_is_unrolled_and_scaled_to_the_pack() {
    let case = with(
        "[[duty]]\ndo = 'park'\nfor_s = 1\n[[duty]]\ntimes = 2\nphases = [{ do = 'hoist' }, { do = 'lower', for_s = 2, rate_c = 0.1 }]\n",
    );
    assert_eq!(case.duty.len(), 5);
    assert_eq!(case.demand_at(0.99).work, Work::Park);
    assert!((case.demand_at(1.0).demand.amps + 30.0).abs() < 1e-9);
    assert!((case.demand_at(9.5).demand.amps - 2.0).abs() < 1e-9);
    assert_eq!(case.demand_at(11.0).work, Work::Hoist);
    assert_eq!(case.demand_at(21.0).work, Work::Park);
    assert!((case.next_change_after(11.0) - 19.0).abs() < 1e-9);
    assert!((case.next_change_after(20.0) - 21.0).abs() < 1e-9);
    assert!((case.next_change_after(21.0) - 60.0).abs() < 1e-9);
}

#[test]
fn acts_are_put_in_order_of_time() {
    let case = with(
        "[[act]]\nat_s = 5\nask = 'open'\n[[act]]\nat_s = 1\nask = 'close'\n[[act]]\nat_s = 2\nask = 'clear'\n",
    );
    assert_eq!(case.asked_at(1_000, 10).contactors, Wanted::Closed);
    assert_eq!(case.asked_at(2_000, 10).clear, Some(Clearance::Panel));
    assert_eq!(case.asked_at(2_010, 10).clear, None);
    assert_eq!(case.asked_at(5_000, 10).contactors, Wanted::Open);
}

#[test]
fn places_are_numbered_from_1_and_a_severity_left_out_is_the_usual_one() {
    let case = with(
        "[[defect]]\nkind = 'contactor_welded'\ncontactor = 'positive'\n[[defect]]\nkind = 'added_resistance'\ncell = 16\nat_s = 3\nuntil_s = 9\nramp_s = 2\nintermittent_period_s = 4\nintermittent_duty = 0.25\n",
    );
    assert_eq!(case.defects[0], Defect::usual(Kind::ContactorWelded, 2, 0.0));
    let second = Defect {
        end_seconds: Some(9.0),
        grows_seconds: 2.0,
        spells: Some(Spells { period_seconds: 4.0, duty: 0.25 }),
        ..Defect::usual(Kind::AddedResistance, 15, 3.0)
    };
    assert_eq!(case.defects[1], second);
    assert!(
        (case.next_change_after(3.0) - 4.0).abs() < 1e-9 && (case.next_change_after(4.0) - 5.0).abs() < 1e-9
    );
}

/// The limits that `list faults` prints lie within what a case accepts, in the unit printed; a thousand times them lies outside.
#[test]
fn every_printed_limit_can_be_typed_and_none_in_thousandths() {
    for pack in Pack::ALL {
        let accepted = |fault: Fault, trip: f64| {
            let least = LEAST.replace("trainer", pack.name());
            let text = format!("{least}[limits.{}]\ntrip = {trip}\n", fault.key());
            Case::parse(&text, "t.toml").map(drop).map_err(|error| error.to_string())
        };
        for fault in Fault::ALL {
            let Some(trip) = pack.config().faults.shown(fault).trip else { continue };
            let printed = crate::explain::words::quantity(trip).replace('−', "-");
            let number = printed.split(' ').next().and_then(|number| number.parse().ok());
            let number: f64 = number.unwrap_or_else(|| panic!("{printed}"));
            assert_eq!(accepted(fault, number), Ok(()), "{}", fault.key());
            if number != 0.0 {
                assert!(accepted(fault, number * 1_000.0).is_err(), "{}", fault.key());
            }
        }
    }
}

#[test]
fn a_changed_limit_takes_its_release_limit_along() {
    let case = with(
        "[limits.cell_over_voltage]\ntrip = 3.7\ndwell_ms = 1000\n[limits.charge_count_disagrees]\ntrip = 0.5\n",
    );
    let (changed, usual) = (case.config().faults, Config::trainer().faults);
    assert_eq!(
        (changed.cell_over_voltage.trip, changed.cell_over_voltage.dwell),
        (Volts::from_milli(3_700), Millis(1_000))
    );
    let gap = usual.cell_over_voltage.trip - usual.cell_over_voltage.release;
    assert_eq!(changed.cell_over_voltage.trip - changed.cell_over_voltage.release, gap);
    assert_eq!(changed.charge_count_disagrees.trip.milliamp_hours(), 500);
    assert_eq!(changed.over_temperature, usual.over_temperature);
}

/// 2 Ah of 20 are a tenth; the swap shows in the world to the coulomb.
#[test]
fn a_cell_that_stands_lower_stands_lower_in_the_world() {
    let case = with("[[start.cell]]\ncell = 5\nmissing_ah = 2\n");
    let world = case.world::<16, 8>().expect("counts fit");
    assert!((world.swapped_coulombs + 7_200.0).abs() < 1e-6);
    assert!(world.cells.charge[4] < world.cells.charge[3] - 0.08);
    assert!((world.cells.volts.iter().sum::<f64>() - world.bus.pack_volts).abs() < 1e-9);
    assert!(case.world::<96, 16>().is_err());
}

/// A life is 2²⁸ steps of the store; what is not said is as it is in truth.
#[test]
fn a_contactor_begins_as_worn_as_it_says() {
    use bms_core::frame::{Contactor, Replaced};
    let case = with(
        "[[start.contactor]]\ncontactor = 'precharge'\nworn_percent = 25\n[[start.contactor]]\ncontactor = 'positive'\n\
         worn_percent = 100\ncounted_percent = 150\n[[act]]\nat_s = 1\nask = 'replace'\ncontactor = 'positive'\n",
    );
    assert_eq!(case.start.counted_wear().bits(), [0, 1 << 26, 3 << 27]);
    let world = case.world::<16, 8>().expect("counts fit");
    assert_eq!(world.truth().welded, [false, false, true]);
    assert!((world.bus.contactors[1].wear - 0.25).abs() < 1e-12);
    assert_eq!(case.asked_at(1_000, 10).replaced, Some(Replaced::Contactor(Contactor::Positive)));
    let core = crate::run::Loop::<16, 8>::new(&std::sync::Arc::new(case)).expect("counts fit").core;
    assert_eq!(core.wear().bits(), [0, 1 << 26, 3 << 27]);
}

/// What a case takes for safe decides what is dangerous in it, and no more: the pack is the same.
#[test]
fn a_case_may_take_more_or_less_for_safe() {
    let [usual, strict] = ["", "[safe]\ncell_celsius = 17.5\nreacted_percent = 2\n"].map(with);
    let worlds = [&usual, &strict].map(|case| case.world::<16, 8>().expect("counts fit"));
    let [found, dangerous] = worlds.each_ref().map(|world| world.spec().safe.first_breach(&world.truth()));
    assert_eq!(found, None);
    let breach = dangerous.expect("18 °C are more than 17.5 °C");
    assert_eq!((breach.bound, breach.limit), (crate::world::truth::Bound::CellHot, 17.5));
    assert!((strict.safe.reacted - 0.02).abs() < 1e-12);
    assert_eq!(PackSpec { safe: usual.safe, ..worlds[1].spec().clone() }, *worlds[0].spec());
}

/// The check value of CRC-32/ISO-HDLC, as its catalogue prints it.
#[test]
fn the_digest_is_the_published_checksum() {
    assert_eq!(digest("123456789"), 0xCBF4_3926);
}

#[test]
fn a_case_can_be_written_as_json() {
    let case = with(
        "[[defect]]\nkind = 'thermistor_open'\nthermistor = 3\n[expect]\nfaults = ['thermistor_open']\n",
    );
    let json = serde_json::to_value(&case).expect("plain data");
    assert_eq!(json["defects"][0]["place"], 3);
    assert_eq!(json["expect"]["faults"][0], "thermistor_open");
}

#[test]
fn every_shipped_case_is_accepted_and_says_what_must_come_out() {
    let folder = std::path::Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/cases"));
    let mut count = 0;
    for entry in std::fs::read_dir(folder).expect("the cases are shipped with the source") {
        let path = entry.expect("a readable folder").path();
        let case = Case::read(&path).unwrap_or_else(|error| panic!("{}", error.excerpt(false)));
        assert!(case.expect.is_some(), "{} expects nothing", path.display());
        count += 1;
    }
    assert!(count >= 9);
}

/// Pieces of which many texts come near to being a case.
fn nearly() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        LEAST,
        "[[duty]]\n",
        "do = 'hoist'\n",
        "times = 3\n",
        "phases = [{}]\n",
        "[[defect]]\n",
        "kind = 'x'\n",
        "cell = 97\n",
        "at_s = nan\n",
        "[limits.cell_over_voltage]\n",
        "trip = 1e300\n",
        "[expect]\n",
        "faults = ['ä']\n",
        "schema = 2\n",
        "[start]\n",
        "ä = \"€\"\n",
        "[[",
        "'",
        "\u{0}",
        "\r",
        "\u{feff}",
    ]);
    prop::collection::vec(piece, 0..8).prop_map(|pieces| pieces.concat())
}

proptest! {
    /// Any bytes whatever give a case or an error that can be shown.
    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        if let Err(error) = Case::from_bytes(&bytes, "any.toml") {
            prop_assert!(error.excerpt(true).contains("any.toml"));
            prop_assert!(error.to_string().starts_with("any.toml:"));
        }
    }

    /// The same for texts that come near to being a case.
    #[test]
    fn no_text_that_is_nearly_a_case_makes_it_panic(text in nearly()) {
        if let Err(error) = Case::parse(&text, "near.toml") {
            prop_assert!(error.excerpt(false).contains("near.toml"));
        }
    }
}
