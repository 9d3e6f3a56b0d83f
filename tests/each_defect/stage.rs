//! What the trainer does while it has a defect, driven by a script, so that no decision of a firmware spreads what a defect does.
//!
//! | from | coils | load | besides |
//! | --- | --- | --- | --- |
//! | 0 s | negative, precharge | | |
//! | 0.6 s | all three | | |
//! | 0.8 s | negative, positive | | |
//! | 1 s | | 1.5C out, of which 1.25C are allowed | cooling on from 2 s |
//! | 3 s | | | cells 1, 5 and 9 bleed |
//! | 4 s | | 0.4C in | |
//! | 5 s | | | |
//! | 6 s to 10 s | none | | |
//!
//! The front end pulls its test current every quarter of a second, odd and even inputs by turns; the known resistor stands at the negative
//! pole from 2 s, at the positive one from 5 s and at neither from 8 s on.

use bms_core::Frame;
use bms_core::frame::{Asked, Inputs, ToChassis};
use bms_core::units::Instant;
use bms_sim::defect::{Defect, Kind};
use bms_sim::world::load::Demand;
use bms_sim::world::spec::PackSpec;
use bms_sim::world::{Actuators, Initial, World};

pub(crate) type Trainer = World<16, 8>;
pub(crate) type TrainerFrame = Frame<16, 8>;

/// Ticks of the script, and its length.
pub(crate) const TICK_SECONDS: f64 = 0.01;
pub(crate) const TICKS: u32 = 1_000;

/// The trainer at 60 % and 20 °C, its first module heated from outside, so that no two modules are alike.
pub(crate) fn trainer() -> Trainer {
    let initial = Initial { charge: 0.6, celsius: 20.0 };
    let mut world = World::new(&PackSpec::trainer(), 7, initial).expect("the trainer is a pack");
    let heat = Defect { severity: 2_000.0, ..Defect::usual(Kind::ExternalHeat, 0, 0.0) };
    world.inject(heat).expect("heat can come from outside");
    world
}

/// The instant at which a tick begins, in seconds.
pub(crate) fn begins(tick: u32) -> f64 {
    TICK_SECONDS * f64::from(tick)
}

/// Lets a tick pass and shows what is measured after it.
pub(crate) fn play(world: &mut Trainer, tick: u32) -> TrainerFrame {
    let from = |seconds: u32| tick >= 100 * seconds;
    let coils = match tick {
        0..60 => [true, true, false],
        60..80 => [true, true, true],
        80..600 => [true, false, true],
        _ => [false; 3],
    };
    let amps = match tick {
        100..300 => -30.0,
        400..500 => 8.0,
        _ => 0.0,
    };
    let pull = match tick % 50 {
        0 => Some(Inputs::Odd),
        25 => Some(Inputs::Even),
        _ => None,
    };
    let resistor = match tick {
        200..500 => ToChassis::Negative,
        500..800 => ToChassis::Positive,
        _ => ToChassis::Open,
    };
    let bleeding = if (300..400).contains(&tick) { 1 | 1 << 4 | 1 << 8 } else { 0 };
    let actuators = Actuators {
        coils,
        bleeding,
        cooling: from(2),
        charge_limit_amps: 20.0,
        discharge_limit_amps: 25.0,
        pull,
        resistor,
    };
    world.step(TICK_SECONDS, &actuators, &Demand { amps, outside_celsius: 20.0, ..Demand::default() });
    let next = tick + 1;
    world.measure(u64::from(next), Instant(10 * next), Asked::NOTHING)
}
