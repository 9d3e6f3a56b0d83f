//! Physical facts of a pack: what is bolted into it and wired around it.
//!
//! Everything here is truth of the modelled pack; what the firmware believes of it is its own configuration. Figures
//! are invented for the two packs of the demonstration scenario, of the size that data sheets print; where a figure
//! follows a source, the source stands beside it, and all others are common practice, no source.

use super::truth::SafeBounds;
use core::ops::Range;

/// One cell, nominal; single cells scatter around it.
#[derive(Clone, Debug, PartialEq)]
pub struct CellSpec {
    /// Capacity in coulombs.
    pub capacity_coulombs: f64,
    /// Ohmic resistance at 25 °C and well charged, in ohms.
    pub ohms: f64,
    /// Resistance of the fast and the slow RC pair at 25 °C, in ohms.
    pub pair_ohms: [f64; 2],
    /// Their time constants in seconds.
    pub pair_seconds: [f64; 2],
    /// Half of the gap between charge and discharge voltage at rest, in volts.
    pub hysteresis_volts: f64,
    /// How often the hysteresis forgets itself over one whole capacity of throughput.
    pub hysteresis_rate: f64,
    /// Self-discharge as a resistance across the cell, in ohms: 2 % a month.
    pub leak_ohms: f64,
    /// Heat capacity in joules per kelvin.
    pub joules_per_kelvin: f64,
    /// Largest deviation of a cell's capacity, as a fraction.
    pub capacity_spread: f64,
    /// Largest deviation of each resistance, as a fraction.
    pub resistance_spread: f64,
    /// Bleed resistor for balancing, in ohms.
    pub bleed_ohms: f64,
    /// What harms it for good.
    pub harm: HarmSpec,
}

/// What harms a cell for good.
#[derive(Clone, Debug, PartialEq)]
pub struct HarmSpec {
    /// Charge current above which a cell below 0 °C plates, in amperes.
    pub plates_above_amps: f64,
    /// Conductance that each plated coulomb puts across the cell, in siemens.
    pub siemens_per_plated_coulomb: f64,
    /// Heat of all reactions of a cell, in joules.
    pub reaction_joules: f64,
    /// Their rate: factor in 1/s, and activation energy over the gas constant in kelvin.
    pub reacts_per_second: f64,
    /// See above.
    pub activation_kelvin: f64,
    /// Their fastest rate, in 1/s.
    pub fastest_per_second: f64,
    /// Conductance across a cell that has wholly reacted, in siemens.
    pub burnt_siemens: f64,
    /// Factor on the resistances of a cell that has wholly reacted.
    pub burnt_factor: f64,
}

/// How heat moves.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatSpec {
    /// Between two neighbouring cells of a module, in watts per kelvin.
    pub neighbour_watts_per_kelvin: f64,
    /// Between a cell and the air of its module, fan standing still.
    pub air_watts_per_kelvin: f64,
    /// Between the air of a module and outside, fan standing still.
    pub outside_watts_per_kelvin: f64,
    /// What the running fan multiplies both by.
    pub fan_factor: f64,
    /// Heat capacity of the air, plates and housing of a module, in joules per kelvin.
    pub module_joules_per_kelvin: f64,
    /// Heat capacity of one joint (bolt, end of the busbar) in joules per kelvin.
    pub joint_joules_per_kelvin: f64,
    /// From a joint to each of its two cells, in watts per kelvin.
    pub joint_watts_per_kelvin: f64,
    /// Time constant of a thermistor on its cell, in seconds (makers print 10…15 s in still air).
    pub thermistor_seconds: f64,
}

