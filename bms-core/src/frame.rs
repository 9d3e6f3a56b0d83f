//! What is measured and asked for in one tick.
//!
//! A frame is all that the core ever learns about the world. Each part carries its age: the time between the measurement and
//! the instant of the frame. A part that was never measured has the age [`Millis::MAX`]. Nothing here is judged; a frame may hold
//! any bits whatever and the core must answer it.

use crate::decision::CellSet;
use crate::each::Each;
use crate::units::{Amps, Instant, Millis, Ratio, Volts};

/// One tick's measurements and requests.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Frame<const CELLS: usize, const THERMISTORS: usize> {
    /// When the frame was taken. Each frame should be newer than the one before it: of one that is not, every part counts as a tick
    /// older for each tick without a newer frame. It should come no later after that one than the oldest age that is believed: else what
    /// was measured before is stale, unless all contactors are proven open.
    pub at: Instant,
    /// Voltage of each cell at its sense taps, bleed switches paused.
    pub cells: Part<Each<Volts, CELLS>>,
    /// Voltage across each thermistor as a fraction of the divider's reference: supply ripple cancels.
    pub thermistors: Part<Each<Ratio, THERMISTORS>>,
    /// Pack current by the main sensor, positive when it charges the pack.
    pub current: Part<Amps>,
    /// Pack current by a second sensor of another kind, positive when it charges the pack.
    pub current_check: Part<Amps>,
    /// Voltages around the contactors.
    pub voltages: Part<PackVoltages>,
    /// Auxiliary supply that feeds the coils and this controller.
    pub supply: Part<Volts>,
    /// Feedback contacts of the contactors.
    pub feedback: Part<Feedback>,
    /// Each cell once more, read while the front end pulled its test current: no older than a tick in the tick after
    /// [`Decision`](crate::Decision) asked for it, and of no use at any other time.
    pub cells_pulled: Part<Pulled<CELLS>>,
    /// Cells whose bleed resistor carried current just before they were read, as a comparator across each resistor saw it. The cells are
    /// read with bleeding paused, which hides whether a switch does what it is told. Believed up to a tick old. Of no use where the front
    /// end has no comparators.
    pub bleed_flows: Part<CellSet<CELLS>>,
    /// Voltage of each pole of the pack against the chassis.
    pub poles: Part<PoleVoltages>,
    /// Interlock, disconnects, impact sensor, tacho.
    pub contacts: Part<Contacts>,
    /// What the operator and the workshop ask for.
    pub asked: Asked,
}

impl<const CELLS: usize, const THERMISTORS: usize> Frame<CELLS, THERMISTORS> {
    /// A frame in which nothing was ever measured and nothing is asked for.
    #[must_use]
    pub const fn empty(at: Instant) -> Self {
        Self {
            at,
            cells: Part::never(Each::all(Volts::ZERO)),
            thermistors: Part::never(Each::all(Ratio::ZERO)),
            current: Part::never(Amps::ZERO),
            current_check: Part::never(Amps::ZERO),
            voltages: Part::never(PackVoltages {
                pack: Volts::ZERO,
                behind_negative: Volts::ZERO,
                behind_positive: Volts::ZERO,
                link: Volts::ZERO,
            }),
            supply: Part::never(Volts::ZERO),
            feedback: Part::never(Feedback {
                negative: Contact::Broken,
                precharge: Contact::Broken,
                positive: Contact::Broken,
            }),
            cells_pulled: Part::never(Pulled { inputs: Inputs::Odd, cells: Each::all(Volts::ZERO) }),
            bleed_flows: Part::never(CellSet::EMPTY),
            poles: Part::never(PoleVoltages {
                negative: Volts::ZERO,
                positive: Volts::ZERO,
                resistor: ToChassis::Open,
            }),
            contacts: Part::never(Contacts::SOUND),
            asked: Asked::NOTHING,
        }
    }
}

/// A part of a frame with the time that has passed since it was measured.
#[derive(Clone, Copy, Debug, Default, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Part<T> {
    /// What was measured.
    pub value: T,
    /// Time from the measurement to the instant of the frame; [`Millis::MAX`] when there is none.
    pub age: Millis,
}

impl<T> Part<T> {
    /// Measured at the instant of the frame.
    #[must_use]
    pub const fn fresh(value: T) -> Self {
        Self { value, age: Millis::ZERO }
    }

    /// Never measured; the value only fills the place.
    #[must_use]
    pub const fn never(value: T) -> Self {
        Self { value, age: Millis::MAX }
    }

    /// The value, unless it is older than `oldest`.
    #[must_use]
    pub fn within(&self, oldest: Millis) -> Option<&T> {
        (self.age <= oldest).then_some(&self.value)
    }
}

/// The four voltages around the contactors.
///
/// With every contactor open the link floats behind two equal dividers. The two cross voltages then show a weld before
/// anything closes: both read half the pack when all are open; a welded positive or precharge contactor pulls
/// `behind_negative` to 0 and `behind_positive` to the pack; a welded negative does the opposite.
#[derive(Clone, Copy, Debug, Default, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PackVoltages {
    /// B+ to B−: the whole string, through fuse and service disconnect.
    pub pack: Volts,
    /// B+ to L−: equals the pack when the negative contactor is closed.
    pub behind_negative: Volts,
    /// L+ to B−: equals the pack when the positive contactor is closed.
    pub behind_positive: Volts,
    /// L+ to L−: the link capacitor.
    pub link: Volts,
}

