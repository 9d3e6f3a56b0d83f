//! Laws of what a cell never gets over, in the whole pack.

use super::super::spec::PackSpec;
use super::super::truth::Bound;
use super::super::{Actuators, Initial, World};
use super::{Crane, FREE, crane};
use crate::defect::{Defect, Kind};
use crate::world::load::Demand;

const CLOSED: Actuators = Actuators { coils: [true, false, true], ..FREE };

fn demand(amps: f64, outside_celsius: f64) -> Demand {
    Demand { amps, outside_celsius, ..Demand::default() }
}

/// Closed as after precharge, at that temperature.
fn closed(celsius: f64) -> Crane {
    let mut world = crane(0.5, celsius);
    for (ticks, coils) in [(60, [true, true, false]), (30, [true, false, true])] {
        for _ in 0..ticks {
            world.step(0.01, &Actuators { coils, ..FREE }, &demand(0.0, celsius));
        }
    }
    world
}

/// Heated with 2 kW for 220 s, to where it goes by itself, a cell comes to some 400 °C (404 °C is published for this chemistry) within minutes, all
/// it can give has come out, what came out is in the pack or has left it, and the bound that it vents is passed before. Steps of a
/// tick, a second and a minute tell the same.
#[test]
fn a_cell_runs_away_and_no_heat_is_lost() {
    let mut told = Vec::new();
    for (dt, steps) in [(0.01, 100_000_u32), (1.0, 1_000), (20.0, 50)] {
        let mut world = crane(0.6, 25.0);
        let usual = Defect::usual(Kind::CellHeatsItself, 30, 0.0);
        world.inject(Defect { severity: 2_000.0, end_seconds: Some(220.0), ..usual }).unwrap();
        let before = world.energy();
        let (mut peak, mut vents) = (0.0_f64, None);
        for _ in 0..steps {
            world.step(dt, &Actuators::OFF, &demand(0.0, 25.0));
            peak = peak.max(world.cells.celsius[30]);
            let breach = world.spec().safe.first_breach(&world.truth());
            vents =
                vents.or(breach.filter(|breach| breach.bound == Bound::CellHot).map(|breach| breach.seconds));
        }
        let after = world.energy();
        let missing = (after.stored - before.stored) - (after.received - before.received);
        let harm = &world.cells.harm;
        let given = harm.reaction_joules + world.heat.added_joules;
        assert!(missing.abs() < 1e-4 * given, "{missing} J of {given} J at steps of {dt} s");
        assert!((harm.reaction_joules / 633_600.0 - 1.0).abs() < 0.02, "{} J", harm.reaction_joules);
        assert!((380.0..=450.0).contains(&peak), "{peak} °C at steps of {dt} s");
        assert!(vents.is_some());
        // Its neighbours are hot and have not gone: this chemistry seldom spreads.
        assert!(
            world.cells.celsius[31] > 80.0 && harm.reacted[31] < 0.5,
            "{} {}",
            world.cells.celsius[31],
            harm.reacted[31]
        );
        assert!(world.cells.celsius[60] < 26.0);
        told.push((peak, world.cells.celsius[30], world.cells.celsius[31]));
    }
    for (peak, cell, neighbour) in &told[1..] {
        assert!((peak - told[0].0).abs() < 5.0, "{told:?}");
        assert!((cell - told[0].1).abs() < 3.0 && (neighbour - told[0].2).abs() < 3.0, "{told:?}");
    }
}

/// A cell that has burnt gives hardly any voltage: 3.3 V over a hundredfold resistance (70 mΩ) into 10 mΩ is 0.4 V.
#[test]
fn a_burnt_cell_has_lost_its_voltage() {
    let mut world = crane(0.6, 25.0);
    world.cells.harm.reacted[12] = 1.0;
    world.adapt_cells(0);
    world.renew_now();
    assert!((world.cells.volts[12] - 3.31 * 10.0 / 80.0).abs() < 0.01, "{}", world.cells.volts[12]);
}

/// A hard short needs no help: V²/R is a kilowatt, and the cell goes by itself.
#[test]
fn a_hard_short_ends_in_a_runaway() {
    let mut world = crane(0.9, 25.0);
    world.inject(Defect::usual(Kind::HardShort, 50, 0.0)).unwrap();
    for _ in 0..1_800 {
        world.step(1.0, &Actuators::OFF, &demand(0.0, 25.0));
    }
    assert!(
        world.cells.harm.reacted[50] > 0.9,
        "{} at {} °C",
        world.cells.harm.reacted[50],
        world.cells.celsius[50]
    );
}

/// Charged at −15 °C with 50 A for ten minutes: the integral of η (i − i₀), 0.15 · 45 A · 600 s = 4050 C each and a little less as it warms.
/// That charge is missing from what the cell holds and can hold, shorts it softly, and stays when the pack is warm again.
#[test]
fn charging_while_frozen_plates_for_good() {
    let mut world = closed(-15.0);
    let held = |world: &Crane| (0..96).map(|cell| world.cells.coulombs(cell)).sum::<f64>();
    world.energy();
    let (before, moved, beside) =
        (held(&world), world.bus.moved.string_coulombs, world.cells.beside_coulombs());
    let energy = world.energy();
    let mut integral = 0.0;
    for tick in 0..60_000 {
        world.step(0.01, &CLOSED, &demand(50.0, -15.0));
        if tick % 100 == 50 {
            integral += -0.01 * world.cells.celsius[20] * (world.flow.mean_amps - 5.0);
        }
    }
    let after = world.energy();
    let plated: f64 = world.cells.harm.plated_coulombs.iter().sum();
    let one = world.cells.harm.plated_coulombs[20];
    assert!((one / integral - 1.0).abs() < 2e-3 && one > 3_000.0, "{one} C for {integral} C");
    let through = 96.0 * (world.bus.moved.string_coulombs - moved) - (world.cells.beside_coulombs() - beside);
    assert!((held(&world) - before - through + plated).abs() < 1e-4);
    let missing = (after.stored - energy.stored) - (after.received - energy.received);
    assert!(missing.abs() < 1.0 + 1e-4 * after.scale, "{missing} J");

    let harm = world.cells.harm.clone();
    let breach = world.spec().safe.first_breach(&world.truth()).unwrap();
    assert_eq!(breach.bound, Bound::ChargedFrozen);
    for _ in 0..600 {
        world.step(10.0, &Actuators::OFF, &demand(0.0, 25.0));
    }
    assert_eq!(world.cells.harm, harm);
    let breach = world.spec().safe.first_breach(&world.truth()).unwrap();
    assert_eq!((breach.bound, breach.place), (Bound::CellPlated, Some(harm.most_plated().place)));
}

/// What plates is a share of the current, so two cells differ by their temperatures only; and none of it happens in a healthy shift.
#[test]
fn a_warm_pack_does_not_plate() {
    let mut world = closed(5.0);
    for _ in 0..1_000 {
        world.step(0.01, &CLOSED, &demand(50.0, 5.0));
    }
    assert_eq!(
        world.cells.harm,
        World::<96, 16>::new(&PackSpec::crane(), 11, Initial { charge: 0.5, celsius: 5.0 })
            .unwrap()
            .cells
            .harm
    );
}
