//! A pack on paper: what a healthy crane measures while its contactors follow the coils, or a healthy trainer (feature `trainer`).
//!
//! No simulator: voltages that a pencil can follow, in integers. Every cell stands at one voltage, every thermistor at 25 °C.
//! The link follows the closed form of an RC circuit with inputs held over a tick, so that
//! `link(t + T) = end + (link(t) − end) · e^(−T/τ)`: charging τ = k·R_pre·C = 49.0 ms towards k·pack (k = 2 500/2 550), falling
//! τ = R_d·C = 2.5 s towards nothing. Floating behind its two equal dividers, the link stands centred on the pack: each cross
//! voltage reads half of pack and link together, settling with the dividers' time constant of 100 ms. Each pole is insulated from the
//! chassis by 5 MΩ and measured by 2 MΩ beside it, without any capacitance; 150 kΩ more at one of them leave it 135.7/1 564.3 of the pack.

use bms_core::Each;
use bms_core::decision::{CellSet, Coil, Coils};
use bms_core::frame::{
    Asked, Contact, Contacts, Feedback, Frame, Inputs, PackVoltages, Part, PoleVoltages, Pulled, ToChassis,
};
use bms_core::units::{Amps, Instant, Ohms, Ratio, Volts};

/// Cells in series.
pub const CELLS: usize = if cfg!(feature = "trainer") { 16 } else { 96 };
/// Thermistors.
pub const THERMISTORS: usize = if cfg!(feature = "trainer") { 8 } else { 16 };
/// The current that moves the rated capacity in one hour, in milliamperes.
pub const ONE_C_MILLIAMPS: i32 = if cfg!(feature = "trainer") { 20_000 } else { 100_000 };
/// The precharge resistor; with the link's capacitance it makes 50 ms in both packs.
const PRECHARGE: Ohms = Ohms(if cfg!(feature = "trainer") { 10 } else { 50 });
/// Period of a tick in milliseconds.
pub const TICK_MS: u32 = 10;

/// 1 − e^(−10 ms / 49.02 ms) = 0.184 54, in 65 536ths.
const CHARGES: Ratio = Ratio::from_bits(12_094);
/// 1 − e^(−10 ms / 2.5 s) = 0.003 992, in 65 536ths.
const FALLS: Ratio = Ratio::from_bits(262);
/// 1 − e^(−10 ms / 100 ms) = 0.095 16, in 65 536ths.
const SETTLES: Ratio = Ratio::from_bits(6_237);
/// Where the charging link ends: 2 500 / 2 550 of the pack.
const END: Ratio = Ratio::from_bits(64_251);
/// What is left of the pack at a pole with the known resistor: 8.67 %.
const LEFT_AT_POLE: Ratio = Ratio::from_bits(5_685);
/// A divider of 10 kΩ to the reference over a thermistor of 10 kΩ (25 °C).
const AT_25_DEGREES: Ratio = Ratio::percent(50);
/// Ticks that a contactor takes to pull in: 20 ms, a common figure from memory.
const PULL_IN_TICKS: u8 = 2;

/// One contactor: it closes some ticks after its coil and falls open in the next tick.
#[derive(Clone, Copy, Default)]
struct Armature {
    energised: u8,
}

impl Armature {
    fn follow(&mut self, coil: Coil) {
        self.energised = match coil {
            Coil::On => self.energised.saturating_add(1),
            Coil::Off => 0,
        };
    }

    const fn closed(self) -> bool {
        self.energised >= PULL_IN_TICKS
    }

    const fn contact(self) -> Contact {
        if self.closed() { Contact::Made } else { Contact::Broken }
    }
}

/// The pack on paper.
#[derive(Clone, Copy)]
pub struct Paper {
    /// Voltage of each cell at its taps.
    pub cells: Each<Volts, CELLS>,
    /// What the load draws once the contactors are closed, negative because it discharges.
    pub load: Amps,
    /// What is asked of the controller.
    pub asked: Asked,
    /// Where the known resistor of the insulation measurement stands.
    pub resistor: ToChassis,
    /// Which inputs the front ends pull their test current on: every wire is sound.
    pub pull: Option<Inputs>,
    at_ms: u32,
    negative: Armature,
    precharge: Armature,
    positive: Armature,
    link: Volts,
    behind_negative: Volts,
    behind_positive: Volts,
}

impl Default for Paper {
    fn default() -> Self {
        Self::new()
    }
}

