//! The plan: what the box runs on. Plain bytes, every number derived at the desk, read where they lie.
//!
//! The desk makes it from settings; the box checks it by rows ([`super::plan_check`]) and never computes a setting. Its identity is
//! its CRC: two boxes with the same identity run on the same numbers. Which numbers follow from which others is in
//! `derived.rs`.

use core::mem::offset_of;

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::codec::crc::{checksum, checksum_of_constant};
use crate::conditions::Condition;
use crate::input::{Place, Shaft};

/// The first four bytes of a plan.
pub const MAGIC: [u8; 4] = *b"SLpl";
/// The version of the layout.
pub const VERSION: u16 = 2;
/// Bins in one belt loop, for rub contacts. A power of two.
pub const BINS: u32 = 32;
/// Heat is in 2^-30 of its budget.
pub const HEAT_SHIFT: u32 = 30;

/// What a condition is and does, as bits.
pub mod act {
    /// It is judged: enabled, and with what it needs fitted.
    pub const JUDGED: u8 = 1;
    /// Its alarm stays until reset.
    pub const LATCHING: u8 = 2;
    /// It stops the leg.
    pub const STOP: u8 = 4;
    /// It drops feed.
    pub const DROP_FEED: u8 = 8;
    /// It is of high priority.
    pub const HIGH: u8 = 16;
    /// It is of medium priority; without both it is low.
    pub const MEDIUM: u8 = 32;
}

/// Bytes that bring the acts to a whole number of words.
pub const ACT_SPARE: usize = Condition::COUNT.next_multiple_of(4) - Condition::COUNT;

/// One shaft.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct ShaftPlan {
    /// Counted edges a turn, 1 to 64; 0 if not fitted.
    pub marks: u8,
    /// Which edges count: 0 rising, 1 falling, 2 both.
    pub edges: u8,
    /// Whether the marks lie unevenly, 0 or 1.
    pub uneven: u8,
    /// Rejected edges in one turn beyond which the signal is not trusted.
    pub rejects_a_turn: u8,
    /// An even pitch: 2^32 less one over the marks a turn, rounded down; a shaft not fitted counts as one mark.
    pub even: u32,
    /// The smallest and the largest a pitch can be before the spacing is learned, in 2^-32 turn.
    pub least: u32,
    /// See [`least`](Self::least).
    pub largest: u32,
    /// A learned pitch outside these is not what the settings say.
    pub allowed_least: u32,
    /// See [`allowed_least`](Self::allowed_least).
    pub allowed_most: u32,
    /// Counted edges closer together than this cannot be two targets, in microseconds.
    pub minimum_gap: u32,
    /// Silence after which the shaft counts as having rested, in microseconds.
    pub rest: u32,
    /// The time in which rejects are counted if no turn ends sooner, in microseconds.
    pub reject_window: u32,
    /// A turn at normal speed, in microseconds.
    pub normal_turn: u32,
    /// A turn at top speed, in microseconds.
    pub top_turn: u32,
    /// Normal speed in microturns a second: for people.
    pub normal: u32,
    /// A turn at 80 % of normal speed, in microseconds.
    pub brisk: u32,
    /// A turn at 1/1.6 of normal: from 80 % or more no shaft falls below that within one pitch.
    pub sudden: u32,
    /// A turn at the speed below which the shaft stands.
    pub standing: u32,
}

impl ShaftPlan {
    /// Whether a sensor is fitted.
    #[must_use]
    pub const fn is_fitted(&self) -> bool {
        self.marks != 0
    }
}

/// Slip.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct SlipPlan {
    /// The no-slip ratio in force: boot turns for each head turn, in ppm.
    pub ratio: u32,
    /// Head turns for one boot turn without slip, in 2^-24 turn.
    pub head_per_boot: u32,
    /// Boot turns for one head turn without slip, in 2^-24 turn.
    pub boot_per_head: u32,
    /// Part of the boot turn between two closing marks, in 2^-24 turn.
    pub closing_share: u32,
    /// More head angle than this between two boot marks, in 2^-24 turn: the belt stood.
    pub apart: u32,
    /// Boot rim of one turn, in micrometres.
    pub boot_circumference: u32,
    /// The head turns on by so much, in 2^-24 turn, in a pitch and a quarter of the boot at its widest, or three and a quarter where three
    /// marks or more can lose edges twice running: a boot silent for longer has slowed down.
    pub doubt: u32,
    /// How long a belt takes from standstill to normal speed at 10 m/s², in microseconds: none is quicker. In pitches shorter than this it
    /// cannot stand and be at speed again.
    pub regain: u32,
    /// Every so many boot marks close a window.
    pub stride: u8,
    /// Closing marks a boot turn.
    pub closings: u8,
    /// Long-window readings that make a block of the long-run ratio.
    pub block: u16,
}

