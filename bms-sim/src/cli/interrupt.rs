//! An interruption asked for once ends what runs as soon as nothing is lost; asked for twice it ends at once.

use super::complain;
use std::sync::atomic::{AtomicBool, Ordering};

/// Whether an interruption was asked for; from now on it is listened to.
pub(super) fn asked(lost: &str) -> &'static AtomicBool {
    static ASKED: AtomicBool = AtomicBool::new(false);
    let interrupt = || {
        if ASKED.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    };
    if let Err(error) = ctrlc::set_handler(interrupt) {
        complain(&format!("an interruption will lose {lost}: {error}"));
    }
    &ASKED
}
