//! # Is the link charging as it should?
//!
//! Decides when precharge is over and when it has failed.
//!
//! ```text
//! link(t) = end − (end − start) · e^(−t/τ)      end = pack · k    k = R_d / (R_pre + R_d)    τ = k · R_pre · C
//! ```
//! Volts and milliseconds. `t` runs from the first rise that is more than measuring error (five times the stated error of a voltage),
//! not from the coil: a contactor takes 15–25 ms to pull in, half a time constant. The rise lies somewhere between the last
//! flat reading and the first risen one; every band allows for that gap. The curve is taken from the pack as it reads in
//! the same tick, since the pack sags and moves.
//!
//! | when | what is held against it | broken means |
//! | --- | --- | --- |
//! | `flat_after` the coil | no rise at all | flat; closing difference too large, if the link began so high that no rise could show |
//! | τ/2 and τ after the rise | the curve at twice the speed; at τ also the end limit | too fast: capacitance is missing |
//! | 2τ after the rise | the curve at a third of the speed, while it still climbs | too slow |
//! | from the rise on | a rise of 2 % of the pack within one τ (a healthy one has 3 % until it is charged) | stalled: a load is on |
//! | `time_constants` · τ | the end limit | too slow |
//! | from the coil on | the end limit above the pack | closing difference too large: something else feeds the link, or has |
//! | at any time | two full starts' energy in the resistor (see `resistor`) | flat if nothing rose, too slow if it climbs, else stalled |
//!
//! A slow start and a heavy load both leave the link low. A load also makes it fast: it lies beside the bleed-down and shortens τ. Of what the
//! link has risen by 2τ, the last τ brings `x/(1 + x)` with `x = e^(−τ/τ′)`: 27 % at the right speed, less with a load, 42 % at a third of
//! the speed and at most a half. From a third on it climbs; below it levels off, and what holds it there is a load.
//!
//! The end limit is held against both measures of the pack, its own meter and the sum of its cells (see `measured`); the curve is drawn to the
//! higher one.
//!
//! The end limit holds on both sides, since current flows either way when positive closes onto a difference. Below the pack the start is
//! not over, and what is wrong has a name of its own; above it nothing is wrong with precharge, which cannot lift a link that far: a
//! turning motor does.
//!
//! A flat link says that no current came through, or that it went past the capacitor. By voltages alone an open contactor and an open
//! resistor are the same; the contactor's feedback contact tells them apart as far as it can be believed (see `closing`).
//!
//! Twice the speed leaves room for a cold capacitor (a fifth smaller at −25 °C) and for resistor tolerance. The band means nothing
//! with fewer than three ticks a time constant: such a configuration is refused. A load `R_L` stalls the link where the currents
//! balance, `(pack − link)/R_pre = link/R_d + link/R_L`, so the level tells the ohms. Charge law: TI TIDUF73 (2024), equation 1.

use super::measured::Both;
use super::{Finding, PrechargeCheck};
use crate::config::{Checked, Config};
use crate::fault::Fault;
use crate::frame::PackVoltages;
use crate::units::{Millis, Ohms, Ratio, Volts};

/// `e^(−x)` for x = 4, 2, 1, ½ … 2⁻¹⁶, in steps of 2⁻³².
const DECAYS: [u32; 19] = [
    78_665_070,
    581_260_615,
    1_580_030_169,
    2_605_029_347,
    3_344_923_893,
    3_790_295_335,
    4_034_748_382,
    4_162_825_044,
    4_228_380_000,
    4_261_543_595,
    4_278_222_805,
    4_286_586_875,
    4_290_775_039,
    4_292_870_656,
    4_293_918_848,
    4_294_443_040,
    4_294_705_160,
    4_294_836_226,
    4_294_901_760,
];

/// `e^(−time/constant)`: the share that is left of what decays. Zero from eight time constants on (0.03 %) and for no constant.
///
/// The exponent is taken apart into powers of two, whose values are multiplied: error below 2 steps (30 ppm).
pub(crate) fn decay(time: Millis, constant: Millis) -> Ratio {
    const EIGHT: u64 = 8 << 16;
    let exponent = (u64::from(time.0) << 16).checked_div(u64::from(constant.0)).unwrap_or(EIGHT);
    if exponent >= EIGHT {
        return Ratio::ZERO;
    }
    let (mut product, mut bit) = (1_u64 << 32, 1_u64 << 18);
    for factor in DECAYS {
        if exponent & bit != 0 {
            product = product.saturating_mul(u64::from(factor)) >> 32;
        }
        bit >>= 1;
    }
    Ratio::from_wide(i64::try_from(product.saturating_add(1 << 15) >> 16).unwrap_or(i64::MAX))
}

