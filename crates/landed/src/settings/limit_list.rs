//! All limits in serde's words. By hand, since serde itself stops at arrays of 32.
//!
//! Limits of conditions that came after the image's format are not in its list but behind everything else, and only where they
//! are not the starting values. So an image written before reads as before, with the same bytes and the same identity.

use core::fmt;

use serde::de::{Error, SeqAccess, Visitor};
use serde::ser::{SerializeStruct, SerializeTuple};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::limits::{Limit, Limits};
use crate::judge::Condition;

type List = [Limit; Condition::COUNT];

/// Conditions that the list holds.
pub(super) const LISTED: usize = 34;
/// And those behind.
pub(super) const LATER: usize = Condition::COUNT - LISTED;
/// The starting values of those behind.
pub(super) const STARTING_LATER: [Limit; LATER] = match Limits::STARTING.list.last_chunk() {
    Some(later) => *later,
    None => unreachable!(),
};

struct Listed<L>(L);

struct Later<L>(L);

impl Serialize for Listed<&List> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut tuple = serializer.serialize_tuple(LISTED)?;
        for limit in self.0.iter().take(LISTED) {
            tuple.serialize_element(limit)?;
        }
        tuple.end()
    }
}

impl Serialize for Later<&List> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let starting = Limits::STARTING.list.iter().skip(LISTED);
        if self.0.iter().skip(LISTED).eq(starting) {
            return serializer.serialize_tuple(0)?.end();
        }
        let mut tuple = serializer.serialize_tuple(LATER.saturating_add(1))?;
        tuple.serialize_element(&(LATER as u8))?;
        for limit in self.0.iter().skip(LISTED) {
            tuple.serialize_element(limit)?;
        }
        tuple.end()
    }
}

impl Serialize for Limits {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut limits = serializer.serialize_struct("Limits", FIELDS.len())?;
        limits.serialize_field("list", &Listed(&self.list))?;
        limits.serialize_field("starts", &self.starts)?;
        limits.serialize_field("slip_heat", &self.slip_heat)?;
        limits.serialize_field("later", &Later(&self.list))?;
        limits.end()
    }
}

const FIELDS: &[&str] = &["list", "starts", "slip_heat", "later"];

fn fill<'de, A: SeqAccess<'de>>(list: &mut [Limit], seq: &mut A) -> Result<(), A::Error> {
    for (index, slot) in list.iter_mut().enumerate() {
        *slot = seq.next_element()?.ok_or_else(|| A::Error::invalid_length(index, &"one limit for each condition"))?;
    }
    Ok(())
}

impl<'de> Deserialize<'de> for Listed<[Limit; LISTED]> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Filler;

        impl<'de> Visitor<'de> for Filler {
            type Value = Listed<[Limit; LISTED]>;

            fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
                formatter.write_str("one limit for each condition")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
                let [first, ..] = Limits::STARTING.list;
                let mut list = [first; LISTED];
                fill(&mut list, &mut seq)?;
                Ok(Listed(list))
            }
        }

        deserializer.deserialize_tuple(LISTED, Filler)
    }
}

impl<'de> Deserialize<'de> for Later<[Limit; LATER]> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Filler;

        impl<'de> Visitor<'de> for Filler {
            type Value = Later<[Limit; LATER]>;

            fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
                formatter.write_str("the limits of later conditions, or nothing")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
                let mut list = STARTING_LATER;
                // Where the image ends here, they are the starting values.
                let Ok(Some(count)) = seq.next_element::<u8>() else { return Ok(Later(list)) };
                let known = list.get_mut(..usize::from(count));
                fill(known.ok_or_else(|| A::Error::invalid_length(usize::from(count), &self))?, &mut seq)?;
                Ok(Later(list))
            }
        }

        deserializer.deserialize_tuple(LATER.saturating_add(1), Filler)
    }
}

impl<'de> Deserialize<'de> for Limits {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Whole;

        impl<'de> Visitor<'de> for Whole {
            type Value = Limits;

            fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
                formatter.write_str("all limits")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Limits, A::Error> {
                let short = |index| A::Error::invalid_length(index, &"all limits");
                let mut limits = Limits::STARTING;
                let listed: Listed<[Limit; LISTED]> = seq.next_element()?.ok_or_else(|| short(0))?;
                limits.starts = seq.next_element()?.ok_or_else(|| short(1))?;
                limits.slip_heat = seq.next_element()?.ok_or_else(|| short(2))?;
                let later: Later<[Limit; LATER]> = seq.next_element()?.ok_or_else(|| short(3))?;
                for (slot, limit) in limits.list.iter_mut().zip(listed.0.iter().chain(&later.0)) {
                    *slot = *limit;
                }
                Ok(limits)
            }
        }

        deserializer.deserialize_struct("Limits", FIELDS, Whole)
    }
}
