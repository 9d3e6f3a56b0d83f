//! Contactors, fuse, disconnects and short circuits, seen at the whole pack.

use super::*;
use crate::world::truth::Bound;
use bms_core::frame::Contact;

fn at(celsius: f64) -> Demand {
    Demand { outside_celsius: celsius, ..Demand::default() }
}

/// 317 V on 87 mΩ and a short of 5 mΩ: above 3 kA the fuse is faster than anything else, and no contactor has to break what it cannot. At
/// −25 °C the cells have several times the resistance: less than 1.2 kA, at which the fuse takes seconds; the contactors break it,
/// below their limit of 2 kA, and hold no weld.
#[test]
fn the_fuse_clears_a_warm_short_and_the_contactors_a_cold_one() {
    for (celsius, amps, by_fuse) in [(25.0, 3_000.0..3_600.0, true), (-25.0, 700.0..1_200.0, false)] {
        let mut world = crane(0.6, celsius);
        let closed = close(&mut world, celsius);
        world.inject(Defect::usual(Kind::ShortCircuit, 0, 0.0)).unwrap();
        world.step(0.01, &closed, &at(celsius));
        assert!(amps.contains(&-world.flow.start_amps.min(world.flow.mean_amps)), "{:?}", world.flow);
        run(&mut world, 0.04, &closed, &at(celsius));
        assert_eq!(world.bus.fuse_cleared(), by_fuse, "{celsius} °C");
        run(&mut world, 0.1, &Actuators::OFF, &at(celsius));
        let truth = world.truth();
        assert!(truth.made == [false; 3] && truth.welded == [false; 3], "{truth:?}");
        assert_eq!(truth.worst_opening_amps > 500.0, !by_fuse);
    }
}

/// A melt by over-current is physics: clearing the short leaves the fuse molten; a blown fuse that is mended leaves a whole one.
#[test]
fn a_molten_fuse_stays_and_a_blown_one_is_mended() {
    for (kind, stays) in [(Kind::ShortCircuit, true), (Kind::FuseBlown, false)] {
        let mut world = crane(0.6, 25.0);
        let closed = close(&mut world, 25.0);
        let id = world.inject(Defect::usual(kind, 0, 0.0)).unwrap();
        run(&mut world, 0.1, &closed, &at(25.0));
        run(&mut world, 8.0, &Actuators::OFF, &at(25.0));
        assert!(world.bus.pack_volts < 1.0, "{}", kind.name());
        world.clear(id);
        run(&mut world, 0.1, &Actuators::OFF, &at(25.0));
        assert_eq!(world.bus.pack_volts < 1.0, stays, "{}", kind.name());
        (world.bus.fuse_melted, world.bus.resistor_burnt) = (0.0, false);
        run(&mut world, 0.1, &Actuators::OFF, &at(25.0));
        assert!(world.bus.pack_volts > 300.0);
    }
}

/// Parted in the middle, the string gives no current and the pack's voltage falls with the link, while the cells still sum up. Only the
/// disconnect has a contact that tells.
#[test]
fn a_parted_string_collapses_while_its_cells_sum_up() {
    for (kind, told) in [(Kind::FuseBlown, Contact::Made), (Kind::ServiceDisconnectOut, Contact::Broken)] {
        let mut world = crane(0.6, 25.0);
        let closed = close(&mut world, 25.0);
        let hoist = Demand { amps: -150.0, ..at(25.0) };
        run(&mut world, 1.0, &closed, &hoist);
        world.inject(Defect::usual(kind, 0, 0.0)).unwrap();
        run(&mut world, 0.01, &closed, &hoist);
        assert!(world.flow.end_amps.abs() < 1e-9);
        // 150 A empty 1 mF by 150 V a millisecond, down to where the drive stops at 180 V; the rest bleeds: 2.5 kΩ · 1 mF.
        assert!((170.0..185.0).contains(&world.bus.pack_volts), "{}", world.bus.pack_volts);
        run(&mut world, 12.0, &closed, &hoist);
        assert!(world.bus.pack_volts < 2.0 && world.cells.sum_of_open_volts() > 300.0);
        let frame = world.measure(7, Instant(0), Asked::NOTHING);
        assert_eq!(frame.contacts.value.service_disconnect, told, "{}", kind.name());
    }
}

