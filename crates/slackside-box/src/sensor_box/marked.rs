//! Work done on the leg, as it was marked: few marks at a time, so that none can wash days away, and what they leave in doubt.

use slackside::daily::{Kind, Summary, Work};

use crate::store::DAY;

/// So many marks are taken within [`WITHIN`] days: each kind of work once.
const MOST: usize = Work::ALL.len();
/// See there.
const WITHIN: u16 = 14;

/// What is known of marks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Marked {
    /// The days of the newest marks, oldest first; 0 for none.
    lately: [u16; MOST],
    newest: Option<[u8; DAY]>,
    /// What was done since settings were armed last that ratio and spacing depend on.
    doubt: Option<[u8; DAY]>,
}

impl Marked {
    /// Nothing was.
    pub(super) const NONE: Self = Self { lately: [0; MOST], newest: None, doubt: None };

    /// A record that is in the ring.
    pub(super) fn see(&mut self, summary: &Summary) {
        let Kind::Done(work) = summary.kind else {
            if summary.settings_changed {
                self.settle();
            }
            return;
        };
        let [_, newer @ ..] = self.lately;
        let newer = newer.into_iter().chain([summary.day]);
        self.lately.iter_mut().zip(newer).for_each(|(slot, day)| *slot = day);
        self.newest = Some(summary.to_bytes());
        if matches!(work, Work::Lagging | Work::Belt | Work::Sensor) {
            self.doubt = self.newest;
        }
    }

    /// Settings are armed: whoever armed them has seen to it.
    pub(super) const fn settle(&mut self) {
        self.doubt = None;
    }

    /// Whether this very mark was the last: a desk that got no answer asks again.
    pub(super) fn is_newest(&self, mark: &[u8; DAY]) -> bool {
        self.newest.as_ref() == Some(mark)
    }

    /// Whether one more may be taken on that day.
    pub(super) fn may(&self, day: u16) -> bool {
        self.lately.first().is_none_or(|oldest| *oldest == 0 || day.saturating_sub(*oldest) >= WITHIN)
    }

    /// What is in doubt, if anything.
    pub(super) fn doubt(&self) -> Option<Summary> {
        self.doubt.as_ref().and_then(Summary::of_bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(day: u16, work: Work) -> Summary {
        Summary::empty(day, Kind::Done(work))
    }

    #[test]
    fn six_within_a_fortnight_and_then_as_they_fall_out_of_it() {
        let mut marked = Marked::NONE;
        let mut taken = std::vec::Vec::new();
        for day in 1..40 {
            for _ in 0..10 {
                if marked.may(day) {
                    marked.see(&mark(day, Work::Other));
                    taken.push(day);
                }
            }
        }
        assert_eq!(taken, [[1; 6], [15; 6], [29; 6]].concat());
    }

    #[test]
    fn what_the_ratio_depends_on_is_in_doubt_until_settings_are_armed() {
        for work in Work::ALL {
            let mut marked = Marked::NONE;
            marked.see(&mark(3, work));
            let doubts = matches!(work, Work::Lagging | Work::Belt | Work::Sensor);
            assert_eq!(marked.doubt().is_some(), doubts, "{work:?}");
            marked.see(&Summary::empty(4, Kind::Day));
            assert_eq!(marked.doubt().is_some(), doubts, "a day settles nothing");
            marked.see(&Summary { settings_changed: true, ..Summary::empty(5, Kind::Day) });
            assert_eq!(marked.doubt(), None);
        }
    }
}
