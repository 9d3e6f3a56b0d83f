//! The sensors: how they are wired and how far they may be off. The errors stated here are what every bound in the core rests on.

use super::Pack;
use super::digest::{Digest, Fed, section};
use crate::sense::celsius;
use crate::units::{Amps, Celsius, Milliohms, Millis, Ratio, Volts};

section! {
    /// Wiring and stated errors of the sensors.
    Sensing {
        /// Worst error of a cell voltage.
        cell_error: Volts,
        /// Worst error of the four voltages around the contactors.
        voltage_error: Volts,
        /// Highest resistance between the outer taps of the string and the points of the pack voltage: cables, fuse, disconnect. What the
        /// current drops there is in the pack voltage and in no cell.
        path: Milliohms,
        /// What differs between the pack and the sum of its cells is a mean over so long: its noise is as large as the band between the limits.
        gap_mean: Millis,
        /// Worst idle offset of the main current sensor before it is learnt.
        current_offset: Amps,
        /// Worst idle offset that is left after it was learnt with the contactors proven open.
        current_offset_learnt: Amps,
        /// It is learnt as a mean over so long.
        learning: Millis,
        /// What flowed unseen for longer than this may have been a load.
        unseen: Millis,
        /// A reading of the current stands at the end of its range from this part of it on: converters stop a step or two short.
        range_end: Ratio,
        /// A current of no more than this is no load: a rest goes on, and below it nothing counts as charging.
        calm: Amps,
        /// A reading of this amount flows through something, whatever the offset.
        flows: Amps,
        /// Worst gain error of the main current sensor.
        current_gain: Ratio,
        /// Worst error of a temperature between −40 and 85 °C.
        temperature_error: Celsius,
        /// Worst error of the frames' clock.
        time_base: Ratio,
        /// Where the thermistor stands in its divider.
        wiring: Wiring,
        /// Which thermistor it is.
        curve: ThermistorCurve,
        /// A fraction of the reference this near to an end is a rail.
        rail: Ratio,
        /// A change this large within a second is a jump.
        jump: Celsius,
        /// A difference this large to the neighbours' median is doubted.
        stray: Celsius,
        /// A reading that was stray has come back inside this part of that.
        stray_back: Ratio,
        /// For so long after a load work shows unevenly in the temperatures ...
        work_shows: Millis,
        /// ... and a sensor may be warmer than its neighbours by this part of `stray` besides.
        warmer_by_work: Ratio,
        /// Seconds for which a reading that jumped is doubted.
        doubted_after_jump: u8,
        /// Seconds for which one that came back from a rail is doubted: its input filter still charges.
        doubted_after_rail: u8,
        /// Neighbours that move this far while a reading stays identical make it frozen.
        frozen: Celsius,
        /// The time over which they may move.
        frozen_window: Millis,
        /// From this temperature on a fast rise counts: below it, it is warming by work ...
        rises_from: Celsius,
        /// ... until the sensor has fallen below this.
        rises_until: Celsius,
        /// Margin by which a module without a valid sensor is taken hotter and colder than its neighbours.
        blind_margin: Celsius,
        /// What is measured beside the link and the pack.
        points: MeasuringPoints,
    }
}

/// Where a thermistor stands in its divider.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Wiring {
    /// 10 kΩ to the reference, thermistor to ground: an open wire reads the whole reference.
    PullUp,
    /// Thermistor to the reference, 10 kΩ to ground: an open wire reads nothing.
    PullDown,
}

/// Resistance over temperature of a 10 kΩ thermistor.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ThermistorCurve {
    /// The 3 435 K class (B25/85), by a published table.
    B3435,
    /// The 3 977 K class (B25/85), by published coefficients.
    B3977,
}

section! {
    /// What is measured beside the link and the pack, which always are.
    MeasuringPoints {
        /// B+ to L−.
        behind_negative: bool,
        /// L+ to B−. Without it a welded positive reads like an open one until negative closes.
        behind_positive: bool,
        /// Each pole against the chassis, with a known resistor that can be switched to either. Without it insulation is never known.
        poles: bool,
    }
}

