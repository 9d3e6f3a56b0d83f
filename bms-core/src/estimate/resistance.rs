//! # Resistance by load steps
//!
//! Decides what resistance each cell, with the joint between its taps, shows when the current steps:
//!
//! ```text
//! R = (V after − V before) / (I after − I before)                      in Ω; the pulse resistance of any cell test manual
//! expected = median over the pack of R / f(T) · f(T of this cell)      f(T) = exp(E/R (1/T − 1/298.15 K)), E = 20 kJ/mol; T: likely
//! excess = R − expected                                                in mΩ as measured
//! ```
//!
//! `before` is the mean of a short block just before the step, `after` the mean of a window that begins when the current has
//! stood still for a while: R0 and little of R1. The figure means nothing without its window. The energy of activation is from memory
//! for this class of cell.
//!
//! The excess is judged as measured: brought to 25 °C, a joint's 2 mΩ would be divided by five in the freezer, and a joint does
//! not grow in the cold. Voltage and current are not sampled at the same instant: a step whose current still moves in its window is
//! thrown away. The beginning of a hoist is a step, and its end is another one.
//!
//! `T` is what the module's believed sensors make likely. A thermistor that reads far too warm in the cold would otherwise let little be
//! expected of a sound cell beside it, and accuse it of what the cold does to all of them (see `sense::module`).
//!
//! One odd step proves nothing: each cell keeps its last three, and the weakest of them counts. What is kept says how the pack was,
//! not how it is: once the workshop has been at it, it is void, and the next three steps decide.

use super::cold::growth;
use super::follow::{Follow, Following};
use super::median::median;
use super::modules::ByModule;
use super::{Discarded, LoadStep};
use crate::config::{Checked, Config, ResistanceFacts};
use crate::each::Each;
use crate::sense::{Believed, ModuleRange, Temperatures};
use crate::units::{Amps, Milliohms, Millis, Ratio, Volts};
use crate::witness::{Evidence, Witness};

/// A window takes no more samples than this, so that sums of them fit.
const MOST_SAMPLES: u8 = 200;

/// What is kept of one step for each cell: excess less its part that scales with what is expected, in 1/256 mΩ.
type Kept = i16;

/// Before three steps.
const NO_STEP: Kept = Kept::MIN;

/// Sums over a window.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Window {
    amps: i64,
    samples: u8,
    time: Millis,
    lowest: Amps,
    highest: Amps,
    /// The pack voltage; `None` once it was missing.
    pack: Option<i64>,
}

impl Window {
    const EMPTY: Self = Self {
        amps: 0,
        samples: 0,
        time: Millis::ZERO,
        lowest: Amps::MAX,
        highest: Amps::MIN,
        pack: Some(0),
    };

    fn take(&mut self, amps: Amps, pack: Option<Volts>, elapsed: Millis) {
        self.amps = self.amps.saturating_add(i64::from(amps.bits()));
        self.samples = self.samples.saturating_add(1);
        self.time = self.time + elapsed;
        self.lowest = self.lowest.min(amps);
        self.highest = self.highest.max(amps);
        self.pack = self.pack.zip(pack).map(|(sum, volts)| sum.saturating_add(i64::from(volts.bits())));
    }

    fn is_over(&self, length: Millis) -> bool {
        self.time >= length || self.samples >= MOST_SAMPLES
    }

    fn mean(&self) -> Amps {
        self.amps.checked_div(i64::from(self.samples)).map_or(Amps::ZERO, Amps::from_wide)
    }
}

/// What a window takes of one frame: each cell, the current, and the pack voltage if it is believed.
type Readings<'a, const CELLS: usize> = (&'a Each<Volts, CELLS>, Amps, Option<Volts>);

/// Where a step stands.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
enum Phase {
    /// The current stands still, or nothing is known of it yet.
    Quiet,
    /// It moves, or has not stood still for long enough, near `around`.
    Moving { around: Amps, still: Millis, since: Millis },
    /// It stands, and the window after the step is taken.
    Settled { around: Amps },
}

