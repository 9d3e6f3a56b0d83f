//! # Why a pack stays in quarantine
//!
//! Decides, after a fault that opening the contactors does not stop ([`Fault::quarantines`]), whether the pack is quiet, and for how long:
//!
//! ```text
//! quiet     no such fault holds, contactors told open, all seen, and
//!           hottest sensor − its lowest within the hour ≤ rise     (half of it, once it rose)
//!           fall of the fastest cell − what is explained ≤ fall
//!           charge lost in a month < the limit of `cell self-discharge`
//!           insulation not found low
//! quiet for sum of the times between frames, from the last disturbance on
//! ```
//!
//! A damaged cell may heat up hours later, so time without any sign is what there is to go by. Frames may come half an hour apart, since a
//! controller at rest sleeps; what lies in a longer gap was not watched and counts nothing.
//!
//! It only tells. Quiet for long enough is no release: no fault is cleared and nothing closes by it. Clearing stays with the workshop.

use crate::config::Checked;
use crate::decision::FaultSummary;
use crate::estimate::Estimated;
use crate::fault::Fault;
use crate::sense::{Believed, PartName};
use crate::sequence::Step;
use crate::units::{Celsius, Millis, Volts};
use crate::witness::{Evidence, Witness};

/// A rise is counted from the lowest within so long.
const HOUR: Millis = Millis::from_seconds(3_600);

/// A pack in quarantine.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Quarantine {
    /// The fault that it is for, the first one of several.
    pub fault: Fault,
    /// What is not quiet now; `None` when all is.
    pub disturbance: Option<Disturbance>,
    /// How long all has been quiet; no more than is needed.
    pub quiet: Millis,
    /// How long it has to be.
    pub needed: Millis,
}

/// What is not quiet.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Disturbance {
    /// A fault that calls for quarantine is there, or seems to be.
    Holds(Fault),
    /// The contactors are not all told open.
    NotOpen,
    /// A part of the frame is not believed.
    Unseen(PartName),
    /// The hottest sensor rises.
    Warms,
    /// No cell has been watched for a whole window of rest yet.
    FallUnknown,
    /// A rested cell (from 0) falls against a typical one.
    Falls(u8),
    /// A cell (from 0) loses charge from rest to rest.
    Loses(u8),
    /// Insulation was found low.
    InsulationLow,
}

/// What the watch looks at in a frame.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sight {
    /// Time since the frame before; nothing for the same one again.
    elapsed: Millis,
    open: bool,
    cells: bool,
    hottest: Option<Celsius>,
    /// The cell that falls fastest, and by how much in an hour beyond what is explained.
    fall: Option<(u8, Volts)>,
    loses: Option<u8>,
}

impl Sight {
    pub(crate) fn of<const CELLS: usize, const THERMISTORS: usize>(
        believed: &Believed<'_, CELLS, THERMISTORS>,
        estimated: &Estimated<CELLS>,
        step: Step,
        config: &Checked,
    ) -> Self {
        let limit = config.faults.cell_self_discharge.trip;
        Self {
            elapsed: if believed.repeated { Millis::ZERO } else { believed.elapsed },
            open: step.commands_open(),
            cells: believed.cells.is_some(),
            hottest: believed.temperatures.hottest.map(|(_, celsius)| celsius),
            fall: estimated.fastest_fall().map(|fall| (fall.cell, fall.an_hour - fall.explained)),
            loses: estimated.self_discharge().filter(|loss| loss.a_month >= limit).map(|loss| loss.cell),
        }
    }
}

/// The watch over a pack in quarantine.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(crate) struct Watch {
    fault: Option<Fault>,
    disturbance: Option<Disturbance>,
    quiet: Millis,
    /// The lowest that the hottest sensor was, and how long it has been looked at.
    lowest: Option<Celsius>,
    since: Millis,
}

impl Watch {
    pub(crate) const fn new() -> Self {
        Self { fault: None, disturbance: None, quiet: Millis::ZERO, lowest: None, since: Millis::ZERO }
    }

