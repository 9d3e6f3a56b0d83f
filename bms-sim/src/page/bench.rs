//! # The precharge bench
//!
//! One start of a sound pack with other parts around its link than it was built with: what the link does, what the firmware expects of it, what each
//! check says and when. The parts are the world's; what the firmware has been told of them may be the same or something else.
//!
//! ```text
//! end = pack · k,  k = R_d / (R_pre + R_d)       it can finish when  end ≥ pack − min(end fraction · pack, end volts)
//! expected  link(t) = end · (1 − e^(−t/τ)),  τ = k · R_pre · C;  the band lies between twice this speed and a third of it
//! ```
//! Energy law: what a resistor takes while it charges a capacitor to the voltage of the source is half of `C·V²`, whatever its ohms.

use super::command::Mistake;
use super::session::Refused;
use crate::case::{Pack, StartError};
use crate::defect::{Defect, Kind};
use crate::explain::words;
use crate::world::load::{Demand, Giver};
use crate::world::spec::PackSpec;
use crate::world::{Actuators, Initial, World};
use bms_core::config::SequenceFacts;
use bms_core::frame::{Asked, Wanted};
use bms_core::units::{Instant, Millis, Ohms, Ratio};
use bms_core::witness::Evidence;
use bms_core::{Config, Controller, Step, Witness};
use serde::{Deserialize, Serialize};

/// How long a start is followed, in ticks of 10 ms.
const TICKS: u32 = 400;

/// The firmware decides every so many milliseconds, ...
const TICK_MS: u32 = 10;

/// ... and the world is looked at so often in between.
const LOOKS: u32 = 5;

/// What is said in each tick is shown so often, in milliseconds.
const SAID_MS: f64 = 50.0;

/// The start begins from rest at this charge and temperature.
const AT_REST: Initial = Initial { charge: 0.6, celsius: 25.0 };

/// What is on the bench.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Asking {
    /// `crane` or `trainer`.
    pack: String,
    /// The parts as they are.
    parts: Parts,
    /// The parts as the firmware was told.
    told: Option<Parts>,
    /// The link is charged within this part of the pack, in percent; as built when left out.
    end_percent: Option<f64>,
    /// Precharge must be over after so many time constants.
    time_constants: Option<u8>,
    /// No rise for so long after the coil is flat, in milliseconds.
    flat_after_ms: Option<u32>,
}

/// The parts around the link.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Parts {
    precharge_ohms: f64,
    link_microfarads: f64,
    bleed_down_ohms: f64,
    /// What hangs on the link all the time, if anything does.
    load_ohms: Option<f64>,
    /// From coil to contact, in milliseconds; as built when left out.
    pull_in_ms: Option<f64>,
}

/// What came of it.
#[derive(Debug, Serialize)]
pub struct Start {
    kind: &'static str,
    /// What is said before anything is switched: that it can finish, that it never can, or that the firmware refuses such a configuration.
    at_once: String,
    /// Whether it can finish.
    possible: bool,
    /// Milliseconds from the coil of the precharge contactor.
    ms: Vec<f64>,
    link_volts: Vec<f64>,
    amps: Vec<f64>,
    resistor_celsius: Vec<f64>,
    /// The expected link and the band around it, from the rise on.
    expected_volts: Vec<Option<f64>>,
    fast_volts: Vec<Option<f64>>,
    slow_volts: Vec<Option<f64>>,
    checks: Vec<Check>,
    pack_volts: f64,
    within_volts: f64,
    ends: String,
    /// What the resistor took, in words; nothing when nothing was switched.
    heat: String,
    resistor_joules: f64,
    hottest_celsius: f64,
    rated_celsius: f64,
}

/// What a check said.
#[derive(Debug, Serialize)]
struct Check {
    ms: f64,
    said: String,
}

/// Accepted values of the parts.
const OHMS: (f64, f64) = (1.0, 1_000.0);
const MICROFARADS: (f64, f64) = (50.0, 20_000.0);
const DOWN_OHMS: (f64, f64) = (10.0, 100_000.0);
const LOAD_OHMS: (f64, f64) = (1.0, 10_000.0);
const PULL_IN_MS: (f64, f64) = (5.0, 300.0);

fn within(place: &'static str, value: f64, (least, most): (f64, f64)) -> Result<f64, Mistake> {
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(Mistake::new(place, value, format!("accepted is {least} to {most}")))
    }
}