/// Rub contacts and temperatures.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct ContactPlan {
    /// Clear pulses shorter than this do not end a rub, in microseconds.
    pub bridge: u32,
    /// The length of one bin of the belt loop, in micrometres; never 0.
    pub bin_length: u32,
    /// The contacts fitted: bit 0 stands for the first of [`Place::ALL`].
    pub fitted: u8,
    /// The temperature sensors fitted, likewise.
    pub temperatures: u8,
    /// Always 0.
    pub spare: [u8; 2],
}

/// What is fitted besides, as bits of [`Plan::fitted`].
pub mod fitted {
    /// The starter's auxiliary contact.
    pub const DRIVE_CONTACT: u8 = 1;
    /// A meter of the power at the head shaft.
    pub const POWER_METER: u8 = 2;
    /// A speed reference.
    pub const REFERENCE: u8 = 4;
    /// The outlet switch.
    pub const OUTLET: u8 = 8;
    /// The head sensor's line is supervised.
    pub const HEAD_SUPERVISED: u8 = 16;
    /// The boot sensor's line is supervised.
    pub const BOOT_SUPERVISED: u8 = 32;
    /// All of them.
    pub const ALL: u8 = 63;
}

/// Speeds, starts, power and heat.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct LegPlan {
    /// A turn of the head at the limit of deep underspeed, in microseconds.
    pub head_deep: u32,
    /// Three times a head pitch at half speed: a turn at a sixth of normal.
    pub head_silent: u32,
    /// A turn of the boot at a third of normal.
    pub boot_turns: u32,
    /// How long a start may take, in microseconds.
    pub start_time: u32,
    /// The rolling window in which starts are counted, in the slow count.
    pub start_window: u32,
    /// The longest inching may last, in the slow count.
    pub inching_time: u32,
    /// The longest a bypass may last, in microseconds.
    pub bypass_time: u32,
    /// The shortest time the leg takes to run down, in microseconds; 0 if not known.
    pub coast_down: u32,
    /// The lowest speed reference, in ppm of normal; one whole where none is fitted.
    pub reference_minimum: u32,
    /// How fast the drive can change speed, with its margin, in ppm of normal a second; never 0 where a reference is fitted.
    pub reference_rate: u32,
    /// Power where it is not measured, in watts.
    pub assumed_power: u32,
    /// Heat that one watt makes in one cell (2^17 µs) at 100 % slip, in 2^-30 of the budget, in 2^-16; rounded up.
    pub heat_a_watt: u32,
    /// What is left of heat after one cell, in 2^-32; rounded up.
    pub heat_left: u32,
    /// What is left after half a cell, in 2^-32; rounded up.
    pub heat_left_half: u32,
    /// The budget in joules: for people and for what survives a loss of power.
    pub heat_budget: u32,
}

/// One condition's limit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct RowPlan {
    /// The setpoint in the condition's unit: for people.
    pub setpoint: i32,
    /// At this value it is beyond: in the unit that the condition's sense compares in.
    pub limit: i32,
    /// Below this it is within: in the same unit.
    pub clear: i32,
    /// On-delay in microseconds.
    pub on_delay: u32,
    /// Off-delay in microseconds.
    pub off_delay: u32,
}

/// Everything. What is often used comes first: a small processor reaches it more cheaply.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Plan {
    /// [`MAGIC`].
    pub magic: [u8; 4],
    /// [`VERSION`].
    pub version: u16,
    /// The length of the whole in bytes.
    pub length: u16,
    /// What is [`fitted`] besides, as bits.
    pub fitted: u8,
    /// Always 0.
    pub spare: u8,
    /// How much faster the head turns unloaded than at normal speed, in tens of ppm; 0 if not known. It sorts the days kept for wear, and
    /// nothing judged: any value does no harm. Plans made before it was there say 0.
    pub unloaded: u16,
    /// A level counts only if held this long, in microseconds.
    pub minimum_width: u32,
    /// Speeds, starts, power and heat.
    pub drive: LegPlan,
    /// Contacts.
    pub contacts: ContactPlan,
    /// Slip.
    pub slip: SlipPlan,
    /// The head shaft.
    pub head: ShaftPlan,
    /// The boot shaft.
    pub boot: ShaftPlan,
    /// What each condition is and does, in order of rank: bits of [`act`].
    pub acts: [u8; Condition::COUNT],
    /// Always 0.
    pub spare_act: [u8; ACT_SPARE],
    /// The limits, in order of rank.
    pub rows: [RowPlan; Condition::COUNT],
    /// The leg's name in UTF-8, filled with zeros.
    pub leg: [u8; 32],
    /// The leg's number at its plant, 0 if it has none.
    pub number: u32,
    /// CRC-32/ISO-HDLC of everything before.
    pub crc: u32,
}

/// Why bytes are no plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NotAPlan;

/// A plan in memory of its own, for a box whose flash cannot be read where it lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OwnedPlan(pub Plan);

