//! A boot sensor that trembles by itself, evenly and at the leg's own rate, while the leg runs: what of it is seen, and what is not.
//!
//! Nothing on the wire parts such edges from those of even targets at a steady speed. They are told where the true targets are
//! uneven, where the leg's speed moves away from theirs, and when it stops.

use slackside::conditions::Condition;
use slackside::input::Shaft;
use slackside::settings::{Settings, Spacing};
use slackside::units::Ppm;
use slackside::verdict::Change;
use slackside_box::bench::{Rig, Tap};

const KEY: [u8; 16] = *b"the bench's key.";

/// The example leg at speed for a minute, its boot with so many targets, each second pitch wider by so many per mille, and the next closer.
fn at_speed(targets: u8, wider: i64, drive_contact: bool) -> Rig {
    let mut settings = Settings::example();
    settings.machine.drive_contact = drive_contact;
    let boot = settings.machine.boot_targets.as_mut().expect("fitted");
    boot.count = targets;
    if wider > 0 {
        let pitch = |per_mille: i64| Ppm::new((1_000 * per_mille / i64::from(targets)) as i32);
        boot.spacing = Spacing::Uneven { closest: pitch(1_000 - wider), widest: pitch(1_000 + wider) };
    }
    let mut rig = Rig::start(Rig::set_up(&KEY, &settings.check().expect("sound").plan()));
    let pitches: Vec<i64> = (0..targets).map(|pitch| if pitch % 2 == 0 { wider } else { -wider }).collect();
    rig.space(Shaft::Boot, pitches.leak());
    rig.make_ready();
    rig.start_up();
    rig.run(60_000);
    rig.changes.clear();
    rig
}

/// From now on the boot's edges are as far apart as those of its true targets at normal speed, but even.
fn tremble(rig: &mut Rig) {
    let boot = rig.sensor_box.monitor().plan().expect("it has one").boot;
    rig.tap(Shaft::Boot, Tap::Trembles(1_000_000_000_000 / (u64::from(boot.normal) * u64::from(boot.marks) * 2)));
}

/// Alarms since `from`, and so many milliseconds after it.
fn raised(rig: &mut Rig, from: u64) -> Vec<(u64, Condition)> {
    let raised = |(at, change)| match change {
        Change::Alarm { condition, to, .. } if to.holds() => Some(((at - from) / 1_000, condition)),
        _ => None,
    };
    rig.changes.drain(..).filter_map(raised).collect()
}

/// What is raised within a minute of trembling at a steady speed, where each second pitch is so many per mille wider.
fn raised_by_even_edges(targets: u8, wider: i64) -> Vec<(u64, Condition)> {
    let mut rig = at_speed(targets, wider, true);
    let from = rig.now;
    tremble(&mut rig);
    rig.run(60_000);
    raised(&mut rig, from)
}

#[test]
fn even_edges_in_place_of_clearly_uneven_targets_stop_the_leg() {
    for (targets, wider) in [(6, 250), (8, 125), (8, 200), (10, 125), (12, 125), (16, 100), (24, 80)] {
        let raised = raised_by_even_edges(targets, wider);
        let first = raised.first();
        let in_time = first.is_some_and(|(ms, by)| *ms <= 1_000 && *by == Condition::BootSensorFault);
        assert!(in_time, "{targets} targets, {wider} per mille: {raised:?}");
    }
    for (targets, wider) in [(4, 0), (8, 0), (8, 25), (16, 25)] {
        assert_eq!(
            raised_by_even_edges(targets, wider),
            [],
            "{targets} targets, {wider} per mille: if told, say so on the page"
        );
    }
}

/// Less uneven ones are learned from whole turns, and told by the second table of them at the latest, each of eleven turns.
#[test]
fn even_edges_in_place_of_weakly_uneven_targets_stop_the_leg() {
    const MS_A_TURN: u64 = 620;
    let legs = [(4, 40), (4, 200), (6, 40), (6, 200), (8, 40), (8, 100), (12, 80), (16, 40), (16, 50), (24, 40)];
    for (leg, (targets, wider)) in legs.into_iter().enumerate() {
        let mut rig = at_speed(targets, wider, true);
        // Somewhere else within the learning of a table each time.
        rig.run(leg as u64 * MS_A_TURN);
        assert_eq!(raised(&mut rig, 0), [], "{targets} targets, {wider} per mille");
        let from = rig.now;
        tremble(&mut rig);
        rig.run(60_000);
        let raised = raised(&mut rig, from);
        let first = raised.first();
        let in_time = first.is_some_and(|(ms, by)| *ms <= 22 * MS_A_TURN && *by == Condition::BootSensorFault);
        assert!(in_time, "{targets} targets, {wider} per mille: {raised:?}");
        assert!(!rig.panel.may_run(), "it stops, and stays stopped");
    }
}

/// A true boot follows its head; one that trembles does not, and over many turns the ratio of the two seems another.
#[test]
fn even_edges_are_told_once_the_load_changes_the_speed_of_the_leg() {
    for (per_mille, told) in [(975, true), (980, true), (985, false), (1_015, false), (1_022, true), (1_025, true)] {
        for trembles in [true, false] {
            let mut rig = at_speed(4, 0, true);
            let from = rig.now;
            if trembles {
                tremble(&mut rig);
            }
            rig.full_speed = per_mille;
            rig.run(300_000);
            let raised: Vec<_> = raised(&mut rig, from);
            let seen = matches!(raised[..], [(0..=100_000, Condition::RatioShifted)]);
            assert!(seen == (told && trembles) && (seen || raised.is_empty()), "{per_mille}, {trembles}: {raised:?}");
        }
    }
}

/// A head that is slower by 3 % or more: the boot seems to outrun it.
#[test]
fn even_edges_that_outrun_a_loaded_head_drop_the_feed() {
    let mut rig = at_speed(4, 0, true);
    let from = rig.now;
    tremble(&mut rig);
    rig.full_speed = 970;
    rig.run(10_000);
    let raised = raised(&mut rig, from);
    assert!(matches!(raised[..], [(_, Condition::SlipNegative)]) && !rig.panel.may_feed(), "{raised:?}");
}

#[test]
fn even_edges_are_told_when_the_leg_stops() {
    for targets in [4, 8] {
        for (drive_contact, within_ms, by) in
            [(true, 10_500, Condition::DriveContactFault), (false, 2_000, Condition::SlipImpossible)]
        {
            let mut rig = at_speed(targets, 0, drive_contact);
            tremble(&mut rig);
            rig.run(15_000);
            let from = rig.now;
            assert_eq!(raised(&mut rig, 0), []);
            rig.press_stop();
            rig.run(within_ms);
            let raised = raised(&mut rig, from);
            assert!(raised.first().is_some_and(|(_, first)| *first == by), "{targets}, {drive_contact}: {raised:?}");
            assert!(!rig.panel.may_run(), "it stops, and stays stopped");
        }
    }
}
