//! # What an open-circuit voltage says about charge
//!
//! Decides which part of its capacity a rested cell misses, from its voltage at 25 °C. The curve is that of a lithium iron
//! phosphate cell with a graphite electrode:
//!
//! ```text
//! U(s) = U₊(y) − U₋(x)      in volts,  y = 0.74 − 0.705 s,  x = 0.0132 + 0.7978 s,  s = state of charge 0…1
//! A: M. Safari, C. Delacourt, J. Electrochem. Soc. 158 (2011) A562
//! B: U. Kasavajjula, C. Wang, P. Arce, J. Electrochem. Soc. 155 (2008) A866      (coefficients of both from memory)
//! ```
//!
//! Between 15 and 90 % the table holds the mean of A and B, outside A alone (B has no rise at the top), rounded to 1 mV. There the
//! two differ by up to 20 mV, so a table is never nearer to a real cell than that: the error is stated in the configuration.
//!
//! The plateau is nearly flat: 3 mV are 5 % of the charge at half. The inverse is therefore always taken of an interval of
//! voltage, and on the plateau it usually says nothing. See [`missing_at`].

use crate::units::{Ratio, Volts};

/// Millivolts at rest against thousandths of the capacity that are missing.
const TABLE: [(i32, i32); NODES] = [
    (2830, 1000),
    (2878, 995),
    (2917, 990),
    (2953, 985),
    (2985, 980),
    (3040, 970),
    (3084, 960),
    (3119, 950),
    (3147, 940),
    (3185, 920),
    (3208, 900),
    (3226, 875),
    (3235, 850),
    (3259, 800),
    (3275, 750),
    (3286, 700),
    (3294, 650),
    (3298, 600),
    (3301, 550),
    (3304, 500),
    (3306, 450),
    (3310, 400),
    (3314, 350),
    (3320, 300),
    (3326, 250),
    (3331, 200),
    (3335, 150),
    (3340, 100),
    (3349, 90),
    (3351, 80),
    (3358, 60),
    (3373, 40),
    (3387, 30),
    (3407, 20),
    (3420, 15),
    (3436, 10),
    (3455, 5),
    (3479, 0),
];

const NODES: usize = 38;

/// Where the plateau begins and ends: 15 and 90 % charge.
const PLATEAU: (Volts, Volts) = (Volts::from_milli(3_235), Volts::from_milli(3_340));

/// One piece of the curve, as a straight line from its lower end.
#[derive(Clone, Copy, Debug)]
struct Piece {
    /// Voltage at its lower end.
    from: Volts,
    /// Missing there, in bits of [`Ratio`].
    missing: i32,
    /// How much less is missing a volt further up, in bits.
    fall: i64,
}

/// All pieces; the last one lies above the top of the curve and is flat.
const PIECES: [Piece; NODES] = pieces();

/// Works the slopes out at compile time and refuses a table that is not strictly monotone.
#[expect(
    clippy::indexing_slicing,
    clippy::arithmetic_side_effects,
    reason = "only evaluated at compile time"
)]
const fn pieces() -> [Piece; NODES] {
    let mut pieces = [Piece { from: Volts::ZERO, missing: 0, fall: 0 }; NODES];
    let mut node = 0;
    while node < NODES {
        let (from, missing) = (Volts::from_milli(TABLE[node].0), Ratio::from_milli(TABLE[node].1).bits());
        let mut fall = 0;
        if node + 1 < NODES {
            let (to, left) =
                (Volts::from_milli(TABLE[node + 1].0), Ratio::from_milli(TABLE[node + 1].1).bits());
            assert!(to.bits() > from.bits() && left < missing, "the table must be strictly monotone");
            fall = (((missing - left) as i64) << 16) / (to.bits() - from.bits()) as i64;
        }
        pieces[node] = Piece { from, missing, fall };
        node += 1;
    }
    pieces
}

/// Lowest voltage of the curve: below it the cell is empty or emptier.
pub(super) const EMPTY: Volts = Volts::from_milli(TABLE[0].0);

/// Highest voltage of the curve: above it the cell is full or fuller.
pub(crate) const FULL: Volts = Volts::from_milli(TABLE[NODES - 1].0);

