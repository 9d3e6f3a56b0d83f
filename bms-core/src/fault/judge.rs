//! How every fault is judged: look at the worst place, class the reading, move the stage, tell the witness, keep the record.
//!
//! A family's `look` is pure; this file is the only one that changes a stage. The part that does not depend on the quantity
//! stands in one function, [`Pass::settle`], so that fifty faults cost fifty looks and not fifty copies of the bookkeeping.

use super::list::Kept;
use super::memory::{Freeze, Memory, Worse};
use super::{Clearing, Counter, Dwells, Fault, FaultLimits, FaultSet, Reaction, Reading, Stage, Was};
use crate::config::{Accepts, Checked, Checks, Digest, Integrity, OfLimit};
use crate::decision::{CurrentLimits, FaultSummary};
use crate::each::Each;
use crate::estimate::Estimated;
use crate::frame::{Asked, Clearance};
use crate::insulation::Insulation;
use crate::sense::Believed;
use crate::sequence::{Finding, Findings, Step};
use crate::units::{
    Amps, Celsius, CelsiusPerSecond, Coulombs, Milliohms, Millis, Ohms, OhmsPerVolt, Ratio, Uptime, Volts,
};
use crate::wires::Wires;
use crate::witness::{Assessment, Evidence, Place, Quantity, Refusal, Witness};
use core::cmp::Ordering;

mod kept;
#[cfg(test)]
mod tests;

/// What one fault is held against.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Limit<Q> {
    /// Beyond this the dwell runs.
    pub trip: Q,
    /// Inside this the fault ends; it lies inwards of the trip limit.
    pub release: Q,
    /// Time beyond the trip limit until the fault is confirmed; zero confirms at once.
    pub dwell: Millis,
    /// Time within the release limit until the condition counts as gone.
    pub release_dwell: Millis,
    /// What a good reading does to the running dwell.
    pub counter: Counter,
    /// What is done about the fault.
    pub reaction: Reaction,
    /// Who may clear it.
    pub clearing: Clearing,
}

/// A limit with its units, for showing.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Shown {
    /// The trip limit; `None` where another room finds the fault by bounds of its own.
    pub trip: Option<Quantity>,
    /// The release limit.
    pub release: Option<Quantity>,
    /// The dwell until confirmed.
    pub dwell: Millis,
    /// The time within the release limit after which the condition is gone.
    pub release_dwell: Millis,
    /// What is done.
    pub reaction: Reaction,
    /// Who may clear it.
    pub clearing: Clearing,
}

/// The limit of a fault that another room finds at a moment of its own, by bounds of its own: nothing to set but the dwell.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Found;

/// A quantity that can be watched: ordered, shown with its unit, fed to a digest.
pub trait Watched: Copy + Ord {
    /// With its unit.
    fn shown(self) -> Option<Quantity>;
    /// As raw bits for the checksum.
    fn digest_bits(self) -> i64;
}

macro_rules! watched {
    ($($quantity:ident: $value:ident => $bits:expr;)+) => {
        $(impl Watched for $quantity {
            #[inline]
            fn shown(self) -> Option<Quantity> {
                Some(Quantity::$quantity(self))
            }
            fn digest_bits(self) -> i64 {
                let $value = self;
                $bits
            }
        })+
    };
}

watched! {
    Volts: q => i64::from(q.bits());
    Amps: q => i64::from(q.bits());
    Celsius: q => i64::from(q.bits());
    CelsiusPerSecond: q => i64::from(q.bits());
    Milliohms: q => i64::from(q.bits());
    Ratio: q => i64::from(q.bits());
    Ohms: q => i64::from(q.0);
    OhmsPerVolt: q => i64::from(q.0);
    Coulombs: q => q.bits();
    Millis: q => i64::from(q.0);
}

impl Watched for u8 {
    #[inline]
    fn shown(self) -> Option<Quantity> {
        Some(self.into())
    }
    fn digest_bits(self) -> i64 {
        self.into()
    }
}

impl Watched for Found {
    fn shown(self) -> Option<Quantity> {
        None
    }
    fn digest_bits(self) -> i64 {
        0
    }
}

