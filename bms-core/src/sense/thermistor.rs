//! # Thermistors
//!
//! Decides what each thermistor says in °C and what speaks against it. The ratio is converted every frame; what needs time is
//! judged once a second, because 0.1 °C of noise between two frames 10 ms apart would be 10 °C a second.
//!
//! - **At a rail** (open or shorted wire): within the rail's width of an end of the divider. Dropped altogether. −25 °C is no rail:
//!   in a freezer it is true.
//! - **Climbed to the rail**: at the rail of a short circuit, but it rose fast in each of the last two seconds and was above the limit of
//!   over-temperature just before. A thermistor in a runaway ends there, a short circuit begins there: this is heat, as hot as the table goes, and
//!   its last rise holds. So it does from the end of the table on, which lies before the rail. A jump is one second of rise and no climb.
//! - **Jumped**: further from the reading a second ago than any mass can warm or cool. Doubted at once and for a minute after; the
//!   *change* that the fault watches is what two readings a second apart both bear out, so that one wild reading is no jump.
//! - **Stray**: far from the median of its neighbours, which are the other sensors of its module and those of the modules beside
//!   it. For ten minutes after a load a warmer reading is allowed a third more: cells and joints do warm by work, unevenly; at
//!   rest they even out. Left only inside four fifths of the limit. A module beside a hot one is colder than this median, and both of its
//!   sensors say so: no such pair is stray. A pair that is warmer is: moisture makes two sensors lie alike, always to the warm side.
//! - **Frozen**: the same to the bit for the whole window while the neighbours' median moved.
//!
//! A doubtful reading is never a reason to allow more, but may be one to allow less: `module` keeps to that. Above all, a fast rise
//! is not hidden by being called a jump: it stays in `hottest`, and its *rise* is worked out like any other.
//!
//! The rise is the difference of the means of two successive seconds. Means, because single readings carry noise of the size of
//! the limit; one second, because a jump that then stays flat must show as one second of rise and no more. Over a gap it is the rise
//! from the last mean before it, spread over all of its time; with one mean only it is not known.

mod plausibility;
#[cfg(test)]
mod tests;

use super::curve::{HOTTEST, celsius, toward_open};
use super::module::{ModuleRange, ranges};
use crate::config::Config;
use crate::each::Each;
use crate::units::{Celsius, CelsiusPerSecond, Millis, Ratio};
use crate::witness::{Evidence, Witness};
use plausibility::GAP;

/// The thermistors and the modules they stand for.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(crate) struct Temperatures<const THERMISTORS: usize> {
    /// Each sensor.
    pub(crate) sensors: Each<SensorReading, THERMISTORS>,
    /// The coldest and hottest credible temperature of each module; only the first `modules` places are used.
    pub(crate) modules: Each<ModuleRange, THERMISTORS>,
    /// The hottest sensor that is not at a rail.
    pub(crate) hottest: Option<(u8, Celsius)>,
    /// The coldest sensor that is not at a rail.
    pub(crate) coldest: Option<(u8, Celsius)>,
}

/// One thermistor, converted and judged.
#[derive(Clone, Copy, Debug, Default, Hash, PartialEq)]
pub(crate) struct SensorReading {
    /// By the table; at a rail the table's end.
    pub(crate) celsius: Celsius,
    /// What speaks against it.
    pub(crate) doubt: Option<Doubt>,
    /// Change over a second that two successive readings bear out.
    pub(crate) change: Celsius,
    /// The rise, and whether it is known: apart, since an option would take four bytes more of every sensor.
    pub(super) rise: CelsiusPerSecond,
    pub(super) rise_known: bool,
    /// Whether it is so warm that a rise counts, with hysteresis.
    pub(crate) warm: bool,
    /// Difference to the median of its neighbours, less what a load explains and what a sensor of its module denies.
    pub(crate) astray: Celsius,
    /// How far the neighbours have moved while it stayed identical for the whole window; zero before that.
    pub(crate) neighbours_moved: Celsius,
}

impl SensorReading {
    /// Rise over the last full second, from mean to mean; zero when it did not rise, `None` before there are two means. A fault whose
    /// dwell runs only while this is high demands it of every single second.
    pub(crate) fn rise(&self) -> Option<CelsiusPerSecond> {
        self.rise_known.then_some(self.rise)
    }

    /// Whether it stands at a rail: an open or a shorted wire.
    pub(crate) const fn at_rail(&self) -> bool {
        matches!(self.doubt, Some(Doubt::AtOpenRail | Doubt::AtShortRail))
    }

    /// Whether its divider stands at a rail, whatever that means.
    const fn at_end(&self) -> bool {
        matches!(self.doubt, Some(Doubt::AtOpenRail | Doubt::AtShortRail | Doubt::ClimbedToRail))
    }
}

