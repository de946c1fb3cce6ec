//! Random legs: what is built, how it runs, and what disturbs its signals.

use slackside_landed::input::{ContactState, Input, LineState, Place, Shaft, Signal};
use slackside_landed::settings::{Checked, CountedEdges, Settings, Spacing, Strand, Targets};
use slackside_landed::units::{Micrometres, Micros, MicroturnsPerSecond, Ppm, Span};

/// Splitmix64 (Steele, Lea, Flood: Fast splittable pseudorandom number generators, 2014).
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// From 0 to below 1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound
    }

    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    pub fn one_of<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len() as u64) as usize]
    }
}

/// One shaft as built: the levels and where around the turn they begin.
struct Built {
    targets: Targets,
    edges: Vec<(f64, bool)>,
    /// Edges of the targets that are sometimes missed.
    missed: Vec<usize>,
}

fn build(dice: &mut Dice, wild: bool) -> Built {
    let count = dice.one_of(&[1_u8, 1, 2, 3, 4, 4, 4, 6, 8, 8, 12, 16, 24, 32]);
    let edges = dice.one_of(&[CountedEdges::Rising, CountedEdges::Rising, CountedEdges::Falling, CountedEdges::Both]);
    let uneven_targets = count > 1 && dice.chance(0.35);
    let mut widths: Vec<f64> =
        (0..count).map(|_| if uneven_targets { dice.between(0.6, 1.5) } else { dice.between(0.99, 1.01) }).collect();
    let total: f64 = widths.iter().sum();
    widths.iter_mut().for_each(|width| *width /= total);
    let mut levels = Vec::new();
    let mut at = 0.0;
    // Targets that look alike, or not.
    let duty = dice.between(0.3, 0.6);
    for width in &widths {
        let duty = if uneven_targets { duty + dice.between(-0.1, 0.1) } else { duty };
        levels.push((at, true));
        levels.push((at + width * duty, false));
        at += width;
    }
    let counted: Vec<f64> = levels
        .iter()
        .filter(|(_, level)| match edges {
            CountedEdges::Rising => *level,
            CountedEdges::Falling => !*level,
            CountedEdges::Both => true,
        })
        .map(|(at, _)| *at)
        .collect();
    let pitches: Vec<f64> = (0..counted.len())
        .map(|index| {
            let next = counted[(index + 1) % counted.len()];
            (next - counted[index]).rem_euclid(1.0 + 1e-12)
        })
        .map(|pitch| if counted.len() == 1 { 1.0 } else { pitch })
        .collect();
    let least = pitches.iter().copied().fold(1.0, f64::min);
    let most = pitches.iter().copied().fold(0.0, f64::max);
    let mean = 1.0 / counted.len() as f64;
    let off = (most / mean - 1.0).max(1.0 - least / mean);
    // Some targets have moved since they were measured.
    let spacing = if off < 0.04 || (wild && off < 0.19 && dice.chance(0.5)) {
        let tolerance = if wild { off * 0.3 } else { off + 0.002 };
        Spacing::Even { tolerance: Ppm::new((tolerance * 1e6) as i32) }
    } else {
        Spacing::Uneven {
            closest: Ppm::new((least * 0.98 * 1e6) as i32),
            widest: Ppm::new((most * 1.02 * 1e6).min(1e6) as i32),
        }
    };
    let targets = Targets { count, edges, spacing, supervised: true };
    Built { targets, edges: levels, missed: Vec::new() }
}

/// A leg, its inputs in the order in which they come, and what it is meant to show.
pub struct Leg {
    pub settings: Checked,
    pub inputs: Vec<Input>,
    /// Whether its speed does not change but for rest.
    pub calm: bool,
}

/// A stretch of running: head speed in turns a second at its begin and end, how long, and slip as a part.
struct Stretch {
    from: f64,
    to: f64,
    seconds: f64,
    slip: f64,
    /// Nothing moves and nothing comes.
    silent: bool,
}

