//! Settings images.

use slackside::settings::plan_check::Sound;
use slackside::settings::{IMAGE_VERSION, MOST_IMAGE_BYTES, Settings, image_length};

/// Any bytes as a settings image: as they are, and as the body of an image whose frame is in order, so that what lies
/// behind the CRC is reached too.
///
/// # Panics
/// If an image that reads does not write back to the same bytes, settings change on the way, or the box refuses the plan of settings that
/// the desk found sound.
pub fn settings_image(bytes: &[u8]) {
    one(bytes);
    let Ok(length) = u16::try_from(bytes.len()) else { return };
    let mut framed = b"SLKS".to_vec();
    framed.extend(IMAGE_VERSION.to_le_bytes());
    framed.extend(length.to_le_bytes());
    framed.extend(bytes);
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&framed);
    framed.extend(crc.to_le_bytes());
    one(&framed);
}

fn one(bytes: &[u8]) {
    let _ = image_length(bytes);
    let Ok(settings) = Settings::from_image(bytes) else { return };
    let mut buffer = [0; MOST_IMAGE_BYTES];
    let written = settings.to_image(&mut buffer).expect("settings that were read fit an image");
    let again = Settings::from_image(written).expect("an image just written reads");
    assert_eq!(again, settings);
    assert_eq!(again.identity(), settings.identity());
    match settings.check() {
        Ok(checked) => {
            // What the desk lets through, the box takes.
            let plan = checked.plan();
            assert_eq!(Sound::new(&plan).err(), None);
            checked.advice(&mut |advice| assert!(!advice.to_string().is_empty()));
        }
        Err(violations) => {
            assert!(!violations.is_empty());
            for violation in &violations {
                assert!(!violation.to_string().is_empty());
            }
        }
    }
}
