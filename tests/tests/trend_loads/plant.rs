//! Shifts of simulated legs on a supply that wanders, and what three boxes make of each: one with a power meter, one that knows the head's
//! speed unloaded, and one that knows neither.

use std::path::Path;

use slackside::daily::{Gatherer, LOOK, Load, Summary};
use slackside::input::{Input, Signal};
use slackside::retained::Retained;
use slackside::settings::{Checked, Settings};
use slackside::units::{Micros, MicroturnsPerSecond};
use slackside::verdict::Phase;
use slackside_desk::monitor::monitor;
use slackside_desk::plant::leg::Leg;
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::run::{Obeys, Permits, Watch, run};
use slackside_desk::scenario::settings::{Commissioned, settings_for};
use slackside_desk::scenario::truth::Row;

/// What differs from shift to shift.
#[derive(Clone, Debug)]
pub struct Shift {
    /// Feed in per cent of the design flow, a stretch each.
    pub feeds: Vec<f64>,
    /// How far the supply's frequency is off, of nominal.
    pub off: f64,
    /// What the motor falls behind, of what it fell behind when the leg was measured: less when it is cold or the voltage high.
    pub lag: f64,
    /// How far the lagging is worn, 0 to 1.
    pub worn: f64,
    pub seed: u64,
}

/// Seconds of a stretch of one feed: long enough for the belt to fill.
pub const STRETCH_S: f64 = 60.0;
const FROM_S: f64 = 40.0;

/// A leg as it was measured.
pub struct Measured {
    name: String,
    pub leg: Leg,
    commissioned: Commissioned,
    /// Power at the head shaft unloaded and at design flow, in watts: so much and no more is the load.
    pub empty_w: f64,
    pub design_w: f64,
}

/// What was seen of a shift.
pub struct Seen {
    pub inputs: Vec<Input>,
    /// Seconds and power at the head shaft in watts, ten a second.
    pub power: Vec<(f64, f64)>,
}

impl Watch for Seen {
    fn input(&mut self, input: &Input) -> std::io::Result<()> {
        self.inputs.push(*input);
        Ok(())
    }

    fn truth(&mut self, row: &Row) -> std::io::Result<()> {
        self.power.push((row.time_us as f64 / 1e6, row.truth.power_w));
        Ok(())
    }

    fn permits(&mut self, _: u64) -> Permits {
        Permits { run: true, feed: true }
    }
}

impl Seen {
    /// Mean power over so many seconds before `until`.
    pub fn mean_power(&self, until: f64, seconds: f64) -> f64 {
        let from = self.power.partition_point(|(at, _)| *at <= until - seconds);
        let to = self.power.partition_point(|(at, _)| *at <= until);
        let span = &self.power[from..to];
        span.iter().map(|(_, power)| power).sum::<f64>() / span.len() as f64
    }
}

impl Measured {
    pub fn new(name: &str) -> Self {
        let mut leg = slackside_desk::scenario::legs::leg(name).expect("a leg");
        leg.fitted.power_meter = true;
        let commissioned = Commissioned::measure(&leg);
        let mut it = Self { name: name.to_owned(), leg, commissioned, empty_w: 0.0, design_w: 0.0 };
        let seen = it.run(&Shift { feeds: vec![0.0, 100.0, 100.0], off: 0.0, lag: 1.0, worn: 0.0, seed: 1 });
        it.empty_w = seen.mean_power(FROM_S + STRETCH_S, 20.0);
        it.design_w = seen.mean_power(FROM_S + 3.0 * STRETCH_S, 20.0);
        it
    }

    /// The leg starts empty, carries these feeds, and stops.
    pub fn run(&self, shift: &Shift) -> Seen {
        use std::fmt::Write as _;
        let name = &self.name;
        let ends = FROM_S + STRETCH_S * shift.feeds.len() as f64;
        let mut text = format!(
            "description = \"One shift.\"\nleg = \"{name}\"\nduration_s = {:.1}\n[label]\nwrong = \"\"\nstop = false\n\
             [[timeline]]\nat_s = 5.0\npress = \"start\"\n",
            ends + 20.0
        );
        for (stretch, feed) in shift.feeds.iter().enumerate() {
            let at = FROM_S + STRETCH_S * stretch as f64;
            let _ = write!(text, "[[timeline]]\nat_s = {at:.1}\nfeed_pct = {feed:.1}\n");
        }
        let _ = write!(text, "[[timeline]]\nat_s = {ends:.1}\npress = \"stop\"\nfeed_pct = 0.0\n");
        if shift.worn > 0.0 {
            let _ = write!(
                text,
                "[[fault]]\nkind = \"lagging_worn\"\nfrom_s = 0.0\nramp_s = 0.0\nseverity = {:.4}\n",
                shift.worn
            );
        }
        let mut scenario = Scenario::parse(&text, Path::new("shift.toml")).expect("a scenario");
        scenario.leg = self.leg.clone();
        let motor = &mut scenario.leg.drive.motor;
        let slip = (1.0 - motor.rated_rpm / motor.synchronous_rpm) * shift.lag;
        motor.synchronous_rpm *= 1.0 + shift.off;
        motor.rated_rpm = motor.synchronous_rpm * (1.0 - slip);
        let mut seen = Seen { inputs: Vec::new(), power: Vec::new() };
        run(&scenario, &self.commissioned, shift.seed, Obeys::Nothing, &mut seen).expect("nothing is written");
        seen
    }

    /// The settings of the three boxes: with a meter, by the head's speed, with neither.
    pub fn boxes(&self) -> [Checked; 3] {
        let with = |change: &dyn Fn(&mut Settings)| {
            let mut settings = settings_for(&self.leg, &self.commissioned);
            settings.machine.power_meter = false;
            change(&mut settings);
            settings.check().unwrap_or_else(|refused| panic!("{}: {refused:?}", self.leg.name))
        };
        let unloaded = MicroturnsPerSecond::new((self.commissioned.idle_head * 1e6).round() as u32);
        [
            with(&|settings| settings.machine.power_meter = true),
            with(&|settings| settings.machine.unloaded_head = Some(unloaded)),
            with(&|_| ()),
        ]
    }
}

/// The day that a shift is to a box; `told` hears each look at a leg that runs: its second, and the load.
pub fn day(inputs: &[Input], settings: &Checked, told: &mut dyn FnMut(f64, Option<Load>)) -> Summary {
    let mut monitor = monitor(settings, &Retained::default());
    let mut gatherer = Gatherer::new();
    let mut next = inputs[0].at;
    for input in inputs {
        while next < input.at {
            monitor.observe(Input::new(next, Signal::Tick), &mut |_| {});
            let phase = monitor.status().phase;
            gatherer.look(next, phase, monitor.signals(), monitor.plan().expect("a plan"));
            if phase == Phase::Running {
                told(next.get() as f64 / 1e6, gatherer.load());
            }
            next = next.after(LOOK);
        }
        gatherer.hear(input);
        monitor.observe(*input, &mut |_| {});
        gatherer.look(
            monitor.newest().max(Micros::new(0)),
            monitor.status().phase,
            monitor.signals(),
            monitor.plan().expect("a plan"),
        );
    }
    gatherer.summary(0, monitor.plan().expect("a plan"))
}