impl<Q: Watched> Limit<Q> {
    /// On the same side as the default, with dwells that end and that ticks can count.
    pub(super) fn check(&self, default: &Self, fault: Fault, tick: Millis, checks: &mut Checks) {
        let inside = match default.trip.cmp(&default.release) {
            Ordering::Greater => Some(Accepts::LessThan),
            Ordering::Less => Some(Accepts::MoreThan),
            Ordering::Equal => None,
        };
        if let (Some(inside), Some(trip), Some(release)) = (inside, self.trip.shown(), self.release.shown()) {
            checks.hold_limit((fault, OfLimit::Release), inside, release, trip, Some(trip));
        }
        checks.hold_dwells(fault, (self.dwell, self.release_dwell), tick);
    }

    pub(super) fn shown(&self) -> Shown {
        Shown {
            trip: self.trip.shown(),
            release: self.release.shown(),
            dwell: self.dwell,
            release_dwell: self.release_dwell,
            reaction: self.reaction,
            clearing: self.clearing,
        }
    }

    pub(super) fn feed(&self, digest: &mut Digest<'_>) {
        digest.feed(self.trip.digest_bits());
        digest.feed(self.release.digest_bits());
        digest.feed(i64::from(self.dwell.0));
        digest.feed(i64::from(self.release_dwell.0));
        digest.feed(self.counter as i64);
        digest.feed(self.reaction as i64);
        digest.feed(self.clearing as i64);
    }

    /// What was seen at a place, held against this limit as it stands.
    #[inline]
    pub(super) fn sight(&self, place: Place, observed: Option<Q>) -> Sight {
        Self::between(place, observed, self.trip, self.release)
    }

    /// What was seen at a place, held against limits that hold just there. Which side is bad follows from their order.
    #[inline]
    pub(super) fn between(place: Place, observed: Option<Q>, trip: Q, release: Q) -> Sight {
        let above = trip >= release;
        let reading = match observed {
            None => Reading::Unknown,
            Some(observed) => {
                let beyond = if above { observed >= trip } else { observed <= trip };
                let within = if above { observed <= release } else { observed >= release };
                match (beyond, within) {
                    (true, _) => Reading::Beyond,
                    (false, true) => Reading::Within,
                    (false, false) => Reading::Between,
                }
            }
        };
        let observed = observed.and_then(Watched::shown);
        let worse = if above { Worse::Higher } else { Worse::Lower };
        Sight { place, observed, limit: trip.shown(), reading, worse, pending: false }
    }
}

/// What a family saw: the worst place, the value there, the limit that holds there, and on which side it lies.
#[derive(Clone, Copy)]
pub(super) struct Sight {
    pub(super) place: Place,
    pub(super) observed: Option<Quantity>,
    pub(super) limit: Option<Quantity>,
    pub(super) reading: Reading,
    /// Which way it gets worse.
    pub(super) worse: Worse,
    /// Whether no reading can be had before something happens that shows it: the next load step, rest or start.
    pub(super) pending: bool,
}

impl Sight {
    /// A condition that is found or not, with no value of its own.
    pub(super) const fn found(place: Place, broken: bool) -> Self {
        let reading = if broken { Reading::Beyond } else { Reading::Within };
        Self { place, observed: None, limit: None, reading, worse: Worse::Higher, pending: false }
    }

    /// What the contactor sequence found at a moment of its own.
    pub(super) fn of_finding(place: Place, finding: Option<Finding>) -> Self {
        let Some(Finding { broken, figures }) = finding else { return Self::UNKNOWN };
        let found = Self::found(place, broken);
        let Some((observed, bound)) = figures else { return found };
        // A broken bound has been passed on its bad side, and one that is kept lies on that side of the value.
        let worse = if (observed < bound) == broken { Worse::Lower } else { Worse::Higher };
        Self {
            observed: Some(Quantity::Volts(observed)),
            limit: Some(Quantity::Volts(bound)),
            worse,
            ..found
        }
    }

    /// Nothing to look at in this tick: every stage stays.
    pub(super) const UNKNOWN: Self = Self {
        place: Place::Pack,
        observed: None,
        limit: None,
        reading: Reading::Unknown,
        worse: Worse::Higher,
        pending: false,
    };

