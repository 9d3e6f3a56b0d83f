//! A witness for a target: it keeps the last changes, and nothing of what stays as it was.

use bms_core::{Evidence, Witness};
use heapless::Deque;

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