/// A shorted link keeps precharge flat and holds the current at V/R (Ohm): 317 V on 50 Ω and 0.1 Ω are 6.3 A and 2 kW, by which 12 J/K warm
/// by 165 K a second.
#[test]
fn a_shorted_link_holds_the_precharge_current() {
    let mut world = crane(0.6, 25.0);
    world.inject(Defect::usual(Kind::LinkShorted, 0, 0.0)).unwrap();
    run(&mut world, 0.2, &Actuators { coils: [true, false, false], ..FREE }, &at(25.0));
    run(&mut world, 1.0, &Actuators { coils: [true, true, false], ..FREE }, &at(25.0));
    let volts = world.bus.pack_volts;
    assert!((world.flow.end_amps + volts / 50.2).abs() < 0.02, "{}", world.flow.end_amps);
    assert!(world.bus.link_volts < 1.0);
    let seconds = 1.0 - 0.02;
    let warmed = volts * volts / 50.2 * seconds / 12.0;
    let seen = world.bus.resistor_celsius - 25.0;
    // It cools meanwhile by 0.4 W/K: 1.6 % of what it has.
    assert!((0.96..1.01).contains(&(seen / warmed)), "{seen} K for {warmed} K");
}

/// Wear by closing counts the difference, whichever sign it has, and whichever of the two main contactors closes last.
#[test]
fn a_link_above_the_pack_wears_as_one_below_and_so_does_the_negative_contactor() {
    let worn = |difference: f64, last: usize| {
        let mut world = crane(0.6, 25.0);
        let first = if last == 2 { [true, false, false] } else { [false, false, true] };
        run(&mut world, 0.1, &Actuators { coils: first, ..FREE }, &at(25.0));
        world.bus.link_volts = world.bus.pack_volts + difference;
        run(&mut world, 0.1, &Actuators { coils: [true, false, true], ..FREE }, &at(25.0));
        let contactor = &world.bus.contactors[last];
        (contactor.worst_closing_volts, contactor.wear, contactor.gap_joules)
    };
    for last in [0, 2] {
        let (below, above) = (worn(-40.0, last), worn(40.0, last));
        // The link bleeds by a volt until the contacts meet.
        assert!((below.0 - 40.0).abs() < 3.0 && (above.0 - 40.0).abs() < 4.0, "{below:?} {above:?}");
        // Life at 40 V: 50 · (64/40)^9.97 = 5 400 closings. The bounces that follow find next to no difference.
        for worn in [below, above] {
            let life = 1.0 / worn.1;
            let exact = 50.0 * (64.0 / worn.0).powf(9.965_784);
            assert!((life / exact - 1.0).abs() < 1e-3, "{life} for {exact}");
            // ½ C ΔV², and at each bounce the small arc of the bleed-down resistor's 0.13 A.
            assert!((1.0..1.5).contains(&(worn.2 / (0.5 * 1e-3 * worn.0 * worn.0))), "{worn:?}");
        }
    }
    assert!(worn(-250.0, 0).1 >= 1.0 && worn(250.0, 2).1 >= 1.0);
}

/// A contactor that bounces for long onto a link that a load empties meanwhile closes onto a new difference, and parts under load, at each
/// bounce: it wears, where a sound one does not.
#[test]
fn bouncing_under_load_wears() {
    let worn = |bouncing: bool| {
        let mut world = crane(0.6, 25.0);
        // 10 Ω on the link: 31 A, and a time constant of 10 ms.
        world.inject(Defect { severity: 10.0, ..Defect::usual(Kind::LoadLeftOn, 0, 0.0) }).unwrap();
        if bouncing {
            world
                .inject(Defect { severity: 100.0, ..Defect::usual(Kind::ContactorBouncing, 2, 0.0) })
                .unwrap();
        }
        run(&mut world, 0.1, &Actuators { coils: [true, false, false], ..FREE }, &at(25.0));
        world.bus.link_volts = world.bus.pack_volts;
        // The load is told to wait until then: the link is full when the contacts first meet.
        let closing = Actuators { coils: [true, false, true], ..FREE };
        while !world.truth().made[2] {
            world.bus.link_volts = world.bus.pack_volts;
            world.step(0.001, &closing, &at(25.0));
        }
        run(&mut world, 0.3, &closing, &at(25.0));
        world.bus.contactors[2].clone()
    };
    let (sound, bounced) = (worn(false), worn(true));
    assert!(sound.worst_closing_volts < 60.0 && !sound.welded(), "{sound:?}");
    assert!(
        bounced.worst_closing_volts > 200.0 && bounced.worst_opening_amps > 25.0 && bounced.welded(),
        "{bounced:?}"
    );
}

