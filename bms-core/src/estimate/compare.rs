//! # Counted charge against open-circuit voltage
//!
//! Decides what the voltage of a rested cell adds to what was counted. The voltage may be off by
//!
//! ```text
//! meter + curve + entropy · |T − 25 °C| + hysteresis + relaxation left + (2 e + b) · R · f(T)
//! ```
//!
//! where the last term is what a current below the sensor's error `e` and the cell's own bleed current `b` may drop in `R`, the
//! highest credible resistance. Put through the inverse of the curve, with the range of capacity, this gives a second interval of
//! missing charge. Both hold the truth, so their intersection does: an interval only gets narrower. On the plateau it usually
//! does not; that is told as well. An empty intersection means that some stated error was not kept, in the count or in the voltage:
//! which of them is not known. The distance is told, and a fault is made of it elsewhere once it reaches that fault's limit. Then the
//! interval opens until it holds both, so that nothing jumps and nothing is believed that either excludes; later comparisons narrow it
//! again, and the fault can end. Below that limit the count stays as it is: a cell that leaks a little is found only by a gap that grows.
//!
//! Where all cells share a history, the sign of two terms is known (`history`): after a charge, hysteresis and what is left of relaxation
//! can only hold the voltage above the open-circuit one, after a discharge only below it. Half of their uncertainty then goes.
//!
//! One cell is compared a tick, all of them once at the beginning of a rest and again every ten minutes of it. Along the way each
//! cell is compared with the median voltage, for the differences. Of that error the cells share most, and it cancels. Its own are:
//! the meter, the spread of the curve, twice the curve's error as far as the two stand apart on it, the entropy for the
//! temperature across the pack, and, for cells that have bled since the whole pack last moved, hysteresis both ways.
//!
//! A cell beside a sense wire that is open or suspected is passed over, and of its difference nothing is told: what is read is not its own.

use super::charge::Count;
use super::cold::growth;
use super::history::{History, Side};
use super::median::median;
use super::rest::{self, Rest};
use super::{Interval, Moment, StringCurrent, ocv};
use crate::config::Checked;
use crate::decision::CellSet;
use crate::each::Each;
use crate::sense::Believed;
use crate::units::{Celsius, Coulombs, Millis, Ratio, Volts};
use crate::witness::{Evidence, Witness};

/// Where a comparison of all cells stands.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Comparison<const CELLS: usize> {
    /// The cell whose turn it is; `None` between comparisons.
    turn: Option<u8>,
    /// The rest at which the last one began.
    begun: Option<Millis>,
    /// The median voltage when it began.
    typical: Volts,
    /// Widths of all differences together, by this comparison and before it.
    widths: [Coulombs; 2],
    /// Cells of this comparison whose voltage and count exclude each other, or whose reading is not trusted.
    disagree: CellSet<CELLS>,
    history: History<CELLS>,
    /// The cell that excludes its count by most, and by how much.
    gap: Option<(u8, Coulombs)>,
}

/// How far the voltage of a rested cell may be off.
#[derive(Clone, Copy, Debug)]
struct Errors {
    /// By how much the middle of what is possible lies above the reading.
    middle: Volts,
    /// Shared by all cells.
    shared: Volts,
    /// Of this cell against the others.
    own: Volts,
    /// In all.
    all: Volts,
}

impl<const CELLS: usize> Comparison<CELLS> {
    /// Nothing compared; no history is known.
    pub(super) fn new() -> Self {
        Self {
            turn: None,
            begun: None,
            typical: Volts::ZERO,
            widths: [Coulombs::ZERO; 2],
            disagree: CellSet::EMPTY,
            history: History::new(),
            gap: None,
        }
    }

    /// The cell that excludes its count by most, and by how much; `None` before any comparison.
    pub(super) const fn gap(&self) -> Option<(u8, Coulombs)> {
        self.gap
    }

    /// A new cell: what was found out about the old one is void.
    pub(super) fn replace(&mut self, cell: u8) {
        self.history.replace(cell);
        if self.gap.is_some_and(|(worst, _)| worst == cell) {
            self.gap = None;
        }
    }

