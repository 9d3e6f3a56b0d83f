//! # What is worked out over time
//!
//! From believed readings: how much charge is missing in each cell (`charge`, corrected by `compare`), what bleeds of it (`bleed`), whether one loses it by itself:
//! fast, within a rest (`fall`), or slowly, from rest to rest (`loss`); what resistance each cell
//! shows in load steps (`resistance`), whether its reading follows them at all (`follow`), and how much of the heat budget of fuse and cable is used (`heat`).

mod apart;
mod bleed;
mod charge;
mod cold;
mod compare;
mod cool;
mod fall;
mod follow;
mod heat;
mod history;
mod kept;
mod loss;
mod median;
mod modules;
mod ocv;
mod resistance;
mod rest;

pub(crate) use apart::Apart;
use apart::WhenWell;
pub(crate) use cold::growth;
pub(crate) use heat::lasts;
pub(crate) use loss::LONGEST as LOSS_LONGEST;
pub(crate) use ocv::FULL;

use crate::config::Checked;
use crate::decision::{CellSet, Cooling};
use crate::frame::Clearance;
use crate::sense::Believed;
use crate::sequence::Step;
use crate::units::{Amps, Coulombs, Milliohms, Millis, Ratio, Volts};
use crate::wires::Beside;
use crate::witness::{Act, Evidence, Refusal, Witness};
use bleed::{Bleeding, Paths};
use charge::Count;
use compare::Comparison;
use cool::Cooled;
use fall::{Fall, Falling};
use follow::Following;
use heat::Heat;
use loss::{Loss, Losses};
use resistance::Steps;
use rest::Rest;

/// Two bounds with the truth between them.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Interval {
    /// Not less than this.
    pub low: Coulombs,
    /// Not more than this.
    pub high: Coulombs,
}

impl Interval {
    /// From end to end.
    #[must_use]
    pub fn width(self) -> Coulombs {
        self.high - self.low
    }

    /// Both ends moved by those of another one.
    fn plus(self, other: Self) -> Self {
        Self { low: self.low + other.low, high: self.high + other.high }
    }

    /// Undoes [`Self::plus`].
    fn minus(self, other: Self) -> Self {
        Self { low: self.low - other.low, high: self.high - other.high }
    }

    /// The smallest interval that holds both.
    fn spanning(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }

    /// What lies in both; `None` when they exclude each other.
    fn common_with(self, other: Self) -> Option<Self> {
        let common = Self { low: self.low.max(other.low), high: self.high.min(other.high) };
        (common.low <= common.high).then_some(common)
    }

    /// How far the two lie apart: nothing where they have something in common.
    fn apart_from(self, other: Self) -> Coulombs {
        (other.low - self.high).max(self.low - other.high).max(Coulombs::ZERO)
    }

    /// Each end moved to within the bounds.
    fn held_within(self, bounds: Self) -> Self {
        Self {
            low: self.low.held_between(bounds.low, bounds.high),
            high: self.high.held_between(bounds.low, bounds.high),
        }
    }
}

/// What a load step said about the cell that stood out most in it.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LoadStep {
    /// The cell with the largest excess, from 0.
    pub cell: u8,
    /// Its change of voltage.
    pub volts: Volts,
    /// The change of current.
    pub amps: Amps,
    /// The ratio of the two.
    pub resistance: Milliohms,
    /// What is expected of it at its temperature.
    pub expected: Milliohms,
    /// The excess above which the step counts against the cell.
    pub allowed: Milliohms,
}

/// Why a load step was not used.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Discarded {
    /// Smaller than 0.3C.
    TooSmall,
    /// The current still moved in the window after the step: a skew between voltage and current would fake resistance.
    CurrentMoved,
    /// A part of the frame was missing in one of the windows.
    ReadingMissing,
    /// Cells were bleeding or precharge was running.
    NotQuiet,
}

