//! What is otherwise from some time on: one thing each, in order of time, with the keys of the section that it changes.

use super::line;
use snapbox::{assert_data_eq, str};

/// The line that a person gets to read whose sound case has these changes before its `[rest]`.
fn changed(changes: &str) -> String {
    line("[rest]", &format!("{changes}\n[rest]"))
}

#[test]
fn a_change_is_one_thing() {
    assert_data_eq!(
        changed("[[change]]\nat_s = 5"),
        str![
            "joint.toml:31: change.limits: missing; accepted is one of limits, duty, act, defect, mend and repair"
        ]
    );
    assert_data_eq!(
        changed("[[change]]\nat_s = 5\nmend = 1\nduty = { do = \"hoist\" }"),
        str!["joint.toml:33: change.mend: not accepted with duty; accepted there is at_s"]
    );
    assert_data_eq!(
        changed("[[change]]\nat_s = 5\nmed = 1"),
        str!["joint.toml:33: change.med: no such key here; did you mean mend?"]
    );
}

#[test]
fn changes_come_in_order_within_the_story() {
    assert_data_eq!(
        changed("[[change]]\nat_s = 5\nmend = 1\n[[change]]\nat_s = 4\nact = { ask = \"open\" }"),
        str!["joint.toml:35: change.at_s = 4: accepted is 5 s, at_s of the change before, or more"]
    );
    assert_data_eq!(
        changed("[[change]]\nat_s = 500\nmend = 1"),
        str!["joint.toml:32: change.at_s = 500: accepted is a number from 0 to 120 s"]
    );
}

#[test]
fn a_changed_limit_is_held_against_its_range_and_beside_others() {
    let limits = |limits: &str| changed(&format!("[[change]]\nat_s = 5\nlimits = {limits}"));
    assert_data_eq!(
        limits("{ cell_over_voltag = { trip = 3.6 } }"),
        str![
            "joint.toml:33: change.limits.cell_over_voltag: no such key here; did you mean cell_over_voltage?"
        ]
    );
    assert_data_eq!(
        limits("{ cell_over_voltage = { trip = 36 } }"),
        str![
            "joint.toml:33: change.limits.cell_over_voltage.trip = 36: accepted is a number from 0.9 to 4.5 V"
        ]
    );
    assert_data_eq!(
        limits("{ cell_over_voltage = { trip = 3.9 } }"),
        str![
            "joint.toml:33: change.limits.cell_over_voltage.trip = 3.9: too high for a second step of 3.75 V: less than 3.75 V is accepted"
        ]
    );
    assert_data_eq!(
        limits("3.6"),
        str![
            "joint.toml:33: change.limits = 3.6: accepted is a table, as limits = { cell_over_voltage = { trip = 3.7 } }"
        ]
    );
}

#[test]
fn a_changed_duty_and_an_act_are_read_as_in_their_sections() {
    let change = |what: &str| changed(&format!("[[change]]\nat_s = 5\n{what}"));
    assert_data_eq!(
        change("duty = { do = \"hoyst\" }"),
        str![[r#"joint.toml:33: change.duty.do = "hoyst": not known here; did you mean hoist?"#]]
    );
    assert_data_eq!(
        change("duty = { do = \"hoist\", rate_c = 60 }"),
        str!["joint.toml:33: change.duty.rate_c = 60: accepted is a number from 0 to 6 C"]
    );
    assert_data_eq!(
        change("duty = { do = \"hold\", rate_c = 1 }"),
        str![[r#"joint.toml:33: change.duty.rate_c: not accepted with do = "hold"; accepted there is none"#]]
    );
    assert_data_eq!(
        change("act = { ask = \"open\", cell = 4 }"),
        str![[r#"joint.toml:33: change.act.cell: not accepted with ask = "open"; accepted there is none"#]]
    );
    assert_data_eq!(
        change("act = { ask = \"lose-power\", record = \"tron\" }"),
        str![[r#"joint.toml:33: change.act.record = "tron": not known here; did you mean torn?"#]]
    );
    assert_data_eq!(
        change("act = { ask = \"lose-power\", for_s = 0 }"),
        str!["joint.toml:33: change.act.for_s = 0: accepted is a number from 0.01 to 5184000 s"]
    );
    assert_data_eq!(
        change("act = { ask = \"lose-power\", by = \"panel\" }"),
        str![[
            r#"joint.toml:33: change.act.by: not accepted with ask = "lose-power"; accepted there are for_s, record, clock"#
        ]]
    );
    assert_data_eq!(
        change("act = { ask = \"close\", clock = true }"),
        str![[r#"joint.toml:33: change.act.clock: not accepted with ask = "close"; accepted there is none"#]]
    );
    let twice = "act = { ask = \"clear\" }\n[[change]]\nat_s = 5\nact = { ask = \"clear\" }";
    assert_data_eq!(
        change(twice),
        str![[
            r#"joint.toml:36: change.act = { ask = "clear" }: clear is asked for already in this step of time; accepted is one of a kind in each"#
        ]]
    );
}

#[test]
fn a_defect_begins_with_its_change_and_ends_where_there_is_one() {
    let change = |what: &str| changed(&format!("[[change]]\nat_s = 95\n{what}"));
    assert_data_eq!(
        change("defect = { kind = \"cell_leak\", cell = 97 }"),
        str!["joint.toml:33: change.defect.cell = 97: accepted is a whole number from 1 to 96"]
    );
    assert_data_eq!(
        change("defect = { kind = \"cell_leak\", cell = 9, at_s = 3 }"),
        str![
            "joint.toml:33: change.defect.at_s = 3: accepted is at_s of the change alone: the defect begins with it"
        ]
    );
    assert_data_eq!(change("mend = 2"), str!["joint.toml:33: change.mend = 2: accepted is 1"]);
    assert_data_eq!(change("mend = 1"), str!["joint.toml:33: change.mend = 1: defect 1 has ended already"]);
}
