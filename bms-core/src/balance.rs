//! # Which cells bleed
//!
//! Decides by charge, not by voltage: on the plateau a difference of voltage is mostly resistance and hysteresis. Used is the
//! interval of how much more is missing in a cell than in the median cell; what all cells share has cancelled in it.
//!
//! ```text
//! emptiest = max over all cells of (least that is missing)          the emptiest cell misses at least this, for certain
//! bleeds   ⇔ (most that is missing) + margin < emptiest             in coulombs against the median
//! ```
//!
//! So a cell bleeds only if every value of the intervals makes it fuller than the emptiest one, by more than one period of
//! bleeding takes out: bleeding cannot widen the true spread. It takes `t = ΔQ·R/V`: 1 Ah at 3.3 V through 33 Ω is 10 h.
//!
//! Besides, the cell must be full enough, its module warm enough and within its heat budget, and no fault may doubt the readings
//! that the intervals rest on. The choice is made anew every period, at the end of a pause in which the cells were read unbled.
//! Where a module's budget does not suffice, the first cells of the module bleed first: the order does not change the whole time.
//! Bleeding also pauses while the contactor sequence judges voltages.

use crate::config::Checked;
use crate::decision::{CellSet, FaultSummary};
use crate::estimate::{Estimated, Interval};
use crate::fault::Fault;
use crate::sense::{Believed, ModuleRange, Temperatures};
use crate::sequence::Step;
use crate::units::{Coulombs, Millis, Ratio};
use crate::witness::{Evidence, Witness};

/// Why a cell does not bleed: the first condition that failed.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum BleedRefusal {
    /// Its interval is too wide to say that it lies above the lowest cell.
    NotProvenAbove,
    /// It may be too empty to bleed.
    BelowFloor,
    /// Its module is too cold or too hot, or has no sensor that is believed.
    Temperature,
    /// Its module already makes all the heat that is allowed.
    HeatBudget,
    /// A fault speaks against using its reading.
    ReadingDoubted,
    /// The sense wires have not been tested since the start: bleeding beside an open one puts two cells' voltage on one input.
    WiresUntested,
    /// Bleeding is paused while something is measured.
    Measuring,
}

/// Faults that speak against the readings or the count that a choice rests on, or against taking anything from a cell. Towards a cell that
/// bleeds without end the whole pack would be emptied.
const DOUBTS: [Fault; 12] = [
    Fault::SenseWireOpen,
    Fault::BleedPathStuckOn,
    Fault::PackSumDisagrees,
    Fault::InternalShort,
    Fault::CellReadingFrozen,
    Fault::ChargeCountDisagrees,
    Fault::CellReversed,
    Fault::CellDeeplyDischarged,
    Fault::CellUnderVoltageFar,
    Fault::CurrentSignImplausible,
    Fault::MeasurementsStale,
    Fault::ConfigurationInvalid,
];

/// Which cells bleed, kept between choices.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(crate) struct Balance<const CELLS: usize> {
    chosen: CellSet<CELLS>,
    given: CellSet<CELLS>,
    /// Time since the last choice; at the start a choice is due.
    since: Millis,
}

/// Charge missing in one cell.
#[derive(Clone, Copy, Debug)]
struct Missing {
    /// To full.
    to_full: Interval,
    /// More than in the median cell.
    against_median: Interval,
}

impl<const CELLS: usize> Balance<CELLS> {
    pub(crate) const fn new() -> Self {
        Self { chosen: CellSet::EMPTY, given: CellSet::EMPTY, since: Millis::MAX }
    }

    /// The cells that bleed: what was given out last.
    pub(crate) const fn bleeding(&self) -> &CellSet<CELLS> {
        &self.given
    }

    /// Chooses anew when it is time, and pauses while something is measured.
    pub(crate) fn choose<const THERMISTORS: usize, W: Witness>(
        &mut self,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        estimated: &Estimated<CELLS>,
        (faults, wires_tested): (&FaultSummary, bool),
        step: Step,
        config: &Checked,
        witness: &mut W,
    ) -> CellSet<CELLS> {
        self.since = self.since + believed.elapsed;
        let untested = (!wires_tested).then_some(BleedRefusal::WiresUntested);
        let hindrance = hindrance(believed.cells.is_some(), faults, step).or(untested);
        if self.since >= config.balance.every {
            self.since = Millis::ZERO;
            let missing = |cell| {
                Some(Missing {
                    to_full: estimated.missing(cell)?,
                    against_median: estimated.missing_against_median(cell)?,
                })
            };
            self.chosen = chosen(missing, hindrance, &believed.temperatures, config, witness);
        }
        let paused = self.since + config.balance.pause >= config.balance.every;
        let refusal = hindrance.or(paused.then_some(BleedRefusal::Measuring));
        self.give(refusal, witness)
    }

