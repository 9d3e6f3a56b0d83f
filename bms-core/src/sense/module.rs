//! # What a module's temperature may be
//!
//! Decides which temperatures must be allowed for in each module: the hottest credible one counts against hot limits, the coldest
//! against cold ones, each in °C.
//!
//! - A believed sensor speaks for its module.
//! - A doubtful one (jumped, stray, frozen) may only tighten: hot counts as hot, cold as cold, and it is never a reason to allow
//!   more. A moisture path beside a thermistor reads too warm; believed, it would let a frozen module be charged.
//! - A reading at a rail is dropped: it says nothing about temperature.
//! - A module without any believed sensor counts as its warmest neighbour plus a margin and as its coldest neighbour less a margin.
//!   Neighbours are the nearest modules with a believed sensor on either side, and the margin is added for each module on the way.
//!   A module is never unknown and therefore fine.
//! - When no module has a believed sensor, the doubtful ones speak for all of them, with the margin. When even those are missing,
//!   every module counts as hot as no work may make it, and as cold as the table goes: nothing may be charged, and the rule for lost
//!   readings leaves a little discharge current, because a hoist must be able to set its load down.
//!
//! What is *expected* of a cell at its temperature asks for neither end but for what is likely: the middle of the believed sensors. A
//! doubtful one has no part in it. Too warm it would accuse sound cells of what the cold does to them, too cold it would excuse bad ones.
//! Without a believed sensor it is the coldest credible: a cell is accused only of what no cold explains.

use super::curve::COLDEST;
use super::thermistor::SensorReading;
use crate::config::Config;
use crate::each::Each;
use crate::units::Celsius;

/// Temperatures that must be allowed for in a module.
#[derive(Clone, Copy, Debug, Default, Hash, PartialEq)]
pub(crate) struct ModuleRange {
    /// Coldest that is credible: counts against cold limits.
    pub(crate) coldest: Celsius,
    /// Hottest that is credible: counts against hot limits.
    pub(crate) hottest: Celsius,
    /// What its cells most likely have.
    pub(crate) likely: Celsius,
    /// Whether a sensor of the module itself is believed.
    pub(crate) measured: bool,
}

impl ModuleRange {
    /// Holds nothing yet: taking any reading in makes it that reading.
    const EMPTY: Self = Self::between(Celsius::MAX, Celsius::MIN);

    /// Where nothing is measured.
    const fn between(coldest: Celsius, hottest: Celsius) -> Self {
        Self { coldest, hottest, likely: coldest, measured: false }
    }

    fn take(&mut self, (coldest, hottest): (Celsius, Celsius)) {
        self.coldest = self.coldest.min(coldest);
        self.hottest = self.hottest.max(hottest);
    }

    fn widened(self, by: Celsius) -> Self {
        Self::between(self.coldest - by, self.hottest + by)
    }
}

/// The range of each module; places beyond the configured modules take the widest of all.
pub(super) fn ranges<const THERMISTORS: usize>(
    sensors: &Each<SensorReading, THERMISTORS>,
    extremes: Option<(Celsius, Celsius)>,
    config: &Config,
) -> Each<ModuleRange, THERMISTORS> {
    let margin = config.sensing.blind_margin;
    let unmeasured = match extremes {
        Some((coldest, hottest)) => ModuleRange::between(coldest, hottest).widened(margin),
        None => ModuleRange::between(COLDEST, config.limits.hot_none),
    };
    let mut modules = Each::all(unmeasured);
    let per_module = usize::from(config.pack.thermistors_per_module);
    let mut rest = sensors.iter();
    let mut blind = false;
    for module in modules.iter_mut().take(usize::from(config.pack.modules)) {
        *module = ModuleRange::EMPTY;
        let mut believed = ModuleRange::EMPTY;
        for sensor in rest.by_ref().take(per_module).filter(|sensor| !sensor.at_rail()) {
            let reading = (sensor.celsius, sensor.celsius);
            module.take(reading);
            if sensor.doubt.is_none() {
                believed.take(reading);
                module.measured = true;
            }
        }
        module.likely = middle(&believed);
        blind |= !module.measured;
    }
    if blind {
        fill_blind(&mut modules, config, unmeasured);
        let unmeasured = modules.iter_mut().filter(|module| !module.measured);
        unmeasured.for_each(|module| module.likely = module.coldest);
    }
    modules
}

fn middle(range: &ModuleRange) -> Celsius {
    Celsius::from_wide(i64::from(range.coldest.bits()).saturating_add(i64::from(range.hottest.bits())) >> 1)
}

