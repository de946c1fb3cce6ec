//! A second core, written plainly from what the book and the list of conditions say, beside the real one on the random stories: every verdict
//! must be the same, to the microsecond, with its value and its detail; every edge counted, every rub and its share of the loop too; slip what it
//! is by definition, and slip heat within a thousandth of a first-order image.
//!
//! It knows no short way, no deadlines, no bits and no wrapping time: it looks at everything whenever anything happens, and keeps whole
//! moments and lists of edges. What it takes from the core is said where it does: where targets are held to lie and which edges are in doubt, for
//! the judge all that measure says, and whether slip heat has reached its limit.
//!
//! A microsecond before something happens nothing may fall due that the core did not tell: so its deadlines are looked at too.

mod contact;
mod gate;
mod heat;
mod judge;
mod look;
mod measure;
mod reference;
mod rest;
mod slip;
mod speed;

use slackside::alarm::bits;
use slackside::conditions::Condition;
use slackside::input::{Command, Input, Origin, Signal};
use slackside::judge::Judge as Core;
use slackside::monitor::{Tap, Told};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::signals::Signals;
use slackside::time::FAR;
use slackside::units::{Micros, Span};
use slackside::verdict::{Change, Verdict};
use slackside_legs::parts::stories_of;
use slackside_legs::random::Random;
use slackside_legs::story::{Story, story};
use slackside_legs::{Monitor, tick};

use judge::Judge;
use measure::Measure;

/// What the core was told, in order.
#[derive(Default)]
struct Overheard(Vec<(Heard, Signals)>);

enum Heard {
    Moved(u8),
    Signal(Signal),
    Late,
}

impl Tap for Overheard {
    fn tells(&mut self, _: Micros, told: Told<'_>, signals: &Signals, _: &Plan) {
        let heard = match told {
            Told::Moved(bits) => Heard::Moved(bits),
            Told::Signal(signal) => Heard::Signal(*signal),
            Told::Late => Heard::Late,
        };
        self.0.push((heard, *signals));
    }

    fn told(&mut self, _: Micros, _: Told<'_>, _: &Signals, _: &Core, _: &Plan) {}
}

struct Beside<'a> {
    story: &'a Story,
    index: usize,
    core: Box<Monitor>,
    plain: Judge<'a>,
    measure: Measure,
    verdicts: usize,
    /// When judge wants to be asked, as bytes.
    clock: Vec<u8>,
}

