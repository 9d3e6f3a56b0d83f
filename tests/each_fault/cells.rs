//! Stories of cell voltages, resistance and charge.

use crate::Story;
use bms_core::Fault;

/// 3.33 V at 60 %: what is added by the channel stands in the reading at once.
pub(crate) fn stories() -> Vec<Story> {
    vec![
        Story::of(
            Fault::CellOverVoltage,
            "kind = \"cell_channel_offset\", cell = 5, millivolts = #",
            330.0,
            310.0,
        ),
        Story::of(
            Fault::CellOverVoltageFar,
            "kind = \"cell_channel_offset\", cell = 5, millivolts = #",
            430.0,
            410.0,
        ),
        Story::of(
            Fault::CellUnderVoltage,
            "kind = \"cell_channel_offset\", cell = 5, millivolts = #",
            -500.0,
            -480.0,
        ),
        Story::of(Fault::CellSpread, "kind = \"cell_channel_offset\", cell = 5, millivolts = #", 130.0, 70.0),
    ]
}
