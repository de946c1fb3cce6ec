//! Plays a story and writes down all that can be seen of its box from outside: what it did in words, and everything after each input as a
//! digest. What must hold whatever comes is looked at on the way.

use std::fmt::Write as _;

use slackside::alarm::AlarmState;
use slackside::conditions::{Action, Condition};
use slackside::input::{Command, Input, Signal};
use slackside::retained::Retained;
use slackside::signals::Reading;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Phase, Refusal, Verdict};
use zerocopy::IntoBytes;

use crate::story::{Between, Story};
use crate::{Monitor, tick};

/// A story's digests, one at the end of each equal part of its inputs.
pub const PARTS: usize = 16;
/// What survives a loss of power is looked at after so many inputs, and whenever something was said.
const RETAINED_EACH: usize = 64;
/// And the state, after so many.
const STATE_EACH: usize = 16;
/// So many permits and alarms are told in words; all are in the digest.
const TOLD: usize = 8;

/// What was seen of a story.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// What happened, to be read.
    pub facts: String,
    /// Everything that could be seen, from the beginning to the end of each part.
    pub digests: Vec<u16>,
    /// Every verdict, with the number of the input that it came with.
    pub verdicts: Vec<(usize, Verdict)>,
}

/// Play it.
///
/// # Panics
/// If a promise is broken: the message names the story and the input.
#[must_use]
pub fn play(story: &Story) -> Seen {
    let mut witness = Witness::new(story);
    let inputs = &story.leg.inputs;
    let mut between = story.between.iter().peekable();
    let mut digests = Vec::new();
    for (index, input) in inputs.iter().enumerate() {
        witness.index = index;
        while let Some((_, what)) = between.next_if(|(at, _)| *at <= index) {
            match what {
                Between::PowerCut => witness.lose_power(),
                Between::Rot(bit) => witness.lose_memory(*bit),
                Between::Copy => witness.go_on_in_another(),
            }
        }
        witness.observe(*input);
        if (index + 1) * PARTS / inputs.len() > digests.len() {
            digests.push(witness.digest.0 as u16 ^ (witness.digest.0 >> 16) as u16 ^ (witness.digest.0 >> 48) as u16);
        }
    }
    Seen { facts: witness.facts(), digests, verdicts: witness.verdicts }
}

/// A sum over words that none of them can leave: each is mixed in as `SplitMix64` mixes.
struct Digest(u64);

impl Digest {
    fn word(&mut self, word: u64) {
        let mixed = (self.0 ^ word).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        self.0 = (mixed ^ (mixed >> 29)).wrapping_add(0x9E37_79B9_7F4A_7C15);
    }

    fn bytes(&mut self, bytes: &[u8]) {
        for chunk in bytes.chunks(8) {
            let mut word = [0; 8];
            word[..chunk.len()].copy_from_slice(chunk);
            self.word(u64::from_le_bytes(word));
        }
    }
}

struct Witness<'a> {
    story: &'a Story,
    monitor: Box<Monitor>,
    index: usize,
    digest: Digest,
    verdicts: Vec<(usize, Verdict)>,
    fresh: Vec<Verdict>,
    /// What drops a permit while it holds: the run permit or the feed permit alone.
    stops: Vec<(Condition, bool)>,
    run: bool,
    feed: bool,
    /// What the drive contact last said.
    drive: Option<bool>,
    /// Since when it runs.
    runs_since: Option<Micros>,
}

impl<'a> Witness<'a> {
    fn new(story: &'a Story) -> Self {
        let limits = &story.leg.make.settings.limits;
        let action = |condition: Condition| limits.of(condition).action;
        let stops = Condition::ALL.into_iter().filter(|condition| action(*condition) != Action::Alarm);
        Self {
            story,
            monitor: story.leg.make.monitor(&Retained::default()),
            index: 0,
            digest: Digest(0),
            verdicts: Vec::new(),
            fresh: Vec::new(),
            stops: stops.map(|condition| (condition, action(condition) == Action::Stop)).collect(),
            run: false,
            feed: false,
            drive: None,
            runs_since: None,
        }
    }

