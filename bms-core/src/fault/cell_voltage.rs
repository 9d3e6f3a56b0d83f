//! # Cell voltages
//!
//! Decides whether a cell is over- or under-voltage, deeply discharged, reversed, or apart from the others.
//!
//! The limits from below fall with the cell's own temperature: they hold in full from 0 °C up and are 0.5 V lower from −20 °C
//! down, linear between ([`CellRules`](crate::config::CellRules)). Why: a healthy cell is four to five times as resistive at −25 °C and reads
//! 2.5 to 2.7 V after 8 s at 1.5C; a limit that did not fall would accuse it.
//!
//! A cell is called reversed only while the pack voltage does not deny it, because that opens at once and drops a hoist. The pack less
//! all other cells is a second reading of the cell:
//!
//! ```text
//! by the pack = pack − (sum − cell) − explained       off by no more than error of the pack + CELLS · error of a cell
//! ```
//!
//! Where even its lower end lies above the limit, the cell's own reading lies: a dead channel or a broken outer wire reads 0 V and
//! moves no pack. The reading still is an under-voltage of the second step, which opens soon and lets the load be set down. Without a
//! pack voltage, and with an open string, the reading stands.
//!
//! The pack voltage is measured behind cables, fuse and disconnect, whose drop is in no cell. Of the difference between it and the sum
//! of the cells only what that drop cannot explain is held against the limit:
//!
//! ```text
//! explained = anything between 0 and I · highest resistance of the path       I positive into the pack, which reads higher then
//! ```
//!
//! Under a heavy load that drop, and the error of all meters, is as much as a cell has: the crane's pack denies nothing beyond 50 A. So the
//! same is asked of the change since every cell was well (`estimate::apart`), in which both go out, but for what another current drops:
//!
//! ```text
//! by the change = cell + (apart − apart then) − explained by I − I then       off by no more than error of the pack + 2 · error of a cell
//! ```
//! Where the load begins in the very tick in which the cell falls, its drop may hide either. Then the fall itself denies it: no cell is driven
//! backwards from one reading to the next (`estimate::apart`).
//!
//! An open sense wire reads as one cell too high and one too low. While two cells fit it they are left out here, for no longer than the wire's
//! own dwell ([`wires`](crate::wires)).
//!
//! Two of the quantities are judged at rest only: under load, a cold cell would be accused of deep discharge, and ten degrees
//! between two healthy cells at −25 °C make 0.25 V of spread at 1.5C.

use super::Reading;
use super::disconnect::is_string_open;
use super::judge::{Limit, Seen, Sight, Watch};
use crate::config::Config;
use crate::estimate::Apart;
use crate::sense::{CellReadings, Temperatures};
use crate::units::{Millis, Volts};
use crate::wires::Beside;
use crate::witness::Place;

/// The highest cell.
pub(super) struct Highest;

/// The lowest cell, at any load, unless the pack voltage says that its reading lies.
pub(super) struct LowestBorneOut;

/// The lowest cell while the current is no more than a twentieth of C.
pub(super) struct LowestAtRest;

/// The cell that is deepest below the limit at its temperature.
pub(super) struct LowestAtTemperature;

/// Highest less lowest after five minutes of no more than a twentieth of C.
pub(super) struct Spread;

/// Sum of the cells against the measured pack, as far as no current explains it.
pub(super) struct SumAgainstPack;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Highest {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        let Some(cells) = seen.believed.cells else { return Sight::UNKNOWN };
        let Some((cell, volts)) = highest(seen, &cells) else { return Sight::UNKNOWN };
        limit.sight(Place::Cell(cell), Some(volts))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for LowestBorneOut {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        let Some(cells) = seen.believed.cells else { return Sight::UNKNOWN };
        let Some((cell, volts)) = lowest(seen, &cells) else { return Sight::UNKNOWN };
        if volts <= limit.trip && is_denied(seen, (cell, volts), limit.trip) {
            return Sight::UNKNOWN;
        }
        limit.sight(Place::Cell(cell), Some(volts))
    }
}

/// The highest cell. Two that wait for their wire are left out.
fn highest<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
    cells: &CellReadings<'_, CELLS>,
) -> Option<(u8, Volts)> {
    match seen.wires.waiting(seen.config) {
        None => Some(cells.highest),
        Some(waiting) => without(waiting, cells).max_by_key(|(_, volts)| *volts),
    }
}

/// The lowest cell. Two that wait for their wire are left out.
fn lowest<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
    cells: &CellReadings<'_, CELLS>,
) -> Option<(u8, Volts)> {
    match seen.wires.waiting(seen.config) {
        None => Some(cells.lowest),
        Some(waiting) => without(waiting, cells).min_by_key(|(_, volts)| *volts),
    }
}

