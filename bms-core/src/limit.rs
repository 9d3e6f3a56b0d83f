//! # How much current may flow
//!
//! Decides both current limits: each is the smallest that any rule of [`LimitRule`] allows, and the witness is told the rule that
//! binds and the one that would bind next, each with its value. Currents here are amounts, never negative.
//!
//! **Voltage.** Looks ahead by the time that the configured resistance is for (10 s), at the coldest credible module:
//!
//! ```text
//! discharge = I_out + (V_lowest − V_least − margin) / (R · f(T_coldest))         V in volts, R in ohms
//! charge    = I_in  + (V_most − margin − V_highest) / (R · f(T_coldest))
//! ```
//!
//! `I_out` is the current out of the pack now (negative while charging), `I_in` the one into it, `f` is how resistance grows in the cold, never below 1. `V_least` falls
//! in the cold just as the under-voltage fault's limit does. The sag that the present current and its polarisation make is in the
//! reading already; only the rest is worked out. When load and limit are one, the lowest cell stands at `V_least` plus margin
//! whatever its true resistance: a cell that resists more than is credible brings the limit down as it sags.
//!
//! **Charge.** The worse end of a cell's charge interval: the discharge current falls towards the empty end of the emptiest cell, the
//! charge current towards the full one of the fullest, to a tenth of C, because the steep ends are where the voltage rule has least
//! time. An interval that is wider than `known` says little, so only that much of it counts: the worse end moves in by what is too
//! much. That is weighed cell by cell: cells that stand far apart are each well known. Knowing nothing of a cell, [0, 100 %], thus
//! holds nothing back; the voltage rule guards then.
//!
//! **Temperature.** No charging in the cold (lithium plates), by straight lines that never exceed the steps of the table; less
//! of both when hot. The coldest credible place counts against cold, the hottest against heat.
//!
//! **Smoothness.** No limit moves by more than a tenth of C in a tick, up or down, as long as current can flow. With the
//! contactors commanded open it is zero at once: a limit that says otherwise would be false.

use crate::config::{Checked, LimitRules};
use crate::decision::{CurrentLimits, FaultSummary};
use crate::estimate::{Estimated, growth};
use crate::fault::{Fault, Reaction};
use crate::sense::{Believed, CellReadings, ModuleRange, Temperatures};
use crate::sequence::Step;
use crate::units::{Amps, Celsius, Milliohms, Millis, Ratio, Volts};
use crate::witness::{Evidence, Witness};

/// Into or out of the pack.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Side {
    /// Into the pack.
    Charge,
    /// Out of the pack.
    Discharge,
}

/// What can hold the current back.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LimitRule {
    /// The most this pack is built for.
    Rating,
    /// A cell would reach its voltage limit within the look-ahead.
    CellVoltage,
    /// A cell is too cold or too hot for more.
    Temperature,
    /// A cell may be nearly full or nearly empty: the worse end of its charge interval.
    Charge,
    /// The heat budget of fuse and cable.
    HeatBudget,
    /// A fault demands Derate.
    Derate,
    /// A measurement that the other rules need is missing.
    LostReading,
    /// The contactors are not closed, or about to open.
    NotClosed,
    /// The limit may not change faster; the runner-up is the rule that it moves towards.
    Smoothing,
}

/// What the resistance at 25 °C is multiplied by. Nothing is gained above that, where other limits hold.
fn resistance_factor(celsius: Celsius) -> Ratio {
    growth(celsius).max(Ratio::ONE)
}

/// What was given out, kept so that it changes smoothly.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(crate) struct Limiter {
    given: CurrentLimits,
    /// The most since `since` began, and in the time of the same length before that.
    most: CurrentLimits,
    most_before: CurrentLimits,
    since: Millis,
}

impl Limiter {
    pub(crate) const fn new() -> Self {
        Self {
            given: CurrentLimits::NONE,
            most: CurrentLimits::NONE,
            most_before: CurrentLimits::NONE,
            since: Millis::ZERO,
        }
    }

    /// What was given out last.
    pub(crate) const fn given(&self) -> CurrentLimits {
        self.given
    }

    /// What the load has had time to follow: the most that was given out within the time that it has to follow, up to twice of it.
    pub(crate) fn due(&self) -> CurrentLimits {
        most_of(self.most, self.most_before)
    }

