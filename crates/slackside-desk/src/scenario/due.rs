//! When a leg must be stopped, and by when: the one definition that scenarios, score and tuning go by.
//!
//! A stop is **called for** while the motor is on and
//!
//! - the belt runs below 80 % of normal once it was at speed, or its start time is up (29 CFR 1910.272(q)(5): the leg shuts down
//!   when belt speed is reduced by no more than 20 % of normal), or
//! - a surface is hotter than the dust in the casing allows ([`Dust::surface_limit_c`]): the head's face, the belt under it, the boot
//!   pulley, or where the belt rubs.
//!
//! It is **due** when whoever sees the boot's edges alone can know, and has had half a second. Of a slow belt nothing can be seen
//! before the boot shaft itself turns below 80 %: a pulley that a parted belt leaves spinning looks like one that is driven. The
//! pitch in which it fell below holds some of its good speed too, so proof begins with the next edge, at most a pitch later, and
//! takes one pitch at 80 %. Heat is known by slip over four boot turns. Nothing in it depends on any limit of the monitor:
//! loosening a limit cannot make a stop due later. A call that ends before it is due is none: the leg was quicker to recover
//! than anyone could be. The score tells times from the call beside those from due, so that what is blind shows.
//!
//! An alarm for misalignment is called for (29 CFR 1910.272(q)(6)) when the belt touched the casing on three of the last ten
//! loops, or for a whole loop without a break; one for lost speed when the belt ran below 90 % for five seconds (common
//! practice: an alarm at a tenth of speed lost, read in a trade paper).
//!
//! [`Dust::surface_limit_c`]: crate::plant::dust::Dust::surface_limit_c

use crate::plant::leg::Leg;
use crate::plant::warmth::Faces;

use super::settings::Commissioned;

/// The part of normal belt speed below which the leg must be stopped.
pub const LEAST_BELT: f64 = 0.8;

/// The part of normal belt speed below which people must be told.
pub const TOLD_BELT: f64 = 0.9;

/// How long a start may take before the belt must be at speed, in s.
pub const START_TIME_S: f64 = 10.0;

/// How long a stop may take once it can be known, in microseconds: half a second, and 50 ms for the permit's own relay.
pub const PROMPT_US: u64 = 550_000;

/// Boot turns over which small slip is known.
const HEAT_TURNS: f64 = 4.0;

/// How long an alarm for misalignment may take once it is called for, in microseconds.
pub const ASTRAY_ALARM_US: u64 = 60_000_000;

/// How long an alarm for lost speed may take once it is called for, in microseconds: the core knows it at once.
pub const SLOW_ALARM_US: u64 = 10_000_000;

/// For so long the belt must have been slow before people must be told, in microseconds.
const SLOW_US: u64 = 5_000_000;

/// Loops looked back on for touching, and how many of them make a belt that does not track.
const LOOPS: u32 = 10;
const TOUCHED: u32 = 3;

/// What calls for a stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// The belt is slow.
    Belt,
    /// The head's face is hot.
    Head,
    /// The belt under the head is hot.
    Patch,
    /// The boot pulley is hot.
    Boot,
    /// The casing is hot where the belt rubs.
    Rub,
}

impl Why {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Belt, Self::Head, Self::Patch, Self::Boot, Self::Rub];

    /// In a word.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Belt => "belt",
            Self::Head => "head hot",
            Self::Patch => "belt hot",
            Self::Boot => "boot hot",
            Self::Rub => "rub hot",
        }
    }

    /// In a sentence.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::Belt => "belt below 80 %",
            Self::Head => "the head's face is hotter than its dust allows",
            Self::Patch => "the belt under the head is hotter than its dust allows",
            Self::Boot => "the boot pulley is hotter than its dust allows",
            Self::Rub => "the casing is hotter than its dust allows where the belt rubs",
        }
    }
}

/// A stretch in which a stop was called for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Call {
    /// From when, in microseconds.
    pub from_us: u64,
    /// Until when, as far as is known.
    pub to_us: u64,
    /// When the stop is due.
    pub due_us: u64,
    /// What called for it first.
    pub why: Why,
}

impl Call {
    /// Whether it lasted until it was due.
    #[must_use]
    pub const fn lasts(&self) -> bool {
        self.to_us >= self.due_us
    }
}

/// How the leg is at one moment.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// When, in microseconds.
    pub now_us: u64,
    /// Whether the motor's contactor is closed.
    pub closed: bool,
    /// Belt speed in m/s.
    pub belt: f64,
    /// The speed it should have in m/s.
    pub expected: f64,
    /// The belt speed in m/s that the boot shaft's speed stands for.
    pub shaft: f64,
}

