//! Leaks to the chassis, seen at the whole pack.

use super::*;
use crate::world::truth::Bound;

/// Both poles to the chassis as shares of the pack's voltage, and the breached bound, settled with the contactors open, then closed.
fn open_and_closed(kind: Option<(Kind, usize)>) -> [([f64; 2], Option<Bound>); 2] {
    let mut world = crane(0.6, 15.0);
    let bounds = world.spec().safe;
    if let Some((kind, place)) = kind {
        world.inject(Defect::usual(kind, place, 0.0)).unwrap();
    }
    let demand = Demand { outside_celsius: 15.0, ..Demand::default() };
    let seen = |world: &Crane| {
        let shares = world.bus.pole_volts().map(|volts| volts / world.bus.pack_volts);
        (shares, bounds.first_breach(&world.truth()).map(|breach| breach.bound))
    };
    run(&mut world, 6.0, &Actuators::OFF, &demand);
    let open = seen(&world);
    let closed = close(&mut world, 15.0);
    run(&mut world, 6.0, &closed, &demand);
    [open, seen(&world)]
}

/// Voltage divider. Open, each pole has 0.7 µS (5 MΩ, meter 2 MΩ), and the chassis 1/5.5 µS to the middle of the pack, by the load's insulation
/// (two of 10 MΩ) and the dividers that hold the link there (two of 1 MΩ): 0.791 µS to each. Closed it is 0.8 µS. 20 kΩ are 50 µS more at one
/// pole: 0.791 / 51.58 = 1.533 %, closed 0.8 / 51.6 = 1.550 %. 20 kΩ on 317 V are 63 Ω/V.
#[test]
fn a_leak_at_a_pole_draws_the_chassis_to_it() {
    let [(open, none), (closed, still_none)] = open_and_closed(None);
    assert!((none, still_none) == (None, None));
    for pole in open.into_iter().chain(closed) {
        assert!((pole - 0.5).abs() < 1e-4, "{pole}");
    }
    for (kind, pole) in [(Kind::LeakPositive, 0), (Kind::LeakNegative, 1)] {
        let [(open, breach), (closed, _)] = open_and_closed(Some((kind, 0)));
        assert!(
            (open[pole] - 0.015_33).abs() < 1e-5 && (closed[pole] - 0.015_50).abs() < 1e-5,
            "{open:?} {closed:?}"
        );
        assert!((open[0] + open[1] - 1.0).abs() < 1e-9);
        assert_eq!(breach, Some(Bound::InsulationLow));
    }
}

/// Beyond the contactors: unseen while they are open, a leak of the positive pole while they are closed.
#[test]
fn a_leak_on_the_loads_side_shows_only_while_closed() {
    let [(open, none), (closed, breach)] = open_and_closed(Some((Kind::LeakOfLoad, 0)));
    assert!((open[0] - 0.5).abs() < 0.01 && none.is_none(), "{open:?} {none:?}");
    assert!((closed[0] - 0.015_50).abs() < 1e-4, "{closed:?}");
    assert_eq!(breach, Some(Bound::InsulationLow));
}

/// 20 kΩ behind cell 48 of 96 are 40 kΩ to each pole (126 Ω/V): the poles stay balanced and it is not yet dangerous. Behind cell 72 they
/// are 26.7 kΩ to plus (84 Ω/V) and 80 kΩ to minus.
#[test]
fn a_leak_along_the_string_lies_between_the_poles() {
    let [(open, none), _] = open_and_closed(Some((Kind::LeakAlongString, 47)));
    assert!((open[0] - 0.5).abs() < 1e-3 && none.is_none(), "{open:?} {none:?}");
    let [(open, breach), _] = open_and_closed(Some((Kind::LeakAlongString, 71)));
    // 12.5 and 37.5 µS with 0.79 µS each.
    assert!((open[0] - 13.29 / 51.58).abs() < 1e-3, "{open:?}");
    assert_eq!(breach, Some(Bound::InsulationLow));
}

/// Dew on both poles alike: the balance of the poles shows nothing, the insulation is gone all the same, and it comes and goes in spells.
#[test]
fn moisture_leaves_the_poles_balanced_and_goes_again() {
    let [(open, breach), (closed, _)] = open_and_closed(Some((Kind::MoistureToChassis, 0)));
    assert!((open[0] - 0.5).abs() < 1e-4 && (closed[0] - 0.5).abs() < 1e-4, "{open:?} {closed:?}");
    assert_eq!(breach, Some(Bound::InsulationLow));

    let mut world = crane(0.6, 15.0);
    let spells = Some(Spells { period_seconds: 60.0, duty: 0.25 });
    world.inject(Defect { spells, ..Defect::usual(Kind::MoistureToChassis, 0, 0.0) }).unwrap();
    let demand = Demand { outside_celsius: 15.0, ..Demand::default() };
    let wet = [10.0, 20.0, 70.0, 80.0].map(|until| {
        let seconds = until - world.seconds;
        run(&mut world, seconds, &Actuators::OFF, &demand);
        world.truth().insulation_ohms_a_volt < 100.0
    });
    assert_eq!(wet, [true, false, true, false]);
}