impl Beside<'_> {
    /// The core takes an input, and the plain judge hears what the core's heard.
    fn observe(&mut self, input: Input) {
        let at = input.at.get().max(self.core.newest().get());
        let mut overheard = Overheard::default();
        let mut said: Vec<Change> = Vec::new();
        let mut early = None;
        self.core.observe_with(input, &mut overheard, &mut |verdict: &Verdict| {
            if verdict.at.get() != at {
                early = Some(*verdict);
            }
            said.push(verdict.change);
        });
        assert!(early.is_none(), "{}: said at another time: {early:?}", self.place());
        let clock = std::mem::take(&mut self.clock);
        let was_hot = self.plain.hot;
        self.hear_bytes();
        let hot = self.plain.hot;
        self.plain.core_steps = self.clock != clock;
        // What the heat says is taken after all that the core was told at this moment: before that it is what it was.
        self.plain.hot = if overheard.0.is_empty() { hot } else { was_hot };
        self.plain.begin_or_go_on(at);
        self.plain.core_steps = true;
        self.plain.hot = hot;
        for (heard, signals) in overheard.0 {
            match heard {
                Heard::Moved(bits) => self.plain.moved(bits, &signals),
                Heard::Signal(signal) => self.plain.signal(signal),
                Heard::Late => self.plain.late(),
            }
        }
        let signals = *self.core.signals();
        let wrong = self.measure.settle(at, &signals);
        assert!(wrong.is_none(), "{}: {}", self.place(), wrong.unwrap_or_default());
        self.measure.take(&input.signal, at);
        let wrong = self.measure.differs(&signals);
        assert!(wrong.is_none(), "{}: {}", self.place(), wrong.unwrap_or_default());
        let heat = &self.plain.heat;
        let wrong = heat.differs(self.core.slip_heat_at(self.core.newest()).get(), at);
        assert!(wrong.is_none(), "{}: {}", self.place(), wrong.unwrap_or_default());
        let expected = std::mem::take(&mut self.plain.said);
        self.compare(&said, &expected);
        self.verdicts += said.len();
        let status = self.core.status();
        let held = self.plain.status();
        assert_eq!(status, held, "{}: what is held", self.place());
        for condition in Condition::ALL {
            assert_eq!(self.core.alarm(condition), self.plain.alarm(condition), "{}: {condition:?}", self.place());
        }
    }

    fn place(&self) -> String {
        let input = self.story.leg.inputs.get(self.index);
        format!("story {}, input {}, {input:?}, at {:?}", self.story.seed, self.index, self.core.newest())
    }

    /// Whether slip heat is beyond its limit, and when judge wants to be asked: from the core's own bytes, of which the last are that.
    fn hear_bytes(&mut self) {
        let Self { core, plain, clock, .. } = self;
        core.parts(&mut |bytes| {
            if bytes.len() == Condition::COUNT {
                plain.hot = bytes[Condition::SlipHeat.rank()] & bits::BEYOND != 0;
            }
            clock.clear();
            clock.extend_from_slice(bytes);
        });
    }

    fn compare(&self, said: &[Change], expected: &[Change]) {
        let alike = said.len() == expected.len()
            && said.iter().zip(expected).all(|(said, expected)| match (said, expected) {
                // How hot it is is the core's.
                (
                    Change::Alarm { condition: Condition::SlipHeat, from, to, .. },
                    Change::Alarm { condition: Condition::SlipHeat, from: was, to: is, .. },
                ) => (from, to) == (was, is),
                // What was noted is as new as the newest look: the core looks less often, and what silence says grows with each.
                (
                    Change::Alarm { condition, from, to, value: Some(noted), setpoint, detail },
                    Change::Alarm { condition: which, from: was, to: is, value: Some(newest), detail: more, .. },
                ) if self.plain.alarms[condition.rank()].tells_noted => {
                    let noted = (setpoint..=newest).contains(&noted) && noted % 32 == 0;
                    (condition, from, to, detail) == (which, was, is, more) && noted
                }
                _ => said == expected,
            });
        assert!(alike, "{}:\n  core  {said:?}\n  plain {expected:?}", self.place());
    }

    /// Nothing falls due at this moment, which the core was not asked about.
    fn expect_nothing_at(&mut self, at: u64) {
        if at <= self.core.newest().get() {
            return;
        }
        let mut peek = self.plain.clone();
        peek.begin_or_go_on(at);
        assert!(peek.said.is_empty(), "{}: at {at} falls due {:?}", self.place(), peek.said);
    }

    /// Whether each command would be taken, and why not.
    fn ask(&self, random: &mut Random) {
        let condition = random.one_of(&Condition::ALL);
        let longest = self.core.plan().map_or(0, |plan| plan.drive.bypass_time);
        let span = Span::new(random.one_of(&[0, 1, longest, longest.saturating_add(1)]));
        for command in [
            Command::Acknowledge,
            Command::Reset,
            Command::ResetButton(true),
            Command::ResetButton(false),
            Command::BootCleared,
            Command::Key(true),
            Command::Bypass(condition, span),
            Command::EndBypass,
            Command::Inch(true),
            Command::Inch(false),
            Command::ProofTest(true),
            Command::ProofTest(false),
        ] {
            for origin in [Origin::Leg, Origin::Link] {
                let (core, plain) = (self.core.would_take(origin, command), self.plain.allowed(origin, command));
                assert_eq!(core, plain, "{}: {origin:?} {command:?}", self.place());
            }
        }
    }
}

/// The longest stories are played so far.
const MOST_INPUTS: usize = 4_000;

/// How many verdicts there were, and how many readings of slip were held against their definition.
fn play(seed: u64, most: usize) -> (usize, u64) {
    let story = story(seed);
    let random = &mut Random(seed);
    let make = &story.leg.make;
    let plan = make.settings.plan();
    let core = make.monitor(&Retained::default());
    // Longer lives are for the core's own tests: beyond 18 minutes it holds ages.
    let first = story.leg.inputs[0].at.get();
    let mut beside = Beside {
        measure: Measure::new(&plan, first),
        story: &story,
        index: 0,
        core,
        plain: Judge::new(&plan),
        verdicts: 0,
        clock: Vec::new(),
    };
    let while_ages_are_whole = |(_, input): &(usize, &Input)| input.at.get() <= first + u64::from(FAR);
    for (index, input) in story.leg.inputs.iter().take(most).enumerate().take_while(while_ages_are_whole) {
        beside.index = index;
        if index > 0 {
            let mut looks = 0;
            while let Some(due) = beside.core.next_deadline().filter(|due| *due <= input.at) {
                if random.chance(0.1) {
                    beside.expect_nothing_at(due.get() - 1);
                }
                beside.observe(tick(due.get()));
                looks += 1;
                assert!(looks < 1_000_000, "{}: asks for ticks without end", beside.place());
            }
            if random.chance(0.1) {
                beside.expect_nothing_at(input.at.get());
            }
            if random.chance(0.02) {
                beside.ask(random);
            }
        }
        beside.observe(*input);
    }
    (beside.verdicts, beside.measure.slip.compared)
}

fn part(number: u64, quarter: u64) {
    let verdicts: usize = stories_of(number, quarter).map(|seed| play(seed, MOST_INPUTS).0).sum();
    assert!(verdicts > 0);
}

/// Of these legs slip is followed for long.
#[test]
fn slip_is_held_against_its_definition() {
    for seed in [136, 463, 565] {
        let (_, compared) = play(seed, usize::MAX);
        assert!(compared > 1_000, "story {seed}: {compared}");
    }
}

slackside_legs::story_parts!(part);
slackside_legs::story_parts!(on_the_brink part);
