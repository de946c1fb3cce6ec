//! What must hold for any sequence of sights.

mod judge_rig;

use judge_rig::*;
use proptest::prelude::*;
use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Origin, Place};
use slackside::motion::{Distrust, Pitch, SeenRatio, SlipReading, TargetPattern};
use slackside::retained::Retained;
use slackside::settings::Settings;
use slackside::units::{Micros, Ppm, Ratio, Span, TurnFraction, Turns};
use slackside::verdict::Verdict;

/// One move of a random day.
#[derive(Clone, Debug)]
enum Step {
    Wait(u64),
    Turn(u64, u64, u64, Option<i32>),
    Drive(bool),
    Slip(SlipReading),
    Rub(usize, bool),
    Duty(usize, i32),
    Distrust(bool),
    Pattern(bool),
    Seen(u32),
    Other(What),
    LinkCommand(Command),
}

fn command() -> impl Strategy<Value = Command> {
    let condition = (0..Condition::COUNT).prop_map(|index| Condition::ALL[index]);
    prop_oneof![
        3 => Just(Command::Acknowledge),
        3 => Just(Command::Reset),
        1 => any::<bool>().prop_map(Command::ResetButton),
        3 => Just(Command::BootCleared),
        2 => any::<bool>().prop_map(Command::Key),
        2 => (condition, 0_u32..2_000_000_000).prop_map(|(condition, span)| Command::Bypass(condition, Span::new(span))),
        1 => Just(Command::EndBypass),
        2 => any::<bool>().prop_map(Command::Inch),
        1 => any::<bool>().prop_map(Command::ProofTest),
    ]
}

fn slip() -> impl Strategy<Value = SlipReading> {
    prop_oneof![
        Just(SlipReading::Unknown),
        Just(SlipReading::Retracted),
        (-150_000..400_000_i32).prop_map(|slip| SlipReading::Known(Ppm::new(slip))),
        (-150_000..400_000_i32).prop_map(|slip| SlipReading::AtLeast(Ppm::new(slip))),
        (-150_000..400_000_i32, 0..60_000_i32)
            .prop_map(|(slip, wide)| SlipReading::Between(Ppm::new(slip), Ppm::new(slip + wide))),
    ]
}

fn step() -> impl Strategy<Value = Step> {
    let share = || prop_oneof![2 => 960_000..1_010_000_u64, 1 => 100_000..1_300_000_u64, 1 => Just(0_u64)];
    let near = prop_oneof![Just(None), (-20_000..60_000_i32).prop_map(Some), (-150_000..300_000_i32).prop_map(Some)];
    prop_oneof![
        2 => prop_oneof![0..2_000_000_u64, 0..40_000_000_u64, 0..4_000_000_000_u64].prop_map(Step::Wait),
        8 => (1..6_000_000_u64, share(), share(), near).prop_map(|(time, head, boot, slip)| Step::Turn(time, head, boot, slip)),
        3 => any::<bool>().prop_map(Step::Drive),
        1 => slip().prop_map(Step::Slip),
        1 => (0..4_usize, any::<bool>()).prop_map(|(place, rubs)| Step::Rub(place, rubs)),
        1 => (0..4_usize, 0..200_000_i32).prop_map(|(place, duty)| Step::Duty(place, duty)),
        1 => any::<bool>().prop_map(Step::Distrust),
        1 => any::<bool>().prop_map(Step::Pattern),
        1 => (980_000..1_100_000_u32).prop_map(Step::Seen),
        1 => (0..30_000_u32).prop_map(|watts| Step::Other(What::Power(watts))),
        1 => (200_000..1_100_000_i32).prop_map(|share| Step::Other(What::Reference(share))),
        1 => (0..4_usize, 100..1_000_i16)
            .prop_map(|(place, value)| Step::Other(What::Temperature(Place::ALL[place], value))),
        1 => any::<bool>().prop_map(|plugged| Step::Other(What::Outlet(plugged))),
        1 => Just(Step::Other(What::Late)),
        4 => command().prop_map(|command| Step::Other(What::Command(Origin::Leg, command))),
        1 => command().prop_map(Step::LinkCommand),
    ]
}

