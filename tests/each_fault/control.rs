//! The controller's own means: supply, measurements, configuration.

use crate::story::{ASKS_AT_ONCE, Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

pub(crate) fn stories() -> Vec<Story> {
    vec![Story {
        asks: ASKS_AT_ONCE,
        raises: r#"{ kind = "supply_sagging", ohms = 1.15 }"#,
        near: r#"{ kind = "supply_sagging", ohms = 0.95 }"#,
        shows: Shows::at(Place::Supply).observed(8.7, 0.1).limit(9.0, 1e-3),
        ..Story::of(
            Fault::SupplyLow,
            "3 A for controller and two holding coils: 12.6 V - 3 A · (0.15 + 1.15) Ω = 8.7 V of 9 V, and 9.3 V with 0.95 Ω",
        )
    }]
}
