//! State as bytes, its zeros left out.
//!
//! Most of a state is at rest: never, none, off, nothing counted, and all of that is zero; and most numbers are small. A state is handed
//! over part by part, and of each part eight bytes at a time:
//!
//! | bytes | what |
//! |---|---|
//! | 1 | which of the eight are not zero: bit 0 stands for the first |
//! | as many as there are bits | these bytes |
//!
//! Eight zeros are `00` and how many more eights of zeros follow, 0 to 254; `00 FF` says that the rest of the part is zero. Each part
//! ends so, whatever its last bytes are: a part that has grown by places not in use (a monitor with room for more marks) reads what a
//! smaller one wrote, and both write the same bytes.

use super::crc::Crc;

/// Bytes told by one byte of bits.
const GROUP: usize = 8;
/// The most groups of zeros told at once.
const MOST_GROUPS: usize = 255;
/// The rest of the part is zero.
const TO_THE_END: u8 = u8::MAX;

/// Writes. Beyond the end of the room it only counts, and goes on with the sum.
pub struct Folder<'a> {
    room: &'a mut [u8],
    at: usize,
    crc: Crc,
}

/// What was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Folded {
    /// How many bytes, whether there was room for them or not.
    pub length: usize,
    /// Their CRC-32/ISO-HDLC.
    pub crc: u32,
}

impl<'a> Folder<'a> {
    /// Into the front of `room`.
    #[must_use]
    pub const fn new(room: &'a mut [u8]) -> Self {
        Self { room, at: 0, crc: Crc::NEW }
    }

    /// One part of the state.
    #[inline(never)]
    pub fn part(&mut self, bytes: &[u8]) {
        let mut zeros = 0_usize;
        for group in bytes.chunks(GROUP) {
            let mask = group.iter().rev().fold(0, |mask, byte| mask << 1 | u8::from(*byte != 0));
            if mask == 0 {
                zeros = zeros.wrapping_add(1);
                continue;
            }
            while zeros != 0 {
                let run = zeros.min(MOST_GROUPS);
                self.put(0);
                self.put(run.wrapping_sub(1) as u8);
                zeros = zeros.wrapping_sub(run);
            }
            self.put(mask);
            for byte in group {
                if *byte != 0 {
                    self.put(*byte);
                }
            }
        }
        // Zeros at the end are told by the end.
        self.put(0);
        self.put(TO_THE_END);
    }

    fn put(&mut self, byte: u8) {
        if let Some(slot) = self.room.get_mut(self.at) {
            *slot = byte;
        }
        self.at = self.at.wrapping_add(1);
        self.crc.byte(byte);
    }

    /// That was all.
    #[must_use]
    pub const fn finish(&self) -> Folded {
        Folded { length: self.at, crc: self.crc.get() }
    }
}

/// The bytes end too early, or a part is longer than its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unreadable;

/// Reads what a [`Folder`] wrote.
pub struct Unfolder<'a> {
    rest: &'a [u8],
}

impl<'a> Unfolder<'a> {
    /// These bytes, from the first part on.
    #[must_use]
    pub const fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    fn byte(&mut self) -> Result<u8, Unreadable> {
        let (first, rest) = self.rest.split_first().ok_or(Unreadable)?;
        self.rest = rest;
        Ok(*first)
    }

    /// The next part of at most `length` bytes: those that are not zero, each with its place.
    ///
    /// # Errors
    /// [`Unreadable`].
    pub fn part(&mut self, length: usize, put: &mut dyn FnMut(usize, u8)) -> Result<(), Unreadable> {
        let mut at = 0_usize;
        loop {
            let mask = self.byte()?;
            if mask == 0 {
                match self.byte()? {
                    TO_THE_END => break,
                    more => at = at.saturating_add(usize::from(more).saturating_add(1).saturating_mul(GROUP)),
                }
                continue;
            }
            for bit in 0..GROUP {
                if mask.wrapping_shr(bit as u32) & 1 != 0 {
                    let byte = self.byte()?;
                    if at.saturating_add(bit) >= length {
                        return Err(Unreadable);
                    }
                    put(at.saturating_add(bit), byte);
                }
            }
            at = at.saturating_add(GROUP);
        }
        // The last group need not be whole.
        if at < length.saturating_add(GROUP) { Ok(()) } else { Err(Unreadable) }
    }

