//! What separates one defect from another, and one fault from another: what is read where, when first, and what has to be done before
//! anything is.

use bms_core::Fault;
use bms_core::fault::Reading;
use bms_core::witness::{Place, Quantity};
use bms_sim::case::Case;
use bms_sim::defect::{Defect, Kind};
use bms_sim::explain::Account;
use bms_sim::explain::contrast::faults::BetweenFaults;
use bms_sim::explain::contrast::{Channel, Contrast, Trial};
use bms_sim::recording;
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
    let step = shown(Trial::LoadSteps(1)).expect("a load step separates them");
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

/// A case of the trainer at 60 % and 18 °C, with what goes before its tables and its tables.
fn trainer(top: &str, tables: &str) -> Arc<Case> {
    let text = format!(
        "schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"trainer\"\nseed = 4\n{top}\n[start]\ncharge_percent = 60\ncelsius = 18\n{tables}"
    );
    Arc::new(Case::parse(&text, "case.toml").unwrap_or_else(|error| panic!("{error}")))
}

/// A slightly corroded wire carries a current worth the name only while its cells bleed. By hand: 3.3 V through 33 Ω and 1 Ω make 97 mA,
/// which take 97 mV in the wire from what a meter shows across the bleed resistor. The test current of the front end, half a milliampere,
/// takes half a millivolt, and an idle input nothing; the cells are read with bleeding paused, 2 ms, a thousand times what 1 Ω and 2 µF
/// need to settle.
#[test]
fn a_corroded_wire_shows_while_its_cell_bleeds() {
    let defect = "[[defect]]\nkind = \"sense_wire_corroded\"\nwire = 4\nohms = 1\n";
    let case = trainer("duration_s = 3", defect);
    let other = Defect { severity: 1.0, ..Defect::usual(Kind::SenseWireCorroded, 15, 0.0) };
    let contrast = Contrast::between::<16, 8>(&case, Some(0), other).expect("the trainer has 16 cells");
    assert_eq!(contrast.played.differences, []);
    let bled = contrast.trials.iter().find(|(trial, _)| *trial == Trial::Bleed(3));
    let shown = bled.expect("the cell above wire 4 is bled").1.expect("bleeding separates them");
    assert_eq!(shown.channel, Channel::MeteredBleed(3));
    assert!((shown.there - shown.here - 0.097).abs() < 0.002, "{shown:?}");
    let others = contrast.trials.iter().filter(|(trial, _)| !matches!(trial, Trial::Bleed(_)));
    assert!(others.clone().count() == 5 && others.clone().all(|(_, shown)| shown.is_none()), "{others:?}");
}

fn between<const CELLS: usize, const THERMISTORS: usize>(
    case: &Arc<Case>,
    faults: [Fault; 2],
) -> BetweenFaults {
    let recording = recording::play::<CELLS, THERMISTORS>(case, |_| true).expect("the counts are the pack's");
    let account = Account::of(&recording).expect("the counts are the pack's");
    BetweenFaults::of(&recording, &account, faults).expect("the counts are the pack's")
}

/// A resistive cell moves more under load, and does not stand still: both looks rest on the same load steps and part in the tick in which the
/// third one is judged. The defect sits in cell 37, whose reading moves; a reading that stands still would show less than a fifth.
#[test]
fn a_resistive_cell_is_no_frozen_reading() {
    let found = between::<96, 16>(
        &shipped("resistive-cell.toml"),
        [Fault::CellResistanceHigh, Fault::CellReadingFrozen],
    );
    let [resistive, frozen] = &found.approaches;
    let (at, _) = resistive.confirmed.expect("it is Confirmed");
    assert!(frozen.confirmed.is_none() && frozen.beyond == 0 && frozen.looked > 0);
    let [Some(looks), None] = found.apart else { panic!("{:?}", found.apart) };
    assert!((looks.seconds - at).abs() < 1e-9, "{looks:?}");
    let [here, there] = looks.of;
    assert_eq!(
        (here.place, here.reading, there.reading),
        (Place::Cell(36), Reading::Beyond, Reading::Within)
    );
    let (Some(Quantity::Ratio(moves)), Some(Quantity::Ratio(least))) = (there.observed, there.limit) else {
        panic!("{there:?}");
    };
    assert!(
        moves.parts_per_million() > 500_000 && (199_990..=200_010).contains(&least.parts_per_million()),
        "{there:?}"
    );
    assert!(found.order.is_none() && found.trials.is_empty());
}

