//! The units that the keys of a settings file may name.

/// A unit at the end of a key, and how many of the integer unit one of it is: `numerator / denominator`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileUnit {
    /// The end of the key, with its underscore; empty for a plain number.
    pub suffix: &'static str,
    /// What it is, for messages.
    pub name: &'static str,
    /// So many of the integer unit…
    pub numerator: i64,
    /// …are so many of this one.
    pub denominator: i64,
}

macro_rules! units {
    ($($(#[$meta:meta])* $NAME:ident $suffix:literal $name:literal $numerator:literal / $denominator:literal)*) => {$(
        $(#[$meta])*
        pub const $NAME: FileUnit =
            FileUnit { suffix: $suffix, name: $name, numerator: $numerator, denominator: $denominator };
    )*};
}

units! {
    /// Of micrometres.
    MM "_mm" "millimetres" 1_000 / 1
    /// Of micrometres: the international inch, 25.4 mm.
    INCH "_in" "inches" 25_400 / 1
    /// Of micrometres.
    METRE "_m" "metres" 1_000_000 / 1
    /// Of micrometres.
    FOOT "_ft" "feet" 304_800 / 1
    /// Of micrometres a second.
    METRES_A_SECOND "_mps" "metres a second" 1_000_000 / 1
    /// Of micrometres a second.
    FEET_A_MINUTE "_fpm" "feet a minute" 5_080 / 1
    /// Of microturns a second.
    RPM "_rpm" "turns a minute" 1_000_000 / 60
    /// Of parts per million.
    PERCENT "_pct" "per cent" 10_000 / 1
    /// Of parts per million a second.
    PERCENT_A_SECOND "_pct_per_s" "per cent a second" 10_000 / 1
    /// Of parts per million of a turn.
    DEGREES "_deg" "degrees" 1_000_000 / 360
    /// Of microseconds.
    MICROSECONDS "_us" "microseconds" 1 / 1
    /// Of microseconds.
    MILLISECONDS "_ms" "milliseconds" 1_000 / 1
    /// Of microseconds.
    SECONDS "_s" "seconds" 1_000_000 / 1
    /// Of microseconds.
    MINUTES "_min" "minutes" 60_000_000 / 1
    /// Of milliseconds.
    SECONDS_IN_MS "_s" "seconds" 1_000 / 1
    /// Of milliseconds.
    MS_IN_MS "_ms" "milliseconds" 1 / 1
    /// Of watts.
    KILOWATTS "_kw" "kilowatts" 1_000 / 1
    /// Of watts: mechanical horsepower, 745.699 871 582 W.
    HORSEPOWER "_hp" "horsepower" 745_699_872 / 1_000_000
    /// Of joules.
    KILOJOULES "_kj" "kilojoules" 1_000 / 1
    /// Of tenths of a degree Celsius.
    CELSIUS "_c" "degrees Celsius" 10 / 1
    /// Of microturns.
    TURNS "_turns" "turns" 1_000_000 / 1
    /// Of parts per million.
    RATIO "" "a ratio" 1_000_000 / 1
    /// Of parts per million.
    FACTOR "" "a factor" 1_000_000 / 1
    /// Of itself.
    COUNT "" "a whole number" 1 / 1
}