impl core::ops::Deref for OwnedPlan {
    type Target = Plan;

    fn deref(&self) -> &Plan {
        &self.0
    }
}

impl Plan {
    /// The length of a plan in bytes.
    pub const LENGTH: usize = size_of::<Self>();

    /// The plan that these bytes are, where they lie. Whether it is sound is for [`Sound`](super::plan_check::Sound) to say.
    ///
    /// # Errors
    /// If there are more bytes or fewer, or they do not lie on a word boundary.
    pub fn from_bytes(bytes: &[u8]) -> Result<&Self, NotAPlan> {
        Self::ref_from_bytes(bytes).map_err(|_| NotAPlan)
    }

    /// A copy of the plan that these bytes are, wherever they lie.
    ///
    /// # Errors
    /// If there are more bytes or fewer.
    pub fn copy_of(bytes: &[u8]) -> Result<Self, NotAPlan> {
        Self::read_from_bytes(bytes).map_err(|_| NotAPlan)
    }

    /// The plan that these bytes are, for firmware that carries its own: what has another length does not compile. Whether it is whole, and
    /// fits, is then for the compiler too; whether it is sound is still for [`Sound`](super::plan_check::Sound), in the box.
    ///
    /// ```
    /// # #[cfg(feature = "desk")] {
    /// use slackside::Monitor;
    /// use slackside::settings::plan::Plan;
    ///
    /// // In firmware: `Plan::of(*include_bytes!("leg.plan"))`.
    /// const PLAN: Plan = Plan::of([0; Plan::LENGTH]);
    /// const _: () = assert!(!PLAN.is_whole(), "nothing but zeros is no plan");
    /// const _: () = assert!(Monitor::<&Plan, 8>::has_room(&PLAN), "it has more than 8 marks a turn");
    /// # }
    /// ```
    #[must_use]
    pub const fn of(bytes: [u8; Self::LENGTH]) -> Self {
        zerocopy::transmute!(bytes)
    }

    /// Whether it is a plan of this version with its bytes as they were derived: what a constant can be held to.
    #[must_use]
    pub const fn is_whole(&self) -> bool {
        let bytes: [u8; Self::LENGTH] = zerocopy::transmute!(*self);
        let Some((covered, _)) = bytes.split_at_checked(offset_of!(Self, crc)) else { return false };
        self.is_known() && self.crc == checksum_of_constant(covered)
    }

    /// Whether it is laid out as this version lays plans out.
    pub(super) const fn is_known(&self) -> bool {
        let magic = u32::from_ne_bytes(self.magic) == u32::from_ne_bytes(MAGIC);
        magic && self.version == VERSION && self.length as usize == Self::LENGTH
    }

    /// Its bytes, as they are stored and sent.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.as_bytes()
    }

    /// Nothing: memory for a plan to come. No box runs on it.
    #[must_use]
    pub const fn blank() -> Self {
        zerocopy::transmute!([0_u8; size_of::<Self>()])
    }

    /// What tells this plan from others: its CRC. Not proof against intent.
    #[must_use]
    pub const fn identity(&self) -> u32 {
        self.crc
    }

    /// The CRC that its other bytes should have.
    #[must_use]
    pub fn computed_crc(&self) -> u32 {
        checksum(self.covered())
    }

    /// The bytes that its CRC covers.
    #[must_use]
    pub fn covered(&self) -> &[u8] {
        self.as_bytes().get(..offset_of!(Self, crc)).unwrap_or_default()
    }

    /// The leg's name; nothing where it is not UTF-8.
    #[must_use]
    pub fn leg_name(&self) -> &str {
        let end = self.leg.iter().position(|byte| *byte == 0).unwrap_or(self.leg.len());
        self.leg.get(..end).and_then(|name| core::str::from_utf8(name).ok()).unwrap_or_default()
    }

    /// One of the shafts.
    #[must_use]
    pub const fn shaft(&self, shaft: Shaft) -> &ShaftPlan {
        match shaft {
            Shaft::Head => &self.head,
            Shaft::Boot => &self.boot,
        }
    }

    /// The limit of the condition of that rank; of the first where there is none such.
    #[must_use]
    pub fn row(&self, rank: usize) -> &RowPlan {
        let [first, ..] = &self.rows;
        self.rows.get(rank).unwrap_or(first)
    }

    /// What the condition of that rank is and does: bits of [`act`]; nothing where there is none such.
    #[must_use]
    pub fn acts(&self, rank: usize) -> u8 {
        self.acts.get(rank).copied().unwrap_or(0)
    }

    /// Whether one of [`fitted`] is.
    #[must_use]
    pub const fn has(&self, what: u8) -> bool {
        self.fitted & what != 0
    }

    /// Whether a contact is fitted there.
    #[must_use]
    pub const fn has_contact(&self, place: Place) -> bool {
        self.contacts.fitted.wrapping_shr(place as u32) & 1 != 0
    }
}
