//! One thing that a decision rested on, as values.

use crate::balance::BleedRefusal;
use crate::config::ConfigError;
use crate::estimate::{Discarded, Interval, LoadStep};
use crate::fault::{Clearing, Fault, Reaction, Reading, Stage};
use crate::frame::{Clearance, Contactor, Pole};
use crate::insulation::InsulationStep;
use crate::kept::Restart;
use crate::limit::{LimitRule, Side};
use crate::quarantine::Quarantine;
use crate::sense::{Doubt, PartName};
use crate::sequence::{Because, PrechargeCheck, Step};
use crate::units::{
    Amps, Celsius, CelsiusPerSecond, Coulombs, Milliohms, Millis, Ohms, OhmsPerVolt, Ratio, Volts,
};
use crate::wires::WireTest;

/// One thing that a decision rested on.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Evidence {
    /// The configuration was refused; the controller is barred but still measures. Told in the first tick.
    ConfigRefused(ConfigError),
    /// The controller has worked before, and goes on from a record or without one. Told in the first tick.
    Restarted(Restart),
    /// A frame is not newer than the one before it: a tick is counted, and its parts are that much older.
    FrameNotNewer {
        /// Milliseconds of the frame's counter.
        at: u32,
        /// Of the frame before.
        before: u32,
    },
    /// A frame came later after the one before it than readings are believed, while current could flow: what was measured before is
    /// stale, and dwells were credited less time than has passed.
    FrameLate {
        /// Time between the two.
        gap: Millis,
        /// The oldest age that is believed.
        oldest: Millis,
    },
    /// A part of the frame is too old, or was never measured, and is not believed.
    PartStale {
        /// Which part.
        part: PartName,
        /// Its age.
        age: Millis,
        /// The oldest that is believed.
        oldest: Millis,
    },
    /// A thermistor reading is doubted or dropped.
    Doubted {
        /// The sensor, from 0.
        thermistor: u8,
        /// What speaks against it.
        doubt: Doubt,
        /// What it reads.
        reads: Celsius,
    },
    /// One fault was judged.
    Assessed(Assessment),
    /// A fault changed its stage.
    StageChanged {
        /// The stage before; the one after is in the assessment.
        from: Stage,
        /// How it was judged.
        assessment: Assessment,
    },
    /// A suspect fault healed within its dwell.
    NearMiss(Assessment),
    /// The strongest reaction changed.
    Reacting {
        /// Before.
        from: Option<(Reaction, Fault)>,
        /// Now.
        to: Option<(Reaction, Fault)>,
    },
    /// The contactor sequence moved.
    Moved {
        /// Step before.
        from: Step,
        /// Step now.
        to: Step,
        /// What made it move.
        because: Because,
    },
    /// The contactor sequence stays where it is, waiting.
    Waits {
        /// The step.
        step: Step,
        /// Time spent in it.
        since: Millis,
        /// When waiting ends as a fault, or [`Millis::MAX`].
        deadline: Millis,
    },
    /// Contactors were opened while current flowed.
    OpenedUnderLoad {
        /// The current at that moment.
        amps: Amps,
        /// How often this has happened since the controller started.
        count: u16,
    },
    /// The link voltage was compared with the expected precharge curve.
    Precharging(PrechargeCheck),
    /// A measuring point is missing, so that these two cannot be told apart.
    CannotSeparate(Unseparable),
    /// Something that was asked for is refused.
    Refused(Refusal),
    /// How much current may flow, and why not more.
    Limited {
        /// Charge or discharge.
        side: Side,
        /// The rule that binds.
        rule: LimitRule,
        /// What it allows.
        allows: Amps,
        /// The next rule that would bind.
        runner_up: LimitRule,
        /// What that one allows.
        runner_up_allows: Amps,
        /// What is given out after smoothing.
        given: Amps,
    },
    /// An open-circuit voltage was compared with the counted charge.
    OcvCompared {
        /// The cell, from 0.
        cell: u8,
        /// Its voltage as read.
        volts: Volts,
        /// What is added to it for the middle of the open-circuit voltages that are possible: half of what the charge moved before may hold
        /// the reading below it, negative after a charge, and nothing where that is not known.
        shift: Volts,
        /// How far the open-circuit voltage may lie from that middle, either way, in all.
        error: Volts,
        /// Charge missing to full as counted.
        counted: Interval,
        /// Charge missing to full by the open-circuit voltage.
        by_ocv: Interval,
        /// What is believed from now on.
        after: Interval,
    },
    /// Counting and open-circuit voltage exclude each other: one of them did not keep its stated errors.
    ChargeDisagrees {
        /// The cell, from 0.
        cell: u8,
        /// Charge missing to full as counted.
        counted: Interval,
        /// Charge missing to full by the open-circuit voltage.
        by_ocv: Interval,
        /// What is believed from now on: the count, or from the limit of `charge count disagrees` on everything from the one to the other.
        after: Interval,
    },
    /// A count lies wholly beyond full or empty, further than any cell can be taken unharmed: it did not keep its stated errors, and
    /// anything is believed of the cell from now on.
    ChargeImpossible {
        /// The cell, from 0.
        cell: u8,
        /// Charge missing to full as counted.
        counted: Interval,
        /// Charge missing in a cell that is neither overfull nor more than empty.
        possible: Interval,
    },
    /// A load step gave the resistance of a cell.
    LoadStep(LoadStep),
    /// A load step was not used.
    LoadStepDiscarded {
        /// Why not.
        because: Discarded,
        /// The current step.
        amps: Amps,
    },
    /// A cell bleeds from now on, or no longer.
    BleedChosen {
        /// The cell, from 0.
        cell: u8,
        /// Least by which it lies above the fullest-allowed level of the lowest cell.
        excess: Coulombs,
    },
    /// A cell does not bleed.
    BleedRefused {
        /// The cell, from 0.
        cell: u8,
        /// Which condition failed.
        because: BleedRefusal,
    },
    /// The measurement of insulation went on by a step.
    Insulation(InsulationStep),
    /// The active test of the sense wires went on by a step.
    Wires(WireTest),
    /// A fault record was dropped because memory was full.
    RecordDropped {
        /// Whose record.
        fault: Fault,
        /// How many have been dropped in all.
        dropped: u16,
    },
    /// A latched fault was cleared. Records of near misses alone go with a clear untold: nothing held.
    Cleared {
        /// The fault.
        fault: Fault,
        /// By whom.
        by: Clearance,
    },
    /// The pack is in quarantine: told when that begins, when what disturbs it changes, once an hour of quiet, and when it was quiet for as
    /// long as it has to be. It clears and releases nothing.
    Quarantined(Quarantine),
    /// A cell was reported as replaced: its charge interval opens to everything.
    CellReplaced {
        /// The cell, from 0.
        cell: u8,
    },
    /// A contactor was reported as replaced: nothing of its life is used.
    ContactorReplaced {
        /// Which one.
        contactor: Contactor,
    },
    /// The idle offset of the current sensor was learnt.
    OffsetLearnt {
        /// The offset now subtracted.
        amps: Amps,
        /// Over how long it was averaged.
        over: Millis,
    },
}

