//! What separates two defects, and two faults.

use super::{CONFIRMED, case, each_kind, over_voltage, text, volts};
use crate::case::Knob;
use crate::defect::{Defect, Kind};
use crate::explain::contrast::faults::{Approach, BetweenFaults, Looks, Order};
use crate::explain::contrast::{Channel, Compared, Contrast, Difference, Trial};
use crate::explain::distance::Came;
use crate::explain::words;
use crate::recording::Nearest;
use bms_core::fault::{Fault, Reading, Stage};
use bms_core::sense::PartName;
use bms_core::units::Millis;
use bms_core::witness::{Assessment, Place, Quantity};
use snapbox::{assert_data_eq, file};

const TRIALS: [Trial; 8] = [
    Trial::LoadSteps(1),
    Trial::LoadSteps(3),
    Trial::Charge,
    Trial::Rest,
    Trial::Reclose,
    Trial::Bleed(3),
    Trial::SwapThermistors(2),
    Trial::Meter,
];

#[test]
fn a_reading_of_every_channel_and_every_act() {
    let of = |channel, here, there| Difference { channel, seconds: 32.1, here, there };
    let mut examples = vec![
        of(Channel::Cell(36), 3.012, 3.312),
        of(Channel::PulledCell(3), 3.364, 3.314),
        of(Channel::Thermistor(2), 71.23, 69.04),
        of(Channel::Current, -83.1, -150.0),
        of(Channel::CurrentCheck, -83.0, -150.2),
        of(Channel::Pack, 307.2, 298.1),
        of(Channel::BehindNegative, 0.1, 153.6),
        of(Channel::BehindPositive, 307.2, 153.6),
        of(Channel::Link, -0.2, 307.1),
        of(Channel::Supply, 11.04, 12.61),
        of(Channel::Pole(0), 20.1, 153.5),
        of(Channel::Feedback(1), 1.0, 0.0),
        of(Channel::Interlock, 0.0, 1.0),
        of(Channel::InterlockBreaks, 3.0, 0.0),
        of(Channel::Disconnect(0), 0.0, 1.0),
        of(Channel::Disconnect(1), 1.0, 0.0),
        of(Channel::ImpactEdges, 20.0, 0.0),
        of(Channel::Cooling, 0.0, 1.0),
        of(Channel::Bleeding, 0.0, 1.0),
        of(Channel::Clock, 32_110.0, 32_100.0),
        of(Channel::MeteredCell(36), 3.301, 3.312),
        of(Channel::MeteredBleed(3), 3.203, 3.3),
        of(Channel::MeteredInsulation, 20.0, 3_000.0),
        of(Channel::WarmCell(36), 31.2, 22.1),
        of(Channel::WarmJoint(36), 22.1, 61.0),
    ];
    examples.push(of(Channel::Age(PartName::Poles), u32::MAX.into(), 0.0));
    examples.extend(PartName::ALL.map(|part| of(Channel::Age(part), 120.0, 0.0)));
    let mut lines = each_kind!(Difference, words::reading, examples, {
        Difference { channel: Channel::Cell(_), .. } => "cell",
        Difference { channel: Channel::PulledCell(_), .. } => "pulled cell",
        Difference { channel: Channel::Thermistor(_), .. } => "thermistor",
        Difference { channel: Channel::Current, .. } => "current",
        Difference { channel: Channel::CurrentCheck, .. } => "current check",
        Difference { channel: Channel::Pack, .. } => "pack",
        Difference { channel: Channel::BehindNegative, .. } => "behind negative",
        Difference { channel: Channel::BehindPositive, .. } => "behind positive",
        Difference { channel: Channel::Link, .. } => "link",
        Difference { channel: Channel::Supply, .. } => "supply",
        Difference { channel: Channel::Pole(_), .. } => "pole",
        Difference { channel: Channel::Feedback(_), .. } => "feedback",
        Difference { channel: Channel::Interlock, .. } => "interlock",
        Difference { channel: Channel::InterlockBreaks, .. } => "interlock breaks",
        Difference { channel: Channel::Disconnect(_), .. } => "disconnect",
        Difference { channel: Channel::ImpactEdges, .. } => "impact edges",
        Difference { channel: Channel::Cooling, .. } => "cooling",
        Difference { channel: Channel::Bleeding, .. } => "bleeding",
        Difference { channel: Channel::Age(_), .. } => "age",
        Difference { channel: Channel::Clock, .. } => "clock",
        Difference { channel: Channel::MeteredCell(_), .. } => "metered cell",
        Difference { channel: Channel::MeteredBleed(_), .. } => "metered bleed",
        Difference { channel: Channel::MeteredInsulation, .. } => "metered insulation",
        Difference { channel: Channel::WarmCell(_), .. } => "warm cell",
        Difference { channel: Channel::WarmJoint(_), .. } => "warm joint",
    });
    let apart = of(Channel::Cell(36), 3.012, 3.312);
    let said = |trial: &Trial| words::tried_in_both(*trial, (*trial != Trial::Rest).then_some(&apart));
    lines.extend(each_kind!(Trial, said, TRIALS, {
        Trial::LoadSteps(_) => "load steps",
        Trial::Charge => "charge",
        Trial::Rest => "rest",
        Trial::Reclose => "open and close",
        Trial::Bleed(_) => "bleed",
        Trial::SwapThermistors(_) => "swap",
        Trial::Meter => "meter",
    }));
    let instead = Defect::usual(Kind::LooseJointTapBelow, 36, 10.0);
    let parted = Contrast {
        instead,
        of: Some(0),
        played: Compared {
            differences: vec![apart; 9],
            acts_apart: Some(43.34),
            confirmed: [vec![Fault::CellResistanceHigh, Fault::CellUnderVoltage], Vec::new()],
            until: 43.34,
        },
        trials: Vec::new(),
    };
    let played = Compared { until: 300.0, ..Compared::default() };
    let alike = Contrast { instead, of: None, played, trials: vec![(Trial::Rest, None)] };
    let whole = words::contrast(&parted, &case()) + &words::contrast(&alike, &case());
    assert_data_eq!(text(&lines) + &whole, file!["between_defects.txt"]);
}