impl Paper {
    /// All contactors open, the link empty, every cell at 3.3 V.
    #[must_use]
    pub fn new() -> Self {
        let cells = Each::all(Volts::from_milli(3_300));
        let half = sum(&cells).scaled(Ratio::percent(50));
        Self {
            cells,
            load: Amps::from_milli(-ONE_C_MILLIAMPS / 5),
            asked: Asked::NOTHING,
            resistor: ToChassis::Open,
            pull: None,
            at_ms: 0,
            negative: Armature::default(),
            precharge: Armature::default(),
            positive: Armature::default(),
            link: Volts::ZERO,
            behind_negative: half,
            behind_positive: half,
        }
    }

    /// Milliseconds since the start.
    #[must_use]
    pub const fn at_ms(&self) -> u32 {
        self.at_ms
    }

    /// Lets a tick pass with these coils, and measures at its end.
    pub fn tick(&mut self, coils: Coils) -> Frame<CELLS, THERMISTORS> {
        self.at_ms = self.at_ms.wrapping_add(TICK_MS);
        self.negative.follow(coils.negative);
        self.precharge.follow(coils.precharge);
        self.positive.follow(coils.positive);
        let pack = sum(&self.cells);
        self.settle(pack);
        self.measure(pack)
    }

    /// Moves the three voltages that depend on the contactors.
    fn settle(&mut self, pack: Volts) {
        let negative = self.negative.closed();
        let (end, moves) = if negative && self.positive.closed() {
            (pack, Ratio::ONE)
        } else if negative && self.precharge.closed() {
            (pack.scaled(END), CHARGES)
        } else {
            (Volts::ZERO, FALLS)
        };
        self.link = self.link + (end - self.link).scaled(moves);
        let centred = (pack + self.link).scaled(Ratio::percent(50));
        let near_positive = self.positive.closed() || self.precharge.closed();
        (self.behind_negative, self.behind_positive) = match (negative, near_positive) {
            (true, _) => (pack, self.link),
            (false, true) => (self.link, pack),
            (false, false) => (
                self.behind_negative + (centred - self.behind_negative).scaled(SETTLES),
                self.behind_positive + (centred - self.behind_positive).scaled(SETTLES),
            ),
        };
    }

    /// Everything fresh, both current channels agreeing.
    fn measure(&self, pack: Volts) -> Frame<CELLS, THERMISTORS> {
        let amps = if !self.negative.closed() {
            Amps::ZERO
        } else if self.positive.closed() {
            self.load
        } else if self.precharge.closed() {
            (self.link - pack).through_ohms(PRECHARGE).unwrap_or(Amps::ZERO)
        } else {
            Amps::ZERO
        };
        Frame {
            at: Instant(self.at_ms),
            cells: Part::fresh(self.cells),
            thermistors: Part::fresh(Each::all(AT_25_DEGREES)),
            current: Part::fresh(amps),
            current_check: Part::fresh(amps),
            voltages: Part::fresh(PackVoltages {
                pack,
                behind_negative: self.behind_negative,
                behind_positive: self.behind_positive,
                link: self.link,
            }),
            supply: Part::fresh(Volts::from_milli(13_000)),
            feedback: Part::fresh(Feedback {
                negative: self.negative.contact(),
                precharge: self.precharge.contact(),
                positive: self.positive.contact(),
            }),
            cells_pulled: match self.pull {
                Some(inputs) => Part::fresh(Pulled { inputs, cells: self.cells }),
                None => Part::never(Pulled { inputs: Inputs::Odd, cells: self.cells }),
            },
            bleed_flows: Part::fresh(CellSet::EMPTY),
            poles: Part::fresh(self.poles(pack)),
            contacts: Part::fresh(Contacts::SOUND),
            asked: self.asked,
        }
    }
}

impl Paper {
    /// The poles against the chassis.
    fn poles(&self, pack: Volts) -> PoleVoltages {
        let resistor = self.resistor;
        let negative = match resistor {
            ToChassis::Open => pack.scaled(Ratio::percent(50)),
            ToChassis::Negative => pack.scaled(LEFT_AT_POLE),
            ToChassis::Positive => pack - pack.scaled(LEFT_AT_POLE),
        };
        PoleVoltages { negative, positive: pack - negative, resistor }
    }
}

fn sum(cells: &Each<Volts, CELLS>) -> Volts {
    cells.iter().fold(Volts::ZERO, |sum, volts| sum + *volts)
}
