//! What the sensors see: truth with offset, gain, noise, skew in time, range and steps.
//!
//! `reading = step · round((truth · (1 + gain) + offset + σ z) / step)`, held inside the channel's range. Offsets and gains are
//! drawn from the seed once (evenly up to the channel's largest), `z` is a normal draw of (seed, channel, tick). The current
//! channels are sampled a little earlier than the cell voltages: on a tick in which the current moves, they see less of it.

use super::World;
use super::bus::{NEGATIVE, POSITIVE, PRECHARGE};
use super::deviation::{CONTACTORS, CurrentDeviation, Deviations};
use super::heat::Heat;
use super::noise::{Draws, Noise};
use super::spec::{ChannelSpec, SensorSpec};
use super::thermistor;

/// All readings of one tick, quantised. Currents are positive into the pack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured<const CELLS: usize, const THERMISTORS: usize> {
    /// Voltage of each cell between its taps, in volts.
    pub cell_volts: [f64; CELLS],
    /// Voltage across each thermistor as a fraction of the divider's reference.
    pub thermistor_ratios: [f64; THERMISTORS],
    /// Main sensor, in amperes.
    pub current_amps: f64,
    /// Second sensor, in amperes.
    pub current_check_amps: f64,
    /// B+ to B−, in volts.
    pub pack_volts: f64,
    /// B+ to L−, in volts.
    pub behind_negative_volts: f64,
    /// L+ to B−, in volts.
    pub behind_positive_volts: f64,
    /// L+ to L−, in volts.
    pub link_volts: f64,
    /// Auxiliary supply, in volts.
    pub supply_volts: f64,
    /// Feedback contacts: negative, precharge, positive; true for closed.
    pub feedback: [bool; CONTACTORS],
}

/// The channels with their calibration, and what the thermistor dividers show now.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensors<const CELLS: usize, const THERMISTORS: usize> {
    noise: Noise,
    cell_gain: [f64; CELLS],
    cell_offset: [f64; CELLS],
    thermistor_offset: [f64; THERMISTORS],
    ratios: [f64; THERMISTORS],
    single: [Calibration; SINGLE],
    spec: SensorSpec,
}

/// Gain (about 1) and offset of a channel.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Calibration {
    gain: f64,
    offset: f64,
}

/// Channels of which there is one each: two currents, four voltages, the supply.
const SINGLE: usize = 7;
const CURRENT: usize = 0;
const CURRENT_CHECK: usize = 1;
const PACK: usize = 2;
const BEHIND_NEGATIVE: usize = 3;
const BEHIND_POSITIVE: usize = 4;
const LINK: usize = 5;
const SUPPLY: usize = 6;

impl<const CELLS: usize, const THERMISTORS: usize> Sensors<CELLS, THERMISTORS> {
    /// Channels with the calibration that the seed gives.
    #[must_use]
    pub fn new(spec: &SensorSpec, noise: Noise) -> Self {
        /// First of the parts that are drawn for calibration, beyond those of cells and contactors.
        const PARTS: u32 = 8 * 128 + 64;
        let part = |place: usize| PARTS + 2 * u32::try_from(place).unwrap_or(u32::MAX / 4);
        let calibration = |channel: &ChannelSpec, place: usize| Calibration {
            gain: 1.0 + channel.gain * noise.even(part(place)),
            offset: channel.offset * noise.even(part(place) + 1),
        };
        let channels = [
            &spec.current,
            &spec.current_check,
            &spec.pack,
            &spec.pack,
            &spec.pack,
            &spec.pack,
            &spec.supply,
        ];
        // Single channels first, then 128 places for cells, then thermistors.
        let cell = |place: usize| calibration(&spec.cell, 16 + place);
        Self {
            noise,
            cell_gain: core::array::from_fn(|place| cell(place).gain),
            cell_offset: core::array::from_fn(|place| cell(place).offset),
            thermistor_offset: core::array::from_fn(|place| {
                calibration(&spec.thermistor, 16 + 128 + place).offset
            }),
            ratios: [0.0; THERMISTORS],
            single: core::array::from_fn(|place| calibration(channels[place], place)),
            spec: spec.clone(),
        }
    }

    /// Works out what each thermistor's divider shows at this instant, without noise.
    pub fn see(&mut self, heat: &Heat<CELLS, THERMISTORS>, deviations: &Deviations<CELLS, THERMISTORS>) {
        for (place, ratio) in self.ratios.iter_mut().enumerate() {
            let deviation = &deviations.thermistors[place];
            *ratio = if deviation.open {
                1.0
            } else {
                let celsius = heat.thermistor_celsius[place] + deviation.offset_kelvin;
                thermistor::ratio(celsius, deviation.leak_siemens, self.spec.pull_up_ohms)
            };
        }
    }

    /// What a thermistor's divider shows now, without noise.
    #[must_use]
    pub fn ratio(&self, thermistor: usize) -> f64 {
        self.ratios[thermistor]
    }

