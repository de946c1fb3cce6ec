//! A day gathered at the desk is the day that a box gathers, and says what was there.

use std::io::Cursor;
use std::path::Path;

use slackside::daily::{Gatherer, LOOK, Load, LoadBy, Summary};
use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::units::{Micros, Ppm};
use slackside::verdict::Phase;
use slackside_desk::demo;
use slackside_desk::monitor::{Monitor, monitor};
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::run::{Obeys, Permits, Watch, run};
use slackside_desk::scenario::settings::{Commissioned, settings_for};
use slackside_desk::scenario::truth::Row;
use slackside_desk::settings::Loaded;
use slackside_desk::trace::{HEADER, Reader, write_row};
use slackside_desk::trend::{Day, days_of_trace};

fn of_desk(inputs: &[Input], settings: &Checked) -> Summary {
    let mut bytes = format!("{HEADER}\n").into_bytes();
    inputs.iter().for_each(|input| write_row(input, &mut bytes));
    let reader = Reader::from_read("shift", Cursor::new(bytes)).expect("a trace");
    let days = days_of_trace(reader, settings, monitor(settings, &Retained::default())).expect("a day");
    let [Day { summary, .. }] = days[..] else { panic!("one day, not {}", days.len()) };
    summary
}

/// As a box does: it hears each input, and looks after each round, a millisecond each.
fn of_box(inputs: &[Input], settings: &Checked) -> Summary {
    let mut monitor = monitor(settings, &Retained::default());
    let mut gatherer = Gatherer::new();
    let look = |gatherer: &mut Gatherer, monitor: &Monitor, now: Micros| {
        gatherer.look(now, monitor.status().phase, monitor.signals(), monitor.plan().expect("a plan"));
    };
    let mut round = inputs[0].at.get();
    for input in inputs {
        while round < input.at.get() {
            monitor.observe(Input::new(Micros::new(round), Signal::Tick), &mut |_| {});
            look(&mut gatherer, &monitor, Micros::new(round));
            round += 1_000;
        }
        gatherer.hear(input);
        monitor.observe(*input, &mut |_| {});
    }
    look(&mut gatherer, &monitor, monitor.newest());
    gatherer.summary(0, monitor.plan().expect("a plan"))
}

struct Kept(Vec<Input>);

impl Watch for Kept {
    fn input(&mut self, input: &Input) -> std::io::Result<()> {
        self.0.push(*input);
        Ok(())
    }

    fn truth(&mut self, _: &Row) -> std::io::Result<()> {
        Ok(())
    }

    fn permits(&mut self, _: u64) -> Permits {
        Permits { run: true, feed: true }
    }
}

/// A shift of the leg with a power meter: started, run empty, loaded, emptied, stopped. `worn`: how far the lagging is, 0 to 1.
fn shift(worn: f64) -> (Vec<Input>, Checked) {
    let text = format!(
        "description = \"One shift.\"\nleg = \"harbour-terminal-leg\"\nduration_s = 460.0\n[label]\nwrong = \"\"\nstop = false\n\
         [[timeline]]\nat_s = 5.0\npress = \"start\"\n[[timeline]]\nat_s = 150.0\nfeed_pct = 85.0\n\
         [[timeline]]\nat_s = 350.0\nfeed_pct = 0.0\n[[timeline]]\nat_s = 410.0\npress = \"stop\"\n\
         [[fault]]\nkind = \"lagging_worn\"\nfrom_s = 0.0\nramp_s = 0.0\nseverity = {worn}\n"
    );
    let scenario = Scenario::parse(&text, Path::new("shift.toml")).expect("a scenario");
    let commissioned = Commissioned::measure(&scenario.leg);
    let mut kept = Kept(Vec::new());
    run(&scenario, &commissioned, 7, Obeys::Nothing, &mut kept).expect("nothing is written");
    let settings = settings_for(&scenario.leg, &commissioned).check().expect("sound settings");
    (kept.0, settings)
}

#[test]
fn desk_and_box_gather_the_same_day() {
    let example = Loaded::example().checked;
    let demo = demo::inputs(&example);
    let (inputs, settings) = shift(0.2);
    for (inputs, settings) in [(demo, example), (inputs, settings)] {
        assert_eq!(of_desk(&inputs, &settings), of_box(&inputs, &settings));
    }
}

/// What it says, against the monitor's signals taken down each two seconds by hand.
#[test]
fn a_day_says_what_was_there() {
    let (inputs, settings) = shift(0.0);
    let day = of_desk(&inputs, &settings);
    println!("{day:?}");
    let mut monitor = monitor(&settings, &Retained::default());
    let (mut next, mut running, mut power) = (inputs[0].at, 0_u16, 0);
    let mut slip = [const { Vec::new() }; Load::COUNT];
    for input in &inputs {
        while next < input.at {
            monitor.observe(Input::new(next, Signal::Tick), &mut |_| {});
            if monitor.status().phase == Phase::Running {
                running += 1;
                let long = monitor.signals().long;
                // 160 kW: unloaded below 30 % of it, 19/64; loaded from 70 %, 45/64.
                let load = if power < 47_500 { 0 } else { 1 + usize::from(power >= 112_500) };
                if long.is_exact() {
                    slip[load].push(long.least);
                }
            }
            next = next.after(LOOK);
        }
        if let Signal::DrivePower(watts) = input.signal {
            power = watts.get();
        }
        monitor.observe(*input, &mut |_| {});
    }
    assert_eq!(day.running, running);
    assert!(day.load_by == LoadBy::Power && day.starts == 1, "{day:?}");
    for (found, values) in day.slip.into_iter().zip(&mut slip) {
        values.sort_unstable();
        let Some(found) = found.map(Ppm::get) else {
            assert!(values.is_empty(), "{values:?}");
            continue;
        };
        // Of every second value where there are more than 64: within the middle fifth of all.
        let (low, high) = (values[values.len() * 2 / 5], values[values.len() * 3 / 5]);
        assert!((low - 10..=high + 10).contains(&found), "{found} of {low} to {high}");
    }
    // The drive goes off at 410 s, and the last edge of the head comes when it stands.
    let last = inputs.iter().rev().find(|input| matches!(input.signal, Signal::Edge(Shaft::Head, true)));
    let off = inputs.iter().rev().find(|input| input.signal == Signal::DriveRunning(false)).expect("stopped");
    let coasted = last.expect("turned").at.since(off.at).get();
    assert!(day.coast.expect("ran down").get().abs_diff(coasted) < 1_000_000, "{day:?}: {coasted} us");
}

/// In the plant lagging that wears makes the head pulley smaller too: it shows at every load, and in the ratio. What the trend stands on.
#[test]
fn worn_lagging_shows_at_every_load_and_in_the_ratio() {
    let days = [0.0, 0.2, 0.4].map(|worn| {
        let (inputs, settings) = shift(worn);
        of_desk(&inputs, &settings)
    });
    for load in [Load::Unloaded, Load::Full] {
        let slip = days.map(|day| day.slip[load as usize].expect("known").get());
        assert!(slip[0] + 1_000 < slip[1] && slip[1] + 1_000 < slip[2], "{load:?}: {slip:?}");
    }
    let ratio = days.map(|day| day.ratio_shift.expect("known").get());
    // Its few blocks are of whatever load there was, and creep is in them.
    assert!(ratio[0] > ratio[1] + 1_000 && ratio[0] > ratio[2] + 1_000, "{ratio:?}");
}
