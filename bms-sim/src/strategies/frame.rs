//! Frames without a world behind them.

use super::lie::{Lie, lies};
use bms_core::frame::{
    Asked, Clearance, Contact, Contactor, Contacts, Feedback, Frame, PackVoltages, Part, PoleVoltages,
    Replaced, ToChassis, Wanted,
};
use bms_core::units::{Amps, Instant, Ratio, Volts};
use bms_core::{Config, Each};
use proptest::prelude::*;
use std::fmt;
use std::ops::Range;

/// A frame of a pack at rest with all contactors open, in which some readings lie.
#[derive(Clone, PartialEq)]
pub struct Odd<const CELLS: usize, const THERMISTORS: usize> {
    /// What lies.
    pub lies: Vec<Lie>,
    /// What is asked for.
    pub asked: Asked,
}

impl<const CELLS: usize, const THERMISTORS: usize> Odd<CELLS, THERMISTORS> {
    /// The frame, taken at this instant.
    #[must_use]
    pub fn frame(&self, config: &Config, at: Instant) -> Frame<CELLS, THERMISTORS> {
        let began_with = still(config, at);
        let mut frame = Frame { asked: self.asked, ..began_with };
        for lie in &self.lies {
            lie.spoil(&mut frame, &began_with, config);
        }
        frame
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> fmt::Debug for Odd<CELLS, THERMISTORS> {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(to, "a frame at rest, lies: {:?}", self.lies)?;
        if self.asked == Asked::NOTHING { Ok(()) } else { write!(to, ", {:?}", self.asked) }
    }
}

/// Frames of a pack of this size with so many lies, and anything asked for. Shrinks to no lie and nothing asked for.
pub fn frames<const CELLS: usize, const THERMISTORS: usize>(
    many: Range<usize>,
) -> impl Strategy<Value = Odd<CELLS, THERMISTORS>> {
    (proptest::collection::vec(lies::<CELLS, THERMISTORS>(), many), asked())
        .prop_map(|(lies, asked)| Odd { lies, asked })
}

fn asked() -> impl Strategy<Value = Asked> {
    let contactors = prop_oneof![Just(Wanted::Open), Just(Wanted::Closed)];
    let clear =
        prop_oneof![4 => Just(None), 1 => Just(Some(Clearance::Panel)), 1 => Just(Some(Clearance::Service))];
    let replaced = prop_oneof![
        6 => Just(None),
        1 => (0..=200_u8).prop_map(|cell| Some(Replaced::Cell(cell))),
        1 => Just(Some(Replaced::Contactor(Contactor::Positive))),
    ];
    (contactors, clear, replaced).prop_map(|(contactors, clear, replaced)| Asked {
        contactors,
        clear,
        replaced,
    })
}

/// A pack of healthy cells at rest, all contactors open, everything just measured: 3.3 V a cell, half of a thermistor's reference (25 °C),
/// a supply of 12 V.
#[must_use]
pub fn still<const CELLS: usize, const THERMISTORS: usize>(
    config: &Config,
    at: Instant,
) -> Frame<CELLS, THERMISTORS> {
    const CELL: i32 = 3_300;
    let pack = Volts::from_milli(i32::try_from(config.pack.cells()).unwrap_or(i32::MAX).saturating_mul(CELL));
    // Open on both sides, each point floats half way.
    let half = pack.scaled(Ratio::percent(50));
    Frame {
        cells: Part::fresh(Each::all(Volts::from_milli(CELL))),
        thermistors: Part::fresh(Each::all(Ratio::percent(50))),
        current: Part::fresh(Amps::ZERO),
        current_check: Part::fresh(Amps::ZERO),
        voltages: Part::fresh(PackVoltages {
            pack,
            behind_negative: half,
            behind_positive: half,
            link: Volts::ZERO,
        }),
        supply: Part::fresh(Volts::from_milli(12_000)),
        feedback: Part::fresh(Feedback {
            negative: Contact::Broken,
            precharge: Contact::Broken,
            positive: Contact::Broken,
        }),
        poles: Part::fresh(PoleVoltages { negative: half, positive: half, resistor: ToChassis::Open }),
        contacts: Part::fresh(Contacts::SOUND),
        ..Frame::empty(at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bms_core::Controller;

    /// What is called a pack at rest is none that the core finds anything wrong with, for as long as a minute.
    #[test]
    fn nothing_is_wrong_with_a_pack_at_rest() {
        let config = Config::trainer();
        let mut core = Controller::<16, 8>::new(config.fit().unwrap());
        for tick in 0..6_000 {
            let decision = core.tick(&still(&config, Instant(tick * 10)), &mut ());
            let faults = &decision.faults;
            let found: Vec<_> = faults.suspect.iter().chain(faults.confirmed.iter()).collect();
            assert!(found.is_empty(), "{found:?} in tick {tick}");
        }
    }

    /// Each lie changes the frame that it is told in, but for an offset of nothing and a reading that stays where all stay.
    #[test]
    fn a_lie_reads_as_a_sentence() {
        let odd = Odd::<16, 8> {
            lies: vec![Lie {
                channel: crate::strategies::Channel::Cell(4),
                manner: crate::strategies::Manner::Offset { eighths: 4 },
            }],
            asked: Asked::NOTHING,
        };
        assert_eq!(format!("{odd:?}"), "a frame at rest, lies: [cell 5 off by 4/8]");
        let cells = odd.frame(&Config::trainer(), Instant(0)).cells.value;
        assert_eq!((cells.0[4].milli(), cells.0[5].milli()), (3_800, 3_300));
    }
}