    pub(crate) fn told(&self, config: &Checked) -> Option<Quarantine> {
        let (disturbance, quiet, needed) = (self.disturbance, self.quiet, config.quarantine.quiet);
        self.fault.map(|fault| Quarantine { fault, disturbance, quiet, needed })
    }

    /// Takes one frame, with the faults as they were judged in it.
    pub(crate) fn advance<W: Witness>(
        &mut self,
        sight: impl FnOnce() -> Sight,
        faults: &FaultSummary,
        config: &Checked,
        witness: &mut W,
    ) {
        let Some(fault) = self.reason(faults) else {
            if self.fault.is_some() {
                *self = Self::new();
            }
            return;
        };
        let sight = sight();
        let before = (self.fault, self.disturbance);
        let hours = self.hours();
        let disturbance = self.disturbance(&sight, faults, config);
        let watched = sight.elapsed <= config.quarantine.longest_step && self.fault.is_some();
        let was_quiet = before.1.is_none();
        (self.fault, self.disturbance) = (Some(fault), disturbance);
        let needed = config.quarantine.quiet;
        let reached = self.quiet >= needed;
        if disturbance.is_some() {
            self.quiet = Millis::ZERO;
        } else if watched && was_quiet {
            self.quiet = (self.quiet + sight.elapsed).min(needed);
        }
        let passed = self.hours() > hours || (self.quiet >= needed && !reached);
        if let Some(told) = self.told(config).filter(|_| passed || before != (self.fault, self.disturbance)) {
            witness.tell(|| Evidence::Quarantined(told));
        }
    }

    /// The fault that it is for, as long as that was not cleared.
    fn reason(&self, faults: &FaultSummary) -> Option<Fault> {
        let FaultSummary { suspect, confirmed, latched, .. } = faults;
        let stays = |fault: &Fault| [suspect, confirmed, latched].iter().any(|set| set.holds(*fault));
        self.fault
            .filter(stays)
            .or_else(|| confirmed.iter().chain(latched.iter()).find(|fault| fault.quarantines()))
    }

    fn disturbance(&mut self, sight: &Sight, faults: &FaultSummary, config: &Checked) -> Option<Disturbance> {
        let rules = &config.quarantine;
        let warms = self.warms(sight, rules.rise);
        let holds = faults.confirmed.iter().chain(faults.suspect.iter()).find(|fault| fault.quarantines());
        let insulation = [Fault::InsulationLow, Fault::InsulationLowFar];
        if let Some(fault) = holds {
            Some(Disturbance::Holds(fault))
        } else if !sight.open {
            Some(Disturbance::NotOpen)
        } else if !sight.cells {
            Some(Disturbance::Unseen(PartName::Cells))
        } else if sight.hottest.is_none() {
            Some(Disturbance::Unseen(PartName::Thermistors))
        } else if warms {
            Some(Disturbance::Warms)
        } else if let Some(cell) = sight.loses {
            Some(Disturbance::Loses(cell))
        } else if insulation.iter().any(|fault| faults.confirmed.holds(*fault)) {
            Some(Disturbance::InsulationLow)
        } else {
            match sight.fall {
                None => Some(Disturbance::FallUnknown),
                Some((cell, an_hour)) => (an_hour > rules.fall).then_some(Disturbance::Falls(cell)),
            }
        }
    }

    /// Whether the hottest sensor has risen within the hour; once it has, by more than half of that, so that noise does not end it.
    fn warms(&mut self, sight: &Sight, rise: Celsius) -> bool {
        let Some(hottest) = sight.hottest else { return false };
        let lowest = self.lowest.map_or(hottest, |lowest| lowest.min(hottest));
        let half = Celsius::from_bits(rise.bits() >> 1);
        let allowed = if self.disturbance == Some(Disturbance::Warms) { half } else { rise };
        self.since = self.since + sight.elapsed;
        self.lowest = Some(lowest);
        if self.since >= HOUR {
            (self.since, self.lowest) = (Millis::ZERO, Some(hottest));
        }
        hottest - lowest > allowed
    }

    /// Whole hours of quiet.
    const fn hours(&self) -> u32 {
        self.quiet.0 / HOUR.0
    }
}

#[cfg(test)]
mod tests;
