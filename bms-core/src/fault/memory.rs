//! # What is remembered of a fault
//!
//! Decides which records are kept. A record holds the first and the last time, how often the fault was confirmed, how often it
//! healed within its dwell (near misses), the worst value since it was first confirmed, a freeze frame of the tick of the last
//! confirmation and a short history before it. When memory is full the weakest and oldest record goes, never a stronger one than
//! the newcomer's, and every loss is counted: "did it ever happen" must be answered even after the details are gone.
//!
//! A clear takes along the records that hold near misses alone. No stage stands for them that could be cleared, and left in place they
//! would stay for ever. They are for the one who may clear the fault itself, and the record of a fault that is suspect again stays.
//!
//! Worst is the highest value or the lowest one, whichever side of its limit is the bad one. Only a value beyond its limit can be it:
//! a confirmed fault that is healing shows better values, and they are no part of the harm.
//!
//! Records outlive a loss of power where whoever builds the core in stores them: see [`kept`](crate::kept).

use super::judge::Seen;
use super::{Fault, Reaction};
use crate::sequence::Step;
use crate::units::{Amps, Celsius, Millis, Uptime, Volts};
use crate::witness::{Assessment, Evidence, Place, Quantity, Witness};
use core::hash::{Hash, Hasher};
use heapless::{Deque, Vec};

mod kept;
#[cfg(test)]
mod tests;

/// Records that are kept.
const RECORDS: usize = 16;

/// Freeze frames kept before the one of the fault.
const HISTORY: usize = 5;

/// Spacing of that history.
const HISTORY_EVERY: Millis = Millis(100);

/// The pack at one moment, as far as it was believed.
#[derive(Clone, Copy, Debug, Default, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Freeze {
    /// When.
    pub at: Uptime,
    /// Lowest cell, from 0, with its voltage.
    pub lowest: Option<(u8, Volts)>,
    /// Highest cell, from 0, with its voltage.
    pub highest: Option<(u8, Volts)>,
    /// Pack current, positive when it charges.
    pub amps: Option<Amps>,
    /// Hottest sensor, from 0.
    pub hottest: Option<(u8, Celsius)>,
    /// Coldest sensor, from 0.
    pub coldest: Option<(u8, Celsius)>,
    /// The pack voltage.
    pub pack: Option<Volts>,
    /// The link voltage.
    pub link: Option<Volts>,
    /// Where the contactor sequence stood.
    pub step: Step,
}

impl Freeze {
    pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
        seen: &Seen<'_, CELLS, THERMISTORS>,
    ) -> Self {
        let believed = seen.believed;
        Self {
            at: seen.now,
            lowest: believed.cells.map(|cells| cells.lowest),
            highest: believed.cells.map(|cells| cells.highest),
            amps: believed.current.map(|current| current.amps),
            hottest: believed.temperatures.hottest,
            coldest: believed.temperatures.coldest,
            pack: believed.voltages.map(|voltages| voltages.pack),
            link: believed.voltages.map(|voltages| voltages.link),
            step: seen.step,
        }
    }
}

/// Which of two values beyond a limit is the worse one.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum Worse {
    /// The higher one: the limit is one from above.
    Higher,
    /// The lower one: the limit is one from below.
    Lower,
}

/// The pack shortly before a fault, oldest first.
pub type FreezeHistory = Vec<Freeze, HISTORY>;

/// What is remembered of one fault at one place.
#[derive(Clone, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Record {
    /// The fault.
    pub fault: Fault,
    /// Where it was worst.
    pub place: Place,
    /// Its reaction.
    pub reaction: Reaction,
    /// First confirmation, or first near miss when there was none.
    pub first: Uptime,
    /// Last time it was confirmed and beyond its limit, or last near miss.
    pub last: Uptime,
    /// How often it was confirmed.
    pub count: u16,
    /// How often it healed within its dwell.
    pub near_misses: u16,
    /// The worst value seen while confirmed; `None` when there was none, or the fault has no value of its own.
    pub worst: Option<Quantity>,
    /// The limit that value was held against.
    pub limit: Option<Quantity>,
    /// The pack when it was last confirmed.
    pub freeze: Option<Freeze>,
    /// The pack shortly before the last confirmation.
    pub history: FreezeHistory,
}

/// The fault memory.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Memory {
    records: Vec<Record, RECORDS>,
    dropped: u16,
    recent: Deque<Freeze, HISTORY>,
}

/// By hand: the ring's own comparison splits slices at places that could panic.
impl PartialEq for Memory {
    fn eq(&self, other: &Self) -> bool {
        let Self { records, dropped, recent } = self;
        *records == other.records && *dropped == other.dropped && recent.iter().eq(other.recent.iter())
    }
}

/// By hand, since the ring has none: its frames in their order.
impl Hash for Memory {
    fn hash<H: Hasher>(&self, to: &mut H) {
        let Self { records, dropped, recent } = self;
        (records, dropped, recent.len()).hash(to);
        recent.iter().for_each(|freeze| freeze.hash(to));
    }
}

/// Records and losses; the ring of recent frames is in the records already.
#[cfg(feature = "defmt")]
impl defmt::Format for Memory {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{=[?]}, {=u16} dropped", self.records.as_slice(), self.dropped);
    }
}

impl Memory {
    pub(super) const EMPTY: Self = Self { records: Vec::new(), dropped: 0, recent: Deque::new() };

    /// The records, in no particular order.
    pub fn records(&self) -> impl Iterator<Item = &Record> {
        self.records.iter()
    }

    /// How many records were lost because memory was full.
    #[must_use]
    pub const fn dropped(&self) -> u16 {
        self.dropped
    }

