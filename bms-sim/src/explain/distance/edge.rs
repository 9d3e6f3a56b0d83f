//! Finds an edge: two neighbours on a grid with different outcomes.

use super::Side;
use crate::case::{Case, Grid, Knob};

/// Whether two values are one: a grid is coarser than any rounding.
pub(super) fn same(one: f64, other: f64) -> bool {
    (one - other).abs() < 1e-9
}

/// How far towards an end a number can be turned before the case would be refused: a limit beside another one.
pub(super) fn reach(case: &Case, knob: Knob, stands: f64, end: f64) -> f64 {
    let grid = knob.grid(case);
    let accepted = |value| knob.check(case, value).is_ok();
    // A range has ends of its own, which need not lie on the grid.
    if accepted(end) {
        return end;
    }
    let (mut inside, mut outside) = (stands, end);
    while let Some(middle) = grid.between(inside, outside) {
        if accepted(middle) {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    inside
}

/// The edge between where a number stands and an end: two neighbours, the first with the outcome that it has here, the second with the
/// other one; or the end, as it was played, if the outcome is the same there. Played first is what is given: a guess of the two saves
/// replays when it is right.
pub(super) fn between<E>(
    grid: Grid,
    here: Side,
    end: f64,
    first: &[f64],
    play: &impl Fn(f64) -> Result<Option<Side>, E>,
) -> Result<Result<(Side, Side), Side>, E> {
    let same_as_here = |side: &Side| side.came.is_some() == here.came.is_some();
    let (mut kept, mut other) = (here, None::<Side>);
    // Between what is known of both sides, and neither of them again.
    let worth_playing = |value: f64, near: f64, far: Option<f64>| {
        let inside = (value - near) * (far.unwrap_or(end) - value) >= 0.0;
        inside && !same(value, near) && !far.is_some_and(|far| same(value, far))
    };
    for &value in first {
        if !worth_playing(value, kept.value, other.map(|other| other.value)) {
            continue;
        }
        if let Some(side) = play(value)? {
            if same_as_here(&side) {
                kept = side;
            } else {
                other = Some(side);
            }
        }
    }
    let mut other = match other {
        Some(other) => other,
        None => match play(end)? {
            Some(side) if !same_as_here(&side) => side,
            Some(side) => return Ok(Err(side)),
            None => return Ok(Err(kept)),
        },
    };
    while let Some(middle) = grid.between(kept.value, other.value) {
        match play(middle)? {
            Some(side) if same_as_here(&side) => kept = side,
            Some(side) => other = side,
            // Not accepted in between two that are: the edge is as narrow as it gets.
            None => break,
        }
    }
    Ok(Ok((kept, other)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::explain::distance::Came;
    use bms_core::Fault;
    use core::cell::Cell;
    use core::convert::Infallible;
    use proptest::prelude::*;

    fn grid() -> Grid {
        let text = include_str!("../../../../examples/cases/loose-joint.toml");
        Knob::Trip(Fault::CellOverVoltage).grid(&Case::parse(text, "case.toml").unwrap())
    }

    fn side(value: f64, comes: bool) -> Side {
        Side { value, came: comes.then_some(Came { tick: 1, seconds: 0.01, by: None }) }
    }

    proptest! {
        /// Wherever the edge is and whatever is guessed, the two sides are neighbours and were played, one with each outcome.
        #[test]
        fn the_two_sides_of_an_edge_are_neighbours(edge in 3_001..3_999_i32, guessed in proptest::option::of(2_000..5_000_i32)) {
            let (edge, plays) = (f64::from(edge) / 1_000.0, Cell::new(0));
            let play = |value: f64| {
                plays.set(plays.get() + 1);
                Ok::<_, Infallible>(Some(side(value, value < edge)))
            };
            let guess = guessed.map_or_else(Vec::new, |at| vec![f64::from(at) / 1_000.0, f64::from(at + 1) / 1_000.0]);
            let found = between(grid(), side(3.0, true), 4.0, &guess, &play).unwrap();
            let (kept, other) = found.expect("the other end is on the other side");
            prop_assert!(kept.came.is_some() && other.came.is_none());
            prop_assert!(kept.value < edge && edge <= other.value && other.value - kept.value < 0.001_5, "{kept:?} {other:?}");
            prop_assert!(plays.get() <= 14, "{}", plays.get());
            let right = guessed.is_some_and(|at| same(f64::from(at + 1) / 1_000.0, edge));
            prop_assert!(!right || plays.get() == 2, "a right guess costs its proof and no more");
        }
    }

    #[test]
    fn where_the_end_is_the_same_it_is_told_as_played() {
        let play = |value: f64| Ok::<_, Infallible>(Some(side(value, false)));
        assert_eq!(between(grid(), side(3.0, false), 4.0, &[], &play), Ok(Err(side(4.0, false))));
    }
}