/// A motor at 130 % of 307 V keeps the link above the pack after opening: a closing difference of the other sign, and live.
#[test]
fn a_turning_motor_lifts_the_link_above_the_pack() {
    let mut world = crane(0.6, 25.0);
    world.inject(Defect { severity: 130.0, ..Defect::usual(Kind::MotorTurning, 0, 0.0) }).unwrap();
    let closed = close(&mut world, 25.0);
    run(&mut world, 0.5, &closed, &at(25.0));
    // (399 − 317) V / 4 Ω = 20 A into the pack while closed.
    assert!(
        (world.flow.end_amps - (399.4 - world.bus.link_volts) / 4.0).abs() < 0.5,
        "{}",
        world.flow.end_amps
    );
    run(&mut world, 0.1, &Actuators { coils: [true, false, false], ..FREE }, &at(25.0));
    assert!(world.bus.link_volts > world.bus.pack_volts + 50.0, "{}", world.bus.link_volts);
    run(&mut world, 0.1, &closed, &at(25.0));
    let breach = world.spec().safe.first_breach(&world.truth()).unwrap();
    assert_eq!(breach.bound, Bound::ClosedOntoDifference);
}

/// With its disconnect out the supply holds the coils for some tenths of a second, says so by its contact all the while, and then they fall
/// open under load: what a firmware that did not listen would get.
#[test]
fn a_pulled_auxiliary_disconnect_ends_in_falling_contactors() {
    let mut world = crane(0.6, 25.0);
    let closed = close(&mut world, 25.0);
    let hoist = Demand { amps: -150.0, ..at(25.0) };
    run(&mut world, 1.0, &closed, &hoist);
    world.inject(Defect::usual(Kind::AuxiliaryDisconnectOut, 0, 0.0)).unwrap();
    run(&mut world, 0.3, &closed, &hoist);
    let frame = world.measure(7, Instant(0), Asked::NOTHING);
    assert_eq!(frame.contacts.value.auxiliary_disconnect, Contact::Broken);
    assert_eq!(world.truth().made, [true, false, true]);
    run(&mut world, 0.2, &closed, &hoist);
    assert!(world.truth().made == [false; 3] && world.truth().worst_opening_amps > 100.0);
    assert!(world.supply.feeds_controller());
    run(&mut world, 1.0, &closed, &hoist);
    assert!(!world.supply.feeds_controller());
}

/// A supply with bad contact (12.6 V behind 1.15 Ω) holds two coils; the pull-in current of the third one, 4.8 V then, drops them under
/// load. Of those that try again the first one comes back alone, with 7.1 V, and the next one drops it: it chatters, although its command
/// has not changed.
#[test]
fn a_sagging_supply_drops_contactors_under_load() {
    let mut world = crane(0.6, 25.0);
    let closed = close(&mut world, 25.0);
    let hoist = Demand { amps: -150.0, ..at(25.0) };
    run(&mut world, 1.0, &closed, &hoist);
    world.inject(Defect { severity: 1.0, ..Defect::usual(Kind::SupplySagging, 0, 0.0) }).unwrap();
    run(&mut world, 1.0, &closed, &hoist);
    let before = world.bus.contactors.clone();
    assert_eq!(world.truth().made, [true, false, true], "holding current it can give");
    run(&mut world, 2.0, &Actuators { coils: [true, true, true], ..closed }, &hoist);
    assert!(world.truth().worst_opening_amps > 100.0);
    for which in [0, 2] {
        let operations = world.bus.contactors[which].operations - before[which].operations;
        assert!(operations >= 1, "{which}: {operations}");
    }
    assert!(
        world.bus.contactors.iter().any(|contactor| contactor.operations > 20),
        "{:?}",
        world.bus.contactors
    );
}

