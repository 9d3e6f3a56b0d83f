//! Current channels that contradict each other, the contactors or the cells.

use crate::story::{Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

pub(crate) fn stories() -> Vec<Story> {
    vec![
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
    ]
}
