//! All contactors open: what moves the link then, and what that must not be taken for.

use super::bench::{Dialogue, Plant};
use crate::config::Config;
use crate::fault::Fault;
use crate::sequence::Step;

/// The floating link takes its place between the poles with 100 ms: a link that jumps to 360 V beside a pack of 307.2 V lies 180 V away
/// from its new place at first and is taken for one joined to negative for 100 ms · ln(180/13.2) = 261 ms, one at 240 V for positive.
#[test]
fn a_motor_that_lifts_the_open_link_suddenly_is_no_weld() {
    for millivolts in (20_000..=460_000).step_by(20_000) {
        let turning = |plant: &mut Plant| plant.motor = Some(millivolts * 1_000);
        let dialogue = Dialogue::with(Config::crane())
            .at_ms(1_000)
            .with_plant(turning)
            .for_ms(2_000)
            .answers(Step::Open);
        assert_eq!(dialogue.found, [], "{millivolts} mV");
        // Braked by a resistor of 10 Ω it stops as suddenly.
        let stops = |plant: &mut Plant| (plant.motor, plant.load_ohms) = (None, Some(10));
        assert_eq!(dialogue.with_plant(stops).for_ms(2_000).found, [], "{millivolts} mV");
    }
    // A weld is seen through a lifted link as soon as it stands, if it is not lifted to the pack itself.
    for millivolts in [20_000, 200_000, 400_000] {
        let dialogue = Dialogue::with(Config::crane())
            .at_ms(1_000)
            .with_plant(|plant| {
                plant.motor = Some(millivolts * 1_000);
                plant.negative.welded = true;
            })
            .for_ms(700)
            .answers(Step::Barred);
        assert_eq!(dialogue.found, [Fault::NegativeWelded], "{millivolts} mV");
    }
}
