//! Settings as bytes, for the box's memory and for links.
//!
//! | bytes | what |
//! |---|---|
//! | 0 to 3 | the letters `SLKS` |
//! | 4, 5 | version of the format, low byte first |
//! | 6, 7 | length of the body, low byte first |
//! | 8 … | the body: [`Settings`] in postcard's wire format |
//! | last 4 | CRC-32/ISO-HDLC of everything before, low byte first |
//!
//! An image that reads well is sound as bytes; whether its settings are allowed is for [`Settings::check`] to say.

use core::fmt;

use crc::{CRC_32_ISO_HDLC, Crc, Digest, NoTable};
use postcard::ser_flavors::Flavor;

use super::Settings;
use super::read::Read;
use crate::record::keep::Plain;

/// Computed bit by bit: settings are read seldom, and a table would take 1 KiB of flash.
const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

const MAGIC: [u8; 4] = *b"SLKS";
const HEADER: usize = 8;
const TRAILER: usize = 4;

/// The version written. Older versions stay readable once there are any.
pub const IMAGE_VERSION: u16 = 1;

/// Room that is enough for any image.
pub const MOST_IMAGE_BYTES: usize = 1_280;

/// Why bytes are no settings image, or settings did not become one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ImageError {
    /// It does not begin as a settings image does: something else, or nothing.
    NotAnImage,
    /// A version this program does not know.
    Version(u16),
    /// Shorter or longer than its header says.
    Length {
        /// How long the header has it; header and trailer alone where there is not even a header.
        expected: usize,
        /// How long it is.
        found: usize,
    },
    /// The CRC does not match: a byte was changed on the way or in memory.
    Crc {
        /// As computed from the bytes.
        computed: u32,
        /// As written at the end.
        written: u32,
    },
    /// The bytes are whole but do not say settings: written by another program.
    Content,
    /// The buffer given is too small for the image.
    BufferTooSmall,
}

impl fmt::Display for ImageError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::NotAnImage => out.write_str("not a settings image: it does not begin with the letters SLKS"),
            Self::Version(version) => write!(
                out,
                "settings image of version {version}, but this program knows version {IMAGE_VERSION}; write the image anew \
                 from the settings file",
            ),
            Self::Length { expected, found } => {
                write!(out, "settings image of {found} bytes should have {expected}: cut off or run on; send it again")
            }
            Self::Crc { computed, written } => write!(
                out,
                "settings image damaged: its CRC is {computed:08X} and should be {written:08X}; send it again",
            ),
            Self::Content => out.write_str("settings image whole but not understood: written by another program"),
            Self::BufferTooSmall => write!(out, "no room for the settings image: {MOST_IMAGE_BYTES} bytes are enough"),
        }
    }
}

impl core::error::Error for ImageError {}

/// Feeds what postcard writes to the CRC and keeps nothing.
struct OnlyCrc<'a>(Digest<'a, u32, NoTable>);

impl Flavor for OnlyCrc<'_> {
    type Output = u32;

    fn try_push(&mut self, data: u8) -> postcard::Result<()> {
        self.0.update(&[data]);
        Ok(())
    }

    fn finalize(self) -> postcard::Result<u32> {
        Ok(self.0.finalize())
    }
}

