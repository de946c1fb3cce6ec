//! Suspect pitches: one far longer than the one before may hold edges that were lost, one far shorter was cut by an extra one, and the next
//! pitch tells. Until then no window closes over it.

use super::{CHAINED, PAIRED, ShaftView, after, near};
use crate::arith::mul_div;
use crate::signals::pattern;

/// The most pitches that one may stand for.
const MOST_PITCHES: u8 = 16;

/// How near a long pitch comes to several: to a quarter of one, or, where the shaft gains speed, short by an eighth of them all.
const LOST: [u32; 2] = [2, 3];

impl ShaftView<'_> {
    /// Whether this pitch confirms that the one before held lost edges, or was cut by an extra one: a [`pattern`].
    pub(super) fn compare(&mut self, time: u32, angle: u32) -> u8 {
        if self.state.spacing.is_unknown(self.plan)
            && self.plan.largest > self.plan.least.saturating_add(self.plan.least >> 2)
        {
            return pattern::WHOLE;
        }
        if self.state.suspect != 0 {
            let found = self.resolve(time);
            if found != pattern::WHOLE || self.state.suspect != 0 {
                return found;
            }
        }
        let (before, share) = (self.signals.pitch, self.signals.pitch_angle);
        if before == 0 {
            return pattern::WHOLE;
        }
        // What it would have turned at the speed of the pitch before, and what it should have, in 2^-27 turn.
        let turned = mul_div(time, share >> 5, before);
        let angle = angle >> 5;
        self.state.suspect = if turned < angle.saturating_sub(angle >> 2) {
            pattern::EXTRA
        } else if turned > angle.saturating_add(angle >> 1) {
            self.state.lost = self.pitches_in(turned, angle, self.state.spacing.index, LOST);
            self.state.lost_more = 0;
            if self.state.lost == 0 { pattern::WHOLE } else { pattern::MISSING }
        } else {
            pattern::WHOLE
        };
        self.state.unsuspected = before;
        self.state.unsuspected_share = share;
        pattern::WHOLE
    }

    /// Whether the shaft may have turned once or more in the suspect pitches: each of a chain has lost one at least.
    pub(super) const fn turned_round(&self) -> bool {
        let seen = if self.state.lost_more > 0 { self.all_lost() } else { 1 };
        self.all_lost().saturating_add(seen) > self.plan.marks
    }

    /// How many edges were lost in the suspect pitches.
    pub(super) const fn all_lost(&self) -> u8 {
        self.state.lost.wrapping_add(self.state.lost_more)
    }

    /// Pass by the marks that gave no edge in the suspect pitches.
    #[inline(never)]
    pub(super) fn catch_up(&mut self) {
        let mut mark = self.state.spacing.preceding(self.plan);
        if self.state.lost_more > 0 {
            mark = if mark == 0 { self.plan.marks.wrapping_sub(1) } else { mark.wrapping_sub(1) };
        }
        for lost in [self.state.lost, self.state.lost_more] {
            for _ in 0..lost {
                self.miss(mark);
                mark = after(mark, self.plan);
                let unseen = self.share(self.state.spacing.index).angle;
                self.forward(unseen);
                self.state.spacing.skip(self.plan);
            }
            // The one that was seen.
            mark = after(mark, self.plan);
        }
    }

    /// Whether the late edge that has just come ends whole pitches at the speed before, to an eighth of one: a belt that slowed down seldom
    /// does. In pitches longer than `regain` it might have stood and be at speed again: there to a 64th.
    pub(super) fn is_of_pitches(&self, time: u32, regain: u32) -> bool {
        let mut mark = self.state.spacing.index;
        if self.state.suspect == CHAINED {
            for _ in 0..self.state.lost {
                mark = after(mark, self.plan);
            }
        }
        let turned = mul_div(time, self.state.unsuspected_share >> 5, self.state.unsuspected);
        let shift = if self.state.unsuspected <= regain { 3 } else { 6 };
        self.pitches_in(turned, self.share(mark).angle >> 5, mark, [shift, 31]) > 0
    }

    /// How many more pitches than the `first` make up an angle, to within 1/2^`shift` of a pitch; none if no number of them does. The
    /// first ends at `mark`. Angles are in 2^-27 turn. A shaft that gains speed falls short of them at the speed before: by up to 1/2^`short`
    /// of them all.
    #[inline(never)]
    fn pitches_in(&self, turned: u32, first: u32, mut mark: u8, [shift, short]: [u32; 2]) -> u8 {
        let mut sum = first;
        for lost in 1..MOST_PITCHES {
            mark = after(mark, self.plan);
            let share = self.share(mark).angle >> 5;
            sum = sum.saturating_add(share);
            let near = share.wrapping_shr(shift);
            if turned <= sum.saturating_add(near) {
                let short = near.max(sum.wrapping_shr(short));
                return if turned >= sum.saturating_sub(short) { lost } else { 0 };
            }
        }
        0
    }

    /// What the suspect pitch before this one was. It stays suspect where the next pitch is to tell.
    #[inline(never)]
    fn resolve(&mut self, time: u32) -> u8 {
        let suspect = core::mem::replace(&mut self.state.suspect, 0);
        let mut whole = self.state.spacing.index;
        if matches!(suspect, pattern::MISSING | CHAINED) {
            for _ in 0..self.all_lost() {
                whole = after(whole, self.plan);
            }
        } else {
            whole = self.state.spacing.preceding(self.plan);
        }
        // What this pitch should take at the speed of the pitch before the suspect one.
        let mark = whole;
        let share = self.share(mark).angle;
        let whole = mul_div(self.state.unsuspected, share, self.state.unsuspected_share);
        if suspect == pattern::EXTRA {
            let both = self.signals.pitch.saturating_add(time);
            if near(both, whole, 3) && time < whole.saturating_sub(whole >> 2) {
                self.state.suspect = PAIRED;
            }
            return pattern::WHOLE;
        }
        if !near(time, whole, 2) {
            if self.may_go_on(suspect) && time > whole {
                let turned = mul_div(time, self.state.unsuspected_share >> 5, self.state.unsuspected);
                let more = self.pitches_in(turned, share >> 5, mark, LOST);
                if more > 0 {
                    self.state.lost = self.all_lost();
                    self.state.lost_more = more;
                    self.state.suspect = CHAINED;
                }
            }
            return pattern::WHOLE;
        }
        if suspect == PAIRED { pattern::EXTRA } else { pattern::MISSING }
    }

    /// Whether the pitch after one so suspect may have lost some as well. And a third running with six marks, or with four where the sensor is
    /// known to lose edges: by then a belt at half speed has been so for a turn. For speed only with three marks or more, as two
    /// of which one is gone are half the speed.
    pub(super) const fn may_go_on(&self, suspect: u8) -> bool {
        let enough = if self.signals.pattern == pattern::MISSING { 4 } else { 6 };
        match suspect {
            pattern::MISSING => true,
            CHAINED => self.plan.marks >= enough && self.all_lost() <= 2,
            _ => false,
        }
    }
}
