//! # Which side of the link is joined to the pack?
//!
//! Decides from the two cross voltages whether contactors are open, before anything closes and after everything has opened.
//!
//! ```text
//! lift = pack − behind_negative = behind_positive − link        (L− above B−, in volts)
//! span = pack − link
//! lift = 0: negative joined      lift = span: positive or precharge joined      lift = span/2: all open, by the equal dividers
//! ```
//! With an empty link that reads: half the pack twice, or 0 and the pack. Positive and precharge cannot be told apart here; the fall
//! of the link on opening tells them. While the link is charged the span is small and nothing is judged: the expected
//! change, span/2, must exceed five times the measuring error. The floating link needs five time constants to settle.
//!
//! A contact that is made leaves no voltage across itself. So a link counts as joined only where it hangs at a pole within measuring error
//! and stands still there; one that hangs anywhere else, between the poles or beyond one, is open on both sides. Leaks to the chassis draw it
//! there: beside a leak on the load's side the link follows the chassis, whose capacitors take up to a second to settle, and it
//! passes a pole on its way.
//!
//! Without one of the two dividers the link floats to that side of the other one, so that open and joined look the same there: the
//! verdict then covers one side only.
//!
//! **A leak on each side of an open contactor** draws the link to the very pole, as a weld does. Three witnesses can tell:
//!
//! | contact | insulation | is |
//! | --- | --- | --- |
//! | says closed, or is not read | | welded |
//! | says open | found good while the link hung there; or never measured | welded, and the contact is not linked to what it should show |
//! | says open | low, or not found since | not told: state unknown, and nothing closes |
//!
//! Behind dividers of 1 MΩ all leaks together must be below some 13 kΩ to draw the link so near to a pole, which is far below the first step of
//! insulation. A link that did not fall while opening and does fall behind negative is fed by no leak: then it is a weld as well.
//!
//! The known resistor of the insulation measurement sways the link for a while, as leaks do: the chassis moves, and the load's Y-capacitors
//! take the floating link along. While that resistor stands at a pole, and until the link has settled after it, the verdict from before stands.
//!
//! A motor that begins to turn changes the span at once, and an open link takes its new place only with the floating time constant `τ`:
//!
//! ```text
//! lag = lift − span/2:   lag ← lag · e^(−t/τ) + (span before − span now)/2      expected of an open link
//! ```
//! While the lag may be more than an eighth of the span, half of what parts two verdicts, the verdict from before stands as well.

use super::precharge::{decay, significant};
use crate::config::Checked;
use crate::frame::{PackVoltages, ToChassis};
use crate::units::{Millis, Ratio, Volts};

/// Where the link hangs.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum Joined {
    /// On neither side, as far as the points measured can tell.
    Nothing,
    /// L− on B−.
    Negative,
    /// L+ on B+, directly or through the precharge resistor.
    Positive,
}

/// The lift of the link and the span it can move in; `None` where no cross voltage is measured or the two contradict each other.
fn lift(seen: &PackVoltages, config: &Checked) -> Option<Volts> {
    let by_negative = seen.pack - seen.behind_negative;
    let by_positive = seen.behind_positive - seen.link;
    let points = &config.sensing.points;
    match (points.behind_negative, points.behind_positive) {
        (true, true) => ((by_negative - by_positive).abs() <= significant(config)).then_some(by_negative),
        (true, false) => Some(by_negative),
        (false, true) => Some(by_positive),
        (false, false) => None,
    }
}

/// The lift as a fraction of the span; `None` where the span is too small to judge.
pub(super) fn place_of_link(seen: &PackVoltages, config: &Checked) -> Option<Ratio> {
    let span = seen.pack - seen.link;
    let judged = Volts::from_bits(span.abs().bits() / 2) >= significant(config);
    if judged { lift(seen, config)?.fraction_of(span) } else { None }
}

/// Where the link hangs, if this tick's voltages can tell, and how far from the pole that it hangs at.
pub(super) fn joined(seen: &PackVoltages, config: &Checked) -> Option<(Joined, Volts)> {
    place_of_link(seen, config)?;
    let (span, lift) = (seen.pack - seen.link, lift(seen, config)?);
    let near = significant(config).min(Volts::from_bits(span.abs().bits() / 4));
    let points = &config.sensing.points;
    Some(if lift.abs() <= near && points.behind_negative {
        (Joined::Negative, lift)
    } else if (span - lift).abs() <= near && points.behind_positive {
        (Joined::Positive, span - lift)
    } else {
        (Joined::Nothing, Volts::ZERO)
    })
}

