//! What a row of the schema says of a setting.

use super::file_unit::FileUnit;
use super::say::FieldUnit;
use crate::conditions::{Action, Priority};
use crate::settings::{CountedEdges, Settings, Strand};
use crate::units::{Joules, Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

/// How a setting is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A number of this integer unit, and the units a file may give it in, the one written first.
    Number(FieldUnit, &'static [FileUnit]),
    /// `true` or `false`: 1 or 0.
    Flag,
    /// One of these words: its place among them.
    Word(&'static [&'static str]),
    /// A text.
    Text,
    /// A number in the unit of its condition.
    Setpoint,
}

/// What holds where a file does not say it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Given {
    /// It must be said, where its section is.
    Required,
    /// This is the starting value.
    Starting(i64),
    /// It is not there.
    Absent,
    /// The starting value of its condition.
    ByCondition,
}

/// The least and the most a setting may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Range {
    /// It is no number, or a rule of its own holds it.
    Own,
    /// The range in which the monitor works.
    Works(i64, i64),
    /// What legs are built like, and what the arithmetic bears: for a test bench.
    Built((i64, i64), (i64, i64)),
    /// That of its condition.
    OfCondition,
}

/// One setting. All that is known of it, for everything that walks over settings.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// Its key within its section, without the unit.
    pub key: &'static str,
    /// What a file may say instead.
    pub instead: &'static str,
    /// How it is written.
    pub kind: Kind,
    /// What holds where it is not said.
    pub given: Given,
    /// How far it may be set.
    pub range: Range,
    /// What it means.
    pub doc: &'static str,
    /// Why the starting value and the range are what they are.
    pub reason: &'static str,
    /// Its number in some settings; `None` where it is not there, and for a text.
    pub get: fn(&Settings, usize) -> Option<i64>,
    /// Set it, held at the ends of its type.
    pub put: fn(&mut Settings, usize, i64),
}

/// A section of settings that there may be several of.
pub(super) trait Part: Sized {
    /// The one of that number, where it is there.
    fn of(settings: &Settings, at: usize) -> Option<&Self>;
    /// The same to change; made if it is not there.
    fn of_mut(settings: &mut Settings, at: usize) -> &mut Self;
}

/// Lets the compiler know what a closure takes.
pub(super) fn put<T>(part: &mut T, value: i64, put: fn(&mut T, i64)) {
    put(part, value);
}

/// A value that is a number in the schema.
pub(super) trait Numbered: Copy {
    /// As a number.
    fn number(self) -> i64;
    /// Of a number, held at the ends of the type.
    fn of(number: i64) -> Self;
}

macro_rules! numbers {
    ($($Type:ident)*) => {$(
        impl Numbered for $Type {
            fn number(self) -> i64 {
                self.into()
            }

            fn of(number: i64) -> Self {
                Self::try_from(number).unwrap_or(if number < 0 { Self::MIN } else { Self::MAX })
            }
        }
    )*};
}
numbers!(u8 i32 u32 i64);

macro_rules! units {
    ($($Type:ident($repr:ty))*) => {$(
        impl Numbered for $Type {
            fn number(self) -> i64 {
                self.get().into()
            }

            fn of(number: i64) -> Self {
                Self::new(<$repr>::of(number))
            }
        }
    )*};
}
units!(Span(u32) Ppm(i32) Ratio(u32) Micrometres(i64) MicroturnsPerSecond(u32) Watts(u32) Joules(u32));

macro_rules! words {
    ($($Type:ident { $($Variant:ident),* })*) => {$(
        impl Numbered for $Type {
            fn number(self) -> i64 {
                self as i64
            }

            fn of(number: i64) -> Self {
                let all = [$(Self::$Variant),*];
                let [first, ..] = all;
                usize::try_from(number).ok().and_then(|at| all.get(at).copied()).unwrap_or(first)
            }
        }
    )*};
}
words! {
    CountedEdges { Rising, Falling, Both }
    Strand { Up, Down }
    Priority { Low, Medium, High }
    Action { Alarm, DropFeed, Stop }
}

impl Numbered for bool {
    fn number(self) -> i64 {
        self.into()
    }

    fn of(number: i64) -> Self {
        number != 0
    }
}

/// Expands rows to the list of their names and, with `struct`, to the very struct.
macro_rules! part {
    ($(#[$meta:meta])* struct $Name:ident, $Part:ident {
        $($(#[doc = $doc:literal])* $field:ident: $Type:ty = $Row:ident { $($rest:tt)* })*
    }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub struct $Name {
            $($(#[doc = $doc])* pub $field: $Type,)*
        }

        $crate::settings::schema::row::part! {
            #[doc = concat!("The settings of [`", stringify!($Name), "`].")]
            rows $Part of $Name {
                $($(#[doc = $doc])* $Row(|part| Some(part.$field.number()), |part, value| part.$field = Numbered::of(value)) {
                    $($rest)*
                })*
            }
        }
    };
    ($(#[$meta:meta])* rows $Part:ident of $Name:ident {
        $($(#[doc = $doc:literal])* $Row:ident($get:expr, $put:expr) {
            key: $key:literal,
            $(instead: $instead:literal,)?
            kind: $kind:expr,
            given: $given:expr,
            range: $range:expr,
            reason: $reason:literal $(,)?
        })*
    }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum $Part {
            $($(#[doc = $doc])* $Row,)*
        }

        impl $Part {
            /// All of them, in the order of files.
            pub const ALL: &'static [Self] = &[$(Self::$Row),*];

            /// What the schema says of it.
            #[must_use]
            pub const fn row(self) -> &'static $crate::settings::schema::Row {
                #[allow(unused_imports, reason = "rows need not use every word")]
                use $crate::settings::schema::row::{Given::*, Kind::*, Part as _, Range::*, Row, put};
                match self {
                    $(Self::$Row => {
                        const ROW: Row = Row {
                            key: $key,
                            instead: concat!($($instead)?),
                            kind: $kind,
                            given: $given,
                            range: $range,
                            doc: concat!($($doc),*).trim_ascii_start(),
                            reason: $reason,
                            get: |settings, at| $Name::of(settings, at).and_then($get),
                            put: |settings, at, value| put($Name::of_mut(settings, at), value, $put),
                        };
                        &ROW
                    })*
                }
            }
        }
    };
}
pub(super) use part;
