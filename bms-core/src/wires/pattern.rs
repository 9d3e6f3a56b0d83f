//! What an open wire looks like in the readings alone.

use super::OpenWire;
use super::layout::Layout;
use crate::config::Checked;
use crate::each::Each;
use crate::fault::cold_reduction;
use crate::sense::{CellReadings, Temperatures};
use crate::units::{Amps, Ratio, Volts};

/// A wire that the readings make suspect.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Pattern {
    pub(super) open: OpenWire,
    /// Its readings pass a voltage limit that opens the contactors, which its two cells together do not.
    pub(super) explains: bool,
}

/// The wire that explains the readings best, if one does. Looks closely only where the extremes stand out. `pack` is its voltage with the
/// current that flows.
pub(super) fn pattern<const CELLS: usize, const THERMISTORS: usize>(
    cells: &CellReadings<'_, CELLS>,
    temperatures: &Temperatures<THERMISTORS>,
    pack: Option<(Volts, Amps)>,
    config: &Checked,
) -> Option<Pattern> {
    let (high, low) = (cells.highest, cells.lowest);
    let apart = high.1 - low.1 >= config.faults.sense_wire_open.release;
    let warm = Opening {
        high: config.faults.cell_over_voltage_far.trip,
        low: config.faults.cell_under_voltage_far.trip,
    };
    if !apart && !warm.at(high.1) && !warm.at(low.1) {
        return None;
    }
    // No limit lies above the one of a warm cell.
    let opening = Opening { low: warm.low - cold_reduction(temperatures, low.0, config), ..warm };
    let layout = Layout::of(&config.pack);
    let look = |wire: u8| match layout.beside(wire) {
        [Some(below), Some(above)] => inner(wire, [below, above], cells, opening, config),
        [Some(cell), None] | [None, Some(cell)] => outermost(wire, cell, cells, (pack, opening), config),
        [None, None] => None,
    };
    let [a, b] = layout.of_cell(high.0);
    let [c, d] = layout.of_cell(low.0);
    [a, b, c, d].into_iter().filter_map(look).max_by_key(|found| (found.explains, found.open.apart))
}

/// The limits of a voltage that open the contactors, at the temperature of the lowest cell.
#[derive(Clone, Copy)]
struct Opening {
    high: Volts,
    low: Volts,
}

impl Opening {
    /// Whether this reading does.
    fn at(self, volts: Volts) -> bool {
        volts >= self.high || volts <= self.low
    }
}

/// Apart by more than two readings in error, of the cell and of the others.
fn least(config: &Checked) -> Volts {
    Volts::from_wide(i64::from(config.sensing.cell_error.bits()).saturating_mul(4))
}

/// One cell up, the other down as much: no further from that than to twice the other's share, since the two need not be equal.
fn inner<const CELLS: usize>(
    wire: u8,
    [below, above]: [u8; 2],
    cells: &CellReadings<'_, CELLS>,
    opening: Opening,
    config: &Checked,
) -> Option<Pattern> {
    let (below, above) = (*cells.volts.at(below)?, *cells.volts.at(above)?);
    let (high, low) = (below.max(above), below.min(above));
    let mean = mean_of_others(cells.sum - high - low, count(cells.volts).checked_sub(2)?)?;
    let (up, down) = (high - mean, mean - low);
    let at_rail = low <= config.wires.rail;
    let apart = if at_rail { up } else { up.min(down) };
    // At a rail the reading ends, and so may the one above it at the other end: the sum of the pair holds no more. But what one lacks the
    // other has, as far as it reads: 5 V above a mean of 3.65 V are a third of what a reading of −0.3 V lies below. Beside a cell that really
    // is empty stands one like all others.
    let fits = if at_rail { up >= down.scaled(Ratio::percent(25)) } else { (up - down).abs() <= apart };
    if apart < least(config) || !fits {
        return None;
    }
    let together = Volts::from_wide(i64::from(high.bits()).saturating_add(low.bits().into()) / 2);
    let explains = (opening.at(high) || opening.at(low)) && (at_rail || !opening.at(together));
    let told = explains || apart >= config.faults.sense_wire_open.release;
    told.then_some(Pattern { open: OpenWire { wire, apart }, explains })
}

/// An outermost wire moves one cell alone, as a cell does that really is high or low. So it is looked at only where that cell would open the
/// contactors and the pack voltage allows it to be like the others.
fn outermost<const CELLS: usize>(
    wire: u8,
    cell: u8,
    cells: &CellReadings<'_, CELLS>,
    (pack, opening): (Option<(Volts, Amps)>, Opening),
    config: &Checked,
) -> Option<Pattern> {
    let volts = *cells.volts.at(cell)?;
    let others = cells.sum - volts;
    let mean = mean_of_others(others, count(cells.volts).checked_sub(1)?)?;
    let apart = (volts - mean).abs();
    if !opening.at(volts) || opening.at(mean) || apart < least(config) {
        return None;
    }
    let sensing = &config.sensing;
    let all = i64::from(sensing.cell_error.bits()).saturating_mul(count(cells.volts));
    let error = sensing.voltage_error + Volts::from_wide(all);
    let beyond = |(pack, amps): (Volts, Amps)| sensing.beyond_path(pack - others - mean, amps).abs();
    let allowed = pack.is_none_or(|pack| beyond(pack) <= error);
    allowed.then_some(Pattern { open: OpenWire { wire, apart }, explains: true })
}

fn count<const CELLS: usize>(_: &Each<Volts, CELLS>) -> i64 {
    i64::try_from(CELLS).unwrap_or(i64::MAX)
}

fn mean_of_others(sum: Volts, count: i64) -> Option<Volts> {
    i64::from(sum.bits()).checked_div(count).map(Volts::from_wide)
}
