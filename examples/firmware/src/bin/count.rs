//! What a tick costs: instructions, stack and memory, for the pack and the witness that the features name (`trainer`; `changes`, `logging`).
//!
//! QEMU with `-icount shift=6` lets every instruction take 2⁶ ns of its clock, and SysTick counts that clock at 25 MHz (40 ns), so
//! that `instructions = ticks · 40 / 64`. They are instructions, not cycles: no wait states. The same image gives the same
//! figures at each run. Prints `key=value` lines.
#![no_std]
#![no_main]

use bms_core::decision::{Coil, Coils};
use bms_core::frame::{Contact, Feedback, Frame, Inputs, PackVoltages, Part, ToChassis, Wanted};
use bms_core::units::{Amps, Instant, Millis, Ratio, Volts};
use bms_core::{Config, Controller, Decision, Each, Fitted, Step};
use core::hint::black_box;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m::peripheral::{Peripherals, SYST};
use cortex_m_rt::entry;
use cortex_m_semihosting::{debug, hprintln};
use firmware::paper::{CELLS, ONE_C_MILLIAMPS, Paper, THERMISTORS, TICK_MS};
use firmware::{stack, witness};

#[panic_handler]
fn panic(info: &core::panic::PanicInfo) -> ! {
    hprintln!("{}", info);
    debug::exit(debug::EXIT_FAILURE);
    loop {}
}

type Core = Controller<CELLS, THERMISTORS>;
type PackFrame = Frame<CELLS, THERMISTORS>;

/// A controller with whoever listens to it.
struct Measured {
    controller: &'static mut Core,
    listener: Listener,
    /// Where the stack stood when the last tick began.
    top: usize,
}

#[cfg(feature = "logging")]
type Listener = firmware::log::Log;
#[cfg(all(feature = "changes", not(feature = "logging")))]
type Listener = witness::Changes;
#[cfg(not(any(feature = "changes", feature = "logging")))]
type Listener = ();

#[entry]
fn main() -> ! {
    let done = Peripherals::take().ok_or("the peripherals are taken").and_then(|mut peripherals| {
        peripherals.SYST.set_clock_source(SystClkSource::Core);
        peripherals.SYST.set_reload(COUNTER_MASK);
        peripherals.SYST.clear_current();
        peripherals.SYST.enable_counter();
        run()
    });
    if let Err(what) = done {
        hprintln!("not measured: {}", what);
    }
    debug::exit(if done.is_ok() { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
    loop {}
}

/// SysTick counts down through 24 bits: at 2⁶ ns an instruction it wraps after ten million of them.
const COUNTER_MASK: u32 = 0x00FF_FFFF;

/// Instructions of one call.
fn instructions(act: impl FnOnce()) -> u32 {
    let before = SYST::get_current();
    act();
    let after = SYST::get_current();
    (before.wrapping_sub(after) & COUNTER_MASK) * 40 / 64
}

/// Most and sum of the instructions of many ticks.
struct Cost {
    most: u32,
    sum: u64,
    count: u32,
}

impl Cost {
    const NONE: Self = Self { most: 0, sum: 0, count: 0 };

    fn tick(&mut self, measured: &mut Measured, frame: &PackFrame) -> (Coils, ToChassis, Option<Inputs>) {
        let mut driven = (Coils::NONE, ToChassis::Open, None);
        let cost = instructions(|| {
            let decision = tick(measured, black_box(frame));
            driven = (decision.coils, decision.resistor, decision.pull);
        });
        self.most = self.most.max(cost);
        self.sum += u64::from(cost);
        self.count += 1;
        driven
    }

    /// Prints most and mean; gives the most.
    fn print(&self, of: &str) -> u32 {
        hprintln!("{}_tick_instructions={}", of, self.most);
        hprintln!("{}_tick_mean_instructions={}", of, self.sum / u64::from(self.count));
        self.most
    }
}

/// One tick. Apart, so that its stack begins here and can be found by its name.
#[inline(never)]
fn tick(measured: &mut Measured, frame: &PackFrame) -> Decision<CELLS> {
    measured.top = cortex_m::register::msp::read() as usize;
    black_box(measured.controller.tick(frame, &mut measured.listener))
}

fn run() -> Result<(), &'static str> {
    let config = if cfg!(feature = "trainer") { Config::trainer() } else { Config::crane() };
    let config = config.fit().map_err(|_| "the defaults fail their check")?;
    let controller = cortex_m::singleton!(: Core = Core::new(config)).ok_or("made twice")?;
    let mut measured = Measured { controller, listener: witness::chosen(), top: 0 };
    let measured = &mut measured;
    let (mut stack_bytes, mut renew_stack_bytes) = (0, 0);
    let mut worst = 0;
    for stream in [healthy, all_broken, chatter, any_bits] {
        stack::paint();
        let mut paper = Paper::new();
        close(measured, &mut paper)?;
        stack_bytes = stack_bytes.max(stack::depth_bytes(measured.top));
        stack::paint();
        worst = worst.max(stream(measured, &paper));
        stack_bytes = stack_bytes.max(stack::depth_bytes(measured.top));
        let top = stack::paint();
        start_again(measured.controller, config);
        renew_stack_bytes = renew_stack_bytes.max(stack::depth_bytes(top));
    }
    hprintln!("worst_tick_instructions={}", worst);
    hprintln!("tick_stack_bytes={}", stack_bytes);
    hprintln!("new_stack_bytes={}", renew_stack_bytes);
    hprintln!("controller_bytes={}", size_of::<Core>());
    hprintln!("frame_bytes={}", size_of::<PackFrame>());
    Ok(())
}

/// A controller as new, in the place of the old one. Apart, so that what it needs on the stack is not counted for the ticks.
#[inline(never)]
fn start_again(controller: &mut Core, config: Fitted<CELLS, THERMISTORS>) {
    *controller = Core::new(config);
}

/// Three seconds of start-up, until insulation is measured and the pack feeds the link.
fn close(measured: &mut Measured, paper: &mut Paper) -> Result<(), &'static str> {
    let mut coils = Coils::NONE;
    for contactors in core::iter::once(Wanted::Open).chain(core::iter::repeat_n(Wanted::Closed, 300)) {
        paper.asked.contactors = contactors;
        let frame = paper.tick(coils);
        let decision = tick(measured, &frame);
        (coils, paper.resistor, paper.pull) = (decision.coils, decision.resistor, decision.pull);
    }
    if measured.controller.step() == Step::Closed { Ok(()) } else { Err("a healthy pack does not close") }
}

