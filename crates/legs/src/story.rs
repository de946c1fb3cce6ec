//! Short stories: a leg at random, some seconds or minutes of its life, and what its plain life seldom holds: waits of minutes, hours and
//! weeks in the midst, a rub that comes with each loop of the belt, power cuts, and a box that goes on in the state of another.

use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Input, LineState, Origin, Place, Shaft, Signal};
use slackside::units::{DeciCelsius, Micros, Ppm, Span, Watts};

use crate::random::Random;
use crate::{Frame, Leg, brink, calmer_leg};

/// What happens between two inputs, besides time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Between {
    /// Power goes and comes back: what the box kept is all it knows.
    PowerCut,
    /// The same, and this bit of what it kept has turned.
    Rot(usize),
    /// Another box takes over the bytes of the state.
    Copy,
}

/// A leg, what its box is told, and what happens to the box.
#[derive(Clone, Debug)]
pub struct Story {
    /// What it is drawn from.
    pub seed: u64,
    /// The leg and its inputs; its power cuts are among what happens between.
    pub leg: Leg,
    /// After how many inputs, and what.
    pub between: Vec<(usize, Between)>,
    /// Whether the box is looked at whenever it asks for it, and not with inputs alone.
    pub is_ticked: bool,
}

impl Story {
    /// Whether it is one of those whose moments lie on the brink.
    #[must_use]
    pub const fn is_on_the_brink(&self) -> bool {
        self.seed >= FIRST_ON_THE_BRINK
    }
}

/// From this seed on more is asked of the box, for longer, and what it kept may rot.
pub const FIRST_MEDDLED: u64 = 384;
/// From this seed on they stand on the brink.
pub const FIRST_ON_THE_BRINK: u64 = 576;
/// The most inputs of these.
const MOST_INPUTS: usize = 12_000;

/// The story of a seed.
#[must_use]
pub fn story(seed: u64) -> Story {
    let mut random = Random(seed.wrapping_mul(0xD6E8_FEB8_6659_FD93).wrapping_add(0x5707));
    if seed >= FIRST_ON_THE_BRINK {
        return on_the_brink(seed, &mut random);
    }
    let is_meddled = seed >= FIRST_MEDDLED;
    let seconds = random.log_between(20.0, if is_meddled { 600.0 } else { 180.0 });
    let calm = random.one_of(&[0.0, 0.0, 0.5, 0.9]);
    let mut leg = calmer_leg(random.next_u64() >> 1, Frame { begin_us: None, seconds: Some(seconds) }, calm);
    if is_meddled {
        leg.inputs.truncate(MOST_INPUTS);
        meddle(&mut leg, &mut random);
    }
    if random.chance(0.25) {
        rub_each_loop(&mut leg, &mut random);
    }
    if random.chance(0.3) {
        wait(&mut leg.inputs, &mut random);
    }
    let mut between: Vec<(usize, Between)> = leg.power_cuts.drain(..).map(|at| (at, Between::PowerCut)).collect();
    for (what, most) in [(Between::Copy, 3), (Between::PowerCut, 1)] {
        for _ in 0..random.whole(0, most) {
            between.push((random.below(leg.inputs.len() as u64) as usize, what));
        }
    }
    if is_meddled && random.chance(0.1) {
        between.push((random.below(leg.inputs.len() as u64) as usize, Between::Rot(random.next_u64() as usize)));
    }
    between.sort_by_key(|(at, _)| *at);
    Story { seed, leg, between, is_ticked: random.chance(0.25) }
}

fn on_the_brink(seed: u64, random: &mut Random) -> Story {
    let leg = brink::leg(random);
    let mut between = Vec::new();
    for (what, probability) in [(Between::Copy, 0.3), (Between::PowerCut, 0.2)] {
        if random.chance(probability) {
            between.push((random.below(leg.inputs.len() as u64) as usize, what));
        }
    }
    between.sort_by_key(|(at, _)| *at);
    Story { seed, leg, between, is_ticked: random.chance(0.3) }
}

/// A joint of the belt touches one contact on each loop, as fast as a belt at normal speed comes round, and misses one now and then.
fn rub_each_loop(leg: &mut Leg, random: &mut Random) {
    let machine = &leg.make.settings.machine;
    let belt_speed = machine.head_circumference().get() as f64 * f64::from(machine.normal_head.get()) / 1e6;
    let each_us = machine.belt.loop_length.get() as f64 / belt_speed * 1e6 * random.between(0.98, 1.05);
    let place = random.one_of(&Place::ALL);
    let (begin, end) = (leg.inputs[0].at.get() as f64, leg.inputs[leg.inputs.len() - 1].at.get() as f64);
    let touches_us = each_us * random.log_between(0.002, 0.3);
    let mut at = begin + (end - begin) * random.between(0.1, 0.6);
    for _ in 0..random.whole(3, 40) {
        if random.chance(0.95) {
            for (at, state) in [(at, ContactState::Rubbing), (at + touches_us, ContactState::Clear)] {
                leg.inputs.push(Input::new(Micros::new(at as u64), Signal::Contact(place, state)));
            }
        }
        at += each_us * random.between(0.97, 1.03);
    }
    // What comes late stays behind what came before it.
    let mut newest = Micros::ZERO;
    leg.inputs.sort_by_cached_key(|input| {
        newest = newest.max(input.at);
        if matches!(input.signal, Signal::Contact(..)) { input.at } else { newest }
    });
}