    /// Works out both limits for this tick.
    pub(crate) fn allowed<const CELLS: usize, const THERMISTORS: usize, W: Witness>(
        &mut self,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        estimated: &Estimated<CELLS>,
        faults: &FaultSummary,
        step: Step,
        config: &Checked,
        witness: &mut W,
    ) -> CurrentLimits {
        let situation = Situation::of(believed, estimated, faults, step, config);
        let given = CurrentLimits {
            charge: self.smoothed(Side::Charge, &situation, &config.limits, witness),
            discharge: self.smoothed(Side::Discharge, &situation, &config.limits, witness),
        };
        self.give(given, believed.elapsed, config.limits.follows);
        given
    }

    /// One side's limit, as near to what the rules allow as may be in one tick.
    fn smoothed<W: Witness>(
        &self,
        side: Side,
        situation: &Situation,
        rules: &LimitRules,
        witness: &mut W,
    ) -> Amps {
        let [binding, next] = situation.smallest(side, rules);
        let before = match side {
            Side::Charge => self.given.charge,
            Side::Discharge => self.given.discharge,
        };
        let given = match situation.path {
            Path::Closed | Path::Ending => binding.1.held_between(before - rules.step, before + rules.step),
            Path::Open => Amps::ZERO,
        };
        witness.tell(|| {
            let [binding, next] =
                if given == binding.1 { [binding, next] } else { [(LimitRule::Smoothing, given), binding] };
            Evidence::Limited {
                side,
                rule: binding.0,
                allows: binding.1,
                runner_up: next.0,
                runner_up_allows: next.1,
                given,
            }
        });
        given
    }

    /// Keeps what is given out. What was given before held until now, so it counts for the time that begins.
    fn give(&mut self, given: CurrentLimits, elapsed: Millis, follows: Millis) {
        self.since = self.since + elapsed;
        if self.since >= follows {
            self.most_before = if elapsed >= follows { self.given } else { self.most };
            self.most = self.given;
            self.since = Millis::ZERO;
        }
        self.most = most_of(self.most, given);
        self.given = given;
    }
}

fn most_of(one: CurrentLimits, other: CurrentLimits) -> CurrentLimits {
    CurrentLimits { charge: one.charge.max(other.charge), discharge: one.discharge.max(other.discharge) }
}

/// What the rules look at, in one tick.
#[derive(Clone, Copy, Debug)]
struct Situation {
    /// Pack current, positive when it charges.
    current: Option<Amps>,
    /// Volts from the cell that is nearest to its under-voltage limit down to the margin above that limit.
    to_empty: Option<Volts>,
    /// Volts from the highest cell up to the margin below its over-voltage limit.
    to_full: Option<Volts>,
    /// Highest credible resistance of a cell at the coldest place.
    resistance: Milliohms,
    /// Coldest and hottest credible temperature; `None` when no sensor is believed.
    temperatures: Option<(Celsius, Celsius)>,
    /// State of charge of the emptiest and of the fullest cell, each at its worse end as far as that is known.
    charge: (Ratio, Ratio),
    heat_used: Ratio,
    one_c: Amps,
    derated: bool,
    too_cold: bool,
    path: Path,
}

/// Whether current can flow through the contactors.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
enum Path {
    /// They are closed and stay so.
    Closed,
    /// They are still closed and about to open.
    Ending,
    /// At least one is commanded open.
    Open,
}

impl Situation {
    fn of<const CELLS: usize, const THERMISTORS: usize>(
        believed: &Believed<'_, CELLS, THERMISTORS>,
        estimated: &Estimated<CELLS>,
        faults: &FaultSummary,
        step: Step,
        config: &Checked,
    ) -> Self {
        let rules = &config.limits;
        let known = believed.thermistors.is_some() && believed.temperatures.coldest.is_some();
        let temperatures = if known { ends(&believed.temperatures, config) } else { None };
        let factor = resistance_factor(temperatures.map_or(Celsius::MIN, |(coldest, _)| coldest));
        let most = config.faults.cell_over_voltage.trip - rules.margin;
        let least = config.faults.cell_under_voltage.trip + rules.margin;
        let opens = faults.reaction.is_some_and(|(reaction, _)| reaction >= Reaction::OpenSoon);
        let path = match step {
            Step::Closed if !opens => Path::Closed,
            // Still Closed although they must open: they wait for the fuse.
            Step::Closed | Step::Easing => Path::Ending,
            Step::Open
            | Step::ClosingNegative
            | Step::Precharging
            | Step::ClosingPositive
            | Step::Opening
            | Step::ProvingDead
            | Step::Barred => Path::Open,
        };
        Self {
            current: believed.current.map(|current| current.amps),
            to_empty: believed
                .cells
                .map(|cells| nearest_to_empty(&cells, &believed.temperatures, config) - least),
            to_full: believed.cells.map(|cells| most - cells.highest.1),
            resistance: rules.resistance.scaled(factor),
            temperatures,
            charge: estimated.known_charge(),
            heat_used: estimated.heat_used(),
            one_c: config.pack.one_c,
            derated: faults.reaction.is_some_and(|(reaction, _)| reaction >= Reaction::Derate),
            too_cold: faults.confirmed.holds(Fault::TooColdToWork),
            path,
        }
    }

