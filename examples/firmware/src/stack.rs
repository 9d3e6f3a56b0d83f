//! How deep the stack went: the unused part is painted, and what lost its paint was used.

use core::ptr;

/// A word that no program is likely to leave behind.
const PAINT: u32 = 0xA5C3_963C;

/// Left unpainted below the caller: the frame of the painting function itself.
const MARGIN_BYTES: usize = 256;

unsafe extern "C" {
    /// End of the static data: the stack may grow down to here. Set by the linker script.
    static __sheap: u32;
}

/// Where the stack ends, as an address.
fn lowest() -> *mut u32 {
    (&raw const __sheap).cast_mut()
}

/// Paints the unused stack. Returns the address of the stack pointer, from which the depth is measured.
#[inline(never)]
pub fn paint() -> usize {
    let top = cortex_m::register::msp::read() as usize;
    let mut word = lowest();
    while (word as usize) < top.saturating_sub(MARGIN_BYTES) {
        // SAFETY: between the end of the static data and the stack pointer less a margin lies memory that nothing uses.
        unsafe { ptr::write_volatile(word, PAINT) };
        word = word.wrapping_add(1);
    }
    top
}

/// Bytes below `top` that were used since [`paint`].
#[inline(never)]
#[must_use]
pub fn depth_bytes(top: usize) -> usize {
    let mut word = lowest();
    // SAFETY: every address up to the stack pointer is readable memory.
    while (word as usize) < top && unsafe { ptr::read_volatile(word) } == PAINT {
        word = word.wrapping_add(1);
    }
    top.saturating_sub(word as usize)
}
