//! # Configurations
//!
//! A configuration is drawn as what a person would change of the usual one: how the pack is built, how often it is looked at, and a few
//! limits and dwells. A limit moves between a quarter and four times of its usual value, as in a case file. What the configuration's own
//! check refuses is left as it was, so that everything that is drawn is accepted.

use bms_core::config::{Pack, SequenceFacts};
use bms_core::fault::FaultLimits;
use bms_core::units::{Millis, Ohms};
use bms_core::{Config, Fault};
use proptest::prelude::*;

/// A configuration as a person would say it.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Modules in series.
    pub modules: u8,
    /// Cells in each.
    pub cells_per_module: u8,
    /// Thermistors in each.
    pub thermistors_per_module: u8,
    /// Rated capacity of a cell.
    pub ampere_hours: u16,
    /// Period of a tick in milliseconds.
    pub tick_ms: u32,
    /// What is otherwise than usual in the limits.
    pub moved: Vec<Moved>,
}

/// A limit or dwell that is otherwise than usual.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Moved {
    /// Trip and release limit, in per cent of the usual ones.
    Limit(Fault, u16),
    /// The dwell until Confirmed, in milliseconds.
    Dwell(Fault, u32),
}

impl Settings {
    /// The configuration.
    #[must_use]
    pub fn config(&self) -> Config {
        self.moved.iter().fold(self.usual(), |config, moved| moved.in_config(&config))
    }

    /// With the usual limits.
    fn usual(&self) -> Config {
        let cells = u16::from(self.modules) * u16::from(self.cells_per_module);
        let (capacity, nominal) = (i32::from(self.ampere_hours) * 1_000, i32::from(cells) * 3_200);
        let mut pack =
            Pack::of(self.modules, self.cells_per_module, self.thermistors_per_module, capacity, nominal);
        pack.tick = Millis(self.tick_ms);
        pack.oldest_age = Millis(3 * self.tick_ms);
        let sequence = match cells {
            0..32 => SequenceFacts::trainer(),
            32..=96 => SequenceFacts::crane(),
            // A full pack of 467 V must fall below 60 V within five seconds.
            _ => SequenceFacts::of(Ohms(50), Ohms(2_000), 1_000),
        };
        Config::for_pack(pack, sequence)
    }

    /// The same without what the check refuses.
    fn accepted(mut self) -> Self {
        let mut config = self.usual();
        self.moved.retain(|moved| {
            let tried = moved.in_config(&config);
            let accepted = accepts(&tried) && tried != config;
            if accepted {
                config = tried;
            }
            accepted
        });
        self
    }
}

fn accepts(config: &Config) -> bool {
    let size = |count: u32| usize::try_from(count).unwrap_or(usize::MAX);
    config.check(size(config.pack.cells()), size(config.pack.thermistors())).is_ok()
}

impl Moved {
    /// The configuration with it. Each limit has a type of its own, so it is reached by name in the form that the core writes it in.
    fn in_config(self, config: &Config) -> Config {
        let moved = || {
            let mut written = serde_json::to_value(config.faults).ok()?;
            match self {
                Self::Limit(fault, percent) => {
                    for part in ["trip", "release"] {
                        let limit = written.get_mut(fault.key())?.get_mut(part)?;
                        *limit = (limit.as_i64()? / 100 * i64::from(percent)).into();
                    }
                }
                Self::Dwell(fault, ms) => *written.get_mut(fault.key())?.get_mut("dwell")? = ms.into(),
            }
            serde_json::from_value::<FaultLimits>(written).ok()
        };
        moved().map_or(*config, |faults| Config { faults, ..*config })
    }
}

/// Dwells that are drawn, in milliseconds.
const DWELLS: [u32; 8] = [0, 50, 100, 300, 1_000, 3_000, 10_000, 60_000];

