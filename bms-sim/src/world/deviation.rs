//! How the parts of the pack deviate from sound at this moment.
//!
//! All rooms of the world read their defects here and nowhere else. The list of defects (`crate::defect`) writes it
//! anew, from [`Deviations::none`], whenever a defect begins, grows, ends or is cleared: a cleared defect therefore
//! leaves nothing behind but what physics keeps (heat, charge, wear).

use super::MODULES;
use super::insulation::Leaks;
use super::signals::SignalDeviation;
use bms_core::Frame;
use bms_core::sense::PartName;
use bms_core::units::Millis;

/// Most sense wires: of 128 cells at two front ends.
pub const MOST_WIRES: usize = 128 + 2;

/// The contactors, in the order in which arrays hold them: negative, precharge, positive.
pub const CONTACTORS: usize = 3;

/// On which side of a joint the sense wire between its two cells is fixed.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum TapSide {
    /// On the upper cell's side: the joint's drop is measured with the lower cell.
    #[default]
    Upper,
    /// On the lower cell's side: the joint's drop is measured with the upper cell.
    Lower,
}

/// One thermistor and its wiring.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ThermistorDeviation {
    /// Conductance beside it in siemens: moisture, or a short.
    pub leak_siemens: f64,
    /// Whether it or its wire is open.
    pub open: bool,
    /// The ratio at which its reading stands still.
    pub frozen: Option<f64>,
    /// What it is warmer than its cell, in kelvin.
    pub offset_kelvin: f64,
    /// How far it follows the module's air instead of its cell, 0 to 1.
    pub detached: f64,
}

/// One sense wire.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct WireDeviation {
    /// Whether it is interrupted.
    pub open: bool,
    /// Resistance in it, in ohms.
    pub ohms: f64,
}

/// One current channel.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CurrentDeviation {
    /// Offset in amperes, positive into the pack.
    pub offset_amps: f64,
    /// Gain error as a fraction.
    pub gain: f64,
    /// Whether it reads nothing at all.
    pub dead: bool,
    /// Whether it is fitted the wrong way round.
    pub reversed: bool,
    /// How its offset moves.
    pub drift: Drift,
    /// How much earlier than it should it is sampled, in seconds.
    pub earlier_seconds: f64,
}

/// An offset that moves steadily: one straight line, also where several add up that began at different times.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drift {
    /// How fast, in amperes a second.
    pub amps_per_second: f64,
    /// Where the line lies at the begin of the world's time, in amperes.
    pub amps_at_zero: f64,
}

impl Drift {
    /// Another one beside it, which is zero at that instant.
    pub fn add(&mut self, amps_per_second: f64, since_seconds: f64) {
        self.amps_per_second += amps_per_second;
        self.amps_at_zero -= amps_per_second * since_seconds;
    }

    /// The offset at an instant, in amperes.
    #[must_use]
    pub fn amps(&self, seconds: f64) -> f64 {
        self.amps_at_zero + self.amps_per_second * seconds
    }
}

/// The reading of the link voltage.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum LinkReading {
    /// It follows the link.
    #[default]
    Follows,
    /// It reads nothing at all.
    Dead,
    /// It stands still at this voltage.
    Frozen(f64),
}

/// The cooling fan and the air that it moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AirflowDeviation {
    /// Whether the fan stands still, whatever it is told.
    pub fan_stopped: bool,
    /// Part of the heat flow to the air, inside and outside of the modules, that is left, 0 to 1.
    pub left: f64,
}

/// One contactor.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ContactorDeviation {
    /// Whether its contacts stick together, whatever the coil does.
    pub welded: bool,
    /// Whether its coil is interrupted.
    pub coil_open: bool,
    /// How much later it closes and opens, in seconds.
    pub slower_seconds: f64,
    /// How much longer it bounces, in seconds.
    pub bounce_seconds: f64,
    /// What its feedback contact always says: closed (true) or open (false).
    pub feedback_stuck: Option<bool>,
}

/// What parts the string in its middle, beside what over-current has melted.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StringBreaks {
    /// Whether the main fuse is interrupted.
    pub fuse_blown: bool,
    /// Whether the service disconnect is out.
    pub disconnect_out: bool,
}

/// The parts of a frame as case files name them, in the order of [`PartName::ALL`].
pub const PART_NAMES: [&str; PartName::ALL.len()] = [
    "cells",
    "thermistors",
    "current",
    "current_check",
    "voltages",
    "supply",
    "feedback",
    "poles",
    "contacts",
];

