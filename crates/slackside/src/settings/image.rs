//! Settings images of version 1, which boxes ran on before there was a plan: still read, and written for whoever must know an old box's
//! settings or an old recording's by its identity.
//!
//! | bytes | what |
//! |---|---|
//! | 0 to 3 | the letters `SLKS` |
//! | 4, 5 | version of the format, low byte first |
//! | 6, 7 | length of the body, low byte first |
//! | 8 … | the body, in postcard's wire format |
//! | last 4 | CRC-32/ISO-HDLC of everything before, low byte first |
//!
//! The body is what it was: settings that came later are not in it. One walk over it both reads and writes.

use core::fmt;

use heapless::String;

use super::{
    AcceptedRatio, Action, Belt, Conditioning, CountedEdges, Limit, Limits, Machine, Priority, Pulley, Settings,
    SlipHeat, Spacing, SpeedReference, Starts, Strand, Targets,
};
use crate::codec::crc::{Crc, checksum};
use crate::conditions::Condition;
use crate::units::{Joules, Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

const MAGIC: [u8; 4] = *b"SLKS";
const HEADER: usize = 8;
const TRAILER: usize = 4;
/// Conditions in the list of the body, by their numbers.
const LISTED: u8 = 34;
/// And those behind everything else, where they are not the starting values.
const LATER: core::ops::Range<u8> = LISTED..35;

/// The only version there is.
pub const IMAGE_VERSION: u16 = 1;

/// Room that is enough for any image.
pub const MOST_IMAGE_BYTES: usize = 1_280;

/// Why bytes are no settings image, or settings did not become one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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

type Walked<T> = Result<T, ImageError>;

/// A body under the walk: one that is read answers with what stands there, one that is written takes what it is given.
trait Body {
    /// One byte.
    fn byte(&mut self, value: u8) -> Walked<u8>;
    /// Whether nothing more is to come: never, where it is written.
    fn is_over(&self) -> bool;
}

struct Reading<'a>(&'a [u8]);

impl Body for Reading<'_> {
    fn byte(&mut self, _value: u8) -> Walked<u8> {
        let (first, rest) = self.0.split_first().ok_or(ImageError::Content)?;
        self.0 = rest;
        Ok(*first)
    }

    fn is_over(&self) -> bool {
        self.0.is_empty()
    }
}

struct Writing<'a> {
    room: &'a mut [u8],
    length: usize,
}

impl Body for Writing<'_> {
    fn byte(&mut self, value: u8) -> Walked<u8> {
        *self.room.get_mut(self.length).ok_or(ImageError::BufferTooSmall)? = value;
        self.length = self.length.saturating_add(1);
        Ok(value)
    }

    fn is_over(&self) -> bool {
        false
    }
}

struct Summing(Crc);

impl Body for Summing {
    fn byte(&mut self, value: u8) -> Walked<u8> {
        self.0.byte(value);
        Ok(value)
    }

    fn is_over(&self) -> bool {
        false
    }
}

/// Seven bits a byte, lowest first: at most so many bytes, the last of which has room for so many bits.
fn varint(body: &mut dyn Body, value: u64, (most, last): (u32, u32)) -> Walked<u64> {
    let (mut left, mut read) = (value, 0_u64);
    for number in 0..most {
        let (low, rest) = (left as u8 & 0x7F, left >> 7);
        let byte = body.byte(if rest == 0 { low } else { low | 0x80 })?;
        let fits = number.saturating_add(1) < most || u32::from(byte) >> last == 0;
        if !fits {
            return Err(ImageError::Content);
        }
        read |= u64::from(byte & 0x7F).wrapping_shl(number.saturating_mul(7));
        if byte & 0x80 == 0 {
            return Ok(read);
        }
        left = rest;
    }
    Err(ImageError::Content)
}

fn word(body: &mut dyn Body, value: u32) -> Walked<u32> {
    let read = varint(body, value.into(), (5, 4))?;
    u32::try_from(read).map_err(|_| ImageError::Content)
}

fn long(body: &mut dyn Body, value: i64) -> Walked<i64> {
    let read = varint(body, (value.wrapping_shl(1) ^ (value >> 63)) as u64, (10, 1))?;
    Ok((read >> 1) as i64 ^ ((read & 1) as i64).wrapping_neg())
}

fn int(body: &mut dyn Body, value: i32) -> Walked<i32> {
    let read = word(body, (value.wrapping_shl(1) ^ (value >> 31)) as u32)?;
    Ok((read >> 1) as i32 ^ ((read & 1) as i32).wrapping_neg())
}

fn flag(body: &mut dyn Body, value: bool) -> Walked<bool> {
    match body.byte(value.into())? {
        0 => Ok(false),
        1 => Ok(true),
        _ => Err(ImageError::Content),
    }
}

