//! What operator and workshop do, and what they have to do with before they begin.

use super::line;
use snapbox::{assert_data_eq, str};

#[test]
fn a_closing_has_no_cell() {
    assert_data_eq!(
        line("ask = \"close\"", "ask = \"close\"\ncell = 4"),
        str![[r#"joint.toml:23: act.cell: not accepted with ask = "close"; accepted there is at_s"#]]
    );
}

#[test]
fn a_replaced_part_is_a_cell_or_a_contactor() {
    let replace = |keys: &str| line("ask = \"close\"", &format!("ask = \"replace\"{keys}"));
    assert_data_eq!(
        replace(""),
        str![
            "joint.toml:20: act.cell: missing; accepted is the number of the cell that was replaced, or contactor instead"
        ]
    );
    assert_data_eq!(
        replace("\ncell = 4\ncontactor = \"positive\""),
        str!["joint.toml:24: act.contactor: not accepted with cell; accepted there is at_s"]
    );
    assert_data_eq!(
        replace("\ncontactor = \"middle\""),
        str![[
            r#"joint.toml:23: act.contactor = "middle": not known here; accepted are negative, precharge, positive"#
        ]]
    );
    assert_data_eq!(
        replace("\ncontactor = \"positive\"\nby = \"service\""),
        str![[
            r#"joint.toml:24: act.by: not accepted with ask = "replace"; accepted there are at_s, cell, contactor"#
        ]]
    );
    assert_data_eq!(
        line("ask = \"close\"", "ask = \"open\"\ncontactor = \"positive\""),
        str![[r#"joint.toml:23: act.contactor: not accepted with ask = "open"; accepted there is at_s"#]]
    );
}

#[test]
fn a_contactor_has_used_a_part_of_its_life_once() {
    let worn = |keys: &str| line("celsius = 18\n\n", &format!("celsius = 18\n[[start.contactor]]\n{keys}\n"));
    assert_data_eq!(
        worn("contactor = \"positive\"\nworn_percent = 120"),
        str!["joint.toml:13: start.contactor.worn_percent = 120: accepted is a number from 0 to 100 %"]
    );
    assert_data_eq!(
        worn("contactor = \"positive\"\nworn_percent = 20\ncounted_percent = -1"),
        str!["joint.toml:14: start.contactor.counted_percent = -1: accepted is a number from 0 to 1000 %"]
    );
    assert_data_eq!(
        worn("contactor = \"positive\""),
        str!["joint.toml:11: start.contactor.worn_percent: missing; accepted is a number from 0 to 100 %"]
    );
    assert_data_eq!(
        worn("contactor = 3\nworn_percent = 20"),
        str!["joint.toml:12: start.contactor.contactor = 3: accepted is text in quotes"]
    );
    let twice = "contactor = \"positive\"\nworn_percent = 20\n";
    assert_data_eq!(
        worn(&format!("{twice}[[start.contactor]]\n{twice}")),
        str![[
            r#"joint.toml:15: start.contactor.contactor = "positive": said a second time; accepted is once"#
        ]]
    );
    assert_data_eq!(
        line("celsius = 18\n\n", "celsius = 18\ncontactor = \"positive\"\n"),
        str![[
            r#"joint.toml:11: start.contactor = "positive": accepted is a list of tables, each under [[…]]"#
        ]]
    );
}

#[test]
fn an_act_after_the_end_is_refused() {
    assert_data_eq!(
        line("at_s = 1\n", "at_s = 1000\n"),
        str!["joint.toml:21: act.at_s = 1000: accepted is a number from 0 to 120 s"]
    );
}

/// A repair takes the place of its kind and, where a cell comes in, what that cell is like; nothing else.
#[test]
fn a_repair_is_refused_where_it_makes_no_sense() {
    let repair = |table: &str| line("[rest]\n", &format!("[[repair]]\nat_s = 60\n{table}\n[rest]\n"));
    for (table, said) in [
        (
            "kind = \"swap_cel\"\ncell = 3",
            "joint.toml:33: repair.kind = \"swap_cel\": not known here; did you mean swap_cell?",
        ),
        (
            "kind = \"swap_cell\"",
            "joint.toml:31: repair.cell: missing; accepted is a whole number from 1 to 96",
        ),
        (
            "kind = \"swap_cell\"\ncell = 97",
            "joint.toml:34: repair.cell = 97: accepted is a whole number from 1 to 96",
        ),
        (
            "kind = \"swap_cell\"\ncell = 3\ncapacity_percent = 20",
            "joint.toml:35: repair.capacity_percent = 20: accepted is a number from 50 to 120 %",
        ),
        (
            "kind = \"clean_joint\"\njoint = 3\ncharge_percent = 20",
            "joint.toml:35: repair.charge_percent: not accepted with kind = \"clean_joint\"; accepted there are joint, at_s",
        ),
        (
            "kind = \"replace_contactor\"\ncontactor = \"middle\"",
            "joint.toml:34: repair.contactor = \"middle\": not known here; accepted are negative, precharge, positive",
        ),
    ] {
        assert_eq!(repair(table), said);
    }
}