/// What the estimate must know besides the readings.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Surroundings<'a, const CELLS: usize> {
    /// The cells that were told to bleed since the frame before.
    pub(crate) bleeding: &'a CellSet<CELLS>,
    /// What the cooling was told since the frame before.
    pub(crate) cooling: Cooling,
    /// Where the contactor sequence stood.
    pub(crate) step: Step,
    /// Whether the contactors were proven open in the tick before, with every coil off: no current can have flowed since.
    pub(crate) proven_open: bool,
    /// The cells beside a sense wire that is open or suspected: no voltage of theirs says anything of their charge.
    pub(crate) beside_wire: Option<Beside>,
    /// A cell that the workshop reports as replaced.
    pub(crate) replaced: Option<u8>,
    /// Who asks to clear faults.
    pub(crate) cleared: Option<Clearance>,
}

/// What is worked out over time, kept from tick to tick.
#[derive(Clone, Debug, Hash, PartialEq)]
pub struct Estimated<const CELLS: usize> {
    count: Count<CELLS>,
    when_well: WhenWell,
    gap: Option<Volts>,
    paths: Paths<CELLS>,
    cooled: Cooled,
    rest: Rest,
    comparison: Comparison<CELLS>,
    falling: Falling<CELLS>,
    losses: Losses<CELLS>,
    steps: Steps<CELLS>,
    heat: Heat,
}

impl<const CELLS: usize> Estimated<CELLS> {
    pub(crate) fn new(config: &Checked) -> Self {
        Self {
            count: Count::new(config),
            when_well: WhenWell::UNKNOWN,
            gap: None,
            paths: Paths::new(),
            cooled: Cooled::new(),
            rest: Rest::NONE,
            comparison: Comparison::new(),
            falling: Falling::new(),
            losses: Losses::new(),
            steps: Steps::new(),
            heat: Heat::COLD,
        }
    }

    pub(crate) fn advance<const THERMISTORS: usize, W: Witness>(
        &mut self,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        surroundings: &Surroundings<'_, CELLS>,
        config: &Checked,
        witness: &mut W,
    ) {
        let current = string_current(believed, surroundings.proven_open, config);
        self.when_well.advance(believed, config);
        self.gap = Apart::gap(self.gap, believed, config);
        let flows = believed.bleed_flows.as_ref();
        self.paths.advance(surroundings.bleeding, flows, believed.elapsed);
        let bleeding = Bleeding::of(surroundings.bleeding, flows);
        let beside_wire = surroundings.beside_wire;
        let moment = Moment { believed, current, bleeding: &bleeding, beside_wire, config };
        self.cooled.advance(surroundings.cooling, &moment);
        let moved = self.count.advance(&moment);
        if let Some((cell, counted)) = self.count.hold_one_within_range() {
            self.comparison.contradict(cell, counted, self.count.within_full_and_empty(), witness);
        }
        self.rest.advance(&moment);
        if let Some(cell) = surroundings.replaced {
            self.replace(cell, surroundings.step, witness);
        }
        if let Some(by) = surroundings.cleared.filter(|_| surroundings.step.commands_open()) {
            self.forget(by, config);
        }
        let steep = self.comparison.advance(&mut self.count, &self.rest, &moment, moved.into, witness);
        self.losses.advance(believed.elapsed, moved.bled.as_ref());
        if steep {
            self.losses.compared(&self.count, config);
        }
        self.falling.advance(&self.rest, &moment);
        let undisturbed = bleeding.perhaps.is_empty() && !switching(surroundings.step);
        self.steps.advance(believed, undisturbed, config, witness);
        let amps = believed.current.map(|current| current.amps);
        self.heat.advance(amps, believed.elapsed, believed.credit, &config.pack);
    }

    /// A cell was replaced: nothing is known of the new one. Refused with the contactors closed, and for a cell that does not exist.
    fn replace<W: Witness>(&mut self, cell: u8, step: Step, witness: &mut W) {
        if usize::from(cell) >= CELLS {
            witness.tell(|| Evidence::Refused(Refusal::NoSuchCell(cell)));
        } else if !step.commands_open() {
            witness.tell(|| Evidence::Refused(Refusal::NotOpen(Act::Replace)));
        } else {
            self.count.replace(cell);
            self.comparison.replace(cell);
            self.steps.replace(cell);
            self.falling.replace(cell);
            self.losses.replace(cell);
            witness.tell(|| Evidence::CellReplaced { cell });
        }
    }

