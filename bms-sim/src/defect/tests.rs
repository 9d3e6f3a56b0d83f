//! What the world does with a defect, whatever its kind: begin, grow, come, go, end, refuse.

use super::*;
use crate::world::deviation::LinkReading;
use crate::world::load::Demand;
use crate::world::spec::PackSpec;
use crate::world::{Actuators, Initial};
use bms_core::frame::Asked;
use bms_core::units::Instant;
use proptest::prelude::*;

type Trainer = World<16, 8>;

fn trainer() -> Trainer {
    World::new(&PackSpec::trainer(), 7, Initial { charge: 0.6, celsius: 20.0 }).unwrap()
}

const OUTSIDE: Demand = Demand { amps: 0.0, giver: crate::world::load::Giver::Drive, outside_celsius: 20.0 };

fn tick(world: &mut Trainer) {
    world.step(0.01, &Actuators::OFF, &OUTSIDE);
}

/// A meter at the point itself shows through what displaces a reading, and through nothing that is there in truth or that keeps frames,
/// clock or memory of the controller.
#[test]
fn what_displaces_a_reading_is_told_from_what_is_there() {
    for kind in [
        Kind::CellChannelOffset,
        Kind::CellChannelFrozen,
        Kind::SenseWireOpen,
        Kind::SenseWireCorroded,
        Kind::SenseWiresSwapped,
        Kind::CurrentDead,
        Kind::PackVoltageGain,
        Kind::LinkReadingFrozen,
        Kind::ThermistorDetached,
        Kind::FeedbackStuckOpen,
        Kind::PartStale,
    ] {
        assert!(kind.displaces_a_reading(), "{}", kind.key());
    }
    for kind in [
        Kind::AddedResistance,
        Kind::ChargeOutOfLine,
        Kind::BleedStuckOn,
        Kind::ContactorWelded,
        Kind::InterlockOpen,
        Kind::TickLate,
        Kind::ConfigurationBit,
        Kind::LeakPositive,
    ] {
        assert!(!kind.displaces_a_reading(), "{}", kind.key());
    }
}

/// 0.3 s of each second from 2 s to 5 s: in tick `k` it acts when `k·10 ms` lies in one of its spells.
#[test]
fn what_comes_and_goes_is_there_in_the_ticks_of_its_spells_only() {
    let mut world = trainer();
    let spells = Some(Spells { period_seconds: 1.0, duty: 0.3 });
    let usual = Defect::usual(Kind::AddedResistance, 3, 2.0);
    world.inject(Defect { end_seconds: Some(5.0), spells, ..usual }).unwrap();
    for ticks in 0..700_u32 {
        tick(&mut world);
        let present = (200..500).contains(&ticks) && ticks % 100 < 30;
        let ohms = if present { 3e-3 } else { 0.0 };
        assert!((world.deviations().cell_ohms[3] - ohms).abs() < 1e-15, "tick {ticks}");
    }
}

/// A reading that freezes in spells stands, in each of them, where it was when that spell began.
#[test]
fn each_spell_catches_anew() {
    let mut world = trainer();
    let spells = Some(Spells { period_seconds: 1.0, duty: 0.5 });
    world.inject(Defect { spells, ..Defect::usual(Kind::CellChannelFrozen, 2, 0.0) }).unwrap();
    let discharging = Actuators { bleeding: 1 << 2, ..Actuators::OFF };
    let mut stood = Vec::new();
    for _ in 0..300 {
        let begins = !world.deviations().cells_frozen & 1 << 2 != 0;
        world.step(0.01, &discharging, &OUTSIDE);
        if begins && world.deviations().cells_frozen != 0 {
            stood.push(world.deviations().frozen_volts[2]);
        }
    }
    // The bled cell relaxes meanwhile: no two spells begin at the same voltage.
    assert_eq!(stood.len(), 2);
    assert!(stood[1] < stood[0]);
}

