//! Insulation of the poles from the chassis.

use crate::story::{Shows, Story};
use bms_core::Fault;
use bms_core::frame::Pole;
use bms_core::witness::Place;

const NEGATIVE: Place = Place::Pole(Pole::Negative);

pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            raises: r#"{ kind = "leak_negative", kiloohms = 25 }"#,
            near: r#"{ kind = "leak_negative", kiloohms = 29 }"#,
            heals: 20.0,
            shows: Shows::at(NEGATIVE).observed(470.0, 20.0).limit(500.0, 0.0),
            ..Story::of(Fault::InsulationLow, "25 kΩ over 53.1 V are 471 Ω/V, 29 kΩ are 546 Ω/V, of 500 Ω/V")
        },
        Story {
            raises: r#"{ kind = "leak_negative", kiloohms = 5 }"#,
            near: r#"{ kind = "leak_negative", kiloohms = 5.8 }"#,
            beside: &[Fault::InsulationLow],
            heals: 20.0,
            shows: Shows::at(NEGATIVE).observed(94.0, 4.0).limit(100.0, 0.0),
            ..Story::of(
                Fault::InsulationLowFar,
                "5 kΩ over 53.1 V are 94 Ω/V, 5.8 kΩ are 109 Ω/V, of 100 Ω/V",
            )
        },
        Story {
            seconds: 310.0,
            raises: r#"{ kind = "pack_voltage_gain", percent = -3 }"#,
            near: r#"{ kind = "pack_voltage_gain", percent = -1 }"#,
            beside: &[Fault::PackSumDisagrees],
            heals: 20.0,
            shows: Shows::at(Place::Pack).observed(300_000.0, 20.0).limit(300_000.0, 0.0),
            ..Story::of(
                Fault::InsulationUnknown,
                "of 53 V the poles together are 1.6 V off the pack, and 0.5 V, of 0.77 V that three meters in error explain: every pair is thrown away",
            )
        },
        Story {
            seconds: 80.0,
            duty: r#"{ do = "hold", for_s = 30 }, { do = "top-up", for_s = 100 }"#,
            raises: r#"{ kind = "leak_negative", kiloohms = 5 }"#,
            near: r#"{ kind = "leak_negative", kiloohms = 5 }"#,
            near_duty: Some(r#"{ do = "hold", for_s = 30 }, { do = "top-up", for_s = 26 }"#),
            beside: &[Fault::InsulationLow, Fault::InsulationLowFar],
            heals: 60.0,
            shows: Shows::at(NEGATIVE).observed(94.0, 4.0).limit(100.0, 0.0),
            ..Story::of(
                Fault::ChargedWithLeak,
                "5 kΩ over 54 V are 93 Ω/V of 100 Ω/V, and a current that has flowed in for 30 s comes from a charger; one of 26 s may be a load that is lowered",
            )
        },
    ]
}