    /// The rule that allows least and the one after it, each with what it allows. Of two that allow the same the earlier one of
    /// [`Situation::rules`] is named.
    fn smallest(&self, side: Side, rules: &LimitRules) -> [(LimitRule, Amps); 2] {
        let rating = match side {
            Side::Charge => rules.charge,
            Side::Discharge => rules.discharge,
        };
        let physical = [
            self.temperature(side, rating, rules).map(|amps| (LimitRule::Temperature, amps)),
            self.cell_voltage(side).map(|amps| (LimitRule::CellVoltage, amps)),
            self.charge(side, rating, rules).map(|amps| (LimitRule::Charge, amps)),
            self.heat_budget(rating, rules).map(|amps| (LimitRule::HeatBudget, amps)),
        ];
        let mut found = Smallest::starting((LimitRule::Rating, rating));
        physical.into_iter().flatten().for_each(|rule| found.take(rule));
        let before_faults = found.binding.1;
        let of_state = [
            self.derate(before_faults, rules).map(|amps| (LimitRule::Derate, amps)),
            self.lost_reading(side, rules).map(|amps| (LimitRule::LostReading, amps)),
            (self.path != Path::Closed).then_some((LimitRule::NotClosed, Amps::ZERO)),
        ];
        of_state.into_iter().flatten().for_each(|rule| found.take(rule));
        [found.binding, found.next.unwrap_or(found.binding)]
    }

    fn cell_voltage(&self, side: Side) -> Option<Amps> {
        let (room, now) = match side {
            Side::Charge => (self.to_full?, self.current?),
            Side::Discharge => (self.to_empty?, -self.current?),
        };
        Some((now + room.through(self.resistance)?).max(Amps::ZERO))
    }

    fn temperature(&self, side: Side, rating: Amps, rules: &LimitRules) -> Option<Amps> {
        let (coldest, hottest) = self.temperatures?;
        let hot = (hottest > rules.hot_from).then(|| {
            ramp(hottest.bits(), (rules.hot_from.bits(), rating), (rules.hot_none.bits(), Amps::ZERO))
        });
        let cold = match side {
            Side::Charge => cold_charge(coldest, rating, rules),
            Side::Discharge => None,
        };
        smaller(hot, cold)
    }

    /// The cell that is nearest to the end towards which the current goes.
    fn charge(&self, side: Side, rating: Amps, rules: &LimitRules) -> Option<Amps> {
        let (emptiest, fullest) = self.charge;
        let end = rules.end.min(rating);
        match side {
            Side::Charge => (fullest > rules.near_full)
                .then(|| ramp(fullest.bits(), (rules.near_full.bits(), rating), (Ratio::ONE.bits(), end))),
            Side::Discharge => (emptiest < rules.near_empty)
                .then(|| ramp(emptiest.bits(), (0, end), (rules.near_empty.bits(), rating))),
        }
    }

    /// Towards 1C, at which the budget is used no further.
    fn heat_budget(&self, rating: Amps, rules: &LimitRules) -> Option<Amps> {
        let full = self.one_c.min(rating);
        (self.heat_used > rules.heat_from).then(|| {
            ramp(self.heat_used.bits(), (rules.heat_from.bits(), rating), (rules.heat_full.bits(), full))
        })
    }

    fn derate(&self, before: Amps, rules: &LimitRules) -> Option<Amps> {
        let derated = self.derated.then(|| before.scaled(rules.derate));
        smaller(derated, self.too_cold.then_some(rules.too_cold))
    }

