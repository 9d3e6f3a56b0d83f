//! What people near the pack are warned of, beside what the controller does itself: where opening the contactors does not end the danger.

use super::Fault;
use crate::decision::{FaultSummary, Warning};

impl Fault {
    /// What this fault warns of while it is confirmed.
    #[must_use]
    pub const fn warning(self) -> Option<Warning> {
        match self {
            Self::TemperatureRisingFast => Some(Warning::Evacuate),
            Self::CurrentWhileOpen | Self::LinkStaysLive | Self::InternalShort | Self::InsulationLowFar => {
                Some(Warning::Danger)
            }
            _ => None,
        }
    }

    /// Whether opening the contactors does not end what it found: a damaged cell may heat up hours later, so the pack is kept apart and
    /// watched until the workshop clears it.
    #[must_use]
    pub const fn quarantines(self) -> bool {
        matches!(
            self,
            Self::InternalShort
                | Self::TemperatureRisingFast
                | Self::CellReversed
                | Self::CellDeeplyDischarged
        )
    }
}

impl Warning {
    /// The gravest one of what is confirmed. What calls for leaving keeps doing so until it is cleared: it may start again hours later.
    pub(crate) fn of(faults: &FaultSummary) -> Option<Self> {
        let (confirmed, latched) = (faults.confirmed, faults.latched);
        if confirmed.is_empty() && latched.is_empty() {
            return None;
        }
        let lasting = latched.iter().filter_map(Fault::warning).filter(|warning| *warning == Self::Evacuate);
        confirmed.iter().filter_map(Fault::warning).chain(lasting).max()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fault::FaultSet;

    fn set(faults: &[Fault]) -> FaultSet {
        let mut set = FaultSet::EMPTY;
        for fault in faults {
            set.insert(*fault);
        }
        set
    }

    #[test]
    fn the_gravest_warning_stands_and_only_leaving_outlives_its_condition() {
        let warned = |confirmed: &[Fault], latched: &[Fault]| {
            Warning::of(&FaultSummary {
                confirmed: set(confirmed),
                latched: set(latched),
                ..FaultSummary::default()
            })
        };
        let (live, rising) = (Fault::LinkStaysLive, Fault::TemperatureRisingFast);
        assert_eq!(warned(&[], &[]), None);
        assert_eq!(warned(&[Fault::SupplyLow], &[]), None);
        assert_eq!(warned(&[live], &[]), Some(Warning::Danger));
        assert_eq!(warned(&[], &[live]), None);
        assert_eq!(warned(&[live, rising], &[]), Some(Warning::Evacuate));
        assert_eq!(warned(&[live], &[rising]), Some(Warning::Evacuate));
    }
}
