//! The list of limits as a serde tuple: serde itself stops at 32 entries.

use core::fmt;

use serde::de::{Error, SeqAccess, Visitor};
use serde::ser::SerializeTuple;
use serde::{Deserializer, Serializer};

use super::limits::{Limit, Limits};
use crate::judge::Condition;

type List = [Limit; Condition::COUNT];

pub fn serialize<S: Serializer>(list: &List, serializer: S) -> Result<S::Ok, S::Error> {
    let mut tuple = serializer.serialize_tuple(Condition::COUNT)?;
    for limit in list {
        tuple.serialize_element(limit)?;
    }
    tuple.end()
}

pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<List, D::Error> {
    struct ListVisitor;

    impl<'de> Visitor<'de> for ListVisitor {
        type Value = List;

        fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
            formatter.write_str("one limit for each condition")
        }

        fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<List, A::Error> {
            let mut list = Limits::STARTING.list;
            for (index, slot) in list.iter_mut().enumerate() {
                *slot = seq.next_element()?.ok_or_else(|| A::Error::invalid_length(index, &self))?;
            }
            Ok(list)
        }
    }

    deserializer.deserialize_tuple(Condition::COUNT, ListVisitor)
}