fn without<const CELLS: usize>(
    waiting: Beside,
    cells: &CellReadings<'_, CELLS>,
) -> impl Iterator<Item = (u8, Volts)> {
    let others = cells.volts.numbered().filter(move |(cell, _)| !waiting.holds(*cell));
    others.map(|(cell, volts)| (cell, *volts))
}

/// Whether the pack voltage leaves more than this for the lowest cell, all readings as wrong as is stated, or its own fall denies it.
#[cold]
fn is_denied<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
    (cell, volts): (u8, Volts),
    limit: Volts,
) -> bool {
    if seen.estimated.fell_at_once() == Some(cell) {
        return true;
    }
    let Some(now) = Apart::now(seen.believed) else { return false };
    let since = |then| now.leaves_since(then, volts, seen.config);
    let left = [Some(now.leaves(volts, seen.config)), seen.estimated.apart_when_well().and_then(since)];
    left.iter().flatten().any(|left| *left > limit)
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for LowestAtRest {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        match (seen.believed.cells, seen.believed.current) {
            (Some(cells), Some(current)) if current.calm > Millis::ZERO => match lowest(seen, &cells) {
                Some((cell, volts)) => limit.sight(Place::Cell(cell), Some(volts)),
                None => Sight::UNKNOWN,
            },
            _ => Sight::UNKNOWN,
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for LowestAtTemperature {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        let Some(cells) = seen.believed.cells else { return Sight::UNKNOWN };
        // No limit lies above the one at 0 °C: while the lowest cell is above that, no cell is below its own.
        let Some(mut worst) = lowest(seen, &cells) else { return Sight::UNKNOWN };
        let waiting = seen.wires.waiting(seen.config);
        let reduction_of = |cell| cold_reduction(&seen.believed.temperatures, cell, seen.config);
        let mut reduction = reduction_of(worst.0);
        if worst.1 < limit.release {
            for (cell, volts) in cells.volts.numbered() {
                if *volts >= limit.release || waiting.is_some_and(|waiting| waiting.holds(cell)) {
                    continue;
                }
                let here = reduction_of(cell);
                if *volts + here < worst.1 + reduction {
                    (worst, reduction) = ((cell, *volts), here);
                }
            }
        }
        let (trip, release) = (limit.trip - reduction, limit.release - reduction);
        Limit::<Volts>::between(Place::Cell(worst.0), Some(worst.1), trip, release)
    }
}

/// By how much the limits of a cell are lower than at 0 °C. The colder credible end is not taken: a reading that is wrongly cold
/// must not relax a limit, so the hotter end of its module counts.
pub(crate) fn cold_reduction<const THERMISTORS: usize>(
    temperatures: &Temperatures<THERMISTORS>,
    cell: u8,
    config: &Config,
) -> Volts {
    let module = config.pack.module_of_cell(cell);
    temperatures.modules.at(module).map_or(Volts::ZERO, |range| config.cells.reduction_at(range.hottest))
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Spread {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        let (Some(cells), Some(current)) = (seen.believed.cells, seen.believed.current) else {
            return Sight::UNKNOWN;
        };
        let rules = &seen.config.cells;
        if current.calm < rules.spread_after {
            return Sight::UNKNOWN;
        }
        let (trip, release) = if on_plateau(seen) {
            (limit.trip, limit.release)
        } else {
            (times(limit.trip, rules.steep_times), times(limit.release, rules.steep_times))
        };
        Limit::<Volts>::between(
            Place::Cell(cells.lowest.0),
            Some(cells.highest.1 - cells.lowest.1),
            trip,
            release,
        )
    }
}

fn times(limit: Volts, count: u8) -> Volts {
    Volts::from_wide(i64::from(limit.bits()).saturating_mul(count.into()))
}

/// Whether every cell is known to lie where the curve is flat.
fn on_plateau<const CELLS: usize, const THERMISTORS: usize>(seen: &Seen<'_, CELLS, THERMISTORS>) -> bool {
    let (lowest, highest) = seen.estimated.state_of_charge();
    lowest >= seen.config.cells.flat_from && highest <= seen.config.cells.flat_to
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for SumAgainstPack {
    type Quantity = Volts;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Volts>) -> Sight {
        let sight = limit.sight(Place::Pack, seen.estimated.pack_gap().map(Volts::abs));
        // An open string is no wrong reading: its terminals are no longer the cells.
        let opened = sight.reading == Reading::Beyond && is_string_open(seen);
        if opened { Sight::found(Place::Pack, false) } else { sight }
    }
}
