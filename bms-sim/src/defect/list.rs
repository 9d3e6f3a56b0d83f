//! THE list of defects. Menus, help, tables and tests are made from it; nothing else may list them.
//!
//! Leaks to the chassis begin at 2 kΩ. Two of them draw pack voltage over their sum from the cells: 79 mA of the crane, less than its current
//! sensor may be off. Less resistance is no leak any more but a load that its meter shows.
//!
//! A new kind is one line here, one arm in `effect` that writes its deviation, and the physics that reads it. What also happens once, at
//! the onset, is named at the end of its line.

use crate::world::deviation::PART_NAMES;
use crate::world::spec::PackSpec;

/// What the place of a defect counts.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum PlaceKind {
    /// A cell of the string.
    Cell,
    /// The joint between a cell and the next one.
    Joint,
    /// A sense wire, from the bottom of the string up: the lower front end's first, each with one more than it has cells.
    Wire,
    /// A thermistor.
    Thermistor,
    /// A module.
    Module,
    /// Main sensor, check sensor.
    CurrentSensor,
    /// Negative, precharge, positive.
    Contactor,
    /// A part of the frame.
    FramePart,
    /// Something that the pack has once.
    Pack,
}

impl PlaceKind {
    /// The key that gives such a place in a case file; none where there is only one.
    #[must_use]
    pub const fn key(self) -> Option<&'static str> {
        match self {
            Self::Cell => Some("cell"),
            Self::Joint => Some("joint"),
            Self::Wire => Some("wire"),
            Self::Thermistor => Some("thermistor"),
            Self::Module => Some("module"),
            Self::CurrentSensor => Some("current_sensor"),
            Self::Contactor => Some("contactor"),
            Self::FramePart => Some("part"),
            Self::Pack => None,
        }
    }

    /// The names of its places in case files, in their order; empty where places are counted.
    #[must_use]
    pub const fn names(self) -> &'static [&'static str] {
        match self {
            Self::CurrentSensor => &["main", "check"],
            Self::Contactor => &["negative", "precharge", "positive"],
            Self::FramePart => &PART_NAMES,
            Self::Cell | Self::Joint | Self::Wire | Self::Thermistor | Self::Module | Self::Pack => &[],
        }
    }

    /// How many such places a pack has.
    #[must_use]
    pub fn count(self, spec: &PackSpec) -> usize {
        match self {
            Self::Cell => spec.cells,
            Self::Joint => spec.cells - 1,
            Self::Wire => spec.wires(),
            Self::Thermistor => spec.modules() * spec.thermistors_a_module,
            Self::Module => spec.modules(),
            Self::CurrentSensor | Self::Contactor | Self::FramePart => self.names().len(),
            Self::Pack => 1,
        }
    }
}

/// What happens once, at the onset of a defect, beside what it writes into the deviations.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Once {
    /// Nothing: all of it is a deviation.
    Nothing,
    /// The voltage between a cell's taps is caught, at which a reading then stands still.
    CatchesCell,
    /// What a thermistor's divider shows is caught.
    CatchesThermistor,
    /// The voltage of the link is caught.
    CatchesLink,
    /// Charge is put into a cell or taken from it.
    MovesCharge,
}

impl Kind {
    /// Whether it can grow over a time: not what is only present or absent, nor what happens once, at the onset.
    #[must_use]
    pub const fn grows(self) -> bool {
        !self.unit().is_empty() && self.comes_and_goes()
    }

    /// Whether it can come and go: not what happens once.
    #[must_use]
    pub const fn comes_and_goes(self) -> bool {
        !matches!(self.once(), Once::MovesCharge)
    }
}

/// The word after `once`, or nothing.
macro_rules! once {
    () => {
        Once::Nothing
    };
    ($once:ident) => {
        Once::$once
    };
}