    /// Whether everything was read.
    #[must_use]
    pub const fn is_done(&self) -> bool {
        self.rest.is_empty()
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec;
    use std::vec::Vec;

    use proptest::prelude::*;

    use super::*;
    use crate::codec::crc::checksum;

    fn fold(parts: &[Vec<u8>]) -> Vec<u8> {
        let mut room = [0xAA; 2_048];
        let mut folder = Folder::new(&mut room);
        parts.iter().for_each(|part| folder.part(part));
        let Folded { length, crc } = folder.finish();
        assert_eq!(checksum(&room[..length]), crc);
        let mut nowhere = Folder::new(&mut []);
        parts.iter().for_each(|part| nowhere.part(part));
        assert_eq!(nowhere.finish(), Folded { length, crc });
        room[..length].to_vec()
    }

    fn unfold(bytes: &[u8], lengths: &[usize]) -> Result<Vec<Vec<u8>>, Unreadable> {
        let mut unfolder = Unfolder::new(bytes);
        let parts = lengths.iter().map(|length| {
            let mut part = vec![0; *length];
            unfolder.part(*length, &mut |at, byte| part[at] = byte).map(|()| part)
        });
        let parts = parts.collect();
        if unfolder.is_done() { parts } else { Err(Unreadable) }
    }

    #[test]
    fn these_are_the_bytes() {
        for (part, bytes) in [
            (&[][..], &[0, 255][..]),
            (&[0; 3], &[0, 255]),
            (&[7], &[0x01, 7, 0, 255]),
            (&[0, 7, 0, 0, 9, 0, 0, 3], &[0x92, 7, 9, 3, 0, 255]),
            (&[1, 2, 3, 4, 5, 6, 7, 8, 0, 10], &[0xFF, 1, 2, 3, 4, 5, 6, 7, 8, 0x02, 10, 0, 255]),
            (&[0, 0, 0, 0, 0, 0, 0, 0, 5], &[0, 0, 0x01, 5, 0, 255]),
        ] {
            assert_eq!(fold(&[part.to_vec()]), bytes);
            assert_eq!(unfold(bytes, &[part.len()]), Ok(vec![part.to_vec()]));
        }
        for (groups, run) in
            [(1, &[0, 0][..]), (2, &[0, 1]), (255, &[0, 254]), (256, &[0, 254, 0, 0]), (257, &[0, 254, 0, 1])]
        {
            let part = [&vec![0; groups * 8][..], &[9]].concat();
            assert_eq!(fold(core::slice::from_ref(&part)), [run, &[0x01, 9, 0, 255]].concat());
            assert_eq!(unfold(&fold(core::slice::from_ref(&part)), &[part.len()]), Ok(vec![part]));
        }
    }

    #[test]
    fn a_part_with_more_room_reads_what_a_smaller_one_wrote() {
        let small = [vec![1, 0, 2], vec![0; 300], vec![3]];
        let large = [vec![1, 0, 2, 0, 0, 0], vec![0; 900], vec![3, 0]];
        let bytes = fold(&small);
        assert_eq!(bytes, [0x05, 1, 2, 0, 255, 0, 255, 0x01, 3, 0, 255]);
        assert_eq!(unfold(&bytes, &[6, 900, 2]), Ok(large.to_vec()));
        assert_eq!(unfold(&bytes, &[2, 900, 2]), Err(Unreadable));
        assert_eq!(unfold(&bytes, &[3, 300]), Err(Unreadable), "a part too few");
        assert_eq!(unfold(&bytes, &[3, 300, 1, 1]), Err(Unreadable), "a part too many");
    }

    fn part() -> impl Strategy<Value = Vec<u8>> {
        proptest::collection::vec(prop_oneof![Just(0_u8), Just(0), Just(0), any::<u8>()], 0..700)
    }

    proptest! {
        #[test]
        fn any_parts_come_back(parts in proptest::collection::vec(part(), 0..3), more in 0..300_usize) {
            let bytes = fold(&parts);
            let lengths: Vec<usize> = parts.iter().map(Vec::len).collect();
            prop_assert_eq!(unfold(&bytes, &lengths), Ok(parts.clone()));
            let grown: Vec<Vec<u8>> = parts.iter().map(|part| [&part[..], &vec![0; more]].concat()).collect();
            prop_assert_eq!(fold(&grown), &bytes[..], "room not in use changes nothing");
            for short in 0..bytes.len() {
                prop_assert_eq!(unfold(&bytes[..short], &lengths), Err(Unreadable));
            }
        }

        #[test]
        fn any_bytes_can_be_read(bytes in proptest::collection::vec(prop_oneof![Just(0_u8), any::<u8>()], 0..60)) {
            let _ = unfold(&bytes, &[20, 300, 0]);
        }
    }
}
