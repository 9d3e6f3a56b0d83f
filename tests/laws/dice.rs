//! Values for frames: any bits, and ordinary ones often.

use bms_core::Each;
use bms_core::frame::{
    Asked, Clearance, Contact, Contactor, Feedback, Frame, PackVoltages, Part, Replaced, Wanted,
};
use bms_core::units::{Amps, Instant, Millis, Ratio, Volts};

/// A small generator for the contents of frames; proptest chooses its seed (xorshift64*, Vigna, 2016).
pub(super) struct Dice(pub(super) u64);

impl Dice {
    fn word(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    fn bits(&mut self) -> i32 {
        // Small, ordinary and wild values, all of them often.
        let word = self.word();
        ((word >> 32) as i32) >> (word & 31)
    }

    pub(super) fn one_in(&mut self, many: u64) -> bool {
        (self.word() >> 33).is_multiple_of(many)
    }

    pub(super) fn below(&mut self, most: usize) -> usize {
        (self.word() >> 33) as usize % most
    }

    fn age(&mut self) -> Millis {
        match self.word() >> 62 {
            0 => Millis(0),
            1 => Millis(self.bits().unsigned_abs() % 60),
            2 => Millis(self.bits().cast_unsigned()),
            _ => Millis::MAX,
        }
    }

    fn part<T>(&mut self, part: &mut Part<T>, value: impl FnOnce(&mut Self) -> T) {
        *part = Part { value: value(self), age: self.age() };
    }

    fn volts(&mut self) -> Volts {
        Volts::from_bits(self.bits())
    }

    fn contact(&mut self) -> Contact {
        if self.one_in(2) { Contact::Made } else { Contact::Broken }
    }

    fn asked(&mut self) -> Asked {
        Asked {
            contactors: if self.one_in(2) { Wanted::Closed } else { Wanted::Open },
            clear: self.one_in(4).then_some(Clearance::Service),
            replaced: self.one_in(8).then(|| match self.bits().to_le_bytes()[0] {
                cell @ 0..=200 => Replaced::Cell(cell),
                _ => Replaced::Contactor(Contactor::Positive),
            }),
        }
    }

    /// Spoils a frame: each part with a chance of one in `many`.
    pub(super) fn spoil<const CELLS: usize, const THERMISTORS: usize>(
        &mut self,
        frame: &mut Frame<CELLS, THERMISTORS>,
        many: u64,
    ) {
        if self.one_in(many) {
            self.part(&mut frame.cells, |dice| Each(std::array::from_fn(|_| dice.volts())));
        }
        if self.one_in(many) {
            self.part(&mut frame.thermistors, |dice| {
                Each(std::array::from_fn(|_| Ratio::from_bits(dice.bits())))
            });
        }
        if self.one_in(many) {
            self.part(&mut frame.current, |dice| Amps::from_bits(dice.bits()));
        }
        if self.one_in(many) {
            self.part(&mut frame.current_check, |dice| Amps::from_bits(dice.bits()));
        }
        if self.one_in(many) {
            self.part(&mut frame.voltages, |dice| PackVoltages {
                pack: dice.volts(),
                behind_negative: dice.volts(),
                behind_positive: dice.volts(),
                link: dice.volts(),
            });
        }
        if self.one_in(many) {
            self.part(&mut frame.supply, Self::volts);
        }
        if self.one_in(many) {
            self.part(&mut frame.feedback, |dice| Feedback {
                negative: dice.contact(),
                precharge: dice.contact(),
                positive: dice.contact(),
            });
        }
        if self.one_in(many) {
            frame.asked = self.asked();
        }
        if self.one_in(4 * many) {
            frame.at = Instant(self.bits().cast_unsigned());
        }
    }
}
