//! A contactor: coil, armature, contacts that bounce, wear and weld.
//!
//! Times count from the change of the coil: first touch after the pull-in time, then two short bounces within the
//! bounce time; parting after the release time (sheets of 500 A class contactors: ≤ 25 ms with bounce, ≤ 5 ms, ≤ 10
//! ms). A worn one bounces longer: the same flips over a longer time. Between these instants the contact is simply made or broken; the bus splits its step at each of them.
//!
//! Wear: one closing onto a difference `d` costs `1/N`, with `N(d) = 50 · (D/d)^9.97`, `D` the voltage of 50
//! closings. The exponent joins the two published points (Durakool DEVR40: 50 000 operations after 90 % precharge, 50
//! after 80 %: twice the difference, a thousandth of the life; log₂ 1000 = 9.97). Wear of 1 welds. One opening at a
//! current `I` costs `(I/I_limit)²` (common practice, no source); above the breaking limit `I_limit` the arc does not
//! end and the contacts stay joined.

use super::deviation::ContactorDeviation;
use super::noise::Noise;
use super::spec::ContactorSpec;

/// One contactor.
#[derive(Clone, Debug, PartialEq)]
pub struct Contactor {
    coil: bool,
    /// Since the coil changed, in seconds; from [`SETTLED`] on nothing moves any more.
    since: f64,
    /// Whether the armature has brought the contacts together.
    touching: bool,
    /// From the coil's change to the first touch, and how long it bounces, in seconds.
    touch: f64,
    bounce: f64,
    release: f64,
    welded: bool,
    /// Share of its life that is used up; 1 welds.
    pub wear: f64,
    /// Energy that gaps and bounces have taken, in joules.
    pub gap_joules: f64,
    /// Closings and openings so far.
    pub operations: u32,
    /// Largest voltage onto which it was closed by command with a complete circuit, in volts.
    pub worst_closing_volts: f64,
    /// Largest current that it was made to break, in amperes.
    pub worst_opening_amps: f64,
}

/// Longer than any movement, in seconds.
const SETTLED: f64 = 10.0;
/// log₂ 1000.
const WEAR_EXPONENT: f64 = 9.965_784;

impl Contactor {
    /// Open and unused; its times are drawn from the seed.
    #[must_use]
    pub fn new(spec: &ContactorSpec, noise: &Noise, part: u32) -> Self {
        let between = |[low, high]: [f64; 2], part| low + (high - low) * 0.5 * (1.0 + noise.even(part));
        let touch = between(spec.pull_in_seconds, part);
        let bounce = between([0.3 * spec.bounce_seconds, spec.bounce_seconds], part + 1);
        Self {
            coil: false,
            since: SETTLED,
            touching: false,
            touch,
            bounce,
            release: between(spec.release_seconds, part + 2),
            welded: false,
            wear: 0.0,
            gap_joules: 0.0,
            operations: 0,
            worst_closing_volts: 0.0,
            worst_opening_amps: 0.0,
        }
    }

    /// Tells what drives the coil now: commanded, not interrupted, and enough voltage.
    pub fn drive(&mut self, energised: bool) {
        if energised != self.coil {
            self.coil = energised;
            // A change while the armature is still where it should go moves nothing.
            self.since = if energised == self.touching { SETTLED } else { 0.0 };
        }
    }

    /// Whether its coil carries current.
    #[must_use]
    pub fn energised(&self) -> bool {
        self.coil
    }

    /// Whether current can pass.
    #[must_use]
    pub fn made(&self, deviation: &ContactorDeviation) -> bool {
        self.touching || self.welded || deviation.welded
    }

    /// Whether its contacts have welded by wear.
    #[must_use]
    pub fn welded(&self) -> bool {
        self.welded
    }

    /// Brings it to where it has used this part of its life.
    pub fn wear_out(&mut self, share: f64) {
        (self.welded, self.wear) = (share >= 1.0, share);
    }

    /// Mends it: new contacts.
    pub fn replace_contacts(&mut self) {
        (self.welded, self.wear) = (false, 0.0);
    }

    /// Time until the contact flips next, in seconds; infinite when nothing moves.
    #[must_use]
    pub fn next_flip(&self, deviation: &ContactorDeviation) -> f64 {
        if self.since >= SETTLED {
            return f64::INFINITY;
        }
        let at = if self.coil {
            self.closing_flips(deviation).into_iter().find(|flip| *flip > self.since)
        } else {
            Some(self.release + deviation.slower_seconds).filter(|flip| *flip > self.since)
        };
        at.map_or(f64::INFINITY, |at| at - self.since)
    }

    /// Instants after the coil's change at which the contact flips: touch, bounce, touch, bounce, touch.
    fn closing_flips(&self, deviation: &ContactorDeviation) -> [f64; 5] {
        let touch = self.touch + deviation.slower_seconds;
        let bounce = self.bounce + deviation.bounce_seconds;
        [0.0, 0.3, 0.5, 0.85, 1.0].map(|share| touch + share * bounce)
    }

