//! State as bytes, with runs of zeros folded.
//!
//! Most of a state is at rest: never, none, off, nothing counted, and all of that is zero. A state is handed over part by part. After
//! two zeros a byte says how many more follow, 0 to 254; 255 says that the rest of the part is zero. Each part ends so, whatever its
//! last bytes are: a part that has grown by places not in use (a monitor with room for more marks) reads what a smaller one
//! wrote, and both write the same bytes.

use super::crc::Crc;

/// Zeros written out before the number of those that follow.
const RUN: usize = 2;
/// The most zeros of one run.
const LONGEST: usize = RUN + 254;
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
        for byte in bytes {
            if *byte == 0 {
                zeros = zeros.wrapping_add(1);
                continue;
            }
            while zeros != 0 {
                let run = zeros.min(LONGEST);
                self.run(run, run.wrapping_sub(RUN) as u8);
                zeros = zeros.wrapping_sub(run);
            }
            self.put(*byte);
        }
        // Zeros at the end are told by the end.
        self.run(RUN, TO_THE_END);
    }

    /// Zeros, and if they are a run how many more it has.
    fn run(&mut self, zeros: usize, more: u8) {
        for _ in 0..zeros.min(RUN) {
            self.put(0);
        }
        if zeros >= RUN {
            self.put(more);
        }
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
        let mut zeros = 0_usize;
        loop {
            let byte = self.byte()?;
            if byte != 0 {
                zeros = 0;
                if at >= length {
                    return Err(Unreadable);
                }
                put(at, byte);
                at = at.saturating_add(1);
                continue;
            }
            at = at.saturating_add(1);
            zeros = zeros.saturating_add(1);
            if zeros == RUN {
                zeros = 0;
                match self.byte()? {
                    // The two zeros of the end are no places.
                    TO_THE_END => return if at.saturating_sub(RUN) <= length { Ok(()) } else { Err(Unreadable) },
                    more => at = at.saturating_add(usize::from(more)),
                }
            }
        }
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
    fn runs_of_zeros_are_told_by_their_length() {
        for (zeros, bytes) in [
            (0, &[7, 9, 0, 0, 255][..]),
            (1, &[7, 0, 9, 0, 0, 255]),
            (2, &[7, 0, 0, 0, 9, 0, 0, 255]),
            (3, &[7, 0, 0, 1, 9, 0, 0, 255]),
            (255, &[7, 0, 0, 253, 9, 0, 0, 255]),
            (256, &[7, 0, 0, 254, 9, 0, 0, 255]),
            // One more begins another run.
            (257, &[7, 0, 0, 254, 0, 9, 0, 0, 255]),
        ] {
            let part = [&[7][..], &vec![0; zeros], &[9]].concat();
            assert_eq!(fold(&[part.clone()]), bytes, "{zeros} zeros");
            assert_eq!(unfold(bytes, &[part.len()]), Ok(vec![part]));
        }
    }

    #[test]
    fn a_part_with_more_room_reads_what_a_smaller_one_wrote() {
        let small = [vec![1, 0, 2], vec![0; 300], vec![3]];
        let large = [vec![1, 0, 2, 0, 0, 0], vec![0; 900], vec![3, 0]];
        let bytes = fold(&small);
        assert_eq!(bytes, [1, 0, 2, 0, 0, 255, 0, 0, 255, 3, 0, 0, 255]);
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