/// A voltage on its way from `start` to `end`.
pub(super) fn curve(start: Volts, end: Volts, time: Millis, constant: Millis) -> Volts {
    end - (end - start).scaled(decay(time, constant))
}

/// The most that pack and link may differ when positive closes: a fraction of the pack or a voltage, whichever is smaller.
pub(super) fn end_limit(pack: Volts, config: &Checked) -> Volts {
    pack.scaled(config.sequence.end_fraction).min(config.sequence.end_volts)
}

/// Whether pack and link are so near that positive may close, by either measure of the pack. Both signs of the difference count.
pub(super) fn may_close(both: &Both, config: &Checked) -> bool {
    is_charged(&both.low, config) && is_charged(&both.high, config)
}

/// Whether pack and link are as near as the end limit. Both signs of the difference count.
pub(super) fn is_charged(voltages: &PackVoltages, config: &Checked) -> bool {
    voltages.pack > Volts::ZERO && (voltages.pack - voltages.link).abs() <= end_limit(voltages.pack, config)
}

/// The link and its bound, where the link lies so far above the pack that positive must not close.
pub(super) fn too_far_above(voltages: &PackVoltages, config: &Checked) -> Option<Finding> {
    let most = voltages.pack + end_limit(voltages.pack, config);
    (voltages.link > most).then(|| Finding::broken(voltages.link, most))
}

/// The smallest change of a voltage that is more than measuring error: five times the stated error.
pub(super) fn significant(config: &Config) -> Volts {
    let bits = i64::from(config.sensing.voltage_error.bits());
    Volts::from_wide(bits.saturating_mul(5))
}

/// The load that would hold the link at this level; `None` where the bleed-down alone explains it, or more.
pub(super) fn load_at(link: Volts, pack: Volts, config: &Checked) -> Option<Ohms> {
    let precharge = i64::from(config.sequence.precharge_ohms.0);
    let bleed_down = i64::from(config.sequence.bleed_down_ohms.0);
    let (missing, level) = (i64::from((pack - link).milli()), i64::from(link.milli()));
    let unexplained = missing.saturating_mul(bleed_down).saturating_sub(level.saturating_mul(precharge));
    if level < 0 || unexplained <= 0 {
        return None;
    }
    let ohms = level.saturating_mul(precharge).saturating_mul(bleed_down).checked_div(unexplained)?;
    Some(Ohms(u32::try_from(ohms).unwrap_or(u32::MAX)))
}

/// What one look at the link yields.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) enum Verdict {
    /// As it should, or nothing to judge yet.
    Rising,
    /// Within the end limit, so long after the rise.
    Charged { within: Volts, after: Millis },
    /// A check failed.
    Failed(Failure, Finding),
}

/// What can be wrong with a start of precharge.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum Failure {
    /// No rise at all.
    Flat,
    /// The rise ended below the end limit.
    Stalled,
    /// The end limit is not met in time.
    TooSlow,
    /// The link rose too early.
    TooFast,
    /// The link lies above the pack.
    Above,
}

impl Failure {
    /// The fault that it is.
    pub(super) const fn fault(self) -> Fault {
        match self {
            Self::Flat => Fault::PrechargeFlat,
            Self::Stalled => Fault::PrechargeStalled,
            Self::TooSlow => Fault::PrechargeTooSlow,
            Self::TooFast => Fault::PrechargeTooFast,
            Self::Above => Fault::ClosingDifferenceLarge,
        }
    }
}

/// The points of the curve at which the band is held against it, in order.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
enum Next {
    Half,
    Whole,
    Twice,
    Done,
}

/// One start of precharge as it is watched.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(super) struct Start {
    from: Volts,
    since_coil: Millis,
    since_rise: Option<Millis>,
    gap: Millis,
    next: Next,
    /// The link as it read one, two, three and four quarters of a time constant ago.
    marks: [Volts; 4],
    /// How long ago each was taken: where frames are lost that is more.
    ages: [Millis; 4],
}

impl Start {
    /// From this voltage of the link, at the instant of the coil.
    pub(super) const fn new(from: Volts) -> Self {
        Self {
            from,
            since_coil: Millis::ZERO,
            since_rise: None,
            gap: Millis::ZERO,
            next: Next::Half,
            marks: [from; 4],
            ages: [Millis::ZERO; 4],
        }
    }

    /// Whether the link has risen.
    pub(super) const fn has_risen(&self) -> bool {
        self.since_rise.is_some()
    }

    /// Time since the coil was energised.
    pub(super) const fn since_coil(&self) -> Millis {
        self.since_coil
    }