    fn cells(
        &self,
        volts: &[f64; CELLS],
        draws: &[f32],
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> [f64; CELLS] {
        let channel = &self.spec.cell;
        let (noise, step, steps) = (channel.noise, channel.step, 1.0 / channel.step);
        let range = channel.range;
        let mut readings = [0.0; CELLS];
        let draws = &draws[..CELLS];
        for cell in 0..CELLS {
            let seen = volts[cell] * self.cell_gain[cell]
                + (self.cell_offset[cell] + deviations.cell_offset_volts[cell])
                + noise * f64::from(draws[cell]);
            readings[cell] = nearest(held(seen, range) * steps) * step;
        }
        let mut frozen = deviations.cells_frozen;
        while frozen != 0 {
            let cell = frozen.trailing_zeros() as usize;
            frozen &= frozen - 1;
            readings[cell] = nearest(deviations.frozen_volts[cell] * steps) * step;
        }
        readings
    }

    fn thermistors(&self, draws: &[f32], deviations: &Deviations<CELLS, THERMISTORS>) -> [f64; THERMISTORS] {
        let channel = &self.spec.thermistor;
        core::array::from_fn(|place| {
            let seen = match deviations.thermistors[place].frozen {
                Some(ratio) => ratio,
                None => {
                    self.ratios[place]
                        + self.thermistor_offset[place]
                        + channel.noise * f64::from(draws[place])
                }
            };
            nearest(seen.clamp(0.0, channel.range) / channel.step) * channel.step
        })
    }

    fn single(&self, which: usize, channel: &ChannelSpec, truth: f64, draws: &[f32]) -> f64 {
        let Calibration { gain, offset } = self.single[which];
        let seen = truth * gain + offset + channel.noise * f64::from(draws[which]);
        nearest(seen.clamp(-channel.range, channel.range) / channel.step) * channel.step
    }

    fn current(
        &self,
        which: usize,
        channel: &ChannelSpec,
        truth: f64,
        draws: &[f32],
        deviation: &CurrentDeviation,
    ) -> f64 {
        if deviation.dead {
            return 0.0;
        }
        self.single(which, channel, truth * (1.0 + deviation.gain) + deviation.offset_amps, draws)
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> World<CELLS, THERMISTORS> {
    /// What the sensors see at the end of the last step. Depends on the world and the tick's number only.
    #[must_use]
    pub fn measure(&self, tick: u64) -> Measured<CELLS, THERMISTORS> {
        let (sensors, deviations, bus) = (&self.sensors, &self.deviations, &self.bus);
        let draws: Draws<CELLS, THERMISTORS> = sensors.noise.draws(tick);
        let spec = &sensors.spec;
        let sampled = |channel: &ChannelSpec| {
            let share = (channel.earlier_seconds / self.step_seconds).min(1.0);
            self.flow.end_amps + share * (self.flow.start_amps - self.flow.end_amps)
        };
        let current = |which: usize, channel: &ChannelSpec| {
            sensors.current(which, channel, sampled(channel), draws.single(), &deviations.currents[which])
        };
        let pack = |which: usize, volts: f64| sensors.single(which, &spec.pack, volts, draws.single());
        let feedback = |which: usize| bus.contactors[which].feedback(&deviations.contactors[which]);
        Measured {
            cell_volts: sensors.cells(&self.cells.volts, draws.cells(), deviations),
            thermistor_ratios: sensors.thermistors(draws.thermistors(), deviations),
            current_amps: current(CURRENT, &spec.current),
            current_check_amps: current(CURRENT_CHECK, &spec.current_check),
            pack_volts: pack(PACK, bus.pack_volts),
            behind_negative_volts: pack(BEHIND_NEGATIVE, bus.behind_negative_volts()),
            behind_positive_volts: pack(BEHIND_POSITIVE, bus.behind_positive_volts()),
            link_volts: pack(LINK, bus.link_volts),
            supply_volts: sensors.single(SUPPLY, &spec.supply, self.supply.volts, draws.single()),
            feedback: [feedback(NEGATIVE), feedback(PRECHARGE), feedback(POSITIVE)],
        }
    }
}

/// Not beyond ± the range. Two plain comparisons, which become two vector instructions; the library's own also mind what is not a
/// number, which a voltage here never is.
#[inline]
fn held(value: f64, range: f64) -> f64 {
    let value = if value < range { value } else { range };
    if value > -range { value } else { -range }
}

/// The nearest whole number, halves to even, for amounts below 2⁵¹: adding 1.5·2⁵² leaves no place for a fraction. Unlike the
/// library's function it is a plain addition, which is vectorised everywhere.
#[inline]
pub(super) fn nearest(value: f64) -> f64 {
    const NO_FRACTION: f64 = 6_755_399_441_055_744.0;
    (value + NO_FRACTION) - NO_FRACTION
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_whole_number_is_found_on_both_sides() {
        for value in [-2.5, -1.51, -0.5, 0.0, 0.49, 0.5, 1.5, 33_123.499, 1e9 + 0.7] {
            assert!((nearest(value) - libm::rint(value)).abs() < f64::EPSILON, "{value}");
        }
    }
}
