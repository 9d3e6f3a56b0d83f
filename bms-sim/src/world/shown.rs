//! What a defect shows, by the law of physics that it follows, and where it stays invisible.

use super::cell::Flow;
use super::load::Demand;
use super::spec::PackSpec;
use super::truth::Bound;
use super::{Actuators, Initial, World};
use crate::defect::{Defect, Kind};
use bms_core::Frame;
use bms_core::frame::{Asked, Turning};
use bms_core::units::Instant;

type Crane = World<96, 16>;

const FREE: Actuators = Actuators { charge_limit_amps: 500.0, discharge_limit_amps: 500.0, ..Actuators::OFF };
const CLOSED: Actuators = Actuators { coils: [true, false, true], ..FREE };

fn crane() -> Crane {
    World::new(&PackSpec::crane(), 11, Initial { charge: 0.6, celsius: 25.0 }).unwrap()
}

fn demand(amps: f64) -> Demand {
    Demand { amps, outside_celsius: 25.0, ..Demand::default() }
}

/// Ticks of 10 ms.
fn run(world: &mut Crane, seconds: f64, actuators: &Actuators, amps: f64) {
    let end = world.seconds + seconds - 1e-6;
    while world.seconds < end {
        world.step(0.01, actuators, &demand(amps));
    }
}

/// Closed, with the link charged as after precharge.
fn closed(defect: Option<Defect>) -> Crane {
    let mut world = crane();
    if let Some(defect) = defect {
        world.inject(defect).unwrap();
    }
    run(&mut world, 0.6, &Actuators { coils: [true, true, false], ..FREE }, 0.0);
    run(&mut world, 0.3, &CLOSED, 0.0);
    world
}

fn with(kind: Kind, place: usize, severity: f64) -> Defect {
    Defect { severity, ..Defect::usual(kind, place, 0.0) }
}

fn frame(world: &Crane) -> Frame<96, 16> {
    world.measure(77, Instant(0), Asked::NOTHING)
}

/// Ohm and coulomb: 20 % less capacity and twice the resistance move the voltage of the same hoist twice as far, and the charge by
/// 1/0.8 as much.
#[test]
fn an_aged_cell_moves_twice_as_far_and_empties_faster() {
    let (mut aged, mut sound) = (closed(Some(with(Kind::AgedCell, 30, 20.0))), closed(None));
    // Between the cell's own terminals: the joint between its taps has not aged.
    let volts = |world: &Crane| world.cells.own_volts(30, world.flow.end_amps);
    let before = [volts(&aged), volts(&sound)];
    let charge = [aged.cells.charge[30], sound.cells.charge[30]];
    for world in [&mut aged, &mut sound] {
        run(world, 0.5, &CLOSED, -150.0);
    }
    let moved = (volts(&aged) - before[0]) / (volts(&sound) - before[1]);
    assert!((moved - 2.0).abs() < 0.01, "{moved}");
    let emptied = (aged.cells.charge[30] - charge[0]) / (sound.cells.charge[30] - charge[1]);
    assert!((emptied - 1.25).abs() < 1e-5, "{emptied}");
    assert!((aged.cells.volts[31] - sound.cells.volts[31]).abs() < 1e-6);
}

/// Adiabatic at first: P·t/C, 200 W for 10 s into 2000 J/K is 1 K; what leaves meanwhile is k/C·t/2 of it, 2 W/K neighbours, 0.5
/// W/K air, 0.8 W/K joints: 0.8 %.
#[test]
fn a_cell_that_heats_itself_warms_as_its_heat_capacity_says() {
    let (mut hot, mut sound) = (crane(), crane());
    hot.inject(with(Kind::CellHeatsItself, 17, 200.0)).unwrap();
    for world in [&mut hot, &mut sound] {
        run(world, 10.0, &Actuators::OFF, 0.0);
        world.renew_now();
    }
    let rise = hot.cells.celsius[17] - sound.cells.celsius[17];
    assert!((rise - 0.992).abs() < 2e-3, "{rise}");
    assert_eq!(hot.cells.celsius[60].to_bits(), sound.cells.celsius[60].to_bits());
}

/// A fan that does not turn cools as one that was never switched on.
#[test]
fn a_stopped_fan_cools_as_none() {
    let (mut stopped, mut off) = (crane(), crane());
    stopped.inject(Defect::usual(Kind::CoolingStopped, 0, 0.0)).unwrap();
    for world in [&mut stopped, &mut off] {
        world.inject(Defect::usual(Kind::ExternalHeat, 2, 0.0)).unwrap();
    }
    let mut turning = off.clone();
    for _ in 0..600 {
        stopped.step(1.0, &Actuators { cooling: true, ..Actuators::OFF }, &demand(0.0));
        off.step(1.0, &Actuators::OFF, &demand(0.0));
        turning.step(1.0, &Actuators { cooling: true, ..Actuators::OFF }, &demand(0.0));
    }
    // The tacho tells them apart.
    let tacho = |world: &Crane| frame(world).contacts.value.cooling;
    assert_eq!(
        [&stopped, &off, &turning].map(tacho),
        [Turning::Standing, Turning::Standing, Turning::Turning]
    );
    for (one, other) in stopped.cells.celsius.iter().zip(off.cells.celsius) {
        assert!((one - other).abs() < 1e-9);
    }
    assert!(turning.cells.celsius[30] < off.cells.celsius[30] - 0.05);
}