/// The judge of the truth.
#[derive(Clone, Debug)]
pub struct Due {
    normal_belt: f64,
    /// A boot pitch at normal speed, in microseconds.
    pitch_us: f64,
    marks: f64,
    /// Rise in K that a surface may have.
    rise: f64,
    loop_m: f64,
    closed_since: Option<u64>,
    at_speed: Option<u64>,
    hot: Option<Why>,
    calling: Option<Call>,
    /// Since when the boot shaft shows what the call now open is about, in microseconds.
    shown_us: Option<u64>,
    /// The proof of the call now open begins with an edge not seen yet.
    waits_for_edge: bool,
    proof_us: u64,
    /// Every call, oldest first; only the first [`MOST_CALLS`].
    pub calls: Vec<Call>,
    slow_since: Option<u64>,
    /// When people had to be told that the belt is slow, in microseconds.
    pub slow_us: Option<u64>,
    loops: u32,
    run_m: f64,
    touching_m: f64,
    touched: bool,
    /// When the belt touched first, in microseconds.
    pub touched_us: Option<u64>,
    /// When people had to be told that the belt does not track, in microseconds.
    pub astray_us: Option<u64>,
}

/// Most calls kept.
pub const MOST_CALLS: usize = 1_000;

impl Due {
    /// The judge of that leg.
    #[must_use]
    pub fn new(leg: &Leg, commissioned: &Commissioned) -> Self {
        let marks = f64::from(leg.fitted.boot.count);
        Self {
            normal_belt: commissioned.belt,
            pitch_us: 1e6 / (marks * commissioned.boot),
            marks,
            rise: leg.heat.dust.surface_limit_c() - leg.heat.ambient_c,
            loop_m: leg.loop_length(),
            closed_since: None,
            at_speed: None,
            hot: None,
            calling: None,
            shown_us: None,
            waits_for_edge: false,
            proof_us: 0,
            calls: Vec::new(),
            slow_since: None,
            slow_us: None,
            loops: 0,
            run_m: 0.0,
            touching_m: 0.0,
            touched: false,
            touched_us: None,
            astray_us: None,
        }
    }

    /// Since when the motor is on and the belt at speed, in microseconds.
    #[must_use]
    pub const fn at_speed_us(&self) -> Option<u64> {
        self.at_speed
    }

    /// Whether the start is over.
    #[must_use]
    pub fn started(&self, now_us: u64) -> bool {
        self.closed_since
            .is_some_and(|since| self.at_speed.is_some() || now_us.saturating_sub(since) as f64 * 1e-6 > START_TIME_S)
    }

    /// How warm the surfaces are.
    pub fn surfaces(&mut self, faces: &Faces) {
        let too_hot =
            [(faces.belt, Why::Patch), (faces.head, Why::Head), (faces.rub, Why::Rub), (faces.boot, Why::Boot)];
        self.hot = too_hot.into_iter().find(|(rise, _)| *rise > self.rise).map(|(_, why)| why);
    }

    /// A rising edge of the boot came over the wire.
    pub fn edge(&mut self, at_us: u64) {
        if let (true, Some(shown_us), Some(call)) = (self.waits_for_edge, self.shown_us, &mut self.calling)
            && at_us >= shown_us
        {
            self.waits_for_edge = false;
            if at_us <= shown_us + self.proof_us {
                call.due_us = at_us + self.proof_us + PROMPT_US;
            }
        }
    }

    /// A step on. Says what calls for a stop now.
    pub fn look(&mut self, moment: &Moment) -> Option<Why> {
        let Moment { now_us, closed, belt, expected, shaft } = *moment;
        if closed != self.closed_since.is_some() {
            self.closed_since = closed.then_some(now_us);
            self.at_speed = None;
        }
        if !closed {
            self.close();
            self.slow_since = None;
            return None;
        }
        if self.at_speed.is_none() && belt > 0.9 * expected && expected > 0.3 * self.normal_belt {
            self.at_speed = Some(now_us);
        }
        let started = self.started(now_us);
        if started && belt < TOLD_BELT * expected {
            let since = *self.slow_since.get_or_insert(now_us);
            if self.slow_us.is_none() && now_us - since >= SLOW_US {
                self.slow_us = Some(now_us);
            }
        } else {
            self.slow_since = None;
        }
        let why = if started && belt < LEAST_BELT * expected { Some(Why::Belt) } else { self.hot };
        match (why, &mut self.calling) {
            (Some(_), Some(call)) => call.to_us = now_us,
            (Some(why), None) => {
                let share = (expected / self.normal_belt).clamp(0.05, 1.0);
                let pitch = self.pitch_us / share;
                self.proof_us = match why {
                    Why::Belt => pitch / LEAST_BELT,
                    _ => HEAT_TURNS * self.marks * pitch,
                } as u64;
                self.waits_for_edge = why == Why::Belt;
                self.shown_us = (why != Why::Belt).then_some(now_us);
                let due_us = now_us + self.proof_us + PROMPT_US;
                self.calling = Some(Call { from_us: now_us, to_us: now_us, due_us, why });
            }
            (None, _) => self.close(),
        }
        if let (None, Some(call)) = (self.shown_us, &mut self.calling) {
            call.due_us = now_us + self.proof_us + PROMPT_US;
            self.shown_us = (shaft < LEAST_BELT * expected).then_some(now_us);
        }
        why
    }