/// A contactor.
#[derive(Clone, Debug, PartialEq)]
pub struct ContactorSpec {
    /// Shortest and longest time from coil current to first touch, in seconds (sheets: ≤ 20…25 ms including bounce).
    pub pull_in_seconds: [f64; 2],
    /// Longest bouncing after the first touch, in seconds (sheets: ≤ 5 ms).
    pub bounce_seconds: f64,
    /// Shortest and longest time from coil off to parted contacts, in seconds (sheets: ≤ 10 ms including arc).
    pub release_seconds: [f64; 2],
    /// Resistance of the closed contact in ohms (sheets: 0.5 mΩ typical).
    pub contact_ohms: f64,
    /// Current above which it must not be opened, in amperes.
    pub breaking_limit_amps: f64,
    /// Voltage across the gap at which it survives 50 closings onto the link capacitor. A sheet (Durakool DEVR40)
    /// gives 50 operations after 80 % precharge of 320 V (64 V) and 50 000 after 90 % (32 V); in between and beyond:
    /// a power law.
    pub fifty_closings_volts: f64,
}

/// The fuse in the middle of the string.
#[derive(Clone, Debug, PartialEq)]
pub struct FuseSpec {
    /// Melting curve: current in amperes and time to melt in seconds, rising current. Beyond its ends: constant I²t
    /// above, never melts below.
    pub melts: [(f64, f64); 6],
    /// Time constant of cooling down, in seconds.
    pub cooling_seconds: f64,
}

/// What lies between the poles and the chassis when all is sound; each value stands once at either pole.
#[derive(Clone, Debug, PartialEq)]
pub struct InsulationSpec {
    /// Insulation of the pack, in ohms.
    pub pack_ohms: f64,
    /// Insulation of the load's side, in ohms.
    pub load_ohms: f64,
    /// The divider with which the controller measures that pole to chassis, always there, in ohms.
    pub meter_ohms: f64,
    /// The resistor that the controller switches from one pole to chassis, in ohms.
    pub switched_ohms: f64,
    /// Capacitance of the pack to chassis, in farads.
    pub pack_farads: f64,
    /// Y-capacitor of the drive, in farads.
    pub load_farads: f64,
}

/// Everything between pack and load.
#[derive(Clone, Debug, PartialEq)]
pub struct BusSpec {
    /// Cables, fuse, disconnect inside the pack, in ohms.
    pub cable_ohms: f64,
    /// Precharge resistor in ohms.
    pub precharge_ohms: f64,
    /// Its heat capacity in joules per kelvin.
    pub precharge_joules_per_kelvin: f64,
    /// Its cooling in watts per kelvin.
    pub precharge_watts_per_kelvin: f64,
    /// Its highest permitted temperature in °C.
    pub precharge_rated_celsius: f64,
    /// The temperature at which it burns open, in °C.
    pub precharge_burns_celsius: f64,
    /// Link capacitor at 25 °C in farads.
    pub link_farads: f64,
    /// Part of its capacitance lost per kelvin below 25 °C: 20 % at −25 °C.
    pub link_loss_per_kelvin: f64,
    /// Bleed-down resistor of the link in ohms.
    pub bleed_down_ohms: f64,
    /// Each of the two dividers that measure the cross voltages, and that of the link itself, in ohms.
    pub divider_ohms: f64,
    /// Insulation.
    pub insulation: InsulationSpec,
    /// The three contactors are of one kind.
    pub contactor: ContactorSpec,
    /// The fuse.
    pub fuse: FuseSpec,
}

/// The crane's drive.
#[derive(Clone, Debug, PartialEq)]
pub struct LoadSpec {
    /// Time constant with which its current follows what is asked and allowed, in seconds: 99 % within 200 ms.
    pub follow_seconds: f64,
    /// Link voltage above which it stops feeding, in volts.
    pub over_voltage: f64,
    /// Link voltage below which it stops drawing, in volts.
    pub under_voltage: f64,
    /// Time constant of a motor spinning down, in seconds.
    pub spin_down_seconds: f64,
    /// Resistance of the turning motor and its rectifier as a source, in ohms.
    pub motor_ohms: f64,
}

