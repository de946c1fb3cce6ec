//! From levels to edges that count: held for the minimum width, not closer than two targets can be; and what else speaks against a sensor.

use slackside::input::{LineState, Shaft};
use slackside::settings::plan::{Plan, ShaftPlan};
use slackside::signals::{ShaftSignals, distrust};

/// Rejects closer together than this are one nuisance.
const BURST: u64 = 5_000;
/// What is said of a sensor here; the others follow from the spacing of its targets and from how its pitches scatter.
const SAID: u8 = !(distrust::TOO_FAST | distrust::SCATTER);

/// One shaft's sensor.
#[derive(Clone, Debug)]
pub struct Gate {
    plan: ShaftPlan,
    width: u64,
    /// The level that has proven itself; and the one that waits, since when.
    level: Option<bool>,
    waiting: Option<(bool, u64)>,
    pub newest: Option<u64>,
    pub pitch: u64,
    edges: u32,
    pub rejected: u32,
    line: LineState,
    distrust: u8,
    last_reject: Option<u64>,
    /// Since when rejects and marks are counted, and how many there were.
    window: (u64, u32, u32),
    /// Whether an edge of a train was thinned out since the last that counted, and for how many in a row that was so.
    thinned: bool,
    trains: u32,
}

impl Gate {
    pub fn new(plan: &Plan, shaft: Shaft, now: u64) -> Self {
        Self {
            plan: *plan.shaft(shaft),
            width: plan.minimum_width.into(),
            level: None,
            waiting: None,
            newest: None,
            pitch: 0,
            edges: 0,
            rejected: 0,
            line: LineState::Sound,
            distrust: 0,
            last_reject: None,
            window: (now, 0, 0),
            thinned: false,
            trains: 0,
        }
    }

    fn counts(&self, level: bool) -> bool {
        match self.plan.edges {
            0 => level,
            1 => !level,
            _ => true,
        }
    }

    /// A level was told.
    pub fn raw(&mut self, level: bool, now: u64) {
        if !self.plan.is_fitted() {
            return;
        }
        if let Some((waits, since)) = self.waiting
            && !self.counts(waits)
            && now - since >= self.width
        {
            (self.level, self.waiting) = (Some(waits), None);
        }
        let waited = self.waiting.map(|(level, _)| level);
        if self.level == Some(level) {
            self.waiting = None;
        } else if waited != Some(level) {
            self.waiting = Some((level, now));
        }
        // What waited was too narrow.
        if waited.is_some_and(|waited| waited != level) {
            self.reject(now);
        }
    }

    /// Whether an edge has been held long enough by now, and was no bounce: when it was.
    pub fn settle(&mut self, now: u64) -> Option<u64> {
        let (level, at) = self.waiting.filter(|(level, since)| self.counts(*level) && now - since >= self.width)?;
        (self.level, self.waiting) = (Some(level), None);
        let since = self.newest.map(|newest| at - newest);
        if since.is_some_and(|since| since < self.plan.minimum_gap.into()) {
            self.thinned |= since.is_some_and(|since| since >= u64::from(self.plan.minimum_gap / 4));
            self.reject(at);
            return None;
        }
        self.edges += 1;
        self.window.1 += 1;
        if self.window.1 >= self.plan.marks.into() {
            self.end_window(at);
        }
        let thinned = std::mem::take(&mut self.thinned);
        self.pitch = since.filter(|since| *since <= self.plan.rest.into()).unwrap_or(0);
        if self.pitch == 0 {
            self.trains = 0;
        } else {
            self.trains = if thinned { self.trains + 1 } else { 0 };
            self.put(distrust::HUM, self.trains >= 3);
        }
        self.newest = Some(at);
        Some(at)
    }

    fn put(&mut self, bit: u8, is: bool) {
        self.distrust = if is { self.distrust | bit } else { self.distrust & !bit };
    }

    fn reject(&mut self, at: u64) {
        self.rejected += 1;
        if self.last_reject.is_some_and(|last| at - last < BURST) {
            return;
        }
        self.last_reject = Some(at);
        if at - self.window.0 > self.plan.reject_window.into() {
            self.end_window(at);
        }
        self.window.2 += 1;
        if self.window.2 > self.plan.rejects_a_turn.into() {
            self.put(distrust::REJECTS, true);
        }
    }

    fn end_window(&mut self, at: u64) {
        if self.window.2 <= self.plan.rejects_a_turn.into() {
            self.put(distrust::REJECTS | distrust::EDGES_LOST, false);
        }
        self.window = (at, 0, 0);
    }

    pub fn lost(&mut self, now: u64) {
        self.put(distrust::EDGES_LOST, true);
        self.window = (now, 0, 0);
    }

    pub fn line(&mut self, line: LineState) {
        self.line = line;
        self.put(distrust::LINE_OPEN, line == LineState::Open);
        self.put(distrust::LINE_SHORTED, line == LineState::Shorted);
    }

    pub fn bridged(&mut self, is: bool) {
        self.put(distrust::BRIDGED, is);
    }

    /// What measure must say of it: edges and rejects, when the newest came, the pitch that it ended, line and trust.
    pub fn says(&self) -> (u32, u32, u32, u32, u8, u8) {
        let newest = self.newest.map_or(0, |newest| newest as u32);
        (self.edges, self.rejected, newest, self.pitch as u32, self.line as u8, self.distrust)
    }

    pub fn said(shaft: &ShaftSignals) -> (u32, u32, u32, u32, u8, u8) {
        let newest = if shaft.is_seen() { shaft.last_edge } else { 0 };
        (shaft.edges, shaft.rejected, newest, shaft.pitch, shaft.line, shaft.distrust & SAID)
    }
}

/// Edges of both shafts that come together, again and again: one signal on two inputs.
#[derive(Clone, Copy, Debug, Default)]
pub struct Twins {
    pairs: u32,
    /// Whether the newest edge is alone.
    alone: bool,
}

impl Twins {
    /// An edge at `at`, the newest of the other shaft at `other`; whether that makes four turns of pairs, and sixteen.
    pub fn edge(&mut self, at: u64, other: Option<u64>, marks: u8) -> bool {
        if other.is_some_and(|other| at.abs_diff(other) <= 20) {
            (self.alone, self.pairs) = (false, self.pairs + 1);
        } else {
            if self.alone {
                self.pairs = 0;
            }
            self.alone = true;
        }
        self.pairs >= u32::from(marks).saturating_mul(4).max(16)
    }
}
