//! What judge remembers of the leg besides its alarms: plain bytes.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use super::heat::Heat;
use super::reference::Reference;
use super::rest::Rest;
use super::speed::Pitches;
use super::view::View;
use crate::arith::mul_div;
use crate::input::Place;
use crate::settings::plan::fitted;
use crate::time::{held, reached};
use crate::verdict::Phase;

/// What is so now, as bits of [`Leg::marks`].
pub mod mark {
    /// Something was observed since the plan was taken.
    pub const BEGUN: u32 = 1;
    /// The drive may run.
    pub const RUN: u32 = 1 << 1;
    /// The leg may be fed.
    pub const FEED: u32 = 1 << 2;
    /// The boot must be reported clear before the next start.
    pub const BOOT_CLEARED_NEEDED: u32 = 1 << 3;
    /// The drive contact has said something; and that the drive is on.
    pub const DRIVE_KNOWN: u32 = 1 << 4;
    /// See [`DRIVE_KNOWN`].
    pub const DRIVE_ON: u32 = 1 << 5;
    /// A start opened and the leg has not come to rest since.
    pub const OPENED: u32 = 1 << 6;
    /// The start time runs.
    pub const START_WINDOW: u32 = 1 << 7;
    /// The belt has been at speed since the start, and has not been too slow since.
    pub const AT_SPEED: u32 = 1 << 8;
    /// The start time was up before the belt was at speed.
    pub const START_FAILED: u32 = 1 << 9;
    /// The drive came on, or without a drive contact the head turned from standstill, while the run permit was dropped.
    pub const UNPERMITTED: u32 = 1 << 10;
    /// The leg was at speed when the drive went off: only then is its run-down learned.
    pub const COASTS_FROM_SPEED: u32 = 1 << 11;
    /// A run-down was learned.
    pub const COAST_LEARNED: u32 = 1 << 12;
    /// An edge has been seen since power-up.
    pub const TURNED: u32 = 1 << 13;
    /// The head's last pitch was at speed; if not, the last that was ended at [`brisk_at`](super::Leg::brisk_at).
    pub const HEAD_BRISK: u32 = 1 << 14;
    /// The feed was dropped while the leg ran on.
    pub const FEED_DROPPED: u32 = 1 << 15;
    /// It came back too often: it waits for a person.
    pub const FEED_HUNTS: u32 = 1 << 26;
    /// Slip is unknown, since [`unknown_since`](super::Leg::unknown_since).
    pub const SLIP_UNKNOWN: u32 = 1 << 16;
    /// The outlet is plugged.
    pub const OUTLET: u32 = 1 << 17;
    /// The key at the box is on.
    pub const KEY: u32 = 1 << 18;
    /// The reset button is down, since [`pressed`](super::Leg::pressed).
    pub const PRESSED: u32 = 1 << 19;
    /// A proof test runs; and that the run permit has dropped in it.
    pub const PROOF: u32 = 1 << 20;
    /// See [`PROOF`].
    pub const PROVEN: u32 = 1 << 21;
    /// The power meter has said something.
    pub const POWER: u32 = 1 << 22;
    /// The plan is not what it was when it was taken.
    pub const PLAN_DAMAGED: u32 = 1 << 23;
    /// Nothing is beyond a limit and the leg runs at speed: the short way may be taken.
    pub const QUIET: u32 = 1 << 24;
    /// The boot is or was overdue, and what slip heat has taken in since is not sure yet.
    pub const HEAT_OPEN: u32 = 1 << 25;
}

/// So many changes of the drive contact within ten seconds may be a person's: five starts.
pub const TOGGLES: u8 = 10;
/// So often the feed is given back within half an hour without anybody's doing.
pub const RETURNS: usize = 3;
/// No temperature was told.
const NO_TEMPERATURE: i16 = i16::MIN;