impl Settings {
    /// The settings as an image, written into the front of `buffer`.
    ///
    /// # Errors
    /// [`ImageError::BufferTooSmall`] if it does not fit; [`MOST_IMAGE_BYTES`] always do.
    pub fn to_image<'b>(&self, buffer: &'b mut [u8]) -> Result<&'b [u8], ImageError> {
        const NO_ROOM: ImageError = ImageError::BufferTooSmall;
        let room = buffer.len().checked_sub(TRAILER).ok_or(NO_ROOM)?;
        let body = buffer.get_mut(HEADER..room).ok_or(NO_ROOM)?;
        let length = postcard::to_slice(self, body).map_err(|_| NO_ROOM)?.len();
        let length_field = u16::try_from(length).map_err(|_| NO_ROOM)?;
        let header = MAGIC.into_iter().chain(IMAGE_VERSION.to_le_bytes()).chain(length_field.to_le_bytes());
        for (slot, byte) in buffer.iter_mut().zip(header) {
            *slot = byte;
        }
        let covered = HEADER.saturating_add(length);
        let crc = CRC.checksum(buffer.get(..covered).ok_or(NO_ROOM)?);
        for (slot, byte) in buffer.iter_mut().skip(covered).zip(crc.to_le_bytes()) {
            *slot = byte;
        }
        buffer.get(..covered.saturating_add(TRAILER)).ok_or(NO_ROOM)
    }

    /// Read an image: exactly its bytes, neither more nor less. See [`image_length`] for cutting it out of a larger memory.
    ///
    /// # Errors
    /// What is wrong with it, the outermost first: not an image, version, length, CRC, content.
    #[inline(never)]
    pub fn from_image(image: &[u8]) -> Result<Self, ImageError> {
        let expected = image_length(image)?;
        let wrong_length = ImageError::Length { expected, found: image.len() };
        if image.len() != expected {
            return Err(wrong_length);
        }
        let (covered, trailer) = image.split_last_chunk::<TRAILER>().ok_or(wrong_length)?;
        let (computed, written) = (CRC.checksum(covered), u32::from_le_bytes(*trailer));
        if computed != written {
            return Err(ImageError::Crc { computed, written });
        }
        let body = covered.get(HEADER..).ok_or(wrong_length)?;
        let (mut settings, mut body) = (Self::blank(), Plain(body));
        match (settings.read(&mut body), body.rest()) {
            (Ok(()), []) => Ok(settings),
            _ => Err(ImageError::Content),
        }
    }

    /// What tells these settings from others: the CRC of the image's body. Two boxes with the same identity hold the same
    /// settings; the CRC of a changed body differs for sure where the change is shorter than 32 bits, else by all but one
    /// chance in four thousand million. Not proof against intent.
    #[must_use]
    pub fn identity(&self) -> u32 {
        // Neither serializing settings nor this flavour can fail; 0 is no identity anyone would rely on.
        postcard::serialize_with_flavor(self, OnlyCrc(CRC.digest())).unwrap_or(0)
    }
}

/// How long the image is that begins with these bytes, by its header: at least the first eight are needed.
///
/// # Errors
/// [`ImageError::NotAnImage`], [`ImageError::Version`], or [`ImageError::Length`] if there is not even a header.
pub fn image_length(bytes: &[u8]) -> Result<usize, ImageError> {
    if !bytes.iter().zip(&MAGIC).all(|(byte, letter)| byte == letter) || bytes.is_empty() {
        return Err(ImageError::NotAnImage);
    }
    let [_, _, _, _, version_low, version_high, length_low, length_high, ..] = *bytes else {
        return Err(ImageError::Length { expected: HEADER.saturating_add(TRAILER), found: bytes.len() });
    };
    let version = u16::from_le_bytes([version_low, version_high]);
    if version != IMAGE_VERSION {
        return Err(ImageError::Version(version));
    }
    let body = usize::from(u16::from_le_bytes([length_low, length_high]));
    Ok(HEADER.saturating_add(body).saturating_add(TRAILER))
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::arithmetic_side_effects,
    reason = "a test that panics has failed, as it should"
)]
mod tests {
    extern crate std;
    use std::string::ToString;
    use std::vec::Vec;

    use proptest::prelude::*;

    use super::*;
    use crate::settings::arbitrary;

    fn image_of(settings: &Settings) -> Vec<u8> {
        let mut buffer = [0; MOST_IMAGE_BYTES];
        settings.to_image(&mut buffer).unwrap().to_vec()
    }

