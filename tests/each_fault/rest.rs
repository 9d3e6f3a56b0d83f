//! What only a rest shows: charge that the voltage excludes, a cell that falls.

use crate::story::{Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

/// Nothing flows; nothing in these hours is quicker than a second.
const AT_REST: &str = "rest = { step_s = 1 }";

pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            seconds: 3_400.0,
            start: (100.0, 18.0),
            acts: "",
            more: AT_REST,
            raises: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = -135, at_s = 2900 }"#,
            near: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = -105, at_s = 2900 }"#,
            shows: Shows::at(Place::Cell(4)).observed(0.38, 0.06).limit(0.2, 1e-3),
            heals: 700.0,
            ..Story::of(
                Fault::ChargeCountDisagrees,
                "after 43 min of rest 3.478 V say that at most 0.18 Ah are missing; ten minutes later a plateau voltage that may be off by \
                 46 mV says at least 0.56 Ah with 135 mV less, and 0.33 Ah with 105 mV less, by the firmware's own curve; 0.2 Ah apart is a fault",
            )
        },
        Story {
            seconds: 12_000.0,
            acts: "",
            more: AT_REST,
            raises: r#"{ kind = "cell_leak", cell = 5, ohms = 2 }"#,
            near: r#"{ kind = "cell_leak", cell = 5, ohms = 2.6 }"#,
            shows: Shows::at(Place::Cell(4)).observed(0.011, 0.002).limit(0.0073, 0.001),
            heals: 9_000.0,
            vouched: true,
            ..Story::of(
                Fault::InternalShort,
                "after two hours 2 Ω have taken 16 % and take 8.2 % an hour, where the curve falls by 1.3 mV/%: 11 mV/h; 2.6 Ω take 6.3 % \
                 an hour on the flatter part before that; 5 mV/h and 2 mV for relaxation and warming are the limit",
            )
        },
    ]
}
