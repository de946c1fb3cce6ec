//! The log: defmt frames into the host's file `log.bin`. The host has the words, here are only their numbers.
//!
//! The images have one thread and no interrupts, so that frames never interleave.

use core::cell::UnsafeCell;

use crate::host::{Failure, File};

#[defmt::global_logger]
struct Log;

struct Place<T>(UnsafeCell<T>);

// SAFETY: one thread, no interrupts.
unsafe impl<T> Sync for Place<T> {}

static ENCODER: Place<defmt::Encoder> = Place(UnsafeCell::new(defmt::Encoder::new()));
static FRAME: Place<Frame> = Place(UnsafeCell::new(Frame { file: None, bytes: [0; 256], length: 0 }));

/// One frame on its way to the file.
struct Frame {
    file: Option<File>,
    bytes: [u8; 256],
    length: usize,
}

/// Open the file. What is logged before is lost.
///
/// # Errors
/// If the host cannot.
pub fn open() -> Result<(), Failure> {
    frame().file = Some(File::create(c"log.bin")?);
    Ok(())
}

fn encoder() -> &'static mut defmt::Encoder {
    // SAFETY: one thread, and no holder keeps it beyond one call.
    unsafe { &mut *ENCODER.0.get() }
}

fn frame() -> &'static mut Frame {
    // SAFETY: as above.
    unsafe { &mut *FRAME.0.get() }
}

fn add(bytes: &[u8]) {
    let frame = frame();
    for byte in bytes {
        if frame.length == frame.bytes.len() {
            send();
        }
        frame.bytes[frame.length] = *byte;
        frame.length += 1;
    }
}

fn send() {
    let frame = frame();
    let bytes = &frame.bytes[..frame.length];
    frame.length = 0;
    if let Some(file) = &mut frame.file {
        // A log that cannot be written shows on the host as lines that are missing.
        let _ = file.write(bytes);
    }
}

// SAFETY: one thread, so that frames do not interleave.
unsafe impl defmt::Logger for Log {
    fn acquire() {
        encoder().start_frame(add);
    }

    unsafe fn flush() {}

    unsafe fn release() {
        encoder().end_frame(add);
        send();
    }

    unsafe fn write(bytes: &[u8]) {
        encoder().write(bytes, add);
    }
}
