//! The example leg at work, by exact arithmetic: edges of both shafts with width and jitter, and what else happens to a
//! leg. Not a plant: speeds are told, nothing is derived from forces.

use slackside::input::{Command, ContactState, Input, Origin, Place, Shaft, Signal};
use slackside::settings::{Checked, Settings, Targets};
use slackside::units::{DeciCelsius, Micros, Watts};

/// Creep of a loaded belt: the boot turns half a per cent slower than the ratio says.
const CREEP_PPM: u64 = 5_000;
/// Every edge is early or late by up to this much.
const JITTER_US: u64 = 5;
/// A target is as wide as a third of its pitch.
const WIDTH: u64 = 3;
/// The box is on this long before the drive.
const QUIET_US: u64 = 20_000_000;
/// The leg takes this long to come to speed.
const RUN_UP_US: u64 = 4_000_000;

/// The example leg's settings.
///
/// # Panics
/// If the example breaks a rule of its own settings.
pub fn settings() -> Checked {
    Settings::example().check().unwrap_or_else(|violations| panic!("the example leg is refused: {violations:?}"))
}

/// A linear congruential generator (the constants of MMIX): small, and the same everywhere.
struct Lcg(u64);

impl Lcg {
    /// Evenly from 0 up to `end`, which is not reached.
    fn below(&mut self, end: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % end
    }
}

/// A stretch of even acceleration.
#[derive(Clone, Copy)]
struct Stretch {
    until_us: u64,
    to: u64,
}

/// The edges of one shaft that starts from rest at `QUIET_US` and follows the stretches, until `end_us` or rest.
fn edges(shaft: Shaft, targets: Targets, stretches: &[Stretch], end_us: u64, out: &mut Vec<Input>) {
    let pitch = 1_000_000 / u64::from(targets.count);
    let mut random = Lcg(shaft as u64 + 1);
    // Not quite at a target, and not at the same place on both shafts.
    let mut at_ns = QUIET_US * 1_000 + 1_000 * (1 + shaft as u64 * 7);
    let mut speed = 0_u64;
    loop {
        let mut from = (QUIET_US, 0);
        let now = at_ns / 1_000;
        let stretch = stretches.iter().find(|stretch| {
            let here = now < stretch.until_us;
            if !here {
                from = (stretch.until_us, stretch.to);
            }
            here
        });
        let next = match stretch {
            None => speed,
            Some(stretch) if stretch.to == speed => speed,
            Some(stretch) => {
                // v² = v0² + 2·a·θ, held at the speed the stretch leads to.
                let time = i128::from(stretch.until_us - from.0);
                let change = i128::from(stretch.to) - i128::from(from.1);
                let square = i128::from(speed).pow(2) + 2 * change * i128::from(pitch) * 1_000_000 / time;
                let Ok(square) = u64::try_from(square) else { return };
                let next = square.isqrt();
                if change > 0 { next.min(stretch.to) } else { next.max(stretch.to) }
            }
        };
        if speed + next == 0 {
            return;
        }
        let pitch_ns = 2 * pitch * 1_000_000_000 / (speed + next);
        at_ns += pitch_ns;
        speed = next;
        let rising = at_ns / 1_000 + random.below(2 * JITTER_US + 1);
        let falling = (at_ns + pitch_ns / WIDTH) / 1_000 + random.below(2 * JITTER_US + 1);
        if rising > end_us {
            return;
        }
        out.push(Input::new(Micros::new(rising), Signal::Edge(shaft, true)));
        out.push(Input::new(Micros::new(falling), Signal::Edge(shaft, false)));
    }
}

fn sorted(mut inputs: Vec<Input>) -> Vec<Input> {
    inputs.sort_by_key(|input| input.at);
    inputs
}

/// The start, and the edges of both shafts; the boot follows, and from `slip_us` on falls behind by 5 % a second.
fn turning(settings: &Checked, end_us: u64, slip_us: Option<u64>) -> Vec<Input> {
    let machine = &settings.machine;
    let mut inputs = vec![
        Input::new(Micros::ZERO, Signal::DriveRunning(false)),
        Input::new(Micros::new(QUIET_US), Signal::DriveRunning(true)),
    ];
    let head = u64::from(machine.normal_head.get());
    let boot = head * u64::from(machine.ratio_in_force().get()) / 1_000_000 * (1_000_000 - CREEP_PPM) / 1_000_000;
    let run_up = QUIET_US + RUN_UP_US;
    if let Some(targets) = machine.head_targets {
        edges(Shaft::Head, targets, &[Stretch { until_us: run_up, to: head }], end_us, &mut inputs);
    }
    if let Some(targets) = machine.boot_targets {
        let mut stretches = vec![Stretch { until_us: run_up, to: boot }];
        if let Some(slip_us) = slip_us {
            stretches.push(Stretch { until_us: slip_us, to: boot });
            stretches.push(Stretch { until_us: slip_us + 20_000_000, to: 0 });
        }
        edges(Shaft::Boot, targets, &stretches, end_us, &mut inputs);
    }
    inputs
}

/// A healthy start and run of so many seconds, contacts clear.
pub fn running(settings: &Checked, seconds: u64) -> Vec<Input> {
    let mut inputs = turning(settings, QUIET_US + seconds * 1_000_000, None);
    for place in Place::ALL {
        inputs.push(Input::new(Micros::ZERO, Signal::Contact(place, ContactState::Clear)));
    }
    sorted(inputs)
}

/// A leg with everything wrong: noise, rubbing, commands, heat, and slip that grows until the boot stands.
#[allow(dead_code, reason = "the benchmark uses the healthy leg only")]
pub fn rough(settings: &Checked, seconds: u64) -> Vec<Input> {
    let end_us = QUIET_US + seconds * 1_000_000;
    let mut inputs = turning(settings, end_us, Some(end_us - 30_000_000));
    let mut random = Lcg(99);
    let mut at_us = 1_000;
    while at_us < end_us {
        at_us += 1_000 + random.below(200_000);
        let at = Micros::new(at_us);
        let place = Place::ALL[random.below(4) as usize];
        match random.below(8) {
            0 => inputs.push(Input::new(at, Signal::DrivePower(Watts::new(random.below(30_000) as u32)))),
            1 => inputs.push(Input::new(at, Signal::Temperature(place, DeciCelsius::new(random.below(900) as i16)))),
            2 => inputs.push(Input::new(at, Signal::Tick)),
            3 => {
                // A noise pulse far shorter than the minimum width.
                let shaft = if random.below(2) == 0 { Shaft::Head } else { Shaft::Boot };
                let end = Micros::new(at_us + 1 + random.below(40));
                inputs.push(Input::new(at, Signal::Edge(shaft, true)));
                inputs.push(Input::new(end, Signal::Edge(shaft, false)));
            }
            4 => {
                let command = match random.below(4) {
                    0 => Command::Acknowledge,
                    1 => Command::Reset,
                    2 => Command::BootCleared,
                    _ => Command::ResetButton(random.below(2) == 0),
                };
                let origin = if random.below(2) == 0 { Origin::Leg } else { Origin::Link };
                inputs.push(Input::new(at, Signal::Command(origin, command)));
            }
            _ => {
                let end = Micros::new(at_us + 10_000 + random.below(700_000));
                inputs.push(Input::new(at, Signal::Contact(place, ContactState::Rubbing)));
                inputs.push(Input::new(end, Signal::Contact(place, ContactState::Clear)));
            }
        }
    }
    let mut inputs = sorted(inputs);
    inputs.push(Input::new(Micros::new(end_us + 60_000_000), Signal::Tick));
    inputs
}
