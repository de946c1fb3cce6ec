//! The random stories in parts, so that whoever plays them all has many short tests in place of a long one.

use std::ops::Range;

/// Stories in a part: as many lines has each file of what is kept of them.
pub const STORIES: u64 = 12;
/// Tests of a part.
pub const QUARTERS: u64 = 4;

/// The stories of a part.
#[must_use]
pub const fn stories(part: u64) -> Range<u64> {
    part * STORIES..(part + 1) * STORIES
}

/// Those of one test of it.
#[must_use]
pub const fn stories_of(part: u64, quarter: u64) -> Range<u64> {
    let each = STORIES / QUARTERS;
    let from = stories(part).start + quarter * each;
    from..from + each
}

/// The number of every part of the stories that are [not on the brink](crate::story::FIRST_ON_THE_BRINK), and of those that are.
pub const ALL: &[u64] = crate::story_parts!(@list @numbers);
/// See [`ALL`].
pub const ON_THE_BRINK: &[u64] = crate::story_parts!(@brink @numbers);

/// A module of four tests for each part: each calls the function of that name, with the part's number and which quarter of it.
#[macro_export]
macro_rules! story_parts {
    ($part:ident) => {
        $crate::story_parts! { @list @tests $part }
    };
    (on_the_brink $part:ident) => {
        $crate::story_parts! { @brink @tests $part }
    };
    (@tests $part:ident $($name:ident $number:literal)*) => {
        $(mod $name {
            #[test]
            fn first() {
                super::$part($number, 0);
            }

            #[test]
            fn second() {
                super::$part($number, 1);
            }

            #[test]
            fn third() {
                super::$part($number, 2);
            }

            #[test]
            fn fourth() {
                super::$part($number, 3);
            }
        })*
    };
    (@numbers $($name:ident $number:literal)*) => {
        &[$($number),*]
    };
    (@list $($then:tt)*) => {
        $crate::story_parts! {
            $($then)*
            part_00 0 part_01 1 part_02 2 part_03 3 part_04 4 part_05 5 part_06 6 part_07 7
            part_08 8 part_09 9 part_10 10 part_11 11 part_12 12 part_13 13 part_14 14 part_15 15
            part_16 16 part_17 17 part_18 18 part_19 19 part_20 20 part_21 21 part_22 22 part_23 23
            part_24 24 part_25 25 part_26 26 part_27 27 part_28 28 part_29 29 part_30 30 part_31 31
            part_32 32 part_33 33 part_34 34 part_35 35 part_36 36 part_37 37 part_38 38 part_39 39
            part_40 40 part_41 41 part_42 42 part_43 43 part_44 44 part_45 45 part_46 46 part_47 47
        }
    };
    (@brink $($then:tt)*) => {
        $crate::story_parts! {
            $($then)*
            part_48 48 part_49 49 part_50 50 part_51 51 part_52 52 part_53 53 part_54 54 part_55 55
            part_56 56 part_57 57 part_58 58 part_59 59 part_60 60 part_61 61 part_62 62 part_63 63
            part_64 64 part_65 65 part_66 66 part_67 67 part_68 68 part_69 69 part_70 70 part_71 71
        }
    };
}
