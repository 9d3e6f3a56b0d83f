//! A repair takes the defect and what physics kept; what is beside it stays to the bit.

use super::*;
use crate::defect::Kind;
use crate::world::load::Demand;
use crate::world::spec::{COULOMBS_AN_AMPERE_HOUR, PackSpec};
use crate::world::{Actuators, Initial};

type Trainer = World<16, 8>;

fn trainer() -> Trainer {
    World::new(&PackSpec::trainer(), 5, Initial { charge: 0.6, celsius: 20.0 }).unwrap()
}

fn run(world: &mut Trainer, seconds: f64, actuators: &Actuators) {
    let end = world.seconds + seconds - 1e-6;
    while world.seconds < end {
        world.step(0.01, actuators, &Demand { outside_celsius: 20.0, ..Demand::default() });
    }
}

fn done(work: Work, place: usize) -> Repair {
    Repair { work, place, cell: NewCell::USUAL }
}

/// Charge by hand: 20 Ah rated at 90 % of capacity and half full are 9 Ah. The defects of that cell go, those of its channel and of
/// other cells stay.
#[test]
fn a_swapped_cell_brings_its_own_charge_and_takes_its_defects_along() {
    let mut world = trainer();
    for (kind, place) in [
        (Kind::AddedResistance, 4),
        (Kind::CellLeak, 4),
        (Kind::CellChannelOffset, 4),
        (Kind::AddedResistance, 5),
    ] {
        world.inject(Defect::usual(kind, place, 0.0)).unwrap();
    }
    run(&mut world, 1.0, &Actuators::OFF);
    let before = world.clone();
    let cell = NewCell { charge: 0.5, capacity: 0.9, resistance: 2.0, celsius: Some(5.0) };
    let gone = world.repair(&Repair { work: Work::SwapCell, place: 4, cell }).unwrap();
    let gone: Vec<Kind> = gone.into_iter().map(|defect| defect.kind).collect();
    assert_eq!(gone, [Kind::AddedResistance, Kind::CellLeak]);
    assert!(
        (world.cells.coulombs(4) / COULOMBS_AN_AMPERE_HOUR - 9.0).abs() < 1e-9,
        "{}",
        world.cells.coulombs(4)
    );
    assert!((world.cells.ohms[4] - 2.0 * world.spec().cell.ohms).abs() < 1e-12);
    assert!((world.cells.celsius[4] - 5.0).abs() < 1e-12);
    assert_eq!(world.deviations().cell_ohms[4].to_bits(), 0);
    assert_eq!(
        world.deviations().cell_offset_volts.map(f64::to_bits),
        before.deviations().cell_offset_volts.map(f64::to_bits)
    );
    for other in (0..16).filter(|other| *other != 4) {
        assert_eq!(world.cells.charge[other].to_bits(), before.cells.charge[other].to_bits());
        assert_eq!(world.cells.ohms[other].to_bits(), before.cells.ohms[other].to_bits());
    }
    // What was put in is accounted for.
    let put_in = world.swapped_coulombs - before.swapped_coulombs;
    assert!((put_in - (world.cells.coulombs(4) - before.cells.coulombs(4))).abs() < 1e-6);
}

/// Closing onto an empty link welds; clearing no defect mends that, a new contactor does. A short melts the fuse likewise.
#[test]
fn what_physics_keeps_goes_with_the_old_part() {
    let mut world = trainer();
    run(&mut world, 0.5, &Actuators { coils: [true, false, true], ..Actuators::OFF });
    run(&mut world, 0.5, &Actuators::OFF);
    let welded = world.truth().welded;
    let which = welded.iter().position(|welded| *welded).expect("closing onto an empty link welds");
    world.repair(&done(Work::ReplaceContactor, which)).unwrap();
    assert!(!world.truth().welded[which] && world.bus.contactors[which].wear.to_bits() == 0);

    let mut world = trainer();
    world.inject(Defect::usual(Kind::PrechargeOpen, 0, 0.0)).unwrap();
    (world.bus.fuse_melted, world.bus.resistor_burnt) = (1.0, true);
    world.repair(&done(Work::ReplaceFuse, 0)).unwrap();
    assert!(!world.bus.fuse_cleared() && world.bus.resistor_burnt && world.deviations().precharge_open);
    world.repair(&done(Work::ReplacePrechargeResistor, 0)).unwrap();
    assert!(!world.bus.resistor_burnt && !world.deviations().precharge_open);
}

/// Every repair takes each of the defects that it says it mends, and leaves no trace of it in the deviations.
#[test]
fn every_repair_mends_what_it_says() {
    for work in Work::ALL {
        for kind in work.mends() {
            let mut world = trainer();
            let sound = world.deviations().clone();
            world.inject(Defect::usual(*kind, 0, 0.0)).unwrap();
            assert_eq!(world.repair(&done(*work, 0)).unwrap().len(), 1, "{} {}", work.name(), kind.name());
            assert_eq!(world.deviations(), &sound, "{} {}", work.name(), kind.name());
        }
    }
    let error = trainer().repair(&done(Work::SwapCell, 16)).unwrap_err();
    assert_eq!(error.to_string(), "swap a cell: there is no place 17; accepted is 1 to 16");
}
