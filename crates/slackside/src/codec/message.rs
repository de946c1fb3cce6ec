//! Writes what serde describes in postcard's wire format, into room of a given size.
//!
//! The library reads them; its own writer indexes by a count that no compiler proves to be in range where size counts, and so holds a
//! panic. A property holds every byte written here against the library's.

use serde::ser::{
    Error, Serialize, SerializeSeq, SerializeStruct, SerializeStructVariant, SerializeTuple, SerializeTupleStruct,
    SerializeTupleVariant, Serializer,
};

use super::varint;

/// There is no room, or the message is of a kind that nobody here sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unwritten;

impl core::fmt::Display for Unwritten {
    fn fmt(&self, out: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        out.write_str("no room for the message")
    }
}

impl core::error::Error for Unwritten {}

impl Error for Unwritten {
    fn custom<T: core::fmt::Display>(_: T) -> Self {
        Self
    }
}

/// Write `message` into the front of `room`: how many bytes it took.
///
/// # Errors
/// [`Unwritten`] if there is not room enough.
pub fn write(message: &impl Serialize, room: &mut [u8]) -> Result<usize, Unwritten> {
    let mut pen = Pen { room, at: 0 };
    message.serialize(&mut pen)?;
    if pen.at <= pen.room.len() { Ok(pen.at) } else { Err(Unwritten) }
}

/// Beyond the room it only counts.
struct Pen<'a> {
    room: &'a mut [u8],
    at: usize,
}

type Written = Result<(), Unwritten>;

impl Pen<'_> {
    #[inline(never)]
    fn byte(&mut self, byte: u8) {
        if let Some(slot) = self.room.get_mut(self.at) {
            *slot = byte;
        }
        self.at = self.at.saturating_add(1);
    }

    #[inline(never)]
    fn number(&mut self, value: u32) -> Written {
        varint::write(value, &mut |byte| self.byte(byte));
        Ok(())
    }

    #[inline(never)]
    fn long(&mut self, mut value: u64) -> Written {
        while value >= 0x80 {
            self.byte(value as u8 | 0x80);
            value >>= 7;
        }
        self.byte(value as u8);
        Ok(())
    }

    #[inline(never)]
    fn bytes(&mut self, bytes: &[u8]) -> Written {
        self.number(bytes.len() as u32)?;
        bytes.iter().for_each(|byte| self.byte(*byte));
        Ok(())
    }
}

impl<'p, 'a> Serializer for &'p mut Pen<'a> {
    type Ok = ();
    type Error = Unwritten;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Self;
    type SerializeMap = serde::ser::Impossible<(), Unwritten>;
    type SerializeStruct = Self;
    type SerializeStructVariant = Self;

    fn serialize_bool(self, value: bool) -> Written {
        self.byte(value.into());
        Ok(())
    }

    fn serialize_i8(self, value: i8) -> Written {
        self.byte(value as u8);
        Ok(())
    }

    fn serialize_i16(self, value: i16) -> Written {
        self.number(varint::zigzag(value.into()))
    }

    fn serialize_i32(self, value: i32) -> Written {
        self.number(varint::zigzag(value))
    }

    fn serialize_i64(self, value: i64) -> Written {
        self.long((value.wrapping_shl(1) ^ (value >> 63)) as u64)
    }

    fn serialize_u8(self, value: u8) -> Written {
        self.byte(value);
        Ok(())
    }

    fn serialize_u16(self, value: u16) -> Written {
        self.number(value.into())
    }

    fn serialize_u32(self, value: u32) -> Written {
        self.number(value)
    }

    fn serialize_u64(self, value: u64) -> Written {
        self.long(value)
    }

    fn serialize_f32(self, _: f32) -> Written {
        Err(Unwritten)
    }

    fn serialize_f64(self, _: f64) -> Written {
        Err(Unwritten)
    }

    fn serialize_char(self, _: char) -> Written {
        Err(Unwritten)
    }

    fn serialize_str(self, value: &str) -> Written {
        self.bytes(value.as_bytes())
    }

