//! Reading the body of a settings image: postcard's wire format, field by field into settings that stand in their place. What
//! serde derives for the same takes twice the flash.

use core::str;

use heapless::String;

use super::limit_list::{LATER, LISTED, STARTING_LATER};
use super::{
    AcceptedRatio, Action, Belt, Conditioning, CountedEdges, Limit, Limits, Machine, Priority, Pulley, Settings,
    SlipHeat, Spacing, SpeedReference, Starts, Strand, Targets,
};
use crate::judge::Condition;
use crate::record::keep::{MOST_VARINT, Plain, Unreadable, unzigzag};
use crate::units::{Joules, Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

/// The most bytes of a 32-bit varint.
const BYTES_OF_32: u32 = 5;

/// Something a body is made of.
pub(super) trait Read {
    /// What stands there before it is read. Made by code: as one constant it would take as much flash as settings take RAM.
    fn blank() -> Self;

    /// Read it from the front of `from`.
    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable>;
}

impl Read for u8 {
    fn blank() -> Self {
        0
    }

    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        *self = from.byte()?;
        Ok(())
    }
}

impl Read for bool {
    fn blank() -> Self {
        false
    }

    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        *self = flag(from)?;
        Ok(())
    }
}

impl Read for u32 {
    fn blank() -> Self {
        0
    }

    #[inline(never)]
    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        *self = Self::try_from(from.varint_of(BYTES_OF_32)?).map_err(|_| Unreadable)?;
        Ok(())
    }
}

impl Read for i32 {
    fn blank() -> Self {
        0
    }

    #[inline(never)]
    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        *self = Self::try_from(unzigzag(from.varint_of(BYTES_OF_32)?)).map_err(|_| Unreadable)?;
        Ok(())
    }
}

impl Read for i64 {
    fn blank() -> Self {
        0
    }

    #[inline(never)]
    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        *self = unzigzag(from.varint_of(MOST_VARINT)?);
        Ok(())
    }
}

macro_rules! read_units {
    ($($type:ident: $repr:ty),*) => {$(
        impl Read for $type {
            fn blank() -> Self {
                Self::new(0)
            }

            fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
                let mut value: $repr = 0;
                value.read(from)?;
                *self = Self::new(value);
                Ok(())
            }
        }
    )*};
}
read_units!(Span: u32, Ppm: i32, Ratio: u32, Micrometres: i64, MicroturnsPerSecond: u32, Watts: u32, Joules: u32);

/// One of a list, by its position.
fn choice<T: Copy>(from: &mut Plain<'_>, list: &[T]) -> Result<T, Unreadable> {
    let mut position = 0_u32;
    position.read(from)?;
    list.get(position as usize).copied().ok_or(Unreadable)
}

macro_rules! read_choices {
    ($($type:ident { $first:ident $(, $other:ident)* })*) => {$(
        impl Read for $type {
            fn blank() -> Self {
                Self::$first
            }

            fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
                // A value that is missing in the list does not compile.
                match self { Self::$first $(| Self::$other)* => {} }
                *self = choice(from, &[Self::$first $(, Self::$other)*])?;
                Ok(())
            }
        }
    )*};
}
read_choices! {
    Action { Alarm, DropFeed, Stop }
    Priority { Low, Medium, High }
    CountedEdges { Rising, Falling, Both }
    Strand { Up, Down }
}

impl<T: Read> Read for Option<T> {
    fn blank() -> Self {
        None
    }

    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        *self = if flag(from)? {
            let mut value = T::blank();
            value.read(from)?;
            Some(value)
        } else {
            None
        };
        Ok(())
    }
}

/// One byte, zero or one.
#[inline(never)]
fn flag(from: &mut Plain<'_>) -> Result<bool, Unreadable> {
    match from.byte()? {
        0 => Ok(false),
        1 => Ok(true),
        _ => Err(Unreadable),
    }
}

impl<T: Read + Copy, const N: usize> Read for [T; N] {
    fn blank() -> Self {
        [T::blank(); N]
    }

    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        self.iter_mut().try_for_each(|item| item.read(from))
    }
}

impl<const N: usize> Read for String<N> {
    fn blank() -> Self {
        Self::new()
    }

    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        let mut length = 0_u32;
        length.read(from)?;
        let (text, rest) = from.0.split_at_checked(length as usize).ok_or(Unreadable)?;
        from.0 = rest;
        self.clear();
        self.push_str(str::from_utf8(text).map_err(|_| Unreadable)?).map_err(|_| Unreadable)
    }
}

