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
    time: u32,
    turn: u32,
    /// How often its pitch has been summed; `None` where sums mean nothing.
    sums: Option<u32>,
    /// The sum of turns of the mark passed after it, if it was summed as often.
    sum_turn: Option<u32>,
    /// Whether its new share stands in place of its sum.
    concluded: bool,
}

impl Mark {
    /// How long the pitch that ended here took, by the table.
    const fn gap(self) -> u32 {
        fraction(self.share, self.turn)
    }
}

impl Expected {
    fn keep(self, mark: Mark, pen: &mut Pen<'_>) {
        keep_difference(mark.share, self.share, pen);
        keep_difference(mark.time, self.time, pen);
        keep_difference(mark.turn, self.turn, pen);
        if let Some(sums) = self.sums {
            let sum_gap = if self.concluded { mark.share } else { mark.gap().wrapping_mul(sums) };
            keep_difference(mark.sum_gap, sum_gap, pen);
            keep_difference(mark.sum_turn, self.sum_turn.unwrap_or(mark.turn.wrapping_mul(sums)), pen);
        }
    }

    fn fetch(self, page: &mut Page<'_>) -> Result<Mark, Unreadable> {
        let share = fetch_difference(self.share, page)?;
        let time = fetch_difference(self.time, page)?;
        let turn = fetch_difference(self.turn, page)?;
        let (mut sum_gap, mut sum_turn) = (0, 0);
        if let Some(sums) = self.sums {
            let expected = if self.concluded { share } else { fraction(share, turn).wrapping_mul(sums) };
            sum_gap = fetch_difference(expected, page)?;
            sum_turn = fetch_difference(self.sum_turn.unwrap_or(turn.wrapping_mul(sums)), page)?;
        }
        Ok(Mark { share, time, turn, sum_gap, sum_turn })
    }
}

impl<const MARKS: usize> Spacing<MARKS> {
    /// The mark passed `ago` marks before the newest.
    fn back(&self, ago: u8) -> u8 {
        self.step(self.index, self.count.wrapping_sub(ago))
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
            time: newer.time.wrapping_sub(newer.gap()),
            turn: newer.turn,
            sums,
            sum_turn: (newer_sums == sums).then_some(newer.sum_turn),
            concluded,
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
        let Self { marks: _, count: _, index: _, stage: _, learned: _, unlike_settings: _, tolerance: _, extremes: _ } =
            self;
        self.index.keep(pen);
        self.learned.keep(pen);
        self.unlike_settings.keep(pen);
        self.stage.keep(pen);
        let now = pen.now().get() as u32;
        let mut newer = Mark { time: now, ..super::BLANK };
        for ago in 0..self.count {
            let mark = self.mark(self.back(ago));
            self.expected(ago, newer).keep(mark, pen);
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
        let now = page.now().get() as u32;
        let mut newer = Mark { time: now, ..super::BLANK };
        for ago in 0..self.count {
            let mark = self.expected(ago, newer).fetch(page)?;
            let index = usize::from(self.back(ago));
            *self.marks.get_mut(index).ok_or(Unreadable)? = mark;
            newer = mark;
        }
        Ok(())
    }
}
