//! Exact pin traffic against mocked pins, and what failures do to a frame.

use super::*;
use crate::config::Config;
use crate::decision::{CurrentLimits, FaultSummary};
use crate::sequence::Step;
use crate::units::Amps;
use core::cell::RefCell;
use core::convert::Infallible;
use core::slice::from_ref;
use embedded_hal_mock::eh1::MockError;
use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as Edge};
use embedded_hal_mock::eh1::pwm::{Mock as Fan, Transaction as Duty};
use std::io::ErrorKind;

type TestBoard = Board<Coils<Pin, Pin, Pin>, Feedback<Pin, Pin, Pin>, Fan, Converts, Chips, Around, 4, 2>;

#[derive(Debug)]
struct Fails(DriverErrorKind);

impl DriverError for Fails {
    fn kind(&self) -> DriverErrorKind {
        self.0
    }
}

/// Every channel at a quarter of the reference; one of them may fail.
struct Converts {
    fails: Option<Channel>,
}

impl Converter for Converts {
    type Error = Fails;
    fn ratio(&mut self, channel: Channel) -> Result<Ratio, Fails> {
        let good = self.fails != Some(channel);
        good.then_some(Ratio::percent(25)).ok_or(Fails(DriverErrorKind::NoAnswer))
    }
}

#[derive(Default)]
struct Chips {
    broken: bool,
    bled: Vec<CellSet<4>>,
}

impl FrontEnd<4> for Chips {
    type Error = Fails;
    fn cells(&mut self, volts: &mut Each<Volts, 4>) -> Result<(), Fails> {
        // Half a transfer before the check sum fails must not get into the frame.
        *volts = Each::all(Volts::from_milli(if self.broken { 9_999 } else { 3_300 }));
        if self.broken { Err(Fails(DriverErrorKind::Corrupted)) } else { Ok(()) }
    }
    fn bleed(&mut self, cells: &CellSet<4>) -> Result<(), Fails> {
        self.bled.push(*cells);
        if self.broken { Err(Fails(DriverErrorKind::NotReady)) } else { Ok(()) }
    }
    fn bleed_flows(&mut self) -> Result<Option<CellSet<4>>, Fails> {
        if self.broken { Err(Fails(DriverErrorKind::NotReady)) } else { Ok(self.bled.last().copied()) }
    }
    fn cells_pulled(&mut self, inputs: Inputs, volts: &mut Each<Volts, 4>) -> Result<(), Fails> {
        assert_eq!(inputs, Inputs::Even);
        *volts = Each::all(Volts::from_milli(if self.broken { 9_999 } else { 3_298 }));
        if self.broken { Err(Fails(DriverErrorKind::Corrupted)) } else { Ok(()) }
    }
}

/// An interlock that has broken twice.
const LOOSE: Contacts = Contacts { interlock_breaks: 2, ..Contacts::SOUND };

#[derive(Default)]
struct Around {
    broken: bool,
    switched: Vec<ToChassis>,
    warned: Vec<Option<Warning>>,
}

impl Around {
    fn done<T>(&self, value: T) -> Result<T, Fails> {
        if self.broken { Err(Fails(DriverErrorKind::NotReady)) } else { Ok(value) }
    }
}

impl Periphery for Around {
    type Error = Fails;
    fn contacts(&mut self) -> Result<Contacts, Fails> {
        self.done(LOOSE)
    }
    fn resistor(&mut self, to: ToChassis) -> Result<(), Fails> {
        self.switched.push(to);
        self.done(())
    }
    fn warn(&mut self, of: Option<Warning>) -> Result<(), Fails> {
        self.warned.push(of);
        self.done(())
    }
}

fn scales() -> Scales {
    let volts = Scale { at_zero: Volts::ZERO, at_full: Volts::from_milli(400_000) };
    let amps = Scale { at_zero: Amps::from_milli(-600_000), at_full: Amps::from_milli(600_000) };
    Scales {
        current: amps,
        current_check: Scale { at_zero: Amps::from_milli(3_000_000), at_full: Amps::from_milli(-3_000_000) },
        pack: volts,
        behind_negative: Some(volts),
        behind_positive: None,
        link: volts,
        poles: Some(volts),
        supply: Scale { at_zero: Volts::ZERO, at_full: Volts::from_milli(24_000) },
    }
}