/// Which part of its capacity a cell misses at this open-circuit voltage: 1 at [`EMPTY`] and below, 0 at [`FULL`] and above.
/// Never more at a higher voltage.
pub(super) fn missing_at(volts: Volts) -> Ratio {
    let above = PIECES.partition_point(|piece| piece.from <= volts);
    match above.checked_sub(1).and_then(|last| PIECES.get(last)) {
        None => Ratio::ONE,
        Some(piece) => {
            let rise = i64::from((volts - piece.from).bits());
            let less = rise.saturating_mul(piece.fall) >> 16;
            Ratio::from_wide(i64::from(piece.missing).saturating_sub(less))
        }
    }
}

/// The same for a cell that may be overfull: above [`FULL`] the curve goes on at least as steeply as in its last piece, since the
/// positive electrode runs out of lithium there. So the cell misses between this, never less than minus `beyond`, and nothing.
fn overfull_at(volts: Volts, beyond: Ratio) -> Ratio {
    if volts <= FULL {
        return missing_at(volts);
    }
    let more = i64::from((volts - FULL).bits()).saturating_mul(TOP_FALL) >> 16;
    Ratio::from_wide(0_i64.saturating_sub(more)).max(Ratio::ZERO - beyond)
}

/// Whether this voltage lies outside the plateau by more than `by`: there the curve is steep and better known.
pub(super) fn beyond_plateau(volts: Volts, by: Volts) -> bool {
    volts < PLATEAU.0 - by || volts > PLATEAU.1 + by
}

/// Whether the curve rises here by at least this much for each hundredth of the charge. Beyond its ends it is a wall.
pub(super) fn is_steep(volts: Volts, a_hundredth: Volts) -> bool {
    let above = PIECES.partition_point(|piece| piece.from <= volts);
    let fall = above.checked_sub(1).and_then(|last| PIECES.get(last)).map_or(0, |piece| piece.fall);
    i64::from(a_hundredth.bits()).saturating_mul(fall) >> 16 <= i64::from(Ratio::percent(1).bits())
}

/// The voltage at which this part of the capacity is missing; beyond empty the first piece of the curve goes on.
fn volts_at(missing: Ratio) -> Volts {
    let above = PIECES.partition_point(|piece| piece.missing >= missing.bits());
    let [first, ..] = PIECES;
    let piece = above.checked_sub(1).and_then(|last| PIECES.get(last)).unwrap_or(&first);
    let less = i64::from(piece.missing).saturating_sub(missing.bits().into());
    let rise = (less << 16).checked_div(piece.fall).unwrap_or(0);
    Volts::from_wide(i64::from(piece.from.bits()).saturating_add(rise))
}

/// By how much a cell at this voltage falls that loses this part of its capacity.
pub(super) fn fall_by(volts: Volts, part: Ratio) -> Volts {
    (volts - volts_at(missing_at(volts) + part)).max(Volts::ZERO)
}

/// How much less is missing a volt further up, in bits, where the last piece of the curve goes on above its top; rounded up.
const TOP_FALL: i64 = {
    let [.., last, _] = PIECES;
    last.fall.saturating_add(1)
};

/// The same the other way round: 24 mV in 5 thousandths, in volts for the whole capacity.
const TOP_RISE: Volts = Volts::from_milli(4_800);

