//! The state space of alarms, latches, permits and operator, walked breadth first over the monitor itself.
//!
//! From a box that has just been switched on, everything that can happen is tried in every state found, waiting among it; a state is
//! what anybody can see of the leg and the monitor ([`World::seen`]), and each is taken further once, from the first way found to it.
//! After every single input each promise is looked at.

mod event;
mod promise;
mod world;

use std::collections::hash_map::DefaultHasher;
use std::collections::{HashMap, VecDeque};
use std::hash::{Hash, Hasher};

use slackside::settings::Settings;
use slackside::units::Joules;

pub use event::Event;
pub use promise::Moves;
pub use world::World;

/// What is tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// A leg at rest: buttons, key, bypass, inching, proof tests, power, and two causes of a stop beside the button that is held.
    AtRest,
    /// A leg that also starts, runs, slips and stands.
    Turning,
}

/// What a walk has seen.
#[derive(Clone, Debug)]
pub struct Walk {
    /// Different states.
    pub states: usize,
    /// Those taken further, of one state several that differ within.
    pub taken: usize,
    /// Events tried.
    pub steps: usize,
    /// The longest of the shortest ways to a state, in events.
    pub depth: usize,
    /// States found and not taken further: none if the space is closed.
    pub left: usize,
    /// The moves of alarms seen.
    pub moves: Moves,
    /// The first broken promise, with the way to it.
    pub broken: Option<String>,
}

/// The example leg with an outlet switch: a stop that may be bypassed, and that stays until reset. Its heat budget is so small that four seconds
/// of slip take more than a quarter of it: else slip heat would need thousands of events.
#[must_use]
pub fn settings() -> Settings {
    let mut settings = Settings::example();
    settings.machine.outlet_switch = true;
    settings.limits.slip_heat.budget = Joules::new(20_000);
    settings
}

/// Walk until nothing new is found, a promise is broken, or `most` states are known. Of what looks like one state so many that differ within
/// are taken further.
#[must_use]
pub fn walk(settings: &Settings, reach: Reach, each: usize, most: usize) -> Walk {
    let events = Event::of(reach);
    let begin = World::switched_on(settings);
    let mut known = HashMap::<u64, Vec<u64>>::new();
    let mut is_new = |world: &World| {
        let (seen, within) = keys(world, reach);
        let of_it = known.entry(seen).or_default();
        let more = of_it.len() < each && !of_it.contains(&within);
        if more {
            of_it.push(within);
        }
        (more, of_it.len() == 1)
    };
    is_new(&begin);
    // Each state's parent and the event that led to it, by number.
    let mut ways: Vec<(usize, Event)> = vec![(0, Event::Wait)];
    let mut open = VecDeque::from([(0_usize, 0_usize, begin)]);
    let mut walk = Walk { states: 1, taken: 1, steps: 0, depth: 0, left: 0, moves: Moves::default(), broken: None };
    while let Some((number, depth, world)) = open.pop_front() {
        if walk.taken >= most {
            walk.left = open.len() + 1;
            break;
        }
        walk.depth = walk.depth.max(depth);
        for event in &events {
            let mut next = world.clone();
            walk.steps += 1;
            if let Err(why) = next.happens(*event, &mut walk.moves) {
                walk.broken = Some(format!("{why}\n  by {}", way(&ways, number, *event)));
                return walk;
            }
            let (more, first) = is_new(&next);
            if more {
                walk.states += usize::from(first);
                walk.taken += 1;
                ways.push((number, *event));
                open.push_back((ways.len() - 1, depth + 1, next));
            }
        }
    }
    walk
}

/// What a state looks like, and what it is within.
fn keys(world: &World, reach: Reach) -> (u64, u64) {
    match reach {
        // Every alarm is seen: nothing is left to tell apart.
        Reach::AtRest => (hashed(&world.seen()), 0),
        Reach::Turning => {
            let (seen, within) = world.sight();
            (hashed(&seen), hashed(&within))
        }
    }
}

fn hashed(what: &impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    what.hash(&mut hasher);
    hasher.finish()
}

/// The events from the beginning to a state, and one more.
fn way(ways: &[(usize, Event)], mut number: usize, last: Event) -> String {
    let mut events = vec![last];
    while let Some((parent, event)) = ways.get(number).filter(|_| number != 0) {
        events.push(*event);
        number = *parent;
    }
    events.iter().rev().map(|event| format!("{event:?}")).collect::<Vec<_>>().join(", ")
}
