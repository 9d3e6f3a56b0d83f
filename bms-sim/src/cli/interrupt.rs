//! An interruption asked for once ends what runs as soon as nothing is lost; asked for twice it ends the program at once. So it does the
//! first time while nothing runs that would lose anything.

use super::complain;
use std::sync::atomic::{AtomicBool, Ordering};

static ASKED: AtomicBool = AtomicBool::new(false);
static HEEDED: AtomicBool = AtomicBool::new(false);

/// Whether an interruption was asked for; from now on it is listened to.
pub(super) fn asked(lost: &str) -> &'static AtomicBool {
    listen(lost);
    HEEDED.store(true, Ordering::Relaxed);
    &ASKED
}

/// From now on an interruption is listened to: the program ends, unless something [runs](during) that heeds it.
pub(super) fn listen(lost: &str) {
    let interrupt = || {
        if !HEEDED.load(Ordering::Relaxed) || ASKED.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    };
    if let Err(error) = ctrlc::set_handler(interrupt) {
        complain(&format!("an interruption will lose {lost}: {error}"));
    }
}

/// Does what heeds an interruption, and what comes after it. Whether one was asked for is told to it anew each time.
pub(super) fn during<T>(work: impl FnOnce(&'static AtomicBool) -> T) -> T {
    ASKED.store(false, Ordering::Relaxed);
    HEEDED.store(true, Ordering::Relaxed);
    let done = work(&ASKED);
    HEEDED.store(false, Ordering::Relaxed);
    done
}