fn settings() -> impl Strategy<Value = Settings> {
    (any::<[bool; 7]>()).prop_map(|[contact, power, reference, outlet, hot, head, coast]| {
        let mut settings = Settings::example();
        settings.machine.drive_contact = contact;
        settings.machine.power_meter = power;
        settings.machine.speed_reference = reference.then_some(slackside::settings::SpeedReference {
            minimum: Ppm::new(300_000),
            ramp_per_second: Ppm::new(100_000),
        });
        settings.machine.outlet_switch = outlet;
        settings.machine.temperatures = [hot; 4];
        if !head && !hot {
            settings.machine.head_targets = None;
            settings.machine.drive_contact = true;
            settings.machine.accepted_ratio = None;
        }
        if coast {
            settings.limits.starts.shortest_coast_down = Span::from_millis(3_000);
        }
        settings
    })
}

fn day(settings: Settings, steps: Vec<Step>) -> Leg {
    let mut leg = Leg::new(settings);
    leg.say(1_000, What::Drive(false));
    leg.wait(15 * SECOND);
    for step in steps {
        match step {
            Step::Wait(time) => leg.wait(time),
            Step::Turn(time, head, boot, slip) => leg.turn(time, head, boot, slip),
            Step::Drive(on) => leg.drive(on),
            Step::Slip(reading) => {
                leg.slip(reading);
                leg.tell_motion();
            }
            Step::Rub(place, rubs) => leg.rub(Place::ALL[place], rubs),
            Step::Duty(place, duty) => {
                leg.motion.contacts[place].duty = Ppm::new(duty);
                leg.tell_motion();
            }
            Step::Distrust(wrong) => {
                leg.motion.boot.distrust = if wrong { Distrust::HUM } else { Distrust::default() };
                leg.tell_motion();
            }
            Step::Pattern(wrong) => {
                leg.motion.head.pattern = if wrong { TargetPattern::Missing } else { TargetPattern::Whole };
                leg.tell_motion();
            }
            Step::Seen(ratio) => {
                leg.motion.seen_ratio = Some(SeenRatio { ratio: Ratio::new(ratio), spread: Ppm::new(1_000) });
                leg.tell_motion();
            }
            Step::Other(what) => leg.say(leg.now, what),
            Step::LinkCommand(command) => leg.by_link(command),
        }
    }
    leg
}

fn days() -> impl Strategy<Value = Leg> {
    (settings(), any::<bool>(), proptest::collection::vec(step(), 1..40)).prop_map(|(settings, runs, mut steps)| {
        if runs {
            steps.insert(0, Step::Turn(9_000_000, 1_000_000, 1_000_000, Some(5_000)));
            steps.insert(0, Step::Turn(1_500_000, 500_000, 500_000, None));
            steps.insert(0, Step::Drive(true));
        }
        day(settings, steps)
    })
}

impl std::fmt::Debug for Leg {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "a leg with {} events", self.events.len())
    }
}

/// A wait, or a moment anywhere, before or after. What waits with nonsense for days, hot, takes a million looks at its heat: so few do.
fn later() -> impl Strategy<Value = Result<u64, u64>> {
    prop_oneof![
        100 => (0..5_000_000_u64).prop_map(Ok),
        30 => (0..10_000_000_000_u64).prop_map(Ok),
        10 => any::<u32>().prop_map(|at| Err(at.into())),
        1 => any::<u64>().prop_map(Err),
    ]
}

/// Wakes at given shares of the way between neighbouring events, after the first.
fn with_wakes(events: &[Event], shares: &[u64]) -> Vec<Event> {
    let mut list = Vec::new();
    let mut shares = shares.iter().cycle();
    for (index, event) in events.iter().enumerate() {
        if let Some(before) = index.checked_sub(1).and_then(|before| events.get(before)) {
            for _ in 0..2 {
                let gap = event.0 - before.0;
                let at = before.0 + gap / 1_000 * shares.next().unwrap();
                if list.last().is_none_or(|(last, _)| *last <= at) {
                    list.push((at, What::Wake));
                }
            }
        }
        list.push(event.clone());
    }
    list
}

