//! The learned spacing as bytes. Each mark is told as its difference from what its neighbours let expect, which makes the
//! table of a shaft with many marks a third as long.

use super::{Mark, Spacing, Stage};
use crate::math::fraction;
use crate::record::keep::{Keep, Page, Pen, Unreadable, unzigzag, zigzag};

fn keep_difference(value: u32, expected: u32, pen: &mut Pen<'_>) {
    pen.varint(zigzag(i64::from(value.wrapping_sub(expected) as i32)));
}

fn fetch_difference(expected: u32, page: &mut Page<'_>) -> Result<u32, Unreadable> {
    let difference = i32::try_from(unzigzag(page.varint()?)).map_err(|_| Unreadable)?;
    Ok(expected.wrapping_add(difference as u32))
}

/// What one mark is expected to be, from the mark passed after it, and from its own fields as they become known.
#[derive(Clone, Copy)]
struct Expected {
    share: u32,
    turn: u32,
    time: u32,
    /// How often its pitch has been summed; `None` where sums mean nothing.
    sums: Option<u32>,
    /// The sum of turns of the mark passed after it, if it was summed as often.
    sum_turn: Option<u32>,
    /// Whether its new share stands in place of its sum.
    concluded: bool,
    /// Whether its share is known well enough to tell its sum by.
    learned: bool,
}

impl Expected {
    fn sum_turn(self, mark: Mark, sums: u32) -> u32 {
        self.sum_turn.unwrap_or(mark.turn.wrapping_mul(sums))
    }

    /// The sum of pitches of a mark of which all else is known; its last pitch took `gap`.
    const fn sum_gap(self, mark: Mark, gap: u32, sums: u32) -> u32 {
        match (self.concluded, self.learned) {
            (true, _) => mark.share,
            (false, true) => fraction(mark.share, mark.sum_turn),
            (false, false) => gap.wrapping_mul(sums),
        }
    }

    /// All but the sums.
    fn keep(self, mark: Mark, pen: &mut Pen<'_>) {
        keep_difference(mark.share, self.share, pen);
        keep_difference(mark.turn, self.turn, pen);
        keep_difference(mark.time, self.time, pen);
    }

    fn fetch(self, page: &mut Page<'_>) -> Result<Mark, Unreadable> {
        let mut mark = super::BLANK;
        mark.share = fetch_difference(self.share, page)?;
        mark.turn = fetch_difference(self.turn, page)?;
        mark.time = fetch_difference(self.time, page)?;
        Ok(mark)
    }

    fn keep_sums(self, mark: Mark, gap: u32, pen: &mut Pen<'_>) {
        if let Some(sums) = self.sums {
            keep_difference(mark.sum_turn, self.sum_turn(mark, sums), pen);
            keep_difference(mark.sum_gap, self.sum_gap(mark, gap, sums), pen);
        }
    }

    fn fetch_sums(self, mut mark: Mark, gap: u32, page: &mut Page<'_>) -> Result<Mark, Unreadable> {
        if let Some(sums) = self.sums {
            mark.sum_turn = fetch_difference(self.sum_turn(mark, sums), page)?;
            mark.sum_gap = fetch_difference(self.sum_gap(mark, gap, sums), page)?;
        }
        Ok(mark)
    }
}

impl<const MARKS: usize> Spacing<MARKS> {
    /// The mark passed `ago` marks before the newest.
    fn back(&self, ago: u8) -> u8 {
        self.step(self.index, self.count.wrapping_sub(ago))
    }

    /// How long the pitch took that ended at the mark passed `ago` marks before the newest, all times being known.
    fn gap(&self, ago: u8) -> u32 {
        let newest = self.mark(self.index);
        let older = ago.saturating_add(1);
        let began =
            if older < self.count { self.mark(self.back(older)).time } else { newest.time.wrapping_sub(newest.turn) };
        self.mark(self.back(ago)).time.wrapping_sub(began)
    }

