//! Sense wires.

use crate::story::{Shows, Story};
use bms_core::Fault;
use bms_core::witness::Place;

pub(crate) fn stories() -> Vec<Story> {
    vec![Story {
        seconds: 50.0,
        raises: r#"{ kind = "sense_wire_open", wire = 5 }"#,
        near: r#"{ kind = "sense_wire_corroded", wire = 5, ohms = 100 }"#,
        beside: &[Fault::CellOverVoltageFar, Fault::CellOverVoltage, Fault::CellUnderVoltage],
        shows: Shows::at(Place::Wire(4)).observed(0.5, 0.05).limit(0.2, 1e-3),
        ..Story::of(
            Fault::SenseWireOpen,
            "its input drifts by 5 mV/s, so that the readings ask for a test before 40 s; 1 µC out of 2 µF is half a volt, which then stands in the \
                 readings: the voltages wait 500 ms for the wire and then speak. 500 µA through 100 Ω are 50 mV",
        )
    }]
}
