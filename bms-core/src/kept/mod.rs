//! # What outlives a loss of power
//!
//! Decides what a controller must still know when its supply comes back, and how that is written down. A controller that forgets is a way
//! round the workshop: whoever switches the supply off and on would clear a cell that was driven backwards.
//!
//! The core writes one record of bytes and reads it again. Where it is stored is the integrator's business: ferroelectric memory, two
//! pages of flash, a file.
//!
//! | kept | why |
//! | --- | --- |
//! | stages of all faults: confirmed, latched | what demands open contactors goes on demanding it, until it is cleared by the usual rule |
//! | fault memory with freeze frames | the workshop comes days later |
//! | charge interval of each cell, and of its difference to a typical cell | a rest that tells as much takes hours |
//! | where the sequence stood; whether it is barred, or would have been; starts that failed in a row | a bar and a refused repetition wait for somebody, not for a reset |
//! | wear of the contactors | a contactor lasts longer than a day |
//! | heat of the precharge resistor, of fuse and cable | they stay hot, and a reset must not allow a start more |
//! | time worked | first and last time of a fault stay in their order |
//!
//! | not kept | why |
//! | --- | --- |
//! | what the coils were told, deadlines | without supply all contactors open; they must be proven open anew before anything closes |
//! | a request to close | whoever restores a supply need not stand at the load: it counts once it is given anew |
//! | dwells that run, near misses in the making | what is wrong is seen again within its dwell |
//! | quiet time of a quarantine | nobody watched meanwhile; the quarantine itself is a fault, and stays |
//! | the idle offset of the current sensor, doubts about thermistors, insulation, sense wires | measured anew within seconds or a minute, and nothing closes before insulation is |
//! | excess resistance of the last load steps | the next three steps tell it anew; a fault that rests on it is kept |
//! | time at rest, charge lost from rest to rest | the time without supply is not known. A leak is sought anew from each start on |
//!
//! # What is believed of a record
//!
//! All or nothing. One that is not whole, or not of this pack, this program and this configuration, is refused with its reason
//! ([`Unusable`]): then each cell may be full, empty or between, the precharge resistor is as hot as it may be, and the contactors are
//! barred until somebody clears, since nobody knows what was latched. The configuration's checksum covers the list of the faults and all
//! limits: whoever changes them is the workshop.
//!
//! # Time that nobody counted
//!
//! The truth must stay within the charge interval. A record promises for how long it is the last word ([`Label::holds`]): so long the pack
//! may have worked unrecorded, if its contactors were not told open. What it was off for is known only to whoever has a clock that runs on
//! ([`Stored::off`]).
//!
//! ```text
//! low  ← low  − I·h                                    I: range of the current sensor, 0 with contactors told open; h: `holds`
//! high ← high + I·h + l·(h + off) + b·h + b·off        l: self-discharge and drain; b: bleed current with its tolerance, the last term
//!                                                         for cells that may have bled when the record was written
//! ```
//!
//! Without a bound on `off` the upper end opens to everything that a cell can miss. The lower end stays: what stands open is not charged. A
//! difference moves likewise, without `I`: the string's current goes through both cells. A cell that was swapped meanwhile is the
//! workshop's to tell, as ever ([`Replaced`](crate::frame::Replaced)). What flows through contactors that hang on both sides of the link,
//! without supply, is not covered; the voltages of a rested pack then contradict the count, and open it.
//!
//! The precharge resistor may have taken a start within `h`, while precharge was told on; it is taken to be as hot as that, at most as hot
//! as is allowed, and cooler only by what the controller counts itself.
//!
//! # What the integrator does
//!
//! ```
//! use bms_core::kept::{self, Label, Schedule, Stored};
//! use bms_core::units::{Instant, Millis};
//! use bms_core::{Config, Controller, Frame};
//!
//! type Pack = Controller<16, 8>;
//! const PACK: u32 = 4_711; // however packs are numbered
//! let config = Config::trainer().fit().expect("the defaults are valid");
//!
//! // Two places, written in turn: a write that is cut loses the newest record and no other.
//! let mut slots = [[0xFF_u8; Pack::RECORD_BYTES]; 2];
//!
//! // The workshop's first start of a new pack: there is no record.
//! let mut controller = Pack::new(config);
//! let holds = Millis::from_seconds(60);
//! let mut schedule = Schedule::every(Millis::from_seconds(50)); // writing takes less than the 10 s between the two
//! let mut number = 0;
//! for tick in 0..300 {
//!     let _decision = controller.tick(&Frame::empty(Instant(tick * 10)), &mut ());
//!     // Before the decision is acted on: a contactor closes only once it is written that one does.
//!     if schedule.is_due(&controller) {
//!         number += 1;
//!         let slot = &mut slots[(number % 2) as usize];
//!         controller.record(Label { pack: PACK, number, holds }, slot).expect("the slot is long enough");
//!     }
//! }
//!
//! // The supply was gone. Every start but the first one, also that of a watchdog:
//! let [one, other] = &slots;
//! let record = kept::newer(one, other);
//! let stored = Stored { record, pack: PACK, off: Some(Millis::from_seconds(3_600)) };
//! let again = Pack::restart(config, &stored);
//! let remembered = |pack: &Pack| pack.memory().records().map(|record| record.fault).collect::<Vec<_>>();
//! assert_eq!(remembered(&again), remembered(&controller));
//! let number = kept::label(record).map_or(0, |label| label.number); // the next one goes into the other slot
//! # assert!(number > 0);
//! ```
//!
//! - Write whenever [`Schedule::is_due`] says so, before acting on the decision, and always within [`Label::holds`]. A shorter one costs
//!   more writing and less charge: 1 s at a sensor range of 600 A is 0.17 Ah.
//! - Where a capacitor holds the controller up, write a last record as the supply falls, with a `holds` as long as the capacitor lasts.
//! - Use [`Controller::new`](crate::Controller::new) for the first start of a pack alone. It believes that nothing ever happened.
//! - Open contactors by hardware when the supply falls, when the processor is reset and while it starts. The core only finds out.
//! - A record is not a secret and not signed: who can write the memory can forgive a fault.
//!
//! # Bytes, version 1
//!
//! Numbers are stored lowest byte first; a quantity as the bits of its fixed point; nothing stands between two fields.
//!
//! | from | bytes | what |
//! | --- | --- | --- |
//! | 0 | 4 | the mark, `4B 45 50 54` ("KEPT") |
//! | 4 | 2 | version |
//! | 6 | 2 | length of the whole record, mark and sum included |
//! | 8 | 4 | number of the record |
//! | 12 | 4 | number of the pack |
//! | 16 | 4 | checksum of the configuration |
//! | 20 | 1 | cells |
//! | 21 | 1 | thermistors |
//! | 22 | 4 | for how long it is the last word, ms |
//! | 26 | 8 | time worked, ms |
//! | 34 | 1 | step of the contactor sequence, from 0 in the order of [`Step::ALL`](crate::Step::ALL) |
//! | 35 | 1 | 1 where it would have ended barred |
//! | 36 | 1 | starts that failed in a row |
//! | 37 | 12 | wear of negative, precharge, positive, 2⁻²⁸ of a life |
//! | 49 | 4 | rise of the precharge resistor, °C |
//! | 53 | 8 | heat of fuse and cable, 2⁻¹⁶ A²ms |
//! | 61 | 16 | cells that may bleed, one bit each, cell 1 lowest |
//! | 77 | 32 a cell | missing charge, least and most; difference to a typical cell, least and most; 2⁻¹⁶ A·ms |
//! | | 1 a stage | in the order of [`Fault::ALL`](crate::Fault::ALL), of some faults one for each thermistor: 0 clear, 1 latched, 2 confirmed |
//! | | 2 | fault records that were dropped |
//! | | 1 | fault records that follow |
//! | | 16 · 334 | fault records; those beyond the count are zeros |
//! | | 4 | CRC-32/ISCSI of all bytes before it |
//!
//! | fault record | bytes | | freeze frame | bytes |
//! | --- | --- | --- | --- | --- |
//! | fault, from 0 in the order of the list | 1 | | when, ms worked | 8 |
//! | place: kind (pack, link, supply, cell, module, thermistor, contactor, wire, pole), number from 0 | 2 | | lowest cell: 1 if known, number, V | 6 |
//! | reaction, from 0 in rising order | 1 | | highest cell | 6 |
//! | first, last: ms worked | 16 | | current: 1 if known, A | 5 |
//! | times confirmed, near misses | 4 | | hottest sensor: 1 if known, number, °C | 6 |
//! | worst: 1 if there is one, kind in the order of [`Quantity`](crate::witness::Quantity), bits in eight bytes | 10 | | coldest sensor | 6 |
//! | limit | 10 | | pack, link: 1 if known, V | 10 |
//! | 1 if there is one, freeze frame | 49 | | step | 1 |
//! | how many of the history, five freeze frames | 241 | | **in all** | **48** |
//! | **in all** | **334** | | | |
//!
//! Mark, version, length and the sum at the end stay where they are in every version. CRC-32/ISCSI (polynomial 0x1EDC6F41, reflected; check
//! value 0xE3069283) finds every burst of up to 32 bits.

