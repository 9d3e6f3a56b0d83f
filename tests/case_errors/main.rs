//! What a mistake in a case file looks like to the one who made it: place, value found, what is accepted.
//!
//! The texts are kept here word for word, so that a change of wording is seen and read before it is shipped.

mod changes;
mod workshop;

use bms_sim::case::Case;
use snapbox::{assert_data_eq, str};

/// A case that is accepted; each test spoils it in one place.
const SOUND: &str = r#"schema = 1
title = "A joint that is fine until the crane hoists"
story = "Somebody forgot a torque wrench."
pack = "crane"
seed = 7
duration_s = 120

[start]
charge_percent = 60
celsius = 18

[[surroundings]]
at_s = 0
celsius = 18

[[duty]]
do = "hoist"
for_s = 8

[[act]]
at_s = 1
ask = "close"

[[defect]]
kind = "added_resistance"
cell = 37
milliohms = 4.0
at_s = 30
until_s = 90

[rest]
step_s = 10

[limits.cell_over_voltage]
trip = 3.70

[expect]
faults = ["cell_resistance_high"]
ends = "Open"
critical = true
within_s = { cell_resistance_high = 30 }
"#;

/// The line that a person gets to read when `from` is written as `to`.
fn line(from: &str, to: &str) -> String {
    error(from, to).to_string()
}

fn error(from: &str, to: &str) -> bms_sim::case::CaseError {
    assert!(SOUND.contains(from), "the sound case has no {from}");
    let spoilt = SOUND.replacen(from, to, 1);
    Case::parse(&spoilt, "joint.toml").err().unwrap_or_else(|| panic!("{to} was accepted"))
}

#[test]
fn the_sound_case_is_accepted() {
    assert!(Case::parse(SOUND, "joint.toml").is_ok());
}

#[test]
fn a_misspelt_key_is_met_with_the_nearest_one() {
    assert_data_eq!(
        line("duration_s", "duratoin_s"),
        str!["joint.toml:6: duratoin_s: no such key here; did you mean duration_s?"]
    );
}

#[test]
fn a_key_that_looks_like_none_is_met_with_all() {
    assert_data_eq!(
        line("title =", "colour =\"red\"\ntitle ="),
        str![
            "joint.toml:2: colour: no such key here; accepted are schema, title, story, pack, seed, duration_s, tick_ms, start, surroundings, duty, act, defect, repair, change, rest, safe, limits, expect"
        ]
    );
}

