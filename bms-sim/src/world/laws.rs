//! Laws of the world: charge and energy are conserved, a cleared defect leaves nothing, the same inputs give the same
//! bits.

use super::load::{Demand, Giver};
use super::spec::PackSpec;
use super::{Actuators, Initial, World};
use crate::defect::{Defect, Kind, PlaceKind, Spells};
use bms_core::frame::Asked;
use bms_core::units::Instant;
use proptest::prelude::*;

mod chassis;
mod harm;
mod switching;

type Crane = World<96, 16>;
type Trainer = World<16, 8>;

fn crane(charge: f64, celsius: f64) -> Crane {
    World::new(&PackSpec::crane(), 11, Initial { charge, celsius }).unwrap()
}

const FREE: Actuators = Actuators { charge_limit_amps: 500.0, discharge_limit_amps: 500.0, ..Actuators::OFF };

/// Runs for some seconds at ticks of 10 ms.
fn run<const CELLS: usize, const THERMISTORS: usize>(
    world: &mut World<CELLS, THERMISTORS>,
    seconds: f64,
    actuators: &Actuators,
    demand: &Demand,
) {
    let end = world.seconds + seconds - 1e-6;
    while world.seconds < end {
        world.step(0.01, actuators, demand);
    }
}

/// Closes as the firmware would: negative, precharge for half a second, positive.
fn close<const CELLS: usize, const THERMISTORS: usize>(
    world: &mut World<CELLS, THERMISTORS>,
    celsius: f64,
) -> Actuators {
    let demand = Demand { outside_celsius: celsius, ..Demand::default() };
    for (seconds, coils) in
        [(0.1, [true, false, false]), (0.5, [true, true, false]), (0.1, [true, true, true])]
    {
        run(world, seconds, &Actuators { coils, ..FREE }, &demand);
    }
    let closed = Actuators { coils: [true, false, true], ..FREE };
    run(world, 0.1, &closed, &demand);
    closed
}

/// A stretch of a story: how long, what is asked, which coils and bleed switches.
type Stretch = (f64, f64, [bool; 3], u128, bool);

fn stretches() -> impl Strategy<Value = Vec<Stretch>> {
    let one = (0.02..1.5_f64, -150.0..80.0_f64, any::<[bool; 3]>(), any::<u128>(), any::<bool>());
    prop::collection::vec(one, 1..12)
}

