//! Motion as bytes.

use super::keep::{Keep, Page, Pen, Unreadable, keep, keep_one_of};
use crate::input::{ContactState, LineState};
use crate::motion::{ContactMotion, Distrust, Motion, Pitch, SeenRatio, ShaftMotion, Slip, SlipReading, TargetPattern};
use crate::units::Ppm;

keep!(Pitch { time, angle, largest });
keep!(ShaftMotion { last_edge, pitch, next_largest, angle, edges, rejected, distrust, line, pattern } fixed { fitted });
keep!(Slip { reading, at, known_at });
keep!(ContactMotion { state, rubbing_since, bridged_until, duty, count } fixed { fitted });
keep!(SeenRatio { ratio, spread, at });
keep!(Motion { head, boot, slip_short, slip_long, slipped, head_since_boot, seen_ratio, contacts });
keep_one_of!(LineState: LineState::Sound, LineState::Open, LineState::Shorted);
keep_one_of!(ContactState: ContactState::Clear, ContactState::Rubbing, ContactState::Faulty);
keep_one_of!(TargetPattern: TargetPattern::Whole, TargetPattern::Missing, TargetPattern::Extra, TargetPattern::Moved);

impl Keep for Distrust {
    fn keep(&self, pen: &mut Pen<'_>) {
        self.bits().keep(pen);
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        let mut bits = 0_u8;
        bits.fetch(page)?;
        *self = Self::from_bits(bits).ok_or(Unreadable)?;
        Ok(())
    }
}

impl Keep for SlipReading {
    fn keep(&self, pen: &mut Pen<'_>) {
        match self {
            Self::Unknown => pen.byte(0),
            Self::Retracted => pen.byte(1),
            Self::Known(ppm) => (2_u8, *ppm).keep(pen),
            Self::AtLeast(ppm) => (3_u8, *ppm).keep(pen),
        }
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        let mut ppm = Ppm::ZERO;
        *self = match page.byte()? {
            0 => Self::Unknown,
            1 => Self::Retracted,
            2 => {
                ppm.fetch(page)?;
                Self::Known(ppm)
            }
            3 => {
                ppm.fetch(page)?;
                Self::AtLeast(ppm)
            }
            _ => return Err(Unreadable),
        };
        Ok(())
    }
}