    /// Lets time pass; without voltages nothing is judged.
    pub(super) fn pass(&mut self, elapsed: Millis) {
        self.since_coil = self.since_coil + elapsed;
        self.ages = self.ages.map(|age| age + elapsed);
        match &mut self.since_rise {
            Some(since) => *since = *since + elapsed,
            None => self.gap = self.gap + elapsed,
        }
    }

    /// Looks at the link.
    pub(super) fn look(&mut self, both: &Both, config: &Checked) -> (Verdict, PrechargeCheck) {
        let seen = &both.high;
        let constant = config.sequence.time_constant();
        if self.since_rise.is_none() {
            if seen.link - self.from > significant(config) {
                self.since_rise = Some(Millis::ZERO);
            } else {
                self.gap = Millis::ZERO;
            }
        }
        let [_, _, _, oldest] = self.marks;
        let rise = (seen.link - oldest).fraction_of(seen.pack).unwrap_or(Ratio::ZERO);
        let rise = per_constant(rise, self.ages, constant);
        self.mark(seen.link, constant);
        let verdict = self.judge(both, rise, constant, config);
        let check = PrechargeCheck {
            since_rise: self.since_rise.unwrap_or(Millis::ZERO),
            link: seen.link,
            expected: self.since_rise.map_or(self.from, |since| self.expected(seen, since, constant, config)),
            pack: seen.pack,
            within: end_limit(seen.pack, config),
            rise,
            explained_by: None,
        };
        (verdict, check)
    }

    /// Keeps the link's level every quarter of a time constant once it rises.
    fn mark(&mut self, link: Volts, constant: Millis) {
        let [latest, older, oldest, _] = self.ages;
        if self.since_rise.is_some() && latest >= Millis(constant.0 / 4) {
            let [first, second, third, _] = self.marks;
            self.marks = [link, first, second, third];
            self.ages = [Millis::ZERO, latest, older, oldest];
        }
    }

    fn expected(&self, seen: &PackVoltages, time: Millis, constant: Millis, config: &Checked) -> Volts {
        curve(self.from, seen.pack.scaled(config.sequence.end_ratio()), time, constant)
    }

    fn judge(&mut self, both: &Both, rise: Ratio, constant: Millis, config: &Checked) -> Verdict {
        if let Some(above) = too_far_above(&both.low, config) {
            return Verdict::Failed(Failure::Above, above);
        }
        let seen = &both.high;
        let Some(since) = self.since_rise else {
            // From there on precharge itself lifts the link by too little to be seen.
            let most = seen.pack.scaled(config.sequence.end_ratio()) - significant(config);
            return if self.since_coil < config.sequence.flat_after {
                Verdict::Rising
            } else if self.from > most {
                failed(Failure::Above, self.from, most)
            } else {
                failed(Failure::Flat, seen.link, self.from + significant(config))
            };
        };
        if let Some(failed) = self.band(seen, since, rise, constant, config) {
            return failed;
        }
        let end = seen.pack - end_limit(seen.pack, config);
        if since >= constant && may_close(both, config) {
            return Verdict::Charged { within: end_limit(seen.pack, config), after: since };
        }
        if rise < config.sequence.least_rise && seen.link < end {
            return failed(
                Failure::Stalled,
                seen.link,
                seen.link + seen.pack.scaled(config.sequence.least_rise - rise),
            );
        }
        let most = constant.0.saturating_mul(u32::from(config.sequence.time_constants));
        if since.0 >= most {
            return failed(Failure::TooSlow, seen.link, end);
        }
        Verdict::Rising
    }

    /// Whether the last time constant still brings a third or more of what the link has risen.
    pub(super) fn climbs(&self, seen: &PackVoltages, rise: Ratio) -> bool {
        let risen = (seen.link - self.from).fraction_of(seen.pack).unwrap_or(Ratio::ZERO);
        rise + rise + rise >= risen
    }