/// A leak on each side of an open contactor draws the floating link as a weld would: 2 kΩ at B+ and at L+ make both cross voltages read
/// as with a welded positive contactor, within 1 %.
#[test]
fn two_leaks_look_like_a_weld_to_the_cross_voltages() {
    let mut world = crane(0.6, 15.0);
    for kind in [Kind::LeakPositive, Kind::LeakOfLoad] {
        world.inject(Defect { severity: 2.0, ..Defect::usual(kind, 0, 0.0) }).unwrap();
    }
    run(&mut world, 6.0, &Actuators::OFF, &Demand { outside_celsius: 15.0, ..Demand::default() });
    let share = |volts: f64| volts / world.bus.pack_volts;
    assert!(
        share(world.bus.behind_negative_volts()) < 0.01 && share(world.bus.behind_positive_volts()) > 0.99
    );
    assert!(world.truth().made == [false; 3]);
}

/// Ohm: two leaks draw from the cells between them what their node's voltage drives through both, one leak draws what sound insulation and
/// meters let back (317 V through some 1.4 MΩ: 0.2 mA). For ten hours at 60 % charge, in mAh beside the sound twin. Between B+ and B−: all
/// cells, 317 V / 4 kΩ = 79 mA. Between the node above cell 72 and B−: 238 V / 4 kΩ = 59 mA from cells 1 to 72. Between those above 24 and
/// 36, one on each side of the middle of the lower half: 12 cells, 39.6 V / 4 kΩ = 9.9 mA.
#[test]
fn two_leaks_draw_from_the_cells_between_them() {
    let lost = |leaks: &[(Kind, usize)]| {
        let mut world = crane(0.6, 15.0);
        for (kind, place) in leaks {
            world.inject(Defect { severity: 2.0, ..Defect::usual(*kind, *place, 0.0) }).unwrap();
        }
        let demand = Demand { outside_celsius: 15.0, ..Demand::default() };
        let before = world.energy();
        for _ in 0..3_600 {
            world.step(10.0, &Actuators::OFF, &demand);
        }
        let after = world.energy();
        // Of up to 317 V · 79 mA · 10 h = 0.9 MJ, within 1e-4.
        let missing = (after.stored - before.stored) - (after.received - before.received);
        assert!(missing.abs() < 90.0, "{missing} J in {leaks:?}");
        core::array::from_fn::<f64, 96, _>(|cell| world.cells.coulombs(cell) / 3.6)
    };
    let sound = lost(&[]);
    for (leaks, drawn, amps) in [
        (&[(Kind::LeakPositive, 0), (Kind::LeakNegative, 0)][..], 0..96, 79.2),
        (&[(Kind::LeakAlongString, 71), (Kind::LeakNegative, 0)], 0..72, 59.4),
        (&[(Kind::LeakAlongString, 35), (Kind::LeakAlongString, 23)], 24..36, 9.9),
        (&[(Kind::LeakPositive, 0)], 0..0, 0.0),
    ] {
        let found = lost(leaks);
        for (cell, (sound, found)) in sound.iter().zip(found).enumerate() {
            let expected = if drawn.contains(&cell) { 10.0 * amps } else { 0.0 };
            let took = sound - found;
            assert!(
                (took - expected).abs() < 0.01 * expected + 3.0,
                "cell {cell}: {took} mAh for {expected} in {leaks:?}"
            );
        }
    }
}

/// A precharge contactor that closes onto an open resistor holds nothing: the link floats on.
#[test]
fn an_open_resistor_leaves_the_link_floating() {
    let mut world = crane(0.6, 15.0);
    world.inject(Defect::usual(Kind::PrechargeOpen, 0, 0.0)).unwrap();
    world.inject(Defect::usual(Kind::ContactorWelded, 1, 0.0)).unwrap();
    run(&mut world, 2.0, &Actuators::OFF, &Demand { outside_celsius: 15.0, ..Demand::default() });
    assert!((world.bus.behind_positive_volts() / world.bus.pack_volts - 0.5).abs() < 1e-6);
}