/// The auxiliary supply that feeds coils and controller.
#[derive(Clone, Debug, PartialEq)]
pub struct SupplySpec {
    /// Voltage without load, in volts.
    pub volts: f64,
    /// Resistance of battery and wiring, in ohms.
    pub ohms: f64,
    /// Current of controller and sensors, in amperes.
    pub base_amps: f64,
    /// Current of a coil while it pulls in, in amperes (a sheet prints 3.8 A for 130…170 ms).
    pub pull_in_amps: f64,
    /// How long that lasts, in seconds.
    pub pull_in_seconds: f64,
    /// Current of a coil that holds, in amperes.
    pub hold_amps: f64,
    /// Voltage below which a closed contactor drops out, and below which an open one does not pull in, in volts.
    pub drop_out_volts: f64,
    /// Voltage that an open contactor needs to pull in.
    pub pick_up_volts: f64,
    /// After how long the economiser of each coil starts anew when it has lost its supply, in seconds.
    pub again_seconds: [f64; 3],
    /// Capacitance that holds the voltage up when the disconnect is out, in farads.
    pub hold_up_farads: f64,
    /// Voltage below which the controller lives on its own store, in volts.
    pub controller_volts: f64,
    /// How long that store lasts, in seconds.
    pub store_seconds: f64,
}

/// One measuring channel.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelSpec {
    /// Standard deviation of its noise, in its unit.
    pub noise: f64,
    /// Largest offset, in its unit.
    pub offset: f64,
    /// Largest gain error, as a fraction.
    pub gain: f64,
    /// Its step, in its unit.
    pub step: f64,
    /// Its range is ± this, in its unit.
    pub range: f64,
    /// How much earlier than the cell voltages it is sampled, in seconds.
    pub earlier_seconds: f64,
}

/// The inputs of the two front ends that measure the cells, one below and one above the fuse.
#[derive(Clone, Debug, PartialEq)]
pub struct FrontEndSpec {
    /// Least voltage that a cell's channel reads, in volts; the most is the range of its channel.
    pub least_volts: f64,
    /// Filter capacitor between two neighbouring inputs, in farads.
    pub filter_farads: f64,
    /// Leakage of each input towards the front end's ground, in amperes.
    pub leak_amps: f64,
    /// Test current that is pulled out of every other input, in amperes, and for how long, in seconds.
    pub pull: (f64, f64),
    /// How long bleeding is paused before the cells are measured, in seconds.
    pub pause_seconds: f64,
    /// Voltage by which an input can leave its neighbours before a protection diode leads, in volts.
    pub diode_volts: f64,
}

/// All measuring channels.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorSpec {
    /// Cell voltage, in volts.
    pub cell: ChannelSpec,
    /// The inputs before it.
    pub front_end: FrontEndSpec,
    /// Thermistor divider, as a ratio.
    pub thermistor: ChannelSpec,
    /// Resistor from the divider's reference to the thermistor, in ohms; the thermistor stands to ground.
    pub pull_up_ohms: f64,
    /// Main current sensor (a shunt), in amperes.
    pub current: ChannelSpec,
    /// Check current sensor (a Hall sensor), in amperes.
    pub current_check: ChannelSpec,
    /// Pack, cross and link voltages, in volts.
    pub pack: ChannelSpec,
    /// Auxiliary supply, in volts.
    pub supply: ChannelSpec,
}

/// A whole pack.
#[derive(Clone, Debug, PartialEq)]
pub struct PackSpec {
    /// Cells in series.
    pub cells: usize,
    /// Cells below the fuse and the service disconnect, which part the string mid-way; the others lie above.
    pub cells_below_fuse: usize,
    /// Cells of one module.
    pub cells_a_module: usize,
    /// Thermistors of one module.
    pub thermistors_a_module: usize,
    /// The nominal cell.
    pub cell: CellSpec,
    /// Resistance of a sound joint between two cells, in ohms.
    pub joint_ohms: f64,
    /// Heat.
    pub heat: HeatSpec,
    /// Contactors, precharge, link.
    pub bus: BusSpec,
    /// The drive.
    pub load: LoadSpec,
    /// Auxiliary supply.
    pub supply: SupplySpec,
    /// Sensors.
    pub sensors: SensorSpec,
    /// What it takes for safe.
    pub safe: SafeBounds,
}