    /// Nothing to look at before something happens that shows it. No measurement is missing for it: whoever may clear the fault
    /// vouches for the mend, and what happens next shows whether that was true.
    pub(super) const PENDING: Self = Self { pending: true, ..Self::UNKNOWN };
}

/// Everything that a family may look at.
pub(crate) struct Seen<'a, const CELLS: usize, const THERMISTORS: usize> {
    /// What the measurements are believed to say.
    pub(crate) believed: &'a Believed<'a, CELLS, THERMISTORS>,
    /// What was worked out from them over time.
    pub(crate) estimated: &'a Estimated<CELLS>,
    /// What the contactor sequence found.
    pub(crate) findings: &'a Findings,
    /// What is known of the insulation from the chassis.
    pub(crate) insulation: &'a Insulation,
    /// What is known of the sense wires.
    pub(crate) wires: &'a Wires,
    /// The current limits that the load has had time to follow.
    pub(crate) due: CurrentLimits,
    /// Where the contactor sequence stood in the tick before.
    pub(crate) step: Step,
    /// Time since the last coil was switched on, of those that are on.
    pub(crate) youngest_coil: Option<Millis>,
    /// The configuration.
    pub(crate) config: &'a Checked,
    /// Whether it is still the one that was sealed.
    pub(crate) integrity: Integrity,
    /// What is asked for.
    pub(crate) asked: Asked,
    /// When this is.
    pub(crate) now: Uptime,
}

/// Looks at one quantity, at its worst place.
pub(super) trait Watch<const CELLS: usize, const THERMISTORS: usize> {
    type Quantity: Watched;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Self::Quantity>) -> Sight;
}

/// Looks at one quantity at one thermistor.
pub(super) trait WatchThermistor<const CELLS: usize, const THERMISTORS: usize> {
    type Quantity: Watched;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, thermistor: u8, limit: &Limit<Self::Quantity>) -> Sight;
}

/// One stage for the worst place of the pack.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct OfPack(Stage);

impl OfPack {
    pub(super) const CLEAR: Self = Self(Stage::Clear);
}

/// One stage for each thermistor.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct EachThermistor<const THERMISTORS: usize>(Each<Stage, THERMISTORS>);

impl<const THERMISTORS: usize> EachThermistor<THERMISTORS> {
    pub(super) const CLEAR: Self = Self(Each::all(Stage::Clear));
}

/// Whatever keeps the stages of one fault.
pub(super) trait Keep<const CELLS: usize, const THERMISTORS: usize, L> {
    type Quantity: Watched;
    fn judge<W: Witness>(
        &mut self,
        fault: Fault,
        limit: &Limit<Self::Quantity>,
        pass: &mut Pass<'_, '_, CELLS, THERMISTORS>,
        witness: &mut W,
    );
}

impl<const CELLS: usize, const THERMISTORS: usize, L> Keep<CELLS, THERMISTORS, L> for OfPack
where
    L: Watch<CELLS, THERMISTORS>,
{
    type Quantity = L::Quantity;
    #[inline]
    fn judge<W: Witness>(
        &mut self,
        fault: Fault,
        limit: &Limit<L::Quantity>,
        pass: &mut Pass<'_, '_, CELLS, THERMISTORS>,
        witness: &mut W,
    ) {
        let sight = L::look(pass.seen, limit);
        pass.judge(&mut self.0, fault, &sight, limit, witness);
    }
}

impl<const CELLS: usize, const THERMISTORS: usize, L> Keep<CELLS, THERMISTORS, L>
    for EachThermistor<THERMISTORS>
where
    L: WatchThermistor<CELLS, THERMISTORS>,
{
    type Quantity = L::Quantity;
    #[inline]
    fn judge<W: Witness>(
        &mut self,
        fault: Fault,
        limit: &Limit<L::Quantity>,
        pass: &mut Pass<'_, '_, CELLS, THERMISTORS>,
        witness: &mut W,
    ) {
        // Saturates: a range from 0 would have to count to 256 to see that 255 places are all.
        let mut thermistor = 0_u8;
        for stage in &mut self.0 {
            let sight = L::look(pass.seen, thermistor, limit);
            pass.judge(stage, fault, &sight, limit, witness);
            thermistor = thermistor.saturating_add(1);
        }
    }
}

