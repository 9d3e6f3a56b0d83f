//! Currents: too much, from channels that contradict, or where there can be none.

use crate::story::{ASKS_AT_ONCE, Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

/// A load that takes what it wants; 1C is 20 A, and the current has settled to 1 % after 0.2 s.
const IGNORES: &str = r#"{ kind = "load_ignores_limit" }"#;

pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            duty: r#"{ do = "hold", for_s = 8 }, { do = "fast-lower", rate_c = 3.3, for_s = 0.4 }"#,
            asks: ASKS_AT_ONCE,
            raises: IGNORES,
            near: IGNORES,
            near_duty: Some(
                r#"{ do = "hold", for_s = 8 }, { do = "fast-lower", rate_c = 2.8, for_s = 0.4 }"#,
            ),
            shows: Shows::at(Place::Pack).observed(63.0, 3.5).limit(60.0, 0.01),
            ..Story::of(
                Fault::OverCurrentCharge,
                "3.3C pass 3C, 2.8C do not; 0.4 s are too short for any other fault",
            )
        },
        Story {
            duty: r#"{ do = "hold", for_s = 8 }, { do = "hoist", rate_c = 5.5, for_s = 0.4 }"#,
            asks: ASKS_AT_ONCE,
            raises: IGNORES,
            near: IGNORES,
            near_duty: Some(r#"{ do = "hold", for_s = 8 }, { do = "hoist", rate_c = 4.7, for_s = 0.4 }"#),
            shows: Shows::at(Place::Pack).observed(105.0, 6.0).limit(100.0, 0.01),
            ..Story::of(
                Fault::OverCurrentDischarge,
                "5.5C pass 5C, 4.7C do not; 0.4 s are too short for any other fault",
            )
        },
        Story {
            raises: r#"{ kind = "current_offset", current_sensor = "check", amps = 4 }"#,
            near: r#"{ kind = "current_offset", current_sensor = "check", amps = 3.2 }"#,
            shows: Shows::at(Place::Pack).observed(4.0, 0.4).limit(3.6, 0.01),
            ..Story::of(
                Fault::CurrentSensorsDisagree,
                "4 A and 3.2 A of 3 % of 120 A; both channels are right to 0.2 A",
            )
        },
        Story {
            acts: "",
            raises: r#"{ kind = "current_offset", current_sensor = "main", amps = 1.2, at_s = 14 }"#,
            near: r#"{ kind = "current_offset", current_sensor = "main", amps = 0.85, at_s = 14 }"#,
            shows: Shows::at(Place::Pack).observed(1.2, 0.1).limit(1.0, 1e-3),
            ..Story::of(
                Fault::CurrentWhileOpen,
                "1.2 A and 0.85 A of 1 A, once the idle offset is learnt, which takes 10 s",
            )
        },
        Story {
            seconds: 14.0,
            duty: r#"{ do = "hold", for_s = 6 }, { times = 3, phases = [{ do = "travel", rate_c = 0.4, for_s = 1 }, { do = "hold", for_s = 1 }] }"#,
            raises: r#"{ kind = "current_reversed", current_sensor = "main" }, { kind = "current_reversed", current_sensor = "check" }"#,
            near: r#"{ kind = "current_reversed", current_sensor = "main" }, { kind = "current_reversed", current_sensor = "check" }"#,
            near_duty: Some(
                r#"{ do = "hold", for_s = 6 }, { times = 3, phases = [{ do = "travel", rate_c = 0.26, for_s = 1 }, { do = "hold", for_s = 1 }] }"#,
            ),
            vouched: true,
            ..Story::of(
                Fault::CurrentSignImplausible,
                "both channels reversed, or they would contradict each other; 0.4C is a load step, 0.26C is less than the 0.3C of one",
            )
        },
        Story {
            start: (60.0, 25.0),
            duty: r#"{ do = "hold", for_s = 8 }, { do = "fast-lower", rate_c = 1.12, for_s = 2.8 }"#,
            asks: ASKS_AT_ONCE,
            raises: IGNORES,
            near: IGNORES,
            near_duty: Some(
                r#"{ do = "hold", for_s = 8 }, { do = "fast-lower", rate_c = 1.08, for_s = 2.8 }"#,
            ),
            shows: Shows::at(Place::Pack).observed(2.4, 0.1).limit(2.0, 0.01),
            ..Story::of(
                Fault::LimitNotObeyed,
                "at 25 °C 1C may flow in: 1.12C are 2.4 A and 1.08C 1.6 A beyond it, of a tenth of 20 A for 2 s",
            )
        },
        Story {
            start: (60.0, 25.0),
            duty: r#"{ do = "hold", for_s = 8 }, { do = "fast-lower", rate_c = 1.33, for_s = 1.5 }"#,
            asks: ASKS_AT_ONCE,
            raises: IGNORES,
            near: IGNORES,
            near_duty: Some(
                r#"{ do = "hold", for_s = 8 }, { do = "fast-lower", rate_c = 1.27, for_s = 1.5 }"#,
            ),
            shows: Shows::at(Place::Pack).observed(6.6, 0.15).limit(6.0, 0.01),
            ..Story::of(
                Fault::LimitNotObeyedFar,
                "at 25 °C 1C may flow in: 1.33C are 6.6 A and 1.27C 5.4 A beyond it, of three tenths of 20 A",
            )
        },
    ]
}
