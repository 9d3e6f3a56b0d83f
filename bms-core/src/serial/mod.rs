//! # Frames in and decisions out over a serial line
//!
//! A core on a target, its world on a host, a wire between them that may garble, lose or repeat bytes. What goes over it, byte by byte:
//!
//! ```text
//! on the wire = COBS(body ‖ sum) ‖ 00
//! sum         = CRC-32/ISCSI of the body, lowest byte first
//! body        = the message: its kind in one byte, then its fields in the order in which they are declared
//! ```
//!
//! COBS (Cheshire and Baker, IEEE/ACM Transactions on Networking 7, 1999, p. 159) takes every zero out, so that a zero ends a message and
//! nothing else: after any garbage a receiver is in step again at the next zero. CRC-32/ISCSI (polynomial 0x1EDC6F41, reflected; check value
//! 0xE3069283) finds every burst of up to 32 bits.
//!
//! # Fields
//!
//! The format of [postcard](https://postcard.jamesmunns.com/wire-format), version 1:
//!
//! | what | bytes |
//! | --- | --- |
//! | `u8`, `bool` | one byte |
//! | `u16`, `u32`, `u64` | seven bits a byte, lowest first; the highest bit says that another byte follows |
//! | `i32`, `i64` and every quantity, as the bits of its fixed point | `2·n` when not negative, `−2·n − 1` else; then as above |
//! | struct, tuple, [`Each`](crate::Each) | its fields in their order, nothing between them |
//! | enum | the number of the variant, from 0 in the order of the documentation, in one byte; then its fields |
//! | `Option` | 00, or 01 and the value |
//! | list of no fixed length | its length as a `u32`, then its values |
//!
//! So 3.300 V is `216 269` in steps of 2⁻¹⁶ V, `432 538` as it is sent: `9A B3 1A`.
//!
//! # The dialogue
//!
//! The host speaks, the target answers each message once. [`Station`] is the target's side, without any wire: the same code runs on a host in
//! tests.
//!
//! ```text
//! host                                             target
//! Hello { version }                           →
//!                                             ←    Hello { version, cells, thermistors }
//! Start { config, wear, silence }             →    makes a controller as new
//!                                             ←    Started { checksum of the configuration }
//! Frame { number: 1, … }                      →    one tick
//!                                             ←    Decided { number: 1, decision, digest of the state }
//! Frame { number: 2, … }                      →    …
//! ```
//!
//! The target has a memory for one [record](crate::kept), as a board has one that outlives a loss of power. The host can have it written and
//! read, fill it with what it likes, a torn record among it, and let a controller restart from it:
//!
//! ```text
//! Keep(label)                                 →    writes the record of its controller into its memory
//!                                             ←    Stored { length in bytes }
//! Read { from: 0 }                            →    changes nothing
//!                                             ←    Piece { from: 0, bytes: at most 255 of them }
//! Read { from: 255 }                          →    … until a piece is shorter
//! Store { from: 0, bytes }                    →    cuts its memory there and appends
//!                                             ←    Stored { length: 255 }
//! Restart { config, silence, pack, off }      →    makes a controller from what its memory holds
//!                                             ←    Started { checksum of the configuration }
//! Frame { number: 1, … }                      →    …
//! ```
//!
//! - What was garbled is not answered. Whoever hears nothing sends the same again.
//! - A number that comes again is not decided again: its answer is sent again. A number that is neither that nor the next one is refused with the
//!   number that is due.
//! - Each of the other messages may come twice: whoever obeys it again stands where he stood. A piece beyond the end of what the memory
//!   holds is refused.
//! - [`Hello`](ToTarget::Hello), and its answer, stay as they are in every version. All else may change with [`VERSION`].
//! - A target that hears nothing whole for longer than the [`Start`](ToTarget::Start) allows, at most [`LONGEST_SILENCE`], opens all contactors at once and refuses every
//!   frame until the next [`Start`](ToTarget::Start) or [`Restart`](ToTarget::Restart): whoever lost the world must not go on as if nothing had been. A part of a frame that
//!   grows old is the core's own business ([`MeasurementsStale`](crate::Fault::MeasurementsStale)).
//!
//! # Kinds
//!
//! The first byte of a body, and the fields behind it in their order.
//!
//! | to the target | | to the host | |
//! | --- | --- | --- | --- |
//! | 0 | `Hello`: version `u8` | 0 | `Hello`: version `u8`, cells `u8`, thermistors `u8` |
//! | 1 | `Start`: configuration, wear, silence `u32` | 1 | `Started`: checksum `u32` |
//! | 2 | `Frame`: number `u32`, frame | 2 | `Decided`: number `u32`, decision, digest `u32`, garbled `u32` |
//! | 3 | `Keep`: pack `u32`, number `u32`, holds `u32` | 3 | `Stored`: length `u16` |
//! | 4 | `Read`: from `u16` | 4 | `Piece`: from `u16`, list of `u8` |
//! | 5 | `Store`: from `u16`, list of `u8` | 5 | `Changed` |
//! | 6 | `Restart`: configuration, silence `u32`, pack `u32`, off `Option` of `u32` | 6 | `Refused`: 0 not started; 1 out of turn, due `u32`; 2 was silent; 3 breaks a rule; 4 no room |
//! | 7 | `Limits`: the limits of the faults | | |
//! | 8 | `Spoil`: configuration | | |
//!
//! 7 and 8 only with the feature `disturb`. Of a configuration, a frame and a decision the fields are those of [`Config`], [`Frame`] and
//! [`Decision`], in the order of their documentation.

