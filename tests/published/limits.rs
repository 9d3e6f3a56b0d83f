//! How much current a temperature allows.

use crate::closed_loop;
use bms_core::frame::Wanted;

/// A cell sheet (26650, 4 Ah, machineu.com, item pz71db9fd): no charge below 0 °C, 0.2C to 5 °C, 0.5C to 15 °C, 1C above. What the firmware
/// gives out is never more, and something wherever the sheet allows something.
#[test]
fn charge_follows_the_steps_of_a_cell_sheet() {
    for (celsius, most, least) in [
        (-10.0, 0.0, 0.0),
        (-3.0, 0.0, 0.0),
        (3.5, 20.0, 1.0),
        (4.0, 20.0, 1.0),
        (12.0, 50.0, 10.0),
        (20.0, 100.0, 50.0),
    ] {
        let mut given = f64::NAN;
        closed_loop(
            celsius,
            6.0,
            |_| 0.0,
            |_| Wanted::Closed,
            |_, _, decision| given = f64::from(decision.limits.charge.milli()) / 1_000.0,
        );
        assert!((least..=most).contains(&given), "{given} A at {celsius} °C");
    }
}
