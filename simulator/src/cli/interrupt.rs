//! Ctrl-C, or being told to end: no half-written file is left, what a study has done is kept, one line says so, and the exit
//! code is 130.

use std::process;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::Context as _;

use super::talk::tell;
use crate::outputs;

/// As a shell reports a program that an interrupt ended.
const CODE: i32 = 130;

static ASKED: AtomicBool = AtomicBool::new(false);
static GENTLY: AtomicBool = AtomicBool::new(false);

/// From now on Ctrl-C is heard.
///
/// # Errors
/// The system does not let it be heard.
pub fn listen() -> anyhow::Result<()> {
    ctrlc::set_handler(|| {
        // The first time the work in hand is finished, where there is any worth keeping; a second time there is no waiting.
        if GENTLY.load(Ordering::SeqCst) && !ASKED.swap(true, Ordering::SeqCst) {
            return;
        }
        leave("nothing half-written is left; the same command begins again, or goes on from what is kept");
    })
    .context("Ctrl-C cannot be heard")
}

/// Whether whoever is at work looks at [`asked`], and so is left to stop by itself.
pub fn gently(gently: bool) {
    GENTLY.store(gently, Ordering::SeqCst);
}

/// Whether it is to stop.
pub fn asked() -> bool {
    ASKED.load(Ordering::SeqCst)
}

/// Say that it stopped, clear half-written files away, and end.
pub fn leave(why: &str) -> ! {
    outputs::abandon();
    tell(format_args!("stopped: {why}"));
    process::exit(CODE)
}