/// After a spell the world is the one of a defect that ended then, and no different at the next spell from one that begins there.
#[test]
fn a_spell_ends_as_a_defect_ends() {
    let (mut spells, mut ended) = (trainer(), trainer());
    let usual = Defect::usual(Kind::CellLeak, 5, 0.5);
    spells.inject(Defect { spells: Some(Spells { period_seconds: 4.0, duty: 0.25 }), ..usual }).unwrap();
    ended.inject(Defect { end_seconds: Some(1.5), ..usual }).unwrap();
    for _ in 0..400 {
        tick(&mut spells);
        tick(&mut ended);
        assert_eq!(spells.truth(), ended.truth());
        let frame = |world: &Trainer| world.measure(3, Instant(0), Asked::NOTHING);
        assert_eq!(frame(&spells), frame(&ended));
    }
}

/// Every change lies on an instant that the story knows of: larger steps at rest must not pass over one.
#[test]
fn every_change_is_announced() {
    let spells = Some(Spells { period_seconds: 7.0, duty: 0.4 });
    let grown =
        Defect { grows_seconds: 3.0, end_seconds: Some(30.0), ..Defect::usual(Kind::CellLeak, 0, 5.0) };
    let defect = Defect { spells, ..grown };
    let mut at = 0.0;
    let mut found = Vec::new();
    while defect.next_change_after(at) < f64::INFINITY {
        at = defect.next_change_after(at);
        found.push(at);
    }
    let expected = [5.0, 7.8, 8.0, 12.0, 14.8, 19.0, 21.8, 26.0, 28.8, 30.0];
    assert_eq!(found.len(), expected.len(), "{found:?}");
    assert!(found.iter().zip(expected).all(|(found, expected)| (found - expected).abs() < 1e-9), "{found:?}");
}

#[test]
fn what_makes_no_sense_is_refused_in_a_sentence() {
    let mut world = trainer();
    let open = Defect::usual(Kind::ThermistorOpen, 0, 0.0);
    let swapped = Defect::usual(Kind::ChargeOutOfLine, 0, 0.0);
    let every = |period_seconds, duty| Some(Spells { period_seconds, duty });
    for (defect, sentence) in [
        (
            Defect { grows_seconds: 5.0, ..open },
            "thermistor open: growing for 5 s; accepted is 0, it is there at once",
        ),
        (
            Defect { grows_seconds: 5.0, ..swapped },
            "charge out of line after a swap: growing for 5 s; accepted is 0, it is there at once",
        ),
        (
            Defect { spells: every(1.0, 0.5), ..swapped },
            "charge out of line after a swap: it happens once and cannot come and go",
        ),
        (
            Defect { spells: every(1.0, 1.0), ..open },
            "thermistor open: a share of 1 every 1 s is not accepted; accepted are 0.01 to 0.99 every 0.02 to 5184000 s",
        ),
        (
            Defect { spells: every(f64::NAN, 0.5), ..open },
            "thermistor open: a share of 0.5 every NaN s is not accepted; accepted are 0.01 to 0.99 every 0.02 to 5184000 s",
        ),
        (Defect { place: 8, ..open }, "thermistor open: there is no thermistor 9; accepted is 1 to 8"),
        (
            Defect { end_seconds: Some(-1.0), ..open },
            "thermistor open: from 0 s to -1 s, growing for 0 s, is no span of time",
        ),
    ] {
        assert_eq!(world.inject(defect).unwrap_err().to_string(), sentence);
    }
    for _ in 0..MOST {
        world.inject(open).unwrap();
    }
    assert_eq!(world.inject(open), Err(DefectError::TooMany));
}

/// With a cell the wrong way round, asked to close again and again and cleared by the workshop in between: no coil of the precharge or the
/// positive contactor ever carries current.
#[test]
fn a_cell_the_wrong_way_round_never_gets_as_far_as_precharge() {
    for (pack, cell) in [("trainer", 1), ("trainer", 16), ("trainer", 9)] {
        let text = format!(
            "schema = 1\ntitle = 't'\nstory = 's'\npack = '{pack}'\nseed = 5\nduration_s = 12\n[start]\ncharge_percent = 60\n\
             celsius = 18\n[[defect]]\nkind = 'cell_reversed'\ncell = {cell}\n[[act]]\nat_s = 1\nask = 'close'\n[[act]]\nat_s = 5\n\
             ask = 'clear'\nby = 'service'\n[[act]]\nat_s = 6\nask = 'open'\n[[act]]\nat_s = 7\nask = 'close'\n"
        );
        let case = std::sync::Arc::new(crate::case::Case::parse(&text, "reversed.toml").unwrap());
        let mut played = crate::run::Loop::<16, 8>::new(&case).unwrap();
        while !played.over() {
            let decision = played.advance(&mut ());
            let driven = Actuators::from(&decision).coils;
            assert_eq!(driven[1..], [false, false], "at {} s: {:?}", played.seconds(), decision.step);
        }
    }
}

