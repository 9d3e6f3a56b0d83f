//! Contactors and the link behind them.

use crate::story::{ASKS_AT_ONCE, Shows, Story};
use bms_core::Fault;
use bms_core::frame::Contactor;
use bms_core::witness::Place;

const NEGATIVE: Place = Place::Contactor(Contactor::Negative);
const PRECHARGE: Place = Place::Contactor(Contactor::Precharge);
const POSITIVE: Place = Place::Contactor(Contactor::Positive);

/// The contact lies, the voltages do not.
const NO_WELD: &str =
    "a weld joins both sides of the open contactor; a feedback contact that says so alone does not";

pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            raises: r#"{ kind = "contactor_coil_open", contactor = "precharge", at_s = 0 }"#,
            seconds: 5.0,
            asks: ASKS_AT_ONCE,
            near: r#"{ kind = "precharge_open", at_s = 0 }"#,
            beside: &[Fault::PrechargeFlat],
            shows: Shows::at(PRECHARGE),
            ..Story::of(
                Fault::PrechargeStuckOpen,
                "nothing rises in 100 ms either way; the feedback contact tells the contactor from the resistor",
            )
        },
        Story {
            raises: r#"{ kind = "contactor_slow", contactor = "negative", milliseconds = 530, at_s = 0 }"#,
            seconds: 5.0,
            asks: ASKS_AT_ONCE,
            near: r#"{ kind = "contactor_slow", contactor = "negative", milliseconds = 450, at_s = 0 }"#,
            beside: &[Fault::FeedbackImplausible],
            shows: Shows::at(NEGATIVE),
            ..Story::of(
                Fault::NegativeStuckOpen,
                "a step may take 500 ms, of which a sound contactor takes 15 to 20 ms",
            )
        },
        Story {
            raises: r#"{ kind = "contactor_slow", contactor = "positive", milliseconds = 165, at_s = 0 }"#,
            seconds: 5.0,
            asks: ASKS_AT_ONCE,
            near: r#"{ kind = "contactor_slow", contactor = "positive", milliseconds = 110, at_s = 0 }"#,
            beside: &[Fault::FeedbackImplausible],
            shows: Shows::at(POSITIVE),
            ..Story::of(
                Fault::PositiveStuckOpen,
                "precharge goes off 40 ms after the coil of positive comes on; without positive the link then falls by five errors, 1.28 V, in \
                 62 ms. A sound contactor has closed after 20 ms, one that is 110 ms late in the last moment",
            )
        },
        Story {
            acts: "",
            raises: r#"{ kind = "contactor_welded", contactor = "negative" }"#,
            near: r#"{ kind = "feedback_stuck_closed", contactor = "negative" }"#,
            beside: &[Fault::FeedbackImplausible],
            shows: Shows::at(NEGATIVE),
            ..Story::of(Fault::NegativeWelded, NO_WELD)
        },
        Story {
            acts: "",
            raises: r#"{ kind = "contactor_welded", contactor = "precharge" }"#,
            near: r#"{ kind = "feedback_stuck_closed", contactor = "precharge" }"#,
            beside: &[Fault::FeedbackImplausible],
            shows: Shows::at(PRECHARGE),
            ..Story::of(Fault::PrechargeWelded, NO_WELD)
        },
        Story {
            acts: "",
            raises: r#"{ kind = "contactor_welded", contactor = "positive" }"#,
            near: r#"{ kind = "feedback_stuck_closed", contactor = "positive" }"#,
            beside: &[Fault::FeedbackImplausible],
            shows: Shows::at(POSITIVE),
            ..Story::of(Fault::PositiveWelded, NO_WELD)
        },
        Story {
            raises: r#"{ kind = "feedback_stuck_open", contactor = "negative" }"#,
            near: r#"{ kind = "feedback_stuck_open", contactor = "negative", until_s = 5.08 }"#,
            shows: Shows::at(NEGATIVE),
            ..Story::of(
                Fault::FeedbackImplausible,
                "voltages and current pass while the contact says open; 80 ms are less than the 100 ms it takes",
            )
        },
        Story {
            asks: ASKS_AT_ONCE,
            raises: r#"{ kind = "feedback_stuck_closed", contactor = "precharge" }"#,
            near: r#"{ kind = "feedback_stuck_closed", contactor = "precharge", until_s = 5.08 }"#,
            beside: &[Fault::FeedbackImplausible],
            shows: Shows::at(PRECHARGE),
            ..Story::of(
                Fault::ContactorStateUnknown,
                "beside a closed positive no voltage tells; 80 ms are less than the 100 ms it takes",
            )
        },
    ]
}