    #[track_caller]
    fn expect(&self, holds: bool, what: &str) {
        assert!(
            holds,
            "story {}, input {}, {:?}: {what}\n  just said: {:?}\n  {:?}\n  {:?}",
            self.story.seed,
            self.index,
            self.story.leg.inputs.get(self.index),
            self.fresh,
            self.monitor.status(),
            self.monitor.signals(),
        );
    }

    /// Power goes and comes back: what is kept reads back as it was written, and nothing that stopped the leg is forgotten.
    fn lose_power(&mut self) {
        let kept = self.monitor.retained().unwrap_or_default();
        let read = Retained::from_image(&kept.to_image());
        self.expect(read == Ok(kept), "what survives a loss of power does not read back");
        // What is wrong and not latched may be raised afresh or not.
        let is_latched = |state| matches!(state, AlarmState::LatchedUnacknowledged | AlarmState::LatchedAcknowledged);
        let latched = |monitor: &Monitor| {
            let stops = self.stops.iter().filter(|(condition, stops)| *stops && is_latched(monitor.alarm(*condition)));
            stops.map(|(condition, _)| (*condition, monitor.alarm(*condition))).collect::<Vec<_>>()
        };
        let before = latched(&self.monitor);
        let was_needed = self.monitor.status().boot_cleared_needed;
        let restarted = self.story.leg.make.monitor(&kept);
        let kept_all = before.iter().all(|one| latched(&restarted).contains(one));
        self.monitor = restarted;
        (self.run, self.feed) = (false, false);
        let status = self.monitor.status();
        self.expect(!status.run_permit && !status.feed_permit, "a permit is given before anything is known");
        self.expect(status.boot_cleared_needed == was_needed, "whether the boot must be looked into is forgotten");
        self.expect(kept_all, "a latched stop is forgotten");
    }

    /// Power goes, and a bit of what was kept has turned: that is noticed, and the box begins with the worst.
    fn lose_memory(&mut self, bit: usize) {
        let mut image = self.monitor.retained().unwrap_or_default().to_image();
        let byte = bit / 8 % image.len();
        image[byte] ^= 1 << (bit % 8);
        self.expect(Retained::from_image(&image).is_err(), "a bit that has turned is not noticed");
        self.monitor = self.story.leg.make.monitor(&Retained::unreadable());
        (self.run, self.feed) = (false, false);
        let status = self.monitor.status();
        self.expect(!status.run_permit && !status.feed_permit, "a permit is given before anything is known");
        self.expect(status.boot_cleared_needed, "nobody need look into the boot though nothing is known of it");
    }

    /// Another box, which has seen something else, takes over the bytes of the state.
    fn go_on_in_another(&mut self) {
        let mut bytes = Vec::new();
        self.monitor.parts(&mut |part| bytes.extend_from_slice(part));
        let mut other = self.story.leg.make.monitor(&Retained::unreadable());
        for input in self.story.leg.inputs.iter().rev().take(20).rev() {
            other.observe(*input, &mut |_| {});
        }
        let mut rest = &bytes[..];
        other.parts_mut(&mut |part| {
            let (these, others) = rest.split_at(part.len());
            part.copy_from_slice(these);
            rest = others;
        });
        self.expect(other.state_crc() == self.monitor.state_crc(), "a copied state is another one");
        self.monitor = other;
    }

    fn observe(&mut self, input: Input) {
        let begun = self.monitor.next_deadline().is_some();
        if self.story.is_ticked && begun {
            for _ in 0..1_000 {
                let Some(due) = self.monitor.next_deadline().filter(|due| *due <= input.at) else { break };
                self.take(tick(due.get()));
            }
        }
        if let Signal::Command(origin, command) = input.signal {
            // What falls due by then is not the command's doing.
            self.take(tick(input.at.get()));
            let would = self.monitor.would_take(origin, command);
            self.take(input);
            self.expect_answer(command, would);
        } else {
            self.take(input);
        }
    }