    /// Whoever may clear a fault that rests on load steps or on a rest vouches for the mend: what they showed before it is void. Only with
    /// the contactors open, since otherwise the steps go on and speak for themselves. What is measured all the time, a tacho or what the
    /// comparators see, is void only as far as it does not show the fault just now: no clearing makes that away.
    fn forget(&mut self, by: Clearance, config: &Checked) {
        if config.faults.cell_resistance_high.clearing.allows(by) {
            self.steps.forget_excess();
        }
        if config.faults.current_sign_implausible.clearing.allows(by) {
            self.steps.forget_contradictions();
        }
        if config.faults.cell_reading_frozen.clearing.allows(by) {
            self.steps.forget_following();
        }
        if config.faults.internal_short.clearing.allows(by) {
            self.falling.forget();
        }
        if config.faults.cell_self_discharge.clearing.allows(by) {
            self.losses.forget();
        }
        if config.faults.bleed_path_stuck_on.clearing.allows(by) {
            self.paths.forget_stuck_on();
        }
        if config.faults.bleed_path_stuck_off.clearing.allows(by) {
            self.paths.forget_stuck_off();
        }
        if config.faults.cooling_failed.clearing.allows(by) {
            self.cooled.forget();
        }
    }

    /// Charge missing to full in a cell; `None` for a cell that does not exist.
    #[must_use]
    pub fn missing(&self, cell: u8) -> Option<Interval> {
        self.count.missing(cell)
    }

    /// How much more is missing in this cell than in a typical one: a cell at the median voltage when the cells were last compared,
    /// which has not bled since. Two of these may be held against each other; they are narrower than two of [`Self::missing`].
    #[must_use]
    pub fn missing_against_median(&self, cell: u8) -> Option<Interval> {
        self.count.difference(cell)
    }

    /// Lowest credible state of charge of any cell and highest credible one of any cell, 0 to 1.
    #[must_use]
    pub fn state_of_charge(&self) -> (Ratio, Ratio) {
        self.count.charge()
    }

    /// State of charge of the cell nearest to empty and of the one nearest to full, 0 to 1, each at the worse end of its own interval. Of an
    /// interval wider than `limits.known` only so much counts: a cell of which nothing is known is near to neither end, and the two cross.
    pub(crate) fn known_charge(&self) -> (Ratio, Ratio) {
        self.count.known_charge()
    }

    /// Lowest and highest credible state of charge of one cell, 0 to 1; `None` for a cell that does not exist.
    #[must_use]
    pub fn cell_state_of_charge(&self, cell: u8) -> Option<(Ratio, Ratio)> {
        self.count.charge_of(cell)
    }

    /// How long the pack has rested: whole blocks of ten seconds in which its current could not be told from none.
    #[must_use]
    pub const fn rested(&self) -> Millis {
        self.rest.rested()
    }

    /// Load steps that were not used, since the start.
    #[must_use]
    pub const fn discarded_steps(&self) -> u16 {
        self.steps.discarded()
    }

    /// The cell whose excess of resistance in the weakest of its last three load steps is largest; `None` before three steps. The
    /// resistance is the one of that weakest step, brought to what is expected now; the voltage follows from it by Ohm's law.
    pub(crate) const fn excess_resistance(&self) -> Option<LoadStep> {
        self.steps.worst()
    }

    /// The cell whose reading followed the last three load steps least; `None` before three steps.
    pub(crate) const fn least_following(&self) -> Option<Following> {
        self.steps.least_following()
    }

    /// In how many load steps in a row, up to the last one, the cells moved against the current; `None` before any step.
    pub(crate) const fn steps_against_current(&self) -> Option<u8> {
        self.steps.against_current()
    }

    /// The rested cell that fell fastest against a typical one, beyond what its surroundings explain and beyond what counts where it stands on
    /// the curve; `None` before a full window.
    pub(crate) const fn fastest_fall(&self) -> Option<Fall> {
        self.falling.fastest()
    }

    /// Cells that bleed whatever their switch is told; `None` where nothing shows it.
    pub(crate) fn bleeds_stuck_on(&self, config: &Checked) -> Option<&CellSet<CELLS>> {
        self.paths.stuck_on(config.balance.stuck_after)
    }

