//! The modelled pack: truth, in `f64`, stepped in time.
//!
//! A [`World`] is plain data: a copy is a snapshot, and two copies that are given the same inputs stay equal bit for
//! bit. It never decides anything. [`World::step`] lets time pass under what the firmware drives and what the crane
//! wants; [`World::measure`] shows what the sensors see. What only the world knows is in [`truth`].
//!
//! Steps of 10 ms are meant; longer ones (to 60 s) use the same exact formulas and are meant for rest and slow charge.

pub mod board;
pub mod bus;
pub mod cell;
pub mod contactor;
pub mod deviation;
pub mod fuse;
pub mod harm;
pub mod heat;
pub mod insulation;
#[cfg(test)]
mod laws;
pub mod load;
pub mod noise;
pub mod ocv;
mod part;
pub mod probe;
pub mod sensor;
#[cfg(test)]
mod shown;
pub mod signals;
pub mod spec;
pub mod supply;
pub mod thermistor;
pub mod truth;
pub mod wire;

use crate::defect::Defects;
use bms_core::decision::{Coil, Coils, Cooling, Decision};
use bms_core::frame::{Inputs, ToChassis};
use bms_core::units::Amps;
use bus::{Bus, Source};
use cell::{Cells, Flow};
use deviation::{CONTACTORS, Deviations};
use heat::{Heat, Heating};
use insulation::{Chassis, StringLeaks};
use load::{Bounds, Demand, Load};
use noise::Noise;
use ocv::Curve;
use sensor::Sensors;
use signals::Signals;
use spec::PackSpec;
use supply::Supply;
use wire::Wires;

/// Most modules that a pack may have.
pub const MODULES: usize = 32;

/// The parts that change slowly are renewed after this time, in seconds.
const SLOW_SECONDS: f64 = 0.1;

/// The step for which a new world is prepared, in seconds; any other one is taken up at the first step.
const FIRST_STEP_SECONDS: f64 = 0.01;

/// What the firmware drives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Actuators {
    /// Coils of the negative, precharge and positive contactor.
    pub coils: [bool; CONTACTORS],
    /// Bleed switches, one bit a cell.
    pub bleeding: u128,
    /// Whether the cooling fan runs.
    pub cooling: bool,
    /// Current limit into the pack in amperes, as an amount.
    pub charge_limit_amps: f64,
    /// Current limit out of the pack in amperes, as an amount.
    pub discharge_limit_amps: f64,
    /// Inputs of the front end from which its test current is pulled while the next frame is read.
    pub pull: Option<Inputs>,
    /// Where the known resistor of the insulation measurement stands.
    pub resistor: ToChassis,
}

impl Actuators {
    /// Everything off.
    pub const OFF: Self = Self {
        coils: [false; CONTACTORS],
        bleeding: 0,
        cooling: false,
        charge_limit_amps: 0.0,
        discharge_limit_amps: 0.0,
        pull: None,
        resistor: ToChassis::Open,
    };
}

impl<const CELLS: usize> From<&Decision<CELLS>> for Actuators {
    fn from(decision: &Decision<CELLS>) -> Self {
        let Coils { negative, precharge, positive } = decision.coils;
        let bleeding = if decision.bleed.is_empty() {
            0
        } else {
            decision.bleed.iter().fold(0, |cells, cell| cells | 1 << cell)
        };
        Self {
            coils: [negative, precharge, positive].map(|coil| coil == Coil::On),
            bleeding,
            cooling: decision.cooling == Cooling::On,
            charge_limit_amps: amps(decision.limits.charge),
            discharge_limit_amps: amps(decision.limits.discharge),
            pull: decision.pull,
            resistor: decision.resistor,
        }
    }
}

/// Exact: the fixed point has 32 bits.
fn amps(amps: Amps) -> f64 {
    f64::from(amps.bits()) / 65_536.0
}

/// How a pack stands when its story begins: at rest for hours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Initial {
    /// State of charge of every cell, 0 to 1.
    pub charge: f64,
    /// Temperature of everything in °C.
    pub celsius: f64,
}

/// A pack that cannot be modelled.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WorldError {
    /// The specification speaks of another number of cells than the type.
    #[error("pack.cells = {found}, but this model holds {accepted}")]
    Cells {
        /// In the specification.
        found: usize,
        /// In the type.
        accepted: usize,
    },
    /// The same for thermistors.
    #[error("pack has {found} thermistors (modules × thermistors a module), but this model holds {accepted}")]
    Thermistors {
        /// In the specification.
        found: usize,
        /// In the type.
        accepted: usize,
    },
    /// Modules must be whole, and not too many.
    #[error("pack.cells_a_module = {found} must divide the {cells} cells into 1 to {MODULES} whole modules")]
    Modules {
        /// Cells of a module in the specification.
        found: usize,
        /// Cells of the pack.
        cells: usize,
    },
}