/// Coulombs of an ampere-hour.
pub const COULOMBS_AN_AMPERE_HOUR: f64 = 3_600.0;

impl PackSpec {
    /// The crane's pack: 96 cells of 100 Ah, 307 V nominal, 8 modules of 12 cells with 2 thermistors each.
    ///
    /// The whole path has 87 mΩ at 25 °C: 96 × 0.7 in the cells, 96 × 0.05 in the joints, 15 in cables, fuse and
    /// contacts.
    #[must_use]
    pub fn crane() -> Self {
        let bus = BusSpec {
            cable_ohms: 14e-3,
            precharge_ohms: 50.0,
            precharge_joules_per_kelvin: 12.0,
            precharge_watts_per_kelvin: 0.4,
            precharge_rated_celsius: 250.0,
            precharge_burns_celsius: 450.0,
            link_farads: 1e-3,
            link_loss_per_kelvin: 0.2 / 50.0,
            bleed_down_ohms: 2_500.0,
            divider_ohms: 1e6,
            insulation: InsulationSpec::measured_with(150_000.0),
            contactor: ContactorSpec::breaking(2_000.0, 64.0),
            fuse: FuseSpec::scaled(1.0),
        };
        Self {
            cells: 96,
            cells_below_fuse: 48,
            cells_a_module: 12,
            thermistors_a_module: 2,
            cell: CellSpec::of_ampere_hours(100.0),
            joint_ohms: 50e-6,
            heat: HeatSpec::of_ampere_hours(100.0, 12.0),
            safe: SafeBounds::usual(96, 100.0, &bus),
            bus,
            load: LoadSpec {
                follow_seconds: 0.04,
                over_voltage: 420.0,
                under_voltage: 180.0,
                spin_down_seconds: 8.0,
                motor_ohms: 4.0,
            },
            supply: SupplySpec::twelve_volts(),
            sensors: SensorSpec::of(100.0, 420.0, 2_500.0),
        }
    }

    /// The trainer's pack: 16 cells of 20 Ah, 51 V nominal, 4 modules of 4 cells with 2 thermistors each.
    #[must_use]
    pub fn trainer() -> Self {
        let bus = BusSpec {
            cable_ohms: 8e-3,
            precharge_ohms: 10.0,
            precharge_joules_per_kelvin: 2.0,
            precharge_watts_per_kelvin: 0.08,
            precharge_rated_celsius: 250.0,
            precharge_burns_celsius: 450.0,
            link_farads: 5e-3,
            link_loss_per_kelvin: 0.2 / 50.0,
            bleed_down_ohms: 500.0,
            divider_ohms: 1e6,
            insulation: InsulationSpec::measured_with(25_000.0),
            contactor: ContactorSpec::breaking(1_000.0, 10.6),
            fuse: FuseSpec::scaled(0.2),
        };
        Self {
            cells: 16,
            cells_below_fuse: 8,
            cells_a_module: 4,
            thermistors_a_module: 2,
            cell: CellSpec::of_ampere_hours(20.0),
            joint_ohms: 100e-6,
            heat: HeatSpec::of_ampere_hours(20.0, 4.0),
            safe: SafeBounds::usual(16, 20.0, &bus),
            bus,
            load: LoadSpec {
                follow_seconds: 0.04,
                over_voltage: 72.0,
                under_voltage: 30.0,
                spin_down_seconds: 4.0,
                motor_ohms: 1.0,
            },
            supply: SupplySpec::twelve_volts(),
            sensors: SensorSpec::of(20.0, 72.0, 1_200.0),
        }
    }