/// The crane without the point behind positive.
fn config() -> Config {
    let mut config = Config::crane();
    config.sensing.points.behind_positive = false;
    config
}

/// A quarter of the span less, on either side of either sensor, and a point too many or too few.
#[test]
fn scales_that_contradict_the_configuration_are_refused() {
    let says = |spoil: fn(&mut Scales)| {
        let mut scales = scales();
        spoil(&mut scales);
        scales.fit(&config()).map_or_else(|misfit| misfit.to_string(), |_| "fits".to_owned())
    };
    assert_eq!(says(|_| ()), "fits");
    assert_eq!(
        says(|scales| scales.current.at_full = Amps::from_milli(450_000)),
        "scale `current` spans −600 A to 450 A, less than pack.current_range = 600 A either way"
    );
    assert_eq!(
        says(|scales| scales.current_check.at_full = Amps::from_milli(-2_000_000)),
        "scale `current_check` spans 3000 A to −2000 A, less than pack.current_check_range = 2500 A either way"
    );
    assert_eq!(
        says(|scales| scales.behind_negative = None),
        "there is no scale `behind_negative`, but sensing.points.behind_negative says that the point is measured"
    );
    assert_eq!(
        says(|scales| scales.behind_positive = Some(scales.pack)),
        "there is a scale `behind_positive`, but sensing.points.behind_positive says that the point is not measured"
    );
}

fn board(coils: [&[Edge]; 3], feedback: [&[Edge]; 3], fan: &[Duty]) -> TestBoard {
    let [negative, precharge, positive] = coils.map(Pin::new);
    let coils = Coils { negative, precharge, positive };
    let [negative, precharge, positive] = feedback.map(Pin::new);
    let feedback = Feedback { negative, precharge, positive };
    let scales = scales().fit(&config()).expect("they fit");
    Board::new(
        coils,
        feedback,
        Fan::new(fan),
        Converts { fails: None },
        Chips::default(),
        Around::default(),
        scales,
    )
}

/// Every expected edge has come, and no other.
fn finish(board: TestBoard) -> Chips {
    let (mut coils, mut feedback, mut fan, _, chips, _) = board.into_parts();
    for pin in [&mut coils.negative, &mut coils.precharge, &mut coils.positive] {
        pin.done();
    }
    for pin in [&mut feedback.negative, &mut feedback.precharge, &mut feedback.positive] {
        pin.done();
    }
    fan.done();
    chips
}

fn decision(coils: decision::Coils, cooling: Cooling) -> Decision<4> {
    let mut bleed = CellSet::EMPTY;
    bleed.insert(2);
    Decision {
        coils,
        limits: CurrentLimits::NONE,
        bleed,
        cooling,
        pull: None,
        resistor: ToChassis::Open,
        warning: None,
        step: Step::Open,
        faults: FaultSummary::default(),
    }
}

fn quiet(trouble: Trouble) {
    panic!("{trouble:?}");
}

#[test]
fn every_pin_is_written_in_every_tick() {
    let (low, high) = (Edge::set(State::Low), Edge::set(State::High));
    let mut board = board(
        [&[high.clone(), low.clone()], &[high, low.clone()], &[low.clone(), low]],
        [&[], &[], &[]],
        &[Duty::max_duty_cycle(800), Duty::set_duty_cycle(800), Duty::set_duty_cycle(0)],
    );
    let pulled = decision::Coils { negative: Coil::On, precharge: Coil::On, positive: Coil::Off };
    board.act(&decision(pulled, Cooling::On), quiet);
    board.act(&decision(decision::Coils::NONE, Cooling::Off), quiet);
    let chips = finish(board);
    assert_eq!(chips.bled.len(), 2);
    assert!(chips.bled.iter().all(|cells| cells.iter().eq([2])));
}

/// Remembers the order of writes across pins, which a mock of one pin cannot see.
struct Recorded<'a>(Contactor, &'a RefCell<Vec<(Contactor, Coil)>>);

