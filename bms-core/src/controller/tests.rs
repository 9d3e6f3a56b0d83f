//! A controller that is barred says why; and the largest packs that the types allow: a place is a byte, and its last value is in use.

use super::*;
use crate::config::{Config, ConfigError, Pack, SequenceFacts};
use crate::each::Each;
use crate::frame::{Asked, Clearance, Contact, Feedback, PackVoltages, Part, Wanted};
use crate::units::{Amps, Instant, Millis, Ratio, Volts};

/// Keeps why a configuration is refused.
#[derive(Default)]
struct Reasons(std::vec::Vec<ConfigError>);

impl Witness for Reasons {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::ConfigRefused(error) = evidence {
            self.0.push(error);
        }
    }
}

/// Said in the first tick, once: the fault that it becomes says only that something is wrong.
#[test]
fn a_refused_configuration_is_told_with_its_mistake() {
    let mut config = Config::trainer();
    config.faults.cell_over_voltage.release = Volts::from_milli(3_700);
    let error = config.check(16, 8).expect_err("the release limit lies beyond the trip limit");
    let mut controller = Controller::<16, 8>::new(Checked::barred(config, error));
    let mut heard = Reasons::default();
    for tick in 0..3 {
        let decision = controller.tick(&Frame::empty(Instant(tick * 10)), &mut heard);
        assert!(decision.faults.confirmed.holds(Fault::ConfigurationInvalid));
        assert_eq!(heard.0, [error]);
    }
    let mut sound = Controller::<16, 8>::new(Config::trainer().check(16, 8).expect("the defaults are valid"));
    let mut heard = Reasons::default();
    sound.tick(&Frame::empty(Instant(0)), &mut heard);
    assert_eq!(heard.0, []);
}

/// Bits for frames (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    fn word(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    /// Small, ordinary and wild values.
    fn bits(&mut self) -> i32 {
        let word = self.word();
        ((word >> 32) as u32).cast_signed() >> (word & 31)
    }

    fn volts(&mut self) -> Volts {
        Volts::from_bits(self.bits())
    }

    fn contact(&mut self) -> Contact {
        if self.bits() < 0 { Contact::Made } else { Contact::Broken }
    }

    /// Mostly fresh, so that the values are looked at.
    fn part<T>(&mut self, value: T) -> Part<T> {
        let age = if self.bits() % 8 == 0 { self.bits().cast_unsigned() } else { 0 };
        Part { value, age: Millis(age) }
    }

    fn frame<const CELLS: usize, const THERMISTORS: usize>(&mut self, at: u32) -> Frame<CELLS, THERMISTORS> {
        let cells = Each(core::array::from_fn(|_| self.volts()));
        let thermistors = Each(core::array::from_fn(|_| Ratio::from_bits(self.bits())));
        let voltages = PackVoltages {
            pack: self.volts(),
            behind_negative: self.volts(),
            behind_positive: self.volts(),
            link: self.volts(),
        };
        let feedback =
            Feedback { negative: self.contact(), precharge: self.contact(), positive: self.contact() };
        let (current, current_check) = (Amps::from_bits(self.bits()), Amps::from_bits(self.bits()));
        let supply = self.volts();
        Frame {
            at: Instant(at),
            cells: self.part(cells),
            thermistors: self.part(thermistors),
            current: self.part(current),
            current_check: self.part(current_check),
            voltages: self.part(voltages),
            supply: self.part(supply),
            feedback: self.part(feedback),
            asked: Asked {
                contactors: Wanted::Closed,
                clear: (self.bits() < 0).then_some(Clearance::Service),
                replaced: (self.bits() < 0).then(|| self.bits().to_le_bytes()[0]),
            },
        }
    }
}

/// Counts what is told, so that all of it is made.
struct Count(usize);

impl Witness for Count {
    fn saw(&mut self, _: Evidence) {
        self.0 += 1;
    }
}

fn answers_any_frame<const CELLS: usize, const THERMISTORS: usize>(pack: Pack) {
    let config = Config::for_pack(pack, SequenceFacts::crane());
    let config = config.check(CELLS, THERMISTORS).expect("the counts are those of the type");
    let mut dice = Dice(CELLS as u64);
    for _ in 0..8 {
        let mut controller = Controller::<CELLS, THERMISTORS>::new(config);
        let mut heard = Count(0);
        for tick in 0..120_u32 {
            // More than a second in all, so that what is judged once a second is judged.
            let decision = controller.tick(&dice.frame(tick * 20), &mut heard);
            assert!(decision.bleed.iter().all(|cell| usize::from(cell) < CELLS));
        }
        assert!(heard.0 > 120 * THERMISTORS);
    }
}

#[test]
fn one_cell_with_255_thermistors_is_answered() {
    answers_any_frame::<1, 255>(Pack::of(1, 1, 255, 100_000, 307_200));
}

#[test]
fn a_thermistor_at_each_of_128_cells_is_answered() {
    answers_any_frame::<128, 128>(Pack::of(128, 1, 1, 100_000, 409_600));
}