    /// Without temperatures nothing is charged, because it may be freezing.
    fn lost_reading(&self, side: Side, rules: &LimitRules) -> Option<Amps> {
        match (self.temperatures, side) {
            (None, Side::Charge) => Some(Amps::ZERO),
            (None, Side::Discharge) => Some(rules.blind),
            (Some(_), Side::Charge | Side::Discharge) => {
                (self.current.is_none() || self.to_empty.is_none()).then_some(rules.blind)
            }
        }
    }
}

/// The two smallest so far.
struct Smallest {
    binding: (LimitRule, Amps),
    next: Option<(LimitRule, Amps)>,
}

impl Smallest {
    const fn starting(binding: (LimitRule, Amps)) -> Self {
        Self { binding, next: None }
    }

    fn take(&mut self, rule: (LimitRule, Amps)) {
        if rule.1 < self.binding.1 {
            self.next = Some(self.binding);
            self.binding = rule;
        } else if self.next.is_none_or(|next| rule.1 < next.1) {
            self.next = Some(rule);
        }
    }
}

fn smaller(one: Option<Amps>, other: Option<Amps>) -> Option<Amps> {
    match (one, other) {
        (Some(one), Some(other)) => Some(one.min(other)),
        (only, None) | (None, only) => only,
    }
}

/// Charging in the cold: none, then by straight lines through the corners of the table to the whole.
fn cold_charge(coldest: Celsius, rating: Amps, rules: &LimitRules) -> Option<Amps> {
    if coldest >= rules.cold_charge_full {
        return None;
    }
    let corners = [
        (rules.cold_charge_none.bits(), Amps::ZERO),
        (rules.cold_charge_some.bits(), rules.cold_charge_least.min(rating)),
        (rules.cold_charge_warm.bits(), rules.cold_charge_more.min(rating)),
        (rules.cold_charge_full.bits(), rating),
    ];
    let above = corners.iter().zip(corners.iter().skip(1)).find(|(_, right)| coldest.bits() < right.0);
    above.map(|(left, right)| ramp(coldest.bits(), *left, *right))
}

/// The straight line through two corners, and flat beyond them.
fn ramp(at: i32, left: (i32, Amps), right: (i32, Amps)) -> Amps {
    let wide = i64::from(right.0).saturating_sub(i64::from(left.0));
    let into = i64::from(at).saturating_sub(i64::from(left.0)).max(0).min(wide);
    let part = (into << 16).checked_div(wide).map_or(Ratio::ONE, Ratio::from_wide);
    left.1 + (right.1 - left.1).scaled(part)
}

/// The coldest and the hottest credible temperature of all modules.
fn ends<const THERMISTORS: usize>(
    temperatures: &Temperatures<THERMISTORS>,
    config: &Checked,
) -> Option<(Celsius, Celsius)> {
    modules(temperatures, config).fold(None, |ends, range| match ends {
        None => Some((range.coldest, range.hottest)),
        Some((coldest, hottest)) => Some((range.coldest.min(coldest), range.hottest.max(hottest))),
    })
}

fn modules<'t, const THERMISTORS: usize>(
    temperatures: &'t Temperatures<THERMISTORS>,
    config: &Checked,
) -> impl Iterator<Item = &'t ModuleRange> {
    temperatures.modules.iter().take(usize::from(config.pack.modules))
}

/// The voltage that the cell nearest to its own under-voltage limit would have at 0 °C: its reading and what its limit has fallen by.
///
/// While every module has the same limit, that is the lowest cell; only between 0 and −20 °C all cells must be looked at.
fn nearest_to_empty<const CELLS: usize, const THERMISTORS: usize>(
    cells: &CellReadings<'_, CELLS>,
    temperatures: &Temperatures<THERMISTORS>,
    config: &Checked,
) -> Volts {
    let hottest = modules(temperatures, config).map(|range| range.hottest);
    let (coolest, warmest) =
        hottest.fold((Celsius::MAX, Celsius::MIN), |(low, high), here| (low.min(here), high.max(here)));
    let rules = &config.cells;
    let least = rules.reduction_at(warmest);
    if least == rules.reduction_at(coolest) {
        return cells.lowest.1 + least;
    }
    let of_cells = modules(temperatures, config).flat_map(|range| {
        core::iter::repeat_n(rules.reduction_at(range.hottest), usize::from(config.pack.cells_per_module))
    });
    let shifted = cells.volts.iter().zip(of_cells).map(|(volts, reduction)| *volts + reduction);
    shifted.min().unwrap_or(cells.lowest.1 + least)
}

#[cfg(test)]
mod tests;