/// From some input on everything comes so much later: longer than the sweep, than ages are told apart, than the low half of time, than the
/// slow count, or anything.
fn wait(inputs: &mut [Input], random: &mut Random) {
    let longer = match random.whole(0, 6) {
        0 => 1 << 29,
        1 => 1 << 30,
        2 => 1 << 31,
        3 => 1 << 32,
        4 => 1 << 38,
        5 => 1 << 42,
        _ => random.next_u64() >> random.whole(20, 44),
    } + random.below(40_000_000);
    let from = random.below(inputs.len() as u64) as usize;
    for input in &mut inputs[from..] {
        input.at = Micros::new(input.at.get() + longer);
    }
}

/// People, meters and drives that will not leave the box alone: whatever may be said to it is said to it, in the midst of what its leg does.
fn meddle(leg: &mut Leg, random: &mut Random) {
    let (begin, end) = (leg.inputs[0].at.get() as f64, leg.inputs[leg.inputs.len() - 1].at.get() as f64);
    let mut more = Vec::new();
    for _ in 0..random.whole(0, 60) {
        let mut at = random.between(begin, end);
        let mut say = |seconds: f64, signal| {
            at += seconds * 1e6;
            more.push(Input::new(Micros::new(at as u64), signal));
        };
        let person = |command| Signal::Command(Origin::Leg, command);
        match random.whole(0, 10) {
            0 => {
                say(0.0, person(Command::ProofTest(true)));
                say(random.log_between(0.1, 60.0), person(Command::ProofTest(false)));
            }
            1 | 2 => {
                let condition = random.one_of(&Condition::ALL);
                let length = Span::new(random.log_between(1e5, 6e7) as u32);
                say(0.0, person(Command::Key(true)));
                say(0.1, person(Command::Bypass(condition, length)));
                say(random.log_between(0.1, 30.0), person(Command::Acknowledge));
                if random.chance(0.5) {
                    say(1.0, person(if random.chance(0.5) { Command::EndBypass } else { Command::Key(false) }));
                }
            }
            3 | 4 => ask_for_speed(random, &mut say),
            5 => {
                let most = f64::from(leg.make.settings.machine.rated_power.get()) * 20.0;
                for _ in 0..random.whole(1, 12) {
                    let watts = if random.chance(0.1) { u32::MAX } else { random.between(0.0, most) as u32 };
                    say(random.log_between(0.05, 70.0), Signal::DrivePower(Watts::new(watts)));
                }
            }
            6 => {
                let tenths = random.whole(-400, 2_500) as i16;
                say(0.0, Signal::Temperature(random.one_of(&Place::ALL), DeciCelsius::new(tenths)));
            }
            7 => {
                let shaft = if random.chance(0.5) { Shaft::Head } else { Shaft::Boot };
                let state = random.one_of(&[LineState::Open, LineState::Shorted, LineState::Sound]);
                say(0.0, Signal::Line(shaft, state));
                say(random.log_between(0.01, 20.0), Signal::Line(shaft, LineState::Sound));
            }
            8 => {
                for _ in 0..random.whole(1, 14) {
                    let on = random.chance(0.5);
                    say(random.log_between(0.01, 3.0), Signal::DriveRunning(on));
                }
            }
            9 => {
                for command in [Command::Acknowledge, Command::BootCleared, Command::Reset] {
                    let origin = if random.chance(0.8) { Origin::Leg } else { Origin::Link };
                    say(random.log_between(0.01, 2.0), Signal::Command(origin, command));
                }
            }
            _ => {
                say(0.0, person(Command::ResetButton(true)));
                say(random.log_between(0.01, 40.0), person(Command::ResetButton(false)));
            }
        }
    }
    put_in(&mut leg.inputs, more);
}

/// A drive is asked for another speed: at once, or by readings that ramp.
fn ask_for_speed(random: &mut Random, say: &mut impl FnMut(f64, Signal)) {
    let (from, to) = (random.between(0.2, 1.3), random.between(0.2, 1.3));
    let steps = random.one_of(&[1, 2, 8, 40]);
    let each = random.log_between(0.02, 6.0);
    for step in 1..=steps {
        let share = from + (to - from) * f64::from(step) / f64::from(steps);
        say(each, Signal::SpeedReference(Ppm::new((share * 1e6) as i32)));
    }
}

/// Put more among the inputs, each at its time; what comes late stays behind what came before it.
fn put_in(inputs: &mut Vec<Input>, mut more: Vec<Input>) {
    more.sort_by_key(|input| input.at);
    let mut more = more.into_iter().peekable();
    let mut all = Vec::with_capacity(inputs.len() + more.len());
    let mut newest = Micros::ZERO;
    for input in inputs.drain(..) {
        newest = newest.max(input.at);
        while let Some(other) = more.next_if(|other| other.at <= newest) {
            all.push(other);
        }
        all.push(input);
    }
    all.extend(more);
    *inputs = all;
}