fn length(body: &mut dyn Body, value: Micrometres) -> Walked<Micrometres> {
    long(body, value.get()).map(Micrometres::new)
}

fn ppm(body: &mut dyn Body, value: Ppm) -> Walked<Ppm> {
    int(body, value.get()).map(Ppm::new)
}

fn span(body: &mut dyn Body, value: Span) -> Walked<Span> {
    word(body, value.get()).map(Span::new)
}

/// One of a list, by its place.
fn choice<T: Copy + PartialEq>(body: &mut dyn Body, value: T, list: &[T]) -> Walked<T> {
    let place = list.iter().position(|other| *other == value).unwrap_or(0);
    let read = word(body, u32::try_from(place).unwrap_or(0))?;
    list.get(read as usize).copied().ok_or(ImageError::Content)
}

/// What may not be there: `blank` stands where there is nothing to write.
fn option<T: Copy>(
    body: &mut dyn Body,
    value: Option<T>,
    blank: T,
    walk: fn(&mut dyn Body, T) -> Walked<T>,
) -> Walked<Option<T>> {
    if flag(body, value.is_some())? { walk(body, value.unwrap_or(blank)).map(Some) } else { Ok(None) }
}

fn name(body: &mut dyn Body, value: &str) -> Walked<String<32>> {
    let length = word(body, u32::try_from(value.len()).unwrap_or(0))?;
    let mut bytes = heapless::Vec::<u8, 32>::new();
    let mut given = value.bytes();
    for _ in 0..length {
        let byte = body.byte(given.next().unwrap_or(0))?;
        bytes.push(byte).map_err(|_| ImageError::Content)?;
    }
    String::from_utf8(bytes).map_err(|_| ImageError::Content)
}

fn pulley(body: &mut dyn Body, from: Pulley) -> Walked<Pulley> {
    Ok(Pulley {
        bare_diameter: length(body, from.bare_diameter)?,
        lagging: length(body, from.lagging)?,
        face: length(body, from.face)?,
        crown: length(body, from.crown)?,
    })
}

fn spacing(body: &mut dyn Body, from: Spacing) -> Walked<Spacing> {
    let (uneven, first, second) = match from {
        Spacing::Even { tolerance } => (false, tolerance, Ppm::ZERO),
        Spacing::Uneven { closest, widest } => (true, closest, widest),
    };
    let uneven = choice(body, uneven, &[false, true])?;
    let first = ppm(body, first)?;
    Ok(if uneven {
        Spacing::Uneven { closest: first, widest: ppm(body, second)? }
    } else {
        Spacing::Even { tolerance: first }
    })
}

fn targets(body: &mut dyn Body, from: Targets) -> Walked<Targets> {
    Ok(Targets {
        count: body.byte(from.count)?,
        edges: choice(body, from.edges, &[CountedEdges::Rising, CountedEdges::Falling, CountedEdges::Both])?,
        spacing: spacing(body, from.spacing)?,
        supervised: flag(body, from.supervised)?,
    })
}

fn reference(body: &mut dyn Body, from: SpeedReference) -> Walked<SpeedReference> {
    Ok(SpeedReference { minimum: ppm(body, from.minimum)?, ramp_per_second: ppm(body, from.ramp_per_second)? })
}

fn accepted(body: &mut dyn Body, from: AcceptedRatio) -> Walked<AcceptedRatio> {
    Ok(AcceptedRatio { ratio: Ratio::new(word(body, from.ratio.get())?), spread: ppm(body, from.spread)? })
}

fn strand(body: &mut dyn Body, from: Strand) -> Walked<Strand> {
    choice(body, from, &[Strand::Up, Strand::Down])
}

