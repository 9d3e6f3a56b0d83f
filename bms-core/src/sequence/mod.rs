//! # The contactor sequence
//!
//! Decides which contactors are closed. Closing proves first that all are open, then closes negative, charges the link through
//! the precharge resistor, closes positive and lets precharge go. Opening asks for zero current, opens positive, watches the link
//! fall, opens negative and proves the link dead.
//!
//! ```text
//!            asked, proven open          closed, link flat           within the end limit         link holds without precharge
//!   Open ───────────────► ClosingNegative ────────► Precharging ──────────► ClosingPositive ───────────────► Closed
//!    ▲ ▲                        │ stuck, welded,        │ flat, stalled,            │                             │
//!    │ │ cleared,               │ no longer asked       │ slow, fast, hot           │ OpenSoon, no longer asked   │
//!    │ │ proven dead            ▼                       ▼                           ▼                             ▼
//!    │ └─ Barred ◄──────── ProvingDead ◄───────────────────────── Opening ◄────── Easing ◄─────────────────────────
//!    │     not proven, or OpenNow │                     link fell       current fell, grace over
//!    └────────────────────────────┘ link down, negative settled at half the pack
//! ```
//! A request to close counts only if it is newer than the controller's start, the last clear and the last opening that a fault demanded.
//! One that is refused because something is missing for the moment (supply, proof that all are open, a cool resistor) stands: whoever
//! holds it goes on asking, and the contactors close once it is there.
//! OpenNow leads from every closed step to ProvingDead, and from there to Barred, with all coils off in that very tick.
//!
//! In every tick the sequence first *observes*: it compares the voltages with what the coils command and reports findings, which
//! are then judged as faults. Afterwards it *advances* by one step at most. One function changes the step, and it takes the reason.

mod closing;
mod findings;
mod kept;
mod measured;
mod opening;
mod precharge;
mod resistor;
mod state;
mod wear;
mod weld;

#[cfg(test)]
mod tests;

pub(crate) use closing::proof_of_positive;
pub(crate) use findings::{Finding, Findings};
pub(crate) use opening::proof_of_opening;
pub(crate) use precharge::decay;
pub(crate) use state::Sequence;
pub use wear::Wear;
pub(crate) use weld::shows_where_it_hangs;

use crate::fault::{Fault, Reaction};
use crate::units::{Amps, Millis, Ohms, Ratio, Volts};

/// Where the contactor sequence stands.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Step {
    /// All three open and proven so, or not yet disproven.
    #[default]
    Open,
    /// Negative is closing; the link must stay where it is.
    ClosingNegative,
    /// The link charges through the precharge resistor.
    Precharging,
    /// Positive is closing over the charged link.
    ClosingPositive,
    /// The pack feeds the link.
    Closed,
    /// Waiting for the current to fall before opening.
    Easing,
    /// Positive is opening; then negative.
    Opening,
    /// All commanded open; waiting until the link is down and negative has shown that it opened.
    ProvingDead,
    /// Closing is refused until cleared.
    Barred,
}

impl Step {
    /// All of them, in the order of a working day.
    pub const ALL: [Self; 9] = [
        Self::Open,
        Self::ClosingNegative,
        Self::Precharging,
        Self::ClosingPositive,
        Self::Closed,
        Self::Easing,
        Self::Opening,
        Self::ProvingDead,
        Self::Barred,
    ];

    /// Whether all three are commanded open.
    pub(crate) const fn commands_open(self) -> bool {
        match self {
            Self::Open | Self::ProvingDead | Self::Barred => true,
            Self::ClosingNegative
            | Self::Precharging
            | Self::ClosingPositive
            | Self::Closed
            | Self::Easing
            | Self::Opening => false,
        }
    }
}

/// Why the contactor sequence moved. Each carries what was seen.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Because {
    /// The operator wants the contactors closed, and the cross voltages prove that all are open.
    ClosingAsked {
        /// B+ to L−: half the pack when all are open.
        behind_negative: Volts,
        /// L+ to B−: half the pack when all are open.
        behind_positive: Volts,
        /// The pack.
        pack: Volts,
    },
    /// The operator wants the contactors open.
    OpeningAsked,
    /// `behind negative` became the pack and nothing rose at the link: negative is closed, the others are not.
    NegativeClosed {
        /// B+ to L−.
        behind_negative: Volts,
        /// The pack.
        pack: Volts,
        /// The link.
        link: Volts,
    },
    /// The link is within the end limit of the pack.
    LinkCharged {
        /// The link.
        link: Volts,
        /// The pack.
        pack: Volts,
        /// The end limit on their difference.
        within: Volts,
        /// Time since the link began to rise.
        after: Millis,
    },
    /// Positive is closed: link and pack are one.
    PositiveClosed {
        /// The link.
        link: Volts,
        /// The pack.
        pack: Volts,
    },
    /// A fault demands it.
    FaultDemands {
        /// The fault.
        fault: Fault,
        /// Its reaction.
        reaction: Reaction,
    },
    /// The current has fallen below the switching limit.
    CurrentFallen {
        /// The current.
        amps: Amps,
        /// The switching limit.
        below: Amps,
    },
    /// The current did not fall in the time allowed.
    GraceOver {
        /// The current, if known.
        amps: Option<Amps>,
        /// The time allowed.
        grace: Millis,
    },
    /// The fuse has cleared the current that the contactors must not break, or the wait for it is over.
    FuseCleared {
        /// The current, if known.
        amps: Option<Amps>,
        /// Time waited.
        after: Millis,
    },
    /// The link fell after positive was opened: positive and precharge are open.
    LinkFell {
        /// The link when positive was opened.
        from: Volts,
        /// The link now.
        to: Volts,
        /// Time between.
        after: Millis,
    },
    /// All coils are off.
    CoilsOff,
    /// The link is below the touch limit and `behind negative` has settled at half the pack: proven dead.
    ProvenDead {
        /// The link.
        link: Volts,
        /// B+ to L−.
        behind_negative: Volts,
        /// Time since positive was opened.
        after: Millis,
    },
    /// The proof did not come before its deadline; the fault that names the cause is told beside this.
    NotProven {
        /// The link, if known.
        link: Option<Volts>,
        /// The deadline.
        deadline: Millis,
    },
    /// A precharge check failed: the start is aborted.
    PrechargeFailed {
        /// Which fault.
        fault: Fault,
    },
    /// Nothing holds any more and the memory was cleared.
    Cleared,
}

/// The link voltage against the expected precharge curve, in one tick of precharge.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PrechargeCheck {
    /// Time since the link began to rise; zero before that.
    pub since_rise: Millis,
    /// The link as measured.
    pub link: Volts,
    /// The link as expected for the configured resistor, capacitance and bleed-down.
    pub expected: Volts,
    /// The pack: the higher of its own meter and the sum of its cells.
    pub pack: Volts,
    /// The end limit on the difference of pack and link.
    pub within: Volts,
    /// Rise over the last time constant, as a fraction of the pack.
    pub rise: Ratio,
    /// The load that would explain a stall here; `None` while the link rises as it should.
    pub explained_by: Option<Ohms>,
}