    #[test]
    fn the_example_has_these_bytes() {
        let image = image_of(&Settings::example());
        // Magic, version 1, body length.
        let body = u16::try_from(image.len() - HEADER - TRAILER).unwrap();
        assert_eq!(image[..6], *b"SLKS\x01\x00");
        assert_eq!(image[6..8], body.to_le_bytes());
        // The name: 15 letters; then 600,000 µm as a zigzag varint (1,200,000).
        assert_eq!(image[8..27], *b"\x0fMillbrook leg 3\x80\x9f\x49");
        let crc = u32::from_le_bytes(*image.last_chunk().unwrap());
        assert_eq!((image.len(), crc, Settings::example().identity()), GOLDEN);
    }

    /// Length, CRC and identity of the example's image. They change with the example, the starting values or the format: in
    /// the last case raise [`IMAGE_VERSION`].
    const GOLDEN: (usize, u32, u32) = (520, 2_071_168_105, 350_164_829);

    #[test]
    fn every_single_bit_flip_is_rejected() {
        let image = image_of(&Settings::example());
        for position in 0..image.len() * 8 {
            let mut flipped = image.clone();
            flipped[position / 8] ^= 1 << (position % 8);
            assert!(Settings::from_image(&flipped).is_err(), "bit {position}");
        }
    }

    #[test]
    fn every_cut_and_every_tail_is_rejected() {
        let image = image_of(&Settings::example());
        for length in 0..image.len() {
            assert!(Settings::from_image(&image[..length]).is_err(), "length {length}");
        }
        let longer = [image.as_slice(), &[0]].concat();
        let expected = image.len();
        assert_eq!(Settings::from_image(&longer), Err(ImageError::Length { expected, found: expected + 1 }));
        assert_eq!(image_length(&longer), Ok(expected));
    }

    #[test]
    fn each_fault_is_told_apart() {
        let image = image_of(&Settings::example());
        let changed = |index: usize, byte: u8| {
            let mut image = image.clone();
            image[index] = byte;
            Settings::from_image(&image).unwrap_err()
        };
        assert_eq!(changed(0, b'X'), ImageError::NotAnImage);
        assert_eq!(Settings::from_image(&[]), Err(ImageError::NotAnImage));
        assert_eq!(changed(4, 2), ImageError::Version(2));
        assert!(matches!(changed(6, 0), ImageError::Length { .. }));
        assert!(matches!(changed(20, 0), ImageError::Crc { .. }));
        // Whole by its CRC, but not settings: an action that does not exist at the end of a limit.
        let mut other = [b"SLKS\x01\x00\x01\x00".as_slice(), &[0xFF]].concat();
        other.extend(CRC.checksum(&other).to_le_bytes());
        assert_eq!(Settings::from_image(&other), Err(ImageError::Content));
        assert!(changed(20, 0).to_string().contains("send it again"));
    }

    #[test]
    fn identity_is_the_crc_of_the_body() {
        let settings = Settings::example();
        let image = image_of(&settings);
        assert_eq!(settings.identity(), CRC.checksum(&image[HEADER..image.len() - TRAILER]));
        let mut other = settings.clone();
        other.limits.starts.window = crate::units::Span::new(1);
        assert_ne!(settings.identity(), other.identity());
    }

    #[test]
    fn too_small_a_buffer_is_told() {
        let length = image_of(&Settings::example()).len();
        let mut buffer = std::vec![0; length];
        assert!(Settings::example().to_image(&mut buffer).is_ok());
        for shorter in 0..length {
            assert_eq!(Settings::example().to_image(&mut buffer[..shorter]), Err(ImageError::BufferTooSmall));
        }
    }

    proptest! {
        #[test]
        fn any_settings_come_back_whole(settings in arbitrary::settings()) {
            let image = image_of(&settings);
            prop_assert!(image.len() <= MOST_IMAGE_BYTES);
            prop_assert_eq!(Settings::from_image(&image).unwrap(), settings);
        }

        #[test]
        fn any_bytes_can_be_read(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            let _ = Settings::from_image(&bytes);
        }
    }
}