    fn expect_answer(&self, command: Command, would: Result<(), Refusal>) {
        let said = self.fresh.iter().find_map(|verdict| match verdict.change {
            Change::Accepted(_, what) if what == command => Some(Ok(())),
            Change::Refused(_, what, why) if what == command => Some(Err(why)),
            _ => None,
        });
        self.expect(said == Some(would), "a command is answered otherwise than was said it would be");
    }

    /// One input, and everything that can be seen then.
    fn take(&mut self, input: Input) {
        self.fresh.clear();
        if let Signal::DriveRunning(on) = input.signal {
            self.drive = Some(on);
        }
        let fresh = &mut self.fresh;
        self.monitor.observe(input, &mut |verdict| fresh.push(*verdict));
        self.look();
        self.hold(input);
        let index = self.index;
        self.verdicts.extend(self.fresh.iter().map(|verdict| (index, *verdict)));
    }

    fn look(&mut self) {
        let (monitor, digest) = (&self.monitor, &mut self.digest);
        digest.bytes(monitor.signals().as_bytes());
        let status = monitor.status();
        let rank = |condition: Option<Condition>| condition.map_or(0, |condition| 1 + condition.rank() as u64);
        digest.word(u64::from(status.run_permit) | u64::from(status.feed_permit) << 1 | (status.phase as u64) << 2);
        digest.word(u64::from(status.boot_cleared_needed) | rank(status.first_out) << 8 | rank(status.bypassed) << 16);
        digest.word(monitor.next_deadline().map_or(0, |due| due.get().wrapping_add(1)));
        digest.word(monitor.slip_heat_at(monitor.newest()).get() as u64);
        for condition in Condition::ALL {
            digest.word(monitor.alarm(condition) as u64);
        }
        let mut text = String::new();
        for verdict in &self.fresh {
            text.clear();
            let _ = write!(text, "{verdict:?}");
            digest.bytes(text.as_bytes());
        }
        if !self.fresh.is_empty() || self.index.is_multiple_of(RETAINED_EACH) {
            digest.bytes(&monitor.retained().unwrap_or_default().to_image());
        }
        // What each segment of a recording ends with, and whoever plays it again must come to.
        if self.story.is_on_the_brink() && self.index.is_multiple_of(STATE_EACH) {
            digest.word(monitor.state_crc().into());
        }
    }

    /// What must hold after any input.
    fn hold(&mut self, input: Input) {
        let (newest, status) = (self.monitor.newest(), self.monitor.status());
        self.expect(newest >= input.at, "time goes backwards");
        self.expect(self.monitor.next_deadline().is_some_and(|due| due > newest), "a deadline in the past");
        let from = self.verdicts.last().map_or(Micros::ZERO, |(_, verdict)| verdict.at);
        let in_order = self.fresh.is_sorted_by_key(|verdict| verdict.at);
        let within = |verdict: &Verdict| verdict.at >= from && verdict.at <= newest;
        self.expect(in_order && self.fresh.iter().all(within), "a verdict from the past or the future");
        for index in 0..self.fresh.len() {
            if let Change::Permit { permit, allowed, .. } = self.fresh[index].change {
                let held = if permit == Permit::Run { &mut self.run } else { &mut self.feed };
                let was = std::mem::replace(held, allowed);
                self.expect(was != allowed, "a permit changes to what it was");
            }
        }
        self.expect((status.run_permit, status.feed_permit) == (self.run, self.feed), "permits that were not told");
        self.expect(status.run_permit || !status.feed_permit, "feed without run");
        if status.run_permit {
            self.expect(!status.boot_cleared_needed, "a permit while the boot must be looked into");
            let held = |(condition, stops): &&(Condition, bool)| {
                (*stops || status.feed_permit) && self.monitor.alarm(*condition).holds()
            };
            self.expect(!self.stops.iter().any(|one| held(&one)), "a permit while a stop holds");
        }
        self.hold_unknown();
    }

