//! The bytes of a day.

use serde::{Deserialize, Serialize};

use super::Coarse;
use crate::codec::crc::checksum;
use crate::input::Place;
use crate::units::{Ppm, Span};

/// What the summary of a day says, and what was done to the leg on it.
///
/// 24 bytes, low byte first: number of the day (2); what it is, and flags (1); looks while running (2); slip by load (3 × 2) and shift of the
/// ratio (2), each in tens of ppm, 8000 for not known; contact duty by place (4 × 1) in steps of 4 ppm, rejects of head and boot (2), losses
/// (1), each [`Coarse`]; starts (1), held at 254; longest run-down (1) in tenths of a second, 255 for not known; the low half of the CRC of
/// all that (2). Of work that was done only the note stands between flags and CRC (19), filled up with zeros.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Summary {
    /// The number of the day, from 1: so many times 24 hours powered.
    pub day: u16,
    /// What it is.
    pub kind: Kind,
    /// The settings in force changed since the day before.
    pub settings_changed: bool,
    /// Power was measured, so that slip is told by load; without it all slip stands under [`Load::Unloaded`], whatever the load was.
    pub by_load: bool,
    /// Looks, one each [`LOOK`](super::LOOK), in which the leg ran.
    pub running: u16,
    /// Median slip at each load, in the order of [`Load::ALL`]; `None` where the leg never ran so, or slip was not known.
    pub slip: [Option<Ppm>; Load::COUNT],
    /// How far the no-slip ratio seen lies from the one in force, with its sign; the median over the day.
    pub ratio_shift: Option<Ppm>,
    /// The mean share of the belt loop on which it rubbed while the leg ran, by place; `None` where no contact is fitted or sound.
    pub duty: [Option<Ppm>; Place::COUNT],
    /// Edges rejected, head and boot.
    pub rejects: [Coarse; 2],
    /// How often edges were lost on the way here, or slip was taken back because some had been lost.
    pub losses: Coarse,
    /// Starts, held at 254.
    pub starts: u8,
    /// The longest run-down from the drive's stop to the last edge: that with the least in the buckets. Up to 25.4 s.
    pub coast: Option<Span>,
    /// What was noted of work that was done, in UTF-8, filled up with zeros; of days all zeros.
    pub note: [u8; Self::NOTE],
}

/// How heavily the leg is loaded, by the power at the head shaft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Load {
    /// Below 30 % of the power that the settings assume: little or nothing in the buckets.
    Unloaded,
    /// From there to 70 %.
    Part,
    /// Above.
    Full,
}

impl Load {
    /// How many there are.
    pub const COUNT: usize = 3;
    /// All of them, in the order used everywhere.
    pub const ALL: [Self; Self::COUNT] = [Self::Unloaded, Self::Part, Self::Full];
}

/// What 24 bytes of the record of days are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A whole day.
    Day,
    /// A day of which power, or the recording, took a part.
    PartOfDay,
    /// Work was done on that day; besides its note nothing is told.
    Done(Work),
}

/// What was done to the leg, where trends begin anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Work {
    /// Lagging renewed or mended.
    Lagging,
    /// A new belt.
    Belt,
    /// A new or shortened splice.
    Splice,
    /// The take-up moved.
    TakeUp,
    /// A sensor, its targets or its wiring.
    Sensor,
    /// Anything else.
    Other,
}

impl Work {
    /// All of them, by their number.
    pub const ALL: [Self; 6] = [Self::Lagging, Self::Belt, Self::Splice, Self::TakeUp, Self::Sensor, Self::Other];
}

const UNKNOWN: i16 = i16::MIN;
const CHANGED: u8 = 1;
const BY_LOAD: u8 = 2;
/// Work is its number and this, shifted; 0 is a day, 1 a part of one.
const FIRST_WORK: u8 = 2;
const KIND_SHIFT: u32 = 4;
/// Duty is kept in so many ppm.
const DUTY_STEP: u32 = 4;
/// Where a note begins.
const NOTE_AT: usize = 3;
/// Run-down is kept in tenths of a second.
const COAST_STEP: u32 = 100_000;

impl Summary {
    /// Its length.
    pub const LENGTH: usize = 24;
    /// The longest note, in bytes.
    pub const NOTE: usize = 19;
    const BODY: usize = Self::LENGTH.saturating_sub(2);