/// Everything that judge remembers but the alarms. What is small and often used comes first: a small processor reaches it more cheaply.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Leg {
    /// The phase, as [`Phase`] numbers them.
    pub phase: u8,
    /// Boot pitches at speed since the last that was surely slow, up to two.
    pub brisk: u8,
    /// The condition bypassed, as its rank and one; 0 if none.
    pub bypassed: u8,
    /// The first-out of the present trip group, likewise.
    pub first_out: u8,
    /// The first by rank of the stops raised in the present step, likewise.
    pub raised: u8,
    /// How many starts, changes and late inputs are counted.
    pub starts_count: u8,
    /// See [`starts_count`](Self::starts_count).
    pub changes_count: u8,
    /// See [`starts_count`](Self::starts_count).
    pub lates_count: u8,
    /// Bits of [`mark`].
    pub marks: u32,
    /// When the first thing was observed.
    pub base: u32,
    /// When the last start opened.
    pub opened: u32,
    /// When the drive went off.
    pub off_at: u32,
    /// Without a drive contact: when the head was last at speed, see [`mark::HEAD_BRISK`].
    pub brisk_at: u32,
    /// The shortest clean run-down seen, in microseconds.
    pub coast_down: u32,
    /// When inching ends, and a bypass, in the slow count.
    pub inch_end: u32,
    /// See [`inch_end`](Self::inch_end).
    pub bypass_end: u32,
    /// Since when the reset button is down.
    pub pressed: u32,
    /// Since when slip is unknown.
    pub unknown_since: u32,
    /// The newest reading of the power meter, in watts, and when it came.
    pub power: u32,
    /// See [`power`](Self::power).
    pub power_at: u32,
    /// Slip heat.
    pub heat: Heat,
    /// The speed reference.
    pub reference: Reference,
    /// Temperatures of the rub points, in tenths of a degree.
    pub temperatures: [i16; Place::COUNT],
    /// The shafts with the drive off.
    pub rest: Rest,
    /// When starts leave the rolling window, in the slow count; before anything was observed their ages.
    pub starts: [u32; 8],
    /// When changes of the drive contact leave theirs.
    pub changes: [u32; TOGGLES as usize + 1],
    /// When late inputs came, in the low half of the slow count.
    pub lates: [u16; 16],
    /// When returns of the feed leave theirs, in the slow count.
    pub returns: [u32; RETURNS],
    /// How many of them are counted.
    pub returns_count: u8,
    /// Always 0.
    pub spare: [u8; 3],
}

/// Before a plan was taken.
pub const ZERO: Leg = zerocopy::transmute!([0_u8; size_of::<Leg>()]);

/// The worst value so far and one more, each with its place: the first of those that are equal.
pub fn worse<Value: PartialOrd>(worst: Option<(Value, u8)>, one: (Value, u8)) -> Option<(Value, u8)> {
    worst.filter(|worst| worst.0 >= one.0).or(Some(one))
}

impl Leg {
    /// Begin afresh.
    pub fn clear(&mut self) {
        *self = Self::default();
        self.temperatures = [NO_TEMPERATURE; Place::COUNT];
    }

    /// Whether a mark is set.
    pub const fn has(&self, mark: u32) -> bool {
        self.marks & mark != 0
    }

    /// Set a mark, or take it away.
    pub const fn put(&mut self, mark: u32, is: bool) {
        self.marks = if is { self.marks | mark } else { self.marks & !mark };
    }

    /// What the leg is doing.
    pub const fn phase(&self) -> Phase {
        Phase::of_number(self.phase)
    }

    /// The drive is known to be off.
    pub const fn drive_off(&self, view: &View<'_>) -> bool {
        view.plan.has(fitted::DRIVE_CONTACT) && self.marks & (mark::DRIVE_KNOWN | mark::DRIVE_ON) == mark::DRIVE_KNOWN
    }

    /// When the last start opened, if the leg has not come to rest since.
    pub const fn opened(&self) -> Option<u32> {
        if self.has(mark::OPENED) { Some(self.opened) } else { None }
    }

    /// The head's last pitches.
    pub fn head<'a>(&self, view: &View<'a>) -> Pitches<'a> {
        Pitches::new(view, &view.signals.head, &view.plan.head, self.opened())
    }

    /// The boot's last pitches.
    pub fn boot<'a>(&self, view: &View<'a>) -> Pitches<'a> {
        Pitches::new(view, &view.signals.boot, &view.plan.boot, self.opened())
    }

    /// A turn that takes so long at nameplate speed takes longer at a lower reference.
    pub fn scaled(&self, turn: u32) -> u32 {
        if self.reference.scale == 1_000_000 { turn } else { mul_div(turn, 1_000_000, self.reference.scale) }
    }

    /// A speed, scaled by the reference.
    pub fn scaled_speed(&self, normal: u32) -> u32 {
        mul_div(normal, self.reference.scale, 1_000_000)
    }

    /// The hottest rub point, and where.
    pub fn hottest(&self) -> Option<(i32, u8)> {
        let mut hottest = None;
        for (place, value) in (0_u8..).zip(self.temperatures) {
            if value != NO_TEMPERATURE {
                hottest = worse(hottest, (value.into(), place));
            }
        }
        hottest
    }

    /// Hold what is old.
    pub fn sweep(&mut self, view: &View<'_>) {
        let now = view.now.us();
        let Self { base, opened, off_at, brisk_at, pressed, unknown_since, power_at, .. } = self;
        for stamp in [base, opened, off_at, brisk_at, pressed, unknown_since, power_at] {
            *stamp = held(now, *stamp);
        }
        self.reference.sweep(now);
        let slow = view.now.slow();
        super::recent::settle(&mut self.returns, &mut self.returns_count, |end| reached(slow, end));
        // What has been open for so long stays as it is.
        self.put(mark::HEAT_OPEN, false);
        self.heat.sweep(&view.plan.drive, now);
    }
}