/// Configurations for a controller of this size: built of one module or of several, of cells of 10 to 200 Ah, with up to six limits and
/// dwells moved. Shrinks to one module, small cells, a tick of 1 ms and the usual limits.
pub fn configs<const CELLS: usize, const THERMISTORS: usize>() -> impl Strategy<Value = Settings> {
    let modules: Vec<usize> = (1..=CELLS.min(THERMISTORS).min(16))
        .filter(|count| CELLS.is_multiple_of(*count) && THERMISTORS.is_multiple_of(*count))
        .collect();
    let fault = proptest::sample::select(&Fault::ALL[..]);
    let moved = prop_oneof![
        (fault.clone(), 25..=400_u16).prop_map(|(fault, percent)| Moved::Limit(fault, percent)),
        (fault, proptest::sample::select(&DWELLS[..])).prop_map(|(fault, ms)| Moved::Dwell(fault, ms)),
    ];
    let part = |count: usize, modules: usize| u8::try_from(count / modules).unwrap_or(u8::MAX);
    (proptest::sample::select(modules), 10..=200_u16, 1..=10_u32, proptest::collection::vec(moved, 0..=6))
        .prop_map(move |(modules, ampere_hours, tick_ms, moved)| {
            let settings = Settings {
                modules: part(modules, 1),
                cells_per_module: part(CELLS, modules),
                thermistors_per_module: part(THERMISTORS, modules),
                ampere_hours,
                tick_ms,
                moved,
            };
            settings.accepted()
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::strategies::{Channel, Lie, Manner, Odd};
    use bms_core::Controller;
    use bms_core::frame::Asked;
    use bms_core::units::Instant;
    use proptest::test_runner::{TestError, TestRunner};
    use std::collections::BTreeSet;

    fn runner(cases: u32) -> TestRunner {
        TestRunner::new(ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() })
    }

    /// Of packs of any size; and limits and dwells of many faults are really moved.
    #[test]
    fn what_is_drawn_is_accepted_and_is_not_always_the_usual() {
        let moved = std::cell::RefCell::new(BTreeSet::new());
        let held = runner(200).run(&(configs::<1, 1>(), configs::<16, 8>(), configs::<128, 4>()), |all| {
            for settings in [&all.0, &all.1, &all.2] {
                prop_assert!(accepts(&settings.config()), "{settings:?}");
                moved.borrow_mut().extend(settings.moved.iter().map(|moved| format!("{moved:?}")));
            }
            all.1
                .config()
                .fit::<16, 8>()
                .map(|_| ())
                .map_err(|error| TestCaseError::fail(format!("{error:?}")))
        });
        assert!(held.is_ok(), "{held:?}");
        assert!(moved.borrow().len() > 100, "only {:?}", moved.borrow());
    }

    /// A law that a lax limit or dwell of one fault breaks, and nothing else: a cell at 4.3 V is confirmed within a second. All that was
    /// drawn besides is shrunk away.
    #[test]
    fn what_breaks_a_law_shrinks_to_the_one_thing_that_does() {
        let lies = vec![Lie { channel: Channel::Cell(4), manner: Manner::Offset { eighths: 8 } }];
        let odd = Odd::<16, 8> { lies, asked: Asked::NOTHING };
        let found = runner(1_000).run(&configs::<16, 8>(), |settings| {
            let config = settings.config();
            let mut core = Controller::<16, 8>::new(config.fit().expect("accepted"));
            let mut frames = (0..1_000 / settings.tick_ms + 4)
                .map(|tick| odd.frame(&config, Instant(tick * settings.tick_ms)));
            let fault = Fault::CellOverVoltageFar;
            prop_assert!(frames.any(|frame| core.tick(&frame, &mut ()).faults.confirmed.holds(fault)));
            Ok(())
        });
        let Err(TestError::Fail(_, settings)) = found else { panic!("nothing breaks it: {found:?}") };
        let [
            Moved::Dwell(Fault::CellOverVoltageFar, 1_001..) | Moved::Limit(Fault::CellOverVoltageFar, 101..),
        ] = settings.moved[..]
        else {
            panic!("{settings:?}")
        };
        assert_eq!((settings.modules, settings.ampere_hours), (1, 10), "{settings:?}");
    }
}