impl digital::ErrorType for Recorded<'_> {
    type Error = Infallible;
}

impl OutputPin for Recorded<'_> {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.1.borrow_mut().push((self.0, Coil::Off));
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.1.borrow_mut().push((self.0, Coil::On));
        Ok(())
    }
}

#[test]
fn releases_come_before_pulls_in_every_combination() {
    let levels = [Coil::Off, Coil::On];
    for negative in levels {
        for precharge in levels {
            for positive in levels {
                let seen = RefCell::new(Vec::new());
                let mut coils = Coils {
                    negative: Recorded(Contactor::Negative, &seen),
                    precharge: Recorded(Contactor::Precharge, &seen),
                    positive: Recorded(Contactor::Positive, &seen),
                };
                let asked = decision::Coils { negative, precharge, positive };
                coils.drive(asked, quiet);
                let seen = seen.into_inner();
                assert_eq!(seen.len(), 3);
                assert!(seen.is_sorted_by_key(|(_, coil)| *coil == Coil::On), "{seen:?}");
                assert!(seen.iter().all(|(contactor, coil)| asked.of(*contactor) == *coil));
            }
        }
    }
}

/// A quarter of the reference, by hand: 100 V of 400, −300 A of −600…600, 6 V of 24.
#[test]
fn a_frame_is_sampled_whole() {
    let (low, high) = (Edge::get(State::Low), Edge::get(State::High));
    let mut board = board([&[], &[], &[]], [&[high], from_ref(&low), from_ref(&low)], &[]);
    let frame = board.sample(Instant(10), Asked::NOTHING, quiet);
    finish(board);
    assert_eq!(frame.at, Instant(10));
    assert_eq!(frame.voltages.value.pack.milli(), 100_000);
    assert_eq!(frame.voltages.value.behind_positive, Volts::ZERO, "this point is not measured");
    assert_eq!(frame.current.value.milli(), -300_000);
    assert_eq!(frame.supply.value.milli(), 6_000);
    assert_eq!(frame.thermistors.value, Each::all(Ratio::percent(25)));
    assert_eq!(frame.cells, Part::fresh(Each::all(Volts::from_milli(3_300))));
    assert_eq!(
        frame.feedback.value,
        frame::Feedback { negative: Contact::Made, ..frame::Feedback::default() }
    );
    assert_eq!(frame.current_check.age, Millis::ZERO);
    let hundred = Volts::from_milli(100_000);
    let poles = PoleVoltages { negative: hundred, positive: hundred, resistor: ToChassis::Open };
    assert_eq!((frame.poles, frame.contacts), (Part::fresh(poles), Part::fresh(LOOSE)));
    assert_eq!(frame.cells_pulled.age, Millis::MAX, "no test was asked for");
    assert_eq!(frame.bleed_flows.age, Millis::MAX, "nothing was said of it");
}

/// The frame after the decision carries the cells under the test current, and says where the resistor stood; the one after that is older.
#[test]
fn a_test_current_and_the_resistor_reach_the_next_frame() {
    let low = Edge::get(State::Low);
    let lows = [low.clone(), low.clone()];
    let mut board = board(
        [
            from_ref(&Edge::set(State::Low)),
            from_ref(&Edge::set(State::Low)),
            from_ref(&Edge::set(State::Low)),
        ],
        [&lows, &lows, &lows],
        &[Duty::set_duty_cycle(0)],
    );
    let (pull, resistor, warning) = (Some(Inputs::Even), ToChassis::Positive, Some(Warning::Danger));
    let mut asked = Decision { pull, resistor, warning, ..decision(decision::Coils::NONE, Cooling::Off) };
    asked.bleed.insert(2);
    board.act(&asked, quiet);
    let frame = board.sample(Instant(10), Asked::NOTHING, quiet);
    let pulled = Pulled { inputs: Inputs::Even, cells: Each::all(Volts::from_milli(3_298)) };
    assert_eq!((frame.cells_pulled, frame.poles.value.resistor), (Part::fresh(pulled), ToChassis::Positive));
    assert_eq!(frame.cells.value, Each::all(Volts::from_milli(3_300)));
    assert_eq!(frame.bleed_flows, Part::fresh(asked.bleed));
    assert_eq!(board.sample(Instant(20), Asked::NOTHING, quiet).cells_pulled.age, Millis(10));
    assert_eq!(board.periphery.switched, [ToChassis::Positive]);
    assert_eq!(board.periphery.warned, [warning]);
    finish(board);
}

