//! Defects that look like another one, and must not be taken for it.

use crate::play;
use bms_core::Fault;
use std::collections::BTreeSet;

/// One defect, or two, and all that may be found of it.
pub(crate) struct Alike {
    why: &'static str,
    defects: &'static str,
    celsius: f64,
    acts: &'static str,
    duty: &'static str,
    found: &'static [Fault],
}

/// Three times up and down from 6 s on.
const WORK: &str = r#"{ do = "hold", for_s = 6 }, { times = 3, phases = [{ do = "travel", rate_c = 0.6, for_s = 1 }, { do = "hold", for_s = 1 }] }"#;

const CLOSE: &str = r#"{ at_s = 1, ask = "close" }"#;
const CLOSE_AND_OPEN: &str = r#"{ at_s = 1, ask = "close" }, { at_s = 12, ask = "open" }"#;

impl Alike {
    /// On the training bench at 18 °C: closed, a little work, opened, half a minute in all.
    const fn of(why: &'static str, defects: &'static str, found: &'static [Fault]) -> Self {
        Self { why, defects, celsius: 18.0, acts: CLOSE_AND_OPEN, duty: WORK, found }
    }

    /// What is not as it should be, as sentences.
    pub(crate) fn wrong(&self) -> Vec<String> {
        let Self { why, defects, celsius, acts, duty, found } = self;
        let played = play::text(&format!(
            "schema = 1\ntitle = \"Alike\"\nstory = \"Told by the test.\"\npack = \"trainer\"\nseed = 11\nduration_s = 30\n\
             start = {{ charge_percent = 60, celsius = {celsius} }}\nact = [{acts}]\nduty = [{duty}]\ndefect = [{defects}]\n"
        ));
        let seen: BTreeSet<Fault> = played.confirmed.iter().map(|(_, seen)| seen.fault).collect();
        let told: BTreeSet<Fault> = found.iter().copied().collect();
        if seen == told { Vec::new() } else { vec![format!("{defects} ({why}): {}", played.summary())] }
    }
}

pub(crate) fn all() -> Vec<Alike> {
    let low = &[Fault::InsulationLow, Fault::InsulationLowFar, Fault::ContactorStateUnknown];
    vec![
        Alike::of(
            "the chassis has followed L+ to B+ and settles with a quarter of a second: it draws the open link past the negative pole, to which \
             nothing joins it. 140 kΩ on 53 V are 2 640 Ω/V",
            r#"{ kind = "leak_of_load", kiloohms = 140, at_s = 3 }"#,
            &[],
        ),
        Alike::of("the same, slower", r#"{ kind = "leak_of_load", kiloohms = 1200, at_s = 3 }"#, &[]),
        Alike {
            acts: "",
            duty: "",
            ..Alike::of(
                "a leak on each side of the open contactor holds the link at the pole, within 1 % of a weld",
                r#"{ kind = "leak_positive", kiloohms = 2, at_s = 5 }, { kind = "leak_of_load", kiloohms = 2, at_s = 5 }"#,
                low,
            )
        },
        Alike::of(
            "a link without its bleed-down stays at the pack's voltage like one behind a weld, but the contact of positive says open",
            r#"{ kind = "bleed_down_open", at_s = 3 }"#,
            &[Fault::LinkStaysLive],
        ),
        Alike::of(
            "a contact that says closed while the link holds still tells the truth: the weld is found, and no contact is accused",
            r#"{ kind = "contactor_welded", contactor = "positive", at_s = 3 }"#,
            &[Fault::PositiveWelded],
        ),
        Alike {
            acts: CLOSE,
            ..Alike::of(
                "a dead meter of the link, while the load's current flows through positive",
                r#"{ kind = "link_reading_dead", at_s = 6.5 }"#,
                &[Fault::LinkReadingImplausible],
            )
        },
        Alike::of(
            "a meter that hangs does not fall when the link does. What it shows after 5 s is told as live all the same: nobody should touch what \
             one of two meters calls live",
            r#"{ kind = "link_reading_frozen", at_s = 11 }"#,
            &[Fault::LinkReadingImplausible, Fault::LinkStaysLive],
        ),
        Alike {
            acts: CLOSE,
            celsius: -20.0,
            ..Alike::of(
                "in parallel with 5 kΩ a thermistor at -20 °C reads 47 °C: the cells beside it are as resistive as the cold makes all of them",
                r#"{ kind = "thermistor_moisture", thermistor = 3, kiloohms = 5, at_s = 3 }"#,
                &[Fault::ThermistorJump],
            )
        },
        Alike {
            acts: CLOSE,
            celsius: -20.0,
            ..Alike::of(
                "the same by 60 °C, and never warm enough for a limit",
                r#"{ kind = "thermistor_offset", thermistor = 3, celsius = 60, at_s = 3 }"#,
                &[Fault::ThermistorJump],
            )
        },
    ]
}