/// The verdict with all coils off, and how long it has held.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Floating {
    joined: Option<Joined>,
    held: Millis,
    /// For how long, with what was not looked at.
    hung: Millis,
    /// How far from its pole the link was when that began.
    off: Volts,
    proven_open: bool,
    /// Time for which the known resistor has been away from the poles.
    calm: Millis,
    /// The span read last, and how far an open link may still be from the middle of it.
    span: Option<Volts>,
    lag: Volts,
}

impl Floating {
    pub(super) const UNKNOWN: Self = Self {
        joined: None,
        held: Millis::ZERO,
        hung: Millis::ZERO,
        off: Volts::ZERO,
        proven_open: false,
        calm: Millis::MAX,
        span: None,
        lag: Volts::ZERO,
    };

    /// Follows the link, from the tick on in which all coils are off: what has moved it lately, an open one has not settled from.
    pub(super) fn follow(&mut self, seen: Option<&PackVoltages>, credit: Millis, config: &Checked) {
        self.lag = self.lag.scaled(decay(credit, config.sequence.floating_time_constant));
        let Some(seen) = seen else { return };
        let span = seen.pack - seen.link;
        let moved = self.span.map_or(Volts::ZERO, |before| before - span);
        self.lag = self.lag + Volts::from_bits(moved.bits() / 2);
        self.span = Some(span);
    }

    /// Whether an open link could be taken for a joined one because it has not settled yet. Below the smallest span that is judged the
    /// lag is held against that one.
    fn lags(&self, config: &Checked) -> bool {
        let span = self.span.unwrap_or(Volts::ZERO).abs();
        self.lag.abs()
            > Volts::from_bits(span.bits() / 8).max(Volts::from_bits(significant(config).bits() / 4))
    }

    /// Takes the voltages of a tick in. What has been read for a whole floating time constant is the verdict.
    pub(super) fn look(
        &mut self,
        seen: Option<&PackVoltages>,
        resistor: ToChassis,
        credit: Millis,
        config: &Checked,
    ) -> Option<Joined> {
        self.hung = self.hung + credit;
        self.calm = if resistor == ToChassis::Open { self.calm + credit } else { Millis::ZERO };
        if self.calm < settling(config) || self.lags(config) {
            return self.verdict(config);
        }
        let (joined, off) = seen.and_then(|seen| joined(seen, config)).unzip();
        let off = off.unwrap_or(Volts::ZERO);
        let still = (off - self.off).abs() <= Volts::from_bits(significant(config).bits() / 2);
        if joined == self.joined && still {
            self.held = self.held + credit;
        } else {
            (self.joined, self.held, self.hung, self.off) = (joined, Millis::ZERO, Millis::ZERO, off);
        }
        let verdict = self.verdict(config);
        let points = &config.sensing.points;
        self.proven_open =
            verdict == Some(Joined::Nothing) && points.behind_negative && points.behind_positive;
        verdict
    }

    /// What has been read for a whole floating time constant.
    pub(super) fn verdict(self, config: &Checked) -> Option<Joined> {
        if self.held >= config.sequence.floating_time_constant { self.joined } else { None }
    }

    /// For how long the link has hung where it hangs.
    pub(super) const fn hung(&self) -> Millis {
        self.hung
    }

    /// Whether both cross voltages say that all contactors are open.
    pub(super) const fn proven_open(self) -> bool {
        self.proven_open
    }
}

/// Time after all coils are off until the floating link has settled.
pub(super) fn settling(config: &Checked) -> Millis {
    let constant = config.sequence.floating_time_constant.0;
    config.sequence.release + Millis(constant.saturating_mul(5))
}