    /// The band at the points of the curve, each looked at once. A point that frames were lost around is passed over.
    fn band(
        &mut self,
        seen: &PackVoltages,
        since: Millis,
        rise: Ratio,
        constant: Millis,
        config: &Checked,
    ) -> Option<Verdict> {
        let latest = since + self.gap;
        let doubled = Millis(latest.0.saturating_mul(2));
        let fastest = self.expected(seen, doubled, constant, config);
        let timely = latest.0 <= constant.0.saturating_add(constant.0 / 2);
        let end = seen.pack - end_limit(seen.pack, config);
        match self.next {
            Next::Half if since.0 >= constant.0 / 2 => {
                self.next = Next::Whole;
                (timely && seen.link > fastest).then(|| failed(Failure::TooFast, seen.link, fastest))
            }
            Next::Whole if since >= constant => {
                self.next = Next::Twice;
                // A link that began near the end is there after one τ as well.
                let early = self.expected(seen, latest, constant, config) < end;
                let most = if early { fastest.min(end) } else { fastest };
                (timely && seen.link > most).then(|| failed(Failure::TooFast, seen.link, most))
            }
            Next::Twice if since.0 >= constant.0.saturating_mul(2) => {
                self.next = Next::Done;
                let slowest = self.expected(seen, Millis(since.0 / 3), constant, config);
                (rise >= config.sequence.least_rise && self.climbs(seen, rise) && seen.link < slowest)
                    .then(|| failed(Failure::TooSlow, seen.link, slowest))
            }
            Next::Half | Next::Whole | Next::Twice | Next::Done => None,
        }
    }
}

/// A rise since the oldest mark as one over a time constant; as it is where the mark is younger than that.
fn per_constant(rise: Ratio, [.., oldest]: [Millis; 4], constant: Millis) -> Ratio {
    let scaled = i64::from(rise.bits()).saturating_mul(i64::from(constant.0));
    Ratio::from_wide(scaled.checked_div(i64::from(oldest.max(constant).0)).unwrap_or(0))
}

const fn failed(failure: Failure, observed: Volts, bound: Volts) -> Verdict {
    Verdict::Failed(failure, Finding::broken(observed, bound))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;

    const MILLIVOLT: i32 = 66; // steps of 2⁻¹⁶ V

    /// 400 V, 50 Ω, 1 mF: 252.848 V after one time constant of 50 ms, 380.085 V after 150 ms; 95 % after 149.787 ms
    /// (charge law of TI TIDUF73, equation 1, computed to six digits).
    #[test]
    fn the_curve_is_the_closed_form() {
        let at = |ms| curve(Volts::ZERO, Volts::from_milli(400_000), Millis(ms), Millis(50));
        for (ms, millivolts) in [(0, 0), (50, 252_848), (150, 380_085)] {
            let off = (at(ms) - Volts::from_milli(millivolts)).abs();
            assert!(off.bits() <= 13 * MILLIVOLT, "{ms} ms: {} mV", at(ms).milli());
        }
        let end = Volts::from_milli(380_000);
        assert!(at(149) < end && end < at(150));
    }

    /// Printed fractions of a charged capacitor: 63.212 % at 1 τ, 86.466 % at 2 τ, 95.021 % at 3 τ, 98.168 % at 4 τ, 99.326 % at 5 τ
    /// (Sensata precharge calculator, and computed).
    #[test]
    fn the_decay_has_the_printed_fractions() {
        for (taus, left) in [(0, 1_000_000), (1, 367_879), (2, 135_335), (3, 49_787), (4, 18_316), (5, 6_738)]
        {
            let found = decay(Millis(taus * 47), Millis(47)).parts_per_million();
            assert!((found - left).abs() <= 31, "{taus} τ: {found}");
        }
        assert_eq!(decay(Millis(1), Millis::ZERO), Ratio::ZERO);
        assert_eq!(decay(Millis::MAX, Millis(1)), Ratio::ZERO);
    }

    /// It only ever falls.
    #[test]
    fn the_decay_is_monotone() {
        let mut before = Ratio::ONE;
        for ms in 0..9_000 {
            let now = decay(Millis(ms), Millis(1_000));
            assert!(now <= before, "at {ms}");
            before = now;
        }
    }

    /// 500 Ω and 2.5 kΩ in parallel are 416.7 Ω; with 50 Ω before them the link ends at 416.7/466.7 = 89.29 % (voltage divider).
    #[test]
    fn a_stall_tells_the_load() {
        let config = Config::crane().check(96, 16).expect("the default is valid");
        let pack = Volts::from_milli(300_000);
        let ohms = load_at(Volts::from_milli(267_857), pack, &config).map_or(0, |load| load.0);
        assert!((499..=501).contains(&ohms), "{ohms} Ω");
        assert_eq!(load_at(Volts::from_milli(294_200), pack, &config), None);
    }

    /// A fraction of a large pack, a voltage of none: 5 % of 51.2 V is 2.56 V, of 307.2 V 15.36 V; from 400 V on 20 V.
    #[test]
    fn the_end_limit_is_relative_on_a_small_pack() {
        let config = Config::trainer().check(16, 8).expect("the default is valid");
        for (pack, limit) in [(51_200, 2_560), (307_200, 15_360), (600_000, 20_000)] {
            let found = end_limit(Volts::from_milli(pack), &config).milli();
            assert!((found - limit).abs() <= 10, "{found} mV");
        }
    }
}