/// How old this part of a frame is.
pub(crate) const fn age_mut<const CELLS: usize, const THERMISTORS: usize>(
    frame: &mut Frame<CELLS, THERMISTORS>,
    part: PartName,
) -> &mut Millis {
    match part {
        PartName::Cells => &mut frame.cells.age,
        PartName::Thermistors => &mut frame.thermistors.age,
        PartName::Current => &mut frame.current.age,
        PartName::CurrentCheck => &mut frame.current_check.age,
        PartName::Voltages => &mut frame.voltages.age,
        PartName::Supply => &mut frame.supply.age,
        PartName::Feedback => &mut frame.feedback.age,
        PartName::Poles => &mut frame.poles.age,
        PartName::Contacts => &mut frame.contacts.age,
    }
}

/// What is wrong with the controller's frames, clock and memory. The world carries it and does not feel it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TransitDeviation {
    /// Share of frames that never arrive, 0 to 1.
    pub lost: f64,
    /// How much later a frame arrives, in milliseconds.
    pub late_ms: u64,
    /// Parts that stand still, one bit a part.
    pub standing: u16,
    /// What the controller's clock gains, as a fraction.
    pub clock_gains: f64,
    /// How much later each tick comes, in milliseconds.
    pub tick_late_ms: u64,
    /// Whether a bit of the configuration has flipped.
    pub bit_flipped: bool,
}

impl TransitDeviation {
    /// Nothing wrong.
    pub const NONE: Self =
        Self { lost: 0.0, late_ms: 0, standing: 0, clock_gains: 0.0, tick_late_ms: 0, bit_flipped: false };

    /// Whether this part stands still.
    #[must_use]
    pub const fn stands(&self, part: PartName) -> bool {
        self.standing >> part as u16 & 1 == 1
    }
}

/// All deviations; one value a place.
#[derive(Clone, Debug, PartialEq)]
pub struct Deviations<const CELLS: usize, const THERMISTORS: usize> {
    /// Added series resistance inside each cell, in ohms.
    pub cell_ohms: [f64; CELLS],
    /// Cells that were put in the wrong way round, one bit a cell.
    pub cells_reversed: u128,
    /// Factor on all resistances of each cell.
    pub resistance_factor: [f64; CELLS],
    /// Heat made inside each cell that no current accounts for, in watts.
    pub cell_watts: [f64; CELLS],
    /// Added resistance of the joint between each cell and the next one, in ohms; the last is the pack's positive
    /// terminal.
    pub joint_ohms: [f64; CELLS],
    /// Where the sense wire of that joint is fixed.
    pub tap_side: [TapSide; CELLS],
    /// Added leak across each cell, in siemens.
    pub leak_siemens: [f64; CELLS],
    /// Part of each cell's capacity that is left, 0 to 1.
    pub capacity_left: [f64; CELLS],
    /// Offset of each cell's measuring channel, in volts.
    pub cell_offset_volts: [f64; CELLS],
    /// Gain error of each cell's measuring channel, as a fraction.
    pub cell_gain: [f64; CELLS],
    /// Cells whose bleed switch stays on, or off, whatever it is told; one bit a cell.
    pub bleeds_stuck_on: u128,
    /// The same for off.
    pub bleeds_stuck_off: u128,
    /// Cells whose reading stands still, one bit a cell.
    pub cells_frozen: u128,
    /// The voltage at which it does.
    pub frozen_volts: [f64; CELLS],
    /// Each sense wire, the lower front end's first.
    pub wires: [WireDeviation; MOST_WIRES],
    /// The tap to which each wire leads: its own one, unless wires are swapped.
    pub tap_of_wire: [usize; MOST_WIRES],
    /// Each thermistor.
    pub thermistors: [ThermistorDeviation; THERMISTORS],
    /// The thermistor whose divider each channel shows: its own one, unless plugs are swapped.
    pub thermistor_shown: [usize; THERMISTORS],
    /// Heat into each module's cells from outside, in watts a module.
    pub module_watts: [f64; MODULES],
    /// The two current channels: main, check.
    pub currents: [CurrentDeviation; 2],
    /// Gain error of the pack voltage's channel, as a fraction.
    pub pack_gain: f64,
    /// The link voltage's channel.
    pub link_reading: LinkReading,
    /// Its gain error while it follows, as a fraction.
    pub link_gain: f64,
    /// Gain error of the auxiliary supply's channel, as a fraction.
    pub supply_gain: f64,
    /// Fan and air.
    pub airflow: AirflowDeviation,
    /// Negative, precharge, positive.
    pub contactors: [ContactorDeviation; CONTACTORS],
    /// Factor on the precharge resistor.
    pub precharge_factor: f64,
    /// Whether the precharge resistor is open.
    pub precharge_open: bool,
    /// Part of the link capacitance that is left, 0 to 1.
    pub link_left: f64,
    /// Whether the bleed-down resistor of the link is open.
    pub bleed_down_open: bool,
    /// Conductance of a load that was left on at the link, in siemens.
    pub left_on_siemens: f64,
    /// Whether the load ignores the current limits.
    pub ignores_limit: bool,
    /// Voltage that the turning motor gives at full speed, in volts; 0 = the motor stands when the load stops.
    pub motor_volts: f64,
    /// Added resistance of the auxiliary supply, in ohms.
    pub supply_ohms: f64,
    /// What parts the string in its middle.
    pub string_breaks: StringBreaks,
    /// Contacts and counters around the pack.
    pub signals: SignalDeviation,
    /// Frames, clock and memory of the controller.
    pub transit: TransitDeviation,
    /// Leaks from pole or load to chassis.
    pub chassis_leaks: Leaks,
    /// Leak from the positive terminal of each cell to chassis, in siemens.
    pub string_siemens: [f64; CELLS],
}