mod framing;
mod station;
#[cfg(all(test, feature = "disturb"))]
mod tests;

pub use framing::{Garbled, NoRoom, Receiver, send};
pub use station::Station;

use crate::Config;
use crate::decision::Decision;
#[cfg(feature = "disturb")]
use crate::fault::FaultLimits;
use crate::frame::Frame;
use crate::kept::Label;
use crate::sequence::Wear;
use crate::units::Millis;

/// The version of all messages but [`ToTarget::Hello`] and [`ToHost::Hello`].
pub const VERSION: u8 = 2;

/// Room for the longest message of a pack of 128 cells and 255 thermistors, as it goes over the wire.
///
/// A frame carries 2 · 128 cells and 255 thermistors, at most 5 bytes each, and less than 300 bytes besides; a configuration is shorter. COBS adds
/// a byte in 254 and one, the sum takes four, the end one.
pub const LONGEST: usize = 3_000;

/// Room for the longest record of such a pack: see [`kept`](crate::kept).
pub const LONGEST_RECORD: usize = 11_000;

/// The most bytes of a record in one message.
pub const PIECE: usize = 255;

/// A piece of a record.
pub type Piece = heapless::Vec<u8, PIECE>;

/// The longest silence that any target bears: the contactors of a pack that nobody watches do not stay closed.
pub const LONGEST_SILENCE: Millis = Millis(5_000);

/// What a host tells a target.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ToTarget<const CELLS: usize, const THERMISTORS: usize> {
    /// Who is there?
    Hello {
        /// The host's [`VERSION`].
        version: u8,
    },
    /// Begin anew, with nothing learnt and nothing remembered.
    Start {
        /// The configuration. One that breaks a rule makes a controller that is barred.
        config: Config,
        /// What has been used of the contactors' lives.
        wear: Wear,
        /// How long a silence is borne before all contactors open, at most [`LONGEST_SILENCE`]. At the pace of time 100 ms, ten ticks
        /// (common practice, no source); in lock-step longer, since a host that is slow is not gone.
        silence: Millis,
    },
    /// Decide one tick.
    Frame {
        /// 1 for the first one after a start, and one more each time.
        number: u32,
        /// What is measured and asked for.
        frame: Frame<CELLS, THERMISTORS>,
    },
    /// Write the controller's record as it stands into the target's memory.
    Keep(Label),
    /// Send what the memory holds from there on, at most [`PIECE`] bytes.
    Read {
        /// Bytes before it.
        from: u16,
    },
    /// Put this into the memory. What stood there before, and behind it, is gone.
    Store {
        /// Bytes before it.
        from: u16,
        /// The bytes.
        bytes: Piece,
    },
    /// Begin anew from what the memory holds, as after a loss of power.
    Restart {
        /// The configuration. One that breaks a rule makes a controller that is barred.
        config: Config,
        /// As for [`Start`](Self::Start).
        silence: Millis,
        /// [`Stored::pack`](crate::kept::Stored::pack).
        pack: u32,
        /// [`Stored::off`](crate::kept::Stored::off).
        off: Option<Millis>,
    },
    /// Go on with other limits of the faults from the next frame on.
    #[cfg(feature = "disturb")]
    Limits(FaultLimits),
    /// Go on with this configuration in memory, as if its bits had flipped: it is neither checked nor sealed.
    #[cfg(feature = "disturb")]
    Spoil(Config),
}

/// What a target answers.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ToHost<const CELLS: usize> {
    /// I am.
    Hello {
        /// The target's [`VERSION`].
        version: u8,
        /// Cells in series.
        cells: u8,
        /// Thermistors.
        thermistors: u8,
    },
    /// A controller has begun.
    Started {
        /// [`Checked::checksum`](crate::Checked::checksum) of its configuration.
        config: u32,
    },
    /// A tick is decided.
    Decided {
        /// The number of its frame.
        number: u32,
        /// The decision.
        decision: Decision<CELLS>,
        /// [`Controller::digest`](crate::Controller::digest) after it.
        digest: u32,
        /// Messages that were garbled since the start.
        garbled: u32,
    },
    /// The memory holds so many bytes now.
    Stored {
        /// Bytes.
        length: u16,
    },
    /// What the memory holds there.
    Piece {
        /// Bytes before it.
        from: u16,
        /// The bytes; fewer than [`PIECE`] at the end.
        bytes: Piece,
    },
    /// Done, from the next frame on.
    Changed,
    /// Not done, and nothing has changed.
    Refused(Refusal),
}

/// Why a message was not obeyed.
#[derive(Clone, Copy, Debug, Eq, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// A frame, or a change, before any start: the target was reset.
    NotStarted,
    /// A frame, or a piece of a record, out of its turn.
    OutOfTurn {
        /// The number of the frame, or the count of bytes before the piece, that is due.
        due: u32,
    },
    /// Nothing whole was heard for too long: the contactors are open, and only a start goes on.
    WasSilent,
    /// The configuration's limits break a rule.
    BreaksRule,
    /// A piece of a record beyond [`LONGEST_RECORD`].
    NoRoom,
}
