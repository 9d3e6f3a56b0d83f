//! # Currents
//!
//! Decides whether the current is too much, too much for too long, not what was allowed, or not credible.
//!
//! The fast limits lie where only a short circuit reaches; a reading at the end of its range counts as beyond them. The
//! thermal limit is the heat of fuse and cable, ∫(I² − I²rated)dt, never below zero. Two channels of different kind must agree,
//! and the sign must fit what the cells do. What flows although every contactor is open is reported as a danger: beyond the limit
//! once the sensor's idle offset is learnt, and before that only beyond limit and stated offset together, because up to there it
//! may be the sensor.

use super::judge::{Found, Limit, Seen, Sight, Watch};
use crate::sense::at_end;
use crate::sequence::Step;
use crate::units::{Amps, Ratio};
use crate::witness::Place;

/// Charge current.
pub(super) struct Charging;

/// Discharge current, as an amount.
pub(super) struct Discharging;

/// Used part of the heat budget.
pub(super) struct HeatBudget;

/// Difference of the two channels.
pub(super) struct ChannelGap;

/// Amount of current with all contactors commanded open.
pub(super) struct WhileOpen;

/// Load steps in which the cells moved against the current.
pub(super) struct SignAgainstCells;

/// Current beyond the limit that the load has had time to follow, against a part of that limit: the first or the second step.
pub(super) struct BeyondGiven<const FAR: bool>;

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Charging {
    type Quantity = Amps;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Amps>) -> Sight {
        limit.sight(Place::Pack, amount(seen, |amps| amps.max(Amps::ZERO), limit))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for Discharging {
    type Quantity = Amps;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Amps>) -> Sight {
        limit.sight(Place::Pack, amount(seen, |amps| (-amps).max(Amps::ZERO), limit))
    }
}

/// One side of the current; at the end of the range it counts as no less than the limit.
fn amount<const CELLS: usize, const THERMISTORS: usize>(
    seen: &Seen<'_, CELLS, THERMISTORS>,
    side: impl FnOnce(Amps) -> Amps,
    limit: &Limit<Amps>,
) -> Option<Amps> {
    let current = seen.believed.current?;
    let amount = side(current.amps);
    Some(if current.at_end && amount > Amps::ZERO { amount.max(limit.trip) } else { amount })
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for HeatBudget {
    type Quantity = Ratio;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Ratio>) -> Sight {
        limit.sight(Place::Pack, Some(seen.estimated.heat_used()))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for ChannelGap {
    type Quantity = Amps;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Amps>) -> Sight {
        let gap = match (seen.believed.current, seen.believed.current_check) {
            (Some(main), Some(check)) => {
                // At its end a channel says "at least this": what the other shows beyond it is no contradiction.
                let beyond = |end: Amps, other: Amps| {
                    if end > Amps::ZERO { other > end } else { other < end }
                };
                let check_ends = at_end(check, seen.config.pack.current_check_range, &seen.config.sensing);
                let agree = main.at_end && beyond(main.raw, check) || check_ends && beyond(check, main.raw);
                Some(if agree { Amps::ZERO } else { (check - main.raw).abs() })
            }
            _ => None,
        };
        limit.sight(Place::Pack, gap)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for WhileOpen {
    type Quantity = Amps;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Amps>) -> Sight {
        let Some(current) = seen.believed.current else { return Sight::UNKNOWN };
        let flows = seen.config.sensing.flows;
        let flowing = if current.raw.abs() > flows { current.raw.abs() } else { current.amps.abs() };
        let observed = Some(if seen.step.commands_open() { flowing } else { Amps::ZERO });
        // Not so much that it excuses a reading that flows, whatever the offset.
        let idle = current.unlearnt.min((flows - limit.trip).max(Amps::ZERO));
        Limit::<Amps>::between(Place::Pack, observed, limit.trip + idle, limit.release + idle)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Watch<CELLS, THERMISTORS> for SignAgainstCells {
    type Quantity = Found;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, _: &Limit<Found>) -> Sight {
        let (against, needed) = (seen.estimated.steps_against_current(), seen.config.pack.resistance.against);
        against.map_or(Sight::PENDING, |steps| Sight::found(Place::Pack, steps >= needed))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize, const FAR: bool> Watch<CELLS, THERMISTORS>
    for BeyondGiven<FAR>
{
    type Quantity = Amps;
    fn look(seen: &Seen<'_, CELLS, THERMISTORS>, limit: &Limit<Amps>) -> Sight {
        let Some(current) = seen.believed.current else { return Sight::UNKNOWN };
        // Before that the current charges the link, which no load can help.
        if !matches!(seen.step, Step::Closed | Step::Easing) {
            return limit.sight(Place::Pack, Some(Amps::ZERO));
        }
        let given = if current.amps > Amps::ZERO { seen.due.charge } else { seen.due.discharge };
        // By a part of the limit or by the fixed amount, whichever is more.
        let rules = &seen.config.limits;
        let share = given.scaled(if FAR { rules.overrun_far } else { rules.overrun });
        let excess = current.amps.abs() - given;
        let (trip, release) = if share > limit.trip {
            (share, share.scaled(rules.overrun_back))
        } else {
            (limit.trip, limit.release)
        };
        Limit::<Amps>::between(Place::Pack, Some(excess), trip, release)
    }
}
