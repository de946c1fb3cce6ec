//! The label of a recording: 40 bytes that say what lies in its place.
//!
//! Four letters; the recording's number; its length; the CRC of its bytes; the identity of the settings; the session; when it tripped,
//! lower and upper half; the number of the first-out condition, FFFFFFFF if there is none; and the CRC of these 36 bytes; each 4
//! bytes, low byte first.

use embedded_storage::nor_flash::NorFlash;
use slackside::conditions::Condition;
use slackside::units::Micros;

use super::slots::{read_any, write_padded};
use super::{CRC, StoreError};

/// Its bytes.
pub(super) const LABEL: u32 = 40;
/// Of a whole recording, before its bytes.
pub(super) const WHOLE: [u8; 4] = *b"RECD";
/// Of one that was begun, behind its bytes: without length and sum.
pub(super) const BEGUN: [u8; 4] = *b"RECB";

/// What a recording is about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct About {
    /// The identity of the settings in force.
    pub settings: u32,
    /// The session it is from.
    pub session: u32,
    /// When the leg tripped, in that session's running time; zero if it did not.
    pub tripped_at: Micros,
    /// What tripped it first.
    pub first_out: Option<Condition>,
}

/// A label.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Label {
    pub(super) number: u32,
    pub(super) length: u32,
    pub(super) crc: u32,
    pub(super) about: About,
}

impl Label {
    /// Write it.
    pub(super) fn write<F: NorFlash>(&self, flash: &mut F, at: u32, letters: [u8; 4]) -> Result<(), StoreError> {
        let mut bytes = [0; LABEL as usize];
        let About { settings, session, tripped_at, first_out } = self.about;
        let (low, high) = (tripped_at.get() as u32, (tripped_at.get() >> 32) as u32);
        let first_out = first_out.map_or(u32::MAX, |condition| condition.id().into());
        let words =
            [u32::from_le_bytes(letters), self.number, self.length, self.crc, settings, session, low, high, first_out];
        let (covered, sum) = bytes.split_at_mut(36);
        for (slot, byte) in covered.iter_mut().zip(words.into_iter().flat_map(u32::to_le_bytes)) {
            *slot = byte;
        }
        for (slot, byte) in sum.iter_mut().zip(CRC.checksum(covered).to_le_bytes()) {
            *slot = byte;
        }
        write_padded(flash, at, &bytes)
    }

    /// Read it; `None` where there is none with these letters, or a damaged one.
    pub(super) fn read<F: NorFlash>(flash: &mut F, at: u32, letters: [u8; 4]) -> Result<Option<Self>, StoreError> {
        let mut bytes = [0; LABEL as usize];
        read_any(flash, at, &mut bytes)?;
        let ([first, words @ ..], []) = bytes.as_chunks::<4>() else { return Ok(None) };
        let Some(words) = words.first_chunk::<9>() else { return Ok(None) };
        let [number, length, crc, settings, session, low, high, first_out, sum] = words.map(u32::from_le_bytes);
        let covered = bytes.first_chunk::<36>().map_or(0, |covered| CRC.checksum(covered));
        let tripped_at = Micros::new((u64::from(high) << 32) | u64::from(low));
        let first_out = u8::try_from(first_out).ok().and_then(Condition::from_id);
        let about = About { settings, session, tripped_at, first_out };
        let is_sound = *first == letters && covered == sum;
        Ok(is_sound.then_some(Self { number, length, crc, about }))
    }
}
