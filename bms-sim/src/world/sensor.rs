//! What the sensors see: truth with offset, gain, noise, skew in time, range and steps.
//!
//! `reading = step · round((truth · (1 + gain) + offset + σ z) / step)`, held inside the channel's range. Offsets and
//! gains are drawn from the seed once (evenly up to the channel's largest), `z` is a normal draw of (seed, channel,
//! tick). The current channels are sampled a little earlier than the cell voltages: on a tick in which the current
//! moves, they see less of it.

use super::World;
use super::bus::{NEGATIVE, POSITIVE, PRECHARGE};
use super::deviation::{CurrentDeviation, Deviations, LinkReading};
use super::heat::Heat;
use super::noise::{Draws, Noise, POLES};
use super::spec::{ChannelSpec, SensorSpec};
use super::thermistor;
use bms_core::Each;
use bms_core::decision::CellSet;
use bms_core::frame::{
    Asked, Contact, Feedback, Frame, Inputs, PackVoltages, Part, PoleVoltages, Pulled, Turning,
};
use bms_core::units::{Amps, Instant, Ratio, Volts};

/// The channels with their calibration, and what the thermistor dividers show now.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensors<const CELLS: usize, const THERMISTORS: usize> {
    noise: Noise,
    cell_gain: [f64; CELLS],
    cell_offset: [f64; CELLS],
    thermistor_offset: [f64; THERMISTORS],
    ratios: [f64; THERMISTORS],
    single: [Calibration; SINGLE],
    poles: [Calibration; POLES],
    spec: SensorSpec,
}

/// Gain (about 1) and offset of a channel.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Calibration {
    gain: f64,
    offset: f64,
}

impl Calibration {
    /// What such a channel reads, in bits of 1/65 536 of its unit.
    fn reading(self, channel: &ChannelSpec, truth: f64, draw: f32) -> i32 {
        stepped(channel, truth * self.gain + self.offset + channel.noise * f64::from(draw))
    }
}

/// A channel whose noise can lean.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Channel {
    /// The voltage of this cell, from 0.
    Cell(usize),
    /// The main current sensor.
    Current,
    /// The check sensor.
    CurrentCheck,
    /// The pack voltage.
    Pack,
    /// The auxiliary supply.
    Supply,
    /// This thermistor, from 0.
    Thermistor(usize),
}

