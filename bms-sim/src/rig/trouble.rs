//! What can be wrong between host and target.

use super::Address;
use std::fmt::Debug;
use std::io;
use std::time::Duration;

/// What ended a run on the rig, or kept it from beginning.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Trouble {
    /// An address that says nothing.
    #[error(
        "address = {found}: accepted are serial:DEVICE, serial:DEVICE@BAUD, tcp:HOST:PORT, unix:SOCKET, qemu:IMAGE and qemu-pipes:IMAGE"
    )]
    NoAddress {
        /// What was given.
        found: String,
    },
    /// The line cannot be opened.
    #[error("{address}: the line cannot be opened: {source}")]
    Unreachable {
        /// Where.
        address: Address,
        /// Why.
        source: io::Error,
    },
    /// The line broke.
    #[error("{after}: the line to the target is broken: {source}")]
    Broken {
        /// How far it came.
        after: After,
        /// Why.
        source: io::Error,
    },
    /// No answer, however often it was asked for.
    #[error("{after}: the target does not answer: {times} times nothing for {waited:?}")]
    NoAnswer {
        /// How far it came.
        after: After,
        /// How often it was asked.
        times: u32,
        /// How long each time.
        waited: Duration,
    },
    /// Another version of the messages.
    #[error(
        "the target speaks version {target} of the messages, this program version {host}: build both from the same source"
    )]
    Version {
        /// The target's.
        target: u8,
        /// Ours.
        host: u8,
    },
    /// Another pack.
    #[error(
        "the target is built for {target_cells} cells and {target_thermistors} thermistors, the case is about {cells} and {thermistors}"
    )]
    OtherPack {
        /// The target's cells.
        target_cells: u8,
        /// The target's thermistors.
        target_thermistors: u8,
        /// The case's cells.
        cells: usize,
        /// The case's thermistors.
        thermistors: usize,
    },
    /// A tick may take longer than the target bears a silence.
    #[error(
        "--pace = time: accepted is lock-step, since the case rests in steps of {step_ms} ms, and the target opens after {silence_ms}"
    )]
    Rests {
        /// The longest step.
        step_ms: u64,
        /// The silence that the target bears.
        silence_ms: u32,
    },
    /// The target was reset.
    #[error("{after}: the target was reset; its contactors are open, and what it knew is lost")]
    WasReset {
        /// How far it came.
        after: After,
    },
    /// The target gave up.
    #[error("{after}: the target heard nothing for too long and has opened its contactors")]
    GaveUp {
        /// How far it came.
        after: After,
    },
    /// It answered what nobody asked.
    #[error("{after}: the target answers {answer} where a decision is due")]
    OutOfStep {
        /// How far it came.
        after: After,
        /// The answer.
        answer: String,
    },
    /// Its configuration is another one.
    #[error(
        "the target's configuration has the checksum {target:08x}, the host's {host:08x}: build both from the same source"
    )]
    OtherConfiguration {
        /// The target's.
        target: u32,
        /// The host's.
        host: u32,
    },
    /// It would keep another record.
    #[error(
        "{seconds:.2} s: host and target write different records as the supply falls: byte {byte} is the first that differs"
    )]
    OtherRecord {
        /// When the supply was back.
        seconds: f64,
        /// Bytes before it.
        byte: usize,
    },
    /// It decided otherwise.
    #[error("tick {tick}, {seconds:.2} s: host and target decide differently: {difference}")]
    Different {
        /// In which tick.
        tick: u64,
        /// When.
        seconds: f64,
        /// What differs.
        difference: Difference,
    },
}

/// How far a run came: the ticks that both decided alike.
#[derive(Clone, Copy, Debug)]
pub struct After(pub u64);

impl std::fmt::Display for After {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.0 {
            0 => write!(to, "before the first tick"),
            1 => write!(to, "after one tick"),
            ticks => write!(to, "after {ticks} ticks"),
        }
    }
}

/// What differs between two decisions: each part with both values; none where only the states behind them do.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Difference {
    parts: Vec<(&'static str, String, String)>,
}

impl Difference {
    /// Notes a part in which both differ.
    pub(super) fn note<T: Debug + PartialEq>(&mut self, part: &'static str, host: &T, target: &T) {
        if host != target {
            self.parts.push((part, format!("{host:?}"), format!("{target:?}")));
        }
    }
}

impl std::fmt::Display for Difference {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.parts.is_empty() {
            return write!(to, "the decisions are equal, the states behind them are not");
        }
        for (place, (part, host, target)) in self.parts.iter().enumerate() {
            let between = if place == 0 { "" } else { "; " };
            write!(to, "{between}{part}: {host} here, {target} there")?;
        }
        Ok(())
    }
}