/// Any kind at one of two places, at any severity that makes sense; what is caught at its onset depends on what is there at that moment.
fn any_defect() -> impl Strategy<Value = Defect> {
    let kinds: Vec<Kind> = Kind::ALL.iter().copied().filter(|kind| kind.once() == Once::Nothing).collect();
    (prop::sample::select(kinds), 0..2_usize, 0.0..=1.0_f64, 0.0..5.0_f64).prop_map(
        |(kind, place, share, onset)| {
            let (low, high) = kind.range();
            let place = if kind.place() == PlaceKind::Pack { 0 } else { place };
            Defect { severity: low + share * (high - low), ..Defect::usual(kind, place, onset - 10.0) }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    /// Several at a time add up, whatever the order in which they come, and each that goes leaves the others.
    #[test]
    fn defects_add_up_in_any_order_and_one_by_one(
        defects in prop::collection::vec(any_defect(), 2..5),
        twice in any::<bool>(),
        turned in any::<prop::sample::Index>(),
    ) {
        let mut defects = defects;
        if twice {
            // The same kind at the same place: what overwrites shows here.
            let again = Defect { severity: defects[0].kind.usual(), onset_seconds: -1.0, ..defects[0] };
            defects.push(again);
        }
        let inject = |defects: &[Defect]| {
            let mut world = trainer();
            let ids: Vec<_> = defects.iter().map(|defect| world.inject(*defect).unwrap()).collect();
            (world, ids)
        };
        let (mut world, ids) = inject(&defects);
        let mut others = defects.clone();
        others.rotate_left(turned.index(defects.len()));
        let (turned, _) = inject(&others);
        prop_assert_eq!(world.deviations(), turned.deviations());
        others.reverse();
        let (reversed, _) = inject(&others);
        prop_assert_eq!(world.deviations(), reversed.deviations());
        for (gone, id) in ids.into_iter().enumerate() {
            world.clear(id);
            let (left, _) = inject(&defects[gone + 1..]);
            prop_assert_eq!(world.deviations(), left.deviations());
        }
    }
}

/// Half of what is left each time: 75 %. The faster motor feeds the link. An offset of 2 A/h since 1 000 s and one of 4 A/h since 2 000 s are
/// 6 · 4 000/3 600 − (2 · 1 000 + 4 · 2 000)/3 600 = 3.889 A at 4 000 s. A link reading that died shows nothing, frozen or not.
#[test]
fn two_of_a_kind_are_more_than_one() {
    let with = |kind, severity, onset_seconds| Defect { severity, ..Defect::usual(kind, 0, onset_seconds) };
    let together = |one: Defect, other: Defect| {
        let mut world = trainer();
        (world.seconds, world.bus.link_volts) = (4_000.0, 20.0);
        world.inject(one).unwrap();
        world.inject(other).unwrap();
        world.deviations().clone()
    };
    let half = with(Kind::ThermistorDetached, 50.0, 0.0);
    assert!((together(half, half).thermistors[0].detached - 0.75).abs() < 1e-12);
    let (fast, slow) = (with(Kind::MotorTurning, 100.0, 0.0), with(Kind::MotorTurning, 20.0, 0.0));
    assert!((together(fast, slow).motor_volts - 51.2).abs() < 1e-9);
    let (two, four) = (with(Kind::CurrentDrift, 2.0, 1_000.0), with(Kind::CurrentDrift, 4.0, 2_000.0));
    assert!((together(four, two).currents[0].drift.amps(4_000.0) - 3.889).abs() < 1e-3);
    let [dead, frozen] = [Kind::LinkReadingDead, Kind::LinkReadingFrozen].map(|kind| with(kind, 1.0, 0.0));
    assert_eq!(together(frozen, dead).link_reading, LinkReading::Dead);
    // The cell is the wrong way round, not twice turned.
    let reversed = with(Kind::CellReversed, 1.0, 0.0);
    assert_eq!(together(reversed, reversed).cells_reversed, 1);
}
