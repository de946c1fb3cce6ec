//! Units, CRCs and the wire format of settings, against standards and catalogues.

use crc::{CRC_32_ISO_HDLC, Crc};
use slackside::settings::{MOST_IMAGE_BYTES, Settings};
use slackside::units::{Micrometres, Span};
use slackside_desk::settings::parse;

fn image(settings: &Settings) -> Vec<u8> {
    let mut buffer = [0; MOST_IMAGE_BYTES];
    settings.to_image(&mut buffer).expect("room").to_vec()
}

/// CRC-32/ISO-HDLC bit by bit from its parameters in the catalogue: reflected 0x04C11DB7, init and xorout all ones.
fn crc_by_hand(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for byte in bytes {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 };
        }
    }
    !crc
}

#[test]
fn the_crc_is_the_catalogues() {
    // RevEng catalogue (from memory, agreed by a second library): check value of "123456789" is CBF43926.
    assert_eq!(crc_by_hand(b"123456789"), 0xCBF4_3926);
    assert_eq!(Crc::<u32>::new(&CRC_32_ISO_HDLC).checksum(b"123456789"), 0xCBF4_3926);
    // And it is the one that images carry, low byte first, and settings go by.
    let settings = Settings::example();
    let image = image(&settings);
    let (covered, written) = image.split_at(image.len() - 4);
    assert_eq!(crc_by_hand(covered).to_le_bytes(), written);
    assert_eq!(crc_by_hand(&covered[8..]), settings.image_identity());
    let plan = settings.check().expect("sound").plan();
    let (covered, written) = plan.bytes().split_at(plan.bytes().len() - 4);
    assert_eq!(crc_by_hand(covered).to_le_bytes(), written);
    assert_eq!(crc_by_hand(covered), plan.identity());
}

/// Postcard's wire format specification, "Varint" and "zigzag" (read): unsigned numbers seven bits at a time, low bits first;
/// signed ones zigzagged. (The specification's own row for i16 32767 is a misprint: FE FF 03 is right.)
#[test]
fn numbers_in_the_image_are_postcards_varints() {
    let unsigned: [(u16, &[u8]); 7] = [
        (0, &[0x00]),
        (127, &[0x7F]),
        (128, &[0x80, 0x01]),
        (16_383, &[0xFF, 0x7F]),
        (16_384, &[0x80, 0x80, 0x01]),
        (16_385, &[0x81, 0x80, 0x01]),
        (65_535, &[0xFF, 0xFF, 0x03]),
    ];
    for (value, bytes) in unsigned {
        let mut buffer = [0; 4];
        assert_eq!(postcard::to_slice(&value, &mut buffer).expect("room"), bytes);
        // The last field of the image is the time constant of slip heat: 32 bits, but the same bytes.
        let mut settings = Settings::example();
        settings.limits.slip_heat.time_constant = Span::new(u32::from(value));
        let image = image(&settings);
        assert!(image[..image.len() - 4].ends_with(bytes), "{value}");
    }
    let signed: [(i16, &[u8]); 9] = [
        (0, &[0x00]),
        (-1, &[0x01]),
        (1, &[0x02]),
        (63, &[0x7E]),
        (-64, &[0x7F]),
        (64, &[0x80, 0x01]),
        (-65, &[0x81, 0x01]),
        (32_767, &[0xFE, 0xFF, 0x03]),
        (-32_768, &[0xFF, 0xFF, 0x03]),
    ];
    for (value, bytes) in signed {
        let mut buffer = [0; 4];
        assert_eq!(postcard::to_slice(&value, &mut buffer).expect("room"), bytes);
        // The head pulley's diameter follows the leg's name, with its length before it.
        let mut settings = Settings::example();
        settings.machine.leg.clear();
        settings.machine.head_pulley.bare_diameter = Micrometres::new(i64::from(value));
        let image = image(&settings);
        assert!(image[9..].starts_with(bytes), "{value}");
    }
    // A decoder takes 80 00 for zero, and rejects more than the type holds.
    assert_eq!(postcard::from_bytes::<u16>(&[0x80, 0x00]), Ok(0));
    assert!(postcard::from_bytes::<u16>(&[0x80, 0x80, 0x80, 0x00]).is_err());
    assert!(postcard::from_bytes::<u16>(&[0xFF, 0xFF, 0x07]).is_err());
}

#[test]
fn units_are_the_defined_ones() {
    // International yard and pound agreement, 1959: 1 in = 25.4 mm, 1 ft = 0.3048 m exactly. Mechanical horsepower:
    // 550 ft lbf/s = 745.699 871 58 W. Turns: 1 rpm = 1/60 turn a second.
    let leg = |bare: &str, belt: &str, power: &str| {
        let text = format!(
            "[leg]\nname = \"x\"\n[head_pulley]\nbare_diameter_{bare}\nface_mm = 500\n[boot_pulley]\nbare_diameter_{bare}\n\
             face_mm = 500\n[belt]\nthickness_mm = 8\nwidth_mm = 400\ncentres_{belt}\n[speed]\nhead_rpm = 60\n[drive]\n\
             contact = true\n{power}\n[boot_targets]\ncount = 8\n"
        );
        parse(&text, "units").unwrap_or_else(|error| panic!("{error}")).checked.into_settings().machine
    };
    let metric = leg("mm = 609.6", "m = 30.48", "rated_kw = 18.642497");
    let inches = leg("in = 24", "ft = 100", "rated_hp = 25");
    assert_eq!(inches.head_pulley.bare_diameter, Micrometres::new(609_600));
    assert_eq!(metric, inches);
    assert_eq!(inches.normal_head.get(), 1_000_000);
    assert_eq!(inches.rated_power.get(), 18_642);
}
