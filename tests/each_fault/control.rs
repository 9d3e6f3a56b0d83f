//! The controller's own means: supply, measurements, configuration.

use crate::story::{ASKS_AT_ONCE, Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            asks: ASKS_AT_ONCE,
            raises: r#"{ kind = "supply_sagging", ohms = 1.15 }"#,
            near: r#"{ kind = "supply_sagging", ohms = 0.95 }"#,
            shows: Shows::at(Place::Supply).observed(8.7, 0.1).limit(9.0, 1e-3),
            ..Story::of(
                Fault::SupplyLow,
                "3 A for controller and two holding coils: 12.6 V - 3 A · (0.15 + 1.15) Ω = 8.7 V of 9 V, and 9.3 V with 0.95 Ω",
            )
        },
        Story {
            raises: r#"{ kind = "part_stale", part = "cells" }"#,
            near: r#"{ kind = "part_stale", part = "cells", until_s = 5.04 }"#,
            shows: Shows::at(Place::Pack).observed(40.0, 0.1).limit(31.0, 0.1),
            ..Story::of(
                Fault::MeasurementsStale,
                "what stands still since 5 s is 10 ms older with each tick: 30 ms after three of them, which are believed, and 40 ms after four",
            )
        },
        Story {
            raises: r#"{ kind = "configuration_bit" }"#,
            near: r#"{ kind = "configuration_bit", until_s = 5.01 }"#,
            shows: Shows::at(Place::Pack),
            ..Story::of(
                Fault::ConfigurationInvalid,
                "the checksum looks at a section a tick: a bit that is flipped for one tick is found only if it is the turn of its section",
            )
        },
        Story {
            raises: r#"{ kind = "tick_late", milliseconds = 11 }"#,
            near: r#"{ kind = "tick_late", milliseconds = 9 }"#,
            shows: Shows::at(Place::Pack).observed(21.0, 0.1).limit(20.0, 0.1),
            ..Story::of(
                Fault::TickLate,
                "frames 21 ms and 19 ms apart: of ticks of 10 ms a whole one is missing after 20 ms, and 30 ms would be stale",
            )
        },
    ]
}