/// How one fault was judged in one tick.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Assessment {
    /// Which fault.
    pub fault: Fault,
    /// The place that was worst.
    pub place: Place,
    /// What was observed there, if anything was measured.
    pub observed: Option<Quantity>,
    /// The limit it was held against there.
    pub limit: Option<Quantity>,
    /// On which side of the limits it lay.
    pub reading: Reading,
    /// The stage after this tick.
    pub stage: Stage,
    /// The dwell that is needed.
    pub dwell: Millis,
}

/// Where something is. Cells, modules and sensors are counted from 0.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Place {
    /// The pack as a whole.
    #[default]
    Pack,
    /// The link with its capacitor.
    Link,
    /// The auxiliary supply.
    Supply,
    /// One cell, with the joint that its taps enclose.
    Cell(u8),
    /// One module.
    Module(u8),
    /// One thermistor.
    Thermistor(u8),
    /// One contactor.
    Contactor(Contactor),
    /// One sense wire, counted from 0 with the lowest: a front end with so many cells has one more.
    Wire(u8),
    /// One pole of the pack, against the chassis.
    Pole(Pole),
}

/// A value with its unit, for evidence and records.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Quantity {
    /// A voltage.
    Volts(Volts),
    /// A current.
    Amps(Amps),
    /// A temperature, or a difference of two.
    Celsius(Celsius),
    /// A rate of warming.
    CelsiusPerSecond(CelsiusPerSecond),
    /// A small resistance.
    Milliohms(Milliohms),
    /// A large resistance.
    Ohms(Ohms),
    /// Insulation resistance over the pack's voltage.
    OhmsPerVolt(OhmsPerVolt),
    /// A fraction of a whole.
    Ratio(Ratio),
    /// A charge.
    Coulombs(Coulombs),
    /// A time.
    Millis(Millis),
    /// A number of things.
    Count(u32),
}