impl<const CELLS: usize, const THERMISTORS: usize> Draws<CELLS, THERMISTORS> {
    /// Shifts the draw of a channel, and gives it as it was; nothing happens at a place that there is not.
    fn lean(&mut self, channel: Channel, sigmas: f64) -> f64 {
        let draw = match channel {
            Channel::Cell(cell) => self.cells_mut().get_mut(cell),
            Channel::Current => self.single_mut().get_mut(CURRENT),
            Channel::CurrentCheck => self.single_mut().get_mut(CURRENT_CHECK),
            Channel::Pack => self.single_mut().get_mut(PACK),
            Channel::Supply => self.single_mut().get_mut(SUPPLY),
            Channel::Thermistor(place) => self.thermistors_mut().get_mut(place),
        };
        draw.map_or(0.0, |draw| {
            let drawn = *draw;
            #[expect(clippy::cast_possible_truncation, reason = "a draw is known to 24 bits")]
            let shifted = (f64::from(drawn) + sigmas) as f32;
            *draw = shifted;
            f64::from(drawn)
        })
    }
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
        Self::calibrated(spec, noise, |place| [noise.even(part(place)), noise.even(part(place) + 1)])
    }

    /// Channels that are off by these shares (−1 to 1) of their largest gain error and offset; `off` gives both for each place.
    fn calibrated(spec: &SensorSpec, noise: Noise, off: impl Fn(usize) -> [f64; 2]) -> Self {
        let calibration = |channel: &ChannelSpec, place: usize| {
            let [gain, offset] = off(place);
            Calibration { gain: 1.0 + channel.gain * gain, offset: channel.offset * offset }
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
            poles: core::array::from_fn(|place| calibration(&spec.pack, SINGLE + place)),
            spec: spec.clone(),
        }
    }

    /// Works out what each thermistor's divider shows at this instant, without noise.
    pub fn see(&mut self, heat: &Heat<CELLS, THERMISTORS>, deviations: &Deviations<CELLS, THERMISTORS>) {
        for (ratio, shown) in self.ratios.iter_mut().zip(deviations.thermistor_shown) {
            let deviation = &deviations.thermistors[shown];
            *ratio = if deviation.open {
                1.0
            } else {
                let celsius = heat.thermistor_celsius[shown] + deviation.offset_kelvin;
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
    ) -> Each<Volts, CELLS> {
        let channel = &self.spec.cell;
        let (noise, step, steps) = (channel.noise, channel.step, 1.0 / channel.step);
        let (least, range) = (self.spec.front_end.least_volts, channel.range);
        let draws = &draws[..CELLS];
        let mut readings = [Volts::ZERO; CELLS];
        for cell in 0..CELLS {
            let seen = volts[cell] * (self.cell_gain[cell] + deviations.cell_gain[cell])
                + (self.cell_offset[cell] + deviations.cell_offset_volts[cell])
                + noise * f64::from(draws[cell]);
            readings[cell] = Volts::from_bits(bits(nearest(between(seen, least, range) * steps) * step));
        }
        let mut frozen = deviations.cells_frozen;
        while frozen != 0 {
            let cell = frozen.trailing_zeros() as usize;
            frozen &= frozen - 1;
            readings[cell] = Volts::from_bits(bits(nearest(deviations.frozen_volts[cell] * steps) * step));
        }
        Each(readings)
    }

    fn thermistors(
        &self,
        draws: &[f32],
        deviations: &Deviations<CELLS, THERMISTORS>,
    ) -> Each<Ratio, THERMISTORS> {
        let channel = &self.spec.thermistor;
        Each(core::array::from_fn(|place| {
            let seen = match deviations.thermistors[place].frozen {
                Some(ratio) => ratio,
                None => {
                    self.ratios[place]
                        + self.thermistor_offset[place]
                        + channel.noise * f64::from(draws[place])
                }
            };
            Ratio::from_bits(bits(nearest(seen.clamp(0.0, channel.range) / channel.step) * channel.step))
        }))
    }

    /// The reading of a single channel, in bits of 1/65 536 of its unit.
    fn single(&self, which: usize, channel: &ChannelSpec, truth: f64, draws: &[f32]) -> i32 {
        self.single[which].reading(channel, truth, draws[which])
    }

    fn current(
        &self,
        which: usize,
        channel: &ChannelSpec,
        truth: f64,
        draws: &[f32],
        deviation: &CurrentDeviation,
        seconds: f64,
    ) -> Amps {
        if deviation.dead {
            return Amps::ZERO;
        }
        let drifted = deviation.drift.amps(seconds);
        let sign = if deviation.reversed { -1.0 } else { 1.0 };
        let seen = sign * truth * (1.0 + deviation.gain) + (deviation.offset_amps + drifted);
        Amps::from_bits(self.single(which, channel, seen, draws))
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> World<CELLS, THERMISTORS> {
    /// Puts every channel where it is off by this share (−1 to 1) of its largest gain error and offset, instead of where the seed put it:
    /// the corners of its tolerance are −1 and 1. `off` is asked for each channel by a number of its own; neighbours have neighbouring ones.
    pub fn recalibrate(&mut self, off: impl Fn(usize) -> f64) {
        let sensors = &self.sensors;
        self.sensors = Sensors::calibrated(&sensors.spec, sensors.noise, |place| [off(place); 2]);
        self.sensors.see(&self.heat, &self.deviations);
    }

    /// From now on other noise is drawn; what was drawn for the parts stays.
    pub fn renoise(&mut self, seed: u64) {
        self.sensors.noise = Noise::new(seed);
    }

    /// What the sensors see at the end of the last step, all parts fresh: the frame of this tick's number and
    /// instant, with what the operator asks for. The readings depend on the world and the tick's number only.
    #[must_use]
    pub fn measure(&self, tick: u64, at: Instant, asked: Asked) -> Frame<CELLS, THERMISTORS> {
        self.measure_with(&self.sensors.noise.draws(tick), tick, at, asked)
    }

    /// The same with noise of which some channels lean: their draws are so many standard deviations further up. The draws as they were come too.
    pub(crate) fn measure_leaning(
        &self,
        leans: &[(Channel, f64)],
        tick: u64,
        at: Instant,
        asked: Asked,
    ) -> (Frame<CELLS, THERMISTORS>, Vec<f64>) {
        let mut draws: Draws<CELLS, THERMISTORS> = self.sensors.noise.draws(tick);
        let before = leans.iter().map(|(channel, sigmas)| draws.lean(*channel, *sigmas)).collect();
        (self.measure_with(&draws, tick, at, asked), before)
    }

    fn measure_with(
        &self,
        draws: &Draws<CELLS, THERMISTORS>,
        tick: u64,
        at: Instant,
        asked: Asked,
    ) -> Frame<CELLS, THERMISTORS> {
        let (sensors, deviations, bus) = (&self.sensors, &self.deviations, &self.bus);
        let spec = &sensors.spec;
        let sampled = |channel: &ChannelSpec, deviation: &CurrentDeviation| {
            let earlier = channel.earlier_seconds + deviation.earlier_seconds;
            let share = (earlier / self.step_seconds).min(1.0);
            self.flow.end_amps + share * (self.flow.start_amps - self.flow.end_amps)
        };
        let current = |which: usize, channel: &ChannelSpec| {
            let deviation = &deviations.currents[which];
            let truth = sampled(channel, deviation);
            sensors.current(which, channel, truth, draws.single(), deviation, self.seconds)
        };
        let pack = |which: usize, volts: f64| {
            Volts::from_bits(sensors.single(which, &spec.pack, volts, draws.single()))
        };
        let supply_volts = self.supply.volts * (1.0 + deviations.supply_gain);
        let supply = sensors.single(SUPPLY, &spec.supply, supply_volts, draws.single());
        let feedback = |which: usize| {
            let made = bus.contactors[which].feedback(&deviations.contactors[which]);
            if made { Contact::Made } else { Contact::Broken }
        };
        let shifted: [f64; CELLS];
        let volts = if self.wires.disturbed() {
            shifted = self.wires.seen(&self.cells.volts);
            &shifted
        } else {
            &self.cells.volts
        };
        let turns = self.driven.cooling && !deviations.airflow.fan_stopped;
        let turning = if turns { Turning::Turning } else { Turning::Standing };
        Frame {
            at,
            cells: Part::fresh(sensors.cells(volts, draws.cells(), deviations)),
            thermistors: Part::fresh(sensors.thermistors(draws.thermistors(), deviations)),
            current: Part::fresh(current(CURRENT, &spec.current)),
            current_check: Part::fresh(current(CURRENT_CHECK, &spec.current_check)),
            voltages: Part::fresh(PackVoltages {
                pack: pack(PACK, bus.pack_volts * (1.0 + deviations.pack_gain)),
                behind_negative: pack(BEHIND_NEGATIVE, bus.behind_negative_volts()),
                behind_positive: pack(BEHIND_POSITIVE, bus.behind_positive_volts()),
                link: match deviations.link_reading {
                    LinkReading::Follows => pack(LINK, bus.link_volts * (1.0 + deviations.link_gain)),
                    LinkReading::Dead => Volts::ZERO,
                    LinkReading::Frozen(volts) => Volts::from_bits(stepped(&spec.pack, volts)),
                },
            }),
            supply: Part::fresh(Volts::from_bits(supply)),
            feedback: Part::fresh(Feedback {
                negative: feedback(NEGATIVE),
                precharge: feedback(PRECHARGE),
                positive: feedback(POSITIVE),
            }),
            cells_pulled: match self.driven.pull {
                Some(inputs) => Part::fresh(self.under_test_current(inputs, tick)),
                None => Part::never(Pulled { inputs: Inputs::Odd, cells: Each::all(Volts::ZERO) }),
            },
            bleed_flows: Part::fresh(self.bleed_flows()),
            poles: Part::fresh(self.poles(draws.poles())),
            contacts: Part::fresh(self.signals.seen(&deviations.signals, deviations.string_breaks, turning)),
            asked,
        }
    }

    /// The cells once more, while the test current flows: a reading with noise of its own.
    fn under_test_current(&self, inputs: Inputs, tick: u64) -> Pulled<CELLS> {
        /// No story has so many ticks.
        const APART: u64 = 1 << 63;
        let draws: Draws<CELLS, THERMISTORS> = self.sensors.noise.draws(tick | APART);
        let volts = self.wires.seen_pulled(&self.cells.volts, self.slow.bleeding, inputs, &self.deviations);
        Pulled { inputs, cells: self.sensors.cells(&volts, draws.cells(), &self.deviations) }
    }

    /// Where the comparators across the bleed resistors see current: at least half of what a sound path carries.
    fn bleed_flows(&self) -> CellSet<CELLS> {
        let mut flows = CellSet::EMPTY;
        if self.slow.bleeding != 0 {
            let least = 0.5 / self.spec.cell.bleed_ohms;
            let seen = |cell: &u8| self.cells.bleed_siemens((*cell).into()) >= least;
            (0..=127_u8).take(CELLS).filter(seen).for_each(|cell| flows.insert(cell));
        }
        flows
    }

    /// Both poles against the chassis, as amounts.
    fn poles(&self, draws: &[f32]) -> PoleVoltages {
        let (channel, [positive, negative]) = (&self.sensors.spec.pack, self.bus.pole_volts());
        let read = |pole: usize, volts: f64| {
            Volts::from_bits(self.sensors.poles[pole].reading(channel, volts, draws[pole]))
        };
        PoleVoltages {
            negative: read(0, negative),
            positive: read(1, positive),
            resistor: self.driven.resistor,
        }
    }
}

/// What a channel gives out of what it sees: inside its range, in its steps.
fn stepped(channel: &ChannelSpec, seen: f64) -> i32 {
    bits(nearest(held(seen, channel.range) / channel.step) * channel.step)
}

/// The fixed-point bits (1/65 536 of the unit) nearest to a value of an amount below 32 767: the low half of what
/// [`nearest`] adds up to, which unlike a checked conversion is vectorised. Every channel's range is far inside.
#[inline]
fn bits(value: f64) -> i32 {
    (((value * 65_536.0 + NO_FRACTION).to_bits() & 0xffff_ffff) as u32).cast_signed()
}

/// 1.5·2⁵²: added to an amount below 2⁵¹ it leaves no place for a fraction.
const NO_FRACTION: f64 = 6_755_399_441_055_744.0;

/// Not beyond ± the range. Two plain comparisons, which become two vector instructions; the library's own also mind
/// what is not a number, which a voltage here never is.
#[inline]
fn held(value: f64, range: f64) -> f64 {
    between(value, -range, range)
}

#[inline]
fn between(value: f64, least: f64, most: f64) -> f64 {
    let value = if value < most { value } else { most };
    if value > least { value } else { least }
}

/// The nearest whole number, halves to even, for amounts below 2⁵¹: adding 1.5·2⁵² leaves no place for a fraction.
/// Unlike the library's function it is a plain addition, which is vectorised everywhere.
#[inline]
pub(super) fn nearest(value: f64) -> f64 {
    (value + NO_FRACTION) - NO_FRACTION
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::Initial;
    use crate::world::spec::PackSpec;

    #[test]
    fn the_nearest_whole_number_is_found_on_both_sides() {
        for value in [-2.5, -1.51, -0.5, 0.0, 0.49, 0.5, 1.5, 33_123.499, 1e9 + 0.7] {
            assert!((nearest(value) - libm::rint(value)).abs() < f64::EPSILON, "{value}");
        }
    }

    #[test]
    fn the_bits_are_those_of_the_fixed_point_quantity() {
        for thousandths in [-1_000_000, -3_301, -1, 0, 1, 2_500, 3_650, 500_000] {
            let value = f64::from(thousandths) / 1_000.0;
            assert_eq!(bits(value), Volts::from_milli(thousandths).bits(), "{value}");
        }
    }

    /// Over many ticks the mean of a channel is truth with its calibration, its scatter that of its noise and steps
    /// (σ² + step²/12).
    #[test]
    fn noise_and_steps_are_those_of_the_channel() {
        let spec = PackSpec::crane();
        let world = World::<96, 16>::new(&spec, 3, Initial { charge: 0.5, celsius: 25.0 }).unwrap();
        let ticks = 20_000_u32;
        let (mut sum, mut square) = (0.0, 0.0);
        for tick in 0..ticks {
            let frame = world.measure(u64::from(tick), Instant(0), Asked::NOTHING);
            let off = f64::from(frame.cells.value.0[40].bits()) / 65_536.0 - world.cells.volts[40];
            (sum, square) = (sum + off, square + off * off);
        }
        let mean = sum / f64::from(ticks);
        let sigma = (square / f64::from(ticks) - mean * mean).sqrt();
        let exact = (0.5e-3_f64 * 0.5e-3 + 1e-8 / 12.0).sqrt();
        assert!(mean.abs() < 1e-3 + 2e-4 * 3.4 && (sigma / exact - 1.0).abs() < 0.02, "{mean} {sigma}");
    }

    /// A shunt sampled 1 ms early sees a tenth less of a change within a tick of 10 ms.
    #[test]
    fn the_current_is_sampled_a_little_earlier() {
        let spec = PackSpec::crane();
        let mut world = World::<96, 16>::new(&spec, 3, Initial { charge: 0.5, celsius: 25.0 }).unwrap();
        let amps = |world: &World<96, 16>| {
            let frame = world.measure(1, Instant(0), Asked::NOTHING);
            f64::from(frame.current.value.milli()) / 1_000.0
        };
        world.step_seconds = 0.01;
        world.flow.end_amps = -100.0;
        let early = amps(&world);
        world.flow.start_amps = -100.0;
        assert!((early - amps(&world) - 10.0).abs() < 0.2, "{early}");
    }
}
