//! Precharge: 10 Ω into 5 mF, a time constant of 49 ms, against 500 Ω of bleed-down.

use crate::story::{ASKS_AT_ONCE, Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            seconds: 5.0,
            asks: ASKS_AT_ONCE,
            raises: r#"{ kind = "precharge_open", at_s = 0 }"#,
            near: r#"{ kind = "contactor_slow", contactor = "precharge", milliseconds = 60, at_s = 0 }"#,
            shows: Shows::at(Place::Link),
            ..Story::of(
                Fault::PrechargeFlat,
                "nothing rises in 100 ms; a contactor that is 60 ms late touches after 80 ms at most",
            )
        },
        Story {
            seconds: 6.0,
            // Insulation is known by then.
            acts: r#"{ at_s = 3, ask = "close" }"#,
            asks: ASKS_AT_ONCE,
            raises: r#"{ kind = "pack_voltage_gain", percent = -15, at_s = 3.2 }"#,
            near: r#"{ kind = "pack_voltage_gain", percent = -3, at_s = 3.2 }"#,
            beside: &[Fault::PackSumDisagrees],
            shows: Shows::at(Place::Link).observed(49.2, 0.5).limit(47.3, 0.1),
            ..Story::of(
                Fault::ClosingDifferenceLarge,
                "the link has passed 49 V of 53 V when the pack's reading drops to 45.1 V: 47.3 V are 5 % above it; to 51.5 V less than that is missing. \
                 A motor does the same to a start, but the world's turns with closed contactors only",
            )
        },
        Story {
            seconds: 5.0,
            asks: ASKS_AT_ONCE,
            raises: r#"{ kind = "load_left_on", ohms = 300, at_s = 0 }"#,
            near: r#"{ kind = "load_left_on", ohms = 450, at_s = 0 }"#,
            shows: Shows::at(Place::Link).observed(50.0, 1.5),
            ..Story::of(
                Fault::PrechargeStalled,
                "with 500 Ω beside it 300 Ω are 187.5 Ω and end at 94.9 % of the pack, 450 Ω are 237 Ω and end at 95.9 %; 95 % are asked",
            )
        },
        Story {
            seconds: 5.0,
            asks: ASKS_AT_ONCE,
            raises: r#"{ kind = "precharge_drifted", percent = 75, at_s = 0 }"#,
            near: r#"{ kind = "precharge_drifted", percent = 45, at_s = 0 }"#,
            shows: Shows::at(Place::Link),
            ..Story::of(
                Fault::PrechargeTooSlow,
                "after 6 · 49 ms the link is at 0.966 · (1 - exp(-294 / 84.5)) = 93.6 % with 17.5 Ω and at 0.972 · (1 - exp(-294 / 70.5)) = 95.7 % with 14.5 Ω",
            )
        },
        Story {
            seconds: 5.0,
            asks: ASKS_AT_ONCE,
            raises: r#"{ kind = "link_capacity_lost", percent = 60, at_s = 0 }"#,
            near: r#"{ kind = "link_capacity_lost", percent = 40, at_s = 0 }"#,
            shows: Shows::at(Place::Link),
            ..Story::of(
                Fault::PrechargeTooFast,
                "twice the speed is the bound: 40 % of the capacitance is 2.5 times as fast, 60 % is 1.7 times",
            )
        },
        Story {
            seconds: 5.0,
            asks: ASKS_AT_ONCE,
            raises: r#"{ kind = "load_left_on", ohms = 3, at_s = 0 }"#,
            near: r#"{ kind = "load_left_on", ohms = 15, at_s = 0 }"#,
            beside: &[Fault::PrechargeStalled],
            shows: Shows::at(Place::Pack),
            heals: 60.0,
            ..Story::of(
                Fault::PrechargeResistorHot,
                "a load of 3 Ω leaves 10 / 13 of the pack across the resistor: 2 · 0.77² / 49 ms = 24 full starts a second, two of them in 83 ms; \
                 15 Ω leave 10 / 25, two starts take 175 ms, and after 150 ms the link stands",
            )
        },
    ]
}
