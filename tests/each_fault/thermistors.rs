//! Thermistors that cannot be right.

use crate::story::{ASKS_AT_ONCE, Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

const FIRST: Place = Place::Thermistor(0);

pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            raises: r#"{ kind = "thermistor_open", thermistor = 1 }"#,
            near: r#"{ kind = "thermistor_open", thermistor = 1, until_s = 5.18 }"#,
            shows: Shows::at(FIRST).observed(1.0, 2e-3).limit(0.99, 1e-3),
            ..Story::of(
                Fault::ThermistorOpen,
                "the divider stands at its reference; for 180 ms it is no fault yet, which takes 200 ms",
            )
        },
        Story {
            raises: r#"{ kind = "thermistor_short", thermistor = 1, ohms = 50 }"#,
            near: r#"{ kind = "thermistor_short", thermistor = 1, ohms = 50, until_s = 5.18 }"#,
            shows: Shows::at(FIRST).observed(0.005, 2e-3).limit(0.01, 1e-3),
            ..Story::of(
                Fault::ThermistorShorted,
                "50 Ω of 10 050 Ω are 0.5 %; for 180 ms it is no fault yet, which takes 200 ms",
            )
        },
        Story {
            raises: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = 5.6 }"#,
            asks: ASKS_AT_ONCE,
            near: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = 4.4 }"#,
            shows: Shows::at(FIRST).observed(5.6, 0.4).limit(5.0, 1e-3),
            ..Story::of(Fault::ThermistorJump, "5.6 K at once, and 4.4 K, of 5 K in a second")
        },
        Story {
            seconds: 100.0,
            heals: 75.0,
            raises: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = -16.5, ramp_s = 20 }"#,
            near: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = -14, ramp_s = 20 }"#,
            shows: Shows::at(FIRST).observed(16.5, 0.4).limit(15.0, 1e-3),
            ..Story::of(
                Fault::ThermistorStray,
                "16.5 K and 14 K below sound neighbours, of 15 K; within 20 s so that it is no jump",
            )
        },
        Story {
            seconds: 760.0,
            heals: 60.0,
            acts: "",
            more: "rest = { step_s = 1 }\nsurroundings = [{ at_s = 0, celsius = 18 }, { at_s = 5, celsius = 60 }]",
            raises: r#"{ kind = "thermistor_frozen", thermistor = 1 }"#,
            near: r#"{ kind = "thermistor_frozen", thermistor = 1, until_s = 560 }"#,
            shows: Shows::at(FIRST).limit(3.0, 1e-3),
            ..Story::of(
                Fault::ThermistorFrozen,
                "42 K outside warm the modules by 42 K · 0.45 W/K / 2050 J/K = 0.009 °C/s, 5 K in the ten minutes that must pass; after 555 s they have not",
            )
        },
        Story {
            raises: r#"{ kind = "thermistor_open", thermistor = 1 }, { kind = "thermistor_short", thermistor = 2 }"#,
            near: r#"{ kind = "thermistor_open", thermistor = 1 }, { kind = "thermistor_short", thermistor = 3 }"#,
            beside: &[Fault::ThermistorOpen, Fault::ThermistorShorted],
            shows: Shows::at(Place::Module(0)),
            ..Story::of(
                Fault::ModuleWithoutSensor,
                "both sensors of module 1, and one of module 1 and one of module 2",
            )
        },
    ]
}
