//! # Whether cooling cools
//!
//! Decides whether the cooling does what it is told, by its tacho where it has one, and by what becomes of the temperature:
//!
//! ```text
//! stands       told on, and the tacho says "standing" without a break for the window
//! no response  told on, no current and no bleeding for the window, hot at its beginning, and
//!              T at the beginning − T at the end < least · (T at the beginning − surroundings)        T: mean of the hottest sensor
//! ```
//!
//! A fan that turns in a blocked duct has a tacho that is content; only the second shows it. It needs a pack that makes no heat by work, and
//! asks for no more than cooling can do: air brings a cell down by a part of what it is above the surroundings, `1 − e^(−window / τ)`, and never
//! below them. They are not measured, so the hottest in which the pack works stand in for them; in colder ones a pack falls further. Under
//! load the balance of heat would rest on resistances that are known to a third. A cell that heats itself looks the same; its own rise
//! is watched elsewhere.
//!
//! Only believed sensors count: one that hangs at 60 °C does not cool down either. What did not respond is told until it does, or until the
//! pack is no longer hot. Then there is nothing to be brought down, and the next time it is hot decides.

use super::{Moment, StringCurrent};
use crate::config::Checked;
use crate::decision::Cooling;
use crate::frame::Turning;
use crate::sense::Temperatures;
use crate::units::{Celsius, Millis};

/// Readings are taken once in so long.
const EVERY: Millis = Millis::from_seconds(1);

/// A mean in the making.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
struct Mean {
    sum: i64,
    readings: u8,
}

impl Mean {
    const EMPTY: Self = Self { sum: 0, readings: 0 };

    /// Takes one reading; the mean, once there are so many.
    fn take(&mut self, celsius: Celsius, of: u8) -> Option<Celsius> {
        self.sum = self.sum.saturating_add(i64::from(celsius.bits()));
        self.readings = self.readings.saturating_add(1);
        let mean = self.sum.checked_div(i64::from(of)).filter(|_| self.readings >= of);
        mean.map(Celsius::from_wide)
    }
}

/// The cooling, watched.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(super) struct Cooled {
    /// How long the tacho has said "standing" while cooling was told on.
    stood: Millis,
    /// The window of the temperature: time in it, since the last reading, the mean that is taken, and the one that it began with.
    time: Millis,
    since: Millis,
    mean: Mean,
    began: Option<Celsius>,
    /// What was found last: by the tacho, and by the temperature, which is also content with a pack that is no longer hot.
    stands: Option<bool>,
    responds: Option<bool>,
}

impl Cooled {
    pub(super) const fn new() -> Self {
        Self {
            stood: Millis::ZERO,
            time: Millis::ZERO,
            since: EVERY,
            mean: Mean::EMPTY,
            began: None,
            stands: None,
            responds: None,
        }
    }

    /// Whether cooling fails; `None` before anything was seen of it.
    pub(super) fn fails(&self) -> Option<bool> {
        match (self.stands, self.responds) {
            (None, None) => None,
            (stands, responds) => Some(stands == Some(true) || responds == Some(false)),
        }
    }

    /// Whoever may clear the fault vouches for the mend: how the temperature responded is void. A tacho that still says "standing" is not.
    pub(super) fn forget(&mut self) {
        let (stood, stands) = (self.stood, self.stands.filter(|_| self.stood > Millis::ZERO));
        *self = Self { stood, stands, ..Self::new() };
    }

    /// Takes one frame, and what the cooling was told after the one before.
    pub(super) fn advance<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        told: Cooling,
        moment: &Moment<'_, CELLS, THERMISTORS>,
    ) {
        let Moment { believed, current, bleeding, config, .. } = moment;
        let (rules, elapsed) = (&config.cooling, believed.elapsed);
        let tacho = believed.contacts.map(|contacts| contacts.cooling).filter(|_| rules.tacho);
        match (told, tacho) {
            (Cooling::Off, _) => self.stood = Millis::ZERO,
            (Cooling::On, Some(Turning::Turning)) => (self.stood, self.stands) = (Millis::ZERO, Some(false)),
            (Cooling::On, Some(Turning::Standing)) => {
                self.stood = self.stood + elapsed;
                if self.stood >= rules.window {
                    self.stands = Some(true);
                }
            }
            (Cooling::On, None) => {}
        }
        let idle = told == Cooling::On && bleeding.perhaps.is_empty() && is_idle(current.as_ref());
        let accused = self.responds == Some(false);
        let hottest = if idle || accused { hottest_believed(&believed.temperatures) } else { None };
        if accused && hottest.is_some_and(|celsius| celsius < rules.hot_until) {
            self.responds = Some(true);
        }
        match hottest.filter(|_| idle) {
            None => self.break_off(),
            Some(celsius) => self.watch(celsius, elapsed, config),
        }
    }

    fn break_off(&mut self) {
        (self.time, self.since, self.mean, self.began) = (Millis::ZERO, EVERY, Mean::EMPTY, None);
    }

    fn watch(&mut self, celsius: Celsius, elapsed: Millis, config: &Checked) {
        let rules = &config.cooling;
        self.time = self.time + elapsed;
        self.since = self.since + elapsed;
        let taking = EVERY.times(rules.mean);
        if self.since < EVERY || (self.began.is_some() && self.time + taking < rules.window) {
            return;
        }
        self.since = Millis::ZERO;
        let Some(mean) = self.mean.take(celsius, rules.mean) else { return };
        if let Some(began) = self.began {
            self.responds = Some(began - mean >= (began - rules.surroundings).scaled(rules.least_fall));
        }
        self.break_off();
        self.began = Some(mean).filter(|mean| *mean >= rules.hot_from);
    }
}

/// The hottest sensor that nothing speaks against.
fn hottest_believed<const THERMISTORS: usize>(temperatures: &Temperatures<THERMISTORS>) -> Option<Celsius> {
    temperatures.hottest?;
    temperatures.sensors.iter().filter(|sensor| sensor.doubt.is_none()).map(|sensor| sensor.celsius).max()
}

/// Whether nothing flows that the sensor can tell.
fn is_idle(current: Option<&StringCurrent>) -> bool {
    current.is_some_and(|current| current.proven || current.amps.abs() <= current.error)
}
