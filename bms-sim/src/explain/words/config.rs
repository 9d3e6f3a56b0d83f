//! Why a configuration is refused.

use super::numbers::{amps, duration, percent, volts};
use bms_core::ConfigError;

/// Why a configuration is refused.
#[must_use]
pub fn config_error(error: &ConfigError) -> String {
    match error {
        ConfigError::CellCount { modules, per_module, built } => {
            format!(
                "pack.modules = {modules} times cells_per_module = {per_module} must be the {built} cells of the controller"
            )
        }
        ConfigError::ThermistorCount { modules, per_module, built } => format!(
            "pack.modules = {modules} times thermistors_per_module = {per_module} must be the {built} thermistors of the controller"
        ),
        ConfigError::NotPositive { field } => format!("{field} must be above zero"),
        ConfigError::OutOfOrder { smaller, larger } => format!("{smaller} must be below {larger}"),
        ConfigError::RangeTooSmall { range, least } => {
            format!(
                "pack.current_range = {} cannot see the over-current limit: at least {}",
                amps(*range),
                amps(*least)
            )
        }
        ConfigError::AgeBelowTick { oldest_age, tick } => {
            format!("pack.oldest_age = {} is below the tick of {}", duration(*oldest_age), duration(*tick))
        }
        ConfigError::ReleaseBeyondTrip { fault } => {
            format!("faults.{}: the release limit must lie inwards of the trip limit", fault.key())
        }
        ConfigError::DwellTooLong { fault, most } => {
            format!("faults.{}: a dwell of more than {} never ends", fault.key(), duration(*most))
        }
        ConfigError::PrechargeNeverEnds { ends_at, needed } => format!(
            "precharge and bleed-down resistor divide: the link ends at {} of the pack, {} is needed",
            percent(*ends_at),
            percent(*needed)
        ),
        ConfigError::PrechargeTooQuick { time_constant, least } => {
            format!(
                "the precharge time constant of {} is too short: at least {}",
                duration(*time_constant),
                duration(*least)
            )
        }
        ConfigError::BleedDownTooSlow { left, limit } => {
            format!("the link is still at {} when it must be below {}", volts(*left), volts(*limit))
        }
        _ => "an unknown rule is broken".to_owned(),
    }
}
