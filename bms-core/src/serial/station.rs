//! The target's side of the dialogue, without any wire and without a clock: the board hands in messages and says when a tick has passed.

use super::{LONGEST_RECORD, LONGEST_SILENCE, PIECE, Piece, Refusal, ToHost, ToTarget, VERSION};
use crate::config::{Config, Fitted};
use crate::controller::Controller;
use crate::decision::Decision;
use crate::frame::Frame;
use crate::kept::{Label, Stored};
use crate::units::Millis;
use crate::witness::Witness;

/// A controller that decides frames which come over a wire.
#[derive(Clone, Debug)]
pub struct Station<const CELLS: usize, const THERMISTORS: usize> {
    state: State<CELLS, THERMISTORS>,
    /// Messages that could not be read since the start.
    garbled: u32,
    /// The memory that outlives a controller.
    memory: heapless::Vec<u8, LONGEST_RECORD>,
}

#[derive(Clone, Debug)]
#[expect(clippy::large_enum_variant, reason = "there is one of it, in a static")]
enum State<const CELLS: usize, const THERMISTORS: usize> {
    /// Since the reset.
    NotStarted,
    Working(Working<CELLS, THERMISTORS>),
    /// Heard nothing for too long.
    Silent,
}

#[derive(Clone, Debug)]
struct Working<const CELLS: usize, const THERMISTORS: usize> {
    controller: Controller<CELLS, THERMISTORS>,
    /// The silence that is borne, and the silence that there is.
    borne: Millis,
    silence: Millis,
    /// The number of the last frame, what was decided, and the digest after it.
    last: Option<(u32, Decision<CELLS>, u32)>,
}

impl<const CELLS: usize, const THERMISTORS: usize> Default for Station<CELLS, THERMISTORS> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Station<CELLS, THERMISTORS> {
    /// One that was not started.
    #[must_use]
    pub const fn new() -> Self {
        Self { state: State::NotStarted, garbled: 0, memory: heapless::Vec::new() }
    }

    /// What the board must drive now: nothing before the first decision, and nothing after a silence.
    #[must_use]
    pub const fn decision(&self) -> Option<&Decision<CELLS>> {
        match &self.state {
            State::Working(Working { last: Some((_, decision, _)), .. }) => Some(decision),
            State::Working(Working { last: None, .. }) | State::NotStarted | State::Silent => None,
        }
    }

    /// The controller, while it works.
    #[must_use]
    pub const fn controller(&self) -> Option<&Controller<CELLS, THERMISTORS>> {
        match &self.state {
            State::Working(working) => Some(&working.controller),
            State::NotStarted | State::Silent => None,
        }
    }

    /// A message came that could not be read.
    pub fn count_garbled(&mut self) {
        self.garbled = self.garbled.saturating_add(1);
    }

    /// Time has passed on the board's own timer. After too long a silence the controller is given up, and every contactor with it.
    pub fn pass(&mut self, time: Millis) {
        let State::Working(working) = &mut self.state else { return };
        working.silence = working.silence + time;
        if working.silence > working.borne {
            self.state = State::Silent;
        }
    }

    /// Obeys a message and gives the answer to it.
    pub fn answer<W: Witness>(
        &mut self,
        message: &ToTarget<CELLS, THERMISTORS>,
        witness: &mut W,
    ) -> ToHost<CELLS> {
        if let State::Working(working) = &mut self.state {
            working.silence = Millis::ZERO;
        }
        match message {
            ToTarget::Hello { version: _ } => {
                ToHost::Hello { version: VERSION, cells: count(CELLS), thermistors: count(THERMISTORS) }
            }
            ToTarget::Start { config, wear, silence } => {
                self.begin(Controller::new(fit(config)).with_wear(*wear), *silence)
            }
            ToTarget::Restart { config, silence, pack, off } => {
                let stored = Stored { record: &self.memory, pack: *pack, off: *off };
                self.begin(Controller::restart(fit(config), &stored), *silence)
            }
            ToTarget::Frame { number, frame } => {
                let garbled = self.garbled;
                self.work(|working| working.frame((*number, frame), garbled, witness))
            }
            ToTarget::Keep(label) => self.keep(*label),
            ToTarget::Read { from } => {
                let rest = self.memory.get(usize::from(*from)..).unwrap_or_default();
                ToHost::Piece { from: *from, bytes: rest.iter().take(PIECE).copied().collect() }
            }
            ToTarget::Store { from, bytes } => self.store(*from, bytes),
            #[cfg(feature = "disturb")]
            ToTarget::Limits(faults) => self.work(|working| match working.controller.limit_anew(*faults) {
                Ok(()) => ToHost::Changed,
                Err(_) => ToHost::Refused(Refusal::BreaksRule),
            }),
            #[cfg(feature = "disturb")]
            ToTarget::Spoil(spoilt) => self.work(|working| {
                working.controller.disturb(|config| *config = *spoilt);
                ToHost::Changed
            }),
        }
    }