/// A pack that stands shows neither: no look has a reading, so nothing separates the two before a load flows. No rest, no meter and no
/// bleeding lets it flow; hoisting does, and the resistance of the defect is found in its cell.
#[test]
fn before_a_load_flows_only_load_steps_separate() {
    let case =
        trainer("duration_s = 3", "[[defect]]\nkind = \"added_resistance\"\ncell = 12\nmilliohms = 30\n");
    let found = between::<16, 8>(&case, [Fault::CellResistanceHigh, Fault::CellReadingFrozen]);
    assert_eq!((found.apart, found.order), ([None; 2], None));
    assert!(found.approaches.iter().all(|approach| approach.looked == 0 && approach.confirmed.is_none()));
    let separating: Vec<Trial> =
        found.trials.iter().filter(|(_, looks)| looks.is_some()).map(|(trial, _)| *trial).collect();
    assert_eq!(separating, [Trial::LoadSteps(3)]);
    let looks = found.trials[0].1.expect("load steps separate them");
    assert_eq!(looks.of.map(|seen| seen.place)[0], Place::Cell(11));
    // Clearing and starting take until 6 s after the end, and three times hoisting for 8 s and holding for 5 s comes then.
    assert!((9.0..48.0).contains(&looks.seconds), "{looks:?}");
}

const OFFSET: &str = "[[defect]]\nkind = \"cell_channel_offset\"\ncell = 4\nmillivolts = 490\nat_s = 8\n";

/// A link that cannot discharge is no trouble while it is connected: it stays live only because something else opened the contactors. By hand:
/// without bleed-down the dividers alone take minutes, and the reading of cell 4 passes its second limit at once.
#[test]
fn a_link_that_stays_live_follows_from_what_opened_the_contactors() {
    let close = "[[act]]\nat_s = 0.5\nask = \"close\"\n";
    let case =
        trainer("duration_s = 40", &format!("{close}{OFFSET}[[defect]]\nkind = \"bleed_down_open\"\n"));
    let found = between::<16, 8>(&case, [Fault::LinkStaysLive, Fault::CellOverVoltageFar]);
    let order = found.order.expect("both are Confirmed");
    assert_eq!((order.first, order.came), (1, None), "{order:?}");
    assert!(order.silenced.is_some() && order.apart_seconds > 1.0, "{order:?}");
}

/// A thermistor whose wire breaks says nothing of a cell whose reading is off: silenced, it takes nothing from the other one.
#[test]
fn what_comes_later_need_not_follow() {
    let open = "[[defect]]\nkind = \"thermistor_open\"\nthermistor = 3\nat_s = 1\n";
    let case = trainer("duration_s = 12", &format!("{open}{OFFSET}"));
    let found = between::<16, 8>(&case, [Fault::CellOverVoltageFar, Fault::ThermistorOpen]);
    let order = found.order.expect("both are Confirmed");
    assert_eq!(order.first, 1, "{order:?}");
    assert!(order.silenced.is_some() && order.came.is_some_and(|came| came.seconds > 8.0), "{order:?}");
    assert_eq!(found.approaches.map(|approach| approach.cause), [Some(1), Some(0)]);
}

/// An interlock that opens and a reading that jumps in the same tick, both beyond their limits from there on: no tick parts them. A meter
/// does: held to cell 4 it shows what is true, and the interlock is open all the same.
#[test]
fn a_meter_parts_what_is_there_from_what_only_reads_so() {
    let defects = format!("{OFFSET}[[defect]]\nkind = \"interlock_open\"\nat_s = 8\n");
    let found = between::<16, 8>(
        &trainer("duration_s = 12", &defects),
        [Fault::InterlockOpen, Fault::CellOverVoltageFar],
    );
    assert_eq!(found.apart, [None; 2]);
    let separating: Vec<Trial> =
        found.trials.iter().filter(|(_, looks)| looks.is_some()).map(|(trial, _)| *trial).collect();
    assert_eq!(separating, [Trial::Meter]);
    let looks = found.trials.iter().find_map(|(_, looks)| *looks).expect("a meter separates them");
    assert_eq!(looks.of.map(|seen| seen.reading), [Reading::Beyond, Reading::Within]);
    assert!((12.0..12.1).contains(&looks.seconds), "{looks:?}");
}
