//! Two coupled wheels turning as told: exact edges for tests whose answer is known beforehand.
//!
//! This is arithmetic, not a plant: head speed and slip are given as functions of time, the boot follows
//! `boot speed = R * head speed * (1 - slip)`, and each edge is placed where the angle passes its mark.

use slackside::input::{Input, Shaft, Signal};
use slackside::units::Micros;
pub use slackside_legs::random::Random;

/// Angle, integrated finely enough that a microsecond is never missed.
const STEP_S: f64 = 0.000_5;

/// One wheel's targets.
#[derive(Clone, Debug)]
pub struct Wheel {
    /// Where each target begins, as a share of the turn, rising.
    pub begins: Vec<f64>,
    /// How wide each target is, as a share of the turn.
    pub width: f64,
    /// Standard deviation of each edge's time, in microseconds.
    pub jitter_us: f64,
}

impl Wheel {
    /// Evenly spaced targets that fill a third of their pitch.
    pub fn even(count: u32) -> Self {
        let pitch = 1.0 / f64::from(count);
        Self {
            begins: (0..count).map(|target| f64::from(target) * pitch).collect(),
            width: pitch / 3.0,
            jitter_us: 0.0,
        }
    }

    /// Targets each shifted by up to `error` of the mean pitch, from a seed.
    pub fn with_spacing_error(count: u32, error: f64, seed: u64) -> Self {
        let mut random = Random(seed);
        let mut wheel = Self::even(count);
        let pitch = 1.0 / f64::from(count);
        for begin in &mut wheel.begins {
            // Half the error each way, so that a pitch is wrong by no more than the whole.
            *begin += pitch * error * (random.unit() - 0.5);
        }
        wheel
    }

    /// With jitter of this standard deviation.
    pub fn jittered(self, jitter_us: f64) -> Self {
        Self { jitter_us, ..self }
    }

    /// All level changes of one turn, in order of angle.
    fn marks(&self) -> Vec<(f64, bool)> {
        let mut marks: Vec<_> =
            self.begins.iter().flat_map(|begin| [(*begin, true), (begin + self.width, false)]).collect();
        marks.sort_by(|one, other| one.0.total_cmp(&other.0));
        marks
    }
}

/// Two wheels and how they turn.
pub struct Wheels<'a> {
    /// On the head shaft.
    pub head: Option<Wheel>,
    /// On the boot shaft.
    pub boot: Option<Wheel>,
    /// Boot turns for each head turn without slip.
    pub ratio: f64,
    /// Head speed in turns a second, by time in seconds.
    pub head_speed: &'a dyn Fn(f64) -> f64,
    /// Slip as a share, by time in seconds.
    pub slip: &'a dyn Fn(f64) -> f64,
    /// Where the time begins, in microseconds.
    pub begin_us: u64,
    /// Seed of the jitter.
    pub seed: u64,
}

impl Wheels<'_> {
    /// The edges of `seconds` of turning, in order of time.
    pub fn edges(&self, seconds: f64) -> Vec<Input> {
        self.edges_by(STEP_S, seconds)
    }

    /// The same, with speed and slip looked at only once in so many seconds.
    pub fn edges_by(&self, step_s: f64, seconds: f64) -> Vec<Input> {
        let mut found: Vec<(f64, Shaft, bool)> = Vec::new();
        let mut random = Random(self.seed);
        let mut tracks: Vec<Track> = [(Shaft::Head, &self.head, 0.003), (Shaft::Boot, &self.boot, 0.017)]
            .into_iter()
            .filter_map(|(shaft, wheel, offset)| {
                let wheel = wheel.as_ref()?;
                // A small offset so that no two marks coincide at time zero.
                Some(Track { shaft, marks: wheel.marks(), angle: -offset, next: 0, jitter_us: wheel.jitter_us })
            })
            .collect();
        let steps = (seconds / step_s) as u64;
        for step in 0..steps {
            let time = step as f64 * step_s;
            for Track { shaft, marks, angle, next, jitter_us } in &mut tracks {
                let speed = |at: f64| match shaft {
                    Shaft::Head => (self.head_speed)(at),
                    Shaft::Boot => (self.head_speed)(at) * self.ratio * (1.0 - (self.slip)(at)),
                };
                let (from, to) = (speed(time), speed(time + step_s));
                let turned = (from + to) / 2.0 * step_s;
                loop {
                    let (share, level) = marks[*next % marks.len()];
                    let mark = (*next / marks.len()) as f64 + share;
                    if mark > *angle + turned || turned <= 0.0 {
                        break;
                    }
                    let within = cross(mark - *angle, from, to, step_s);
                    found.push((time + within + *jitter_us * 1e-6 * random.normal(), *shaft, level));
                    *next += 1;
                }
                *angle += turned;
            }
        }
        found.sort_by(|one, other| one.0.total_cmp(&other.0));
        found
            .into_iter()
            .map(|(at, shaft, level)| {
                let at = self.begin_us + (at.max(0.0) * 1e6).round() as u64;
                Input::new(Micros::new(at), Signal::Edge(shaft, level))
            })
            .collect()
    }
}

/// A wheel on its way.
struct Track {
    shaft: Shaft,
    /// Where in the turn the level changes, and to what.
    marks: Vec<(f64, bool)>,
    /// Turns so far.
    angle: f64,
    /// The mark passed next, counted over all turns.
    next: usize,
    jitter_us: f64,
}

/// When `angle` has been turned while the speed goes evenly from `from` to `to` within one step of so many seconds.
fn cross(angle: f64, from: f64, to: f64, step_s: f64) -> f64 {
    let mut low = 0.0;
    let mut high = step_s;
    for _ in 0..40 {
        let middle = (low + high) / 2.0;
        let speed = from + (to - from) * middle / step_s;
        if (from + speed) / 2.0 * middle < angle { low = middle } else { high = middle }
    }
    high
}
