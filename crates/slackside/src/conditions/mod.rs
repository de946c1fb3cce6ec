//! The conditions: what can be wrong with a leg, its sensors or its box. One list says all that is known of each.

mod entry;
mod list;
#[cfg(test)]
mod one_more;
mod set;

pub use set::ConditionSet;

pub use entry::{
    Action, Compared, Entry, Flag, Gate, Must, Needs, Priority, Row, Rule, Sense, Stamp, Starting, Unit, Value, Window,
};

/// Expands a list of conditions to an enum and its tables.
macro_rules! conditions {
    ($Name:ident $($Variant:ident = $id:literal $summary:literal {
        name: $name:literal,
        unit: $unit:ident,
        sense: $sense:expr,
        gate: $gate:ident,
        needs: $needs:ident,
        must: $must:ident,
        bypass: $bypass:literal,
        boot_cleared: $boot_cleared:literal,
        setpoint: $setpoint:expr,
        longest_on_delay_ms: $longest:expr,
        starting: $starting:expr,
        reason: $reason:literal,
        title: $title:literal,
        meaning: $meaning:literal,
    })*) => {
        /// Something that can be wrong. The order is that of rank.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[repr(u8)]
        pub enum $Name {
            $(#[doc = $summary] $Variant,)*
        }

        impl $Name {
            /// All of them, in order of rank.
            pub const ALL: [Self; Self::COUNT] = [$(Self::$Variant),*];

            /// How many there are.
            pub const COUNT: usize = [$($id),*].len();

            /// All that is known of each.
            pub const TABLE: [$crate::conditions::Entry; Self::COUNT] = {
                #[allow(unused_imports, reason = "a list need not use every word")]
                use $crate::conditions::{
                    Action::*, Entry, Flag, Gate::*, Must, Needs, Priority::*, Sense::*, Stamp, Starting, Unit, Value, Window,
                };
                #[allow(unused_imports, reason = "a list need not use every word")]
                use $crate::input::Shaft;
                [$(Entry {
                    id: $id,
                    name: $name,
                    unit: Unit::$unit,
                    sense: $sense,
                    gate: $gate,
                    needs: Needs::$needs,
                    must: Must::$must,
                    bypass: $bypass,
                    boot_cleared: $boot_cleared,
                    setpoint: $setpoint,
                    longest_on_delay_ms: $longest,
                    starting: $starting,
                    summary: $summary,
                    reason: $reason,
                    title: $title,
                    meaning: $meaning,
                }),*]
            };

            /// What judge needs of each.
            pub const ROWS: [$crate::conditions::Row; Self::COUNT] = [$($crate::conditions::Row::of(&Self::$Variant.entry())),*];

            /// What the box's check of a plan needs of each.
            pub const RULES: [$crate::conditions::Rule; Self::COUNT] = [$($crate::conditions::Rule::of(&Self::$Variant.entry())),*];

            /// What the list says of it.
            #[must_use]
            pub const fn entry(self) -> $crate::conditions::Entry {
                let mut rest: &[$crate::conditions::Entry] = &Self::TABLE;
                let mut left = self as usize;
                loop {
                    match rest {
                        // The table has an entry for every condition: the last is only there to satisfy the compiler.
                        [entry] => return *entry,
                        [entry, ..] if left == 0 => return *entry,
                        [_, more @ ..] => rest = more,
                        [] => unreachable!(),
                    }
                    left = left.saturating_sub(1);
                }
            }

            /// Its place in [`ALL`](Self::ALL).
            #[must_use]
            pub const fn rank(self) -> usize {
                self as usize
            }

            /// The condition of that rank.
            #[must_use]
            pub fn of_rank(rank: usize) -> Option<Self> {
                Self::ALL.get(rank).copied()
            }

            /// Its number in files and messages.
            #[must_use]
            pub const fn id(self) -> u8 {
                match self { $(Self::$Variant => $id,)* }
            }

            /// The condition of that number.
            #[must_use]
            pub const fn from_id(id: u8) -> Option<Self> {
                match id { $($id => Some(Self::$Variant),)* _ => None }
            }

            /// The name used in files and settings.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$Variant => $name,)* }
            }

            /// The condition of that [`name`](Self::name).
            #[must_use]
            pub fn from_name(name: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|condition| condition.name() == name)
            }
        }
    };
}

#[cfg(test)]
use conditions;

list::list!(conditions Condition);

impl Condition {
    /// What judge needs of the condition of that rank; of the first where there is none such.
    #[must_use]
    pub fn row(rank: usize) -> &'static Row {
        let [first, ..] = &Self::ROWS;
        Self::ROWS.get(rank).unwrap_or(first)
    }

    /// The unit of its value and setpoint.
    #[must_use]
    pub const fn unit(self) -> Unit {
        self.entry().unit
    }

    /// Whether it may ever be bypassed. Those that stand between a stopped belt and a fire may not.
    #[must_use]
    pub const fn can_be_bypassed(self) -> bool {
        self.entry().bypass
    }

    /// Whether the boot must be reported clear before the leg may start again: after a choke or a slip trip.
    #[must_use]
    pub const fn needs_boot_cleared(self) -> bool {
        self.entry().boot_cleared
    }
}

impl serde::Serialize for Condition {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_u8(self.id())
    }
}

impl<'de> serde::Deserialize<'de> for Condition {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let id = u8::deserialize(deserializer)?;
        Self::from_id(id).ok_or_else(|| serde::de::Error::custom("a number that no condition has"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_whole_and_no_number_is_given_twice() {
        for (rank, condition) in Condition::ALL.into_iter().enumerate() {
            assert_eq!(condition.rank(), rank);
            assert_eq!(Condition::from_name(condition.name()), Some(condition));
            assert_eq!(Condition::from_id(condition.id()), Some(condition));
            assert_eq!(condition.entry().name, condition.name());
            assert_eq!(condition.entry(), Condition::TABLE[rank]);
        }
        const { assert!(Condition::COUNT <= 64, "sets hold 64") };
        assert_eq!(size_of::<Row>(), 5);
    }

    #[test]
    fn what_guards_a_stopped_belt_is_never_bypassed() {
        for condition in [Condition::BeltNotFollowing, Condition::DeepUnderspeed] {
            assert!(!condition.can_be_bypassed());
            assert_eq!(condition.entry().must, Must::Stop);
        }
    }

    #[test]
    fn starting_values_are_allowed() {
        for entry in Condition::TABLE {
            let (least, most) = entry.setpoint;
            assert!((least..=most).contains(&entry.starting.setpoint), "{}", entry.name);
            assert!(entry.starting.on_ms <= entry.longest_on_delay_ms, "{}", entry.name);
            if entry.must == Must::Stop {
                assert!(entry.starting.latching && entry.starting.action == Action::Stop, "{}", entry.name);
            }
        }
    }
}
