//! A controller that is barred says why; and the largest packs that the types allow: a place is a byte, and its last value is in use.

use super::*;
use crate::config::{Config, ConfigError, Pack, SequenceFacts};
use crate::decision::{Coil, Coils};
use crate::each::Each;
use crate::frame::{
    Asked, Clearance, Contact, Contacts, Feedback, Inputs, PackVoltages, Part, PoleVoltages, Pulled,
    Replaced, ToChassis, Turning, Wanted,
};
use crate::insulation::tests::Chassis;
use crate::units::{Amps, Instant, Millis, Ohms, Ratio, Volts};

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
    let mut controller = Controller::<16, 8>::new(Fitted::barred(config, error));
    let mut heard = Reasons::default();
    for tick in 0..3 {
        let decision = controller.tick(&Frame::empty(Instant(tick * 10)), &mut heard);
        assert!(decision.faults.confirmed.holds(Fault::ConfigurationInvalid));
        assert_eq!(heard.0, [error]);
    }
    let mut sound = Controller::<16, 8>::new(Config::trainer().fit().expect("the defaults are valid"));
    let mut heard = Reasons::default();
    sound.tick(&Frame::empty(Instant(0)), &mut heard);
    assert_eq!(heard.0, []);
}

/// The training bench on paper, its link shorted: 51.2 V, every contactor does at once as it is told, all parts are fresh.
struct Shorted {
    controller: Controller<16, 8>,
    at: u32,
    /// Highest cell in millivolts.
    highest: i32,
    asked: Asked,
    chassis: Chassis,
    resistor: ToChassis,
    coils: Coils,
    starts: u32,
}

impl Shorted {
    fn new() -> Self {
        let config = Config::trainer().fit().expect("the defaults are valid");
        let asked = Asked::NOTHING;
        Self {
            chassis: Chassis::new(&config),
            resistor: ToChassis::Open,
            controller: Controller::new(config),
            at: 0,
            highest: 3_200,
            asked,
            coils: Coils::NONE,
            starts: 0,
        }
    }

    fn for_ms(&mut self, ms: u32) -> &mut Self {
        for _ in 0..ms / 10 {
            let coils = self.coils;
            let (half, pack) = (Volts::from_milli(25_600), Volts::from_milli(51_200));
            let (behind_negative, behind_positive) = match (coils.negative, coils.precharge) {
                (Coil::Off, Coil::Off) => (half, half),
                (Coil::Off, Coil::On) => (Volts::ZERO, pack),
                (Coil::On, _) => (pack, Volts::ZERO),
            };
            let contact = |coil| if coil == Coil::On { Contact::Made } else { Contact::Broken };
            let mut cells = Each::all(Volts::from_milli(3_200));
            cells.0[4] = Volts::from_milli(self.highest);
            self.at += 10;
            let mut frame = Frame::empty(Instant(self.at));
            frame.cells = Part::fresh(cells);
            frame.thermistors = Part::fresh(Each::all(Ratio::percent(50)));
            frame.current = Part::fresh(Amps::ZERO);
            frame.current_check = Part::fresh(Amps::ZERO);
            frame.voltages =
                Part::fresh(PackVoltages { pack, behind_negative, behind_positive, link: Volts::ZERO });
            frame.supply = Part::fresh(Volts::from_milli(12_000));
            frame.poles = Part::fresh(self.chassis.read(self.resistor, 10));
            frame.contacts = Part::fresh(Contacts::SOUND);
            frame.feedback = Part::fresh(Feedback {
                negative: contact(coils.negative),
                precharge: contact(coils.precharge),
                positive: contact(coils.positive),
            });
            frame.asked = self.asked;
            let before = self.controller.step();
            let decision = self.controller.tick(&frame, &mut ());
            (self.coils, self.resistor) = (decision.coils, decision.resistor);
            self.starts += u32::from(decision.step == Step::Precharging && before != Step::Precharging);
        }
        self
    }

    fn holds_clear(&mut self, clear: Option<Clearance>) -> &mut Self {
        self.asked.clear = clear;
        self
    }
}

/// The bar is for a person to lift: one who has held the button down since before the cause went has not seen that it went.
#[test]
fn a_clear_that_is_held_lifts_no_later_bar() {
    let mut bench = Shorted::new();
    bench.for_ms(1_000).highest = 3_900;
    bench.holds_clear(Some(Clearance::Panel)).for_ms(1_000);
    assert_eq!(bench.controller.step(), Step::Barred);
    bench.highest = 3_200;
    bench.for_ms(10_000);
    assert_eq!(bench.controller.step(), Step::Barred);
    bench.holds_clear(None).for_ms(10).holds_clear(Some(Clearance::Panel)).for_ms(10);
    assert_eq!(bench.controller.step(), Step::Open);
}