    /// How often the mark passed `ago` before the newest was summed, if sums mean anything, and whether its new share is there.
    fn summed(&self, ago: u8) -> (Option<u32>, bool) {
        match self.stage {
            Stage::Listening { .. } => (None, false),
            Stage::Summing { done } => {
                // The count is never zero.
                let whole = done.checked_div(u16::from(self.count)).unwrap_or(0);
                let more = done.checked_rem(u16::from(self.count)).unwrap_or(0) > u16::from(ago);
                (Some(u32::from(whole).wrapping_add(u32::from(more))), false)
            }
            Stage::Concluding { done, .. } => (Some(u32::from(super::TURNS_TO_LEARN)), ago < done),
        }
    }

    /// What the mark passed `ago` before the newest is expected to be; `newer` is the one after it, as it is.
    fn expected(&self, ago: u8, newer: Mark) -> Expected {
        let (sums, concluded) = self.summed(ago);
        let newer_sums = ago.checked_sub(1).and_then(|less| self.summed(less).0);
        Expected {
            share: u32::MAX.checked_div(u32::from(self.count)).unwrap_or(u32::MAX),
            turn: newer.turn,
            time: newer.time.wrapping_sub(fraction(newer.share, newer.turn)),
            sums,
            sum_turn: (newer_sums == sums).then_some(newer.sum_turn),
            concluded,
            learned: self.learned,
        }
    }
}

impl Keep for Stage {
    fn keep(&self, pen: &mut Pen<'_>) {
        match *self {
            Self::Listening { passed } => (0_u8, passed).keep(pen),
            Self::Summing { done } => (1_u8, done).keep(pen),
            Self::Concluding { done, total, material } => ((2_u8, done), (total, material)).keep(pen),
        }
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        let mut kind = 0_u8;
        let mut many = 0_u16;
        kind.fetch(page)?;
        *self = match kind {
            0 => {
                many.fetch(page)?;
                Self::Listening { passed: many }
            }
            1 => {
                many.fetch(page)?;
                Self::Summing { done: many }
            }
            2 => {
                let mut kept = (0_u8, (0_u64, false));
                kept.fetch(page)?;
                let (done, (total, material)) = kept;
                Self::Concluding { done, total, material }
            }
            _ => return Err(Unreadable),
        };
        Ok(())
    }
}

impl<const MARKS: usize> Keep for Spacing<MARKS> {
    fn keep(&self, pen: &mut Pen<'_>) {
        // A field that is neither kept nor follows from the settings does not compile.
        let Self {
            marks: _,
            count: _,
            index: _,
            stage: _,
            learned: _,
            unlike_settings: _,
            tolerance: _,
            extremes: _,
            lap: _,
            lap_at: _,
        } = self;
        self.index.keep(pen);
        self.learned.keep(pen);
        self.unlike_settings.keep(pen);
        self.stage.keep(pen);
        let now = Mark { time: pen.now().get() as u32, ..super::BLANK };
        let mut newer = now;
        for ago in 0..self.count {
            let mark = self.mark(self.back(ago));
            self.expected(ago, newer).keep(mark, pen);
            newer = mark;
        }
        let mut newer = now;
        for ago in 0..self.count {
            let mark = self.mark(self.back(ago));
            self.expected(ago, newer).keep_sums(mark, self.gap(ago), pen);
            newer = mark;
        }
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        self.index.fetch(page)?;
        if self.index >= self.count {
            return Err(Unreadable);
        }
        self.learned.fetch(page)?;
        self.unlike_settings.fetch(page)?;
        self.stage.fetch(page)?;
        let now = Mark { time: page.now().get() as u32, ..super::BLANK };
        let mut newer = now;
        for ago in 0..self.count {
            let mark = self.expected(ago, newer).fetch(page)?;
            let index = usize::from(self.back(ago));
            *self.marks.get_mut(index).ok_or(Unreadable)? = mark;
            newer = mark;
        }
        let mut newer = now;
        for ago in 0..self.count {
            let index = self.back(ago);
            let mark = self.expected(ago, newer).fetch_sums(self.mark(index), self.gap(ago), page)?;
            *self.marks.get_mut(usize::from(index)).ok_or(Unreadable)? = mark;
            newer = mark;
        }
        Ok(())
    }
}