    /// Compares the cell whose turn it is, if the pack rests. Since the frame before, `moved` went into the string. Whether it was the last
    /// one of a comparison on a steep part of the curve.
    pub(super) fn advance<const THERMISTORS: usize, W: Witness>(
        &mut self,
        count: &mut Count<CELLS>,
        rest: &Rest,
        moment: &Moment<'_, CELLS, THERMISTORS>,
        moved: Interval,
        witness: &mut W,
    ) -> bool {
        let Moment { believed, current, bleeding, beside_wire, config } = moment;
        self.history.follow(&bleeding.perhaps, current.map(|current| current.amps), moved, config);
        let rested = rest.rested();
        if rested < config.charge.rest_warm {
            (self.turn, self.begun) = (None, None);
            return false;
        }
        let needed = rest::needed(believed.temperatures.coldest.map(|(_, celsius)| celsius), &config.charge);
        let (Some(cells), Some(current)) = (believed.cells.as_ref(), current.as_ref()) else {
            return false;
        };
        if rested < needed {
            return false;
        }
        let due = self.begun.is_none_or(|begun| rested - begun >= config.charge.compare_again);
        if self.turn.is_none() && due {
            self.begun = Some(rested);
            self.turn = Some(0);
            self.widths = [Coulombs::ZERO; 2];
            self.disagree = CellSet::EMPTY;
            self.typical = typical(cells.volts);
        }
        let Some(cell) = self.turn else { return false };
        if beside_wire.is_some_and(|beside| beside.holds(cell)) {
            self.disagree.insert(cell);
            count.propose_difference(cell, count.anything_apart());
        } else if let Some(volts) = cells.volts.at(cell) {
            let relaxation = rest::relaxation(rested, needed, &config.charge);
            let errors = self.errors(cell, *volts, current, relaxation, believed, config);
            let told_from = config.faults.charge_count_disagrees.trip;
            let agrees = self.compare(count, cell, (*volts, errors), told_from, witness);
            if !agrees {
                self.disagree.insert(cell);
            }
            self.compare_with_typical(count, cell, (*volts, errors), config);
        }
        self.turn = Some(cell.saturating_add(1)).filter(|next| usize::from(*next) < CELLS);
        if self.turn.is_some() {
            return false;
        }
        if self.widths[0] < self.widths[1] {
            count.take_proposed(&self.disagree);
        }
        ocv::is_steep(self.typical, config.rest.steep)
    }

    /// How far this cell's voltage may be off.
    fn errors<const THERMISTORS: usize>(
        &self,
        cell: u8,
        volts: Volts,
        current: &StringCurrent,
        relaxation: Volts,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        config: &Checked,
    ) -> Errors {
        let (facts, sensing) = (&config.charge, &config.sensing);
        let temperatures = &believed.temperatures;
        let range = temperatures.modules.at(config.pack.module_of_cell(cell)).copied().unwrap_or_default();
        let away = |celsius: Celsius| (celsius - facts.curve_temperature).abs();
        let kelvin = away(range.coldest).max(away(range.hottest)) + sensing.temperature_error;
        let across = match (temperatures.hottest, temperatures.coldest) {
            (Some(hottest), Some(coldest)) => {
                hottest.1 - coldest.1 + sensing.temperature_error + sensing.temperature_error
            }
            _ => kelvin + kelvin,
        };
        let steep = ocv::beyond_plateau(volts, facts.curve_error.max(facts.curve_error_ends));
        let curve =
            if steep { facts.curve_error_ends } else { facts.curve_error.max(facts.curve_error_ends) };
        let hidden_current = current.error + current.error + facts.bleed;
        let hidden = hidden_current * facts.still_resistance.scaled(growth(range.coldest));
        let either_way = curve + entropy(facts.entropy, kelvin) + hidden;
        let one_way = facts.hysteresis + relaxation;
        let (shared, middle) = match self.history.held() {
            None => (either_way + one_way, Volts::ZERO),
            Some(Side::Above) => (either_way + half(one_way), -half(one_way)),
            Some(Side::Below) => (either_way + half(one_way), half(one_way)),
        };
        let apart = (volts - self.typical).abs().min(curve + curve);
        let history =
            if self.history.is_own(cell) { facts.hysteresis + facts.hysteresis } else { Volts::ZERO };
        let own = sensing.cell_error + facts.curve_spread + apart + entropy(facts.entropy, across) + history;
        Errors { middle, shared, own, all: sensing.cell_error + shared }
    }