#[test]
fn a_bound_of_truth_is_checked_like_a_limit() {
    let safe = |keys: &str| line("[rest]", &format!("[safe]\n{keys}\n[rest]"));
    assert_data_eq!(
        safe("cell_celcius = 65"),
        str!["joint.toml:32: safe.cell_celcius: no such key here; did you mean cell_celsius?"]
    );
    // Usual is 70 °C.
    assert_data_eq!(
        safe("cell_celsius = 650"),
        str!["joint.toml:32: safe.cell_celsius = 650: accepted is a number from 17.5 to 280 °C"]
    );
    assert_data_eq!(
        safe("cell_celsius = \"hot\""),
        str![[r#"joint.toml:32: safe.cell_celsius = "hot": accepted is a number from 17.5 to 280 °C"#]]
    );
    assert_data_eq!(
        safe("cell_low_volts = 4"),
        str!["joint.toml:32: safe.cell_low_volts = 4: accepted is less than cell_high_volts"]
    );
    assert_data_eq!(
        safe("cell_high_volts = 1.5"),
        str!["joint.toml:32: safe.cell_high_volts = 1.5: accepted is more than cell_low_volts"]
    );
}

#[test]
fn a_misspelt_key_of_a_table_names_the_table() {
    assert_data_eq!(
        line("milliohms = 4.0", "miliohms = 4.0"),
        str!["joint.toml:27: defect.miliohms: no such key here; did you mean milliohms?"]
    );
}

#[test]
fn a_missing_key_is_named() {
    assert_data_eq!(
        line("seed = 7\n", ""),
        str!["joint.toml:1: seed: missing; accepted is a whole number from 0 to 9223372036854775807"]
    );
}

#[test]
fn a_missing_key_of_a_table_names_the_table() {
    assert_data_eq!(
        line("at_s = 1\nask", "ask"),
        str!["joint.toml:20: act.at_s: missing; accepted is a number from 0 to 5184000 s"]
    );
}

#[test]
fn a_number_in_quotes_is_no_number() {
    assert_data_eq!(
        line("charge_percent = 60", "charge_percent = \"60\""),
        str![[r#"joint.toml:9: start.charge_percent = "60": accepted is a number from 0 to 100 %"#]]
    );
}

#[test]
fn a_fraction_is_no_seed() {
    assert_data_eq!(
        line("seed = 7", "seed = 7.5"),
        str!["joint.toml:5: seed = 7.5: accepted is a whole number from 0 to 9223372036854775807"]
    );
}

#[test]
fn a_seed_too_large_for_a_file_is_told_the_largest() {
    assert_data_eq!(
        line("seed = 7", "seed = 18446744073709551616"),
        str![
            "joint.toml:5: seed = 18446744073709551616: accepted is a whole number from 0 to 9223372036854775807"
        ]
    );
}

/// Wherever the range is known, it is told with its unit, also to who typed something else than a number.
#[test]
fn a_value_of_another_type_is_told_the_range() {
    for (from, to, told) in [
        (
            "milliohms = 4.0",
            "milliohms = \"500\"",
            "27: defect.milliohms = \"500\": accepted is a number from 0.05 to 200 mΩ",
        ),
        (
            "milliohms = 4.0",
            "milliohms = 1e400",
            "27: defect.milliohms = 1e400: accepted is a number from 0.05 to 200 mΩ",
        ),
        (
            "celsius = 18",
            "celsius = \"18\"",
            "10: start.celsius = \"18\": accepted is a number from -40 to 85 °C",
        ),
        (
            "trip = 3.70",
            "trip = \"3.7\"",
            "35: limits.cell_over_voltage.trip = \"3.7\": accepted is a number from 0.9 to 4.5 V",
        ),
        ("for_s = 8", "for_s = true", "18: duty.for_s = true: accepted is a number from 0.01 to 5184000 s"),
        ("step_s = 10", "step_s = \"\"", "32: rest.step_s = \"\": accepted is a number from 0.1 to 60 s"),
        (
            "high = 30 }",
            "high = [] }",
            "41: expect.within_s.cell_resistance_high = []: accepted is a number from 0 to 5184000 s",
        ),
    ] {
        assert_eq!(line(from, to), format!("joint.toml:{told}"));
    }
}

#[test]
fn what_cannot_grow_has_no_ramp() {
    assert_data_eq!(
        line(
            "kind = \"added_resistance\"\ncell = 37\nmilliohms = 4.0",
            "kind = \"thermistor_open\"\nthermistor = 3\nramp_s = 5"
        ),
        str![[
            r#"joint.toml:27: defect.ramp_s: not accepted with kind = "thermistor_open"; accepted there are thermistor, at_s, until_s, intermittent_period_s, intermittent_duty"#
        ]]
    );
    assert_data_eq!(
        line(
            "kind = \"added_resistance\"\ncell = 37\nmilliohms = 4.0",
            "kind = \"charge_out_of_line\"\ncell = 3\nramp_s = 5"
        ),
        str![[
            r#"joint.toml:27: defect.ramp_s: not accepted with kind = "charge_out_of_line"; accepted there are cell, ampere_hours, at_s, until_s"#
        ]]
    );
}

#[test]
fn spells_take_both_their_keys_and_nothing_beyond_their_bounds() {
    for (keys, told) in [
        (
            "intermittent_duty = 0.5",
            "24: defect.intermittent_period_s: missing; accepted is a number from 0.02 to 5184000 s",
        ),
        (
            "intermittent_period_s = 5",
            "24: defect.intermittent_duty: missing; accepted is a number from 0.01 to 0.99",
        ),
        (
            "intermittent_period_s = 0.01\nintermittent_duty = 0.5",
            "29: defect.intermittent_period_s = 0.01: accepted is a number from 0.02 to 5184000 s",
        ),
        (
            "intermittent_period_s = 5\nintermittent_duty = 1",
            "30: defect.intermittent_duty = 1: accepted is a number from 0.01 to 0.99",
        ),
        (
            "intermittent_period_s = \"often\"",
            "29: defect.intermittent_period_s = \"often\": accepted is a number from 0.02 to 5184000 s",
        ),
    ] {
        assert_eq!(line("until_s = 90", keys), format!("joint.toml:{told}"));
    }
    assert_data_eq!(
        line(
            "kind = \"added_resistance\"\ncell = 37\nmilliohms = 4.0",
            "kind = \"charge_out_of_line\"\ncell = 3\nintermittent_duty = 0.5"
        ),
        str![[
            r#"joint.toml:27: defect.intermittent_duty: not accepted with kind = "charge_out_of_line"; accepted there are cell, ampere_hours, at_s, until_s"#
        ]]
    );
}

#[test]
fn there_is_no_cell_97() {
    assert_data_eq!(
        line("cell = 37", "cell = 97"),
        str!["joint.toml:26: defect.cell = 97: accepted is a whole number from 1 to 96"]
    );
}

#[test]
fn there_is_no_cell_0() {
    assert_data_eq!(
        line("cell = 37", "cell = 0"),
        str!["joint.toml:26: defect.cell = 0: accepted is a whole number from 1 to 96"]
    );
}

#[test]
fn there_is_no_negative_cell() {
    assert_data_eq!(
        line("cell = 37", "cell = -3"),
        str!["joint.toml:26: defect.cell = -3: accepted is a whole number from 1 to 96"]
    );
}

#[test]
fn a_charge_beyond_full_is_refused() {
    assert_data_eq!(
        line("charge_percent = 60", "charge_percent = 160"),
        str!["joint.toml:9: start.charge_percent = 160: accepted is a number from 0 to 100 %"]
    );
}

#[test]
fn what_is_not_a_number_is_refused() {
    assert_data_eq!(
        line("celsius = 18", "celsius = nan"),
        str!["joint.toml:10: start.celsius = nan: accepted is a number from -40 to 85 °C"]
    );
}

#[test]
fn a_severity_out_of_range_names_range_and_unit() {
    assert_data_eq!(
        line("milliohms = 4.0", "milliohms = 4000"),
        str!["joint.toml:27: defect.milliohms = 4000: accepted is a number from 0.05 to 200 mΩ"]
    );
}

#[test]
fn a_severity_in_another_unit_is_met_with_the_right_key() {
    assert_data_eq!(
        line("milliohms = 4.0", "percent = 4"),
        str![[
            r#"joint.toml:27: defect.percent: not accepted with kind = "added_resistance"; accepted there are cell, milliohms, at_s, until_s, ramp_s, intermittent_period_s, intermittent_duty"#
        ]]
    );
}

#[test]
fn a_place_of_another_kind_is_met_with_the_right_key() {
    assert_data_eq!(
        line("cell = 37", "joint = 37"),
        str![[
            r#"joint.toml:26: defect.joint: not accepted with kind = "added_resistance"; accepted there are cell, milliohms, at_s, until_s, ramp_s, intermittent_period_s, intermittent_duty"#
        ]]
    );
}

#[test]
fn a_defect_without_place_is_refused() {
    assert_data_eq!(
        line("cell = 37\n", ""),
        str!["joint.toml:24: defect.cell: missing; accepted is a whole number from 1 to 96"]
    );
}

#[test]
fn an_unknown_defect_is_met_with_the_nearest_one() {
    assert_data_eq!(
        line("added_resistance", "aded_resistance"),
        str![[
            r#"joint.toml:25: defect.kind = "aded_resistance": not known here; did you mean added_resistance?"#
        ]]
    );
}

#[test]
fn an_unknown_work_is_met_with_the_nearest_one() {
    assert_data_eq!(
        line("do = \"hoist\"", "do = \"hoists\""),
        str![[r#"joint.toml:17: duty.do = "hoists": not known here; did you mean hoist?"#]]
    );
}

#[test]
fn an_unknown_pack_is_met_with_all() {
    assert_data_eq!(
        line("pack = \"crane\"", "pack = \"zebra\""),
        str![[r#"joint.toml:4: pack = "zebra": not known here; accepted are crane, trainer"#]]
    );
}

#[test]
fn an_unknown_fault_is_met_with_the_nearest_one() {
    assert_data_eq!(
        line("[\"cell_resistance_high\"]", "[\"cell_resistance_hi\"]"),
        str![[
            r#"joint.toml:38: expect.faults = "cell_resistance_hi": not known here; did you mean cell_resistance_high?"#
        ]]
    );
}

#[test]
fn a_bound_for_a_fault_that_is_not_expected_is_refused() {
    assert_data_eq!(
        line("within_s = { cell_resistance_high", "within_s = { thermistor_open"),
        str![
            "joint.toml:41: expect.within_s.thermistor_open: no such key here; accepted is cell_resistance_high"
        ]
    );
}

#[test]
fn an_end_before_the_onset_is_refused() {
    assert_data_eq!(
        line("until_s = 90", "until_s = 20"),
        str!["joint.toml:29: defect.until_s = 20: accepted is more than at_s, which is 30 s"]
    );
}

#[test]
fn a_strength_of_a_rest_makes_no_sense() {
    assert_data_eq!(
        line("do = \"hoist\"", "do = \"park\"\nrate_c = 1"),
        str![[r#"joint.toml:18: duty.rate_c: not accepted with do = "park"; accepted there is for_s"#]]
    );
}

#[test]
fn another_schema_is_told_first() {
    assert_data_eq!(
        line("schema = 1\ntitle", "schema = 2\nlabel"),
        str!["joint.toml:1: schema = 2: accepted is 1"]
    );
}

#[test]
fn an_unknown_limit_is_met_with_the_nearest_one() {
    assert_data_eq!(
        line("[limits.cell_over_voltage]", "[limits.cell_over_voltag]"),
        str!["joint.toml:34: limits.cell_over_voltag: no such key here; did you mean cell_over_voltage?"]
    );
}

#[test]
fn a_release_limit_beyond_its_trip_limit_is_refused() {
    assert_data_eq!(
        line("trip = 3.70", "trip = 3.70\nrelease = 3.80"),
        str![
            "joint.toml:36: limits.cell_over_voltage.release = 3.80: too high for a trip limit of 3.7 V: less than 3.7 V is accepted"
        ]
    );
}

#[test]
fn a_dwell_of_days_is_refused() {
    assert_data_eq!(
        line("trip = 3.70", "dwell_ms = 100000000"),
        str![
            "joint.toml:35: limits.cell_over_voltage.dwell_ms = 100000000: too long: at most 3600 s is accepted"
        ]
    );
}

#[test]
fn a_limit_that_breaks_a_rule_of_another_one_is_named_with_that_rule() {
    assert_data_eq!(
        line("[limits.cell_over_voltage]\ntrip = 3.70", "[limits.cell_over_voltage_far]\ntrip = 3.62"),
        str![
            "joint.toml:35: limits.cell_over_voltage_far.trip = 3.62: limits.cell_over_voltage.trip = 3.65 V is too high for a second step of 3.62 V: less than 3.62 V is accepted"
        ]
    );
}

/// Millivolts for volts, a lost point, a limit that the sensor cannot read beyond: each would switch a protection off.
#[test]
fn a_limit_that_no_reading_reaches_is_refused() {
    assert_data_eq!(
        line("trip = 3.70", "trip = 3650"),
        str!["joint.toml:35: limits.cell_over_voltage.trip = 3650: accepted is a number from 0.9 to 4.5 V"]
    );
    for (fault, trip, accepted) in [
        ("cell_over_voltage_far", "300", "0.92 to 4.5 V"),
        ("pack_sum_disagrees", "3000", "0.69 to 12 V"),
        ("cell_resistance_high", "150", "0.34 to 6 mΩ"),
        ("over_current_discharge", "5000", "110 to 540 A"),
        ("charging_too_cold", "-300", "-40 to 85 °C"),
        ("thermistor_open", "990", "25 to 100 %"),
        ("supply_low", "0.9", "2.2 to 36 V"),
    ] {
        let table = format!("[limits.{fault}]\ntrip = {trip}");
        let told = line("[limits.cell_over_voltage]\ntrip = 3.70", &table);
        let expected =
            format!("joint.toml:35: limits.{fault}.trip = {trip}: accepted is a number from {accepted}");
        assert_eq!(told, expected);
    }
}

#[test]
fn a_first_step_beyond_the_second_is_refused() {
    assert_data_eq!(
        line("trip = 3.70", "trip = 3.9"),
        str![
            "joint.toml:35: limits.cell_over_voltage.trip = 3.9: too high for a second step of 3.75 V: less than 3.75 V is accepted"
        ]
    );
}

#[test]
fn a_dwell_that_no_tick_counts_is_refused() {
    assert_data_eq!(
        line("trip = 3.70", "dwell_ms = 4"),
        str![
            "joint.toml:35: limits.cell_over_voltage.dwell_ms = 4: too short for a tick of 10 ms: at least 10 ms is accepted"
        ]
    );
}

#[test]
fn a_release_that_moved_along_points_at_the_limit_that_moved_it() {
    assert_data_eq!(
        line("trip = 3.70", "trip = 3.50"),
        str![
            "joint.toml:35: limits.cell_over_voltage.trip = 3.50: limits.cell_over_voltage.release = 3.45 V is too low for a full cell of 3.479 V: more than 3.479 V is accepted"
        ]
    );
}

#[test]
fn too_large_a_tick_is_refused() {
    assert_data_eq!(
        line("seed = 7", "seed = 7\ntick_ms = 50"),
        str!["joint.toml:6: tick_ms = 50: accepted is a whole number from 1 to 10"]
    );
}

#[test]
fn what_is_no_toml_says_what_was_expected() {
    assert_data_eq!(
        line("title = ", "title "),
        str!["joint.toml:2: not TOML: key with no value, expected `=`"]
    );
}

#[test]
fn a_key_twice_is_refused() {
    assert_data_eq!(line("seed = 7", "seed = 7\nseed = 8"), str!["joint.toml:6: not TOML: duplicate key"]);
}

#[test]
fn bytes_that_are_no_text_are_refused() {
    let error = Case::from_bytes(b"schema = 1\ntitle = \"\xff\"", "joint.toml").err();
    assert_data_eq!(
        error.map_or_else(String::new, |error| error.to_string()),
        str!["joint.toml:2: not UTF-8 from byte 20 on; accepted is TOML text in UTF-8"]
    );
}

#[test]
fn a_file_that_is_not_there_is_named() {
    let error = Case::read(std::path::Path::new("no/such.toml")).err();
    assert_data_eq!(error.map_or_else(String::new, |error| error.to_string()), str!["no/such.toml: [..]"]);
}

#[test]
fn the_excerpt_points_at_the_value() {
    assert_data_eq!(
        error("cell = 37", "cell = 97").excerpt(false),
        str![[r"
error: defect.cell = 97: accepted is a whole number from 1 to 96
  --> joint.toml:26:8
   |
26 | cell = 97
   |        ^^
"]]
    );
}

#[test]
fn the_excerpt_points_at_an_unknown_key() {
    assert_data_eq!(
        error("for_s", "for").excerpt(false),
        str![[r"
error: duty.for: no such key here; did you mean for_s?
  --> joint.toml:18:1
   |
18 | for = 8
   | ^^^
"]]
    );
}