    fn begin(&mut self, controller: Controller<CELLS, THERMISTORS>, borne: Millis) -> ToHost<CELLS> {
        let config = controller.config().checksum();
        self.garbled = 0;
        self.state = State::Working(Working {
            controller,
            borne: borne.min(LONGEST_SILENCE),
            silence: Millis::ZERO,
            last: None,
        });
        ToHost::Started { config }
    }

    fn keep(&mut self, label: Label) -> ToHost<CELLS> {
        const { assert!(Controller::<CELLS, THERMISTORS>::RECORD_BYTES <= LONGEST_RECORD) };
        let memory = &mut self.memory;
        match &self.state {
            State::Working(working) => {
                // There is room, as is asserted above; and what is not whole is found out by whoever reads it.
                let _room = memory.resize(Controller::<CELLS, THERMISTORS>::RECORD_BYTES, 0);
                let _record = working.controller.record(label, memory);
                ToHost::Stored { length: bytes(memory) }
            }
            State::NotStarted => ToHost::Refused(Refusal::NotStarted),
            State::Silent => ToHost::Refused(Refusal::WasSilent),
        }
    }

    fn store(&mut self, from: u16, piece: &Piece) -> ToHost<CELLS> {
        let held = bytes(&self.memory);
        if from > held {
            return ToHost::Refused(Refusal::OutOfTurn { due: held.into() });
        }
        self.memory.truncate(from.into());
        match self.memory.extend_from_slice(piece) {
            Ok(()) => ToHost::Stored { length: bytes(&self.memory) },
            Err(_) => ToHost::Refused(Refusal::NoRoom),
        }
    }

    /// Whatever only a controller that works can do.
    fn work(&mut self, act: impl FnOnce(&mut Working<CELLS, THERMISTORS>) -> ToHost<CELLS>) -> ToHost<CELLS> {
        match &mut self.state {
            State::Working(working) => act(working),
            State::NotStarted => ToHost::Refused(Refusal::NotStarted),
            State::Silent => ToHost::Refused(Refusal::WasSilent),
        }
    }
}

impl<const CELLS: usize, const THERMISTORS: usize> Working<CELLS, THERMISTORS> {
    fn frame<W: Witness>(
        &mut self,
        (number, frame): (u32, &Frame<CELLS, THERMISTORS>),
        garbled: u32,
        witness: &mut W,
    ) -> ToHost<CELLS> {
        let due = self.last.map_or(1, |(number, ..)| number.wrapping_add(1));
        let (decision, digest) = match self.last {
            Some((last, decision, digest)) if last == number => (decision, digest),
            _ if number == due => {
                let decision = self.controller.tick(frame, witness);
                (decision, self.controller.digest())
            }
            _ => return ToHost::Refused(Refusal::OutOfTurn { due }),
        };
        self.last = Some((number, decision, digest));
        ToHost::Decided { number, decision, digest, garbled }
    }
}

fn fit<const CELLS: usize, const THERMISTORS: usize>(config: &Config) -> Fitted<CELLS, THERMISTORS> {
    config.fit().unwrap_or_else(|error| Fitted::barred(*config, error))
}

/// A memory is shorter than the numbers of two bytes reach.
fn bytes(memory: &[u8]) -> u16 {
    u16::try_from(memory.len()).unwrap_or(u16::MAX)
}

/// Places are counted in a byte; a controller has no more (see [`Each`](crate::Each)).
fn count(places: usize) -> u8 {
    u8::try_from(places).unwrap_or(u8::MAX)
}