mod bytes;
mod read;
mod schedule;
#[cfg(test)]
mod tests;
mod values;

pub(crate) use bytes::{Laid, Reader, Writer, laid};
pub(crate) use read::opened;
pub use read::{Unusable, label, newer};
pub use schedule::Schedule;

use crate::units::Millis;

/// The version of the bytes.
pub const VERSION: u16 = 1;

/// What every record begins with.
pub(crate) const MARK: [u8; 4] = *b"KEPT";

/// Bytes before the part that depends on the pack, and the sum.
pub(crate) const HEAD_BYTES: usize = 77;
pub(crate) const SUM_BYTES: usize = 4;

/// What whoever writes a record says of it.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Label {
    /// The number of the pack, however packs are numbered: the record of another one is refused.
    pub pack: u32,
    /// One more for each record; at one a second it lasts 136 years.
    pub number: u32,
    /// The longest time for which it is the last word: by then a newer one is written, or the controller has lost its supply.
    pub holds: Millis,
}

/// What is there to restart from.
#[derive(Clone, Copy, Debug)]
pub struct Stored<'a> {
    /// The record, or whatever stands in its place; see [`newer`].
    pub record: &'a [u8],
    /// The number of this pack.
    pub pack: u32,
    /// The longest time for which the controller was without supply, up to the first frame; `None` where no clock ran on.
    pub off: Option<Millis>,
}

/// How a controller began that had worked before.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Restart {
    /// From a record.
    Restored {
        /// Its number.
        number: u32,
        /// How long the pack may have worked after it.
        holds: Millis,
        /// The longest time without supply, if that is known.
        off: Option<Millis>,
    },
    /// There was nothing to go by: each cell may be full, empty or between, no fault is remembered, and the contactors are barred.
    Refused(Unusable),
}

/// The room is too short for the record.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoRoom {
    /// Bytes that are needed.
    pub needed: usize,
    /// Bytes that were given.
    pub found: usize,
}