    /// Cells that do not bleed although their switch is told to; `None` where nothing shows it.
    pub(crate) fn bleeds_stuck_off(&self, config: &Checked) -> Option<&CellSet<CELLS>> {
        self.paths.stuck_off(config.balance.stuck_after)
    }

    /// Whether the cooling does not do what it is told; `None` before anything was seen of it.
    pub(crate) fn cooling_fails(&self) -> Option<bool> {
        self.cooled.fails()
    }

    /// The cell that was twice found to lose charge by itself; `None` before any was.
    pub(crate) const fn self_discharge(&self) -> Option<Loss> {
        self.losses.told()
    }

    /// The cell whose count is excluded by most, by its open-circuit voltage or by what a cell can hold, and by how much: zero when
    /// all agree, `None` before any comparison.
    pub(crate) const fn charge_gap(&self) -> Option<(u8, Coulombs)> {
        self.comparison.gap()
    }

    /// How far pack and cells lay apart when every cell was last well above what is low; `None` before.
    pub(crate) const fn apart_when_well(&self) -> Option<Apart> {
        self.when_well.apart
    }

    /// The cell that was well in one reading and backwards in the next, which no charge does; `None` once all are well again.
    pub(crate) const fn fell_at_once(&self) -> Option<u8> {
        self.when_well.fell_at_once
    }

    /// What no drop explains of the difference between pack and cells, smoothed; `None` while one of them is not measured.
    pub(crate) const fn pack_gap(&self) -> Option<Volts> {
        self.gap
    }

    /// Used part of the heat budget of fuse and cable.
    pub(crate) const fn heat_used(&self) -> Ratio {
        self.heat.used()
    }
}

/// One tick as charge, rest and comparison look at it.
struct Moment<'a, const CELLS: usize, const THERMISTORS: usize> {
    believed: &'a Believed<'a, CELLS, THERMISTORS>,
    current: Option<StringCurrent>,
    /// The cells that bled since the frame before.
    bleeding: &'a Bleeding<CELLS>,
    /// The cells whose reading is not trusted.
    beside_wire: Option<Beside>,
    config: &'a Checked,
}

/// The current through the string, as it is counted.
#[derive(Clone, Copy, Debug)]
struct StringCurrent {
    amps: Amps,
    /// Most by which it may be off.
    error: Amps,
    /// Whether it rests on proof: no current at all, however long ago the frame before was.
    proven: bool,
}

/// What flows through the string. With all contactors proven open and no coil commanded since, nothing but the measuring
/// dividers draws from it, and that is less than the front end's own drain: better than any sensor, and it holds across a gap between
/// frames. A reading beyond the limit of `current while open` is believed instead: something then
/// flows past the contactors. A smaller current past them would go uncounted; that it does not flow is part of what is stated.
/// While the two channels contradict each other nobody knows which is right: the error then reaches from the one to the other.
fn string_current<const CELLS: usize, const THERMISTORS: usize>(
    believed: &Believed<'_, CELLS, THERMISTORS>,
    proven_open: bool,
    config: &Checked,
) -> Option<StringCurrent> {
    let reading = believed.current.as_ref()?;
    let flows = reading.at_end || reading.amps.abs() > config.faults.current_while_open.trip;
    let apart = believed.current_check.map_or(Amps::ZERO, |check| (check - reading.raw).abs());
    let contradict = apart > config.faults.current_sensors_disagree.trip;
    let contradiction = if contradict { apart } else { Amps::ZERO };
    Some(if proven_open && !flows {
        StringCurrent { amps: Amps::ZERO, error: config.charge.drain, proven: true }
    } else {
        StringCurrent { amps: reading.amps, error: reading.error.max(contradiction), proven: false }
    })
}

/// Whether contactors or precharge are at work.
const fn switching(step: Step) -> bool {
    match step {
        Step::ClosingNegative | Step::Precharging | Step::ClosingPositive | Step::Opening => true,
        Step::Open | Step::Closed | Step::Easing | Step::ProvingDead | Step::Barred => false,
    }
}

#[cfg(test)]
mod tests;