impl Parts {
    fn check(&self) -> Result<(), Mistake> {
        within("precharge_ohms", self.precharge_ohms, OHMS)?;
        within("link_microfarads", self.link_microfarads, MICROFARADS)?;
        within("bleed_down_ohms", self.bleed_down_ohms, DOWN_OHMS)?;
        if let Some(ohms) = self.load_ohms {
            within("load_ohms", ohms, LOAD_OHMS)?;
        }
        if let Some(ms) = self.pull_in_ms {
            within("pull_in_ms", ms, PULL_IN_MS)?;
        }
        Ok(())
    }

    /// What is bolted in.
    fn built_into(&self, spec: &mut PackSpec) {
        spec.bus.precharge_ohms = self.precharge_ohms;
        spec.bus.link_farads = self.link_microfarads / 1e6;
        spec.bus.bleed_down_ohms = self.bleed_down_ohms;
        if let Some(ms) = self.pull_in_ms {
            spec.bus.contactor.pull_in_seconds = [ms / 1_000.0; 2];
        }
    }

    /// What stands in the configuration, in whole ohms and microfarads.
    fn told(&self, facts: SequenceFacts) -> SequenceFacts {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked to be small")]
        let whole = |value: f64| libm::rint(value) as u32;
        SequenceFacts {
            precharge_ohms: Ohms(whole(self.precharge_ohms)),
            bleed_down_ohms: Ohms(whole(self.bleed_down_ohms)),
            link_microfarads: whole(self.link_microfarads),
            ..facts
        }
    }

    /// What hangs beside the capacitor, in siemens.
    fn hanging(&self) -> f64 {
        1.0 / self.bleed_down_ohms + self.load_ohms.map_or(0.0, |ohms| 1.0 / ohms)
    }
}

/// Makes the start.
///
/// # Errors
/// When a value makes no sense.
pub fn start(asking: &Asking) -> Result<Start, Refused> {
    asking.parts.check()?;
    asking.told.as_ref().map_or(Ok(()), Parts::check)?;
    match asking.pack.as_str() {
        "crane" => started::<96, 16>(asking, Pack::Crane),
        "trainer" => started::<16, 8>(asking, Pack::Trainer),
        other => Err(Mistake::unknown("pack", other, &["crane", "trainer"]).into()),
    }
}

fn configured(asking: &Asking, pack: Pack) -> Result<Config, Mistake> {
    let config = pack.config();
    let mut facts = asking.told.unwrap_or(asking.parts).told(config.sequence);
    if let Some(percent) = asking.end_percent {
        within("end_percent", percent, (0.5, 20.0))?;
        #[expect(clippy::cast_possible_truncation, reason = "checked to be small")]
        let thousandths = (percent * 10.0) as i32;
        facts.end_fraction = Ratio::from_milli(thousandths);
    }
    facts.time_constants = asking.time_constants.unwrap_or(facts.time_constants);
    facts.flat_after = asking.flat_after_ms.map_or(facts.flat_after, Millis);
    Ok(Config { sequence: facts, ..config })
}

fn started<const CELLS: usize, const THERMISTORS: usize>(
    asking: &Asking,
    pack: Pack,
) -> Result<Start, Refused> {
    let mut spec = pack.spec();
    asking.parts.built_into(&mut spec);
    let config = configured(asking, pack)?;
    let mut world = World::<CELLS, THERMISTORS>::new(&spec, 1, AT_REST).map_err(StartError::from)?;
    if let Some(ohms) = asking.parts.load_ohms {
        let load = Defect { severity: ohms, ..Defect::usual(Kind::LoadLeftOn, 0, 0.0) };
        world.inject(load).map_err(|error| Refused::Nothing(error.to_string()))?;
    }
    let pack_volts = world.bus.pack_volts;
    let share = f64::from(config.sequence.end_fraction.parts_per_million()) / 1e6;
    let within_volts = (share * pack_volts).min(f64::from(config.sequence.end_volts.milli()) / 1_000.0);
    let ends_at = pack_volts / (1.0 + asking.parts.precharge_ohms * asking.parts.hanging());
    let possible = ends_at >= pack_volts - within_volts;
    let judged = if possible { words::bench::can_finish } else { words::bench::never_done };
    let mut start = Start {
        kind: "bench",
        at_once: judged(ends_at, pack_volts, within_volts),
        possible,
        ms: Vec::new(),
        link_volts: Vec::new(),
        amps: Vec::new(),
        resistor_celsius: Vec::new(),
        expected_volts: Vec::new(),
        fast_volts: Vec::new(),
        slow_volts: Vec::new(),
        checks: Vec::new(),
        pack_volts,
        within_volts,
        ends: String::new(),
        heat: String::new(),
        resistor_joules: 0.0,
        hottest_celsius: AT_REST.celsius,
        rated_celsius: spec.bus.precharge_rated_celsius,
    };
    match config.fit() {
        Ok(fitted) => start.follow(&mut world, Controller::new(fitted), &config.sequence),
        // The firmware's own check knows it too, before it closes anything.
        Err(error) => {
            let refused = words::bench::refused(&error.to_string());
            start.at_once = if start.possible { refused } else { format!("{} {refused}", start.at_once) };
            start.possible = false;
        }
    }
    Ok(start)
}

