//! Frames into a file of the host, through semihosting, which QEMU and debug probes answer. The file is called `told.defmt` and is read by
//! `defmt-print -e IMAGE < told.defmt`.

use core::sync::atomic::{AtomicUsize, Ordering};
use cortex_m_semihosting::syscall;

/// Handle of the host's file; semihosting answers a write to a handle it does not know with an error and no harm.
static FILE: AtomicUsize = AtomicUsize::new(usize::MAX);

/// Opens the file on the host, empty.
pub fn open() {
    let name = c"told.defmt";
    // SAFETY: the address and the length are those of a string that lives as long as the program; mode 5 is "wb".
    let handle = unsafe { syscall!(OPEN, name.as_ptr(), 5_usize, name.count_bytes()) };
    FILE.store(handle, Ordering::Relaxed);
}

#[defmt::global_logger]
struct Frames;

// SAFETY: one thread and no interrupt handler logs, so no two of these calls ever overlap.
unsafe impl defmt::Logger for Frames {
    fn acquire() {
        encode(|encoder| encoder.start_frame(write));
    }
    unsafe fn flush() {}
    unsafe fn release() {
        encode(|encoder| encoder.end_frame(write));
    }
    unsafe fn write(bytes: &[u8]) {
        encode(|encoder| encoder.write(bytes, write));
    }
}

fn encode(act: impl FnOnce(&mut defmt::Encoder)) {
    static mut ENCODER: defmt::Encoder = defmt::Encoder::new();
    // SAFETY: calls never overlap (see above), and the reference ends with this call.
    act(unsafe { &mut *(&raw mut ENCODER) });
}

fn write(bytes: &[u8]) {
    // SAFETY: address and length are those of a live slice. The answer, the count of bytes not written, has no use here: the
    // caller is a log that may not fail.
    unsafe { syscall!(WRITE, FILE.load(Ordering::Relaxed), bytes.as_ptr(), bytes.len()) };
}