/// What speaks against a thermistor's reading.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Doubt {
    /// At the rail of an open wire: dropped.
    AtOpenRail,
    /// At the rail of a short circuit: dropped.
    AtShortRail,
    /// At the rail of a short circuit after a climb: as hot as the table goes.
    ClimbedToRail,
    /// Changed faster than its mass allows: may tighten a limit, never relax one.
    Jumped,
    /// Far from its neighbours: may tighten a limit, never relax one.
    Stray,
    /// Identical while its neighbours moved: may tighten a limit, never relax one.
    Frozen,
}

/// How often a reading is judged against time and neighbours.
const SECOND: Millis = Millis(1_000);

/// Fast seconds in a row that make a climb: one alone is a jump.
const CLIMB: u8 = 2;

/// What is kept of all thermistors from frame to frame.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Thermistors<const THERMISTORS: usize> {
    readings: Temperatures<THERMISTORS>,
    tracks: Each<Track, THERMISTORS>,
    /// Time since the last judgement against time and neighbours.
    since: Millis,
    /// Frames whose readings are in the sums of the tracks.
    summed: i32,
}

/// What is kept of one thermistor.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Track {
    /// The ratio of the frame before.
    ratio: Ratio,
    /// For how long it has been the same to the bit.
    same: Millis,
    /// Lowest and highest median of the neighbours in that time.
    neighbours: Option<(Celsius, Celsius)>,
    /// The reading at the last full second, and at the one before it.
    last: Option<Celsius>,
    before: Option<Celsius>,
    /// Readings since the last full second, added up in 1/256 °C; `None` when one of them stood at a rail.
    sum: Option<i32>,
    /// Their mean over the second before.
    mean: Option<i32>,
    /// Whether it was outside the limit for stray ones and has not come back.
    stray: bool,
    /// Seconds for which it is doubted after a jump or a rail.
    doubted: u8,
    /// Seconds in a row in which it rose fast while warm.
    climbing: u8,
}

impl Track {
    const NEW: Self = Self {
        ratio: Ratio::ZERO,
        same: Millis::ZERO,
        neighbours: None,
        last: None,
        before: None,
        sum: Some(0),
        mean: None,
        stray: false,
        doubted: 0,
        climbing: 0,
    };

    const fn climbs(&self) -> bool {
        self.climbing >= CLIMB
    }

    /// Whether a reading lies a jump or more from the one at the last full second.
    fn is_away(&self, celsius: Celsius, jump: Celsius) -> bool {
        self.last.is_some_and(|last| (celsius - last).abs() >= jump)
    }

    /// Forgets what a reading at a rail makes worthless.
    fn interrupted(&mut self, config: &Config) {
        *self =
            Self { ratio: self.ratio, sum: None, doubted: config.sensing.doubted_after_rail, ..Self::NEW };
    }
}

impl<const THERMISTORS: usize> Thermistors<THERMISTORS> {
    pub(super) const NEW: Self = Self {
        readings: Temperatures {
            sensors: Each::all(SensorReading {
                celsius: Celsius::ZERO,
                doubt: None,
                change: Celsius::ZERO,
                rise: CelsiusPerSecond::ZERO,
                rise_known: false,
                warm: false,
                astray: Celsius::ZERO,
                neighbours_moved: Celsius::ZERO,
            }),
            modules: Each::all(ModuleRange {
                coldest: Celsius::ZERO,
                hottest: Celsius::ZERO,
                likely: Celsius::ZERO,
                measured: false,
            }),
            hottest: None,
            coldest: None,
        },
        tracks: Each::all(Track::NEW),
        // The first frame is judged against the neighbours at once.
        since: SECOND,
        summed: 0,
    };

    /// Judges one frame's ratios, or that there are none: then no sensor is believed and the modules take their extremes.
    pub(super) fn judge(
        &mut self,
        ratios: Option<&Each<Ratio, THERMISTORS>>,
        elapsed: Millis,
        since_load: Millis,
        config: &Config,
        witness: &mut impl Witness,
    ) -> Temperatures<THERMISTORS> {
        self.since = self.since + elapsed;
        let Some(ratios) = ratios else {
            self.lose_second();
            return Temperatures {
                modules: ranges(&Each::all(UNSEEN), None, config),
                hottest: None,
                coldest: None,
                sensors: self.readings.sensors,
            };
        };
        if self.since > GAP {
            self.lose_second();
        }
        let second = self.since >= SECOND;
        self.convert(ratios, second, config, witness);
        if second {
            self.compare(since_load, config);
        }
        self.doubt(second, config, witness);
        self.gather(config);
        self.readings
    }

