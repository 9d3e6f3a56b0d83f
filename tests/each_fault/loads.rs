//! Loads that take what they want: over-currents, the heat of fuse and cable, limits that are not obeyed.

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
            duty: r#"{ do = "hold", for_s = 8 }, { do = "hoist", rate_c = 4, for_s = 1.75 }"#,
            heals: 20.0,
            raises: IGNORES,
            near: IGNORES,
            near_duty: Some(r#"{ do = "hold", for_s = 8 }, { do = "hoist", rate_c = 4, for_s = 1.45 }"#),
            shows: Shows::at(Place::Pack).observed(0.805, 0.01).limit(0.8, 1e-3),
            ..Story::of(
                Fault::ThermalCurrentNear,
                "at 4C the budget of 3 · 10 s lasts 30 s / (16 - 1) = 2 s: 80 % after 1.6 s, of which the rise of the current takes 0.06 s",
            )
        },
        Story {
            duty: r#"{ do = "hold", for_s = 8 }, { do = "hoist", rate_c = 4, for_s = 2.25 }"#,
            heals: 20.0,
            raises: IGNORES,
            near: IGNORES,
            near_duty: Some(r#"{ do = "hold", for_s = 8 }, { do = "hoist", rate_c = 4, for_s = 1.85 }"#),
            beside: &[Fault::ThermalCurrentNear, Fault::LimitNotObeyedFar],
            shows: Shows::at(Place::Pack).observed(1.0, 0.01).limit(1.0, 1e-3),
            ..Story::of(
                Fault::ThermalCurrentOver,
                "at 4C the budget of 3 · 10 s lasts 30 s / (16 - 1) = 2 s, and the rise of the current takes 0.06 s",
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