/// A pack with everything around it.
#[derive(Clone, Debug, PartialEq)]
pub struct World<const CELLS: usize, const THERMISTORS: usize> {
    /// Time since the start in seconds.
    pub seconds: f64,
    /// The cells.
    pub cells: Cells<CELLS>,
    /// Heat.
    pub heat: Heat<CELLS, THERMISTORS>,
    /// Contactors, precharge, link.
    pub bus: Bus,
    /// The crane's drive.
    pub load: Load,
    /// Auxiliary supply.
    pub supply: Supply,
    /// Sense wires.
    pub wires: Wires,
    /// Contacts and counters around the pack.
    pub signals: Signals,
    /// String current over the last step.
    pub flow: Flow,
    /// Mean heat of each joint over about the last minute (first-order mean, 60 s), in watts.
    pub joint_watts: [f64; CELLS],
    /// Heat of all joints since the start, in joules.
    pub joint_joules: f64,
    /// Charge that was put into cells by swapping them, in coulombs.
    pub swapped_coulombs: f64,
    /// What the firmware drove over the last step.
    driven: Actuators,
    step_seconds: f64,
    deviations: Deviations<CELLS, THERMISTORS>,
    pub(crate) defects: Defects,
    sensors: Sensors<CELLS, THERMISTORS>,
    slow: Slow,
    spec: PackSpec,
}

/// What has gathered since the slow parts were renewed, and the inputs that they were renewed with.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Slow {
    beat_seconds: f64,
    seconds: f64,
    square_seconds: f64,
    source_ohms: [f64; 2],
    string_leaks: StringLeaks,
    bleeding: u128,
    cooling: bool,
    outside_celsius: f64,
    /// Whether anything in a cell moves so fast that long steps would miss it.
    restless: bool,
}

impl<const CELLS: usize, const THERMISTORS: usize> World<CELLS, THERMISTORS> {
    /// A pack whose parts scatter as the seed says, long at rest, contactors open, link empty.
    ///
    /// # Errors
    /// When the specification does not fit the type, or its modules are not whole.
    pub fn new(spec: &PackSpec, seed: u64, initial: Initial) -> Result<Self, WorldError> {
        const { assert!(CELLS > 0 && CELLS <= 128 && THERMISTORS > 0) };
        if spec.cells != CELLS {
            return Err(WorldError::Cells { found: spec.cells, accepted: CELLS });
        }
        let whole = spec.cells_a_module > 0 && CELLS.is_multiple_of(spec.cells_a_module);
        if !whole || spec.modules() > MODULES {
            return Err(WorldError::Modules { found: spec.cells_a_module, cells: CELLS });
        }
        let thermistors = spec.modules() * spec.thermistors_a_module;
        if thermistors != THERMISTORS {
            return Err(WorldError::Thermistors { found: thermistors, accepted: THERMISTORS });
        }
        let noise = Noise::new(seed);
        let cells = Cells::new(spec, &noise, initial.charge, initial.celsius);
        let mut world = Self {
            seconds: 0.0,
            cells,
            heat: Heat::new(spec, initial.celsius),
            bus: Bus::new(&spec.bus, &noise, 0.0, initial.celsius),
            load: Load::new(&spec.load),
            supply: Supply::new(&spec.supply),
            wires: Wires::new(spec),
            signals: Signals::default(),
            flow: Flow::default(),
            joint_watts: [0.0; CELLS],
            driven: Actuators::OFF,
            deviations: Deviations::none(),
            defects: Defects::default(),
            sensors: Sensors::new(&spec.sensors, noise),
            step_seconds: FIRST_STEP_SECONDS,
            joint_joules: 0.0,
            swapped_coulombs: 0.0,
            slow: Slow {
                beat_seconds: 0.0,
                seconds: 0.0,
                square_seconds: 0.0,
                source_ohms: [0.0; 2],
                string_leaks: StringLeaks::default(),
                bleeding: 0,
                cooling: false,
                outside_celsius: initial.celsius,
                restless: false,
            },
            spec: spec.clone(),
        };
        world.adapt_cells(0);
        world.renew(FIRST_STEP_SECONDS, 0, false, initial.celsius);
        world.cells.settle(0.0);
        world.bus.stand(world.cells.sum_of_open_volts());
        Ok(world)
    }

    /// Lets `dt` seconds pass.
    pub fn step(&mut self, dt: f64, actuators: &Actuators, demand: &Demand) {
        /// Longest step while anything in a cell moves within seconds.
        const LONGEST_SECONDS: f64 = 1.0;
        let pieces = if self.slow.restless { (dt / LONGEST_SECONDS - 1e-9).ceil().max(1.0) } else { 1.0 };
        let mut done = 0.0;
        while done < pieces {
            self.pass(dt / pieces, actuators, demand);
            done += 1.0;
        }
    }

