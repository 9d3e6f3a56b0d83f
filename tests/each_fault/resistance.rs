//! What load steps show: resistance, readings that do not follow, a current of the wrong sign.

use crate::story::{Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

/// Three times up and down: six steps.
const STEPS: &str = r#"{ do = "hold", for_s = 6 }, { times = 3, phases = [{ do = "travel", rate_c = 0.6, for_s = 1 }, { do = "hold", for_s = 1 }] }"#;

pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            seconds: 14.0,
            duty: STEPS,
            raises: r#"{ kind = "added_resistance", cell = 5, milliohms = 9.4 }"#,
            near: r#"{ kind = "added_resistance", cell = 5, milliohms = 7.8 }"#,
            shows: Shows::at(Place::Cell(4)).observed(9.4, 0.5).limit(8.6, 0.2),
            vouched: true,
            ..Story::of(
                Fault::CellResistanceHigh,
                "7.5 mΩ and a quarter of what is expected at 18 °C: 3.575 mΩ · 1.214 (20 kJ/mol) / 4 = 1.1 mΩ; cells scatter by 0.3 mΩ",
            )
        },
        Story {
            seconds: 14.0,
            duty: STEPS,
            raises: r#"{ kind = "cell_channel_frozen", cell = 5 }"#,
            near: r#"{ kind = "cell_channel_frozen", cell = 5, until_s = 7.5 }"#,
            shows: Shows::at(Place::Cell(4)).observed(0.0, 0.05).limit(0.2, 1e-3),
            vouched: true,
            ..Story::of(
                Fault::CellReadingFrozen,
                "three steps at 6, 7 and 8 s show nothing of themselves; a channel that is back after two of them is none",
            )
        },
    ]
}