    /// Narrows the count by the voltage, or tells that they exclude each other and, from a gap of `told_from` on, opens it. Whether they
    /// agree.
    fn compare<W: Witness>(
        &mut self,
        count: &mut Count<CELLS>,
        cell: u8,
        (reading, errors): (Volts, Errors),
        told_from: Coulombs,
        witness: &mut W,
    ) -> bool {
        let Some(counted) = count.counted(cell) else { return false };
        let middle = reading + errors.middle;
        let (highest, lowest) = (middle + errors.all, middle - errors.all);
        let by_ocv = count.of_capacity(
            (highest < ocv::FULL).then(|| ocv::missing_at(highest)),
            (lowest > ocv::EMPTY).then(|| ocv::missing_at(lowest)),
        );
        let (common, gap) = (counted.common_with(by_ocv), counted.apart_from(by_ocv));
        let after = match common {
            Some(common) => common,
            None if gap >= told_from => counted.spanning(by_ocv),
            None => counted,
        };
        count.believe(cell, after);
        witness.tell(|| match common {
            Some(_) => Evidence::OcvCompared {
                cell,
                volts: reading,
                shift: errors.middle,
                error: errors.all,
                counted,
                by_ocv,
                after,
            },
            None => Evidence::ChargeDisagrees { cell, counted, by_ocv, after },
        });
        self.found(cell, gap);
        common.is_some()
    }

    /// A count left everything that a cell can hold: it was opened to all of that. Its gap is the one to a cell that is merely full or empty.
    pub(super) fn contradict<W: Witness>(
        &mut self,
        cell: u8,
        counted: Interval,
        possible: Interval,
        witness: &mut W,
    ) {
        self.found(cell, counted.apart_from(possible));
        witness.tell(|| Evidence::ChargeImpossible { cell, counted, possible });
    }

    /// Keeps by how much the count of this cell is excluded, if no other's is by more.
    fn found(&mut self, cell: u8, gap: Coulombs) {
        self.gap = match self.gap {
            Some((worst, largest)) if worst != cell && largest >= gap => Some((worst, largest)),
            _ => Some((cell, gap)),
        };
    }

    /// The cell's difference to the typical one; a cell that does not agree with its count says nothing of it for balancing.
    fn compare_with_typical(
        &mut self,
        count: &mut Count<CELLS>,
        cell: u8,
        (reading, errors): (Volts, Errors),
        config: &Checked,
    ) {
        let facts = &config.charge;
        let (volts, typical) = (reading + errors.middle, self.typical + errors.middle);
        let capacity = config.pack.capacity;
        let (least, most) = ocv::difference(
            (volts, typical),
            (errors.shared, errors.own, errors.all),
            (facts.capacity_least, facts.capacity_most),
            count.beyond().fraction_of(capacity).unwrap_or(Ratio::ONE),
        );
        let mut seen = Interval { low: capacity.scaled(least), high: capacity.scaled(most) };
        // The table ends at empty, a cell need not: then it misses more than the table says, and the other one so much less.
        if volts - errors.all <= ocv::EMPTY {
            seen.high = seen.high + count.beyond();
        }
        if typical - errors.all <= ocv::EMPTY {
            seen.low = seen.low - count.beyond();
        }
        let proposed = count.propose_difference(cell, seen);
        let told = if self.disagree.holds(cell) { count.anything_apart() } else { proposed };
        let before = count.difference(cell).map_or(Coulombs::ZERO, Interval::width);
        let [new, old] = self.widths;
        self.widths = [new + told.width(), old + before];
    }
}

/// The median cell voltage.
fn typical<const CELLS: usize>(volts: &Each<Volts, CELLS>) -> Volts {
    let mut bits = Each::<i32, CELLS>::all(0);
    bits.iter_mut().zip(volts).for_each(|(bits, volts)| *bits = volts.bits());
    Volts::from_bits(median(&bits.iter()))
}

/// Half of a bound, rounded up.
fn half(bound: Volts) -> Volts {
    Volts::from_bits(bound.bits().saturating_add(1) >> 1)
}

/// What the open-circuit voltage may change over so many kelvin.
fn entropy(a_kelvin: Volts, kelvin: Celsius) -> Volts {
    a_kelvin.scaled(Ratio::from_bits(kelvin.bits()))
}
