//! What came after the moment: how the leg ran down once the motor was off.

use super::shaft::{milliseconds, whole_share};
use super::{Clue, Evidence};

/// For how long it is looked on, in microseconds.
const LOOKED_ON_US: u64 = 30_000_000;
/// The motor is off within this of the moment if the leg was stopped, in microseconds.
const STOPPED_WITHIN_US: u64 = 5_000_000;
const MOST: usize = 1_000;

/// What came after the moment.
#[derive(Clone, Debug)]
pub(super) struct After {
    moment: u64,
    /// Time of the last rise before, and the usual pitch, of head and boot.
    before: [Option<(u64, u64)>; 2],
    targets: [u64; 2],
    rises: [Vec<u64>; 2],
    drive_off: Option<u64>,
}

impl After {
    pub fn new(moment: u64, before: [Option<(u64, u64)>; 2], targets: [u64; 2], drive_off: bool) -> Self {
        Self { moment, before, targets, rises: Default::default(), drive_off: drive_off.then_some(moment) }
    }

    pub fn rise(&mut self, shaft: usize, at: u64) {
        if at > self.moment && at - self.moment < LOOKED_ON_US && self.rises[shaft].len() < MOST {
            self.rises[shaft].push(at);
        }
    }

    pub fn drive(&mut self, at: u64, on: bool) {
        if !on && at >= self.moment && at - self.moment < STOPPED_WITHIN_US {
            self.drive_off.get_or_insert(at);
        }
    }

    /// Write down what came. `ratio`: boot turns for a thousand head turns.
    pub fn tell(&self, ratio: u64, evidence: &mut Evidence) {
        let turned = |shaft: usize, since: u64| {
            let rises = self.rises[shaft].iter().filter(|rise| **rise > since).count() as u64;
            whole_share(rises, self.targets[shaft], 100)
        };
        evidence.set(Clue::BootAfter, if self.targets[1] == 0 { None } else { turned(1, self.moment) });
        let Some(off) = self.drive_off else { return };
        let [head, boot] = [0, 1].map(|shaft| turned(shaft, off));
        evidence.set(Clue::HeadAfter, head);
        let follow = head.zip(boot).filter(|(head, _)| *head >= 50);
        let follow =
            follow.and_then(|(head, boot)| whole_share(boot.max(0) as u64 * 1_000, head.max(0) as u64 * ratio, 100));
        evidence.set(Clue::FollowAfter, follow);
        let halves = [0, 1].map(|shaft| self.half(shaft, off));
        evidence.set(Clue::HeadHalf, halves[0]);
        evidence.set(Clue::BootHalf, halves[1]);
        evidence.set(Clue::HalfApart, halves[0].zip(halves[1]).map(|(head, boot)| head - boot));
        let last = |shaft: usize| self.rises[shaft].last().copied().or(self.before[shaft].map(|(rise, _)| rise));
        if let (Some(head), Some(boot)) = (last(0), last(1)) {
            let apart = milliseconds(head.abs_diff(boot));
            evidence.set(Clue::BootOutlasts, Some(if boot >= head { apart } else { -apart }));
        }
    }

    /// How long after `off` the shaft turned at half its speed, in ms.
    fn half(&self, shaft: usize, off: u64) -> Option<i32> {
        let (mut last, usual) = self.before[shaft]?;
        for rise in &self.rises[shaft] {
            if rise.saturating_sub(last) > 2 * usual {
                break;
            }
            last = *rise;
        }
        Some(milliseconds((last + usual).saturating_sub(off)))
    }
}
