//! What separates one defect from another: what is read where, when first, and what has to be done before anything is.

use bms_sim::case::Case;
use bms_sim::defect::{Defect, Kind};
use bms_sim::explain::contrast::{Channel, Contrast, Trial};
use std::path::Path;
use std::sync::Arc;

fn shipped(name: &str) -> Arc<Case> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/cases").join(name);
    Arc::new(Case::read(&path).unwrap_or_else(|error| panic!("{error}")))
}

fn against(case: &Arc<Case>, kind: Kind, place: usize, severity: f64) -> Contrast {
    let other = Defect { severity, ..Defect::usual(kind, place, 0.0) };
    Contrast::between::<96, 16>(case, Some(0), other).expect("the crane has 96 cells")
}

/// The drop of a joint is measured with the cell below it or with the one above it, depending on where its sense wire sits. By hand: with
/// 150 A in 2 mΩ either cell reads 0.3 V less, and not before a load flows: hoisting begins at 32 s.
#[test]
fn the_side_of_the_sense_wire_shows_with_the_first_load_step() {
    let contrast = against(&shipped("loose-joint.toml"), Kind::LooseJointTapBelow, 36, 2.0);
    let mut cells: Vec<Channel> =
        contrast.played.differences.iter().map(|difference| difference.channel).collect();
    cells.truncate(2);
    assert_eq!(cells, [Channel::Cell(36), Channel::Cell(37)]);
    let first = contrast.played.differences[0];
    assert!((32.0..32.2).contains(&first.seconds), "{first:?}");
    assert!(first.here < first.there, "the lower cell carries the drop here: {first:?}");
    assert!(contrast.trials.is_empty(), "nothing has to be done");
    let [here, there] = &contrast.played.confirmed;
    assert_eq!(here, there, "the same fault is found at another cell");
}

/// A pack that stands shows no resistance, neither to the firmware nor to a meter, however long it rests; a load step does.
#[test]
fn a_resistance_needs_a_load_step() {
    let text = "schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"crane\"\nseed = 4\nduration_s = 6\n\
        [start]\ncharge_percent = 60\ncelsius = 18\n\
        [[defect]]\nkind = \"added_resistance\"\ncell = 12\nmilliohms = 3\n";
    let case = Arc::new(Case::parse(text, "case.toml").unwrap_or_else(|error| panic!("{error}")));
    let contrast = against(&case, Kind::AddedResistance, 70, 3.0);
    assert_eq!(contrast.played.differences, []);
    let shown = |trial: Trial| {
        let found = contrast.trials.iter().find(|(other, _)| *other == trial);
        found.unwrap_or_else(|| panic!("{trial:?} was not tried")).1
    };
    assert_eq!((shown(Trial::Rest), shown(Trial::Meter)), (None, None));
    let step = shown(Trial::LoadStep).expect("a load step separates them");
    assert!([Channel::Cell(11), Channel::Cell(70)].contains(&step.channel), "{step:?}");
    // Clearing and the start take until 6 s after the end of the story at 6 s; then the load comes.
    assert!((6.0..13.0).contains(&step.seconds), "{step:?}");
    assert!(shown(Trial::Charge).is_some(), "charging is a step too");
}

/// What a joint and the cell below it resist is measured with the same two wires: no reading ever tells them apart, but the heat is made
/// in another place. By hand: 150 A in 2 mΩ make 45 W.
#[test]
fn a_joint_and_its_cell_are_told_apart_by_a_hand_on_them() {
    let contrast = against(&shipped("loose-joint.toml"), Kind::AddedResistance, 36, 2.0);
    assert_eq!(contrast.played.differences, []);
    let warm = contrast.trials.iter().find_map(|(_, difference)| *difference);
    let warm = warm.expect("an act separates them");
    assert!([Channel::WarmJoint(36), Channel::WarmCell(36)].contains(&warm.channel), "{warm:?}");
}

/// A defect against itself is nothing: no reading, no act.
#[test]
fn nothing_separates_a_defect_from_itself() {
    let case = shipped("open-thermistor.toml");
    let Defect { kind, place, severity, .. } = case.defects[0];
    let contrast = against(&case, kind, place, severity);
    assert_eq!(contrast.instead, case.defects[0]);
    assert_eq!((contrast.played.differences.len(), contrast.played.acts_apart), (0, None));
    assert!(contrast.trials.len() == 6 && contrast.trials.iter().all(|(_, difference)| difference.is_none()));
}