    /// Modules in the pack.
    #[must_use]
    pub fn modules(&self) -> usize {
        self.cells / self.cells_a_module
    }

    /// The module that holds a cell.
    #[must_use]
    pub fn module_of(&self, cell: usize) -> usize {
        cell / self.cells_a_module
    }

    /// The cells of each of the two front ends: no sense wire bridges the fuse.
    #[must_use]
    pub fn cells_of_front_ends(&self) -> [Range<usize>; 2] {
        let below = self.cells_below_fuse.min(self.cells);
        [0..below, below..self.cells]
    }

    /// Sense wires: one more for each front end than it has cells. Cell `c` of front end `f` lies between the wires `c + f` and `c + f +
    /// 1`.
    #[must_use]
    pub fn wires(&self) -> usize {
        self.cells + 2
    }

    /// The wire that lies beside one at its front end's plug: the next one, or for the last one the one before.
    #[must_use]
    pub fn wire_beside(&self, wire: usize) -> usize {
        let last_below = self.cells_of_front_ends()[0].end;
        if wire == last_below || wire + 1 == self.wires() { wire - 1 } else { wire + 1 }
    }

    /// The cell that carries a thermistor: evenly spread over its module.
    #[must_use]
    pub fn cell_of_thermistor(&self, thermistor: usize) -> usize {
        let (module, place) =
            (thermistor / self.thermistors_a_module, thermistor % self.thermistors_a_module);
        module * self.cells_a_module + (2 * place + 1) * self.cells_a_module / (2 * self.thermistors_a_module)
    }
}

impl CellSpec {
    /// A prismatic lithium iron phosphate cell; resistance falls and heat capacity rises with its size.
    #[must_use]
    pub fn of_ampere_hours(ampere_hours: f64) -> Self {
        let smaller = 100.0 / ampere_hours;
        Self {
            capacity_coulombs: ampere_hours * COULOMBS_AN_AMPERE_HOUR,
            ohms: 0.7e-3 * smaller,
            pair_ohms: [0.4e-3 * smaller, 0.6e-3 * smaller],
            pair_seconds: [5.0, 120.0],
            hysteresis_volts: 10e-3,
            hysteresis_rate: 50.0,
            leak_ohms: 3.3 / (ampere_hours * 0.02 / 720.0),
            joules_per_kelvin: 2_000.0 / smaller,
            capacity_spread: 0.01,
            resistance_spread: 0.03,
            bleed_ohms: 33.0,
            harm: HarmSpec::of_ampere_hours(ampere_hours),
        }
    }
}

impl HarmSpec {
    /// Heat that goes with the cell's energy; rates that are the same for all sizes.
    ///
    /// The two figures of Arrhenius' law solve `H/C · A · e^(−E/T) = rate` at 100 °C with 0.02 K a minute and at 195 °C with 0.5 K/s,
    /// the heat capacity being 20 J/K for each ampere-hour.
    fn of_ampere_hours(ampere_hours: f64) -> Self {
        const HEAT_SHARE: f64 = 0.55;
        const NOMINAL_VOLTS: f64 = 3.2;
        let reaction_joules = HEAT_SHARE * NOMINAL_VOLTS * ampere_hours * COULOMBS_AN_AMPERE_HOUR;
        let kelvin = reaction_joules / (20.0 * ampere_hours);
        Self {
            plates_above_amps: 0.05 * ampere_hours,
            siemens_per_plated_coulomb: 1.0 / 360_000.0,
            reaction_joules,
            reacts_per_second: 4.715_6e9,
            activation_kelvin: 13_447.87,
            fastest_per_second: 3.0 / kelvin,
            burnt_siemens: ampere_hours,
            burnt_factor: 100.0,
        }
    }
}