/// Gives each blind module what its nearest measured neighbours on both sides make credible, besides its own doubtful readings.
#[cold]
fn fill_blind<const THERMISTORS: usize>(
    modules: &mut Each<ModuleRange, THERMISTORS>,
    config: &Config,
    unmeasured: ModuleRange,
) {
    let count = usize::from(config.pack.modules);
    let none_measured = !modules.iter().take(count).any(|module| module.measured);
    if none_measured {
        modules
            .iter_mut()
            .take(count)
            .for_each(|module| module.take((unmeasured.coldest, unmeasured.hottest)));
        return;
    }
    let margin = config.sensing.blind_margin;
    let fill = |carried: &mut Option<ModuleRange>, module: &mut ModuleRange| {
        if module.measured {
            *carried = Some(*module);
        } else {
            *carried = carried.map(|neighbour| neighbour.widened(margin));
            if let Some(credible) = *carried {
                module.take((credible.coldest, credible.hottest));
            }
        }
    };
    // Only measured neighbours are carried, so that the way back does not carry what the way there has filled in.
    let mut carried = None;
    modules.iter_mut().take(count).for_each(|module| fill(&mut carried, module));
    let beyond = THERMISTORS.saturating_sub(count);
    carried = None;
    modules.iter_mut().rev().skip(beyond).for_each(|module| fill(&mut carried, module));
}

#[cfg(test)]
mod tests {
    use super::super::thermistor::Doubt;
    use super::*;

    fn celsius(degrees: i32) -> Celsius {
        Celsius::from_milli(degrees * 1_000)
    }

    /// The crane's 16 sensors at 20 °C but for the given ones.
    fn crane(changed: &[(u8, i32, Doubt)]) -> Each<ModuleRange, 16> {
        let mut sensors = Each::all(SensorReading { celsius: celsius(20), ..SensorReading::default() });
        for (place, degrees, doubt) in changed {
            *sensors.at_mut(*place).unwrap() =
                SensorReading { celsius: celsius(*degrees), doubt: Some(*doubt), ..SensorReading::default() };
        }
        ranges(&sensors, Some((celsius(20), celsius(20))), &Config::crane())
    }

    fn degrees(modules: &Each<ModuleRange, 16>, place: u8) -> (i32, i32, bool) {
        let module = modules.at(place).unwrap();
        (module.coldest.milli() / 1_000, module.hottest.milli() / 1_000, module.measured)
    }

    #[test]
    fn a_doubtful_sensor_tightens_both_ways_and_relaxes_neither() {
        let modules = crane(&[(4, 35, Doubt::Stray), (6, 5, Doubt::Jumped)]);
        assert_eq!(degrees(&modules, 2), (20, 35, true));
        assert_eq!(degrees(&modules, 3), (5, 20, true));
    }

    /// 20 °C beside a doubtful 35 or 5 °C; two doubtful ones leave the neighbours, 5 °C a module away, and themselves.
    #[test]
    fn a_doubtful_sensor_says_nothing_of_what_is_likely() {
        let likely = |changed: &[(u8, i32, Doubt)]| crane(changed).at(2).unwrap().likely.milli();
        assert_eq!(likely(&[]), 20_000);
        for odd in [35, 5] {
            assert_eq!(likely(&[(4, odd, Doubt::Stray)]), 20_000);
        }
        assert_eq!(likely(&[(4, 60, Doubt::Stray), (5, 58, Doubt::Jumped)]), 15_000);
        assert_eq!(likely(&[(4, 60, Doubt::Stray), (5, 2, Doubt::Frozen)]), 2_000);
    }

    #[test]
    fn a_sensor_at_a_rail_is_dropped() {
        assert_eq!(degrees(&crane(&[(4, -40, Doubt::AtOpenRail)]), 2), (20, 20, true));
    }

    /// The default margin is 5 °C a module: three blind ones in a row (the farther neighbour of the
    /// outer ones is three modules away), and two at the end of the pack.
    #[test]
    fn blind_modules_count_as_their_neighbours_and_more() {
        let rails: Vec<_> = (4..10).chain(12..16).map(|place| (place, -40, Doubt::AtOpenRail)).collect();
        let modules = crane(&rails);
        assert_eq!(degrees(&modules, 2), (5, 35, false));
        assert_eq!(degrees(&modules, 3), (10, 30, false));
        assert_eq!(degrees(&modules, 4), (5, 35, false));
        assert_eq!(degrees(&modules, 6), (15, 25, false));
        assert_eq!(degrees(&modules, 7), (10, 30, false));
        assert_eq!(degrees(&modules, 5), (20, 20, true));
    }

    #[test]
    fn a_blind_module_takes_its_own_doubtful_readings_in() {
        let modules = crane(&[(4, 60, Doubt::Jumped), (5, -40, Doubt::AtOpenRail)]);
        assert_eq!(degrees(&modules, 2), (15, 60, false));
    }

    #[test]
    fn in_a_pack_without_any_sensor_every_module_may_be_hot_and_cold() {
        let sensors =
            Each::all(SensorReading { doubt: Some(Doubt::AtShortRail), ..SensorReading::default() });
        let config = Config::crane();
        for module in &ranges::<16>(&sensors, None, &config) {
            assert_eq!(
                (module.coldest, module.hottest, module.measured),
                (COLDEST, config.limits.hot_none, false)
            );
        }
    }
}