/// Three starts may fail in a row. A clear allows three more once they are asked for, and one that is held allows no more than that.
#[test]
fn a_clear_that_is_held_allows_no_further_start() {
    let mut bench = Shorted::new();
    bench.for_ms(10).asked.contactors = Wanted::Closed;
    bench.for_ms(60_000);
    assert_eq!(bench.starts, 3);
    bench.holds_clear(Some(Clearance::Service)).for_ms(60_000);
    assert_eq!(bench.starts, 3, "a clear starts nothing");
    bench.asked.contactors = Wanted::Open;
    bench.for_ms(10).asked.contactors = Wanted::Closed;
    bench.for_ms(300_000);
    assert_eq!(bench.starts, 6);
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
        let inputs = if self.bits() < 0 { Inputs::Odd } else { Inputs::Even };
        let pulled = Pulled { inputs, cells: Each(core::array::from_fn(|_| self.volts())) };
        let mut flows = CellSet::EMPTY;
        flows.insert(self.bits().to_le_bytes()[1]);
        let resistor = if self.bits() < 0 { ToChassis::Negative } else { ToChassis::Positive };
        let poles = PoleVoltages { negative: self.volts(), positive: self.volts(), resistor };
        let [interlock_breaks, impact_edges, ..] = self.bits().to_le_bytes();
        let contacts = Contacts {
            interlock: self.contact(),
            interlock_breaks,
            service_disconnect: self.contact(),
            auxiliary_disconnect: self.contact(),
            impact_edges,
            cooling: if self.bits() < 0 { Turning::Turning } else { Turning::Standing },
        };
        Frame {
            at: Instant(at),
            cells: self.part(cells),
            thermistors: self.part(thermistors),
            current: self.part(current),
            current_check: self.part(current_check),
            voltages: self.part(voltages),
            supply: self.part(supply),
            feedback: self.part(feedback),
            cells_pulled: self.part(pulled),
            bleed_flows: self.part(flows),
            poles: self.part(poles),
            contacts: self.part(contacts),
            asked: Asked {
                contactors: Wanted::Closed,
                clear: (self.bits() < 0).then_some(Clearance::Service),
                replaced: (self.bits() < 0).then(|| Replaced::Cell(self.bits().to_le_bytes()[0])),
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

fn answers_any_frame<const CELLS: usize, const THERMISTORS: usize>(pack: Pack, sequence: SequenceFacts) {
    let config = Config::for_pack(pack, sequence);
    let config = config.fit().expect("the figures fit each other");
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
    answers_any_frame::<1, 255>(Pack::of(1, 1, 255, 100_000, 3_200), SequenceFacts::trainer());
}

#[test]
fn a_thermistor_at_each_of_128_cells_is_answered() {
    // A full pack of 467 V falls below 60 V within five seconds.
    let sequence = SequenceFacts::of(Ohms(50), Ohms(2_000), 1_000);
    answers_any_frame::<128, 128>(Pack::of(128, 1, 1, 100_000, 409_600), sequence);
}

/// A channel at its end says "at least this", whichever of the two is the narrower one; against a current the other way it contradicts.
#[test]
fn a_channel_at_its_end_contradicts_nothing_beyond_it() {
    for (main, check, disagree) in
        [(500, 120, false), (500, -120, true), (500, 110, true), (-500, -120, false)]
    {
        let mut config = Config::trainer();
        config.pack.current_range = Amps::from_milli(1_200_000);
        config.pack.current_check_range = Amps::from_milli(120_000);
        config.faults = crate::fault::FaultLimits::for_pack(&config.pack);
        let mut controller = Controller::<16, 8>::new(config.fit().expect("one range reaches far enough"));
        let mut found = false;
        for tick in 1..=50 {
            let mut frame = Frame::empty(Instant(tick * 10));
            frame.current = Part::fresh(Amps::from_milli(main * 1_000));
            frame.current_check = Part::fresh(Amps::from_milli(check * 1_000));
            let faults = controller.tick(&frame, &mut ()).faults;
            found |= faults.confirmed.holds(Fault::CurrentSensorsDisagree);
        }
        assert_eq!(found, disagree, "{main} A and {check} A");
    }
}