/// The link behind them, and what reads it.
pub(crate) fn link() -> Vec<Story> {
    vec![
        Story {
            raises: r#"{ kind = "link_reading_dead" }"#,
            near: r#"{ kind = "link_reading_dead", until_s = 5.08 }"#,
            shows: Shows::at(Place::Link).observed(53.1, 0.4).limit(1.28, 2e-3),
            ..Story::of(
                Fault::LinkReadingImplausible,
                "the cross voltages put the link at the pack's 53.1 V, and five errors of 0.256 V are allowed; 80 ms are less than the 100 ms it takes",
            )
        },
        Story {
            acts: r#"{ at_s = 1, ask = "close" }, { at_s = 8, ask = "open" }"#,
            raises: r#"{ kind = "motor_turning", percent = 100 }"#,
            asks: ASKS_AT_ONCE,
            near: r#"{ kind = "motor_turning", percent = 86 }"#,
            shows: Shows::at(Place::Link).observed(14.7, 0.5).limit(12.8, 0.01),
            ..Story::of(
                Fault::LinkStaysLive,
                "5 s after opening exp(-5 / 4) = 28.7 % of the motor's voltage are left: 14.7 V of 100 % of 51.2 V, 12.6 V of 86 %; a quarter of 51.2 V is 12.8 V",
            )
        },
    ]
}

/// What only many closings and openings raise, so that it begins in the store, and only a new contactor ends.
pub(crate) fn worn() -> Vec<Story> {
    vec![
        Story {
            acts: r#"{ at_s = 1, ask = "close" }, { at_s = 7, ask = "open" }"#,
            worn: r#"{ contactor = "positive", worn_percent = 60, counted_percent = 99.999 }"#,
            near_worn: r#"{ contactor = "positive", worn_percent = 60, counted_percent = 99.99 }"#,
            shows: Shows::at(POSITIVE).observed(1.0, 2e-5).limit(1.0, 0.0),
            // The contactors are open by then, and a new one can be entered.
            asks: 4.5,
            mend_acts: r#"{ at_s = @, ask = "replace", contactor = "positive" }, "#,
            ..Story::of(
                Fault::ContactorWorn,
                "the start closes onto less than 10 %, which takes 1 / 50 000 = 0.002 % of a life by the sheet: 99.999 % become 100.001 %, 99.99 % become \
                 99.992 %. In truth this contactor has used 60 % of its life, and does not weld",
            )
        },
        Story {
            seconds: 5.0,
            worn: r#"{ contactor = "negative", worn_percent = 60, counted_percent = 200 }"#,
            near_worn: r#"{ contactor = "negative", worn_percent = 60, counted_percent = 199.99 }"#,
            beside: &[Fault::ContactorWorn],
            shows: Shows::at(NEGATIVE).observed(2.0, 0.0).limit(2.0, 0.0),
            mend_acts: r#"{ at_s = @, ask = "replace", contactor = "negative" }, "#,
            ..Story::of(
                Fault::ContactorWornOut,
                "two lives by the sheet bar closing from the start; in truth this contactor has used 60 % of its life, and is not welded",
            )
        },
    ]
}