macro_rules! defects {
    ($($kind:ident: $name:literal, $key:literal, $place:ident, $unit:literal, $low:literal ..= $high:literal, $usual:literal, $changes:literal $(, once $once:ident)?;)*) => {
        /// A kind of defect.
        #[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
        pub enum Kind {
            $(#[doc = $changes] $kind,)*
        }

        impl Kind {
            /// All kinds, in the order of the list.
            pub const ALL: &[Self] = &[$(Self::$kind),*];

            /// Its name in plain words.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$kind => $name,)* }
            }

            /// Its name in files and on the command line.
            #[must_use]
            pub const fn key(self) -> &'static str {
                match self { $(Self::$kind => $key,)* }
            }

            /// What its place counts.
            #[must_use]
            pub const fn place(self) -> PlaceKind {
                match self { $(Self::$kind => PlaceKind::$place,)* }
            }

            /// Unit of its severity; empty for what is only present or absent.
            #[must_use]
            pub const fn unit(self) -> &'static str {
                match self { $(Self::$kind => $unit,)* }
            }

            /// Least and most severity that makes sense.
            #[must_use]
            pub const fn range(self) -> (f64, f64) {
                match self { $(Self::$kind => ($low, $high),)* }
            }

            /// Its usual severity.
            #[must_use]
            pub const fn usual(self) -> f64 {
                match self { $(Self::$kind => $usual,)* }
            }

            /// What happens once, at its onset.
            #[must_use]
            pub const fn once(self) -> Once {
                match self { $(Self::$kind => once!($($once)?),)* }
            }

            /// What it changes in the pack, as a sentence.
            #[must_use]
            pub const fn changes(self) -> &'static str {
                match self { $(Self::$kind => $changes,)* }
            }
        }
    };
}