/// The three contactors of the pack.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Contactor {
    /// Between B− and L−.
    Negative,
    /// Between B+ and L+, in series with the precharge resistor.
    Precharge,
    /// Between B+ and L+.
    Positive,
}

/// An auxiliary contact.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Contact {
    /// Open: no current can pass.
    #[default]
    Broken,
    /// Closed.
    Made,
}

/// What the feedback contacts of the contactors say.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Feedback {
    /// Of the negative contactor.
    pub negative: Contact,
    /// Of the precharge contactor.
    pub precharge: Contact,
    /// Of the positive contactor.
    pub positive: Contact,
}

/// Which inputs of the front end the test current is pulled on. Inputs are counted from 0 with the lowest wire of each front end, so that
/// neighbours are never pulled together.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Inputs {
    /// The 1st, 3rd, 5th …, counted from 0.
    Odd,
    /// The 0th, 2nd, 4th …
    Even,
}

/// Cell voltages as they read while a test current flows. A sound wire carries it with no visible drop; the filter behind an open wire
/// is emptied by it, so that the cell below reads low and the cell above reads high.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pulled<const CELLS: usize> {
    /// The inputs that were pulled.
    pub inputs: Inputs,
    /// What each cell read then.
    pub cells: Each<Volts, CELLS>,
}

/// A pole of the pack.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Pole {
    /// B−.
    Negative,
    /// B+.
    Positive,
}

/// Where the known resistor of the insulation measurement stands.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ToChassis {
    /// Nowhere.
    #[default]
    Open,
    /// Between B− and the chassis.
    Negative,
    /// Between B+ and the chassis.
    Positive,
}

/// The poles against the chassis, both as amounts: together they are the pack.
#[derive(Clone, Copy, Debug, Default, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PoleVoltages {
    /// Chassis above B−.
    pub negative: Volts,
    /// B+ above the chassis.
    pub positive: Volts,
    /// Where the known resistor stood meanwhile.
    pub resistor: ToChassis,
}

/// Whether the cooling turns, by its tacho.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Turning {
    /// No pulse for longer than the slowest turn.
    #[default]
    Standing,
    /// Pulses come.
    Turning,
}

/// Contacts and counters around the pack. What is shorter than a tick is counted by the input's hardware; counters wrap.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Contacts {
    /// The loop through all covers and connectors: made while all are in place.
    pub interlock: Contact,
    /// How often that loop has broken since the start, however shortly.
    pub interlock_breaks: u8,
    /// Made while the service disconnect is in its place.
    pub service_disconnect: Contact,
    /// Made while the auxiliary supply's disconnect is in its place.
    pub auxiliary_disconnect: Contact,
    /// Edges of the impact sensor since the start.
    pub impact_edges: u8,
    /// The cooling's tacho.
    pub cooling: Turning,
}

impl Contacts {
    /// Everything in its place, nothing counted, cooling at rest.
    pub const SOUND: Self = Self {
        interlock: Contact::Made,
        interlock_breaks: 0,
        service_disconnect: Contact::Made,
        auxiliary_disconnect: Contact::Made,
        impact_edges: 0,
        cooling: Turning::Standing,
    };
}

/// What is asked of the controller in this tick.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Asked {
    /// Where the operator wants the contactors, for as long as it is asked. After the controller's start, a clear, or an opening that
    /// a fault demanded, [`Wanted::Closed`] counts only once [`Wanted::Open`] was asked: none of these starts anything by itself.
    pub contactors: Wanted,
    /// A request to clear the fault memory. It counts in the tick in which it comes.
    pub clear: Option<Clearance>,
    /// The workshop reports that this was replaced. It counts in the tick in which it comes.
    pub replaced: Option<Replaced>,
}

impl Asked {
    /// Contactors open, nothing to clear, nothing replaced.
    pub const NOTHING: Self = Self { contactors: Wanted::Open, clear: None, replaced: None };

    /// What is asked now, without the requests that were there a tick before. A button that sticks, or a frame that comes again, would
    /// otherwise clear every bar as soon as it falls and count no failed start.
    pub(crate) fn after(self, before: Self) -> Self {
        Self {
            contactors: self.contactors,
            clear: self.clear.filter(|_| self.clear != before.clear),
            replaced: self.replaced.filter(|_| self.replaced != before.replaced),
        }
    }
}

/// What the workshop has replaced by a new one.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Replaced {
    /// A cell, counted from 0: nothing is known of its charge.
    Cell(u8),
    /// A contactor: nothing of its life is used.
    Contactor(Contactor),
}

/// The position of the contactors that the operator wants.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Wanted {
    /// All open.
    #[default]
    Open,
    /// Pack connected to the link.
    Closed,
}

/// Who asks to clear faults, in rising order of right.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Clearance {
    /// The operator, at the panel.
    Panel,
    /// The workshop, with the pack inspected.
    Service,
}