    /// Lets `dt` seconds pass in one step.
    fn pass(&mut self, dt: f64, actuators: &Actuators, demand: &Demand) {
        // The slow parts keep their beat, whatever renews them in between: a twin renews at the same ticks.
        let due = self.slow.beat_seconds + 0.5 * dt > SLOW_SECONDS;
        self.follow_defects(due);
        let bleeding = self.deviations.bleeding(actuators.bleeding);
        let inputs = self.slow.bleeding != bleeding || self.slow.cooling != actuators.cooling;
        if due || inputs || !self.cells.is_for(dt) {
            self.slow.beat_seconds = if due { 0.0 } else { self.slow.beat_seconds };
            self.renew(dt, bleeding, actuators.cooling, demand.outside_celsius);
        }
        self.drive_coils(dt, actuators.coils);
        self.signals.step(dt, &self.deviations.signals);
        let bounds = Bounds {
            charge_amps: actuators.charge_limit_amps,
            discharge_amps: actuators.discharge_limit_amps,
            ignored: self.deviations.ignores_limit,
            connected: self.bus.joined(&self.deviations.contactors),
        };
        self.load.step(dt, demand, bounds, self.bus.link_volts, self.deviations.motor_volts);
        let [cell_ohms, joint_ohms] = self.slow.source_ohms;
        let source = Source { volts: self.cells.sum_of_open_volts(), cell_ohms, joint_ohms };
        let chassis = Chassis { string: self.slow.string_leaks, resistor: actuators.resistor };
        self.flow = self.bus.step(dt, source, &mut self.load, &self.deviations, &chassis);
        self.cells.step(dt, self.flow);
        self.wires.step(dt, &self.cells.volts, self.slow.bleeding, self.driven.pull, &self.deviations);
        self.slow.seconds += dt;
        self.slow.beat_seconds += dt;
        self.step_seconds = dt;
        self.driven = *actuators;
        self.slow.square_seconds += self.flow.mean_square * dt;
        self.seconds += dt;
    }

    /// Makes it a pack of other cells: every resistance of every cell is this multiple of what it was. The firmware is not told.
    pub fn scale_resistance(&mut self, factor: f64) {
        let cells = &mut self.cells;
        for ohms in cells.ohms.iter_mut().chain(&mut cells.fast_ohms).chain(&mut cells.slow_ohms) {
            *ohms *= factor;
        }
        self.renew_now();
    }

    /// Puts everything inside each module to a temperature in °C of its own, as after hours beside something warm.
    pub fn soak(&mut self, celsius: impl Fn(usize) -> f64) {
        let (each, thermistors) = (self.spec.cells_a_module, self.spec.thermistors_a_module);
        for cell in 0..CELLS {
            self.cells.celsius[cell] = celsius(cell / each);
            self.heat.joint_celsius[cell] = celsius(cell / each);
        }
        for (module, air) in self.heat.air_celsius.iter_mut().enumerate() {
            *air = celsius(module);
        }
        for (place, thermistor) in self.heat.thermistor_celsius.iter_mut().enumerate() {
            *thermistor = celsius(place / thermistors);
        }
        self.renew_now();
    }

    /// The pack's specification.
    #[must_use]
    pub fn spec(&self) -> &PackSpec {
        &self.spec
    }

    /// How the parts deviate from sound at this moment.
    #[must_use]
    pub fn deviations(&self) -> &Deviations<CELLS, THERMISTORS> {
        &self.deviations
    }

    /// Insulation of the weaker pole from the chassis, in ohms: of the load's side too while a contactor joins it.
    #[must_use]
    pub fn insulation_ohms(&self) -> f64 {
        self.bus.insulation_ohms(&self.deviations, &self.slow.string_leaks)
    }

    /// What a thermistor's divider shows now, without noise.
    pub(crate) fn thermistor_ratio(&self, thermistor: usize) -> f64 {
        self.sensors.ratio(thermistor)
    }

    /// Puts the charge of a cell out of line, as a swap does.
    pub(crate) fn swap_charge(&mut self, cell: usize, coulombs: f64) {
        self.swapped_coulombs += coulombs;
        self.cells.charge[cell] += coulombs * self.cells.per_coulomb[cell];
        self.renew_now();
    }

