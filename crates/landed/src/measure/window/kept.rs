//! The windows as bytes. Closing marks lie nearly evenly in head angle, so each is told as the difference of two steps.

use super::{ShortAngle, Windows};
use crate::record::keep::{Keep, Page, Pen, Unreadable, unzigzag, zigzag};
use crate::units::Micros;

/// Steps before each remembered angle: the first from the newest head edge.
struct Steps {
    angle: ShortAngle,
    step: u32,
}

impl Windows {
    fn steps(&self) -> Steps {
        Steps { angle: self.head.map_or(0, |(_, angle)| super::short(angle)), step: 0 }
    }
}

impl Keep for Windows {
    fn keep(&self, pen: &mut Pen<'_>) {
        // A field that is neither kept nor follows from the settings does not compile.
        let Self {
            head_per_boot: _,
            boot_per_head: _,
            closing_share: _,
            apart: _,
            stride: _,
            boot_marks: _,
            closings: _,
            boot_index: _,
            at_marks: _,
            waiting: _,
            boot_edge: _,
            head_at_boot: _,
            head: _,
            head_pitch: _,
            trend: _,
            whole: _,
            doubt: _,
            boot_circumference: _,
            slipped: _,
        } = self;
        self.boot_index.keep(pen);
        pen.varint(self.waiting.len() as u64);
        for mark in &self.waiting {
            super::whole_before(*mark, pen.now()).keep(pen);
        }
        self.boot_edge.keep(pen);
        self.head_at_boot.keep(pen);
        self.head.keep(pen);
        self.head_pitch.keep(pen);
        self.trend.keep(pen);
        self.whole.keep(pen);
        self.doubt.keep(pen);
        self.slipped.keep(pen);
        pen.varint(self.at_marks.len() as u64);
        let mut last = self.steps();
        for angle in self.at_marks.iter().rev() {
            let step = last.angle.wrapping_sub(*angle);
            pen.varint(zigzag(i64::from(step.wrapping_sub(last.step) as i32)));
            last = Steps { angle: *angle, step };
        }
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        self.boot_index.fetch(page)?;
        self.waiting.clear();
        for _ in 0..page.varint()? {
            let mut mark = Micros::ZERO;
            mark.fetch(page)?;
            self.waiting.push_back(mark.get() as u32).map_err(|_| Unreadable)?;
        }
        self.boot_edge.fetch(page)?;
        self.head_at_boot.fetch(page)?;
        self.head.fetch(page)?;
        self.head_pitch.fetch(page)?;
        self.trend.fetch(page)?;
        self.whole.fetch(page)?;
        self.doubt.fetch(page)?;
        self.slipped.fetch(page)?;
        self.at_marks.clear();
        let mut last = self.steps();
        for _ in 0..page.varint()? {
            let difference = i32::try_from(unzigzag(page.varint()?)).map_err(|_| Unreadable)?;
            let step = last.step.wrapping_add(difference as u32);
            last = Steps { angle: last.angle.wrapping_sub(step), step };
            self.at_marks.push_front(last.angle).map_err(|_| Unreadable)?;
        }
        Ok(())
    }
}