/// Load steps, and what the last three of them said.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Steps<const CELLS: usize> {
    phase: Phase,
    /// The running window, and its sum of each cell's voltage.
    window: Window,
    sums: Each<i32, CELLS>,
    /// The last full block in which the current stood still.
    before: Window,
    before_sums: Each<i32, CELLS>,
    /// Whether nothing bled and no precharge ran since the block before began.
    undisturbed: bool,
    last_three: Each<[Kept; 3], CELLS>,
    worst: Option<LoadStep>,
    follow: Follow<CELLS>,
    against_current: Option<u8>,
    discarded: u16,
}

impl<const CELLS: usize> Steps<CELLS> {
    pub(super) fn new() -> Self {
        Self {
            phase: Phase::Quiet,
            window: Window::EMPTY,
            sums: Each::all(0),
            before: Window::EMPTY,
            before_sums: Each::all(0),
            undisturbed: true,
            last_three: Each::all([NO_STEP; 3]),
            worst: None,
            follow: Follow::new(),
            against_current: None,
            discarded: 0,
        }
    }

    /// The cell whose weakest excess of the last three steps is largest.
    pub(super) const fn worst(&self) -> Option<LoadStep> {
        self.worst
    }

    /// The cell whose reading followed the last three steps least; `None` before three steps.
    pub(super) const fn least_following(&self) -> Option<Following> {
        self.follow.least()
    }

    /// Steps in a row in which the cells moved against the current; `None` before any step.
    pub(super) const fn against_current(&self) -> Option<u8> {
        self.against_current
    }

    /// Steps that were not used since the start.
    pub(super) const fn discarded(&self) -> u16 {
        self.discarded
    }

    /// A new cell: what the old one showed is void.
    pub(super) fn replace(&mut self, cell: u8) {
        if let Some(last) = self.last_three.at_mut(cell) {
            *last = [NO_STEP; 3];
        }
        if self.worst.is_some_and(|worst| worst.cell == cell) {
            self.worst = None;
        }
        self.follow.replace(cell);
    }

    /// The workshop has been at cells and joints: what they showed is void.
    pub(super) fn forget_excess(&mut self) {
        self.last_three = Each::all([NO_STEP; 3]);
        self.worst = None;
    }

    /// The workshop has been at the cells' channels: how they followed is void.
    pub(super) fn forget_following(&mut self) {
        self.follow.forget();
    }

    /// The workshop has been at the current sensor: what contradicted it is void.
    pub(super) const fn forget_contradictions(&mut self) {
        self.against_current = None;
    }

    /// Takes one frame. `undisturbed` says that nothing bled and no precharge ran since the frame before.
    pub(super) fn advance<const THERMISTORS: usize, W: Witness>(
        &mut self,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        undisturbed: bool,
        config: &Checked,
        witness: &mut W,
    ) {
        let seen = believed.cells.as_ref().zip(believed.current.as_ref());
        let usable = !believed.repeated && believed.elapsed <= config.pack.oldest_age;
        let Some((cells, current)) = seen.filter(|_| usable) else {
            self.break_off(Discarded::ReadingMissing, Amps::ZERO, witness);
            return;
        };
        self.undisturbed &= undisturbed;
        let (facts, elapsed, amps) = (&config.pack.resistance, believed.elapsed, current.amps);
        let seen = (cells.volts, amps, believed.voltages.map(|voltages| voltages.pack));
        match self.phase {
            Phase::Quiet => self.wait_for_step(seen, elapsed, undisturbed, facts),
            Phase::Moving { around, still, since } => {
                let since = since + elapsed;
                let stands = (amps - around).abs() <= self.band(amps, facts);
                let still = if stands { still + elapsed } else { Millis::ZERO };
                let around = if stands { around } else { amps };
                if still >= facts.settle {
                    // Around where it has come to rest: its last approach would otherwise use up the band, and noise the rest.
                    self.phase = Phase::Settled { around: amps };
                    self.begin_window();
                } else if since > facts.longest_move + facts.settle {
                    self.break_off(Discarded::CurrentMoved, amps - self.before.mean(), witness);
                } else {
                    self.phase = Phase::Moving { around, still, since };
                }
            }
            Phase::Settled { around } => {
                if (amps - around).abs() > self.band(amps, facts) {
                    self.break_off(Discarded::CurrentMoved, amps - self.before.mean(), witness);
                    return;
                }
                self.take(seen, elapsed);
                if self.window.is_over(facts.after) {
                    self.finish(&believed.temperatures, config, witness);
                }
            }
        }
    }

