//! Cell voltages: over, under, reversed, apart, and their sum against the pack.

use crate::story::{Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

/// Cell 5.
const FIFTH: Place = Place::Cell(4);

/// A cell rests at 3.317 V at 60 % and at 3.119 V at 5 % (Safari and Delacourt 2011, evaluated in `NumPy`). What its channel adds stands in
/// the reading at once; offset, gain, noise and step of a sound channel are 3 mV together.
pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story {
            raises: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = 348 }"#,
            near: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = 318 }"#,
            shows: Shows::at(FIFTH).observed(3.665, 0.01).limit(3.65, 1e-3),
            ..Story::of(
                Fault::CellOverVoltage,
                "3.317 V and 348 mV are 3.665 V of 3.65 V, and 318 mV are 3.635 V",
            )
        },
        Story {
            raises: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = 448 }"#,
            near: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = 418 }"#,
            beside: &[Fault::CellOverVoltage],
            shows: Shows::at(FIFTH).observed(3.765, 0.01).limit(3.75, 1e-3),
            ..Story::of(
                Fault::CellOverVoltageFar,
                "3.317 V and 448 mV are 3.765 V of 3.75 V, and 418 mV are 3.735 V",
            )
        },
        Story {
            start: (5.0, 18.0),
            raises: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = -340 }"#,
            near: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = -300 }"#,
            shows: Shows::at(FIFTH).observed(2.78, 0.015).limit(2.8, 1e-3),
            ..Story::of(
                Fault::CellUnderVoltage,
                "3.119 V at 5 % less 340 mV are 2.78 V of 2.80 V, less 300 mV 2.82 V",
            )
        },
        Story {
            raises: r#"{ kind = "cell_channel_gain", cell = 5, percent = -26 }"#,
            near: r#"{ kind = "cell_channel_gain", cell = 5, percent = -23 }"#,
            beside: &[Fault::CellUnderVoltage, Fault::PackSumDisagrees],
            shows: Shows::at(FIFTH).observed(2.455, 0.01).limit(2.5, 1e-3),
            ..Story::of(
                Fault::CellUnderVoltageFar,
                "74 % of 3.317 V are 2.455 V of 2.50 V, 77 % are 2.55 V; the sum lacks 0.86 V, of which 1 % of 51.2 V is the limit",
            )
        },
        Story {
            raises: r#"{ kind = "cell_channel_gain", cell = 5, percent = -42 }"#,
            near: r#"{ kind = "cell_channel_gain", cell = 5, percent = -38 }"#,
            beside: &[Fault::CellUnderVoltage, Fault::CellUnderVoltageFar, Fault::PackSumDisagrees],
            shows: Shows::at(FIFTH).observed(1.924, 0.01).limit(2.0, 1e-3),
            ..Story::of(
                Fault::CellDeeplyDischarged,
                "58 % of 3.317 V are 1.924 V of 2.00 V at rest, 62 % are 2.06 V",
            )
        },
        Story {
            raises: r#"{ kind = "charge_out_of_line", cell = 5, ampere_hours = -12.6 }"#,
            near: r#"{ kind = "charge_out_of_line", cell = 5, ampere_hours = -12.2 }"#,
            beside: &[Fault::CellUnderVoltage, Fault::CellUnderVoltageFar, Fault::CellDeeplyDischarged],
            shows: Shows::at(FIFTH).limit(0.5, 1e-3),
            mend_defects: r#", { kind = "charge_out_of_line", cell = 5, ampere_hours = 12.6, at_s = @ }"#,
            ..Story::of(
                Fault::CellReversed,
                "12 Ah are in it: 0.6 Ah or 3 % below empty the curve has fallen off its cliff, 1 % below it has not",
            )
        },
        Story {
            seconds: 400.0,
            heals: 65.0,
            raises: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = -315 }"#,
            near: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = -285 }"#,
            shows: Shows::at(FIFTH).observed(0.315, 6e-3).limit(0.3, 1e-3),
            ..Story::of(
                Fault::CellSpread,
                "0.315 V and 0.285 V of three times 0.1 V: before any comparison the charge is not known to lie on the plateau",
            )
        },
        Story {
            seconds: 400.0,
            heals: 65.0,
            raises: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = -315 }, { kind = "cell_channel_offset", cell = 9, millivolts = 310 }"#,
            near: r#"{ kind = "cell_channel_offset", cell = 5, millivolts = -285 }, { kind = "cell_channel_offset", cell = 9, millivolts = 285 }"#,
            beside: &[Fault::CellSpread],
            shows: Shows::at(FIFTH).observed(0.625, 6e-3).limit(0.6, 1e-3),
            ..Story::of(
                Fault::CellSpreadFar,
                "two channels apart by 0.625 V and by 0.57 V of 0.6 V, each of them within the limits of a cell",
            )
        },
        Story {
            raises: r#"{ kind = "pack_voltage_gain", percent = 1.2 }"#,
            near: r#"{ kind = "pack_voltage_gain", percent = 0.75 }"#,
            shows: Shows::at(Place::Pack).observed(0.64, 0.08).limit(0.512, 1e-3),
            ..Story::of(
                Fault::PackSumDisagrees,
                "1.2 % of 53.3 V are 0.64 V, 0.75 % are 0.40 V; 1 % of 51.2 V is the limit, and 0.08 V the channel's own error",
            )
        },
    ]
}