/// An interlock loop and an impact sensor carry no current of the pack: truth and every other reading stay bit for bit, and once mended only
/// the counters remember.
#[test]
fn a_signal_leaves_truth_alone_and_its_counter_remembers() {
    for kind in [Kind::InterlockOpen, Kind::InterlockIntermittent, Kind::ImpactSignal] {
        let mut world = crane(0.6, 15.0);
        let mut twin = world.clone();
        let severity = if kind == Kind::InterlockIntermittent { 60.0 } else { kind.usual() };
        let id = world.inject(Defect { severity, ..Defect::usual(kind, 0, 1.0) }).unwrap();
        let hoist = Demand { amps: -150.0, ..at(15.0) };
        for each in [&mut world, &mut twin] {
            let closed = close(each, 15.0);
            run(each, 4.0, &closed, &hoist);
        }
        let measure = |world: &Crane| world.measure(480, Instant(0), Asked::NOTHING);
        let (mut seen, sound) = (measure(&world), measure(&twin));
        assert!(seen.contacts != sound.contacts, "{}", kind.name());
        seen.contacts = sound.contacts;
        assert!(seen == sound && world.truth() == twin.truth(), "{}", kind.name());
        world.clear(id);
        for each in [&mut world, &mut twin] {
            run(each, 0.01, &FREE, &hoist);
        }
        let (mended, sound) = (measure(&world).contacts.value, measure(&twin).contacts.value);
        let counted = mended.interlock_breaks != 0 || mended.impact_edges != 0;
        assert!(mended.interlock == sound.interlock && counted, "{}", kind.name());
    }
}

/// Defects of the path between string and load, at the least and the most that is accepted of them.
fn of_the_path() -> impl Strategy<Value = Vec<(Kind, usize, bool)>> {
    let kinds = [
        (Kind::ContactorBouncing, 2),
        (Kind::ContactorBouncing, 0),
        (Kind::ContactorWelded, 1),
        (Kind::ContactorWelded, 2),
        (Kind::PrechargeOpen, 0),
        (Kind::LinkShorted, 0),
        (Kind::ShortCircuit, 0),
        (Kind::LoadLeftOn, 0),
        (Kind::BleedDownOpen, 0),
        (Kind::MotorTurning, 0),
        (Kind::FuseBlown, 0),
        (Kind::ServiceDisconnectOut, 0),
        (Kind::SupplySagging, 0),
        (Kind::AuxiliaryDisconnectOut, 0),
    ];
    let one = (prop::sample::select(kinds.to_vec()), any::<bool>());
    prop::collection::vec(one.prop_map(|((kind, place), most)| (kind, place, most)), 1..4)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whatever is wrong with the path, charge and energy are where they were put: as for a sound pack, and within 1 % of the heat of the
    /// path and of what hangs on the link: a short's kiloamperes polarise the cells within the tick over which their voltage is held. Warm: what is charged frozen plates, and is no charge any more.
    #[test]
    fn charge_and_energy_are_conserved_with_a_broken_path(
        story in stretches(),
        defects in of_the_path(),
        onset in 0.0..3.0_f64,
        celsius in 5.0..40.0_f64,
    ) {
        let mut world = crane(0.6, celsius);
        for (kind, place, most) in &defects {
            let (low, high) = kind.range();
            let severity = if *most { high } else { low };
            world.inject(Defect { severity, ..Defect::usual(*kind, *place, onset) }).unwrap();
        }
        let mut twin = world.clone();
        let before = world.energy();
        let held = |world: &Crane| (0..96).map(|cell| world.cells.coulombs(cell)).sum::<f64>();
        let charge = held(&world);
        play(&mut world, &story, celsius);
        let after = world.energy();
        let moved = world.bus.moved;
        let missing = (after.stored - before.stored) - (after.received - before.received);
        let path = moved.bled_joules + moved.path_joules;
        prop_assert!(missing.abs() < 1.0 + 1e-4 * after.scale + 1e-2 * path, "{missing} J of {path} J");
        let expected = 96.0 * moved.string_coulombs - world.cells.beside_coulombs();
        let gone = held(&world) - charge;
        prop_assert!((gone - expected).abs() < 1e-5, "{gone} C for {expected} C");
        let link = moved.load_coulombs + moved.motor_coulombs - moved.string_coulombs - moved.bled_coulombs;
        let kept = world.bus.link_farads() * world.bus.link_volts;
        prop_assert!((kept - link).abs() < 1e-9 * (1.0 + moved.bled_coulombs.abs()), "{kept} {link}");
        // The same inputs give the same bits.
        twin.energy();
        play(&mut twin, &story, celsius);
        twin.energy();
        prop_assert!(twin == world);
    }
}