impl<const CELLS: usize, const THERMISTORS: usize> Deviations<CELLS, THERMISTORS> {
    /// Everything sound.
    #[must_use]
    pub fn none() -> Self {
        Self {
            cell_ohms: [0.0; CELLS],
            cells_reversed: 0,
            resistance_factor: [1.0; CELLS],
            cell_watts: [0.0; CELLS],
            joint_ohms: [0.0; CELLS],
            tap_side: [TapSide::default(); CELLS],
            leak_siemens: [0.0; CELLS],
            capacity_left: [1.0; CELLS],
            cell_offset_volts: [0.0; CELLS],
            cell_gain: [0.0; CELLS],
            bleeds_stuck_on: 0,
            bleeds_stuck_off: 0,
            cells_frozen: 0,
            frozen_volts: [0.0; CELLS],
            wires: [WireDeviation::default(); MOST_WIRES],
            tap_of_wire: core::array::from_fn(|wire| wire),
            thermistors: [ThermistorDeviation::default(); THERMISTORS],
            thermistor_shown: core::array::from_fn(|thermistor| thermistor),
            module_watts: [0.0; MODULES],
            currents: [CurrentDeviation::default(); 2],
            pack_gain: 0.0,
            link_reading: LinkReading::default(),
            link_gain: 0.0,
            supply_gain: 0.0,
            airflow: AirflowDeviation { fan_stopped: false, left: 1.0 },
            contactors: [ContactorDeviation::default(); CONTACTORS],
            precharge_factor: 1.0,
            precharge_open: false,
            link_left: 1.0,
            bleed_down_open: false,
            left_on_siemens: 0.0,
            ignores_limit: false,
            motor_volts: 0.0,
            supply_ohms: 0.0,
            string_breaks: StringBreaks::default(),
            signals: SignalDeviation::default(),
            transit: TransitDeviation::NONE,
            chassis_leaks: Leaks::default(),
            string_siemens: [0.0; CELLS],
        }
    }

    /// Bleed switches that are on while these are told to be.
    #[must_use]
    pub fn bleeding(&self, told: u128) -> u128 {
        told & !self.bleeds_stuck_off | self.bleeds_stuck_on
    }

    /// Whether any sense wire is not sound.
    #[must_use]
    pub fn wires_disturbed(&self) -> bool {
        let sound = WireDeviation::default();
        self.wires.iter().any(|wire| *wire != sound)
            || self.tap_of_wire.iter().enumerate().any(|(wire, tap)| wire != *tap)
    }

    /// Whether these differ from other ones in anything that acts on cells, joints or their heat, and not only on
    /// what measures or connects them.
    #[must_use]
    #[expect(
        clippy::float_cmp,
        reason = "asks whether anything was written anew, not whether two measures agree"
    )]
    pub fn touch_cells_otherwise(&self, other: &Self) -> bool {
        self.module_watts != other.module_watts
            || self.cell_watts != other.cell_watts
            || self.airflow != other.airflow
            || self.cells_reversed != other.cells_reversed
            || self.resistance_factor != other.resistance_factor
            || self.cell_ohms != other.cell_ohms
            || self.joint_ohms != other.joint_ohms
            || self.tap_side != other.tap_side
            || self.leak_siemens != other.leak_siemens
            || self.capacity_left != other.capacity_left
    }

    /// Whether nothing is wrong but with what is measured and what becomes of it: no truth is another one for it, as long as the same is
    /// driven.
    #[must_use]
    pub fn only_measure(&self) -> bool {
        let sound = Self::none();
        let mut rest = Self {
            cell_offset_volts: sound.cell_offset_volts,
            cell_gain: sound.cell_gain,
            cells_frozen: sound.cells_frozen,
            frozen_volts: sound.frozen_volts,
            thermistors: sound.thermistors,
            thermistor_shown: sound.thermistor_shown,
            currents: sound.currents,
            pack_gain: sound.pack_gain,
            link_reading: sound.link_reading,
            link_gain: sound.link_gain,
            supply_gain: sound.supply_gain,
            transit: sound.transit,
            ..self.clone()
        };
        for contactor in &mut rest.contactors {
            contactor.feedback_stuck = None;
        }
        rest == sound
    }
}