impl Fed for Wiring {
    fn feed(&self, digest: &mut Digest<'_>) {
        digest.feed(*self as i64);
    }
}

impl Fed for ThermistorCurve {
    fn feed(&self, digest: &mut Digest<'_>) {
        digest.feed(*self as i64);
    }
}

impl Sensing {
    /// What a thermistor's divider says, between −40 and 125 °C, the ends of its table. Nothing at a rail, where its wire is open or
    /// shorted. Whether the thermistor is believed is not said: that takes more than one frame.
    ///
    /// ```
    /// use bms_core::{Config, units::{Celsius, Ratio}};
    /// let sensing = Config::crane().sensing; // 10 kΩ at 25 °C, below 10 kΩ: half of the reference
    /// assert_eq!(sensing.celsius(Ratio::percent(50)), Some(Celsius::from_milli(25_000)));
    /// assert_eq!(sensing.celsius(Ratio::ONE), None); // an open wire
    /// ```
    #[must_use]
    pub fn celsius(&self, ratio: Ratio) -> Option<Celsius> {
        let inside = ratio > self.rail && ratio < Ratio::ONE - self.rail;
        inside.then(|| celsius(self.curve, self.wiring, ratio))
    }

    /// What is left of a difference between the pack's voltage and its cells that the drop of this current between the two cannot explain:
    /// anything from none of it to that of the whole path.
    pub(crate) fn beyond_path(&self, apart: Volts, amps: Amps) -> Volts {
        let drop = amps * self.path;
        apart - apart.held_between(drop.min(Volts::ZERO), drop.max(Volts::ZERO))
    }

    pub(super) fn for_pack(pack: &Pack) -> Self {
        Self {
            cell_error: Volts::from_milli(3),
            voltage_error: pack.nominal.scaled(Ratio::from_milli(5)),
            // 6 thousandths of the nominal voltage at 1C. Common practice, no source.
            path: pack
                .nominal
                .scaled(Ratio::from_milli(6))
                .over_current(pack.one_c)
                .unwrap_or(Milliohms::ZERO),
            // Common practice, no source: fifteen readings at a tick of 10 ms leave a fifth of their noise.
            gap_mean: Millis(150),
            current_offset: pack.one_c.scaled(Ratio::percent(2)),
            // Common practice, no source.
            calm: pack.rate(5),
            // Common practice, no source; half as much again as the offset where that is more.
            flows: pack.one_c.scaled(Ratio::percent(3)).max(Amps::from_milli(3_000)),
            current_offset_learnt: pack.one_c.scaled(Ratio::from_milli(1)),
            // Common practice, no source, as are the next two.
            learning: Millis::from_seconds(10),
            unseen: Millis::from_seconds(1),
            range_end: Ratio::from_milli(999),
            current_gain: Ratio::from_milli(5),
            temperature_error: Celsius::from_milli(2_000),
            time_base: Ratio::from_bits(7), // 100 ppm
            wiring: Wiring::PullUp,
            curve: ThermistorCurve::B3435,
            rail: Ratio::percent(1),
            jump: Celsius::from_milli(5_000),
            stray: Celsius::from_milli(15_000),
            // Common practice, no source, down to the doubt after a rail.
            stray_back: Ratio::percent(80),
            work_shows: Millis::from_seconds(600),
            warmer_by_work: Ratio::from_milli(333),
            doubted_after_jump: 60,
            doubted_after_rail: 2,
            frozen: Celsius::from_milli(3_000),
            frozen_window: Millis::from_seconds(600),
            // Common practice, no source; the way back is that of every limit of a temperature.
            rises_from: Celsius::from_milli(45_000),
            rises_until: Celsius::from_milli(42_000),
            blind_margin: Celsius::from_milli(5_000),
            points: MeasuringPoints { behind_negative: true, behind_positive: true, poles: true },
        }
    }
}