    /// Keeps the pack as it is now for a later history, ten times a second.
    pub(super) fn remember(&mut self, freeze: Freeze, now: Uptime) {
        if self.recent.back().is_some_and(|last| now.since(last.at) < HISTORY_EVERY) {
            return;
        }
        if self.recent.is_full() {
            self.recent.pop_front();
        }
        // There is room now; a full ring would hand the value back.
        let _full = self.recent.push_back(freeze);
    }

    /// A fault was confirmed: counts it and keeps the moment.
    pub(super) fn confirm<W: Witness>(
        &mut self,
        (seen, worse): (Assessment, Worse),
        reaction: Reaction,
        now: Uptime,
        freeze: Freeze,
        witness: &mut W,
    ) {
        let mut history = FreezeHistory::new();
        for before in &self.recent {
            // As long as the ring, so never full.
            let _full = history.push(*before);
        }
        if let Some(record) = self.record(seen, reaction, now, witness) {
            record.count = record.count.saturating_add(1);
            record.last = now;
            record.freeze = Some(freeze);
            record.history = history;
            record.keep_worst(seen, worse);
        }
    }

    /// A suspect healed within its dwell.
    pub(super) fn near_miss<W: Witness>(
        &mut self,
        seen: Assessment,
        reaction: Reaction,
        now: Uptime,
        witness: &mut W,
    ) {
        if let Some(record) = self.record(seen, reaction, now, witness) {
            record.near_misses = record.near_misses.saturating_add(1);
            record.last = now;
        }
    }

    /// The fault goes on, still beyond its limit: keeps its last time and its worst value.
    pub(super) fn persist(&mut self, seen: Assessment, worse: Worse, now: Uptime) {
        for record in &mut self.records {
            if record.is_of(seen.fault, seen.place) {
                record.last = now;
                record.keep_worst(seen, worse);
            }
        }
    }

    /// The fault was cleared.
    pub(super) fn forget(&mut self, fault: Fault, place: Place) {
        self.take_out(|record| record.is_of(fault, place));
    }

    /// A clear: the records of faults that were never confirmed go with it, of those that it may clear and that are not suspect.
    pub(super) fn forget_near_misses(&mut self, goes: impl Fn(Fault) -> bool) {
        // Each turn takes one of them out.
        for _ in 0..RECORDS {
            if self.take_out(|record| record.count == 0 && goes(record.fault)).is_none() {
                break;
            }
        }
    }

    /// The record of a fault, made if there is none. `None` when memory is full of stronger ones.
    fn record<W: Witness>(
        &mut self,
        seen: Assessment,
        reaction: Reaction,
        now: Uptime,
        witness: &mut W,
    ) -> Option<&mut Record> {
        let known = self.records.iter().any(|record| record.is_of(seen.fault, seen.place));
        if !known {
            if self.records.is_full() {
                self.make_room(seen.fault, reaction, witness);
            }
            let record = Record {
                fault: seen.fault,
                place: seen.place,
                reaction,
                first: now,
                last: now,
                count: 0,
                near_misses: 0,
                worst: None,
                limit: seen.limit,
                freeze: None,
                history: FreezeHistory::new(),
            };
            // Full only when everything kept is stronger: then the loss was counted above.
            let _full = self.records.push(record);
        }
        self.records.iter_mut().find(|record| record.is_of(seen.fault, seen.place))
    }

    /// Drops the weakest and, among equals, the oldest record, unless it is stronger than the newcomer.
    fn make_room<W: Witness>(&mut self, newcomer: Fault, reaction: Reaction, witness: &mut W) {
        self.dropped = self.dropped.saturating_add(1);
        let dropped = self.dropped;
        let weakest = self.records.iter().map(|record| (record.reaction, record.last)).min();
        let Some((weakest, oldest)) = weakest.filter(|(weakest, _)| *weakest <= reaction) else {
            witness.tell(|| Evidence::RecordDropped { fault: newcomer, dropped });
            return;
        };
        if let Some(fault) = self.take_out(|record| record.reaction == weakest && record.last == oldest) {
            witness.tell(|| Evidence::RecordDropped { fault, dropped });
        }
    }

    /// Takes the first such record out and says whose it was; the last one moves into its place. The vector's own `retain` counts
    /// in a way that could overflow for all that the proof of "no panic" can see.
    fn take_out(&mut self, goes: impl Fn(&Record) -> bool) -> Option<Fault> {
        let mut records = self.records.iter_mut();
        let gone = records.find(|record| goes(record))?;
        let fault = gone.fault;
        // Of those behind it, the last; none when it is the last one itself.
        if let Some(last) = records.next_back() {
            core::mem::swap(gone, last);
        }
        self.records.truncate(self.records.len().saturating_sub(1));
        Some(fault)
    }
}

impl Record {
    /// Whether it is the record of this fault: each thermistor has its own, every other fault has one, wherever it moves.
    fn is_of(&self, fault: Fault, place: Place) -> bool {
        self.fault == fault && (!fault.is_per_thermistor() || self.place == place)
    }

    /// Keeps the value just seen, with its place and limit, if it is worse than what is kept.
    fn keep_worst(&mut self, seen: Assessment, worse: Worse) {
        let Some(observed) = seen.observed else { return };
        let is_worse = self.worst.is_none_or(|kept| match worse {
            Worse::Higher => observed.bits() > kept.bits(),
            Worse::Lower => observed.bits() < kept.bits(),
        });
        if is_worse {
            (self.worst, self.place, self.limit) = (Some(observed), seen.place, seen.limit);
        }
    }
}