#[test]
fn what_fails_grows_old_and_holds_nothing_else_up() {
    let low = Edge::get(State::Low);
    let failing = low.clone().with_error(MockError::Io(ErrorKind::NotConnected));
    let mut board = board(
        [&[], &[], &[]],
        [
            &[low.clone(), low.clone(), low.clone()],
            &[low.clone(), failing, low.clone()],
            &[low.clone(), low.clone(), low],
        ],
        &[],
    );
    board.sample(Instant(10), Asked::NOTHING, quiet);
    board.converter.fails = Some(Channel::Link);
    (board.front_end.broken, board.periphery.broken) = (true, true);
    board.pull = Some(Inputs::Even);
    let mut troubles = Vec::new();
    let frame = board.sample(Instant(20), Asked::NOTHING, |trouble| troubles.push(trouble));
    assert_eq!(
        troubles,
        [
            Trouble::Input(Channel::Link, DriverErrorKind::NoAnswer),
            Trouble::Feedback(Contactor::Precharge, digital::ErrorKind::Other),
            Trouble::BleedFlows(DriverErrorKind::NotReady),
            Trouble::Cells(DriverErrorKind::Corrupted),
            Trouble::CellsPulled(DriverErrorKind::Corrupted),
            Trouble::Contacts(DriverErrorKind::NotReady),
        ]
    );
    let ten = Millis(10);
    assert_eq!((frame.voltages.age, frame.feedback.age, frame.cells.age), (ten, ten, ten));
    assert_eq!((frame.contacts.age, frame.cells_pulled.age), (ten, Millis::MAX));
    assert_eq!(frame.cells.value, Each::all(Volts::from_milli(3_300)), "half a transfer is not used");
    assert_eq!((frame.current.age, frame.thermistors.age), (Millis::ZERO, Millis::ZERO));
    let frame = board.sample(Instant(40), Asked::NOTHING, |_| {});
    assert_eq!((frame.voltages.age, frame.feedback.age), (Millis(30), Millis::ZERO));
    finish(board);
}

#[test]
fn what_was_never_read_is_never_believed() {
    let low = Edge::get(State::Low);
    let mut board = board([&[], &[], &[]], [from_ref(&low), from_ref(&low), from_ref(&low)], &[]);
    board.converter.fails = Some(Channel::Thermistor(1));
    let frame = board.sample(Instant(10), Asked::NOTHING, |trouble| {
        assert_eq!(trouble, Trouble::Input(Channel::Thermistor(1), DriverErrorKind::NoAnswer));
    });
    assert_eq!(frame.thermistors.age, Millis::MAX);
    finish(board);
}

#[test]
fn a_coil_that_cannot_be_written_keeps_no_other_back() {
    let low = Edge::set(State::Low);
    let failing = low.clone().with_error(MockError::Io(ErrorKind::BrokenPipe));
    let mut board = board(
        [from_ref(&low), from_ref(&low), &[failing]],
        [&[], &[], &[]],
        &[Duty::set_duty_cycle(0).with_error(MockError::Io(ErrorKind::BrokenPipe))],
    );
    (board.front_end.broken, board.periphery.broken) = (true, true);
    let mut troubles = Vec::new();
    board.act(&decision(decision::Coils::NONE, Cooling::Off), |trouble| troubles.push(trouble));
    assert_eq!(
        troubles,
        [
            Trouble::Coil(Contactor::Positive, digital::ErrorKind::Other),
            Trouble::Cooling(pwm::ErrorKind::Other),
            Trouble::Bleed(DriverErrorKind::NotReady),
            Trouble::Resistor(DriverErrorKind::NotReady),
            Trouble::Warning(DriverErrorKind::NotReady),
        ]
    );
    assert_eq!(board.resistor, ToChassis::Open, "it could not be switched");
    finish(board);
}
