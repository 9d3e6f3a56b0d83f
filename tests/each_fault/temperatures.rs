//! Temperatures: too hot, too cold, rising by itself.

use crate::story::{Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

/// Thermistor 1 sits on cell 2 in module 1.
const FIRST: Place = Place::Thermistor(0);

/// Readings move by less than a jump (5 °C in a second) and, above 45 °C, by less than what rises by itself (0.3 °C/s); a sensor's own
/// error is 0.2 °C.
pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            seconds: 60.0,
            start: (60.0, 48.0),
            raises: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = 8, ramp_s = 40 }"#,
            near: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = 6, ramp_s = 40 }"#,
            shows: Shows::at(FIRST).observed(55.2, 0.5).limit(55.0, 1e-3),
            ..Story::of(Fault::OverTemperature, "48 °C and 8 K pass 55 °C, and 6 K end at 54 °C")
        },
        Story {
            seconds: 90.0,
            start: (60.0, 51.0),
            raises: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = 14.6, ramp_s = 60 }"#,
            near: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = 13, ramp_s = 60 }"#,
            beside: &[Fault::OverTemperature],
            shows: Shows::at(FIRST).observed(65.2, 0.5).limit(65.0, 1e-3),
            ..Story::of(
                Fault::OverTemperatureFar,
                "51 °C and 14.6 K pass 65 °C, and 13 K end at 64 °C; 15 K would be a stray sensor",
            )
        },
        Story {
            start: (60.0, 3.0),
            duty: r#"{ do = "hold", for_s = 8 }, { do = "lower", rate_c = 0.06, for_s = 6 }"#,
            raises: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = -4 }, { kind = "load_ignores_limit" }"#,
            near: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = -4 }, { kind = "load_ignores_limit" }"#,
            near_duty: Some(r#"{ do = "hold", for_s = 8 }, { do = "lower", rate_c = 0.045, for_s = 6 }"#),
            beside: &[Fault::LimitNotObeyed],
            shows: Shows::at(FIRST).observed(-1.0, 0.4).limit(0.0, 1e-3),
            ..Story::of(
                Fault::ChargingTooCold,
                "0.06C are 1.2 A into a pack that is at -1 °C in one place, more than the 0.05C that count as charging; 0.045C are 0.9 A. Any load that obeyed gave none",
            )
        },
        Story {
            start: (60.0, -26.0),
            raises: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = -4.4 }"#,
            near: r#"{ kind = "thermistor_offset", thermistor = 1, celsius = -3.2 }"#,
            shows: Shows::at(FIRST).observed(-30.4, 0.35).limit(-30.0, 1e-3),
            ..Story::of(
                Fault::TooColdToWork,
                "-26 °C less 4.4 K is below -30 °C, less 3.2 K is not; less than 5 K is no jump",
            )
        },
        Story {
            seconds: 45.0,
            start: (60.0, 42.0),
            raises: r#"{ kind = "cell_heats_itself", cell = 2, watts = 150 }"#,
            near: r#"{ kind = "cell_heats_itself", cell = 2, watts = 115 }"#,
            shows: Shows::at(FIRST).observed(0.33, 0.04).limit(0.3, 1e-3),
            ..Story::of(
                Fault::TemperatureRisingFast,
                "400 J/K warm by 0.375 °C/s at 150 W and by 0.29 °C/s at 115 W, of which the limit is 0.3 °C/s",
            )
        },
        Story {
            seconds: 330.0,
            start: (60.0, 48.0),
            raises: r#"{ kind = "cooling_stopped" }"#,
            near: r#"{ kind = "cooling_stopped", until_s = 290 }"#,
            shows: Shows::at(Place::Pack),
            ..Story::of(
                Fault::CoolingFailed,
                "at 48 °C cooling is on; its tacho may stand for 300 s, and 285 s are less. Below 50 °C the temperature is not asked",
            )
        },
    ]
}