fn machine(body: &mut dyn Body, from: &Machine) -> Walked<Machine> {
    const TARGETS: Targets = Targets {
        count: 0,
        edges: CountedEdges::Rising,
        spacing: Spacing::Even { tolerance: Ppm::ZERO },
        supervised: false,
    };
    const REFERENCE: SpeedReference = SpeedReference { minimum: Ppm::ZERO, ramp_per_second: Ppm::ZERO };
    const ACCEPTED: AcceptedRatio = AcceptedRatio { ratio: Ratio::ZERO, spread: Ppm::ZERO };
    Ok(Machine {
        leg: name(body, &from.leg)?,
        head_pulley: pulley(body, from.head_pulley)?,
        boot_pulley: pulley(body, from.boot_pulley)?,
        belt: Belt {
            thickness: length(body, from.belt.thickness)?,
            width: length(body, from.belt.width)?,
            loop_length: length(body, from.belt.loop_length)?,
        },
        head_targets: option(body, from.head_targets, TARGETS, targets)?,
        boot_targets: option(body, from.boot_targets, TARGETS, targets)?,
        normal_head: MicroturnsPerSecond::new(word(body, from.normal_head.get())?),
        normal_boot: MicroturnsPerSecond::new(word(body, from.normal_boot.get())?),
        // Of later versions.
        unloaded_head: None,
        drive_contact: flag(body, from.drive_contact)?,
        power_meter: flag(body, from.power_meter)?,
        speed_reference: option(body, from.speed_reference, REFERENCE, reference)?,
        outlet_switch: flag(body, from.outlet_switch)?,
        contacts: {
            let mut contacts = from.contacts;
            for contact in &mut contacts {
                *contact = option(body, *contact, Strand::Up, strand)?;
            }
            contacts
        },
        temperatures: {
            let mut temperatures = from.temperatures;
            for fitted in &mut temperatures {
                *fitted = flag(body, *fitted)?;
            }
            temperatures
        },
        rated_power: Watts::new(word(body, from.rated_power.get())?),
        service_factor: ppm(body, from.service_factor)?,
        accepted_ratio: option(body, from.accepted_ratio, ACCEPTED, accepted)?,
        conditioning: Conditioning {
            minimum_width: span(body, from.conditioning.minimum_width)?,
            top_speed: ppm(body, from.conditioning.top_speed)?,
            rejects_a_turn: body.byte(from.conditioning.rejects_a_turn)?,
            contact_bridge: span(body, from.conditioning.contact_bridge)?,
        },
    })
}

fn limit(body: &mut dyn Body, from: &Limit) -> Walked<Limit> {
    Ok(Limit {
        enabled: flag(body, from.enabled)?,
        setpoint: int(body, from.setpoint)?,
        deadband: int(body, from.deadband)?,
        on_delay: span(body, from.on_delay)?,
        off_delay: span(body, from.off_delay)?,
        latching: flag(body, from.latching)?,
        priority: choice(body, from.priority, &[Priority::Low, Priority::Medium, Priority::High])?,
        action: choice(body, from.action, &[Action::Alarm, Action::DropFeed, Action::Stop])?,
    })
}

fn limits(body: &mut dyn Body, from: &Limits) -> Walked<Limits> {
    let mut limits = Limits::STARTING;
    for condition in (0..LISTED).filter_map(Condition::from_id) {
        let read = limit(body, from.of(condition))?;
        limits.change(condition, |limit| *limit = read);
    }
    limits.starts = Starts {
        standstill_below: ppm(body, from.starts.standstill_below)?,
        shortest_coast_down: span(body, from.starts.shortest_coast_down)?,
        window: span(body, from.starts.window)?,
        inching_time: span(body, from.starts.inching_time)?,
        bypass_time: span(body, from.starts.bypass_time)?,
    };
    limits.slip_heat = SlipHeat {
        budget: Joules::new(word(body, from.slip_heat.budget.get())?),
        time_constant: span(body, from.slip_heat.time_constant)?,
    };
    // Written only where they are not the starting values, and where an image ends here they are those.
    let later = || LATER.filter_map(Condition::from_id);
    let plain = later().all(|condition| from.of(condition) == Limits::STARTING.of(condition));
    if plain || body.is_over() {
        return Ok(limits);
    }
    let count = body.byte(later().count() as u8)?;
    if usize::from(count) > later().count() {
        return Err(ImageError::Content);
    }
    for condition in later().take(count.into()) {
        let read = limit(body, from.of(condition))?;
        limits.change(condition, |limit| *limit = read);
    }
    Ok(limits)
}

/// Walk over the body of an image, made from these settings or read in their stead.
fn settings(body: &mut dyn Body, from: &Settings) -> Walked<Settings> {
    Ok(Settings { machine: machine(body, &from.machine)?, limits: limits(body, &from.limits)? })
}

