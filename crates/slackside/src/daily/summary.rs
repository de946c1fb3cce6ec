//! The bytes of a day.

use serde::{Deserialize, Serialize};

use super::{Coarse, packed};
use crate::codec::crc::checksum;
use crate::input::Place;
use crate::units::{DeciCelsius, Ppm, Span};

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
    /// What slip is told by load by. Where the load is not known all slip stands under [`Load::Unloaded`], whatever the load was.
    pub load_by: LoadBy,
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
    /// The hottest that each rub point was for a minute; `None` where no sensor is fitted, told nothing, or stood still. In whole degrees.
    pub hottest: [Option<DeciCelsius>; Place::COUNT],
    /// The coolest that any of these was for a minute: from -40 to 87 °C, and the hottest at most 126 above it.
    pub coolest: Option<DeciCelsius>,
    /// What was noted of work that was done, in UTF-8, filled up with zeros; of days all zeros.
    pub note: [u8; Self::NOTE],
}

/// How heavily the leg is loaded: by the power at the head shaft; or by how far its motor slows the head from its speed unloaded towards
/// normal speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Load {
    /// Below 30 % of the power that the settings assume, or a quarter of that way: little or nothing in the buckets.
    Unloaded,
    /// From there to 70 %, or three quarters.
    Part,
    /// Above.
    Full,
}

/// What the load was told by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LoadBy {
    /// By nothing.
    Unknown,
    /// By power.
    Power,
    /// By the head's speed.
    HeadSpeed,
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
const BY_POWER: u8 = 2;
/// With the bit for power, for programs that know only one way.
const BY_HEAD_SPEED: u8 = 2 | 4;
const LOAD_BY: u8 = 2 | 4;
/// Work is its number and this, shifted; 0 is a day, 1 a part of one, and from [`WARM`] on the same with temperatures.
const FIRST_WORK: u8 = 2;
const WARM: u8 = 8;
const WARM_PART: u8 = WARM | 1;
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
            load_by: LoadBy::Unknown,
            running: 0,
            slip: [None; Load::COUNT],
            ratio_shift: None,
            duty: [None; Place::COUNT],
            rejects: [Coarse::of(0); 2],
            losses: Coarse::of(0),
            starts: 0,
            coast: None,
            hottest: [None; Place::COUNT],
            coolest: None,
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
        let is_warm = self.hottest.iter().any(Option::is_some);
        let warm = if is_warm { WARM } else { 0 };
        let kind = match self.kind {
            Kind::Day => warm,
            Kind::PartOfDay => warm | 1,
            Kind::Done(work) => FIRST_WORK.wrapping_add(work as u8),
        };
        let load_by = match self.load_by {
            LoadBy::Unknown => 0,
            LoadBy::Power => BY_POWER,
            LoadBy::HeadSpeed => BY_HEAD_SPEED,
        };
        let flags = kind << KIND_SHIFT | if self.settings_changed { CHANGED } else { 0 } | load_by;
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
        let mut instead = |bytes_of: [u8; packed::LENGTH]| {
            bytes.iter_mut().skip(NOTE_AT).zip(bytes_of).for_each(|(slot, byte)| *slot = byte);
        };
        match self.kind {
            Kind::Done(_) => instead(self.note),
            Kind::Day | Kind::PartOfDay if is_warm => instead(packed::pack(self)),
            Kind::Day | Kind::PartOfDay => {}
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
        let load_by = match flags & LOAD_BY {
            BY_POWER => LoadBy::Power,
            BY_HEAD_SPEED => LoadBy::HeadSpeed,
            _ => LoadBy::Unknown,
        };
        let of_kind = |kind: Kind| Self {
            settings_changed: flags & CHANGED != 0,
            load_by,
            ..Self::empty(u16::from_le_bytes([*day, *more]), kind)
        };
        let rest = *bytes.get(NOTE_AT..)?.first_chunk()?;
        let kind = match flags >> KIND_SHIFT {
            0 => Kind::Day,
            1 => Kind::PartOfDay,
            WARM => return Some(packed::unpack(rest, of_kind(Kind::Day))),
            WARM_PART => return Some(packed::unpack(rest, of_kind(Kind::PartOfDay))),
            number => {
                let work = *Work::ALL.get(usize::from(number.wrapping_sub(FIRST_WORK)))?;
                return Some(Self { note: rest, ..of_kind(Kind::Done(work)) });
            }
        };
        let [s0, s1, s2, s3, s4, s5, r0, r1] = figures;
        let figure = |low: &u8, high: &u8| of_tens(i16::from_le_bytes([*low, *high]));
        let duty = |byte: &u8| {
            let count = Coarse::of_byte(*byte).get()?;
            Some(Ppm::new(count.saturating_mul(DUTY_STEP).min(1_000_000) as i32))
        };
        Some(Self {
            running: u16::from_le_bytes([*running, *running_more]),
            slip: [figure(s0, s1), figure(s2, s3), figure(s4, s5)],
            ratio_shift: figure(r0, r1),
            duty: [duty(d0), duty(d1), duty(d2), duty(d3)],
            rejects: [Coarse::of_byte(*head), Coarse::of_byte(*boot)],
            losses: Coarse::of_byte(*losses),
            starts: *starts,
            coast: (*coast != u8::MAX).then(|| Span::new(u32::from(*coast).wrapping_mul(COAST_STEP))),
            ..of_kind(kind)
        })
    }
}

fn check(body: &[u8]) -> [u8; 2] {
    (checksum(body) as u16).to_le_bytes()
}

pub(super) fn tens(figure: Option<Ppm>) -> i16 {
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
