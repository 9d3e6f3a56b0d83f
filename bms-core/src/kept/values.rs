//! The core's own values as bytes.

use super::{Laid, Reader, Writer, laid};
use crate::estimate::Interval;
use crate::fault::{Fault, Freeze, FreezeHistory, Reaction, Record, Stage, Was};
use crate::frame::{Contactor, Pole};
use crate::sequence::{Step, Wear};
use crate::units::{
    Amps, Celsius, CelsiusPerSecond, Coulombs, Milliohms, Millis, Ohms, OhmsPerVolt, Ratio, Uptime, Volts,
};
use crate::witness::{Place, Quantity};

macro_rules! numbers {
    ($($kind:ident($bits:ty): $value:ident => $to:expr, $from:expr;)+) => {
        $(impl Laid for $kind {
            const BYTES: usize = size_of::<$bits>();
            fn write(&self, to: &mut Writer<'_>) {
                let $value = self;
                let bits: $bits = $to;
                bits.write(to);
            }
            fn read(from: &mut Reader<'_>) -> Self {
                $from(from.next::<$bits>())
            }
        })+
    };
}

numbers! {
    Volts(i32): q => q.bits(), Self::from_bits;
    Amps(i32): q => q.bits(), Self::from_bits;
    Celsius(i32): q => q.bits(), Self::from_bits;
    Coulombs(i64): q => q.bits(), Self::from_bits;
    Millis(u32): q => q.0, Self;
    Uptime(u64): q => q.0, Self;
    Step(u8): q => *q as u8, step;
    Fault(u8): q => *q as u8, fault;
    Reaction(u8): q => *q as u8, reaction;
    Stage(u8): q => stage_number(*q), stage;
}

laid!(Interval { low: Coulombs, high: Coulombs });

laid!(Freeze {
    at: Uptime,
    lowest: Option<(u8, Volts)>,
    highest: Option<(u8, Volts)>,
    amps: Option<Amps>,
    hottest: Option<(u8, Celsius)>,
    coldest: Option<(u8, Celsius)>,
    pack: Option<Volts>,
    link: Option<Volts>,
    step: Step,
});

laid!(Record {
    fault: Fault,
    place: Place,
    reaction: Reaction,
    first: Uptime,
    last: Uptime,
    count: u16,
    near_misses: u16,
    worst: Option<Quantity>,
    limit: Option<Quantity>,
    freeze: Option<Freeze>,
    history: FreezeHistory,
});

impl Laid for Wear {
    const BYTES: usize = 12;
    fn write(&self, to: &mut Writer<'_>) {
        self.bits().iter().for_each(|used| used.write(to));
    }
    fn read(from: &mut Reader<'_>) -> Self {
        let negative = from.next();
        let precharge = from.next();
        Self::from_bits([negative, precharge, from.next()])
    }
}

/// A running dwell is not kept; what was latched before it stays so.
const fn stage_number(stage: Stage) -> u8 {
    match stage {
        Stage::Clear | Stage::Suspect { was: Was::Clear, .. } => 0,
        Stage::Latched | Stage::Suspect { was: Was::Latched, .. } => 1,
        Stage::Confirmed { .. } => 2,
    }
}

const fn stage(number: u8) -> Stage {
    match number {
        0 => Stage::Clear,
        1 => Stage::Latched,
        _ => Stage::Confirmed { well: Millis::ZERO },
    }
}

fn step(number: u8) -> Step {
    Step::ALL.get(usize::from(number)).copied().unwrap_or(Step::Barred)
}

fn fault(number: u8) -> Fault {
    Fault::ALL.get(usize::from(number)).copied().unwrap_or(Fault::ConfigurationInvalid)
}

const fn reaction(number: u8) -> Reaction {
    match number {
        0 => Reaction::Report,
        1 => Reaction::Derate,
        2 => Reaction::OpenSoon,
        _ => Reaction::OpenNow,
    }
}

impl Laid for Place {
    const BYTES: usize = 2;
    fn write(&self, to: &mut Writer<'_>) {
        to.put(match *self {
            Self::Pack => [0, 0],
            Self::Link => [1, 0],
            Self::Supply => [2, 0],
            Self::Cell(cell) => [3, cell],
            Self::Module(module) => [4, module],
            Self::Thermistor(thermistor) => [5, thermistor],
            Self::Contactor(contactor) => [6, contactor as u8],
            Self::Wire(wire) => [7, wire],
            Self::Pole(pole) => [8, pole as u8],
        });
    }
    fn read(from: &mut Reader<'_>) -> Self {
        match from.take() {
            [1, _] => Self::Link,
            [2, _] => Self::Supply,
            [3, cell] => Self::Cell(cell),
            [4, module] => Self::Module(module),
            [5, thermistor] => Self::Thermistor(thermistor),
            [6, 0] => Self::Contactor(Contactor::Negative),
            [6, 1] => Self::Contactor(Contactor::Precharge),
            [6, _] => Self::Contactor(Contactor::Positive),
            [7, wire] => Self::Wire(wire),
            [8, 0] => Self::Pole(Pole::Negative),
            [8, _] => Self::Pole(Pole::Positive),
            [_, _] => Self::Pack,
        }
    }
}

impl Laid for Quantity {
    const BYTES: usize = 9;
    fn write(&self, to: &mut Writer<'_>) {
        let kind: u8 = match self {
            Self::Volts(_) => 0,
            Self::Amps(_) => 1,
            Self::Celsius(_) => 2,
            Self::CelsiusPerSecond(_) => 3,
            Self::Milliohms(_) => 4,
            Self::Ohms(_) => 5,
            Self::OhmsPerVolt(_) => 6,
            Self::Ratio(_) => 7,
            Self::Coulombs(_) => 8,
            Self::Millis(_) => 9,
            Self::Count(_) => 10,
        };
        (kind, self.bits()).write(to);
    }
    fn read(from: &mut Reader<'_>) -> Self {
        let (kind, bits): (u8, i64) = from.next();
        let whole = u32::try_from(bits).unwrap_or(u32::MAX);
        match kind {
            0 => Self::Volts(Volts::from_wide(bits)),
            1 => Self::Amps(Amps::from_wide(bits)),
            2 => Self::Celsius(Celsius::from_wide(bits)),
            3 => Self::CelsiusPerSecond(CelsiusPerSecond::from_wide(bits)),
            4 => Self::Milliohms(Milliohms::from_wide(bits)),
            5 => Self::Ohms(Ohms(whole)),
            6 => Self::OhmsPerVolt(OhmsPerVolt(whole)),
            7 => Self::Ratio(Ratio::from_wide(bits)),
            8 => Self::Coulombs(Coulombs::from_bits(bits)),
            9 => Self::Millis(Millis(whole)),
            _ => Self::Count(whole),
        }
    }
}