/// Time after all coils are off in which the floating link has shown where it hangs.
pub(crate) fn shows_where_it_hangs(config: &Checked) -> Millis {
    settling(config) + Millis(config.sequence.floating_time_constant.0.saturating_mul(2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{Config, MeasuringPoints};

    fn read(pack: i32, behind_negative: i32, behind_positive: i32, link: i32) -> PackVoltages {
        let volts = |whole: i32| Volts::from_milli(whole * 1_000);
        PackVoltages {
            pack: volts(pack),
            behind_negative: volts(behind_negative),
            behind_positive: volts(behind_positive),
            link: volts(link),
        }
    }

    fn with_points(behind_negative: bool, behind_positive: bool) -> Checked {
        let mut config = Config::crane();
        config.sensing.points = MeasuringPoints { behind_negative, behind_positive, ..config.sensing.points };
        config.check(96, 16).expect("the default is valid")
    }

    /// Kirchhoff around the loop B+, L+, L−, B−, worked by hand for each contactor.
    #[test]
    fn each_place_of_the_link_is_named() {
        let config = with_points(true, true);
        let cases = [
            (read(300, 150, 150, 0), Some(Joined::Nothing)),
            (read(300, 0, 300, 0), Some(Joined::Positive)),
            (read(300, 300, 0, 0), Some(Joined::Negative)),
            (read(300, 180, 180, 60), Some(Joined::Nothing)),
            (read(300, 60, 300, 60), Some(Joined::Positive)),
            (read(300, 300, 60, 60), Some(Joined::Negative)),
            (read(300, 330, 330, 360), Some(Joined::Nothing)), // a turning motor has lifted the link above the pack
            (read(300, 293, 7, 0), Some(Joined::Negative)), // 7 V of 7.7 V, five times half a per cent of 307.2 V
            (read(300, 285, 15, 0), Some(Joined::Nothing)), // leaks draw it near to a pole,
            (read(300, 320, 20, 40), Some(Joined::Nothing)), // or beyond one
            (read(300, -20, 320, 0), Some(Joined::Nothing)),
            (read(300, 300, 300, 300), None), // charged: nothing can be told
            (read(0, 0, 0, 0), None),         // the string is open
            (read(300, 150, 20, 0), None),    // the two cross voltages contradict each other
        ];
        for (seen, expected) in cases {
            assert_eq!(place(&seen, &config), expected, "{seen:?}");
        }
    }

    fn place(seen: &PackVoltages, config: &Checked) -> Option<Joined> {
        joined(seen, config).map(|(joined, _)| joined)
    }

    /// A chassis that settles with 1 s from one pole towards the middle takes the link past the other one at half the pack a second: 15 V in
    /// 100 ms.
    #[test]
    fn a_link_that_passes_a_pole_is_not_joined_to_it() {
        let config = with_points(true, true);
        let mut floating = Floating::UNKNOWN;
        for tick in 0..200 {
            let lift = -100 + tick * 3 / 2;
            let seen = read(300, 300 - lift, lift, 0);
            let verdict = floating.look(Some(&seen), ToChassis::Open, Millis(10), &config);
            assert!(!matches!(verdict, Some(Joined::Negative | Joined::Positive)), "{lift} V");
        }
    }

    /// 5 × 100 ms and the release of 20 ms after the resistor has gone the link is looked at again.
    #[test]
    fn the_verdict_stands_while_the_known_resistor_sways_the_link() {
        let config = with_points(true, true);
        let (open, swayed) = (read(300, 150, 150, 0), read(300, 0, 300, 0));
        let mut floating = Floating::UNKNOWN;
        let mut look = |seen: &PackVoltages, resistor, ticks: u32| {
            (0..ticks).map(|_| floating.look(Some(seen), resistor, Millis(10), &config)).last().flatten()
        };
        assert_eq!(look(&open, ToChassis::Open, 20), Some(Joined::Nothing));
        assert_eq!(look(&swayed, ToChassis::Negative, 100), Some(Joined::Nothing));
        assert_eq!(look(&swayed, ToChassis::Open, 51), Some(Joined::Nothing));
        assert_eq!(look(&swayed, ToChassis::Open, 20), Some(Joined::Positive));
        assert_eq!(look(&swayed, ToChassis::Negative, 100), Some(Joined::Positive));
    }

    #[test]
    fn a_missing_point_blinds_its_own_side_only() {
        let (welded_positive, welded_negative) = (read(300, 0, 300, 0), read(300, 300, 0, 0));
        let without_positive = with_points(true, false);
        assert_eq!(place(&welded_positive, &without_positive), Some(Joined::Nothing));
        assert_eq!(place(&welded_negative, &without_positive), Some(Joined::Negative));
        let without_negative = with_points(false, true);
        assert_eq!(place(&welded_positive, &without_negative), Some(Joined::Positive));
        assert_eq!(place(&welded_negative, &without_negative), Some(Joined::Nothing));
        assert_eq!(place(&welded_positive, &with_points(false, false)), None);
    }
}