    /// What is not known is not told as healthy.
    fn hold_unknown(&mut self) {
        let signals = *self.monitor.signals();
        for reading in [signals.short, signals.long] {
            let sound = if reading.is_known() { reading.least <= reading.most } else { reading == Reading::UNKNOWN };
            self.expect(sound, "a reading that is neither known nor unknown");
        }
        let blind = !signals.head.is_seen() || !signals.boot.is_seen();
        self.expect(!blind || !signals.short.is_exact(), "slip of a shaft that was never seen");
        // An alarm of slip stays until slip is known to be well, however its off-delay began. While the leg runs down slip is not judged, which
        // lets it go.
        let since = if self.monitor.status().phase == Phase::Running && self.drive != Some(false) {
            self.runs_since.or(Some(self.monitor.newest()))
        } else {
            None
        };
        self.runs_since = since;
        for verdict in &self.fresh {
            if let Change::Alarm { condition, from, to, value: None, .. } = verdict.change {
                let is_slip = matches!(
                    condition,
                    Condition::SlipHigh | Condition::SlipVeryHigh | Condition::SlipNegative | Condition::SlipImpossible
                );
                let is_active = |state| matches!(state, AlarmState::Unacknowledged | AlarmState::Acknowledged);
                let goes = is_active(from) && !is_active(to) && to != AlarmState::Shelved;
                let is_judged = since.is_some_and(|since| since < verdict.at);
                self.expect(!is_slip || !goes || !is_judged, "a slip alarm goes though slip is not known");
            }
        }
    }

    /// The story in words, times in seconds from its beginning.
    fn facts(&self) -> String {
        let inputs = &self.story.leg.inputs;
        let begin = inputs.first().map_or(0, |input| input.at.get());
        let seconds = |at: Micros| (at.get().saturating_sub(begin)) as f64 / 1e6;
        let length = inputs.last().map_or(0.0, |input| seconds(input.at));
        let mut facts = format!("{} inputs in {length:.1} s from {begin} µs", inputs.len());
        for (at, what) in &self.story.between {
            let what = match what {
                Between::Copy => "copied",
                Between::PowerCut => "power cut",
                Between::Rot(_) => "power cut and a bit turned",
            };
            let _ = write!(facts, ", {what} at {at}");
        }
        let (mut alarms, mut permits, mut firsts) = (Vec::new(), Vec::new(), Vec::new());
        for (_, verdict) in &self.verdicts {
            let at = seconds(verdict.at);
            match verdict.change {
                Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => {
                    alarms.push(format!("{condition:?} {at:.3}"));
                }
                Change::Permit { permit, allowed, because } => {
                    let by = because.map_or_else(String::new, |by| format!(" by {by:?}"));
                    permits.push(format!("{permit:?} {} {at:.3}{by}", if allowed { "given" } else { "dropped" }));
                }
                Change::FirstOut(Some(condition)) => firsts.push(format!("{condition:?}")),
                _ => {}
            }
        }
        for (what, list) in [("alarms", alarms), ("first out", firsts), ("permits", permits)] {
            let more = list.len().saturating_sub(TOLD);
            let told = list[..list.len() - more].join(", ");
            let _ = write!(facts, " | {what}: {}", if told.is_empty() { "none" } else { &told });
            if more > 0 {
                let _ = write!(facts, " and {more} more");
            }
        }
        let status = self.monitor.status();
        let heat = self.monitor.slip_heat_at(self.monitor.newest()).get();
        let _ = write!(facts, " | at last {:?}, heat {heat} ppm, {} verdicts", status.phase, self.verdicts.len());
        facts
    }
}