    /// Readings are missing: those before a gap and those after it are no mean of one second.
    fn lose_second(&mut self) {
        self.summed = 0;
        self.tracks.iter_mut().for_each(|track| track.sum = Some(0));
    }

    /// Every frame: converts, finds the rails, and follows what one second's judgement needs.
    fn convert(
        &mut self,
        ratios: &Each<Ratio, THERMISTORS>,
        second: bool,
        config: &Config,
        witness: &mut impl Witness,
    ) {
        self.summed = self.summed.saturating_add(1);
        let sensing = &config.sensing;
        let open_from = Ratio::ONE - sensing.rail;
        let mut place = 0_u8;
        for ((reading, track), ratio) in self.readings.sensors.iter_mut().zip(&mut self.tracks).zip(ratios) {
            let (was, was_hot) = (reading.doubt, reading.celsius >= config.faults.over_temperature.trip);
            if *ratio != track.ratio || track.last.is_none() {
                track.ratio = *ratio;
                track.same = Millis::ZERO;
                track.neighbours = None;
                reading.neighbours_moved = Celsius::ZERO;
                reading.celsius = celsius(sensing.curve, sensing.wiring, *ratio);
            }
            let toward_open = toward_open(sensing.wiring, *ratio);
            if toward_open >= open_from || toward_open <= sensing.rail {
                let climbed =
                    was == Some(Doubt::ClimbedToRail) || was_hot && !reading.at_rail() && track.climbs();
                let rail = match toward_open >= open_from {
                    true => Doubt::AtOpenRail,
                    false if climbed => Doubt::ClimbedToRail,
                    false => Doubt::AtShortRail,
                };
                let reads = reading.celsius;
                if second || was != Some(rail) {
                    witness.tell(|| Evidence::Doubted { thermistor: place, doubt: rail, reads });
                }
                let (held, climbing) = (*reading, track.climbing);
                track.interrupted(config);
                *reading = SensorReading { celsius: reads, doubt: Some(rail), ..SensorReading::default() };
                if rail == Doubt::ClimbedToRail {
                    track.climbing = climbing;
                    (reading.rise, reading.rise_known, reading.warm) = (held.rise, held.rise_known, true);
                }
            } else {
                if reading.at_end() {
                    reading.doubt = None;
                }
                track.sum = track.sum.map(|sum| sum.saturating_add(reading.celsius.bits() >> 8));
            }
            place = place.saturating_add(1);
        }
    }

    /// Every frame: what speaks against each reading that is not at a rail. Told when it changes and once a second.
    fn doubt(&mut self, second: bool, config: &Config, witness: &mut impl Witness) {
        let sensing = &config.sensing;
        let mut place = 0_u8;
        for (reading, track) in self.readings.sensors.iter_mut().zip(&self.tracks) {
            if !reading.at_end() {
                let doubt = if track.doubted > 0 || track.is_away(reading.celsius, sensing.jump) {
                    Some(Doubt::Jumped)
                } else if track.stray {
                    Some(Doubt::Stray)
                } else if reading.neighbours_moved >= sensing.frozen {
                    Some(Doubt::Frozen)
                } else {
                    None
                };
                if let Some(doubt) = doubt
                    && (second || reading.doubt != Some(doubt))
                {
                    let reads = reading.celsius;
                    witness.tell(|| Evidence::Doubted { thermistor: place, doubt, reads });
                }
                reading.doubt = doubt;
            }
            place = place.saturating_add(1);
        }
    }

    /// Every frame: the extremes of the pack and of the modules.
    fn gather(&mut self, config: &Config) {
        let (mut hottest, mut coldest) = (None::<(u8, Celsius)>, None::<(u8, Celsius)>);
        let mut place = 0_u8;
        for reading in &self.readings.sensors {
            if !reading.at_rail() {
                if hottest.is_none_or(|(_, celsius)| reading.celsius > celsius) {
                    hottest = Some((place, reading.celsius));
                }
                if coldest.is_none_or(|(_, celsius)| reading.celsius < celsius) {
                    coldest = Some((place, reading.celsius));
                }
            }
            place = place.saturating_add(1);
        }
        let extremes = coldest.zip(hottest).map(|((_, coldest), (_, hottest))| (coldest, hottest));
        self.readings.modules = ranges(&self.readings.sensors, extremes, config);
        (self.readings.hottest, self.readings.coldest) = (hottest, coldest);
    }
}

/// A sensor that says nothing.
const UNSEEN: SensorReading = SensorReading {
    celsius: Celsius::ZERO,
    doubt: Some(Doubt::AtOpenRail),
    change: Celsius::ZERO,
    rise: CelsiusPerSecond::ZERO,
    rise_known: false,
    warm: false,
    astray: Celsius::ZERO,
    neighbours_moved: Celsius::ZERO,
};