#[test]
fn a_reversed_current_sensor_reads_the_other_sign_and_a_drifting_one_an_hour_later_its_drift() {
    let amps = |world: &Crane, check: bool| {
        let frame = frame(world);
        let part = if check { frame.current_check } else { frame.current };
        f64::from(part.value.bits()) / 65_536.0
    };
    let reversed = Defect::usual(Kind::CurrentReversed, 0, 0.0);
    let (mut world, mut twin) = (closed(Some(reversed)), closed(None));
    for world in [&mut world, &mut twin] {
        run(world, 1.0, &CLOSED, -100.0);
    }
    // Offset, gain and noise are the same in both: the sum is twice the offset and the noise.
    assert!((amps(&world, false) + amps(&twin, false)).abs() < 0.9 && amps(&world, false) > 98.0);

    let mut world = crane();
    let before = amps(&world, true);
    world.inject(with(Kind::CurrentDrift, 1, -3.0)).unwrap();
    world.seconds = 3_600.0;
    // -3 A after an hour of -3 A/h, in steps of 0.2 A.
    assert!((amps(&world, true) - before + 3.0).abs() < 0.21, "{}", amps(&world, true) - before);
}

/// 5 ms earlier than the 1 ms of a sound one: six tenths of a change within a tick of 10 ms are not yet seen.
#[test]
fn a_current_sampled_too_early_sees_less_of_a_change() {
    let mut world = crane();
    world.step_seconds = 0.01;
    world.inject(with(Kind::CurrentSampledEarly, 0, 5.0)).unwrap();
    (world.flow.start_amps, world.flow.end_amps) = (0.0, -100.0);
    let seen = f64::from(frame(&world).current.value.bits()) / 65_536.0;
    assert!((seen + 40.0).abs() < 0.7, "{seen}");
}

/// Kirchhoff's sum of the cells holds while the pack's own channel reads 3 % more of it: 9 V of 307.
#[test]
fn pack_and_link_readings_lie_alone() {
    let twin = closed(None);
    let sound = frame(&twin).voltages.value;
    let read = |defect| frame(&closed(Some(defect))).voltages.value;
    let gained = read(with(Kind::PackVoltageGain, 0, 3.0));
    let (more, pack) = (gained.pack.milli() - sound.pack.milli(), f64::from(sound.pack.milli()));
    assert!((f64::from(more) / pack - 0.03).abs() < 1e-3, "{more}");
    assert_eq!((gained.link, gained.behind_positive), (sound.link, sound.behind_positive));
    let link = read(with(Kind::LinkVoltageGain, 0, -3.0));
    let (less, volts) = (link.link.milli() - sound.link.milli(), f64::from(sound.link.milli()));
    assert!((f64::from(less) / volts + 0.03).abs() < 1e-3, "{less}");
    assert_eq!((link.pack, link.behind_positive), (sound.pack, sound.behind_positive));
    let dead = read(with(Kind::LinkReadingDead, 0, 1.0));
    assert_eq!((dead.link.milli(), dead.pack), (0, sound.pack));
    let frozen = read(with(Kind::LinkReadingFrozen, 0, 1.0));
    assert_eq!((frozen.link.milli(), frozen.pack), (0, sound.pack), "it froze before the link was charged");
}

/// 12.3 V and a tenth less of it; the coils get what there is.
#[test]
fn the_supply_s_reading_lies_alone() {
    let (sound, lying) = (closed(None), closed(Some(with(Kind::SupplyReadingGain, 0, -10.0))));
    let read = |world: &Crane| f64::from(frame(world).supply.value.milli());
    assert!((read(&lying) / read(&sound) - 0.9).abs() < 2e-3);
    assert_eq!(lying.truth(), sound.truth());
}

