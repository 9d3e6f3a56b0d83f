//! THE list of repairs. Case files, help and tables are made from it; nothing else may list them.

use crate::defect::{Kind, PlaceKind};

macro_rules! repairs {
    ($($repair:ident: $name:literal, $key:literal, $place:ident, [$($mends:ident),+], $does:literal;)*) => {
        /// A kind of repair.
        #[derive(Clone, Copy, Debug, Eq, PartialEq)]
        pub enum Work {
            $(#[doc = $does] $repair,)*
        }

        impl Work {
            /// All of them, in the order of the list.
            pub const ALL: &[Self] = &[$(Self::$repair),*];

            /// Its name in plain words.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$repair => $name,)* }
            }

            /// Its name in files.
            #[must_use]
            pub const fn key(self) -> &'static str {
                match self { $(Self::$repair => $key,)* }
            }

            /// What its place counts.
            #[must_use]
            pub const fn place(self) -> PlaceKind {
                match self { $(Self::$repair => PlaceKind::$place,)* }
            }

            /// The defects that go with the old part.
            #[must_use]
            pub const fn mends(self) -> &'static [Kind] {
                match self { $(Self::$repair => &[$(Kind::$mends),+],)* }
            }

            /// What it does, as a sentence.
            #[must_use]
            pub const fn does(self) -> &'static str {
                match self { $(Self::$repair => $does,)* }
            }
        }
    };
}

repairs! {
    SwapCell: "swap a cell", "swap_cell", Cell,
        [AddedResistance, ChargeOutOfLine, CellLeak, LostCapacity, AgedCell, CellHeatsItself, CellReversed, HardShort],
        "Another cell comes into the place, with a charge, capacity, resistance and temperature of its own; all harm goes with the old one. The firmware knows of it only when it is told by the act `replace`.";
    CleanJoint: "clean and tighten a joint", "clean_joint", Joint,
        [LooseJointTapAbove, LooseJointTapBelow],
        "The joint has the resistance of a sound one again; its heat stays.";
    MendWire: "mend a sense wire", "mend_wire", Wire,
        [SenseWireOpen, SenseWireCorroded, SenseWiresSwapped],
        "The sense wire is sound and in its place.";
    ReplaceCellChannel: "replace a cell's measuring channel", "replace_cell_channel", Cell,
        [CellChannelOffset, CellChannelGain, CellChannelFrozen],
        "A sound channel of the front end reads the cell.";
    ReplaceBleedSwitch: "replace a bleed switch", "replace_bleed_switch", Cell,
        [BleedStuckOn, BleedStuckOff],
        "The cell bleeds when it is told to and only then; the charge that it has lost stays lost.";
    ReplaceThermistor: "replace a thermistor", "replace_thermistor", Thermistor,
        [ThermistorOpen, ThermistorShort, ThermistorMoisture, ThermistorFrozen, ThermistorOffset, ThermistorDetached, ThermistorsSwapped],
        "A sound thermistor sits on its cell and is wired to its own input.";
    ReplaceCurrentSensor: "replace a current sensor", "replace_current_sensor", CurrentSensor,
        [CurrentOffset, CurrentGain, CurrentDead, CurrentReversed, CurrentDrift, CurrentSampledEarly],
        "A sound current sensor measures the right way round.";
    ReplaceVoltageMeter: "replace the meter of pack, link and supply voltage", "replace_voltage_meter", Pack,
        [PackVoltageGain, LinkReadingDead, LinkReadingFrozen, LinkVoltageGain, SupplyReadingGain],
        "A sound meter reads the voltages around the contactors and the auxiliary supply.";
    MendCooling: "replace the fan and clear the air ways", "mend_cooling", Pack,
        [CoolingStopped, AirflowBlocked],
        "A new fan turns when it is told to, and its air reaches cells and modules.";
    ReplaceContactor: "replace a contactor", "replace_contactor", Contactor,
        [ContactorWelded, ContactorCoilOpen, ContactorSlow, ContactorBouncing, FeedbackStuckOpen, FeedbackStuckClosed],
        "New contacts without weld or wear, a new coil, a new feedback contact.";
    ReplaceFuse: "replace the main fuse", "replace_fuse", Pack,
        [FuseBlown],
        "A new fuse of which nothing has melted.";
    ReplacePrechargeResistor: "replace the precharge resistor", "replace_precharge_resistor", Pack,
        [PrechargeDrifted, PrechargeOpen],
        "A new resistor of the right value, as cold as its surroundings.";
    ReplaceLinkCapacitor: "replace the link capacitor", "replace_link_capacitor", Pack,
        [LinkCapacityLost, LinkShorted, BleedDownOpen],
        "A sound link capacitor with its bleed-down resistor.";
    DryInsulation: "dry and clean the insulation", "dry_insulation", Pack,
        [MoistureToChassis, LeakPositive, LeakNegative, LeakAlongString, LeakOfLoad],
        "Nothing leads from pack or load to the chassis but what always does.";
}