    /// Takes new deviations. What has gone by is settled with the old ones first, where it matters.
    pub(crate) fn deviate(&mut self, fresh: Deviations<CELLS, THERMISTORS>) {
        let bleeding = self.slow.bleeding;
        let wires = self.deviations.wires_disturbed() || fresh.wires_disturbed();
        if self.deviations.touch_cells_otherwise(&fresh) || (wires && bleeding != 0) {
            self.renew_now();
            self.deviations = fresh;
            self.wires.adapt(&self.cells.volts, bleeding, &self.deviations);
            self.adapt_cells(bleeding);
            self.renew_now();
        } else {
            self.deviations = fresh;
            self.wires.adapt(&self.cells.volts, bleeding, &self.deviations);
        }
        self.slow.string_leaks = self.string_leaks();
        self.sensors.see(&self.heat, &self.deviations);
    }

    /// What the cells' channels see of the voltages between the taps, without noise.
    pub(crate) fn seen_volts(&self) -> [f64; CELLS] {
        self.wires.seen(&self.cells.volts)
    }

    fn adapt_cells(&mut self, bleeding: u128) {
        let bleeds = self.wires.bleed_siemens(&self.cells.volts, bleeding, &self.deviations);
        self.cells.adapt(self.spec.joint_ohms, &bleeds, &self.deviations);
    }

    /// Brings the slow parts up to this instant.
    pub(crate) fn renew_now(&mut self) {
        let Slow { bleeding, cooling, outside_celsius, .. } = self.slow;
        self.renew(self.cells.step_seconds(), bleeding, cooling, outside_celsius);
        self.cells.settle(self.flow.end_amps);
    }

    fn string_leaks(&self) -> StringLeaks {
        StringLeaks::gathered(&self.deviations.string_siemens, &self.cells.volts)
    }

    fn drive_coils(&mut self, dt: f64, coils: [bool; CONTACTORS]) {
        let drawn: [bool; CONTACTORS] =
            core::array::from_fn(|which| coils[which] && !self.deviations.contactors[which].coil_open);
        let pulled = self.deviations.signals.auxiliary_out;
        self.supply.step(dt, drawn, self.deviations.supply_ohms, pulled);
        for (which, contactor) in self.bus.contactors.iter_mut().enumerate() {
            contactor.drive(drawn[which] && self.supply.carries(which, contactor.energised()));
        }
    }

    /// Brings the slow parts up to this instant, and prepares steps of `dt` seconds.
    fn renew(&mut self, dt: f64, bleeding: u128, cooling: bool, outside_celsius: f64) {
        let curve = Curve::lithium_iron_phosphate();
        let gone = self.slow.seconds;
        if gone > 0.0 {
            let mut joules = [0.0; CELLS];
            let amps = self.cells.mean_amps();
            self.cells.take_heat(curve, &mut joules);
            let heating = Heating {
                cell_joules: &joules,
                square_seconds: self.slow.square_seconds,
                joint_ohms: self.spec.joint_ohms,
                outside_celsius: self.slow.outside_celsius,
                cooling: self.slow.cooling,
            };
            self.heat.step(gone, &mut self.cells.celsius, &heating, &self.deviations);
            self.bus.weather(gone, self.slow.outside_celsius, self.deviations.link_left);
            self.joint_joules += self.slow.square_seconds * self.slow.source_ohms[1];
            self.remember_joints(gone);
            if self.cells.harm.goes_on(&self.cells.celsius, amps) {
                self.cells.suffer(gone, amps, curve, &self.deviations);
                self.adapt_cells(self.slow.bleeding);
            }
        }
        if bleeding != self.slow.bleeding {
            self.adapt_cells(bleeding);
        }
        self.cells.leak_to_chassis(&self.bus.leak_amps(&self.deviations, &self.cells.volts));
        self.cells.refresh(dt, curve, &self.deviations);
        let joints = self.deviations.joint_ohms.iter().map(|added| self.spec.joint_ohms + added).sum();
        self.slow = Slow {
            beat_seconds: self.slow.beat_seconds,
            seconds: 0.0,
            square_seconds: 0.0,
            source_ohms: [self.cells.sum_of_ohms(), joints],
            string_leaks: self.string_leaks(),
            bleeding,
            cooling,
            outside_celsius,
            restless: self.cells.restless(),
        };
        self.sensors.see(&self.heat, &self.deviations);
    }

    /// Keeps the mean heat of each joint over about a minute.
    fn remember_joints(&mut self, seconds: f64) {
        /// Time constant of that mean.
        const MINUTE: f64 = 60.0;
        let keeps = libm::exp(-seconds / MINUTE);
        let mean_square = self.slow.square_seconds / seconds;
        for (watts, added) in self.joint_watts.iter_mut().zip(self.deviations.joint_ohms) {
            let now = mean_square * (self.spec.joint_ohms + added);
            *watts = now + (*watts - now) * keeps;
        }
    }
}
