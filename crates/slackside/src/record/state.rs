//! The state of the whole monitor as bytes, and back.

use core::ops::Deref;

use super::header::{CoreVersion, Header};
use crate::Monitor;
use crate::codec::crc::checksum;
use crate::codec::fold::{Folded, Folder, Unfolder, Unreadable};
use crate::retained::Retained;
use crate::settings::plan::Plan;
use crate::settings::plan_check::Sound;

/// Why a monitor could not be put back into the state of a keyframe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum BadKeyframe {
    /// Another version of the core took it.
    Core(CoreVersion),
    /// It was taken under another plan, of this identity.
    Plan(u32),
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
            Self::Plan(identity) => write!(out, "the keyframe was taken under the plan {identity:08X}"),
            Self::NoRoom => out.write_str("the monitor has no room for this machine's marks"),
            Self::Damaged => out.write_str("the keyframe is damaged"),
        }
    }
}

impl core::error::Error for BadKeyframe {}

impl<P: Deref<Target = Plan>, const MARKS: usize> Monitor<P, MARKS> {
    #[inline(never)]
    fn folded(&self) -> Folded {
        let mut folder = Folder::new(&mut []);
        self.parts(&mut |part| folder.part(part));
        folder.finish()
    }

    /// The CRC-32 of the state, folded like a keyframe. Two monitors that agree in it will agree in every verdict to come.
    #[must_use]
    pub fn state_crc(&self) -> u32 {
        self.folded().crc
    }

    /// How many bytes a keyframe takes now.
    #[must_use]
    pub fn keyframe_length(&self) -> usize {
        self.folded().length
    }

    /// Come into the state of a keyframe. The plan must be the one it was taken under.
    ///
    /// # Errors
    /// Why it cannot be. The monitor is then as freshly configured, or, without room, allows nothing.
    pub fn restore(&mut self, plan: Sound<P>, header: &Header, keyframe: &[u8]) -> Result<(), BadKeyframe> {
        let identity = plan.identity();
        self.configure(plan, &Retained::default()).map_err(|crate::NoRoom| BadKeyframe::NoRoom)?;
        if header.core != CoreVersion::THIS {
            return Err(BadKeyframe::Core(header.core));
        }
        if header.plan != identity {
            return Err(BadKeyframe::Plan(header.plan));
        }
        if checksum(keyframe) != header.keyframe_crc {
            return Err(BadKeyframe::Damaged);
        }
        // Read through once before anything is changed: it must have as many parts, none longer than its place.
        let mut fits = Unfolder::new(keyframe);
        let mut read: Result<(), Unreadable> = Ok(());
        self.parts(&mut |part| read = read.and_then(|()| fits.part(part.len(), &mut |_, _| {})));
        if read.is_err() || !fits.is_done() {
            return Err(BadKeyframe::Damaged);
        }
        let mut unfolder = Unfolder::new(keyframe);
        self.parts_mut(&mut |part| {
            part.fill(0);
            // It was read through just now.
            let _ = unfolder
                .part(part.len(), &mut |at, byte| part.iter_mut().skip(at).take(1).for_each(|slot| *slot = byte));
        });
        Ok(())
    }
}