/// One pass over all faults in one tick.
pub(super) struct Pass<'a, 'm, const CELLS: usize, const THERMISTORS: usize> {
    seen: &'a Seen<'a, CELLS, THERMISTORS>,
    memory: &'m mut Memory,
    freeze: Freeze,
    elapsed: Millis,
    clear: Option<Clearance>,
    summary: FaultSummary,
}

/// The limit's parts that do not depend on the quantity.
struct Terms {
    dwells: Dwells,
    reaction: Reaction,
    clearing: Clearing,
    /// Which way the value gets worse.
    worse: Worse,
    /// Whether no reading can be had now.
    pending: bool,
}

impl<const CELLS: usize, const THERMISTORS: usize> Pass<'_, '_, CELLS, THERMISTORS> {
    #[inline]
    fn judge<Q: Watched, W: Witness>(
        &mut self,
        stage: &mut Stage,
        fault: Fault,
        sight: &Sight,
        limit: &Limit<Q>,
        witness: &mut W,
    ) {
        let reading = sight.reading;
        let assessment = || Assessment {
            fault,
            place: sight.place,
            observed: sight.observed,
            limit: sight.limit,
            reading,
            stage: *stage,
            dwell: limit.dwell,
        };
        // Nearly every place is clear and stays so: nothing to count, nothing to keep.
        if *stage == Stage::Clear && reading != Reading::Beyond {
            witness.tell(|| Evidence::Assessed(assessment()));
            return;
        }
        let terms = Terms {
            dwells: Dwells { trip: limit.dwell, release: limit.release_dwell, counter: limit.counter },
            reaction: limit.reaction,
            clearing: limit.clearing,
            worse: sight.worse,
            pending: sight.pending,
        };
        let assessment = assessment();
        *stage = self.settle(assessment, &terms, witness);
    }

    /// Moves the stage, tells the witness, keeps the record, counts the reaction.
    #[inline(never)]
    fn settle<W: Witness>(&mut self, mut seen: Assessment, terms: &Terms, witness: &mut W) -> Stage {
        let before = seen.stage;
        let mut after = before.next(seen.reading, self.elapsed, terms.dwells);
        seen.stage = after;
        if let Some(by) = self.clear {
            after = clear(seen, by, terms, witness);
            seen.stage = after;
        }
        self.note(before, seen, terms, witness);
        witness.tell(|| Evidence::Assessed(seen));
        self.count(seen.fault, after, terms.reaction);
        after
    }

    /// Tells of a change and keeps the record of it.
    fn note<W: Witness>(&mut self, before: Stage, seen: Assessment, terms: &Terms, witness: &mut W) {
        let (reaction, worse) = (terms.reaction, terms.worse);
        if before.differs(seen.stage) {
            witness.tell(|| Evidence::StageChanged { from: before, assessment: seen });
        }
        match (before, seen.stage) {
            (Stage::Suspect { was: Was::Clear, .. }, Stage::Clear) => {
                witness.tell(|| Evidence::NearMiss(seen));
                self.memory.near_miss(seen, reaction, self.seen.now, witness);
            }
            (Stage::Clear | Stage::Suspect { .. } | Stage::Latched, Stage::Confirmed { .. }) => {
                self.memory.confirm((seen, worse), reaction, self.seen.now, self.freeze, witness);
            }
            (Stage::Confirmed { .. }, Stage::Confirmed { .. }) => {
                if seen.reading == Reading::Beyond {
                    self.memory.persist(seen, worse, self.seen.now);
                }
            }
            (
                Stage::Suspect { was: Was::Latched, .. } | Stage::Confirmed { .. } | Stage::Latched,
                Stage::Clear,
            ) => {
                self.memory.forget(seen.fault, seen.place);
            }
            (_, Stage::Clear | Stage::Suspect { .. } | Stage::Latched) => {}
        }
    }

