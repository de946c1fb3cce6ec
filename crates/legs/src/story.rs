//! Short stories: a leg at random, some seconds or minutes of its life, and what its plain life seldom holds: waits of minutes, hours and
//! weeks in the midst, a rub that comes with each loop of the belt, power cuts, and a box that goes on in the state of another.

use slackside::input::{ContactState, Input, Place, Signal};
use slackside::units::Micros;

use crate::random::Random;
use crate::{Frame, Leg, calmer_leg};

/// What happens between two inputs, besides time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Between {
    /// Power goes and comes back: what the box kept is all it knows.
    PowerCut,
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

/// The story of a seed.
#[must_use]
pub fn story(seed: u64) -> Story {
    let mut random = Random(seed.wrapping_mul(0xD6E8_FEB8_6659_FD93).wrapping_add(0x5707));
    let seconds = random.log_between(20.0, 180.0);
    let calm = random.one_of(&[0.0, 0.0, 0.5, 0.9]);
    let mut leg = calmer_leg(random.next_u64() >> 1, Frame { begin_us: None, seconds: Some(seconds) }, calm);
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
    between.sort_by_key(|(at, _)| *at);
    Story { seed, leg, between, is_ticked: random.chance(0.25) }
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
