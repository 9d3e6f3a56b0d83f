//! When a record is due.

use crate::controller::Controller;
use crate::fault::FaultSet;
use crate::sequence::{Step, Wear};
use crate::units::{Millis, Uptime};

/// When the next record is to be written: after so long, and at once when something changes that a record from before would get wrong.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub struct Schedule {
    every: Millis,
    written: Option<Written>,
}

/// What the last record says.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Written {
    at: Uptime,
    step: Step,
    confirmed: FaultSet,
    latched: FaultSet,
    wear: Wear,
}

impl Schedule {
    /// A record at least so often, and one after the first tick. Shorter than what the records promise to hold for, by the time that
    /// writing takes.
    #[must_use]
    pub const fn every(every: Millis) -> Self {
        Self { every, written: None }
    }

    /// Whether one is due after this tick, before its decision is acted on: the step of the sequence is another one, a fault is newly
    /// confirmed, latched or cleared, a contactor has worn, a part was replaced, or the time has come. It is taken for written then.
    pub fn is_due<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        controller: &Controller<CELLS, THERMISTORS>,
    ) -> bool {
        let faults = controller.faults();
        let now = Written {
            at: controller.uptime(),
            step: controller.step(),
            confirmed: faults.confirmed,
            latched: faults.latched,
            wear: controller.wear(),
        };
        let alike = self.written.is_some_and(|last| Written { at: now.at, ..last } == now);
        let fresh = self.written.is_some_and(|last| now.at.since(last.at) < self.every);
        let due = !alike || !fresh || controller.replaces();
        if due {
            self.written = Some(now);
        }
        due
    }
}
