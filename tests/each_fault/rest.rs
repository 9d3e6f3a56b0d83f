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
            raises: r#"{ kind = "cell_leak", cell = 5, ohms = 1.2 }"#,
            near: r#"{ kind = "cell_leak", cell = 5, ohms = 2.6 }"#,
            shows: Shows::at(Place::Cell(4)).observed(0.026, 0.002).limit(0.009, 0.001),
            heals: 9_000.0,
            vouched: true,
            ..Story::of(
                Fault::InternalShort,
                "1.2 Ω take 2.75 A, 13.8 % an hour: when the window begins, after 85 min, 19.5 % are gone, and from 40.5 to 26.7 % the first \
                 published curve falls from 3.3045 to 3.2780 V; 2.6 Ω take 6.3 % an hour, on the flat part before that: 5.4 mV at most; \
                 5 mV/h and 4 mV for relaxation and warming are the limit",
            )
        },
        Story {
            acts: "",
            raises: r#"{ kind = "bleed_stuck_on", cell = 5 }"#,
            near: r#"{ kind = "bleed_stuck_on", cell = 5, until_s = 7.9 }"#,
            shows: Shows::at(Place::Cell(4)),
            ..Story::of(
                Fault::BleedPathStuckOn,
                "its comparator is looked at once a second, and three times in a row are asked: in 2.9 s it is seen twice or thrice",
            )
        },
        Story {
            seconds: 3_000.0,
            start: (100.0, 18.0),
            acts: "",
            heals: 60.0,
            more: AT_REST,
            raises: r#"{ kind = "charge_out_of_line", cell = 5, ampere_hours = -2, at_s = 0 }, { kind = "bleed_stuck_off", cell = 10 }"#,
            near: r#"{ kind = "charge_out_of_line", cell = 5, ampere_hours = -2, at_s = 0 }, { kind = "bleed_stuck_off", cell = 5 }"#,
            shows: Shows::at(Place::Cell(9)),
            ..Story::of(
                Fault::BleedPathStuckOff,
                "after 43 min of rest a cell that lacks 2 Ah of 20 Ah is known to be emptiest and all others bleed towards it; the switch of the emptiest cell is never told on",
            )
        },
        Story {
            asks: 100.0,
            heals: 300.0,
            seconds: 360_000.0,
            start: (100.0, 18.0),
            acts: "",
            more: "rest = { step_s = 60 }",
            raises: r#"{ kind = "cell_leak", cell = 5, ohms = 200 }"#,
            near: r#"{ kind = "cell_leak", cell = 5, ohms = 400 }"#,
            shows: Shows::at(Place::Cell(4)).observed(0.06, 0.015).limit(0.03, 1e-3),
            vouched: true,
            ..Story::of(
                Fault::CellSelfDischarge,
                "200 Ω take 16.7 mA of a full cell, 60 % a month, of which after two readings a day apart at least 5 % are certain; what 400 Ω take \
                 is less than both errors in these 100 hours",
            )
        },
    ]
}