/// Draw a leg. Some draws break a rule of the settings: then there is none.
pub fn draw(seed: u64, most_marks: u8) -> Option<Leg> {
    let dice = &mut Dice(seed);
    let mut settings = Settings::example();
    let wild = dice.chance(0.3);
    let (head, boot) = (build(dice, wild), build(dice, wild));
    if head.targets.marks().max(boot.targets.marks()) > most_marks {
        return None;
    }
    let machine = &mut settings.machine;
    machine.head_pulley.bare_diameter = Micrometres::new(dice.between(3e5, 1e6) as i64);
    machine.boot_pulley.bare_diameter = Micrometres::new(dice.between(3e5, 1e6) as i64);
    let ratio = f64::from(machine.geometric_ratio().get()) / 1e6;
    if !(0.5..=2.0).contains(&ratio) {
        return None;
    }
    let normal = dice.between(0.4, 4.0);
    machine.normal_head = MicroturnsPerSecond::new((normal * 1e6) as u32);
    machine.normal_boot = MicroturnsPerSecond::new((normal * ratio * 1e6) as u32);
    machine.head_targets = Some(head.targets);
    machine.boot_targets = Some(boot.targets);
    // Bins that hold a whole number of micrometres in both.
    machine.belt.loop_length = Micrometres::new((dice.between(6e6, 4e7) as i64) / 64 * 64);
    for contact in &mut machine.contacts {
        *contact = dice.chance(0.7).then_some(Strand::Up);
    }
    let contacts = machine.contacts;
    machine.conditioning.contact_bridge = Span::new(dice.between(2e3, 6e5) as u32);
    machine.conditioning.rejects_a_turn = dice.one_of(&[2, 4, 16]);
    let fastest = (normal * ratio.max(1.0) * 1.4) * 64.0 * 1.5 * 6.0;
    machine.conditioning.minimum_width = Span::new((dice.between(0.05, 0.5) * 1e6 / fastest).max(5.0) as u32);
    let width = f64::from(machine.conditioning.minimum_width.get());
    let settings = settings.check_for_bench().ok()?;

    // Where the speed changes while spacing is learned, the two do not learn alike.
    let calm = dice.chance(0.6);
    let stretches = if calm { run_calmly(dice, normal) } else { run(dice, normal) };
    let mut inputs = Vec::new();
    let noise = if dice.chance(0.3) { 0.0 } else { dice.between(0.0, 0.02) };
    let lost = if dice.chance(0.5) { 0.0 } else { dice.between(0.0, if calm { 0.002 } else { 0.01 }) };
    let jitter = dice.between(0.0, 3.0);
    for (shaft, built, ratio) in [(Shaft::Head, head, 1.0), (Shaft::Boot, boot, ratio)] {
        let shaft = Disturbed { shaft, built, ratio, noise, lost, jitter, width, tremble: dice.chance(0.04) };
        edges(dice, shaft, &stretches, &mut inputs);
    }
    let end = stretches.iter().map(|stretch| stretch.seconds * 1e6).sum::<f64>();
    let mut at = 0.0;
    while at < end {
        at += dice.between(1e3, 4e6);
        let place = dice.one_of(&Place::ALL);
        let shaft = dice.one_of(&[Shaft::Head, Shaft::Boot]);
        let signal = match dice.below(300) {
            0 => Signal::EdgesLost(shaft),
            1..4 => Signal::Line(
                shaft,
                dice.one_of(&[LineState::Sound, LineState::Sound, LineState::Open, LineState::Shorted]),
            ),
            4 => Signal::Tick,
            5..8 => Signal::Contact(place, ContactState::Faulty),
            _ => {
                Signal::Contact(place, dice.one_of(&[ContactState::Rubbing, ContactState::Clear, ContactState::Clear]))
            }
        };
        if let Signal::Contact(place, _) = signal
            && contacts[place.index()].is_none()
        {
            continue;
        }
        inputs.push(Input::new(Micros::new(at as u64), signal));
        if let Signal::Contact(place, ContactState::Rubbing) = signal {
            // Chatter.
            let mut later = at;
            for _ in 0..dice.below(6) {
                later += dice.between(1.0, 3e5);
                let state = dice.one_of(&[ContactState::Rubbing, ContactState::Clear]);
                inputs.push(Input::new(Micros::new(later as u64), Signal::Contact(place, state)));
            }
        }
    }
    if dice.chance(0.3) {
        // A hum on one line: a train that the gate on gaps thins out.
        let shaft = dice.one_of(&[Shaft::Head, Shaft::Boot]);
        let mut later = dice.between(0.0, end);
        let step = width * dice.between(1.05, 4.0);
        for level in 0..dice.below(400) {
            inputs.push(Input::new(Micros::new(later as u64), Signal::Edge(shaft, level % 2 == 0)));
            later += step;
        }
    }
    inputs.sort_by_key(|input| input.at);
    if dice.chance(0.2) {
        // A few come late.
        for input in &mut inputs {
            if dice.chance(0.002) {
                input.at = Micros::new(input.at.get().saturating_sub(dice.below(3_000)));
            }
        }
    }
    Some(Leg { settings, inputs, calm })
}

/// At normal speed or at rest; the belt follows, or stands.
fn run_calmly(dice: &mut Dice, normal: f64) -> Vec<Stretch> {
    let mut stretches = Vec::new();
    let slip = dice.between(-0.01, 0.03);
    for _ in 0..dice.between(3.0, 9.0) as usize {
        let running = |seconds, slip| Stretch { from: normal, to: normal, seconds, slip, silent: false };
        match dice.below(6) {
            0 => stretches.push(running(dice.between(1.0, 60.0), 1.0)),
            1 => {
                let short = dice.between(0.5, 20.0);
                let seconds = dice.one_of(&[short, 600.0, 1_500.0, 4_294.967_296, 5_000.0, 20_000.0]);
                stretches.push(Stretch { silent: true, ..running(seconds, 0.0) });
            }
            _ => stretches.push(running(dice.between(20.0, 90.0) / normal, slip)),
        }
    }
    stretches
}

