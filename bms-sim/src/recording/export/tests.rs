use super::*;
use crate::recording::column::Kind;
use std::collections::BTreeSet;

#[test]
fn a_star_stands_for_any_letters() {
    for (pattern, name) in [
        ("cell_37_V", "cell_37_V"),
        ("cell_*_V", "cell_37_V"),
        ("*", "tick"),
        ("*_stage", "over_temperature_stage"),
        ("true_*cell*", "true_warmest_cell_degC"),
        ("*_V*", "a_V"),
    ] {
        assert!(fits(pattern, name), "{pattern} {name}");
    }
    for (pattern, name) in [
        ("cell_37", "cell_37_V"),
        ("cell_*_A", "cell_37_V"),
        ("*_stage", "stage"),
        ("ab*ba", "aba"),
        ("*true*cell*", "cell_true"),
        ("", "tick"),
    ] {
        assert!(!fits(pattern, name), "{pattern} {name}");
    }
}

/// A name stands for one column, begins with a letter and holds nothing that some program does not take in a name; the unit ends it.
#[test]
fn every_column_has_a_name_of_its_own_that_ends_with_its_unit() {
    let ticks: Vec<Column> = channels::all::<96, 16>().into_iter().map(|channel| channel.column).collect();
    for columns in [&ticks, &events::columns()] {
        let names: BTreeSet<&str> = columns.iter().map(|column| column.name.as_str()).collect();
        assert_eq!(names.len(), columns.len());
        for Column { name, kind, unit, says } in columns {
            let plain = |letter: char| letter.is_ascii_alphanumeric() || letter == '_';
            assert!(
                name.chars().all(plain) && name.starts_with(|first: char| first.is_ascii_lowercase()),
                "{name}"
            );
            assert!(unit.is_none_or(|unit| name.ends_with(&format!("_{}", unit.ending()))), "{name}");
            assert!(*kind != Kind::Wholes || unit.is_none(), "{name}");
            assert!(says.ends_with('.') && says.len() > 10, "{name}: {says}");
        }
    }
    // As many as there are parts, four and two for each of them.
    let count = |end: &str| ticks.iter().filter(|column| column.name.ends_with(end)).count();
    assert_eq!(ticks.iter().filter(|column| column.name.contains("cell_0")).count(), 4 * 9);
    assert_eq!(count("_stage"), bms_core::Fault::COUNT);
    assert_eq!(
        ticks
            .iter()
            .filter(|column| column.name.contains("thermistor_") && column.name.ends_with("degC"))
            .count(),
        2 * 16
    );
}

/// The list of signals gives messages, pictures and the first columns: a value of it has the same name in all, but for the unit.
#[test]
fn the_signals_are_the_first_columns() {
    let names: Vec<String> =
        channels::all::<16, 8>().into_iter().map(|channel| channel.column.name).take(6).collect();
    assert_eq!(names, ["tick", "time_s", "lowest_cell", "lowest_cell_V", "highest_cell", "highest_cell_V"]);
}
