//! The list of limits as a serde tuple: serde itself stops at 32 entries.

use core::fmt;

use serde::de::{Error, SeqAccess, Visitor};
use serde::ser::SerializeTuple;
use serde::{Deserializer, Serializer};

use super::limits::{Action, Limit, Priority};
use crate::judge::Condition;
use crate::units::Span;

/// Stands where nothing has been read yet. The starting values would do too, but take more flash.
const BLANK: Limit = Limit {
    enabled: false,
    setpoint: 0,
    deadband: 0,
    on_delay: Span::ZERO,
    off_delay: Span::ZERO,
    latching: false,
    priority: Priority::Low,
    action: Action::Alarm,
};

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
            let mut list = [BLANK; Condition::COUNT];
            for (index, slot) in list.iter_mut().enumerate() {
                *slot = seq.next_element()?.ok_or_else(|| A::Error::invalid_length(index, &self))?;
            }
            Ok(list)
        }
    }

    deserializer.deserialize_tuple(Condition::COUNT, ListVisitor)
}