fn run(dice: &mut Dice, normal: f64) -> Vec<Stretch> {
    let mut stretches = Vec::new();
    let mut speed = if dice.chance(0.5) { 0.0 } else { normal };
    for _ in 0..dice.between(4.0, 14.0) as usize {
        let from = speed;
        let (to, seconds, slip) = match dice.below(12) {
            0 => (0.0, dice.between(0.5, 12.0), 0.0),
            1 => (normal * dice.between(0.3, 1.5), dice.between(0.2, 8.0), 0.0),
            2 => (speed, dice.between(1.0, 15.0), dice.between(-0.15, 0.9)),
            3 => (speed, dice.between(1.0, 60.0), dice.one_of(&[1.0, 0.97, 0.99, 0.995])),
            4 => (speed * 0.9, dice.between(1.0, 10.0), dice.between(0.0, 0.05)),
            5 | 6 => (normal, dice.between(20.0, 70.0) / normal, dice.between(-0.01, 0.03)),
            7 => (normal, dice.between(2.0, 6.0), 0.0),
            _ => (if speed == 0.0 { normal } else { speed }, dice.between(3.0, 40.0) / normal, 0.0),
        };
        stretches.push(Stretch { from, to, seconds, slip, silent: false });
        speed = to;
        if dice.chance(0.08) {
            // From seconds to far beyond 2^32 µs.
            let short = dice.between(0.5, 20.0);
            let seconds = dice.one_of(&[short, 600.0, 1_500.0, 4_294.967_296, 5_000.0, 20_000.0]);
            stretches.push(Stretch { from: speed, to: speed, seconds, slip: 0.0, silent: true });
        }
    }
    stretches
}

struct Disturbed {
    shaft: Shaft,
    built: Built,
    ratio: f64,
    noise: f64,
    lost: f64,
    jitter: f64,
    width: f64,
    tremble: bool,
}

/// The edges of one shaft over the stretches.
fn edges(dice: &mut Dice, mut shaft: Disturbed, stretches: &[Stretch], inputs: &mut Vec<Input>) {
    if dice.chance(0.1) {
        // One target is gone for good.
        let gone = dice.below(u64::from(shaft.built.targets.count)) as usize;
        shaft.built.missed = vec![gone * 2, gone * 2 + 1];
    }
    let mut push = |at: f64, level: bool| {
        inputs.push(Input::new(Micros::new(at.max(0.0) as u64), Signal::Edge(shaft.shaft, level)));
    };
    let count = shaft.built.edges.len();
    let mut angle = dice.unit();
    let mut next = shaft.built.edges.iter().position(|(at, _)| *at > angle).unwrap_or(0);
    let mut turn = if shaft.built.edges[next].0 > angle { 0.0 } else { 1.0 };
    let mut begun = 0.0;
    let mut skipping = false;
    for stretch in stretches {
        let end = begun + stretch.seconds * 1e6;
        if stretch.silent {
            begun = end;
            continue;
        }
        let rate = shaft.ratio * (1.0 - stretch.slip).max(0.0);
        let (from, to) = (stretch.from * rate, stretch.to * rate);
        let pull = (to - from) / stretch.seconds;
        loop {
            let (at, level) = shaft.built.edges[next];
            let ahead = at + turn - angle;
            // ahead = from t + pull t^2 / 2
            let root = from * from + 2.0 * pull * ahead;
            if root < 0.0 || from + root.sqrt() <= 0.0 {
                break;
            }
            let after = 2.0 * ahead / (from + root.sqrt());
            if !after.is_finite() || after > stretch.seconds {
                break;
            }
            let mut when = begun + after * 1e6 + dice.between(-shaft.jitter, shaft.jitter);
            let pitch_us = 1e6 / (count as f64 * (from + pull * after).max(1e-3));
            if shaft.tremble {
                when += pitch_us * dice.between(0.0, 0.3);
            }
            // Both edges of a target go unseen together.
            if level {
                skipping = dice.chance(shaft.lost);
            }
            if !skipping && !shaft.built.missed.contains(&next) {
                push(when, level);
                if dice.chance(shaft.noise) {
                    // Bounce right after it.
                    for bounce in 0..dice.below(4) {
                        let later = when + (bounce as f64 + 1.0) * shaft.width * dice.between(0.1, 1.5);
                        push(later, !level);
                        push(later + shaft.width * dice.between(0.05, 0.9), level);
                    }
                }
                if dice.chance(shaft.noise) {
                    // A pulse on the way to the next, sometimes wide enough to count.
                    let begin = when + pitch_us * dice.between(0.1, 0.8);
                    push(begin, !level);
                    push(begin + shaft.width * dice.one_of(&[0.1, 0.5, 0.99, 1.0, 1.01, 1.5]), level);
                }
            }
            next += 1;
            if next == count {
                next = 0;
                turn += 1.0;
            }
        }
        angle += (from + to) / 2.0 * stretch.seconds;
        begun = end;
    }
}
