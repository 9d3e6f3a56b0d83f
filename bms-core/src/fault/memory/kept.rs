//! The memory over a loss of power: its records and how many were dropped. The ring of the last half second is in the records already.

use super::{Memory, RECORDS, Record};
use crate::kept::{Laid, Reader, Writer};
use heapless::Vec;

impl Memory {
    pub(in crate::fault) const KEPT_BYTES: usize =
        <Vec<Record, RECORDS> as Laid>::BYTES.saturating_add(<u16 as Laid>::BYTES);

    pub(in crate::fault) fn keep(&self, to: &mut Writer<'_>) {
        self.dropped.write(to);
        self.records.write(to);
    }

    pub(in crate::fault) fn restore(&mut self, from: &mut Reader<'_>) {
        self.dropped = from.next();
        self.records = from.next();
    }
}
