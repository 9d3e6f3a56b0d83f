//! # How hot is the precharge resistor?
//!
//! Models the temperature rise of the resistor, so that a hot one is not used.
//!
//! ```text
//! one full start:   E = ½ · C · V²            (whatever the resistance; TI TIDUF73, equations 3 and 4)
//! over a tick:      the larger of  d_before² − d_now²                  what charging the capacitor costs
//!                            and   2 · d_now² · dt / (R_pre · C)       what at least flows, charging or not
//!                   as a fraction of E, with d = (pack − link) / V
//! rise:             + rise per start · fraction,  − rise · dt / cooling time constant
//! ```
//! `V` is the nominal pack voltage, `dt` the time since the frame before. The first term is exact for a start without load, however
//! far apart the frames are; the second for a link that stalls or is shorted, which adds one full start every half time
//! constant without end. In the tick in which the link first rises only the first counts: contact was made somewhere within it.
//! A current into a link that has not risen is a short circuit, or contact was made just before the reading: it counts in the next
//! tick, and only if the link has not risen in that one either.

use crate::config::Checked;
use crate::kept::{Laid, Reader, Writer};
use crate::units::{Celsius, Millis, Ratio, Volts};

/// The resistor by its model.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Resistor {
    rise: Celsius,
    /// Energy of the running start, in full starts.
    start: Ratio,
    /// Square of the voltage across it, as a fraction of the nominal pack voltage, a tick ago.
    before: Option<Ratio>,
    /// What the last tick has added if it was a short circuit.
    doubted: Ratio,
}

/// How the voltage across the resistor is to be counted in this tick.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum Conducts {
    /// No current.
    Not,
    /// The link has begun to rise in this tick.
    FromNow,
    /// For the whole tick, or in its last moment only: the next one tells.
    Perhaps,
    /// For the whole tick.
    Throughout,
}

impl Resistor {
    pub(super) const COLD: Self =
        Self { rise: Celsius::ZERO, start: Ratio::ZERO, before: None, doubted: Ratio::ZERO };

    /// Rise above its surroundings.
    pub(super) const fn rise(&self) -> Celsius {
        self.rise
    }

    /// The rise, with what is only suspected yet.
    pub(super) fn keep(&self, to: &mut Writer<'_>, config: &Checked) {
        (self.rise + config.sequence.resistor_rise_per_start.scaled(self.doubted)).write(to);
    }

    /// As hot as the record says, and by what the whole pack may have driven through it in the time after that; but then no hotter than
    /// is allowed, which would accuse it of what nobody saw.
    pub(super) fn restore(&mut self, from: &mut Reader<'_>, unseen: Millis, config: &Checked) {
        let kept: Celsius = from.next();
        let more = config.sequence.resistor_rise_per_start.scaled(flows(Ratio::ONE, unseen, config));
        self.heat_up(config);
        *self = Self { rise: kept.max(self.rise.min(kept + more)), ..Self::COLD };
    }

    /// As hot as it may be.
    pub(super) fn heat_up(&mut self, config: &Checked) {
        self.rise = Celsius::from_bits(config.sequence.resistor_rise_most.bits().saturating_sub(1));
    }

    /// A new start begins, or one has ended. What was doubted until then was a short circuit: nothing has risen.
    pub(super) fn begin(&mut self, config: &Checked) {
        self.rise = self.rise + config.sequence.resistor_rise_per_start.scaled(self.doubted);
        (self.start, self.before, self.doubted) = (Ratio::ZERO, None, Ratio::ZERO);
    }

    /// The larger of the rise as a fraction of the most allowed, and the energy of this start as a fraction of two full starts.
    pub(super) fn heat(&self, config: &Checked) -> Ratio {
        let rise = self.rise.fraction_of(config.sequence.resistor_rise_most).unwrap_or(Ratio::MAX);
        rise.max(Ratio::from_bits(self.start.bits() / 2))
    }

    /// Whether this start has taken twice what a full start takes.
    pub(super) fn overloaded(&self) -> bool {
        self.start >= Ratio::ONE + Ratio::ONE
    }

    /// The most rise with which another start is allowed: half a start below the most of all. A third full start in a row ends
    /// near the most; a fourth is refused.
    pub(super) fn most_for_a_start(config: &Checked) -> Celsius {
        let half = Celsius::from_bits(config.sequence.resistor_rise_per_start.bits() / 2);
        config.sequence.resistor_rise_most - half
    }

    /// Lets time pass with this voltage across it.
    pub(super) fn pass(&mut self, across: Volts, conducts: Conducts, elapsed: Millis, config: &Checked) {
        let facts = &config.sequence;
        let part = across.fraction_of(config.pack.nominal).unwrap_or(Ratio::ZERO);
        let square = part.scaled(part);
        let before = self.before.replace(square).unwrap_or(square);
        let charged = (before - square).max(Ratio::ZERO);
        let throughout = charged.max(flows(square, elapsed, config));
        let doubted = core::mem::replace(&mut self.doubted, Ratio::ZERO);
        let share = match conducts {
            Conducts::Not => doubted,
            Conducts::FromNow => charged,
            Conducts::Perhaps => {
                self.doubted = throughout;
                doubted
            }
            Conducts::Throughout => throughout,
        };
        self.start = self.start + share;
        self.rise = self.rise + facts.resistor_rise_per_start.scaled(share);
        self.cool(elapsed, facts.resistor_cooling);
    }

    /// Lets time pass without current.
    pub(super) fn rest(&mut self, elapsed: Millis, config: &Checked) {
        self.cool(elapsed, config.sequence.resistor_cooling);
    }

