//! What a controller writes down of itself, and how it begins again from that.

use super::Controller;
use crate::config::Fitted;
use crate::estimate::Estimated;
use crate::fault::Faults;
use crate::kept::{
    HEAD_BYTES, Label, Laid, MARK, NoRoom, Reader, Restart, SUM_BYTES, Stored, Unusable, VERSION, Writer,
    opened,
};

impl<const CELLS: usize, const THERMISTORS: usize> Controller<CELLS, THERMISTORS> {
    /// Length of a record in bytes: see [`kept`](crate::kept).
    pub const RECORD_BYTES: usize = HEAD_BYTES
        .saturating_add(Estimated::<CELLS>::KEPT_BYTES)
        .saturating_add(Faults::<CELLS, THERMISTORS>::KEPT_BYTES)
        .saturating_add(SUM_BYTES);

    /// Writes what must outlive a loss of power into `room` and gives the bytes to store.
    ///
    /// # Errors
    ///
    /// When the room is shorter than [`RECORD_BYTES`](Self::RECORD_BYTES); then nothing is written.
    pub fn record<'a>(&self, label: Label, room: &'a mut [u8]) -> Result<&'a [u8], NoRoom> {
        let (needed, found) = (Self::RECORD_BYTES, room.len());
        let room = room.get_mut(..needed).ok_or(NoRoom { needed, found })?;
        let mut to = Writer::new(room);
        to.put(MARK);
        VERSION.write(&mut to);
        // 128 cells and 255 thermistors take less than 11 000 bytes.
        u16::try_from(needed).unwrap_or(u16::MAX).write(&mut to);
        label.number.write(&mut to);
        label.pack.write(&mut to);
        self.config.checksum().write(&mut to);
        let (cells, thermistors) = size::<CELLS, THERMISTORS>();
        to.put([cells, thermistors]);
        label.holds.write(&mut to);
        self.now.write(&mut to);
        self.sequence.keep(&mut to, &self.config);
        self.estimated.keep(&mut to);
        self.faults.keep(&mut to);
        to.finish();
        Ok(room)
    }

    /// A controller that goes on from a [record](crate::kept) after a loss of power: with all coils off and nothing asked for, but with the
    /// faults, the charge, the wear and the heat of before. Which record it was, or why none could be used, is told in its first tick
    /// ([`Restarted`](crate::Evidence::Restarted)).
    ///
    /// Without a record that can be used it knows nothing, and closing is barred until somebody clears: nobody knows what was latched. A pack
    /// that starts for the first time has [`new`](Self::new).
    #[must_use]
    pub fn restart(config: Fitted<CELLS, THERMISTORS>, stored: &Stored<'_>) -> Self {
        let mut controller = Self::new(config);
        let checksum = controller.config.checksum();
        controller.restart = Some(match opened(stored, size::<CELLS, THERMISTORS>(), checksum) {
            Ok((label, from)) => controller.go_on(label, from, stored),
            Err(reason) => controller.begin_barred(reason),
        });
        controller
    }

    fn go_on(&mut self, label: Label, mut from: Reader<'_>, stored: &Stored<'_>) -> Restart {
        let Label { number, holds, .. } = label;
        self.now = from.next();
        let stood = self.sequence.restore(&mut from, holds, &self.config);
        self.estimated.restore(&mut from, (stood, holds, stored.off), &self.config);
        self.faults.restore(&mut from);
        Restart::Restored { number, holds, off: stored.off }
    }

    fn begin_barred(&mut self, reason: Unusable) -> Restart {
        self.sequence.bar(&self.config);
        Restart::Refused(reason)
    }

    /// Whether the last frame reported a replaced part: what a record from before says of the old one is void.
    pub(crate) const fn replaces(&self) -> bool {
        self.asked.replaced.is_some()
    }
}

/// Cells and thermistors, which fit a byte each: [`Each`](crate::Each) holds no more.
fn size<const CELLS: usize, const THERMISTORS: usize>() -> (u8, u8) {
    let count = |places: usize| u8::try_from(places).unwrap_or(u8::MAX);
    (count(CELLS), count(THERMISTORS))
}