    /// How far the current may be from where it stands: a part of the step, and never less than that part of the least step.
    fn band(&self, amps: Amps, facts: &ResistanceFacts) -> Amps {
        (amps - self.before.mean()).abs().max(facts.least_step).scaled(facts.steady)
    }

    /// Keeps the last quiet block, and sees when the current leaves it.
    fn wait_for_step(
        &mut self,
        seen: Readings<'_, CELLS>,
        elapsed: Millis,
        undisturbed: bool,
        facts: &ResistanceFacts,
    ) {
        let (_, amps, _) = seen;
        let band = facts.least_step.scaled(facts.steady);
        let left = (amps - self.before.mean()).abs() > band + band;
        if self.before.samples > 0 && left {
            self.phase = Phase::Moving { around: amps, still: Millis::ZERO, since: Millis::ZERO };
            return;
        }
        self.take(seen, elapsed);
        if self.window.is_over(facts.before) {
            if self.window.highest - self.window.lowest <= band + band {
                self.before = self.window;
                self.before_sums = self.sums;
                self.undisturbed = undisturbed;
            } else {
                self.before = Window::EMPTY;
            }
            self.begin_window();
        }
    }

    fn begin_window(&mut self) {
        self.window = Window::EMPTY;
    }

    /// Adds one sample. The sums wrap only for readings of thousands of volts, and then mean nothing anyway.
    fn take(&mut self, (volts, amps, pack): Readings<'_, CELLS>, elapsed: Millis) {
        if self.window.samples == 0 {
            self.sums.iter_mut().zip(volts).for_each(|(sum, volts)| *sum = volts.bits());
        } else {
            self.sums.iter_mut().zip(volts).for_each(|(sum, volts)| *sum = sum.wrapping_add(volts.bits()));
        }
        self.window.take(amps, pack, elapsed);
    }

    /// Ends a step without using it, or forgets the block that was being taken.
    fn break_off<W: Witness>(&mut self, because: Discarded, amps: Amps, witness: &mut W) {
        if self.phase != Phase::Quiet {
            self.discarded = self.discarded.saturating_add(1);
            witness.tell(|| Evidence::LoadStepDiscarded { because, amps });
        }
        self.phase = Phase::Quiet;
        self.before = Window::EMPTY;
        self.undisturbed = true;
        self.begin_window();
    }

    /// The window after the step is full: uses the step, unless something speaks against it.
    fn finish<const THERMISTORS: usize, W: Witness>(
        &mut self,
        temperatures: &Temperatures<THERMISTORS>,
        config: &Config,
        witness: &mut W,
    ) {
        let amps = self.window.mean() - self.before.mean();
        let refused = if amps.abs() < config.pack.resistance.least_step {
            Some(Discarded::TooSmall)
        } else if self.undisturbed {
            None
        } else {
            Some(Discarded::NotQuiet)
        };
        if let Some(because) = refused {
            self.break_off(because, amps, witness);
            return;
        }
        let (median, pack) = self.measure(amps, temperatures, config);
        self.follow.take((&self.sums, median), pack, temperatures, config);
        self.phase = Phase::Quiet;
        self.before = Window::EMPTY;
        if median < 0 {
            // Resistance is never negative: the sign of the current is wrong, or it is not the cells' current.
            self.against_current = Some(self.against_current.unwrap_or(0).saturating_add(1));
        } else {
            self.against_current = Some(0);
            self.judge(median, amps, temperatures, config, witness);
        }
        self.begin_window();
    }