    fn cool(&mut self, elapsed: Millis, constant: Millis) {
        let share = i64::from(self.rise.bits())
            .saturating_mul(i64::from(elapsed.0.min(constant.0)))
            .checked_div(i64::from(constant.0))
            .unwrap_or(i64::from(self.rise.bits()));
        self.rise = self.rise - Celsius::from_wide(share);
    }
}

/// What flows in so long with this square across it, charging or not, in full starts.
fn flows(square: Ratio, time: Millis, config: &Checked) -> Ratio {
    let facts = &config.sequence;
    let micros = i64::from(facts.precharge_ohms.0).saturating_mul(i64::from(facts.link_microfarads));
    let twice = i64::from(square.bits()).saturating_mul(i64::from(time.0).saturating_mul(2_000));
    Ratio::from_wide(twice.checked_div(micros).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests {
    use super::super::precharge::curve;
    use super::*;
    use crate::config::Config;

    fn crane() -> Checked {
        Config::crane().check(96, 16).expect("the default is valid")
    }

    fn start(resistor: &mut Resistor, config: &Checked, link: impl Fn(u32) -> Volts) {
        resistor.begin(config);
        resistor.pass(config.pack.nominal, Conducts::Not, Millis(10), config);
        for tick in 1..30 {
            let conducts = if tick == 1 { Conducts::FromNow } else { Conducts::Throughout };
            resistor.pass(config.pack.nominal - link(tick * 10), conducts, Millis(10), config);
        }
    }

    /// ½CV² whatever the resistance (TI TIDUF73): one start is one full start, to 1 %.
    #[test]
    fn a_healthy_start_takes_one_full_start() {
        let (config, mut resistor) = (crane(), Resistor::COLD);
        start(&mut resistor, &config, |ms| curve(Volts::ZERO, config.pack.nominal, Millis(ms), Millis(50)));
        let found = resistor.start.milli();
        assert!((990..=1_010).contains(&found), "{found}");
        let rise = resistor.rise().milli();
        assert!((28_500..=31_200).contains(&rise), "{rise} m°C"); // 30 °C a start by configuration
    }

    /// V²/R · t = 307.2²/50 · 50 ms = 94.4 J = twice the 47.2 J of a start: a short reaches the limit after one R·C.
    #[test]
    fn a_shorted_link_uses_two_starts_in_one_time_constant() {
        let (config, mut resistor) = (crane(), Resistor::COLD);
        resistor.pass(config.pack.nominal, Conducts::Not, Millis(10), &config);
        for _ in 0..4 {
            resistor.pass(config.pack.nominal, Conducts::Throughout, Millis(10), &config);
            assert!(!resistor.overloaded());
        }
        resistor.pass(config.pack.nominal, Conducts::Throughout, Millis(10), &config);
        assert!(resistor.start.milli() >= 1_999);
        resistor.pass(config.pack.nominal, Conducts::Throughout, Millis(1), &config);
        assert!(resistor.overloaded() && resistor.heat(&config) >= Ratio::ONE);
    }

    /// Contact in the last moment of a tick: current flows and the link has not risen yet. Nothing has been spent before it rises.
    #[test]
    fn a_contact_just_before_a_reading_costs_no_more_than_a_start() {
        let (config, mut resistor) = (crane(), Resistor::COLD);
        resistor.begin(&config);
        resistor.pass(config.pack.nominal, Conducts::Perhaps, Millis(10), &config);
        for tick in 1..30 {
            let link = curve(Volts::ZERO, config.pack.nominal, Millis(tick * 10), Millis(50));
            let conducts = if tick == 1 { Conducts::FromNow } else { Conducts::Throughout };
            resistor.pass(config.pack.nominal - link, conducts, Millis(10), &config);
        }
        let found = resistor.start.milli();
        assert!((990..=1_010).contains(&found), "{found}");
    }

    /// A short that ends before the next tick could tell has heated the resistor all the same: 2 · 10 ms / 50 ms of a start.
    #[test]
    fn a_short_in_the_last_tick_of_a_start_is_counted() {
        let (config, mut resistor) = (crane(), Resistor::COLD);
        resistor.begin(&config);
        resistor.pass(config.pack.nominal, Conducts::Perhaps, Millis(10), &config);
        resistor.begin(&config);
        let rise = resistor.rise().milli();
        assert!((11_900..=12_100).contains(&rise), "{rise} m°C"); // 0.4 of 30 °C a start
    }

    /// Three full starts are allowed, the fourth is refused, and after one cooling time constant (e⁻¹: 37 %) two fit again.
    #[test]
    fn the_fourth_start_in_a_row_is_refused_and_cooling_helps() {
        let (config, mut resistor) = (crane(), Resistor::COLD);
        for _ in 0..3 {
            assert!(resistor.rise() <= Resistor::most_for_a_start(&config));
            start(&mut resistor, &config, |ms| {
                curve(Volts::ZERO, config.pack.nominal, Millis(ms), Millis(50))
            });
        }
        assert!(resistor.rise() > Resistor::most_for_a_start(&config));
        let hot = resistor.rise().milli();
        for _ in 0..6_000 {
            resistor.rest(Millis(10), &config);
        }
        let cooled = i64::from(resistor.rise().milli()) * 1_000 / i64::from(hot);
        assert!((360..=376).contains(&cooled), "{cooled} ‰");
        assert!(resistor.rise() <= Resistor::most_for_a_start(&config));
    }
}
