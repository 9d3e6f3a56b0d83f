//! A witness for a target: it keeps the last changes, and nothing of what stays as it was.

use bms_core::{Evidence, Witness};
use heapless::Deque;

/// The witness that the features name: `logging` writes changes through defmt, `changes` keeps the last ones; else nobody listens.
#[cfg(feature = "logging")]
#[must_use]
pub fn chosen() -> crate::log::Log {
    crate::log::open();
    crate::log::Log { now_ms: 0 }
}

/// The witness that the features name: `logging` writes changes through defmt, `changes` keeps the last ones; else nobody listens.
#[cfg(all(feature = "changes", not(feature = "logging")))]
#[must_use]
pub fn chosen() -> Changes {
    Changes::default()
}

/// The witness that the features name: `logging` writes changes through defmt, `changes` keeps the last ones; else nobody listens.
#[cfg(not(any(feature = "changes", feature = "logging")))]
pub fn chosen() {}

/// Whether a piece of evidence tells of a change: of a stage, of the strongest reaction, of the contactor sequence.
#[must_use]
pub const fn is_change(evidence: &Evidence) -> bool {
    matches!(evidence, Evidence::StageChanged { .. } | Evidence::Reacting { .. } | Evidence::Moved { .. })
}

/// Keeps the last eight changes.
#[derive(Default)]
pub struct Changes {
    kept: Deque<Evidence, 8>,
}

impl Changes {
    /// The oldest change that is kept.
    #[must_use]
    pub fn oldest(&self) -> Option<&Evidence> {
        self.kept.front()
    }
}

impl Witness for Changes {
    fn saw(&mut self, evidence: Evidence) {
        if !is_change(&evidence) {
            return;
        }
        if self.kept.is_full() {
            self.kept.pop_front();
        }
        // Room was made above, so the evidence always finds its place.
        self.kept.push_back(evidence).unwrap_or_default();
    }
}
