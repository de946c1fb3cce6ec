//! Files that people write.

use std::io::Cursor;

use slackside::input::Input;
use slackside_desk::settings;
use slackside_desk::trace::{HEADER, Reader, write_row};

/// Any bytes as a trace, as they are and behind the header.
///
/// # Panics
/// If a trace that reads does not write back to the same inputs, or an error does not say where.
pub fn trace(bytes: &[u8]) {
    one_trace(bytes.to_vec());
    one_trace([HEADER.as_bytes(), b"\n", bytes].concat());
}

fn one_trace(bytes: Vec<u8>) {
    let Some(inputs) = read(bytes) else { return };
    let mut written = format!("{HEADER}\n").into_bytes();
    for input in &inputs {
        write_row(input, &mut written);
    }
    assert_eq!(read(written).as_deref(), Some(inputs.as_slice()), "a trace changed by being written and read");
}

fn read(bytes: Vec<u8>) -> Option<Vec<Input>> {
    let mut inputs = Vec::new();
    let mut batch = Vec::new();
    let outcome = Reader::from_read("fuzz", Cursor::new(bytes)).and_then(|mut reader| {
        while reader.read_batch(&mut batch)? {
            inputs.append(&mut batch);
        }
        Ok(())
    });
    match outcome {
        Ok(()) => Some(inputs),
        Err(error) => {
            let told = error.to_string();
            assert!(told.contains("fuzz"), "an error that does not name the trace: {told}");
            None
        }
    }
}

/// Any bytes as a settings file.
///
/// # Panics
/// If settings that read do not write back to the same settings, or an error does not name the file.
pub fn settings_text(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    match settings::parse(text, "fuzz") {
        Ok(loaded) => {
            let written = settings::write(&loaded.checked);
            let again = settings::parse(&written, "written").expect("settings just written read");
            assert_eq!(again.checked, loaded.checked, "settings changed by being written and read");
        }
        Err(error) => {
            let told = error.to_string();
            assert!(told.contains("fuzz"), "an error that does not name the file: {told}");
        }
    }
}