    /// Lets time pass, at most to the next flip.
    pub fn pass(&mut self, seconds: f64, deviation: &ContactorDeviation) {
        if self.since >= SETTLED {
            return;
        }
        let flips = seconds >= self.next_flip(deviation);
        self.since += seconds;
        if flips {
            self.touching = !self.touching;
            // Land exactly on the instant, so that rounding cannot flip it twice.
            let flips = self.closing_flips(deviation);
            let last = flips[4];
            let reached =
                if self.coil {
                    flips.into_iter().fold(self.since, |reached, flip| {
                        if (flip - reached).abs() < 1e-9 { flip } else { reached }
                    })
                } else {
                    SETTLED
                };
            self.since = if self.coil && reached >= last { SETTLED } else { reached };
            self.operations += u32::from(!self.coil || self.since >= SETTLED);
        }
    }

    /// The contacts have met with this voltage across the gap, the circuit being complete without a resistor in it.
    pub fn closed_onto(&mut self, volts: f64, spec: &ContactorSpec) {
        self.worst_closing_volts = self.worst_closing_volts.max(volts);
        self.wear += libm::pow(volts / spec.fifty_closings_volts, WEAR_EXPONENT) / 50.0;
        self.welded |= self.wear >= 1.0;
    }

    /// The contacts have parted while this current flowed.
    pub fn broke(&mut self, amps: f64, volts: f64, spec: &ContactorSpec) {
        /// Burning time of an arc that is blown out, in seconds.
        const ARC_SECONDS: f64 = 0.004;
        self.worst_opening_amps = self.worst_opening_amps.max(amps);
        let share = amps / spec.breaking_limit_amps;
        self.wear += share * share;
        self.gap_joules += 0.5 * amps * volts * ARC_SECONDS;
        self.welded |= share > 1.0 || self.wear >= 1.0;
    }

    /// What its feedback contact says: true for closed. It follows the contacts themselves, a weld included.
    #[must_use]
    pub fn feedback(&self, deviation: &ContactorDeviation) -> bool {
        deviation.feedback_stuck.unwrap_or_else(|| self.made(deviation))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::spec::PackSpec;

    fn contactor(seed: u64) -> (Contactor, ContactorSpec) {
        let spec = PackSpec::crane().bus.contactor;
        (Contactor::new(&spec, &Noise::new(seed), 0), spec)
    }

    /// Lets it run, and gives the instants of its flips.
    fn flips(contactor: &mut Contactor, deviation: &ContactorDeviation) -> Vec<f64> {
        let (mut now, mut seen) = (0.0, Vec::new());
        while contactor.next_flip(deviation).is_finite() {
            let next = contactor.next_flip(deviation);
            now += next;
            contactor.pass(next, deviation);
            seen.push(now);
        }
        seen
    }

    /// Data sheets: operate ≤ 25 ms including bounce of ≤ 5 ms, release ≤ 10 ms.
    #[test]
    fn it_closes_and_opens_within_the_times_of_the_sheets() {
        for seed in 0..50 {
            let (mut contactor, _) = contactor(seed);
            let sound = ContactorDeviation::default();
            contactor.drive(true);
            let closing = flips(&mut contactor, &sound);
            assert_eq!(closing.len(), 5);
            assert!(closing[0] >= 0.015 && closing[4] <= 0.025 && closing[4] - closing[0] <= 0.005 + 1e-12);
            assert!(contactor.made(&sound));
            contactor.drive(false);
            let opening = flips(&mut contactor, &sound);
            assert!(opening.len() == 1 && opening[0] <= 0.010 && !contactor.made(&sound));
            assert_eq!(contactor.operations, 2);
        }
    }

    #[test]
    fn a_slow_one_is_later_and_a_changed_mind_moves_nothing() {
        let (mut contactor, _) = contactor(1);
        let slow = ContactorDeviation { slower_seconds: 0.1, ..ContactorDeviation::default() };
        contactor.drive(true);
        contactor.pass(0.05, &slow);
        assert!(!contactor.made(&slow));
        contactor.drive(false);
        assert!(contactor.next_flip(&slow).is_infinite() && !contactor.made(&slow));
    }

    /// Durakool DEVR40, making life on a capacitive load of 320 V: 50 000 operations after 90 % precharge, 50 after
    /// 80 %.
    #[test]
    fn making_life_is_that_of_the_sheet() {
        for (precharged, life) in [(0.9, 50_000.0), (0.8, 50.0)] {
            let (mut contactor, spec) = contactor(1);
            contactor.closed_onto(320.0 * (1.0 - precharged), &spec);
            assert!((1.0 / contactor.wear / life - 1.0).abs() < 1e-3);
        }
    }

    #[test]
    fn an_empty_link_welds_at_once_and_so_does_an_opening_above_the_limit() {
        let (mut closing, spec) = contactor(1);
        closing.closed_onto(307.0, &spec);
        assert!(closing.welded());
        let (mut opening, _) = contactor(1);
        opening.broke(1_999.0, 307.0, &spec);
        assert!(!opening.welded());
        opening.broke(2_001.0, 307.0, &spec);
        assert!(opening.welded());
    }
}