    /// The belt ran so many metres, touching or not.
    pub fn ran(&mut self, metres: f64, touches: bool, now_us: u64) {
        if metres <= 0.0 {
            return;
        }
        self.run_m += metres;
        self.touching_m = if touches { self.touching_m + metres } else { 0.0 };
        if touches {
            self.touched = true;
            self.touched_us.get_or_insert(now_us);
        }
        if self.run_m >= self.loop_m {
            self.run_m -= self.loop_m;
            self.loops = (self.loops << 1 | u32::from(self.touched)) & ((1 << LOOPS) - 1);
            self.touched = false;
        }
        let often = self.loops.count_ones() >= TOUCHED || self.touching_m >= self.loop_m;
        if often && self.astray_us.is_none() {
            self.astray_us = Some(now_us);
        }
    }

    fn close(&mut self) {
        if let Some(call) = self.calling.take()
            && self.calls.len() < MOST_CALLS
        {
            self.calls.push(call);
        }
        self.waits_for_edge = false;
    }

    /// The end: whatever is open is closed.
    pub fn end(&mut self) {
        self.close();
    }

    /// The first call that lasted until it was due.
    #[must_use]
    pub fn first(&self) -> Option<Call> {
        self.calls.iter().copied().find(Call::lasts)
    }
}

#[cfg(test)]
mod tests {
    use super::super::legs;
    use super::*;

    fn due() -> Due {
        let leg = legs::leg("millbrook-leg-3").unwrap();
        Due::new(&leg, &Commissioned { head: 1.4, boot: 1.4, belt: 2.6, idle_head: 1.4, idle_ratio: 1.0 })
    }

    fn run(due: &mut Due, from_us: u64, to_us: u64, belt: f64) {
        let mut now_us = from_us;
        while now_us < to_us {
            due.look(&Moment { now_us, closed: true, belt, expected: 2.6, shaft: belt });
            now_us += 2_000;
        }
    }

    #[test]
    fn due_is_one_pitch_after_the_next_edge_and_half_a_second() {
        let mut due = due();
        run(&mut due, 0, 20_000_000, 2.6);
        run(&mut due, 20_000_000, 20_100_000, 2.0);
        due.edge(20_090_000);
        run(&mut due, 20_100_000, 24_000_000, 2.0);
        due.end();
        let call = due.first().unwrap();
        // Four marks at 1.4 turns a second: a pitch of 178.6 ms, 223.2 ms at 80 %.
        assert_eq!((call.from_us, call.why), (20_000_000, Why::Belt));
        assert_eq!(call.due_us, 20_090_000 + 223_214 + PROMPT_US);
    }

    /// A parted belt stands; the boot pulley coasts, and nobody at its shaft can know before it is slow as well.
    #[test]
    fn a_boot_that_coasts_hides_a_parted_belt() {
        let mut due = due();
        run(&mut due, 0, 20_000_000, 2.6);
        let mut now_us = 20_000_000;
        while now_us < 25_000_000 {
            // 2.08 m/s, 80 %, after 1.04 s.
            let shaft = 2.6 - 0.5 * (now_us - 20_000_000) as f64 * 1e-6;
            due.look(&Moment { now_us, closed: true, belt: 0.0, expected: 2.6, shaft });
            if now_us == 20_900_000 || now_us == 21_100_000 {
                due.edge(now_us);
            }
            now_us += 2_000;
        }
        due.end();
        let call = due.first().unwrap();
        assert_eq!((call.from_us, call.due_us), (20_000_000, 21_100_000 + 223_214 + PROMPT_US));
    }

    #[test]
    fn a_dip_too_short_for_anyone_is_no_call_and_a_start_has_its_time() {
        let mut due = due();
        run(&mut due, 0, 9_000_000, 0.5);
        assert!(due.calls.is_empty() && due.calling.is_none());
        run(&mut due, 9_000_000, 20_000_000, 2.6);
        run(&mut due, 20_000_000, 20_600_000, 1.5);
        run(&mut due, 20_600_000, 30_000_000, 2.6);
        due.end();
        assert_eq!(due.calls.len(), 1);
        assert_eq!(due.first(), None);
    }

    #[test]
    fn heat_calls_with_the_belt_at_full_speed() {
        let mut due = due();
        run(&mut due, 0, 20_000_000, 2.6);
        due.surfaces(&Faces { rub: 126.0, ..Faces::default() });
        run(&mut due, 20_000_000, 25_000_000, 2.6);
        due.end();
        assert_eq!(due.first().map(|call| call.why), Some(Why::Rub));
    }

    #[test]
    fn touching_once_a_loop_is_astray_after_three_loops() {
        let mut due = due();
        let loop_m = due.loop_m;
        let mut now_us = 0;
        for step in 0..6_000 {
            let at = f64::from(step) * 0.05;
            due.ran(0.05, at % loop_m < 1.0, now_us);
            now_us += 20_000;
        }
        let loops = due.astray_us.unwrap() as f64 * 1e-6 * 2.5 / loop_m;
        assert!((2.9..3.2).contains(&loops), "{loops}");
        assert_eq!(due.touched_us, Some(0));
    }
}
