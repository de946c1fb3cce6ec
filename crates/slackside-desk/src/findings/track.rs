//! Where the belt runs off centre, what to look at first: which shaft, or the casing.
//!
//! Contacts at the boot speak for the boot shaft. At the head a shaft out of level leans the belt on its contact and keeps it there; a casing
//! out of plumb leaves the belt in its track, which wanders, so that a contact too near to it opens again and again.

use super::evidence::{Clue, Evidence};

/// One end has the contacts that closed for so much of the time in which any did, in per cent. Where both ends rub it is neither of these.
const ONE_END: i32 = 90;
/// A belt that is leant on a contact closes it for more than this of the time since it first did, in per cent: of the runs to learn from so
/// did 96 in a hundred with a head shaft out of level, and 22 with a casing out of plumb.
const LEANT_ON: i32 = 95;

/// What may be out of true.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Track {
    /// The boot shaft: out of square, one end loose.
    BootShaft,
    /// The head shaft: out of level.
    HeadShaft,
    /// The casing: out of plumb.
    Casing,
}

impl Track {
    /// Each of them.
    pub const ALL: [Self; 3] = [Self::BootShaft, Self::HeadShaft, Self::Casing];

    /// Which is likeliest; `None` where no contact closed, or contacts at both ends did.
    #[must_use]
    pub fn of(evidence: &Evidence) -> Option<Self> {
        let (at_head, steady) = evidence.get(Clue::RubAtHead).zip(evidence.get(Clue::RubSteady))?;
        if at_head <= 100 - ONE_END {
            return Some(Self::BootShaft);
        }
        (at_head >= ONE_END).then_some(if steady > LEANT_ON { Self::HeadShaft } else { Self::Casing })
    }

    /// In a few words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::BootShaft => "boot shaft out of level or square",
            Self::HeadShaft => "head shaft out of level",
            Self::Casing => "casing out of plumb",
        }
    }

    /// By which means a drawn run makes it.
    #[must_use]
    pub const fn means(self) -> &'static str {
        match self {
            Self::BootShaft => "boot_end_loose",
            Self::HeadShaft => "head_out_of_level",
            Self::Casing => "casing_out_of_plumb",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_boot_is_told_by_its_contacts_a_casing_by_one_that_opens_again_and_nothing_by_both_ends() {
        let told = |answers: &[(Clue, i32)]| {
            let mut evidence = Evidence::default();
            for (clue, answer) in answers {
                evidence.set(*clue, Some(*answer));
            }
            Track::of(&evidence)
        };
        let rubs = |at_head, steady| told(&[(Clue::RubAtHead, at_head), (Clue::RubSteady, steady)]);
        assert_eq!([rubs(0, 100), rubs(10, 100), rubs(0, 10)], [Some(Track::BootShaft); 3]);
        assert_eq!([rubs(100, 96), rubs(90, 100)], [Some(Track::HeadShaft); 2]);
        assert_eq!([rubs(100, 95), rubs(90, 0)], [Some(Track::Casing); 2]);
        assert_eq!([rubs(11, 100), rubs(50, 50), rubs(89, 100)], [None; 3]);
        assert_eq!([told(&[]), told(&[(Clue::RubAtHead, 100)])], [None; 2]);
    }
}