impl Read for Spacing {
    fn blank() -> Self {
        Self::Even { tolerance: Ppm::ZERO }
    }

    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        let is_uneven = choice(from, &[false, true])?;
        let mut first = Ppm::ZERO;
        first.read(from)?;
        *self = if is_uneven {
            let mut widest = Ppm::ZERO;
            widest.read(from)?;
            Self::Uneven { closest: first, widest }
        } else {
            Self::Even { tolerance: first }
        };
        Ok(())
    }
}

macro_rules! read_fields {
    ($($type:ident { $($field:ident),* $(,)? })*) => {$(
        impl Read for $type {
            // A field that is missing in the list does not compile.
            fn blank() -> Self {
                Self { $($field: Read::blank()),* }
            }

            fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
                $(self.$field.read(from)?;)*
                Ok(())
            }
        }
    )*};
}
read_fields! {
    Pulley { bare_diameter, lagging, face, crown }
    Belt { thickness, width, loop_length }
    Targets { count, edges, spacing, supervised }
    SpeedReference { minimum, ramp_per_second }
    AcceptedRatio { ratio, spread }
    Conditioning { minimum_width, top_speed, rejects_a_turn, contact_bridge }
    Machine {
        leg, head_pulley, boot_pulley, belt, head_targets, boot_targets, normal_head, normal_boot, drive_contact, power_meter,
        speed_reference, outlet_switch, contacts, temperatures, rated_power, service_factor, accepted_ratio, conditioning,
    }
    Limit { enabled, setpoint, deadband, on_delay, off_delay, latching, priority, action }
    Starts { standstill_below, shortest_coast_down, window, inching_time, bypass_time }
    SlipHeat { budget, time_constant }
    Settings { machine, limits }
}

impl Read for Limits {
    fn blank() -> Self {
        Self { list: [Read::blank(); Condition::COUNT], starts: Read::blank(), slip_heat: Read::blank() }
    }

    fn read(&mut self, from: &mut Plain<'_>) -> Result<(), Unreadable> {
        self.list.iter_mut().take(LISTED).try_for_each(|limit| limit.read(from))?;
        self.starts.read(from)?;
        self.slip_heat.read(from)?;
        for (limit, starting) in self.list.iter_mut().skip(LISTED).zip(STARTING_LATER) {
            *limit = starting;
        }
        // Where the image ends here, they are the starting values.
        let Ok(count) = from.byte() else { return Ok(()) };
        let count = usize::from(count);
        if count > LATER {
            return Err(Unreadable);
        }
        self.list.iter_mut().skip(LISTED).take(count).try_for_each(|limit| limit.read(from))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::arithmetic_side_effects, reason = "a test")]
mod tests {
    extern crate std;
    use std::vec::Vec;

    use proptest::prelude::*;

    use super::*;
    use crate::settings::arbitrary;

    /// What this reads, and what serde and postcard read, with how much is left over.
    fn both(body: &[u8]) -> [Option<(Settings, usize)>; 2] {
        let mut settings = Settings::blank();
        let mut plain = Plain(body);
        let ours = settings.read(&mut plain).ok().map(|()| (settings, plain.rest().len()));
        let theirs = postcard::take_from_bytes::<Settings>(body).ok().map(|(settings, rest)| (settings, rest.len()));
        [ours, theirs]
    }

    fn body_of(settings: &Settings) -> Vec<u8> {
        postcard::to_slice(settings, &mut [0; crate::settings::MOST_IMAGE_BYTES]).unwrap().to_vec()
    }

    #[test]
    fn every_changed_byte_reads_as_serde_and_postcard_have_it() {
        let body = body_of(&Settings::example());
        let mut read = 0;
        for position in 0..body.len() {
            for byte in 0..=u8::MAX {
                let mut changed = body.clone();
                changed[position] = byte;
                let [ours, theirs] = both(&changed);
                assert_eq!(ours, theirs, "byte {position} as {byte}");
                read += usize::from(ours.is_some());
            }
            assert_eq!(both(&body[..position]), [None, None]);
        }
        assert!(read > body.len() * 20, "{read}: too few of them can be read to show anything");
    }

    proptest! {
        #[test]
        fn what_serde_and_postcard_wrote_reads_the_same(
            settings in arbitrary::settings(),
            changes in proptest::collection::vec((any::<proptest::sample::Index>(), any::<u8>()), 0..4),
        ) {
            let mut body = body_of(&settings);
            for (position, byte) in changes {
                let position = position.index(body.len());
                body[position] = byte;
            }
            let [ours, theirs] = both(&body);
            prop_assert_eq!(ours, theirs);
        }
    }
}
