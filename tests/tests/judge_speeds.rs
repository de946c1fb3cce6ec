//! Speeds at their limits: what is surely slower or faster, when a start has reached its speed, when silence is of both sensors.

mod judge_rig;

use judge_rig::*;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::Place;
use slackside::settings::Settings;
use slackside::units::Span;
use slackside::verdict::{Change, Phase, Verdict};
use slackside_desk::monitor::plan_of;

/// The settings' tolerance of a pitch, two per cent, is given to the leg: slow is only what is surely slow.
const TOLERANCE: f64 = 1.02;

/// How long a boot pitch takes at a share of normal speed in ppm.
fn pitch(share: u64) -> u64 {
    let normal = u64::from(Settings::example().machine.normal_boot.get());
    1_000_000_000_000_000_000 / 4 / normal / share
}

/// Setpoint and deadband in ppm, and the longer of the delays in microseconds.
fn row(condition: Condition) -> (f64, f64, u64) {
    let limits = Settings::example().limits;
    let limit = limits.of(condition);
    let delay = limit.on_delay.get().max(limit.off_delay.get());
    (f64::from(limit.setpoint), f64::from(limit.deadband), u64::from(delay))
}

/// Turns at speed but for one shaft, or both, which turn at `share` for so long.
fn turn(leg: &mut Leg, time: u64, share: u64, head_too: bool) {
    leg.turn(time, if head_too { share } else { 1_000_000 }, share, Some(0));
}

/// Slower than the limit less the tolerance is told after its delay; in the deadband it stays; at the level where it clears it goes.
#[test]
fn a_speed_is_slow_beyond_its_limit_and_clears_above_its_deadband() {
    for (condition, head_too) in
        [(Condition::Underspeed, false), (Condition::DeepUnderspeed, false), (Condition::HeadUnderspeed, true)]
    {
        let (setpoint, deadband, delay) = row(condition);
        let limit = (1e6 - setpoint) / TOLERANCE;
        let clear = 1e6 - setpoint + deadband;
        let (inside, beyond) = ((limit * 1.001) as u64, (limit * 0.999) as u64);
        let time = delay + 2 * SECOND;
        let mut leg = Leg::running();
        turn(&mut leg, time, inside, head_too);
        assert_eq!(raised(&leg.play(), condition), [0_u64; 0], "{condition:?} at {inside}");
        turn(&mut leg, time, beyond, head_too);
        assert_eq!(raised(&leg.play(), condition).len(), 1, "{condition:?} at {beyond}");
        // At once slow again would be no return.
        let is_wrong = |leg: &Leg| matches!(state(&leg.judged(), condition), AlarmState::Unacknowledged);
        turn(&mut leg, time, (clear * 0.999) as u64, head_too);
        assert!(is_wrong(&leg), "{condition:?} in its deadband");
        turn(&mut leg, time, (clear * 1.001) as u64, head_too);
        assert!(!is_wrong(&leg), "{condition:?} above it");
    }
}

#[test]
fn a_belt_faster_than_normal_is_told_beyond_its_limit_only() {
    let condition = Condition::FasterThanNormal;
    let (setpoint, deadband, delay) = row(condition);
    let (limit, clear) = (1e6 + setpoint, 1e6 + setpoint - deadband);
    let time = delay + 2 * SECOND;
    let mut leg = Leg::running();
    turn(&mut leg, time, (limit * 0.999) as u64, true);
    assert_eq!(raised(&leg.play(), condition), [0_u64; 0]);
    let from = leg.now;
    turn(&mut leg, time, (limit * 1.001) as u64, true);
    let at = raised(&leg.play(), condition);
    assert!(matches!(at[..], [at] if (delay..delay + SECOND / 2).contains(&(at - from))), "{from} {at:?}");
    turn(&mut leg, time, (clear * 1.001) as u64, true);
    assert_eq!(state(&leg.judged(), condition), AlarmState::Unacknowledged);
    turn(&mut leg, time, (clear * 0.999) as u64, true);
    assert_eq!(state(&leg.judged(), condition), AlarmState::ReturnedUnacknowledged);
    // A belt that stands is not fast, whatever its last pitch was.
    let mut leg = Leg::running();
    turn(&mut leg, delay + 2 * SECOND, (limit * 1.001) as u64, true);
    leg.wait(delay);
    assert_ne!(state(&leg.judged(), condition), AlarmState::Unacknowledged);
}

/// A belt at less than a fifth of its speed while the head turns: `no motion` comes soonest, though it is the third in rank of the speeds.
#[test]
fn a_belt_that_all_but_stands_has_no_motion() {
    let (setpoint, _, delay) = row(Condition::NoMotion);
    let limit = (1e6 - setpoint) / TOLERANCE;
    for (share, raised_times) in [(limit * 1.02, 0), (limit * 0.98, 1)] {
        let mut leg = Leg::running();
        let pitch = pitch(share as u64);
        let last = leg.motion.boot.last_edge.expect("it turned").get();
        leg.boot_edge(last + pitch);
        leg.boot_edge(last + 2 * pitch);
        leg.wait(delay / 2);
        leg.boot_edge(leg.now);
        let at = raised(&leg.play(), Condition::NoMotion);
        assert_eq!(at.len(), raised_times, "{share}");
        // Known by its silence, before the late edge comes; then the delay.
        let silence = (pitch as f64 * share / limit) as u64;
        assert!(
            at.iter().all(|at| (last + silence + delay).abs_diff(*at) < 1_000),
            "{at:?} {}",
            last + silence + delay
        );
    }
}

