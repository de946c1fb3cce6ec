//! The bytes of a file as text: whatever loggers save it as, and what is none.

use std::io::Read as _;

use flate2::read::MultiGzDecoder;

use crate::recording::Recording;
use crate::trace::{HEADER, foreign};

const GZIP: [u8; 2] = [0x1f, 0x8b];
const WANTED: &str = "name a value change dump (VCD), or export as CSV";

/// The text of a file. The error says what it is instead, behind the name of the file, and how to mend it.
pub(super) fn text_of(bytes: &[u8]) -> Result<String, String> {
    if bytes.starts_with(&GZIP) {
        let mut plain = Vec::new();
        MultiGzDecoder::new(bytes)
            .read_to_end(&mut plain)
            .map_err(|_| ": the gzip data breaks off: the file is not whole\n  mend: copy it again".to_owned())?;
        return plain_text(&plain);
    }
    plain_text(bytes)
}

fn plain_text(bytes: &[u8]) -> Result<String, String> {
    let utf16 = |rest: &[u8], unit: fn([u8; 2]) -> u16| {
        let units: Vec<u16> = rest.chunks_exact(2).map(|pair| unit([pair[0], pair[1]])).collect();
        String::from_utf16_lossy(&units)
    };
    if Recording::is_one(bytes) {
        return Err(" is a recording of a box\n  mend: `slackside replay` reads it as it is".to_owned());
    }
    let text = match bytes {
        [0xff, 0xfe, rest @ ..] => utf16(rest, u16::from_le_bytes),
        [0xfe, 0xff, rest @ ..] => utf16(rest, u16::from_be_bytes),
        _ => {
            if let Some((what, mend)) = foreign(bytes) {
                return Err(format!(" is {what}\n  mend: {mend}"));
            }
            // Names of tags may be in any one-byte code.
            str::from_utf8(bytes).map_or_else(|_| bytes.iter().map(|byte| char::from(*byte)).collect(), str::to_owned)
        }
    };
    let text = text.trim_start_matches('\u{feff}').to_owned();
    if text.contains(|letter: char| letter.is_ascii_control() && !letter.is_ascii_whitespace()) {
        return Err(format!(" is no text\n  mend: {WANTED}"));
    }
    if text.trim().is_empty() {
        return Err(format!(" is empty\n  mend: {WANTED}"));
    }
    if text.lines().find(|line| !line.starts_with('#')).is_some_and(|line| line.trim() == HEADER) {
        return Err(" is a trace already\n  mend: `slackside replay` reads it as it is".to_owned());
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;

    use flate2::Compression;
    use flate2::write::GzEncoder;

    use super::*;

    const TEXT: &str = "time (s),höhe\n0,1\n";

    #[test]
    fn however_it_is_saved_the_text_is_the_same() {
        let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
        packed.write_all(TEXT.as_bytes()).expect("memory");
        let packed = packed.finish().expect("memory");
        let wide = |mark: u16, bytes: fn(u16) -> [u8; 2]| -> Vec<u8> {
            [mark].into_iter().chain(TEXT.encode_utf16()).flat_map(bytes).collect()
        };
        let marked = format!("\u{feff}{TEXT}").into_bytes();
        let latin: Vec<u8> = TEXT.chars().map(|letter| letter as u8).collect();
        let saved = [
            TEXT.into(),
            packed.clone(),
            wide(0xfeff, u16::to_le_bytes),
            wide(0xfeff, u16::to_be_bytes),
            marked,
            latin,
        ];
        for bytes in saved {
            assert_eq!(text_of(&bytes).as_deref(), Ok(TEXT), "{bytes:?}");
        }
        let broken = text_of(&packed[..packed.len() - 9]).expect_err("cut off");
        assert!(broken.contains("breaks off") && broken.contains("mend:"), "{broken}");
    }

    #[test]
    fn what_is_no_such_file_says_what_it_is_and_how_to_mend_it() {
        let trace = format!("{HEADER}\n0,drive,1\n");
        for (bytes, said) in [
            (&b"PK\x03\x04"[..], "spreadsheet"),
            (b"SLrc\x02", "recording of a box"),
            (b"a,b\n\x00\x01,2\n", "no text"),
            (b" \r\n", "empty"),
            (trace.as_bytes(), "a trace already"),
        ] {
            let error = text_of(bytes).expect_err(said);
            assert!(error.contains(said) && error.contains("\n  mend: "), "{error}");
        }
    }
}