    /// Nothing is known of this day.
    #[must_use]
    pub const fn empty(day: u16, kind: Kind) -> Self {
        Self {
            day,
            kind,
            settings_changed: false,
            by_load: false,
            running: 0,
            slip: [None; Load::COUNT],
            ratio_shift: None,
            duty: [None; Place::COUNT],
            rejects: [Coarse::of(0); 2],
            losses: Coarse::of(0),
            starts: 0,
            coast: None,
            note: [0; Self::NOTE],
        }
    }

    /// Work that was done on this day; `None` if the note is longer than [`NOTE`](Self::NOTE) bytes.
    #[must_use]
    pub fn mark(day: u16, work: Work, note: &[u8]) -> Option<Self> {
        Some(Self { note: Self::noted(note)?, ..Self::empty(day, Kind::Done(work)) })
    }

    /// A note as it is kept; `None` if it is too long.
    #[must_use]
    pub fn noted(note: &[u8]) -> Option<[u8; Self::NOTE]> {
        let mut kept = [0; Self::NOTE];
        kept.get_mut(..note.len())?.iter_mut().zip(note).for_each(|(slot, byte)| *slot = *byte);
        Some(kept)
    }

    /// Its bytes.
    #[must_use]
    #[inline(never)]
    pub fn to_bytes(&self) -> [u8; Self::LENGTH] {
        let kind = match self.kind {
            Kind::Day => 0,
            Kind::PartOfDay => 1,
            Kind::Done(work) => FIRST_WORK.wrapping_add(work as u8),
        };
        let flags = kind << KIND_SHIFT
            | if self.settings_changed { CHANGED } else { 0 }
            | if self.by_load { BY_LOAD } else { 0 };
        let mut bytes = [0; Self::LENGTH];
        let mut slots = bytes.iter_mut();
        let mut put = |more: &[u8]| more.iter().zip(slots.by_ref()).for_each(|(byte, slot)| *slot = *byte);
        put(&self.day.to_le_bytes());
        put(&[flags]);
        put(&self.running.to_le_bytes());
        self.slip.iter().chain([&self.ratio_shift]).for_each(|figure| put(&tens(*figure).to_le_bytes()));
        for duty in self.duty {
            let coarse = duty.map_or(Coarse::UNKNOWN, |duty| {
                // Not below zero.
                Coarse::of((duty.get().max(0) as u32).wrapping_add(DUTY_STEP >> 1) / DUTY_STEP)
            });
            put(&[coarse.byte()]);
        }
        let [head, boot] = self.rejects;
        let coast = self.coast.map_or(u8::MAX, |coast| (coast.get() / COAST_STEP).min(254) as u8);
        put(&[head.byte(), boot.byte(), self.losses.byte(), self.starts.min(254), coast]);
        if matches!(self.kind, Kind::Done(_)) {
            bytes.iter_mut().skip(NOTE_AT).zip(self.note).for_each(|(slot, byte)| *slot = byte);
        }
        if let Some((body, crc)) = bytes.split_last_chunk_mut::<2>() {
            *crc = check(body);
        }
        bytes
    }

    /// Of these bytes; `None` if they are damaged, or of a kind not known here.
    #[must_use]
    #[inline(never)]
    pub fn of_bytes(bytes: &[u8; Self::LENGTH]) -> Option<Self> {
        let (body, crc) = bytes.split_last_chunk::<2>()?;
        if *crc != check(body) {
            return None;
        }
        let [day, more, flags, running, running_more, figures @ .., d0, d1, d2, d3, head, boot, losses, starts, coast] =
            body.first_chunk::<{ Self::BODY }>()?;
        let kind = match flags >> KIND_SHIFT {
            0 => Kind::Day,
            1 => Kind::PartOfDay,
            number => {
                let work = *Work::ALL.get(usize::from(number.wrapping_sub(FIRST_WORK)))?;
                let note = bytes.get(NOTE_AT..)?.first_chunk()?;
                return Some(Self {
                    settings_changed: flags & CHANGED != 0,
                    by_load: flags & BY_LOAD != 0,
                    note: *note,
                    ..Self::empty(u16::from_le_bytes([*day, *more]), Kind::Done(work))
                });
            }
        };
        let [s0, s1, s2, s3, s4, s5, r0, r1] = figures;
        let figure = |low: &u8, high: &u8| of_tens(i16::from_le_bytes([*low, *high]));
        let duty = |byte: &u8| {
            let count = Coarse::of_byte(*byte).get()?;
            Some(Ppm::new(count.saturating_mul(DUTY_STEP).min(1_000_000) as i32))
        };
        Some(Self {
            day: u16::from_le_bytes([*day, *more]),
            kind,
            settings_changed: flags & CHANGED != 0,
            by_load: flags & BY_LOAD != 0,
            running: u16::from_le_bytes([*running, *running_more]),
            slip: [figure(s0, s1), figure(s2, s3), figure(s4, s5)],
            ratio_shift: figure(r0, r1),
            duty: [duty(d0), duty(d1), duty(d2), duty(d3)],
            rejects: [Coarse::of_byte(*head), Coarse::of_byte(*boot)],
            losses: Coarse::of_byte(*losses),
            starts: *starts,
            coast: (*coast != u8::MAX).then(|| Span::new(u32::from(*coast).wrapping_mul(COAST_STEP))),
            note: [0; Self::NOTE],
        })
    }
}

