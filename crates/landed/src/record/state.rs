//! The state of the whole monitor as bytes.

use super::header::{CoreVersion, Header};
use super::keep::{CRC, Keep, Page, Pen};
use crate::Monitor;
use crate::judge::Judge;
use crate::measure::Measure;
use crate::settings::Checked;
use crate::survivor::Survivor;
use crate::units::Micros;

/// Why a monitor could not be put back into the state of a keyframe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum BadKeyframe {
    /// Another version of the core took it.
    Core(CoreVersion),
    /// It was taken under other settings, of this identity.
    Settings(u32),
    /// The monitor has no room for the machine's marks.
    NoRoom,
    /// It is damaged.
    Damaged,
}

impl core::fmt::Display for BadKeyframe {
    fn fmt(&self, out: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Core(core) => {
                write!(out, "the keyframe was taken by core {core}, this is core {}", CoreVersion::THIS)
            }
            Self::Settings(identity) => write!(out, "the keyframe was taken under the settings {identity:08X}"),
            Self::NoRoom => out.write_str("the monitor has no room for this machine's marks"),
            Self::Damaged => out.write_str("the keyframe is damaged"),
        }
    }
}

impl core::error::Error for BadKeyframe {}

/// Whether a keyframe can be restored here at all.
fn fits(header: &Header, keyframe: &[u8]) -> Result<(), BadKeyframe> {
    if header.core != CoreVersion::THIS {
        return Err(BadKeyframe::Core(header.core));
    }
    if CRC.checksum(keyframe) != header.keyframe_crc {
        return Err(BadKeyframe::Damaged);
    }
    Ok(())
}

/// Bring measure and judge, used apart, into the state of a keyframe. Both must be freshly configured by the settings it was taken
/// under. Without a judge only measure is restored: for judging the same machine by other limits, whose delays the keyframe does not
/// know.
///
/// # Errors
/// Why it cannot be. What was given must then be configured anew.
pub fn restore_parts<const MARKS: usize>(
    measure: &mut Measure<MARKS>,
    judge: Option<&mut Judge>,
    header: &Header,
    keyframe: &[u8],
) -> Result<(), BadKeyframe> {
    fits(header, keyframe)?;
    let mut page = Page::new(keyframe, header.at);
    measure.fetch(&mut page).map_err(|_| BadKeyframe::Damaged)?;
    if let Some(judge) = judge {
        judge.fetch_beside(measure.motion(), &mut page).map_err(|_| BadKeyframe::Damaged)?;
        if !page.is_done() {
            return Err(BadKeyframe::Damaged);
        }
    }
    Ok(())
}

impl<const MARKS: usize> Monitor<MARKS> {
    /// The CRC-32 of the state, encoded like a keyframe taken at `now`, the newest time the monitor knows. Two monitors that
    /// agree in it will agree in every verdict to come.
    #[must_use]
    pub fn state_crc(&self, now: Micros) -> u32 {
        let mut pen = Pen::new(&mut [], now);
        self.keep(&mut pen);
        pen.finish().crc
    }

    /// How many bytes a keyframe takes at `now`.
    #[must_use]
    pub fn keyframe_length(&self, now: Micros) -> usize {
        let mut pen = Pen::new(&mut [], now);
        self.keep(&mut pen);
        pen.finish().length
    }

    /// Come into the state of a keyframe. The settings must be those it was taken under.
    ///
    /// # Errors
    /// Why it cannot be. The monitor is then as freshly configured, or, without room, allows nothing.
    pub fn restore(&mut self, settings: &Checked, header: &Header, keyframe: &[u8]) -> Result<(), BadKeyframe> {
        self.try_configure(settings, &Survivor::default()).map_err(|_| BadKeyframe::NoRoom)?;
        if header.settings != settings.identity() {
            return Err(BadKeyframe::Settings(header.settings));
        }
        fits(header, keyframe)?;
        let mut page = Page::new(keyframe, header.at);
        if self.fetch(&mut page).is_err() || !page.is_done() {
            // What was read so far must not stay.
            let _ = self.try_configure(settings, &Survivor::default());
            return Err(BadKeyframe::Damaged);
        }
        Ok(())
    }
}