/// How much more is missing in a cell at `volts` than in one at `reference` on the same curve, as least and most in parts of a
/// capacity, if the curve is off by the same unknown amount of up to `shared` at both, and the cell by up to `own` more.
///
/// `reach` is the most that the cell's voltage may be off in all. Capacities are given as parts of the rated one; that of the
/// reference is the rated one. Both sides are straight between the nodes, so the extremes of the difference lie at the ends of
/// the shared error or where it moves one of the two voltages onto a node.
///
/// Either may be overfull by up to `beyond`, at a curve of which only the least slope is known. Between that slope and a wall the
/// difference runs monotonically from one value to the other, so that the two of them bound it.
pub(super) fn difference(
    (volts, reference): (Volts, Volts),
    (shared, own, reach): (Volts, Volts, Volts),
    (capacity_least, capacity_most): (Ratio, Ratio),
    beyond: Ratio,
) -> (Ratio, Ratio) {
    let (mut least, mut most) = (Ratio::MAX, Ratio::MIN);
    let mut at = |error: Volts| {
        let (down, up) = ((error - own).max(-reach), (error + own).min(reach));
        for above_full in [Ratio::ZERO, beyond] {
            let (fullest, emptiest) =
                (overfull_at(volts + up, above_full), overfull_at(volts + down, above_full));
            let typical = overfull_at(reference + error, above_full);
            // What is missing grows with the capacity, and so does what is too much.
            let capacity = if fullest < Ratio::ZERO { capacity_most } else { capacity_least };
            least = least.min(fullest.scaled(capacity) - typical);
            let capacity = if emptiest < Ratio::ZERO { capacity_least } else { capacity_most };
            most = most.max(emptiest.scaled(capacity) - typical);
        }
    };
    at(-shared);
    at(shared);
    // Where `reach` begins to bind, the line bends too.
    at(-shared.min((reach - own).abs()));
    at(shared.min((reach - own).abs()));
    let bend = FULL + TOP_RISE.scaled(beyond);
    for from in PIECES.iter().map(|piece| piece.from).chain([bend]) {
        for moved in [volts - own, volts + own, reference] {
            let error = from - moved;
            if error.abs() < shared {
                at(error);
            }
        }
    }
    (least, most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// State of charge in thousandths against millivolts of the two published functions, evaluated with a general library in
    /// double precision (A, and B where it holds).
    const PUBLISHED: [(i32, i32, Option<i32>); 17] = [
        (50, 3_119, None),
        (100, 3_208, None),
        (150, 3_238, Some(3_233)),
        (200, 3_256, Some(3_261)),
        (250, 3_273, Some(3_277)),
        (300, 3_288, Some(3_285)),
        (350, 3_298, Some(3_289)),
        (400, 3_304, Some(3_293)),
        (450, 3_308, Some(3_295)),
        (500, 3_310, Some(3_298)),
        (600, 3_315, Some(3_304)),
        (700, 3_329, Some(3_312)),
        (750, 3_336, Some(3_316)),
        (800, 3_341, Some(3_321)),
        (900, 3_348, Some(3_332)),
        (950, 3_364, None),
        (1_000, 3_479, None),
    ];

    /// State of charge in thousandths against millivolts of A between the nodes, at the steep ends.
    const BETWEEN: [(i32, i32); 15] = [
        (3, 2_860),
        (7, 2_894),
        (25, 3_014),
        (35, 3_063),
        (70, 3_168),
        (90, 3_198),
        (110, 3_217),
        (140, 3_234),
        (905, 3_348),
        (930, 3_354),
        (950, 3_364),
        (965, 3_379),
        (975, 3_396),
        (992, 3_443),
        (998, 3_469),
    ];

    /// Millionths of a volt.
    fn micro(micro: i32) -> Volts {
        Volts::from_wide(i64::from(micro) * 65_536 / 1_000_000)
    }

    /// Whether the inverse of `millivolts`, widened by `error`, holds the state of charge.
    fn holds(millivolts: i32, error: i32, soc: i32) -> bool {
        let least = missing_at(Volts::from_milli(millivolts + error)).milli();
        let most = missing_at(Volts::from_milli(millivolts - error)).milli();
        (least..=most).contains(&(1_000 - soc))
    }

    #[test]
    fn both_published_functions_lie_within_the_stated_error() {
        for (soc, a, b) in PUBLISHED {
            assert!(holds(a, 20, soc), "A at {soc}");
            assert!(b.is_none_or(|b| holds(b, 20, soc)), "B at {soc}");
        }
        for (soc, a) in BETWEEN {
            assert!(holds(a, 10, soc), "A at {soc}");
        }
    }

    /// Cell sheet (Lishen LP54173207-202Ah, Rev 0, 2020-03-09, table 1): stored at 30…50 %, a cell reads 3.275…3.304 V.
    #[test]
    fn the_storage_window_of_a_cell_sheet_is_met() {
        assert!(holds(3_275, 20, 300) && holds(3_304, 20, 500));
    }

    #[test]
    fn beyond_its_ends_it_stays() {
        assert_eq!(missing_at(Volts::MIN), Ratio::ONE);
        assert_eq!(missing_at(EMPTY), Ratio::ONE);
        assert_eq!(missing_at(FULL), Ratio::ZERO);
        assert_eq!(missing_at(Volts::MAX), Ratio::ZERO);
    }

    /// By the table: 7 mV in 2 % above 92 %, 16 in 5 below 25 %; 11 in 5 % above that, 4 in 5 at half.
    #[test]
    fn the_curve_is_steep_at_its_ends() {
        let steep = |millivolts| is_steep(Volts::from_milli(millivolts), Volts::from_milli(3));
        assert_eq!([2_000, 2_900, 3_200, 3_270, 3_355, 3_450, 3_479, 3_600].map(steep), [true; 8]);
        assert_eq!([3_280, 3_300, 3_320, 3_338].map(steep), [false; 4]);
    }

    /// Two cells 10 mV apart say next to nothing on the plateau and much at the top. Worked by hand: 10 mV at 1 % … 2 % missing
    /// (1.3 mV a thousandth at the least within 30 mV) is 0.5 … 0.8 %.
    #[test]
    fn a_difference_is_narrow_only_where_the_curve_is_steep() {
        let v = Volts::from_milli;
        let errors = (v(0), v(2), v(30));
        let width = |volts| {
            let (least, most) =
                difference((v(volts), v(volts)), errors, (Ratio::ONE, Ratio::ONE), Ratio::percent(2));
            (most - least).milli()
        };
        assert!(width(3_460) <= 2 && width(3_304) >= 40, "{} {}", width(3_460), width(3_304));
    }

    proptest! {
        /// There and back, to within what a step of the missing charge is worth: 15 µV on the plateau and 150 µV at the ends.
        #[test]
        fn the_curve_is_its_inverse_turned_round(microvolts in 2_830_000..3_479_000_i32) {
            let back = volts_at(missing_at(micro(microvolts)));
            prop_assert!((back - micro(microvolts)).abs() <= micro(320), "{back:?}");
        }

        /// A higher voltage never means that more is missing.
        #[test]
        fn the_inverse_is_monotone(a in any::<i32>(), b in any::<i32>()) {
            let (low, high) = (Volts::from_bits(a.min(b)), Volts::from_bits(a.max(b)));
            prop_assert!(missing_at(low) >= missing_at(high));
        }

        /// The same where the curve lives.
        #[test]
        fn the_inverse_is_monotone_on_the_curve(a in 2_700_000..3_600_000_i32, step in 1..5_000_i32) {
            let at = |volts: i32| missing_at(micro(volts));
            prop_assert!(at(a) >= at(a + step));
        }

        /// Whatever the shared and the own error really are, the difference of the two lies within what is told.
        #[test]
        fn a_difference_holds_the_truth(
            volts in 2_800_000..3_550_000_i32,
            reference in 2_800_000..3_550_000_i32,
            bounds in (0..40_000_i32, 0..10_000_i32),
            (shared, own) in (-100..=100_i32, -100..=100_i32),
            steeper in 1..10_i64,
        ) {
            let told = difference(
                (micro(volts), micro(reference)),
                (micro(bounds.0), micro(bounds.1), micro(bounds.0 + bounds.1)),
                (Ratio::ONE, Ratio::ONE),
                Ratio::percent(2),
            );
            let shared = bounds.0 / 100 * shared;
            // Above full the true curve is as steep as it likes, but not less than 24 mV in 5 thousandths.
            let truly = |volts: i32| match volts - 3_479_000 {
                ..=0 => missing_at(micro(volts)),
                above => Ratio::from_wide(-(i64::from(above) * 65_536 / 4_800_000 / steeper).min(65_536 / 50)),
            };
            let truth = truly(volts + shared + bounds.1 / 100 * own) - truly(reference + shared);
            let rounding = Ratio::from_bits(3);
            prop_assert!(told.0 - rounding <= truth && truth <= told.1 + rounding, "{truth:?} in {told:?}");
        }
    }
}