/// When the leg was first said to run.
fn runs(verdicts: &[Verdict]) -> Option<u64> {
    verdicts.iter().find(|verdict| verdict.change == Change::Phase(Phase::Running)).map(|verdict| verdict.at.get())
}

/// Two boot pitches at the level where underspeed clears, none surely slow between: 92 %.
#[test]
fn a_start_is_at_speed_with_its_second_pitch_at_speed() {
    const SLOW: u64 = 860_000;
    // Neither surely slow nor at speed.
    const BETWEEN: u64 = 905_000;
    const AT_SPEED: u64 = 921_000;
    const NOT_YET: u64 = 919_000;
    for (shares, at) in [
        (&[AT_SPEED, AT_SPEED, AT_SPEED][..], Some(2)),
        (&[AT_SPEED, BETWEEN, AT_SPEED, AT_SPEED], Some(3)),
        (&[AT_SPEED, SLOW, AT_SPEED, SLOW, AT_SPEED, AT_SPEED], Some(6)),
        (&[AT_SPEED, SLOW, AT_SPEED, BETWEEN, AT_SPEED], Some(5)),
        (&[NOT_YET; 8], None),
    ] {
        let mut leg = Leg::at_rest();
        leg.drive(true);
        leg.turn(2 * SECOND, 500_000, 500_000, None);
        leg.boot_edge(leg.now + pitch(500_000));
        let begin = leg.now;
        let mut times = vec![begin];
        for share in shares {
            leg.boot_edge(leg.now + pitch(*share));
            times.push(leg.now);
        }
        assert_eq!(runs(&leg.play()), at.map(|at: usize| times[at]), "{shares:?} from {begin}");
    }
}

/// At the end of the start time it runs, failed or not; a moment before it starts still.
#[test]
fn the_start_time_ends_to_the_microsecond() {
    let mut leg = Leg::at_rest();
    let opened = leg.now;
    let start_time = u64::from(leg.settings.limits.of(Condition::StartFailed).setpoint.unsigned_abs()) * 1_000;
    leg.drive(true);
    leg.turn(start_time + SECOND, 600_000, 600_000, None);
    let verdicts = leg.play();
    assert_eq!(runs(&verdicts), Some(opened + start_time));
    assert_eq!(raised(&verdicts, Condition::StartFailed), [opened + start_time]);
}

/// A leg that turns already at power-up, or goes on after a failed start, is at speed later: then its run-down tells as any other does.
#[test]
fn a_leg_that_comes_to_speed_while_it_runs_is_learned_from() {
    for at_power_up in [true, false] {
        let mut leg = if at_power_up { Leg::new(Settings::example()) } else { Leg::at_rest() };
        leg.drive(true);
        if !at_power_up {
            leg.turn(11 * SECOND, 880_000, 880_000, None);
        }
        leg.turn(5 * SECOND, 1_000_000, 1_000_000, None);
        leg.drive(false);
        leg.turn(SECOND, 700_000, 700_000, None);
        leg.turn(2 * SECOND, 400_000, 400_000, None);
        leg.wait(20 * SECOND);
        leg.run_up();
        leg.drive(false);
        leg.wait(20 * SECOND);
        assert_eq!(raised(&leg.play(), Condition::BothSilent).len(), 1, "{at_power_up}");
    }
}

/// 2.6 pitches of both, and only if the last ones were at four fifths of normal speed: a belt that runs down is silent too.
#[test]
fn both_are_silent_after_pitches_at_speed_only() {
    let delay = u64::from(Settings::example().limits.of(Condition::BothSilent).on_delay.get());
    for (share, times) in [(810_000, 1), (790_000, 0)] {
        let mut leg = Leg::running();
        leg.turn(2 * SECOND, share, share, None);
        let last = |leg: &Leg| {
            [leg.motion.head.last_edge, leg.motion.boot.last_edge].map(|edge| edge.expect("it turned").get())
        };
        let [head, boot] = last(&leg);
        leg.wait(10 * SECOND);
        let at = raised(&leg.play(), Condition::BothSilent);
        assert_eq!(at.len(), times, "{share}");
        let normal = Settings::example().machine;
        let widest = |normal: u32| (0.255e12 * 2.6 / f64::from(normal)) as u64;
        let silent = (head + widest(normal.normal_head.get())).max(boot + widest(normal.normal_boot.get()));
        assert!(at.iter().all(|at| at.abs_diff(silent + delay) < 3_000), "{at:?} {}", silent + delay);
    }
    // One edge of either, and it is not both.
    for head in [true, false] {
        let mut leg = Leg::running();
        leg.wait(350_000);
        if head {
            leg.head_edge(leg.now)
        } else {
            leg.boot_edge(leg.now)
        }
        leg.wait(100_000);
        assert_eq!(raised(&leg.play(), Condition::BothSilent), [0_u64; 0]);
    }
}