impl Settings {
    /// The settings as an image of version 1, written into the front of `buffer`. Limits of conditions that came after that version are
    /// not in it.
    ///
    /// # Errors
    /// [`ImageError::BufferTooSmall`] if it does not fit; [`MOST_IMAGE_BYTES`] always do.
    pub fn to_image<'b>(&self, buffer: &'b mut [u8]) -> Result<&'b [u8], ImageError> {
        const NO_ROOM: ImageError = ImageError::BufferTooSmall;
        let room = buffer.len().checked_sub(TRAILER).ok_or(NO_ROOM)?;
        let mut writing = Writing { room: buffer.get_mut(HEADER..room).ok_or(NO_ROOM)?, length: 0 };
        settings(&mut writing, self)?;
        let length = writing.length;
        let field = u16::try_from(length).map_err(|_| NO_ROOM)?;
        let header = MAGIC.into_iter().chain(IMAGE_VERSION.to_le_bytes()).chain(field.to_le_bytes());
        for (slot, byte) in buffer.iter_mut().zip(header) {
            *slot = byte;
        }
        let covered = HEADER.saturating_add(length);
        let crc = checksum(buffer.get(..covered).ok_or(NO_ROOM)?);
        for (slot, byte) in buffer.iter_mut().skip(covered).zip(crc.to_le_bytes()) {
            *slot = byte;
        }
        buffer.get(..covered.saturating_add(TRAILER)).ok_or(NO_ROOM)
    }

    /// Read an image: exactly its bytes, neither more nor less. See [`image_length`] for cutting it out of a larger memory. Whether its
    /// settings are allowed is for [`Settings::check`] to say.
    ///
    /// # Errors
    /// What is wrong with it, the outermost first: not an image, version, length, CRC, content.
    pub fn from_image(image: &[u8]) -> Result<Self, ImageError> {
        let expected = image_length(image)?;
        let wrong_length = ImageError::Length { expected, found: image.len() };
        if image.len() != expected {
            return Err(wrong_length);
        }
        let (covered, trailer) = image.split_last_chunk::<TRAILER>().ok_or(wrong_length)?;
        let (computed, written) = (checksum(covered), u32::from_le_bytes(*trailer));
        if computed != written {
            return Err(ImageError::Crc { computed, written });
        }
        let mut body = Reading(covered.get(HEADER..).ok_or(wrong_length)?);
        // Not the starting values behind the list, so that the walk looks for them.
        let mut from = Self::example();
        for condition in LATER.filter_map(Condition::from_id) {
            from.limits.change(condition, |limit| limit.enabled = false);
        }
        match (settings(&mut body, &from), body.is_over()) {
            (Ok(settings), true) => Ok(settings),
            _ => Err(ImageError::Content),
        }
    }

    /// By what the settings were told from others before there was a plan: the CRC of the image's body. Old recordings hold it.
    #[must_use]
    pub fn image_identity(&self) -> u32 {
        let mut body = Summing(Crc::NEW);
        // Summing cannot fail.
        let _ = settings(&mut body, self);
        body.0.get()
    }

    /// What tells these settings from others: the identity of the plan derived from them, which the box shows.
    #[must_use]
    pub fn identity(&self) -> u32 {
        super::derive::plan(self).identity()
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
        assert_eq!(told(&Settings::example()), GOLDEN);
        // With the starting values of the first version: no motion stopped without a delay, slip below zero dropped no feed, deep
        // underspeed was 15 %. What is kept says so still, in the same bytes.
        let mut first = Settings::example();
        first.machine.conditioning.rejects_a_turn = 16;
        first.limits.change(Condition::DeepUnderspeed, |limit| limit.setpoint = 150_000);
        first.limits.change(Condition::NoMotion, |limit| limit.on_delay = crate::units::Span::ZERO);
        first.limits.change(Condition::SlipNegative, |limit| limit.action = Action::Alarm);
        assert_eq!(told(&first), FIRST);
        assert_eq!(Settings::from_image(&image_of(&first)), Ok(first));
    }

    fn told(settings: &Settings) -> (usize, u32, u32) {
        let image = image_of(settings);
        let crc = u32::from_le_bytes(*image.last_chunk().unwrap());
        (image.len(), crc, settings.image_identity())
    }

    /// Length, CRC and identity of the example's image. They change with the example, the starting values or the format: in
    /// the last case raise [`IMAGE_VERSION`].
    const GOLDEN: (usize, u32, u32) = (522, 261_268_930, 4_250_619_191);
    /// The same in the first version.
    const FIRST: (usize, u32, u32) = (520, 2_071_168_105, 350_164_829);

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
        other.extend(checksum(&other).to_le_bytes());
        assert_eq!(Settings::from_image(&other), Err(ImageError::Content));
        assert!(changed(20, 0).to_string().contains("send it again"));
    }

    #[test]
    fn identity_is_the_crc_of_the_body() {
        let settings = Settings::example();
        let image = image_of(&settings);
        assert_eq!(settings.image_identity(), checksum(&image[HEADER..image.len() - TRAILER]));
        let mut other = settings.clone();
        other.limits.starts.window = crate::units::Span::new(1);
        assert_ne!(settings.image_identity(), other.image_identity());
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
            let mut settings = settings;
            // What came later is not in it.
            settings.machine.unloaded_head = None;
            for condition in Condition::ALL.into_iter().filter(|condition| condition.id() >= LATER.end) {
                settings.limits.change(condition, |limit| *limit = *Limits::STARTING.of(condition));
            }
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