    /// Counts the fault in its set, and its reaction if it holds.
    fn count(&mut self, fault: Fault, stage: Stage, reaction: Reaction) {
        let holds = match stage {
            Stage::Clear => false,
            Stage::Suspect { was, .. } => {
                self.summary.suspect.insert(fault);
                if was == Was::Latched {
                    self.summary.latched.insert(fault);
                }
                was == Was::Latched && reaction >= Reaction::OpenSoon
            }
            Stage::Confirmed { .. } => {
                self.summary.confirmed.insert(fault);
                true
            }
            Stage::Latched => {
                self.summary.latched.insert(fault);
                reaction >= Reaction::OpenSoon
            }
        };
        if holds && self.summary.reaction.is_none_or(|(strongest, _)| reaction > strongest) {
            self.summary.reaction = Some((reaction, fault));
        }
    }
}

/// Clears a fault whose condition is gone, or says what would have to change.
fn clear<W: Witness>(seen: Assessment, by: Clearance, terms: &Terms, witness: &mut W) -> Stage {
    let fault = seen.fault;
    let obstacle = match (seen.stage, seen.reading) {
        (Stage::Clear | Stage::Suspect { was: Was::Clear, .. }, _) => return seen.stage,
        (_, Reading::Unknown) if terms.pending => None,
        // Not known to be present, but not known to be gone either.
        (_, Reading::Unknown) => Some(Refusal::ConditionUnmeasured { fault }),
        (Stage::Suspect { was: Was::Latched, .. } | Stage::Confirmed { .. }, _)
        | (Stage::Latched, Reading::Beyond) => Some(Refusal::ConditionPresent(seen)),
        (Stage::Latched, Reading::Within | Reading::Between) => None,
    };
    let not_allowed =
        (!terms.clearing.allows(by)).then_some(Refusal::NotAllowed { fault, by: terms.clearing });
    if let Some(refusal) = obstacle.or(not_allowed) {
        witness.tell(|| Evidence::Refused(refusal));
        seen.stage
    } else {
        witness.tell(|| Evidence::Cleared { fault, by });
        Stage::Clear
    }
}

/// The stages of all faults and the memory of those that were confirmed.
#[derive(Clone, Debug, Hash, PartialEq)]
pub struct Faults<const CELLS: usize, const THERMISTORS: usize> {
    kept: Kept<THERMISTORS>,
    memory: Memory,
    summary: FaultSummary,
}

impl<const CELLS: usize, const THERMISTORS: usize> Faults<CELLS, THERMISTORS> {
    /// Every fault clear, nothing remembered.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            kept: Kept::CLEAR,
            memory: Memory::EMPTY,
            summary: FaultSummary {
                suspect: FaultSet::EMPTY,
                confirmed: FaultSet::EMPTY,
                latched: FaultSet::EMPTY,
                reaction: None,
            },
        }
    }

    /// Judges every fault once and says what they demand together.
    pub(crate) fn advance<W: Witness>(
        &mut self,
        seen: &Seen<'_, CELLS, THERMISTORS>,
        limits: &FaultLimits,
        witness: &mut W,
    ) -> FaultSummary {
        let mut pass = Pass {
            seen,
            freeze: Freeze::of(seen),
            memory: &mut self.memory,
            elapsed: seen.believed.credit,
            clear: seen.asked.clear,
            summary: FaultSummary::default(),
        };
        Self::judge_all(&mut self.kept, &mut pass, limits, witness);
        let (summary, freeze) = (pass.summary, pass.freeze);
        if let Some(by) = seen.asked.clear {
            let goes = |fault| limits.clearing(fault).allows(by) && !summary.suspect.holds(fault);
            self.memory.forget_near_misses(goes);
        }
        let before = core::mem::replace(&mut self.summary, summary);
        if before.reaction != summary.reaction {
            witness.tell(|| Evidence::Reacting { from: before.reaction, to: summary.reaction });
        }
        self.memory.remember(freeze, seen.now);
        summary
    }

    /// The fault memory.
    #[must_use]
    pub const fn memory(&self) -> &Memory {
        &self.memory
    }

    /// The summary of the last tick.
    #[must_use]
    pub const fn summary(&self) -> &FaultSummary {
        &self.summary
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Default for Faults<CELLS, THERMISTORS> {
    fn default() -> Self {
        Self::new()
    }
}