#[test]
fn every_way_in_which_two_faults_are_apart() {
    let near = over_voltage(3_640, Reading::Between, Stage::Clear);
    let other = Assessment {
        fault: Fault::PackSumDisagrees,
        place: Place::Pack,
        observed: Some(Quantity::Volts(volts(120))),
        limit: Some(Quantity::Volts(volts(3_072))),
        reading: Reading::Within,
        stage: Stage::Clear,
        dwell: Millis(1_000),
    };
    let beyond = over_voltage(3_661, Reading::Beyond, CONFIRMED);
    let unknown = Assessment { observed: None, reading: Reading::Unknown, ..other };
    let approach =
        |fault| Approach { fault, confirmed: None, nearest: None, looked: 0, beyond: 0, cause: None };
    let [one, two] = [Fault::CellOverVoltage, Fault::PackSumDisagrees].map(approach);
    let confirmed = Approach { confirmed: Some((43.34, beyond)), cause: Some(1), ..one };
    let later = Approach { confirmed: Some((45.0, other)), cause: Some(1), ..two };
    let nearest =
        Approach { nearest: Some(Nearest { assessment: near, seconds: 39.15 }), looked: 300, ..one };
    let looks = |seconds, of| Some(Looks { tick: 4_334, seconds, of });
    let order = |first, apart_seconds, silenced, came| Some(Order { first, apart_seconds, silenced, came });
    let dwell = Some((Knob::Dwell(Fault::CellOverVoltage), 3_600_000.0));
    let trip = Some((Knob::Trip(Fault::CellOverVoltage), 4.2));
    let came = Some(Came { tick: 4_500, seconds: 45.0, by: None });
    let base = BetweenFaults {
        approaches: [confirmed, two],
        apart: [looks(43.34, [beyond, other]), None],
        when_confirmed: [looks(43.34, [beyond, other]), None],
        order: None,
        trials: Vec::new(),
    };
    let not_yet = looks(41.0, [beyond, unknown]).map(|looks| Looks { tick: 4_100, ..looks });
    let elsewhere = Approach { cause: Some(0), ..later };
    let both = [confirmed, later];
    let tried = |trial| {
        (trial, (trial != Trial::Rest).then_some(Looks { tick: 31_000, seconds: 310.0, of: [beyond, other] }))
    };
    let found = [
        base.clone(),
        BetweenFaults { when_confirmed: [not_yet, None], ..base.clone() },
        BetweenFaults { approaches: both, order: order(0, 1.66, dwell, None), ..base.clone() },
        BetweenFaults { approaches: both, order: order(0, 1.66, trip, came), ..base.clone() },
        BetweenFaults {
            approaches: [confirmed, elsewhere],
            order: order(1, 0.0, None, None),
            ..base.clone()
        },
        BetweenFaults { apart: [base.apart[0], looks(44.0, [near, other])], ..base.clone() },
        BetweenFaults {
            approaches: [nearest, Approach { looked: 300, ..two }],
            apart: [None; 2],
            trials: TRIALS.map(tried).to_vec(),
            ..base.clone()
        },
        BetweenFaults { approaches: [one, two], apart: [None; 2], ..base },
    ];
    let told: Vec<String> =
        found.iter().map(|found| words::between_faults(found, &case()).join("\n") + "\n").collect();
    assert_data_eq!(told.join("\n"), file!["between_faults.txt"]);
}