fn play(world: &mut Crane, story: &[Stretch], celsius: f64) {
    for (seconds, amps, coils, bleeding, cooling) in story {
        // Half of the stretches drive as a closed pack does, or most stories would never draw current.
        let coils = if *cooling { [true, true, true] } else { *coils };
        let actuators = Actuators { coils, bleeding: *bleeding, cooling: *cooling, ..FREE };
        let demand = Demand { amps: *amps, giver: Giver::Drive, outside_celsius: celsius };
        run(world, *seconds, &actuators, &demand);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// What the cells lost went through the string or beside it; what entered the link stays in it, or left it.
    #[test]
    fn charge_is_conserved(story in stretches(), charge in 0.1..0.9_f64) {
        let mut world = crane(charge, 10.0);
        let held = |world: &Crane| (0..96).map(|cell| world.cells.coulombs(cell)).sum::<f64>();
        let before = held(&world);
        play(&mut world, &story, 10.0);
        world.energy();
        let moved = world.bus.moved;
        let expected = 96.0 * moved.string_coulombs - world.cells.beside_coulombs();
        // Rounding of sums of 3.5e7 C.
        prop_assert!((held(&world) - before - expected).abs() < 1e-5, "{} for {expected}", held(&world) - before);
        let link = moved.load_coulombs + moved.motor_coulombs - moved.string_coulombs - moved.bled_coulombs;
        prop_assert!((world.bus.link_farads() * world.bus.link_volts - link).abs() < 1e-9);
    }

    /// Stored energy changes by what is received, within 1e-4 of what went through the load and 1 J: the error of holding the
    /// string's voltage over a tick and its curve and resistances over 100 ms.
    #[test]
    fn energy_is_conserved(story in stretches(), charge in 0.1..0.9_f64, celsius in -25.0..40.0_f64) {
        let mut world = crane(charge, celsius);
        let before = world.energy();
        play(&mut world, &story, celsius);
        let after = world.energy();
        let missing = (after.stored - before.stored) - (after.received - before.received);
        prop_assert!(missing.abs() < 1.0 + 1e-4 * after.scale, "{missing} J of {} J", after.scale);
    }

    /// The same through a short: what leaves a cell beside the string leaves at its voltage, and warms it.
    #[test]
    fn energy_is_conserved_through_a_short(story in stretches(), ohms in 0.002..0.5_f64, celsius in -25.0..40.0_f64) {
        let mut world = crane(0.6, celsius);
        world.inject(Defect { severity: ohms, ..Defect::usual(Kind::HardShort, 9, 0.0) }).unwrap();
        let before = world.energy();
        play(&mut world, &story, celsius);
        let after = world.energy();
        let missing = (after.stored - before.stored) - (after.received - before.received);
        // V²/R for as long as it lasted.
        let shorted = 3.3 * 3.3 / ohms * world.seconds;
        prop_assert!(missing.abs() < 1.0 + 1e-4 * after.scale + 1e-4 * shorted, "{missing} J of {shorted} J");
    }

    /// And through a cell that was put in the wrong way round, whose charge goes the other way.
    #[test]
    fn energy_is_conserved_through_a_reversed_cell(story in stretches(), celsius in -25.0..40.0_f64) {
        let mut world = crane(0.6, celsius);
        world.inject(Defect::usual(Kind::CellReversed, 40, 0.0)).unwrap();
        let before = world.energy();
        play(&mut world, &story, celsius);
        let after = world.energy();
        let missing = (after.stored - before.stored) - (after.received - before.received);
        prop_assert!(missing.abs() < 1.0 + 1e-4 * after.scale, "{missing} J of {} J", after.scale);
    }

    /// A defect that is cleared before time passes leaves the very same world, but for what physics keeps.
    #[test]
    fn a_cleared_defect_leaves_nothing(which in 0..Kind::ALL.len(), story in stretches(), place in 0..2_usize) {
        let kind = Kind::ALL[which];
        let mut world = crane(0.6, 15.0);
        play(&mut world, &story, 15.0);
        world.energy();
        let place = if kind.place() == PlaceKind::Pack { 0 } else { place };
        let twin = world.clone();
        let id = world.inject(Defect::usual(kind, place, 0.0)).unwrap();
        prop_assert!(world != twin);
        prop_assert!(world.clear(id).is_some());
        if kind == Kind::ChargeOutOfLine {
            prop_assert!((world.swapped_coulombs + 7_200.0).abs() < 1e-9);
        } else {
            prop_assert_eq!(world.deviations(), twin.deviations());
            prop_assert_eq!(world.cells, twin.cells);
            prop_assert_eq!(world.heat, twin.heat);
            prop_assert_eq!(world.bus, twin.bus);
            prop_assert_eq!(world.wires, twin.wires);
        }
    }
}

/// A defect of a sensor, a feedback contact or the like changes no bit of the truth.
#[test]
fn a_lying_sensor_leaves_truth_alone() {
    let lies = [
        (Kind::SenseWireOpen, 5),
        (Kind::SenseWiresSwapped, 7),
        (Kind::CellChannelOffset, 5),
        (Kind::CellChannelFrozen, 6),
        (Kind::CellChannelGain, 7),
        (Kind::CurrentOffset, 0),
        (Kind::CurrentReversed, 0),
        (Kind::PackVoltageGain, 0),
        (Kind::LinkReadingDead, 0),
        (Kind::LinkReadingFrozen, 0),
        (Kind::LinkVoltageGain, 0),
        (Kind::SupplyReadingGain, 0),
        (Kind::CurrentGain, 1),
        (Kind::CurrentDead, 0),
        (Kind::ThermistorOpen, 3),
        (Kind::ThermistorShort, 4),
        (Kind::ThermistorMoisture, 5),
        (Kind::ThermistorFrozen, 6),
        (Kind::ThermistorOffset, 7),
        (Kind::FeedbackStuckOpen, 0),
        (Kind::FeedbackStuckClosed, 1),
    ];
    for (kind, place) in lies {
        let mut world = crane(0.6, 15.0);
        let mut twin = world.clone();
        let id = world.inject(Defect::usual(kind, place, 1.234)).unwrap();
        let hoist = Demand { amps: -150.0, outside_celsius: 15.0, ..Demand::default() };
        for each in [&mut world, &mut twin] {
            let closed = close(each, 15.0);
            run(each, 3.0, &closed, &hoist);
        }
        assert_eq!(world.truth(), twin.truth(), "{}", kind.name());
        let measure = |world: &Crane| world.measure(400, Instant(0), Asked::NOTHING);
        assert!(measure(&world) != measure(&twin), "{}", kind.name());
        assert_eq!(measure(&world).cells.value.0[0], measure(&twin).cells.value.0[0]);
        // Mended, it shows what the sound one shows, at once and after more time.
        world.clear(id);
        assert_eq!(measure(&world), measure(&twin), "{}", kind.name());
        for each in [&mut world, &mut twin] {
            run(each, 0.5, &FREE, &hoist);
        }
        assert_eq!(measure(&world), measure(&twin), "{}", kind.name());
        assert_eq!(world.truth(), twin.truth(), "{}", kind.name());
    }
}

/// Equal dividers: with all open and the link empty both cross voltages read half the pack; a welded positive or
/// precharge contactor pulls `behind negative` to 0 and `behind positive` to the pack; a welded negative the other
/// way.
#[test]
fn the_cross_voltages_show_each_weld_before_anything_closes() {
    let at = |weld: Option<usize>| {
        let mut world = crane(0.6, 15.0);
        if let Some(place) = weld {
            world.inject(Defect::usual(Kind::ContactorWelded, place, 0.0)).unwrap();
        }
        run(&mut world, 2.0, &Actuators::OFF, &Demand { outside_celsius: 15.0, ..Demand::default() });
        let pack = world.bus.pack_volts;
        [world.bus.behind_negative_volts() / pack, world.bus.behind_positive_volts() / pack]
    };
    for (weld, expected) in
        [(None, [0.5, 0.5]), (Some(0), [1.0, 0.0]), (Some(1), [0.0, 1.0]), (Some(2), [0.0, 1.0])]
    {
        let seen = at(weld);
        assert!(
            (seen[0] - expected[0]).abs() < 1e-6 && (seen[1] - expected[1]).abs() < 1e-6,
            "{weld:?}: {seen:?}"
        );
    }
}

/// The precharge and the bleed-down resistor divide: 2500 / 2550 of the pack in the end; a 500 Ω load left on: 416.7 / 466.7 (parallel with 2500
/// Ω).
#[test]
fn precharge_ends_where_the_resistors_divide() {
    for (left_on, share) in [(None, 2_500.0 / 2_550.0), (Some(500.0), 416.667 / 466.667)] {
        let mut world = crane(0.6, 25.0);
        if let Some(severity) = left_on {
            let defect = Defect { severity, ..Defect::usual(Kind::LoadLeftOn, 0, 0.0) };
            world.inject(defect).unwrap();
        }
        let precharging = Actuators { coils: [true, true, false], ..FREE };
        run(&mut world, 1.0, &precharging, &Demand { outside_celsius: 25.0, ..Demand::default() });
        let seen = world.bus.link_volts / world.cells.sum_of_open_volts();
        // The meter's divider and the string's own 87 mΩ are not in the rule of thumb.
        assert!((seen - share).abs() < 3e-3, "{seen} for {share}");
    }
}

/// After opening, 60 V are reached after R·C·ln(V/60): 2500 Ω (with the meter's 1 MΩ) and 1 mF from the pack's voltage.
#[test]
fn the_link_is_down_after_the_closed_form_time() {
    let mut world = crane(0.6, 25.0);
    close(&mut world, 25.0);
    let demand = Demand { outside_celsius: 25.0, ..Demand::default() };
    run(&mut world, 0.05, &Actuators::OFF, &demand);
    let (start, at) = (world.bus.link_volts, world.seconds);
    while world.bus.link_volts > 60.0 {
        world.step(0.01, &Actuators::OFF, &demand);
    }
    let exact = 1e-3 / (1.0 / 2_500.0 + 1e-6) * (start / 60.0).ln();
    assert!((world.seconds - at - exact).abs() < 0.011, "{} for {exact}", world.seconds - at);
}

#[test]
fn closing_onto_an_empty_link_welds_and_the_bounds_say_so() {
    let mut world = crane(0.6, 25.0);
    let bounds = world.spec().safe;
    assert_eq!(bounds.first_breach(&world.truth()), None);
    let rash = Actuators { coils: [true, false, true], ..FREE };
    run(&mut world, 0.2, &rash, &Demand { outside_celsius: 25.0, ..Demand::default() });
    let breach = bounds.first_breach(&world.truth()).unwrap();
    assert_eq!(breach.bound, super::truth::Bound::ClosedOntoDifference);
    assert!(world.truth().welded.iter().any(|welded| *welded));
}

/// A joint's drop follows the side of its tap: 150 A through 2 mΩ is 0.3 V (Ohm), seen by the lower or by the upper
/// cell. With the tap below, the 7.5 mV of the sound joint's 50 µΩ change sides too.
#[test]
fn a_loose_joint_shows_in_the_cell_whose_taps_enclose_it() {
    for (kind, shows, silent, sound) in
        [(Kind::LooseJointTapAbove, 20, 21, 0.0), (Kind::LooseJointTapBelow, 21, 20, 7.5e-3)]
    {
        let mut world = crane(0.6, 25.0);
        let mut twin = world.clone();
        world.inject(Defect::usual(kind, 20, 0.0)).unwrap();
        let hoist = Demand { amps: -150.0, outside_celsius: 25.0, ..Demand::default() };
        for each in [&mut world, &mut twin] {
            let closed = close(each, 25.0);
            run(each, 1.0, &closed, &hoist);
        }
        let drop = |cell: usize| twin.cells.volts[cell] - world.cells.volts[cell];
        assert!(
            (drop(shows) - 0.3 - sound).abs() < 1e-3 && (drop(silent) + sound).abs() < 1e-3,
            "{} {}",
            drop(shows),
            drop(silent)
        );
        assert!(world.truth().joint_watts.place == 20 && world.truth().joint_celsius.value > 25.0);
    }
}

/// A fuse that clears parts the string: pack voltage collapses, the cells still sum up, current ends.
#[test]
fn a_short_beyond_the_contactors_melts_the_fuse() {
    let mut world = crane(0.6, 25.0);
    let closed = close(&mut world, 25.0);
    world.inject(Defect { severity: 0.02, ..Defect::usual(Kind::LoadLeftOn, 0, 0.0) }).unwrap();
    run(&mut world, 0.2, &closed, &Demand { outside_celsius: 25.0, ..Demand::default() });
    assert!(world.bus.fuse_cleared() && world.flow.end_amps.abs() < 1e-6);
    assert!(world.bus.pack_volts < 1.0 && world.cells.sum_of_open_volts() > 300.0);
}

/// The motor's 90 % of 307 V come back to a link that had fallen, and die away with it.
#[test]
fn a_turning_motor_keeps_the_link_live() {
    let mut world = crane(0.6, 25.0);
    world.inject(Defect::usual(Kind::MotorTurning, 0, 0.0)).unwrap();
    close(&mut world, 25.0);
    run(&mut world, 5.0, &Actuators::OFF, &Demand { outside_celsius: 25.0, ..Demand::default() });
    // e^(−5/8) · 0.9 · 307 V = 148 V, less the motor's own drop.
    assert!((world.bus.link_volts - 148.0).abs() < 3.0, "{}", world.bus.link_volts);
    let bounds = world.spec().safe;
    run(&mut world, 0.5, &Actuators::OFF, &Demand { outside_celsius: 25.0, ..Demand::default() });
    assert_eq!(bounds.first_breach(&world.truth()).unwrap().bound, super::truth::Bound::LinkLive);
}

/// Regenerating while the contactors part: 60 A into 1 mF are 60 V a millisecond (Q = C·V); the load's over-voltage
/// stop ends it at 420 V.
#[test]
fn opening_while_regenerating_stops_at_the_over_voltage() {
    let mut world = crane(0.6, 25.0);
    let closed = close(&mut world, 25.0);
    let lower = Demand { amps: 60.0, outside_celsius: 25.0, ..Demand::default() };
    run(&mut world, 1.0, &closed, &lower);
    let mut highest: f64 = 0.0;
    for _ in 0..5 {
        world.step(0.01, &Actuators { coils: [true, false, false], ..FREE }, &lower);
        highest = highest.max(world.bus.link_volts);
    }
    assert!((410.0..=420.0).contains(&highest), "{highest}");
}

/// A cell 2 Ah low on the trainer, healed in long steps at rest: 15 cells bleed 0.1 A for 20 h (ΔQ = I·t); the
/// current is V/33 Ω.
#[test]
fn twenty_hours_of_bleeding_in_steps_of_a_minute() {
    let mut world: Trainer =
        World::new(&PackSpec::trainer(), 5, Initial { charge: 0.8, celsius: 20.0 }).unwrap();
    world.inject(Defect::usual(Kind::ChargeOutOfLine, 3, 0.0)).unwrap();
    let bleeding = Actuators { bleeding: 0xffff & !(1 << 3), ..Actuators::OFF };
    let demand = Demand { outside_celsius: 20.0, ..Demand::default() };
    let apart = |world: &Trainer| (world.cells.coulombs(7) - world.cells.coulombs(3)) / 3_600.0;
    let before = apart(&world);
    let mut short = world.clone();
    for _ in 0..20 * 60 {
        world.step(60.0, &bleeding, &demand);
    }
    assert!((before - apart(&world) - 20.0 * 3.3 / 33.0).abs() < 0.03, "{}", before - apart(&world));
    // Long steps do what short ones do.
    world = short.clone();
    for _ in 0..10 {
        world.step(60.0, &bleeding, &demand);
    }
    for _ in 0..60_000 {
        short.step(0.01, &bleeding, &demand);
    }
    assert!((world.cells.charge[7] - short.cells.charge[7]).abs() < 1e-6);
    assert!((world.cells.celsius[7] - short.cells.celsius[7]).abs() < 0.01);
    assert!((world.cells.volts[7] - short.cells.volts[7]).abs() < 5e-5);
}

/// Cell 4 bleeds whatever it is told, cell 6 never does: 3.33 V through 33 Ω for an hour are 0.1 Ah, and the comparators see just that. What
/// cells 5 and 7 do is what they are told.
#[test]
fn a_stuck_bleed_switch_takes_its_charge_and_shows_in_its_comparator_only() {
    let mut world: Trainer =
        World::new(&PackSpec::trainer(), 5, Initial { charge: 0.8, celsius: 20.0 }).unwrap();
    let mut twin = world.clone();
    let stuck = [Kind::BleedStuckOn, Kind::BleedStuckOff].map(|kind| {
        world.inject(Defect::usual(kind, if kind == Kind::BleedStuckOn { 3 } else { 5 }, 0.0)).unwrap()
    });
    let told = Actuators { bleeding: 1 << 5 | 1 << 6, ..Actuators::OFF };
    let flows =
        |world: &Trainer| world.measure(9, Instant(0), Asked::NOTHING).bleed_flows.value.iter().collect();
    let demand = Demand { outside_celsius: 20.0, ..Demand::default() };
    for each in [&mut world, &mut twin] {
        (0..3_600).for_each(|_| each.step(1.0, &told, &demand));
    }
    let (seen, sound): (Vec<u8>, Vec<u8>) = (flows(&world), flows(&twin));
    assert_eq!((seen, sound), (vec![3, 6], vec![5, 6]));
    let lost = |cell: usize| (twin.cells.coulombs(cell) - world.cells.coulombs(cell)) / 3_600.0;
    assert!((lost(3) - 3.33 / 33.0).abs() < 1e-3 && (lost(5) + 3.33 / 33.0).abs() < 1e-3, "{}", lost(3));
    // The dividers draw a little less from a string that stands a little lower.
    assert!(lost(4).abs() < 1e-6 && lost(6).abs() < 1e-6);
    for id in stuck {
        world.clear(id);
    }
    world.step(1.0, &told, &demand);
    let mended: Vec<u8> = flows(&world);
    assert_eq!(mended, [5, 6]);
}
