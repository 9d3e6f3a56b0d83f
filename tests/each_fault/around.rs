//! Around the pack: interlock, disconnects, fuse, impact sensor.

use crate::story::{ASKS_AT_ONCE, Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

const OPEN: &str = r#"{ kind = "interlock_open" }"#;

pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            raises: OPEN,
            near: r#"{ kind = "interlock_intermittent", per_minute = 2 }"#,
            beside: &[Fault::InterlockIntermittent],
            ..Story::of(
                Fault::InterlockOpen,
                "an open loop is open for good; one that is loose is open for 2 to 8 ms, less than the dwell",
            )
        },
        Story {
            duty: r#"{ do = "travel", rate_c = 1, for_s = 30 }"#,
            raises: OPEN,
            near: OPEN,
            near_duty: Some(r#"{ do = "travel", rate_c = 0.4, for_s = 30 }"#),
            beside: &[Fault::InterlockOpen],
            ..Story::of(
                Fault::InterlockOpenAtLoad,
                "20 A are a load, 8 A are none beside a switching limit of 10 A; once it is set down the loop is open without one",
            )
        },
        Story {
            raises: r#"{ kind = "interlock_intermittent", per_minute = 4 }"#,
            near: OPEN,
            beside: &[Fault::InterlockOpen],
            shows: Shows::at(Place::Pack).observed(1.0, 1e-9).limit(1.0, 1e-9),
            heals: 65.0,
            ..Story::of(
                Fault::InterlockIntermittent,
                "the first of them comes within 22 s; a loop that stays open has not broken shortly. They count for a minute",
            )
        },
        Story {
            raises: r#"{ kind = "interlock_intermittent", per_minute = 20 }"#,
            near: r#"{ kind = "interlock_intermittent", per_minute = 6 }"#,
            beside: &[Fault::InterlockIntermittent],
            shows: Shows::at(Place::Pack).observed(5.0, 1e-9).limit(5.0, 1e-9),
            heals: 70.0,
            ..Story::of(
                Fault::InterlockIntermittentFar,
                "in the 25 s that the defect lasts 20 a minute are some 8 breaks, 6 a minute at most 4",
            )
        },
        Story {
            raises: r#"{ kind = "service_disconnect_out" }"#,
            near: r#"{ kind = "fuse_blown" }"#,
            beside: &[Fault::StringOpen],
            ..Story::of(
                Fault::ServiceDisconnectOut,
                "both open the string in its middle, and the disconnect has a contact",
            )
        },
        Story {
            raises: r#"{ kind = "fuse_blown" }"#,
            near: r#"{ kind = "service_disconnect_out" }"#,
            beside: &[Fault::ServiceDisconnectOut],
            shows: Shows::at(Place::Pack).observed(0.22, 0.01).limit(0.2, 1e-3),
            ..Story::of(
                Fault::StringOpen,
                "the link falls by 500 Ω and 5 mF: 20 % after 0.56 s, and 50 ms later, when it is confirmed, 1 - exp(-0.62 / 2.5) = 22 %",
            )
        },
        Story {
            acts: "",
            asks: ASKS_AT_ONCE,
            raises: r#"{ kind = "impact_signal", edges = 5 }"#,
            near: r#"{ kind = "impact_signal", edges = 3 }"#,
            shows: Shows::at(Place::Pack).observed(5.0, 1e-9).limit(4.0, 1e-9),
            ..Story::of(
                Fault::ImpactSignal,
                "four edges within 50 ms are an impact; they come a millisecond apart",
            )
        },
        Story {
            raises: r#"{ kind = "auxiliary_disconnect_out" }"#,
            asks: 0.1,
            near: r#"{ kind = "supply_sagging", ohms = 1.15 }"#,
            beside: &[Fault::SupplyLow],
            shows: Shows::at(Place::Supply),
            ..Story::of(
                Fault::AuxiliaryDisconnectPulled,
                "its contact speaks before the supply falls, after which the controller lives for 1.6 s; a supply that sags behind a made contact is low for another reason",
            )
        },
    ]
}