defects! {
    AddedResistance: "added series resistance in a cell", "added_resistance", Cell, "mΩ", 0.05 ..= 200.0, 3.0,
        "A resistance inside the cell, in series: the cell's voltage moves more under load and the cell takes the heat.";
    LooseJointTapAbove: "loose joint, sense wire above it", "loose_joint_tap_above", Joint, "mΩ", 0.02 ..= 200.0, 2.0,
        "The joint between a cell and the next one has more resistance and heats; its drop is measured with the lower cell.";
    LooseJointTapBelow: "loose joint, sense wire below it", "loose_joint_tap_below", Joint, "mΩ", 0.02 ..= 200.0, 2.0,
        "The joint between a cell and the next one has more resistance and heats; its drop is measured with the upper cell.";
    ChargeOutOfLine: "charge out of line after a swap", "charge_out_of_line", Cell, "Ah", -200.0 ..= 200.0, -2.0,
        "At the onset the cell holds this much more (or less) charge than before; clearing does not give it back.",
        once MovesCharge;
    CellLeak: "leak across a cell", "cell_leak", Cell, "Ω", 0.05 ..= 10000.0, 10.0,
        "A resistance across the cell, inside: it loses charge and the lost energy heats it.";
    HardShort: "hard internal short", "hard_short", Cell, "Ω", 0.001 ..= 1.0, 0.01,
        "A short inside the cell: its charge turns to heat within it, hundreds of amperes of it, whatever the contactors do.";
    LostCapacity: "lost capacity", "lost_capacity", Cell, "%", 0.1 ..= 90.0, 20.0,
        "The cell holds this much less than when new; its state of charge stays as it is.";
    AgedCell: "swollen, aged cell", "aged_cell", Cell, "%", 1.0 ..= 80.0, 20.0,
        "The cell holds this much less than when new, and all its resistances have grown by five times as much: 20 % less, twice as resistive.";
    CellReversed: "cell put in the wrong way round", "cell_reversed", Cell, "", 1.0 ..= 1.0, 1.0,
        "The cell's poles are exchanged: the string lacks twice its voltage, and what charges the others discharges it.";
    CellHeatsItself: "cell heating itself", "cell_heats_itself", Cell, "W", 0.1 ..= 5000.0, 20.0,
        "Heat is made inside the cell that no current accounts for.";
    ExternalHeat: "external heat on a module", "external_heat", Module, "W", 1.0 ..= 10000.0, 300.0,
        "Heat from outside enters the cells of the module, evenly.";
    SenseWireOpen: "sense wire open", "sense_wire_open", Wire, "", 1.0 ..= 1.0, 1.0,
        "The wire is interrupted: its input holds the old reading and drifts away over a minute, and the cells on both sides share the error.";
    SenseWireCorroded: "corroded sense wire", "sense_wire_corroded", Wire, "Ω", 0.5 ..= 10000.0, 100.0,
        "A resistance in the wire: the cells beside it bleed more weakly, and read wrong only while they or their neighbours bleed.";
    SenseWiresSwapped: "two sense wires swapped", "sense_wires_swapped", Wire, "", 1.0 ..= 1.0, 1.0,
        "This wire and the next one of its front end (the last with the one before) are exchanged: the cell between reads reversed, its neighbours twofold.";
    BleedStuckOn: "bleed switch stuck on", "bleed_stuck_on", Cell, "", 1.0 ..= 1.0, 1.0,
        "The cell bleeds all the time, whatever its switch is told: it loses 2.4 Ah a day through 33 Ω.";
    BleedStuckOff: "bleed switch stuck off", "bleed_stuck_off", Cell, "", 1.0 ..= 1.0, 1.0,
        "The cell does not bleed, whatever its switch is told: it stays above the others.";
    CellChannelOffset: "cell channel offset", "cell_channel_offset", Cell, "mV", -500.0 ..= 500.0, 30.0,
        "The cell's measuring channel reads this much too high.";
    CellChannelGain: "cell channel gain error", "cell_channel_gain", Cell, "%", -50.0 ..= 50.0, 1.0,
        "The cell's measuring channel reads this much too strongly.";
    CellChannelFrozen: "cell channel frozen", "cell_channel_frozen", Cell, "", 1.0 ..= 1.0, 1.0,
        "The cell's reading stays where it was at the onset, bit for bit.",
        once CatchesCell;
    CurrentOffset: "current sensor offset", "current_offset", CurrentSensor, "A", -200.0 ..= 200.0, 5.0,
        "The current sensor reads this much too high (towards charge).";
    CurrentGain: "current sensor gain error", "current_gain", CurrentSensor, "%", -90.0 ..= 200.0, 5.0,
        "The current sensor reads this much too strongly.";
    CurrentDead: "current sensor dead", "current_dead", CurrentSensor, "", 1.0 ..= 1.0, 1.0,
        "The current sensor reads nothing at all.";
    CurrentReversed: "current sensor reversed", "current_reversed", CurrentSensor, "", 1.0 ..= 1.0, 1.0,
        "The current sensor is fitted the wrong way round: it reads charge as discharge.";
    CurrentDrift: "current sensor drifting", "current_drift", CurrentSensor, "A/h", -100.0 ..= 100.0, 2.0,
        "The current sensor's offset moves by this much every hour from the onset on (towards charge).";
    CurrentSampledEarly: "current sampled too early", "current_sampled_early", CurrentSensor, "ms", 0.5 ..= 10.0, 5.0,
        "The current is sampled this much earlier than it should be, at most one tick: while it moves, it does not fit the cell voltages.";
    PackVoltageGain: "pack voltage gain error", "pack_voltage_gain", Pack, "%", -50.0 ..= 50.0, 3.0,
        "The pack voltage reads this much too high.";
    LinkReadingDead: "link voltage reading dead", "link_reading_dead", Pack, "", 1.0 ..= 1.0, 1.0,
        "The link voltage reads nothing at all.";
    LinkReadingFrozen: "link voltage reading frozen", "link_reading_frozen", Pack, "", 1.0 ..= 1.0, 1.0,
        "The link voltage reading stays where it was at the onset.",
        once CatchesLink;
    LinkVoltageGain: "link voltage gain error", "link_voltage_gain", Pack, "%", -50.0 ..= 50.0, 3.0,
        "The link voltage reads this much too high.";
    SupplyReadingGain: "auxiliary supply reading gain error", "supply_reading_gain", Pack, "%", -50.0 ..= 50.0, 10.0,
        "The voltage of the auxiliary supply reads this much too high.";
    ThermistorOpen: "thermistor open", "thermistor_open", Thermistor, "", 1.0 ..= 1.0, 1.0,
        "The thermistor or its wire is interrupted: the divider stands at its reference.";
    ThermistorShort: "thermistor shorted", "thermistor_short", Thermistor, "Ω", 0.1 ..= 50.0, 1.0,
        "A short across the thermistor: the divider stands near zero.";
    ThermistorMoisture: "moisture beside a thermistor", "thermistor_moisture", Thermistor, "kΩ", 5.0 ..= 5000.0, 100.0,
        "A leak in parallel with the thermistor: it reads too warm, most in the cold.";
    ThermistorFrozen: "thermistor reading frozen", "thermistor_frozen", Thermistor, "", 1.0 ..= 1.0, 1.0,
        "The thermistor's reading stays where it was at the onset, bit for bit.",
        once CatchesThermistor;
    ThermistorOffset: "thermistor reading displaced", "thermistor_offset", Thermistor, "°C", -60.0 ..= 60.0, 10.0,
        "The thermistor is this much warmer than the cell it should follow.";
    ThermistorDetached: "thermistor detached from its cell", "thermistor_detached", Thermistor, "%", 1.0 ..= 100.0, 100.0,
        "The thermistor follows the module's air instead of its cell, to this part.";
    ThermistorsSwapped: "two thermistors swapped", "thermistors_swapped", Thermistor, "", 1.0 ..= 1.0, 1.0,
        "The plugs of this thermistor and the next one are exchanged (the last one with the first): each shows the other's temperature.";
    CoolingStopped: "cooling stopped", "cooling_stopped", Pack, "", 1.0 ..= 1.0, 1.0,
        "The fan stands still, whatever it is told.";
    AirflowBlocked: "airflow blocked", "airflow_blocked", Pack, "%", 1.0 ..= 100.0, 80.0,
        "The fan turns, but this part of the heat that cells and modules would give to the air stays.";
    ContactorWelded: "contactor welded", "contactor_welded", Contactor, "", 1.0 ..= 1.0, 1.0,
        "The contacts stay together, whatever the coil does.";
    ContactorCoilOpen: "contactor coil open", "contactor_coil_open", Contactor, "", 1.0 ..= 1.0, 1.0,
        "The coil carries no current: the contactor does not close, or falls open.";
    ContactorSlow: "contactor slow", "contactor_slow", Contactor, "ms", 1.0 ..= 1000.0, 80.0,
        "The contactor closes and opens this much later.";
    FeedbackStuckOpen: "feedback contact stuck open", "feedback_stuck_open", Contactor, "", 1.0 ..= 1.0, 1.0,
        "The feedback contact says open, whatever the contactor does.";
    FeedbackStuckClosed: "feedback contact stuck closed", "feedback_stuck_closed", Contactor, "", 1.0 ..= 1.0, 1.0,
        "The feedback contact says closed, whatever the contactor does.";
    PrechargeDrifted: "precharge resistor drifted", "precharge_drifted", Pack, "%", -95.0 ..= 1000.0, 100.0,
        "The precharge resistor has this much more (or less) resistance.";
    PrechargeOpen: "precharge resistor open", "precharge_open", Pack, "", 1.0 ..= 1.0, 1.0,
        "The precharge resistor is interrupted: the link is not charged.";
    LinkCapacityLost: "link capacitor lost part of its value", "link_capacity_lost", Pack, "%", 1.0 ..= 99.0, 50.0,
        "The link capacitor has this much less capacitance: it charges and decays faster.";
    BleedDownOpen: "bleed-down resistor of the link open", "bleed_down_open", Pack, "", 1.0 ..= 1.0, 1.0,
        "The link keeps its charge for many minutes after opening.";
    LoadLeftOn: "load left on during precharge", "load_left_on", Pack, "Ω", 0.02 ..= 10000.0, 500.0,
        "A resistance hangs on the link all the time: precharge ends low, and current flows with the crane at rest.";
    LoadIgnoresLimit: "load ignores the current limit", "load_ignores_limit", Pack, "", 1.0 ..= 1.0, 1.0,
        "The crane takes and gives what its duty wants, whatever limit the firmware gives out.";
    MotorTurning: "motor still turning feeds the link", "motor_turning", Pack, "%", 5.0 ..= 130.0, 90.0,
        "After opening, a motor that spins down feeds the link; severity is its voltage at first, in parts of the nominal pack's.";
    ContactorBouncing: "contactor bouncing", "contactor_bouncing", Contactor, "ms", 0.5 ..= 200.0, 20.0,
        "The contacts bounce this much longer when they close; each new touch onto a difference, and each parting under load, wears them.";
    LinkShorted: "link shorted", "link_shorted", Pack, "Ω", 0.001 ..= 50.0, 0.1,
        "A short across the link capacitor: precharge stays flat, and its resistor takes the whole pack voltage.";
    ShortCircuit: "short circuit beyond the contactors", "short_circuit", Pack, "mΩ", 0.1 ..= 1000.0, 5.0,
        "A short on the load's side: warm cells drive a current that the fuse clears; cold ones less than the fuse notices.";
    FuseBlown: "main fuse blown", "fuse_blown", Pack, "", 1.0 ..= 1.0, 1.0,
        "The fuse in the middle of the string is interrupted: the pack voltage collapses, the cells still sum up.";
    ServiceDisconnectOut: "service disconnect out", "service_disconnect_out", Pack, "", 1.0 ..= 1.0, 1.0,
        "The disconnect in the middle of the string is pulled: the string is parted there, and the disconnect's contact says so.";
    InterlockOpen: "interlock open", "interlock_open", Pack, "", 1.0 ..= 1.0, 1.0,
        "The loop through covers and connectors is interrupted: something may be open that protects from live parts.";
    InterlockIntermittent: "interlock intermittent", "interlock_intermittent", Pack, "1/min", 0.1 ..= 600.0, 12.0,
        "The interlock loop breaks this often for some milliseconds: a connector that is not quite home.";
    AuxiliaryDisconnectOut: "auxiliary supply disconnect pulled", "auxiliary_disconnect_out", Pack, "", 1.0 ..= 1.0, 1.0,
        "The auxiliary battery is cut off: what is stored holds the coils for some tenths of a second and the controller for a little more.";
    ImpactSignal: "impact signal", "impact_signal", Pack, "edges", 1.0 ..= 200.0, 20.0,
        "The impact sensor sends this many edges, one a millisecond: many are an impact, a single one is a disturbance.";
    FramesLost: "frames lost", "frames_lost", Pack, "%", 0.1 ..= 100.0, 40.0,
        "This share of the frames never reaches the controller, which decides by the last one that did.";
    FramesLate: "frames late", "frames_late", Pack, "ms", 1.0 ..= 5000.0, 100.0,
        "Every frame reaches the controller this much later than it was taken.";
    PartStale: "one part of the frame stale", "part_stale", FramePart, "", 1.0 ..= 1.0, 1.0,
        "The part stays what it was at the onset, and its age grows.";
    TickLate: "tick late", "tick_late", Pack, "ms", 1.0 ..= 5000.0, 100.0,
        "Every tick of the controller comes this much later than it should; the pack goes on meanwhile.";
    ClockFast: "clock running fast", "clock_fast", Pack, "%", 0.001 ..= 20.0, 1.0,
        "The controller's clock gains this much on true time: it counts more charge than flows, and every dwell is shorter.";
    ConfigurationBit: "configuration bit flipped", "configuration_bit", Pack, "", 1.0 ..= 1.0, 1.0,
        "One bit of the configuration changes in the controller's memory, which one the seed of the case says.";
    LeakPositive: "leak to chassis at the positive pole", "leak_positive", Pack, "kΩ", 2.0 ..= 10000.0, 20.0,
        "A resistance from B+ to the chassis: the chassis is drawn towards plus, and whoever touches minus closes the circuit.";
    LeakNegative: "leak to chassis at the negative pole", "leak_negative", Pack, "kΩ", 2.0 ..= 10000.0, 20.0,
        "A resistance from B− to the chassis: the chassis is drawn towards minus, and whoever touches plus closes the circuit.";
    LeakAlongString: "leak to chassis along the string", "leak_along_string", Cell, "kΩ", 2.0 ..= 10000.0, 20.0,
        "A resistance from the cell's positive terminal to the chassis: it acts on both poles, mid-string on both alike.";
    LeakOfLoad: "leak to chassis on the load's side", "leak_of_load", Pack, "kΩ", 2.0 ..= 10000.0, 20.0,
        "A resistance from L+ to the chassis, beyond the contactors: the pack sees it only while they are closed.";
    MoistureToChassis: "moisture between both poles and the chassis", "moisture_to_chassis", Pack, "kΩ", 2.0 ..= 10000.0, 30.0,
        "A wet film from each pole to the chassis: both leak alike, so that the poles stay balanced. Dew comes and goes.";
    SupplySagging: "auxiliary supply sagging", "supply_sagging", Pack, "Ω", 0.05 ..= 5.0, 1.0,
        "Added resistance in the auxiliary supply: its voltage dips while a coil pulls in, and coils may drop out.";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_its_own_name_and_a_usual_severity_in_its_range() {
        for (place, kind) in Kind::ALL.iter().enumerate() {
            let (low, high) = kind.range();
            assert!((low..=high).contains(&kind.usual()), "{}", kind.name());
            for other in &Kind::ALL[..place] {
                assert!(other.name() != kind.name() && other.key() != kind.key());
            }
            assert!(kind.changes().ends_with('.') && !kind.key().contains(' '));
        }
    }
}
