//! Evidence as defmt frames, for whoever holds the probe: into a file of the host, or by RTT on a microcontroller of the trade. The witness is
//! the same.

use crate::witness::is_change;
use bms_core::{Evidence, Witness};
use core::sync::atomic::{AtomicU32, Ordering};

#[cfg(not(feature = "stm32f407"))]
mod file;

#[cfg(not(feature = "stm32f407"))]
pub use file::open;

/// RTT needs nothing opened.
#[cfg(feature = "stm32f407")]
pub fn open() {
    use defmt_rtt as _;
}

/// Milliseconds since the start, for the time stamps.
static NOW_MS: AtomicU32 = AtomicU32::new(0);

defmt::timestamp!("{=u32:ms}", NOW_MS.load(Ordering::Relaxed));

/// Writes every change through defmt.
pub struct Log {
    /// Milliseconds since the start, for the time stamps.
    pub now_ms: u32,
}

impl Witness for Log {
    fn saw(&mut self, evidence: Evidence) {
        if is_change(&evidence) {
            NOW_MS.store(self.now_ms, Ordering::Relaxed);
            defmt::info!("{}", evidence);
        }
    }
}