    fn serialize_bytes(self, value: &[u8]) -> Written {
        self.bytes(value)
    }

    fn serialize_none(self) -> Written {
        self.byte(0);
        Ok(())
    }

    fn serialize_some<T: ?Sized + Serialize>(self, value: &T) -> Written {
        self.byte(1);
        value.serialize(self)
    }

    fn serialize_unit(self) -> Written {
        Ok(())
    }

    fn serialize_unit_struct(self, _: &'static str) -> Written {
        Ok(())
    }

    fn serialize_unit_variant(self, _: &'static str, index: u32, _: &'static str) -> Written {
        self.number(index)
    }

    fn serialize_newtype_struct<T: ?Sized + Serialize>(self, _: &'static str, value: &T) -> Written {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: ?Sized + Serialize>(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        value: &T,
    ) -> Written {
        self.number(index)?;
        value.serialize(self)
    }

    fn serialize_seq(self, length: Option<usize>) -> Result<Self, Unwritten> {
        self.number(length.ok_or(Unwritten)? as u32)?;
        Ok(self)
    }

    fn serialize_tuple(self, _: usize) -> Result<Self, Unwritten> {
        Ok(self)
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Self, Unwritten> {
        Ok(self)
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, Unwritten> {
        self.number(index)?;
        Ok(self)
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, Unwritten> {
        Err(Unwritten)
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Self, Unwritten> {
        Ok(self)
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, Unwritten> {
        self.number(index)?;
        Ok(self)
    }

    fn collect_str<T: ?Sized + core::fmt::Display>(self, _: &T) -> Written {
        Err(Unwritten)
    }

    fn is_human_readable(&self) -> bool {
        false
    }
}

macro_rules! parts {
    ($($part:ident: $one:ident($($name:ident: $kind:ty)?)),*) => {$(
        impl $part for &mut Pen<'_> {
            type Ok = ();
            type Error = Unwritten;

            fn $one<T: ?Sized + Serialize>(&mut self, $($name: $kind,)? value: &T) -> Written {
                value.serialize(&mut **self)
            }

            fn end(self) -> Written {
                Ok(())
            }
        }
    )*};
}
parts!(
    SerializeSeq: serialize_element(), SerializeTuple: serialize_element(), SerializeTupleStruct: serialize_field(),
    SerializeTupleVariant: serialize_field(), SerializeStruct: serialize_field(_name: &'static str),
    SerializeStructVariant: serialize_field(_name: &'static str)
);

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::conditions::Condition;
    use crate::input::{Command, Input, Origin, Place, Shaft, Signal};
    use crate::units::{DeciCelsius, Micros, Span};
    use crate::verdict::{Change, Refusal, Verdict};

    fn as_the_library_does(message: &impl Serialize) {
        let (mut ours, mut theirs) = ([0; 64], [0; 64]);
        let length = write(message, &mut ours).expect("room");
        assert_eq!(&ours[..length], postcard::to_slice(message, &mut theirs).expect("room"));
        assert_eq!(write(message, &mut ours[..length.saturating_sub(1)]), Err(Unwritten));
    }

    proptest! {
        /// An independent program: the `postcard` library.
        #[test]
        fn every_byte_is_the_librarys(at in any::<u64>(), a in any::<i16>(), b in any::<u32>(), c in any::<i64>(), some in any::<bool>()) {
            let at = Micros::new(at);
            let condition = Condition::of_rank(b as usize % Condition::COUNT).expect("in range");
            as_the_library_does(&Input::new(at, Signal::Edge(Shaft::Boot, some)));
            as_the_library_does(&Input::new(at, Signal::Temperature(Place::BootLeft, DeciCelsius::new(a))));
            let command = Command::Bypass(condition, Span::new(b));
            as_the_library_does(&Verdict { at, change: Change::Refused(Origin::Link, command, Refusal::KeyOff) });
            as_the_library_does(&Verdict { at, change: Change::FirstOut(some.then_some(condition)) });
            as_the_library_does(&(c, a, b, some.then_some("text"), [1_u16, 2]));
        }
    }
}