fn shifted(verdicts: &[Verdict], by: u64) -> Vec<Verdict> {
    verdicts.iter().map(|verdict| Verdict { at: Micros::new(verdict.at.get() + by), ..*verdict }).collect()
}

fn shift(events: &[Event], by: u64) -> Vec<Event> {
    let later = |at: Micros| Micros::new(at.get() + by);
    events
        .iter()
        .map(|(at, what)| {
            let what = match what {
                What::Motion(motion) => {
                    let mut motion = motion.clone();
                    for shaft in [&mut motion.head, &mut motion.boot] {
                        shaft.last_edge = shaft.last_edge.map(later);
                    }
                    for contact in &mut motion.contacts {
                        contact.rubbing_since = contact.rubbing_since.map(later);
                    }
                    What::Motion(motion)
                }
                other => other.clone(),
            };
            (at + by, what)
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, ..ProptestConfig::default() })]

    #[test]
    fn the_short_way_gives_what_the_plain_scan_gives(leg in days()) {
        prop_assert_eq!(play(&leg.settings, &leg.events), play_plainly(&leg.settings, &leg.events));
    }

    #[test]
    fn ticks_change_nothing(leg in days(), shares in proptest::collection::vec(0..1_000_u64, 1..50)) {
        let expected = play(&leg.settings, &leg.events);
        let ticked = with_wakes(&leg.events, &shares);
        prop_assert_eq!(play(&leg.settings, &ticked), expected);
    }

    /// Bypasses, inching and the window of starts end on a grid of 1,024 µs: with them by whole steps of it, without them by any.
    #[test]
    fn shifting_all_times_changes_nothing(leg in days(), by in 0..(1_u64 << 40)) {
        let whole = by.next_multiple_of(1_024);
        let expected = shifted(&play(&leg.settings, &leg.events), whole);
        prop_assert_eq!(play(&leg.settings, &shift(&leg.events, whole)), expected);
        let ends_on_the_grid =
            |event: &Event| matches!(event.1, What::Command(_, Command::Bypass(..) | Command::Inch(_)));
        let window = u64::from(leg.settings.limits.starts.window.get());
        let before_one_ends = leg.events.iter().take_while(|event| event.0 < window);
        let others: Vec<Event> = before_one_ends.filter(|event| !ends_on_the_grid(event)).cloned().collect();
        let expected = shifted(&play(&leg.settings, &others), by);
        prop_assert_eq!(play(&leg.settings, &shift(&others, by)), expected);
    }

    /// Ticking at every deadline: nothing comes before it, and what comes is stamped with it.
    #[test]
    fn deadlines_are_kept(leg in days()) {
        let mut judge = judge(&leg.settings, &Retained::default());
        for event in &leg.events {
            for _ in 0..200 {
                let Some(due) = judge.next_deadline().filter(|due| due.get() < event.0) else { break };
                let mut early = Vec::new();
                judge.observe(&(due.get() - 1, What::Wake), &mut |verdict| early.push(verdict));
                prop_assert_eq!(early, vec![]);
                let mut wrong = Vec::new();
                judge.observe(&(due.get(), What::Wake), &mut |verdict| {
                    if verdict.at != due { wrong.push(verdict); }
                });
                prop_assert_eq!(wrong, vec![]);
                prop_assert!(judge.next_deadline().is_none_or(|next| next > due));
            }
            judge.observe(event, &mut |_| {});
        }
    }

    /// Verdicts never go back in time, and the status is what they say.
    #[test]
    fn the_status_is_what_the_verdicts_say(leg in days()) {
        use slackside::verdict::{Change, Permit};
        let mut judge = judge(&leg.settings, &Retained::default());
        let mut newest = Micros::ZERO;
        let mut shown = judge.status().clone();
        for event in &leg.events {
            let mut list = Vec::new();
            judge.observe(event, &mut |verdict| list.push(verdict));
            for Verdict { at, change } in list {
                prop_assert!(at >= newest && at.get() <= event.0);
                newest = at;
                match change {
                    Change::Alarm { condition, from, to, .. } => {
                        prop_assert_eq!(shown.alarms[condition.rank()], from);
                        prop_assert_ne!(from, to);
                        shown.alarms[condition.rank()] = to;
                    }
                    Change::Permit { permit: Permit::Run, allowed, .. } => shown.run_permit = allowed,
                    Change::Permit { permit: Permit::Feed, allowed, .. } => shown.feed_permit = allowed,
                    Change::FirstOut(first) => shown.first_out = first,
                    Change::Phase(phase) => shown.phase = phase,
                    _ => {}
                }
            }
            shown.boot_cleared_needed = judge.status().boot_cleared_needed;
            prop_assert_eq!(&shown, &judge.status());
            prop_assert!(!shown.feed_permit || shown.run_permit);
            for condition in Condition::ALL {
                let stops = leg.settings.limits.of(condition).action == slackside::settings::Action::Stop;
                prop_assert!(!(shown.run_permit && stops && shown.alarms[condition.rank()].holds()));
            }
            prop_assert!(!(shown.run_permit && shown.boot_cleared_needed));
        }
    }

    /// A day with commands by the link never has a permit that the same day without them lacks.
    #[test]
    fn nothing_by_the_link_restores_a_permit(leg in days(), commands in proptest::collection::vec(command(), 1..40)) {
        let step = (leg.events.len() / commands.len()).max(1);
        let mut commands = commands.into_iter();
        let mut with = judge(&leg.settings, &Retained::default());
        let mut without = judge(&leg.settings, &Retained::default());
        for (index, event) in leg.events.iter().enumerate() {
            // A reset at the leg takes only what was acknowledged, and that may have come by the link: leave resets out.
            if matches!(event.1, What::Command(Origin::Leg, Command::Reset | Command::ResetButton(_))) {
                continue;
            }
            with.observe(event, &mut |_| {});
            without.observe(event, &mut |_| {});
            if index % step == 0 && let Some(command) = commands.next() {
                with.observe(&(event.0, What::Command(Origin::Link, command)), &mut |_| {});
            }
            prop_assert!(without.status().run_permit || !with.status().run_permit);
            prop_assert!(without.status().feed_permit || !with.status().feed_permit);
        }
    }

    /// Losing power at any moment gives no permit that was not there.
    #[test]
    fn power_lost_at_any_moment_restores_nothing(leg in days(), share in 0..1_000_usize) {
        let mut judge = judge(&leg.settings, &Retained::default());
        let cut = leg.events.len() * share / 1_000;
        for event in leg.events.iter().take(cut) {
            judge.observe(event, &mut |_| {});
        }
        let survivor = judge.survivor();
        let stored = Retained::from_image(&survivor.to_image()).unwrap();
        prop_assert_eq!(&stored, &survivor);
        let latched: Vec<_> = survivor.latched().iter().collect();
        let mut after = judge_rig::judge(&leg.settings, &stored);
        after.observe(&(77, What::Drive(false)), &mut |_| {});
        for condition in latched {
            prop_assert!(state(&after, condition).holds());
            let stops = leg.settings.limits.of(condition).action == slackside::settings::Action::Stop;
            prop_assert!(!(stops && after.status().run_permit));
        }
        prop_assert!(!(survivor.boot_cleared_needed() && after.status().run_permit));
        prop_assert_eq!(after.survivor().slip_heat(), survivor.slip_heat());
    }

    /// Whatever the motion says, sensible or not, nothing panics and no time is lost.
    #[test]
    fn nonsense_does_no_harm(
        settings in settings(),
        list in proptest::collection::vec((later(), any::<u64>(), any::<[u32; 8]>(), slip(), any::<[i32; 3]>(), command()), 1..60),
    ) {
        let mut judge = judge(&settings, &Retained::default());
        let mut plain = judge_rig::judge(&settings, &Retained::default());
        let leg = Leg::new(settings);
        let mut verdicts = (Vec::new(), Vec::new());
        let mut now = 0_u64;
        for (wait, edge, numbers, reading, values, command) in list {
            let at = match wait {
                Ok(wait) => now.saturating_add(wait),
                Err(at) => at,
            };
            now = now.max(at);
            let mut motion = leg.motion;
            for shaft in [&mut motion.head, &mut motion.boot] {
                shaft.last_edge = (edge % 3 > 0).then_some(Micros::new(edge));
                shaft.pitch = (edge % 5 > 0).then_some(Pitch {
                    time: Span::new(numbers[0].max(1)),
                    angle: TurnFraction::new(numbers[1]),
                    largest: TurnFraction::new(numbers[2]),
                });
                shaft.next_largest = TurnFraction::new(numbers[3]);
                shaft.edges = numbers[4];
            }
            motion.head_since_boot = Turns::new(edge);
            motion.slip_short = reading;
            motion.slip_long = reading;
            motion.contacts[1].rubbing_since = (edge % 7 == 0).then_some(Micros::new(at / 2));
            motion.contacts[1].bridged = edge % 2 == 0;
            motion.contacts[2].state = ContactState::Faulty;
            motion.contacts[3].duty = Ppm::new(values[0]);
            let whats = [
                What::Drive(numbers[5] % 2 == 0),
                What::Motion(Box::new(motion)),
                What::Power(numbers[6]),
                What::Reference(values[1]),
                What::Command(Origin::Leg, command),
                What::Late,
            ];
            for what in whats {
                let event = (at, what);
                judge.observe(&event, &mut |verdict| verdicts.0.push(verdict));
                plain.observe_plainly(&event, &mut |verdict| verdicts.1.push(verdict));
                let _ = (judge.survivor(), judge.slip_heat_at(Micros::new(edge)), judge.next_deadline());
            }
        }
        prop_assert_eq!(verdicts.0, verdicts.1);
    }
}