impl HeatSpec {
    fn of_ampere_hours(ampere_hours: f64, cells_a_module: f64) -> Self {
        let smaller = (100.0 / ampere_hours).sqrt();
        Self {
            neighbour_watts_per_kelvin: 1.0 / smaller,
            air_watts_per_kelvin: 0.5 / smaller,
            outside_watts_per_kelvin: 0.25 * cells_a_module / smaller,
            fan_factor: 3.0,
            module_joules_per_kelvin: 250.0 * cells_a_module / smaller,
            joint_joules_per_kelvin: 30.0 / smaller,
            joint_watts_per_kelvin: 0.4 / smaller,
            thermistor_seconds: 10.0,
        }
    }
}

impl ContactorSpec {
    fn breaking(breaking_limit_amps: f64, fifty_closings_volts: f64) -> Self {
        Self {
            pull_in_seconds: [0.015, 0.020],
            bounce_seconds: 0.005,
            release_seconds: [0.006, 0.010],
            contact_ohms: 0.5e-3,
            breaking_limit_amps,
            fifty_closings_volts,
        }
    }
}

impl InsulationSpec {
    /// Sound insulation. The switched resistor is some 500 Ω for each volt of the pack, as UN R100 recommends for the measurement.
    const fn measured_with(switched_ohms: f64) -> Self {
        Self {
            pack_ohms: 5e6,
            load_ohms: 10e6,
            meter_ohms: 2e6,
            switched_ohms,
            pack_farads: 300e-9,
            load_farads: 150e-9,
        }
    }
}

impl FuseSpec {
    /// A fuse of 250 A times the scale.
    fn scaled(scale: f64) -> Self {
        let melts = [
            (500.0, 300.0),
            (750.0, 20.0),
            (1_000.0, 3.0),
            (1_500.0, 0.4),
            (2_500.0, 0.04),
            (4_000.0, 0.008),
        ];
        Self { melts: melts.map(|(amps, seconds)| (amps * scale, seconds)), cooling_seconds: 60.0 }
    }
}

impl SupplySpec {
    fn twelve_volts() -> Self {
        Self {
            volts: 12.6,
            ohms: 0.15,
            base_amps: 1.0,
            pull_in_amps: 3.8,
            pull_in_seconds: 0.15,
            hold_amps: 1.0,
            drop_out_volts: 5.0,
            pick_up_volts: 7.0,
            again_seconds: [0.06, 0.09, 0.12],
            hold_up_farads: 0.15,
            controller_volts: 6.0,
            store_seconds: 1.0,
        }
    }
}

impl SensorSpec {
    /// Channels for this capacity and voltage; the second current sensor reads up to `highest_amps`, a short circuit beyond the breaking
    /// limit of the contactors.
    fn of(ampere_hours: f64, highest_volts: f64, highest_amps: f64) -> Self {
        let (size, high) = (ampere_hours / 100.0, highest_volts / 420.0);
        let channel = |noise, offset, gain, step, range, earlier_seconds| ChannelSpec {
            noise,
            offset,
            gain,
            step,
            range,
            earlier_seconds,
        };
        Self {
            cell: channel(0.5e-3, 1e-3, 2e-4, 1e-4, 5.0, 0.0),
            front_end: FrontEndSpec {
                least_volts: -0.3,
                filter_farads: 1e-6,
                leak_amps: 10e-9,
                pull: (500e-6, 2e-3),
                pause_seconds: 2e-3,
                diode_volts: 0.5,
            },
            thermistor: channel(4e-4, 5e-4, 0.0, 1.0 / 4_096.0, 1.0, 0.0),
            pull_up_ohms: 10_000.0,
            current: channel(0.1 * size, 0.15 * size, 2e-3, 0.05 * size, 600.0 * size, 0.001),
            current_check: channel(0.3 * size, 0.5 * size, 5e-3, 0.2 * size, highest_amps, 0.003),
            pack: channel(0.1 * high, 0.15 * high, 1e-3, 0.05 * high, 500.0 * high, 0.0),
            supply: channel(0.02, 0.03, 5e-3, 0.01, 40.0, 0.0),
        }
    }
}

#[cfg(test)]
mod tests;
