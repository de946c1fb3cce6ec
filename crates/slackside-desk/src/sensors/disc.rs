//! The targets on a shaft, as angles where the sensor's level changes.

use super::edge_time::passed_after;
use crate::plant::chance::Chance;
use crate::plant::leg::Targets;
use crate::plant::ripple::floor;

/// By how much of a pitch a target looks narrower to a sensor that is out of reach by so much.
#[must_use]
pub fn narrower(out_of_reach: f64) -> f64 {
    out_of_reach * 1.2 * 0.45
}

/// What is wrong with the targets.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DiscUpset {
    /// The first target is gone.
    pub missing: bool,
    /// The first target has moved round by this share of a pitch.
    pub moved: f64,
    /// How far the sensor is out of reach: 1 sees nothing any more.
    pub out_of_reach: f64,
}

#[derive(Clone, Copy, Debug)]
struct Target {
    centre: f64,
    width: f64,
}

/// The disc and where it stands.
#[derive(Clone, Debug)]
pub struct Disc {
    targets: Vec<Target>,
    /// Angle in turns and the level beyond it going forward, in order.
    marks: Vec<(f64, bool)>,
    at: f64,
    /// The mark that comes next going forward, and how many whole turns its angle is ahead (0 or 1).
    next: usize,
    upset: DiscUpset,
}

impl Disc {
    /// Targets with their own spacing errors, drawn from `chance`.
    #[must_use]
    pub fn new(targets: &Targets, chance: &mut Chance) -> Self {
        let count = f64::from(targets.count);
        let pitch = 1.0 / count;
        let worst = chance.uniform();
        let drawn = (0..targets.count).map(|i| {
            let place = f64::from(i) / count;
            let off = chance.between(-1.0, 1.0) * targets.spacing_error_pct / 100.0;
            let runout = targets.runout_pct / 100.0 * libm::cos(core::f64::consts::TAU * (place + worst));
            Target {
                centre: place + 0.5 * pitch + off * pitch,
                width: targets.width_pct / 100.0 * pitch * (1.0 + runout),
            }
        });
        let mut disc = Self {
            targets: drawn.collect(),
            marks: Vec::new(),
            at: chance.uniform(),
            next: 0,
            upset: DiscUpset::default(),
        };
        disc.mark();
        disc
    }

    /// Change what is wrong with it.
    pub fn set_upset(&mut self, upset: DiscUpset) {
        if upset != self.upset {
            self.upset = upset;
            self.mark();
        }
    }

    fn mark(&mut self) {
        let count = self.targets.len() as f64;
        self.marks.clear();
        let wrap = |angle: f64| angle - floor(angle);
        for (i, target) in self.targets.iter().enumerate() {
            if i == 0 && self.upset.missing {
                continue;
            }
            let moved = if i == 0 { self.upset.moved / count } else { 0.0 };
            // The farther the sensor, the less of a target it sees, and what runout holds off most it loses first.
            let width = target.width - narrower(self.upset.out_of_reach) / count;
            if width > 0.005 / count {
                let centre = target.centre + moved;
                self.marks.push((wrap(centre - 0.5 * width), true));
                self.marks.push((wrap(centre + 0.5 * width), false));
            }
        }
        self.marks.sort_by(|a, b| a.0.total_cmp(&b.0));
        self.next = self.marks.partition_point(|mark| mark.0 <= self.at) % self.marks.len().max(1);
    }

    /// Whether the sensor sees a target now.
    #[must_use]
    pub fn level(&self) -> bool {
        // Behind the next mark the level is the opposite of what comes.
        self.marks.get(self.next).is_some_and(|mark| !mark.1)
    }

    /// Turn for `dt` seconds from one speed to another, in turns a second. `edge` gets the time within the step and the
    /// level that begins then.
    pub fn turn(&mut self, from: f64, to: f64, dt: f64, mut edge: impl FnMut(f64, bool)) {
        let travel = 0.5 * (from + to) * dt;
        let count = self.marks.len();
        if count > 0 {
            let mut gone = 0.0;
            // A step of a few milliseconds passes a few marks at most; the bound only guards against wild speeds.
            for _ in 0..256 {
                if travel >= 0.0 {
                    let (angle, level) = self.marks[self.next];
                    let here = wrapped(self.at + gone);
                    let mut ahead = angle - here;
                    if ahead <= 0.0 {
                        ahead += 1.0;
                    }
                    if gone + ahead > travel {
                        break;
                    }
                    gone += ahead;
                    edge(passed_after(gone, from, to, dt), level);
                    self.next = (self.next + 1) % count;
                } else {
                    let last = (self.next + count - 1) % count;
                    let (angle, level) = self.marks[last];
                    let here = wrapped(self.at + gone);
                    let mut behind = here - angle;
                    if behind < 0.0 {
                        behind += 1.0;
                    }
                    if -gone + behind > -travel {
                        break;
                    }
                    // A hair beyond the mark, so that it is not met again.
                    gone -= behind + 1e-12;
                    edge(passed_after(gone, from, to, dt), !level);
                    self.next = last;
                }
            }
        }
        self.at = wrapped(self.at + travel);
    }
}

fn wrapped(angle: f64) -> f64 {
    angle - floor(angle)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn targets(count: u8) -> Targets {
        Targets { count, spacing_error_pct: 1.0, width_pct: 45.0, runout_pct: 5.0, jitter_us: 0.0, supervised: false }
    }

    #[test]
    fn every_turn_gives_every_target_once_and_levels_alternate() {
        for count in [1, 4, 32] {
            let mut disc = Disc::new(&targets(count), &mut Chance::new(5, 0));
            let mut level = disc.level();
            let (mut rises, mut all) = (0, 0);
            for _ in 0..5_000 {
                disc.turn(1.0, 1.0, 0.002, |_, now| {
                    assert_ne!(now, level);
                    level = now;
                    all += 1;
                    rises += u32::from(now);
                });
            }
            assert_eq!((rises, all), (10 * u32::from(count), 20 * u32::from(count)));
            assert_eq!(level, disc.level());
        }
    }

    #[test]
    fn turning_back_undoes_what_turning_forward_did() {
        let mut disc = Disc::new(&targets(4), &mut Chance::new(6, 0));
        let first = disc.level();
        let mut level = first;
        for _ in 0..700 {
            disc.turn(0.9, 0.9, 0.002, |_, now| level = now);
        }
        let mut back = 0;
        for _ in 0..700 {
            disc.turn(-0.9, -0.9, 0.002, |_, now| {
                assert_ne!(now, level);
                level = now;
                back += 1;
            });
        }
        assert_eq!(level, first);
        assert!((9..=11).contains(&back), "{back}");
    }

    #[test]
    fn a_missing_target_leaves_one_less_and_out_of_reach_none() {
        let mut disc = Disc::new(&targets(4), &mut Chance::new(7, 0));
        let count = |disc: &mut Disc| {
            let mut rises = 0;
            for _ in 0..500 {
                disc.turn(1.0, 1.0, 0.002, |_, now| rises += u32::from(now));
            }
            rises
        };
        disc.set_upset(DiscUpset { missing: true, ..DiscUpset::default() });
        assert_eq!(count(&mut disc), 3);
        disc.set_upset(DiscUpset { out_of_reach: 1.0, ..DiscUpset::default() });
        assert_eq!(count(&mut disc), 0);
    }
}