/// A leg that slips by so much from one moment on, in angle and in what the windows say.
fn first_stop(slip: i32) -> Option<u64> {
    let mut leg = Leg::at_rest();
    leg.run_up();
    let boot = 1_000_000 - u64::from(slip.unsigned_abs());
    leg.turn(120 * SECOND, 1_000_000, boot, Some(slip));
    permits(&leg.play(), slackside::verdict::Permit::Run).iter().find(|(_, allowed)| !allowed).map(|(at, _)| *at)
}

#[test]
fn more_slip_never_trips_later() {
    let mut last = u64::MAX;
    for percent in [0, 2, 5, 8, 11, 13, 14, 15, 16, 17, 20, 30, 50, 80] {
        let at = first_stop(percent * 10_000).unwrap_or(u64::MAX);
        // The phase of the first slow pitch moves by less than one pitch.
        assert!(at <= last.saturating_add(250_000), "{percent} %: {at} after {last}");
        last = at;
    }
    assert!(last < u64::MAX);
}

#[test]
fn more_slip_heats_sooner() {
    let mut last = u64::MAX;
    for slip in [30_000, 45_000, 60_000, 90_000, 130_000] {
        let mut leg = Leg::at_rest();
        leg.run_up();
        leg.turn(1_500 * SECOND, 1_000_000, 970_000, Some(slip));
        let at = raised(&play(&leg.settings, &leg.events), Condition::SlipHeat).first().copied().unwrap_or(u64::MAX);
        assert!(at <= last, "{slip}");
        last = at;
    }
    assert!(last < u64::MAX);
}

#[test]
fn equal_inputs_give_equal_verdicts() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.turn(20 * SECOND, 1_000_000, 880_000, Some(120_000));
    let mut used = judge(&leg.settings, &Retained::default());
    let checked = leg.settings.clone().check().unwrap();
    // A judge that has lived before starts afresh when configured.
    let mut runs = Vec::new();
    for _ in 0..2 {
        used.configure(&checked, &Retained::default());
        let mut verdicts = Vec::new();
        for event in &leg.events {
            used.observe(event, &mut |verdict| verdicts.push(verdict));
        }
        runs.push(verdicts);
    }
    assert_eq!(runs[0], runs[1]);
    assert_eq!(runs[0], leg.play());
}
