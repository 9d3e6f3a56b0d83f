//! Insulation as the firmware finds it in the closed loop, against the standard's definition.

use crate::near;
use bms_core::frame::{Asked, Pole, Wanted};
use bms_core::insulation::InsulationStep;
use bms_core::units::Instant;
use bms_core::{Config, Controller, Evidence, Fault, Witness};
use bms_sim::defect::{Defect, Kind};
use bms_sim::world::load::Demand;
use bms_sim::world::spec::PackSpec;
use bms_sim::world::{Actuators, Initial, World};

/// The last result that was found.
#[derive(Default)]
struct Found(Option<(Pole, f64, f64)>);

impl Witness for Found {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Insulation(InsulationStep::Found(found)) = evidence {
            self.0 = Some((found.weaker, f64::from(found.ohms.0), f64::from(found.pack.milli()) / 1_000.0));
        }
    }
}

/// UN R100, annex on isolation resistance (revision 2, seen): the isolation resistance is that of the weaker pole, over the voltage of the
/// pack, and at least 100 Ω/V. Leaks at the poles beside 5 MΩ of sound insulation each, contactors open: the firmware's own measurement,
/// with its meters of 2 MΩ taken out again, finds the parallel resistance of the weaker pole (Ohm), and no fault beyond the limits of 100
/// and 500 Ω/V: 30.7 and 153.6 kΩ of the crane.
#[test]
fn the_weaker_pole_is_found_in_ohms_and_judged_in_ohms_per_volt() {
    for (positive, negative, weaker, expected, low, far) in [
        (24e3, 1e7, Pole::Positive, 23.885e3, true, true),
        (1e7, 24e3, Pole::Negative, 23.885e3, true, true),
        (40e3, 1e7, Pole::Positive, 39.683e3, true, false),
        (100e3, 130e3, Pole::Positive, 98.039e3, true, false),
        (1e7, 120e3, Pole::Negative, 117.188e3, true, false),
        (220e3, 1e7, Pole::Positive, 210.728e3, false, false),
    ] {
        let initial = Initial { charge: 0.6, celsius: 20.0 };
        let mut world = World::<96, 16>::new(&PackSpec::crane(), 5, initial).expect("the crane is whole");
        for (kind, ohms) in [(Kind::LeakPositive, positive), (Kind::LeakNegative, negative)] {
            let leak = Defect { severity: ohms / 1_000.0, ..Defect::usual(kind, 0, 0.0) };
            world.inject(leak).expect("a leak of the list");
        }
        let mut core = Controller::<96, 16>::new(Config::crane().fit().expect("the default is valid"));
        let mut found = Found::default();
        for tick in 0..4_500_u32 {
            let asked = Asked { contactors: Wanted::Open, ..Asked::NOTHING };
            let decision = core.tick(&world.measure(tick.into(), Instant(tick * 10), asked), &mut found);
            world.step(
                0.01,
                &Actuators::from(&decision),
                &Demand { outside_celsius: 20.0, ..Demand::default() },
            );
        }
        let (pole, ohms, volts) = found.0.expect("it is measured");
        assert_eq!(pole, weaker, "{positive} and {negative} Ω");
        near(ohms / expected, 1.0, 0.03, "of the parallel resistance");
        near(volts, 318.0, 2.0, "V");
        let confirmed = core.faults().confirmed;
        assert_eq!(confirmed.holds(Fault::InsulationLow), low, "{ohms} Ω");
        assert_eq!(confirmed.holds(Fault::InsulationLowFar), far, "{ohms} Ω");
    }
}