/// The belt runs slower and the head does not: that is no ordinary stop of a leg without a drive contact, at the moment it is told.
#[test]
fn without_a_drive_contact_the_head_that_turns_on_makes_it_a_trip() {
    let mut leg = Leg::without_contact();
    leg.turn(2 * SECOND, 500_000, 500_000, None);
    leg.turn(8 * SECOND, 1_000_000, 1_000_000, Some(5_000));
    let mut stopped = leg.clone();
    leg.turn(2 * SECOND, 1_000_000, 800_000, Some(20_000));
    let judge = leg.judged();
    assert!(judge.status().boot_cleared_needed && !judge.status().run_permit);
    // The head runs down gently afterwards, and it is a trip still.
    for share in [700_000, 400_000, 200_000] {
        leg.turn(SECOND, share, share, None);
    }
    leg.wait(20 * SECOND);
    assert_eq!(state(&leg.judged(), Condition::DeepUnderspeed), AlarmState::LatchedUnacknowledged);
    // With the head slow as well it is a stop.
    stopped.turn(2 * SECOND, 800_000, 800_000, Some(5_000));
    assert!(!stopped.judged().status().boot_cleared_needed);
}

/// A leg that runs at 87 % is no leg at speed: it gets no more feed than one that starts, until it is.
#[test]
fn a_slow_leg_is_not_fed() {
    let mut leg = Leg::running();
    assert!(leg.judged().status().feed_permit);
    turn(&mut leg, 5 * SECOND, 870_000, true);
    let status = leg.judged().status();
    assert_eq!((status.run_permit, status.feed_permit, status.phase), (true, false, Phase::Running));
    turn(&mut leg, 5 * SECOND, 1_000_000, true);
    assert!(leg.judged().status().feed_permit);
    // Nor one whose drive came on again while it ran down, before it is.
    leg.drive(false);
    turn(&mut leg, SECOND, 700_000, true);
    leg.drive(true);
    turn(&mut leg, SECOND, 700_000, true);
    assert!(!leg.judged().status().feed_permit);
}

/// A rub is over with its bridging, and its alarm by its delay after that: not before, and whatever place had rubbed first.
#[test]
fn a_rub_that_ends_clears_by_its_delay() {
    let off_delay = u64::from(Settings::example().limits.of(Condition::Mistracking).off_delay.get());
    let mut leg = Leg::running();
    leg.rub(Place::HeadLeft, true);
    leg.turn(300_000, 1_000_000, 1_000_000, Some(0));
    leg.rub(Place::BootRight, true);
    leg.turn(2 * SECOND, 1_000_000, 1_000_000, Some(0));
    leg.rub(Place::HeadLeft, false);
    leg.turn(2 * SECOND, 1_000_000, 1_000_000, Some(0));
    let wrong = |leg: &Leg| matches!(state(&leg.judged(), Condition::Mistracking), AlarmState::Unacknowledged);
    assert!(wrong(&leg), "the other still rubs");
    leg.rub(Place::BootRight, false);
    let ended = leg.now;
    leg.turn(off_delay + SECOND, 1_000_000, 1_000_000, Some(0));
    let cleared: Vec<u64> = leg
        .play()
        .iter()
        .filter(|verdict| {
            matches!(
                verdict.change,
                Change::Alarm { condition: Condition::Mistracking, from: AlarmState::Unacknowledged, .. }
            )
        })
        .map(|verdict| verdict.at.get())
        .collect();
    assert_eq!(cleared, [ended + off_delay]);
}

/// Over a run-up the mean speed of a pitch says nothing of the speed reached: a head pitch that began while the leg was given time to start
/// is no loss of speed, and one that began when that was up is one.
#[test]
fn a_head_pitch_that_began_while_the_leg_was_starting_is_no_loss_of_speed() {
    let mut settings = Settings::example();
    settings.limits.change(Condition::HeadUnderspeed, |limit| limit.on_delay = Span::from_millis(50));
    let plan = plan_of(&settings.clone().check_for_bench().expect("sound"));
    let start_time = u64::from(plan.drive.start_time);
    let limit = plan.row(Condition::HeadUnderspeed.rank()).limit.unsigned_abs();
    let slow = ((u64::from(QUARTER_AT_MOST) * u64::from(limit)) >> 32) + 10_000;
    for (sooner, raises) in [(1, false), (0, true)] {
        let mut leg = Leg::new(settings.clone());
        leg.say(0, What::Drive(false));
        leg.wait(20 * SECOND);
        leg.drive(true);
        let began = leg.now + start_time - sooner;
        leg.turn(start_time - SECOND / 1_000, 1_000_000, 1_000_000, Some(5_000));
        leg.head_edge(began);
        leg.head_edge(began + slow);
        leg.head_edge(began + slow + 190_000);
        leg.turn(SECOND, 1_000_000, 1_000_000, Some(5_000));
        assert_eq!(raised(&leg.play(), Condition::HeadUnderspeed).len(), usize::from(raises), "{sooner}");
    }
}