    /// Turns the two windows into resistances: in `sums` as measured, in `before_sums` brought to 25 °C. The median of the latter, and
    /// the resistance of the pack.
    fn measure<const THERMISTORS: usize>(
        &mut self,
        amps: Amps,
        temperatures: &Temperatures<THERMISTORS>,
        config: &Config,
    ) -> (i32, Option<Milliohms>) {
        let (before, after) = (i64::from(self.before.samples), i64::from(self.window.samples));
        // 1 000 mΩ an ohm; 2⁴⁰ keeps the reciprocal exact to 0.01 % and its product within 64 bits for any cell voltage.
        let divisor = i64::from(amps.bits()).saturating_mul(before).saturating_mul(after);
        let reciprocal = (1_000_i64 << 40).checked_div(divisor).unwrap_or(0);
        let resistance = |sum: i64, sum_before: i64| {
            let rise = sum.saturating_mul(before).saturating_sub(sum_before.saturating_mul(after));
            Milliohms::from_wide(rise.saturating_mul(reciprocal) >> 24)
        };
        let mut factors = ByModule::new(temperatures, config, Ratio::ONE, likely);
        for (sum, sum_before) in self.sums.iter_mut().zip(&mut self.before_sums) {
            let measured = resistance(i64::from(*sum), i64::from(*sum_before));
            *sum = measured.bits();
            let at_25 = (i64::from(measured.bits()) << 16).checked_div(i64::from(factors.next().bits()));
            *sum_before = at_25.map_or(0, |bits| Milliohms::from_wide(bits).bits());
        }
        let pack =
            self.window.pack.zip(self.before.pack).map(|(sum, sum_before)| resistance(sum, sum_before));
        (median(&self.before_sums.iter()), pack)
    }

    /// Holds every cell against the median and keeps its excess.
    fn judge<const THERMISTORS: usize, W: Witness>(
        &mut self,
        median: i32,
        amps: Amps,
        temperatures: &Temperatures<THERMISTORS>,
        config: &Config,
        witness: &mut W,
    ) {
        let facts = &config.pack.resistance;
        let usual = i64::from(facts.expected.bits());
        let within = i64::from(facts.median_within);
        let least = usual.checked_div(within).unwrap_or(usual);
        let typical = i64::from(median).max(least).min(usual.saturating_mul(within).max(least));
        let typical = Milliohms::from_wide(typical);
        let mut factors = ByModule::new(temperatures, config, Ratio::ONE, likely);
        let mut cell = 0_u8;
        let (mut shown, mut worst) = (None, None);
        for (measured, last_three) in self.sums.iter().zip(&mut self.last_three) {
            let resistance = Milliohms::from_bits(*measured);
            let expected = typical.scaled(factors.next());
            let scaled = expected.scaled(facts.excess_of_expected);
            let above = resistance - expected - scaled;
            let step = LoadStep {
                cell,
                volts: amps * resistance,
                amps,
                resistance,
                expected,
                allowed: facts.excess + scaled,
            };
            if shown.is_none_or(|(most, _)| above > most) {
                shown = Some((above, step));
            }
            let [_, second, third] = *last_three;
            *last_three = [second, third, kept(above)];
            let weakest = last_three.iter().copied().min().unwrap_or(NO_STEP);
            if weakest > NO_STEP && worst.is_none_or(|(most, _)| weakest > most) {
                worst = Some((weakest, step));
            }
            cell = cell.saturating_add(1);
        }
        if let Some((_, step)) = shown {
            witness.tell(|| Evidence::LoadStep(step));
        }
        self.worst = worst.map(|(weakest, step)| {
            let above = Milliohms::from_bits(i32::from(weakest) << 8);
            let resistance = step.expected + step.expected.scaled(facts.excess_of_expected) + above;
            LoadStep { resistance, volts: step.amps * resistance, ..step }
        });
    }
}

/// In 1/256 mΩ, never [`NO_STEP`].
fn kept(above: Milliohms) -> Kept {
    Kept::try_from(above.bits() >> 8)
        .unwrap_or(if above > Milliohms::ZERO { Kept::MAX } else { NO_STEP })
        .max(-Kept::MAX)
}

/// The factor of a module's likely temperature.
fn likely(range: &ModuleRange) -> Ratio {
    growth(range.likely)
}