    /// The chosen cells, or none and why; told for each cell that stops.
    fn give<W: Witness>(&mut self, refusal: Option<BleedRefusal>, witness: &mut W) -> CellSet<CELLS> {
        let before = self.given;
        self.given = if refusal.is_some() { CellSet::EMPTY } else { self.chosen };
        if let Some(because) = refusal
            && !before.is_empty()
        {
            for cell in before.iter() {
                witness.tell(|| Evidence::BleedRefused { cell, because });
            }
        }
        self.given
    }
}

/// What stops bleeding in all cells at once.
fn hindrance(cells_read: bool, faults: &FaultSummary, step: Step) -> Option<BleedRefusal> {
    let doubted = DOUBTS.iter().any(|fault| {
        faults.suspect.holds(*fault) || faults.confirmed.holds(*fault) || faults.latched.holds(*fault)
    });
    if doubted || !cells_read {
        return Some(BleedRefusal::ReadingDoubted);
    }
    match step {
        Step::Open | Step::Closed | Step::Easing | Step::Barred => None,
        Step::ClosingNegative
        | Step::Precharging
        | Step::ClosingPositive
        | Step::Opening
        | Step::ProvingDead => Some(BleedRefusal::Measuring),
    }
}

/// Judges every cell once and tells of each.
fn chosen<const CELLS: usize, const THERMISTORS: usize, W: Witness>(
    missing: impl Fn(u8) -> Option<Missing>,
    hindrance: Option<BleedRefusal>,
    temperatures: &Temperatures<THERMISTORS>,
    config: &Checked,
    witness: &mut W,
) -> CellSet<CELLS> {
    let mut set = CellSet::EMPTY;
    let places = || (0..=127_u8).take(CELLS);
    let Some(emptiest) = places().filter_map(|cell| Some(missing(cell)?.against_median.low)).max() else {
        return set;
    };
    let floor = most_missing_at_floor(config);
    let (mut module, mut in_module) = (0, 0_u8);
    for cell in places() {
        let here = config.pack.module_of_cell(cell);
        if here != module {
            (module, in_module) = (here, 0);
        }
        let heat_left = in_module < config.balance.most_per_module;
        let judged = match hindrance {
            Some(because) => Err(because),
            None => judge(missing(cell), emptiest, floor, temperatures.modules.at(module), config)
                .and_then(|excess| if heat_left { Ok(excess) } else { Err(BleedRefusal::HeatBudget) }),
        };
        match judged {
            Ok(excess) => {
                set.insert(cell);
                in_module = in_module.saturating_add(1);
                witness.tell(|| Evidence::BleedChosen { cell, excess });
            }
            Err(because) => witness.tell(|| Evidence::BleedRefused { cell, because }),
        }
    }
    set
}

/// What a cell at the floor misses if its capacity is the least a working cell may have.
fn most_missing_at_floor(config: &Checked) -> Coulombs {
    let least = config.pack.capacity.scaled(config.charge.capacity_least);
    least.scaled(Ratio::ONE - config.balance.floor)
}

/// Least by which a cell is fuller than the emptiest one, or the first condition that fails.
fn judge(
    missing: Option<Missing>,
    emptiest: Coulombs,
    floor: Coulombs,
    module: Option<&ModuleRange>,
    config: &Checked,
) -> Result<Coulombs, BleedRefusal> {
    let rules = &config.balance;
    let missing = missing.ok_or(BleedRefusal::NotProvenAbove)?;
    let excess = emptiest - missing.against_median.high;
    if excess <= rules.margin {
        return Err(BleedRefusal::NotProvenAbove);
    }
    if missing.to_full.high > floor {
        return Err(BleedRefusal::BelowFloor);
    }
    let mild = |range: &&ModuleRange| {
        range.measured && range.coldest >= rules.coldest && range.hottest <= rules.hottest
    };
    module.filter(mild).map(|_| excess).ok_or(BleedRefusal::Temperature)
}

#[cfg(test)]
mod tests;
