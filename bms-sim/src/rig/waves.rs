//! Signals over time for a logic viewer: a value change dump as IEEE 1364-2005 (clause 18) defines it, which every viewer of waves reads.
//!
//! A step of time is a millisecond. A value stands only where it changes. Everything is what the firmware sees and drives: coils, feedback
//! contacts, voltages and current as measured.

use crate::recording::{Digest, Event, Follow};
use crate::run::Loop;
use bms_core::decision::Coil;
use bms_core::frame::Contact;
use bms_core::{Decision, Frame};
use std::io::{self, Write};
use vcd::{IdCode, TimescaleUnit, Value, VarType, Writer};

/// What is on or off.
const WIRES: [&str; 6] = [
    "negative_coil",
    "negative_feedback",
    "precharge_coil",
    "precharge_feedback",
    "positive_coil",
    "positive_feedback",
];

/// What has a value.
const REALS: [&str; 3] = ["link_V", "pack_V", "current_A"];

/// The values of a tick, in the order of [`WIRES`] and [`REALS`].
#[derive(Clone, Copy, Debug, PartialEq)]
struct Seen {
    wires: [bool; WIRES.len()],
    /// In thousandths.
    reals: [i32; REALS.len()],
}

impl Seen {
    fn of<const CELLS: usize, const THERMISTORS: usize>(
        frame: &Frame<CELLS, THERMISTORS>,
        decision: &Decision<CELLS>,
    ) -> Self {
        let (coils, feedback) = (decision.coils, frame.feedback.value);
        let wires = [
            coils.negative == Coil::On,
            feedback.negative == Contact::Made,
            coils.precharge == Coil::On,
            feedback.precharge == Contact::Made,
            coils.positive == Coil::On,
            feedback.positive == Contact::Made,
        ];
        let voltages = frame.voltages.value;
        Self { wires, reals: [voltages.link.milli(), voltages.pack.milli(), frame.current.value.milli()] }
    }

    /// The same without supply.
    fn dropped(self) -> Self {
        let [_, negative, _, precharge, _, positive] = self.wires;
        Self { wires: [false, negative, false, precharge, false, positive], ..self }
    }
}

/// Writes signals while a run is played.
pub struct Waves<const CELLS: usize, const THERMISTORS: usize, W: Write> {
    to: Writer<W>,
    wires: [IdCode; WIRES.len()],
    reals: [IdCode; REALS.len()],
    last: Option<Seen>,
    /// The tick that is being played: its time and its frame.
    begun: Option<(u64, Frame<CELLS, THERMISTORS>)>,
    /// How often the firmware has begun anew.
    restarts: u32,
    failed: Option<io::Error>,
}

impl<const CELLS: usize, const THERMISTORS: usize, W: Write> Waves<CELLS, THERMISTORS, W> {
    /// Writes what the signals are called.
    ///
    /// # Errors
    /// When nothing can be written.
    pub fn begin(to: W, title: &str) -> io::Result<Self> {
        let mut to = Writer::new(to);
        to.comment(title)?;
        to.timescale(1, TimescaleUnit::MS)?;
        to.add_module("pack")?;
        let (mut wires, mut reals) = ([IdCode::FIRST; WIRES.len()], [IdCode::FIRST; REALS.len()]);
        for (code, name) in wires.iter_mut().zip(WIRES) {
            *code = to.add_wire(1, name)?;
        }
        for (code, name) in reals.iter_mut().zip(REALS) {
            *code = to.add_var(VarType::Real, 64, name, None)?;
        }
        to.upscope()?;
        to.enddefinitions()?;
        Ok(Self { to, wires, reals, last: None, begun: None, restarts: 0, failed: None })
    }

    /// Writes the rest.
    ///
    /// # Errors
    /// What went wrong first while it was written.
    pub fn finish(mut self) -> io::Result<()> {
        match self.failed {
            Some(error) => Err(error),
            None => self.to.flush(),
        }
    }

    fn note(&mut self, at_ms: u64, now: Seen) -> io::Result<()> {
        let last = self.last.replace(now);
        if last == Some(now) {
            return Ok(());
        }
        self.to.timestamp(at_ms)?;
        for (place, (code, on)) in self.wires.into_iter().zip(now.wires).enumerate() {
            if last.is_none_or(|last| last.wires[place] != on) {
                self.to.change_scalar(code, if on { Value::V1 } else { Value::V0 })?;
            }
        }
        for (place, (code, thousandths)) in self.reals.into_iter().zip(now.reals).enumerate() {
            if last.is_none_or(|last| last.reals[place] != thousandths) {
                self.to.change_real(code, f64::from(thousandths) / 1_000.0)?;
            }
        }
        Ok(())
    }
}

impl<const CELLS: usize, const THERMISTORS: usize, W: Write> Follow<CELLS, THERMISTORS>
    for Waves<CELLS, THERMISTORS, W>
{
    fn before(&mut self, now: &Loop<CELLS, THERMISTORS>) {
        self.begun = Some((now.at_ms, now.frame()));
    }

    fn after(&mut self, now: &Loop<CELLS, THERMISTORS>, _events: &[Event], _digest: &Digest) {
        let (Some((at_ms, frame)), None) = (self.begun.take(), &self.failed) else { return };
        let noted = match now.decision {
            Some(decision) => self.note(at_ms, Seen::of(&frame, &decision)),
            None => Ok(()),
        };
        let noted = noted.and_then(|()| match self.last {
            // The supply fell within this tick, and every coil with it.
            Some(last) if now.restarts > self.restarts => {
                self.restarts = now.restarts;
                self.note(at_ms + now.case().tick_ms, last.dropped())
            }
            _ => Ok(()),
        });
        self.failed = noted.err();
    }
}
