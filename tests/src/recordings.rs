//! Real recordings of coupled toothed wheels, where they are at hand. They are not part of this project.

use std::path::PathBuf;

use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
use slackside::settings::{Checked, CountedEdges, Settings, Spacing, Targets};
use slackside::units::{Micros, Ppm, Span};

use crate::couple;

/// Delay the boot so that it slips against the head: each boot edge comes when the head has turned further by the slip so
/// far. `slip` gives the slip by head angle in turns. The head's own unevenness is taken from its mean pitches.
///
/// This knows nothing of the core: it is arithmetic on whole head turns.
pub fn warp(inputs: &[Input], head_marks: usize, counted: bool, slip: &dyn Fn(f64) -> f64) -> Vec<Input> {
    let head = HeadAngle::of(inputs, head_marks, counted);
    let mut warped = Vec::new();
    // Head angle at which the boot has turned as far as it had at `angle` in the recording.
    let later = |angle: f64| {
        let steps = 4_000;
        let mut at = 0.0;
        let step = head.last / f64::from(steps);
        let mut turned = 0.0;
        while turned < angle && at < head.last {
            turned += (1.0 - slip(at)) * step;
            at += step;
        }
        at - (turned - angle) / (1.0 - slip(at))
    };
    for input in inputs {
        match input.signal {
            Signal::Edge(Shaft::Boot, _) => {
                let Some(angle) = head.angle_at(input.at.get() as f64) else { continue };
                if let Some(at) = head.time_at(later(angle)) {
                    warped.push(Input::new(Micros::new(at.round() as u64), input.signal));
                }
            }
            _ => warped.push(*input),
        }
    }
    warped.sort_by_key(|input| input.at);
    warped
}

/// The head's angle by time, from its counted edges.
struct HeadAngle {
    /// Time and angle of each edge.
    edges: Vec<(f64, f64)>,
    last: f64,
}

impl HeadAngle {
    fn of(inputs: &[Input], marks: usize, counted: bool) -> Self {
        // Pulses of a few microseconds are noise.
        let levels: Vec<_> =
            inputs.iter().filter(|input| matches!(input.signal, Signal::Edge(Shaft::Head, _))).collect();
        let times: Vec<f64> = levels
            .windows(2)
            .filter(|pair| {
                pair[0].signal == Signal::Edge(Shaft::Head, counted) && pair[1].at.get() - pair[0].at.get() > 5
            })
            .map(|pair| pair[0].at.get() as f64)
            .collect();
        // The mean share of each pitch, against the mean of the turns around it.
        let mut sums = vec![(0.0, 0.0); marks];
        for end in marks + 1..times.len() - marks {
            let turns = (times[end] - times[end - marks] + times[end - 1 + marks] - times[end - 1]) / 2.0;
            let sum = &mut sums[end % marks];
            *sum = (sum.0 + (times[end] - times[end - 1]) / turns, sum.1 + 1.0);
        }
        let shares: Vec<f64> = sums.iter().map(|(sum, count)| sum / count).collect();
        let whole: f64 = shares.iter().sum();
        let mut angle = 0.0;
        let mut edges = vec![(times[0], 0.0)];
        for (end, time) in times.iter().enumerate().skip(1) {
            angle += shares[end % marks] / whole;
            edges.push((*time, angle));
        }
        Self { edges, last: angle }
    }

    fn angle_at(&self, time: f64) -> Option<f64> {
        let after = self.edges.partition_point(|(at, _)| *at <= time);
        let ((from, angle), (to, next)) = (*self.edges.get(after.checked_sub(1)?)?, *self.edges.get(after)?);
        Some(angle + (next - angle) * (time - from) / (to - from))
    }

    fn time_at(&self, angle: f64) -> Option<f64> {
        let after = self.edges.partition_point(|(_, at)| *at <= angle);
        let ((time, from), (next, to)) = (*self.edges.get(after.checked_sub(1)?)?, *self.edges.get(after)?);
        Some(time + (next - time) * (angle - from) / (to - from))
    }
}

/// The folder with the recordings: `SLACKSIDE_RECORDINGS`, or `shared/real-traces` beside the checkout.
/// `None`, with a message, where there is none.
pub fn folder() -> Option<PathBuf> {
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared/real-traces");
    let folder = std::env::var_os("SLACKSIDE_RECORDINGS").map_or(beside, PathBuf::from);
    if folder.is_dir() {
        Some(folder)
    } else {
        eprintln!("SKIPPED: no recordings of real wheels at hand (set SLACKSIDE_RECORDINGS to their folder)");
        None
    }
}

/// Read one recording. `None`, with a message, where it is not at hand.
pub fn read(name: &str) -> Option<Vec<Input>> {
    let path = folder()?.join(name);
    let Ok(text) = std::fs::read_to_string(&path) else {
        eprintln!("SKIPPED: recording {name} is not at hand");
        return None;
    };
    let rows = text.lines().skip(1).map(|line| {
        let mut fields = line.split(',');
        let mut field = || fields.next().unwrap_or_else(|| panic!("{name}: short row {line:?}"));
        let at = field().parse().unwrap_or_else(|error| panic!("{name}: {line:?}: {error}"));
        let shaft = match field() {
            "head" => Shaft::Head,
            "boot" => Shaft::Boot,
            other => panic!("{name}: channel {other}"),
        };
        Input::new(Micros::new(at), Signal::Edge(shaft, field() == "1"))
    });
    Some(rows.collect())
}

fn targets(count: u8, spacing: Spacing) -> Targets {
    Targets { count, edges: CountedEdges::Rising, spacing, supervised: true }
}

/// So many targets, evenly spaced to 5 %.
pub fn even(count: u8) -> Targets {
    targets(count, Spacing::Even { tolerance: Ppm::from_percent(5) })
}

/// So many targets with the closest and the widest pitch, in millionths of a turn.
pub fn uneven(count: u8, closest: i32, widest: i32) -> Targets {
    targets(count, Spacing::Uneven { closest: Ppm::new(closest), widest: Ppm::new(widest) })
}

/// Settings for wheels that run faster than a leg and speed up as they go, the head's fastest in turns a second: normal speed is
/// a third of it, and a start may take as long as the recording.
pub fn bench(head: Targets, boot: Targets, fastest: f64) -> Checked {
    let mut settings = Settings::example();
    let machine = &mut settings.machine;
    (machine.head_targets, machine.boot_targets) = (Some(head), Some(boot));
    couple(machine, 0.5, fastest / 3.0);
    machine.conditioning.top_speed = Ppm::from_percent(300);
    machine.conditioning.minimum_width = Span::new(5);
    // There is no drive contact on an engine: the drive is taken to be on while the head turns.
    machine.drive_contact = false;
    settings.limits.change(Condition::StartFailed, |limit| limit.setpoint = 30_000);
    settings.check_for_bench().expect("sound settings")
}