#[test]
fn swapped_thermistors_show_each_other_and_the_last_one_the_first() {
    for (place, other) in [(4, 5), (15, 0)] {
        let mut sound = crane();
        (sound.heat.thermistor_celsius[place], sound.heat.thermistor_celsius[other]) = (40.0, -5.0);
        let mut swapped = sound.clone();
        swapped.inject(Defect::usual(Kind::ThermistorsSwapped, place, 0.0)).unwrap();
        sound.renew_now();
        // The part moves with its plug: what is wrong with it shows in the other channel.
        assert!(swapped.thermistor_ratio(place) > swapped.thermistor_ratio(other));
        swapped.inject(Defect::usual(Kind::ThermistorOpen, other, 0.0)).unwrap();
        assert!((swapped.thermistor_ratio(place) - 1.0).abs() < 1e-12);
        assert!((swapped.thermistor_ratio(other) - sound.thermistor_ratio(place)).abs() < 1e-3);
    }
}

/// 33 Ω bleed alone, 133 Ω through a corroded wire: of what its sound twin loses in an hour the cell loses 33/133. Its neighbour does not
/// bleed and loses nothing.
#[test]
fn a_cell_behind_a_corroded_wire_bleeds_too_little() {
    let (mut corroded, mut sound) = (crane(), crane());
    corroded.inject(Defect::usual(Kind::SenseWireCorroded, 60 + 1, 0.0)).unwrap();
    let bleeding = Actuators { bleeding: 1 << 60, ..Actuators::OFF };
    let charge = |world: &Crane| [60, 59].map(|cell| world.cells.coulombs(cell));
    let before = charge(&sound);
    for world in [&mut corroded, &mut sound] {
        for _ in 0..360 {
            world.step(10.0, &bleeding, &demand(0.0));
        }
    }
    let own_leak = before[1] - charge(&sound)[1];
    let (weak, full) =
        (before[0] - charge(&corroded)[0] - own_leak, before[0] - charge(&sound)[0] - own_leak);
    assert!((weak / full - 33.0 / 133.0).abs() < 1e-3, "{weak} C of {full} C");
    assert!((charge(&corroded)[1] - charge(&sound)[1]).abs() < 1e-6);
}

/// The wire between cells 10 and 11 opens at rest: a minute later the two have moved 0.3 V apart (10 nA out of 2 µF), their sum stands,
/// and nothing true has changed.
#[test]
fn an_open_wire_parts_a_pair_whose_sum_holds() {
    let (mut open, mut sound) = (crane(), crane());
    open.inject(Defect::usual(Kind::SenseWireOpen, 10, 0.0)).unwrap();
    for world in [&mut open, &mut sound] {
        run(world, 60.0, &Actuators::OFF, 0.0);
    }
    assert_eq!(open.truth(), sound.truth());
    let off = |cell: usize| {
        let milli = |world: &Crane| frame(world).cells.value.0[cell].milli();
        milli(&open) - milli(&sound)
    };
    assert_eq!([off(8), off(11)], [0, 0]);
    assert!((off(9) + 300).abs() <= 1 && (off(10) - 300).abs() <= 1, "{} {}", off(9), off(10));
}

/// The channel reads down to its least only, and up to 5 V: swapped wires of 3.3 V cells show −0.3 V and 5 V, not −3.3 and 6.6.
#[test]
fn a_front_end_reads_no_further_than_it_can() {
    let mut world = crane();
    world.inject(Defect::usual(Kind::SenseWiresSwapped, 30, 0.0)).unwrap();
    let seen = frame(&world).cells.value;
    assert_eq!([29, 30, 31].map(|cell| seen.0[cell].milli()), [5_000, -300, 5_000]);
}

/// The string lacks the cell's voltage twice, the channel reads no further down than it can, and 100 A of discharge charge the cell by
/// what they take from its twin.
#[test]
fn a_cell_the_wrong_way_round_counts_against_the_string() {
    let (mut reversed, mut sound) = (crane(), crane());
    reversed.inject(Defect::usual(Kind::CellReversed, 20, 0.0)).unwrap();
    for world in [&mut reversed, &mut sound] {
        run(world, 0.2, &Actuators::OFF, 0.0);
    }
    let lacks = sound.bus.pack_volts - reversed.bus.pack_volts;
    assert!((lacks - 2.0 * sound.cells.volts[20]).abs() < 1e-6, "{lacks}");
    assert_eq!(frame(&reversed).cells.value.0[20].milli(), -300);
    let truth = reversed.truth();
    assert_eq!((truth.volts_low.place, truth.volts_high.place), (20, sound.truth().volts_high.place));
    let breach = reversed.spec().safe.first_breach(&truth).unwrap();
    assert_eq!((breach.bound, breach.place), (Bound::CellReversed, Some(20)));

    let before = sound.cells.coulombs(20);
    for world in [&mut reversed, &mut sound] {
        for _ in 0..100 {
            world.renew_now();
            world.cells.step(0.01, Flow::held(-100.0));
        }
    }
    let (gained, lost) = (reversed.cells.coulombs(20) - before, before - sound.cells.coulombs(20));
    assert!((gained - lost).abs() < 0.02 && (lost - 100.0).abs() < 0.02, "{gained} {lost}");
}