fn check(body: &[u8]) -> [u8; 2] {
    (checksum(body) as u16).to_le_bytes()
}

fn tens(figure: Option<Ppm>) -> i16 {
    figure.map_or(UNKNOWN, in_tens)
}

/// In tens of ppm, held at the ends.
pub(super) fn in_tens(figure: Ppm) -> i16 {
    let half = if figure.get() < 0 { -5 } else { 5 };
    (figure.get().saturating_add(half) / 10).clamp(-32_767, 32_767) as i16
}

fn of_tens(tens: i16) -> Option<Ppm> {
    (tens != UNKNOWN).then(|| Ppm::new(i32::from(tens).wrapping_mul(10)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn full() -> Summary {
        Summary {
            day: 0x0203,
            kind: Kind::Day,
            settings_changed: true,
            by_load: true,
            running: 43_200,
            slip: [Some(Ppm::new(-1_230)), None, Some(Ppm::new(12_340))],
            ratio_shift: Some(Ppm::new(-20)),
            duty: [Some(Ppm::ZERO), None, Some(Ppm::new(40)), Some(Ppm::new(1_000_000))],
            rejects: [Coarse::of(3), Coarse::of(1_024)],
            losses: Coarse::of(0),
            starts: 7,
            coast: Some(Span::new(5_200_000)),
            note: [0; Summary::NOTE],
        }
    }

    #[test]
    fn a_day_comes_back_from_its_bytes() {
        for kind in [Kind::Day, Kind::PartOfDay] {
            let day = Summary { kind, ..full() };
            let back = Summary::of_bytes(&day.to_bytes()).expect("whole");
            // A whole turn is 250,000 steps, within 3.2 %.
            assert!(back.duty[3].expect("known").get() >= 968_000);
            assert_eq!(Summary { duty: day.duty, ..back }, day);
            assert_eq!(back.duty[..3], day.duty[..3]);
            let nothing = Summary::empty(9, kind);
            assert_eq!(Summary::of_bytes(&nothing.to_bytes()), Some(nothing));
        }
    }

    #[test]
    fn work_comes_back_with_its_note_and_no_longer_one_is_taken() {
        for (work, note) in
            Work::ALL.into_iter().zip([&b""[..], b"ceramic", b"40 mm shorter", &[b'x'; 19]].into_iter().cycle())
        {
            let mark = Summary::mark(0x0203, work, note).expect("short enough");
            assert_eq!(Summary::of_bytes(&mark.to_bytes()), Some(mark));
            assert!(mark.note.starts_with(note) && mark.kind == Kind::Done(work));
        }
        assert_eq!(Summary::mark(1, Work::Other, &[b'x'; 20]), None);
        let bytes = Summary::mark(0x0203, Work::TakeUp, b"40 mm").expect("short").to_bytes();
        assert_eq!(bytes[..9], [0x03, 0x02, 0x50, b'4', b'0', b' ', b'm', b'm', 0]);
    }

    #[test]
    fn the_bytes_are_those_that_are_written_down() {
        let bytes = full().to_bytes();
        assert_eq!(bytes[..5], [0x03, 0x02, 0x03, 0xC0, 0xA8]);
        assert_eq!(bytes[5..13], [0x85, 0xFF, 0x00, 0x80, 0xD2, 0x04, 0xFE, 0xFF]);
        assert_eq!(bytes[13..15], [0, 255]);
        assert_eq!(bytes[20..22], [7, 52]);
    }

    #[test]
    fn no_bit_that_turned_over_is_read_as_a_day() {
        let bytes = full().to_bytes();
        for bit in 0..8 * Summary::LENGTH {
            let mut wrong = bytes;
            wrong[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Summary::of_bytes(&wrong), None, "bit {bit}");
        }
        assert_eq!(Summary::of_bytes(&[0xFF; Summary::LENGTH]), None, "erased flash is no day");
        assert_eq!(Summary::of_bytes(&[0; Summary::LENGTH]), None, "nor are zeros");
    }
}