impl Quantity {
    /// The raw bits, for comparing two quantities of one kind.
    #[must_use]
    pub const fn bits(self) -> i64 {
        match self {
            Self::Volts(q) => q.bits() as i64,
            Self::Amps(q) => q.bits() as i64,
            Self::Celsius(q) => q.bits() as i64,
            Self::CelsiusPerSecond(q) => q.bits() as i64,
            Self::Milliohms(q) => q.bits() as i64,
            Self::Ohms(q) => q.0 as i64,
            Self::OhmsPerVolt(q) => q.0 as i64,
            Self::Ratio(q) => q.bits() as i64,
            Self::Coulombs(q) => q.bits(),
            Self::Millis(q) => q.0 as i64,
            Self::Count(count) => count as i64,
        }
    }
}

impl core::fmt::Display for Quantity {
    fn fmt(&self, to: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Volts(q) => q.fmt(to),
            Self::Amps(q) => q.fmt(to),
            Self::Celsius(q) => q.fmt(to),
            Self::CelsiusPerSecond(q) => q.fmt(to),
            Self::Milliohms(q) => q.fmt(to),
            Self::Ohms(q) => q.fmt(to),
            Self::OhmsPerVolt(q) => q.fmt(to),
            Self::Ratio(q) => q.fmt(to),
            Self::Coulombs(q) => q.fmt(to),
            Self::Millis(q) => q.fmt(to),
            Self::Count(count) => count.fmt(to),
        }
    }
}

macro_rules! from {
    ($($kind:ident)+) => {
        $(impl From<$kind> for Quantity {
            #[inline]
            fn from(quantity: $kind) -> Self {
                Self::$kind(quantity)
            }
        })+
    };
}

from! { Volts Amps Celsius CelsiusPerSecond Milliohms Ohms OhmsPerVolt Ratio Coulombs Millis }

impl From<u8> for Quantity {
    fn from(count: u8) -> Self {
        Self::Count(count.into())
    }
}

impl From<u32> for Quantity {
    fn from(count: u32) -> Self {
        Self::Count(count)
    }
}

/// Something an operator or the workshop can ask for.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Act {
    /// Close the contactors.
    Close,
    /// Enter a replaced cell or contactor.
    Replace,
}

/// Why something that was asked for is refused: what would have to change.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// A fault is present or latched and must be cleared first.
    FaultHolds {
        /// What was asked.
        act: Act,
        /// The fault in the way.
        fault: Fault,
    },
    /// The condition of the fault is still present.
    ConditionPresent(Assessment),
    /// Nothing says whether the condition of the fault is still present: its measurement is missing.
    ConditionUnmeasured {
        /// The fault.
        fault: Fault,
    },
    /// The one who asks may not clear this fault.
    NotAllowed {
        /// The fault.
        fault: Fault,
        /// Who may.
        by: Clearing,
    },
    /// The auxiliary supply is too low to hold the coils.
    SupplyTooLow {
        /// What it reads.
        volts: Volts,
        /// The least for closing.
        least: Volts,
    },
    /// The precharge resistor must cool first.
    ResistorHot {
        /// Its rise by the model.
        rise: Celsius,
        /// The most with which a start is allowed.
        most: Celsius,
    },
    /// Precharge was aborted too often in a row, or too short a time ago.
    Retries {
        /// Time still to wait; [`Millis::MAX`] until cleared.
        wait: Millis,
    },
    /// A part of the frame that closing needs is not believed.
    Unmeasured(PartName),
    /// Insulation is measured before anything closes: there is no result yet, the last one is too low and is measured again, or the pack has
    /// no measuring points for it and the configuration lets no such pack close.
    InsulationUnknown,
    /// The voltages around the contactors do not prove that all are open.
    NotProvenOpen {
        /// B+ to L−.
        behind_negative: Volts,
        /// L+ to B−.
        behind_positive: Volts,
        /// The link.
        link: Volts,
        /// The pack.
        pack: Volts,
    },
    /// Nothing is in the way any more, but closing stays barred until somebody clears.
    AwaitsClearing,
    /// The request to close is older than the start of the controller, the last clear, or an opening that a fault demanded: it counts
    /// again once open contactors were asked for.
    AskAgain,
    /// There is no cell with this number.
    NoSuchCell(u8),
    /// Only with the contactors open.
    NotOpen(Act),
}

/// Two things that look alike where they are seen.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Unseparable {
    /// Without `behind positive`: a welded positive and all contactors open, until negative closes.
    WeldedPositiveFromOpen,
    /// Without `behind negative`: a welded negative and all contactors open.
    WeldedNegativeFromOpen,
    /// While opening: a link that stays where it was, for a welded positive or for an open bleed-down.
    WeldedPositiveFromOpenBleedDown,
    /// In precharge, without the precharge contactor's feedback: a link that no current reaches, for an open contactor or an open resistor.
    OpenPrechargeFromOpenResistor,
}
