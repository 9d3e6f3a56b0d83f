//! Why a configuration is refused.

use crate::fault::Fault;
use crate::units::{Amps, Millis, Ratio, Volts};

/// What is wrong with a configuration: the place, the value found, what is accepted.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ConfigError {
    /// Modules times cells a module is not the number of cells the controller was built for.
    CellCount {
        /// Modules found.
        modules: u8,
        /// Cells a module found.
        per_module: u8,
        /// Cells of the controller.
        built: u8,
    },
    /// Modules times thermistors a module is not the number of thermistors the controller was built for.
    ThermistorCount {
        /// Modules found.
        modules: u8,
        /// Thermistors a module found.
        per_module: u8,
        /// Thermistors of the controller.
        built: u8,
    },
    /// A figure that must be above zero is not.
    NotPositive {
        /// Which.
        field: &'static str,
    },
    /// Two figures are in the wrong order.
    OutOfOrder {
        /// The one that must be smaller.
        smaller: &'static str,
        /// The one that must be larger.
        larger: &'static str,
    },
    /// The current sensor cannot see the over-current limit.
    RangeTooSmall {
        /// The range found.
        range: Amps,
        /// The least: 5C.
        least: Amps,
    },
    /// The oldest age allowed is shorter than a tick: nothing would ever be believed.
    AgeBelowTick {
        /// The age found.
        oldest_age: Millis,
        /// The tick.
        tick: Millis,
    },
    /// A release limit lies beyond its trip limit, or on the wrong side of it.
    ReleaseBeyondTrip {
        /// Whose.
        fault: Fault,
    },
    /// A dwell is longer than anything that is meant to end.
    DwellTooLong {
        /// Whose.
        fault: Fault,
        /// The longest that is accepted.
        most: Millis,
    },
    /// Precharge resistor and bleed-down resistor divide so that the end limit is never met.
    PrechargeNeverEnds {
        /// Where the link ends, as a fraction of the pack.
        ends_at: Ratio,
        /// Where it must get to.
        needed: Ratio,
    },
    /// The precharge time constant is too short for the tick.
    PrechargeTooQuick {
        /// The time constant found.
        time_constant: Millis,
        /// The least: three ticks.
        least: Millis,
    },
    /// The link is not below the touch limit when it must be proven dead.
    BleedDownTooSlow {
        /// The voltage that is left then.
        left: Volts,
        /// The touch limit.
        limit: Volts,
    },
}