/// Keeps what the firmware says of a start.
struct Heard(Vec<Evidence>);

impl Witness for Heard {
    fn saw(&mut self, evidence: Evidence) {
        let wanted = matches!(
            evidence,
            Evidence::Moved { .. }
                | Evidence::Precharging(_)
                | Evidence::StageChanged { .. }
                | Evidence::Refused(_)
        );
        if wanted {
            self.0.push(evidence);
        }
    }
}

impl Start {
    fn follow<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        world: &mut World<CELLS, THERMISTORS>,
        mut core: Controller<CELLS, THERMISTORS>,
        facts: &SequenceFacts,
    ) {
        let idle = Demand { amps: 0.0, giver: Giver::Drive, outside_celsius: AT_REST.celsius };
        let (mut coil_ms, mut rise_ms) = (None, None);
        for tick in 0..TICKS {
            let at = tick * TICK_MS;
            // A switch that stands on when the firmware starts closes nothing.
            let contactors = if tick == 0 { Wanted::Open } else { Wanted::Closed };
            let asked = Asked { contactors, ..Asked::NOTHING };
            let mut heard = Heard(Vec::new());
            let decision = core.tick(&world.measure(tick.into(), Instant(at), asked), &mut heard);
            if decision.step == Step::Precharging && coil_ms.is_none() {
                coil_ms = Some(f64::from(at));
            }
            let Some(coil_ms) = coil_ms else {
                world.step(f64::from(TICK_MS) / 1_000.0, &Actuators::from(&decision), &idle);
                continue;
            };
            let since = f64::from(at) - coil_ms;
            self.hear(since, &heard.0, &mut rise_ms);
            for look in 0..LOOKS {
                let ms = since + f64::from(look * TICK_MS) / f64::from(LOOKS);
                self.look(ms, world, facts, rise_ms);
                world.step(
                    f64::from(TICK_MS) / f64::from(LOOKS) / 1_000.0,
                    &Actuators::from(&decision),
                    &idle,
                );
            }
            self.ends = words::bench::ends(decision.step, since);
            // Charged, or given up and open again.
            if matches!(decision.step, Step::Closed | Step::Open | Step::Barred) {
                break;
            }
        }
        self.resistor_joules = world.bus.moved.resistor_joules;
        self.heat = words::bench::heat(self.resistor_joules, self.hottest_celsius, self.rated_celsius);
    }

    fn hear(&mut self, ms: f64, heard: &[Evidence], rise_ms: &mut Option<f64>) {
        for evidence in heard {
            if let Evidence::Precharging(check) = evidence {
                if check.since_rise > Millis::ZERO && rise_ms.is_none() {
                    *rise_ms = Some(ms - f64::from(check.since_rise.0));
                }
                // Said each tick: less is enough to read.
                if ms % SAID_MS > 0.0 {
                    continue;
                }
            }
            self.checks.push(Check { ms, said: words::evidence(evidence) });
        }
    }

    fn look<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        ms: f64,
        world: &World<CELLS, THERMISTORS>,
        facts: &SequenceFacts,
        rise_ms: Option<f64>,
    ) {
        let thousandth = |value: f64| libm::rint(1_000.0 * value) / 1_000.0;
        self.ms.push(ms);
        self.link_volts.push(thousandth(world.bus.link_volts));
        self.amps.push(thousandth(0.0 - world.flow.end_amps));
        self.resistor_celsius.push(thousandth(world.bus.resistor_celsius));
        self.hottest_celsius = self.hottest_celsius.max(world.bus.resistor_celsius);
        let share = f64::from(facts.end_ratio().parts_per_million()) / 1e6;
        let constant = f64::from(facts.time_constant().0);
        let expected = |speed: f64| {
            let since = rise_ms.map(|rise| ms - rise).filter(|since| *since >= 0.0)?;
            Some(thousandth(world.bus.pack_volts * share * (1.0 - libm::exp(-since * speed / constant))))
        };
        self.expected_volts.push(expected(1.0));
        self.fast_volts.push(expected(2.0));
        self.slow_volts.push(expected(1.0 / 3.0));
    }
}