/// The coils of a closed pack.
const CLOSED: Coils = Coils { negative: Coil::On, precharge: Coil::Off, positive: Coil::On };

/// Ten seconds of a load that steps up and down every second: each section of the configuration's checksum comes round several
/// times, and load steps are judged.
fn healthy(measured: &mut Measured, paper: &Paper) -> u32 {
    let mut paper = *paper;
    let mut cost = Cost::NONE;
    for tick in 0..1_000 {
        paper.load = Amps::from_milli(if tick / 100 % 2 == 0 {
            -ONE_C_MILLIAMPS / 5
        } else {
            -ONE_C_MILLIAMPS / 5 * 4
        });
        let frame = paper.tick(CLOSED);
        (_, paper.resistor, paper.pull) = cost.tick(measured, &frame);
    }
    cost.print("healthy")
}

/// Every limit is broken at once and stays so, until every dwell has ended: the longest is a minute.
fn all_broken(measured: &mut Measured, paper: &Paper) -> u32 {
    let mut cost = Cost::NONE;
    for tick in 1..=6_100 {
        let frame = broken(paper.at_ms().wrapping_add(tick * TICK_MS), tick);
        cost.tick(measured, &frame);
    }
    cost.print("broken")
}

/// Every limit is broken in every second tick only.
fn chatter(measured: &mut Measured, paper: &Paper) -> u32 {
    let mut cost = Cost::NONE;
    let mut paper = *paper;
    let mut coils = CLOSED;
    for tick in 0..1_000 {
        let good = paper.tick(coils);
        let frame = if tick % 2 == 0 { broken(paper.at_ms(), tick) } else { good };
        (coils, paper.resistor, paper.pull) = cost.tick(measured, &frame);
    }
    cost.print("chattering")
}

/// Frames of bits that mean nothing.
fn any_bits(measured: &mut Measured, paper: &Paper) -> u32 {
    let mut cost = Cost::NONE;
    let mut bits = Bits(0x2545_F491);
    for tick in 1..=2_000 {
        let mut frame = broken(paper.at_ms().wrapping_add(tick * TICK_MS), tick);
        frame.cells.value.iter_mut().for_each(|volts| *volts = Volts::from_bits(bits.next_signed()));
        frame
            .thermistors
            .value
            .iter_mut()
            .for_each(|ratio| *ratio = Ratio::from_bits(bits.next_signed() >> 15));
        frame.current.value = Amps::from_bits(bits.next_signed());
        frame.current_check.value = Amps::from_bits(bits.next_signed());
        frame.voltages.value.link = Volts::from_bits(bits.next_signed());
        frame.supply.value = Volts::from_bits(bits.next_signed());
        frame.cells.age = Millis(bits.next() >> 28);
        cost.tick(measured, &frame);
    }
    cost.print("any_bits")
}

/// Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8 (2003) 14: the triple 13, 17, 5.
struct Bits(u32);

impl Bits {
    fn next(&mut self) -> u32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        self.0
    }

    fn next_signed(&mut self) -> i32 {
        self.next().cast_signed()
    }
}

/// High and low cells, shorted, open and hot thermistors, a current beyond the range that turns round, contactors that
/// contradict their coils, a low supply.
fn broken(at_ms: u32, tick: u32) -> PackFrame {
    let mut frame = Frame::empty(Instant(at_ms));
    let mut cells = Each::all(Volts::from_milli(100));
    cells.iter_mut().step_by(2).for_each(|volts| *volts = Volts::from_milli(4_000));
    let mut thermistors = Each::all(Ratio::from_milli(60 + 200 * (tick % 3) as i32));
    thermistors.iter_mut().step_by(4).for_each(|ratio| *ratio = Ratio::ONE);
    thermistors.iter_mut().skip(1).step_by(4).for_each(|ratio| *ratio = Ratio::ZERO);
    let amps = Amps::from_milli(if tick / 50 % 2 == 0 { 700_000 } else { -700_000 });
    frame.cells = Part::fresh(cells);
    frame.thermistors = Part::fresh(thermistors);
    frame.current = Part::fresh(amps);
    frame.current_check = Part::fresh(-amps);
    frame.voltages = Part::fresh(PackVoltages {
        pack: Volts::from_milli(250_000),
        behind_negative: Volts::from_milli(250_000),
        behind_positive: Volts::from_milli(250_000),
        link: Volts::from_milli(100_000),
    });
    frame.supply = Part::fresh(Volts::from_milli(8_000));
    frame.feedback = Part::fresh(Feedback {
        negative: Contact::Made,
        precharge: Contact::Made,
        positive: Contact::Broken,
    });
    frame.asked.contactors = Wanted::Closed;
    frame
}
