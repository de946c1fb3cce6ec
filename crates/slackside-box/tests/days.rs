//! The days that a box keeps for wear: what a day is, what power leaves of one, marks, and that nothing judged hangs on any of it.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod desk;
mod rig;

use desk::{ask, refused};
use rig::{Chip, Rig, plan, set_up, settings};
use slackside::daily::{Kind, LOOKS_A_DAY, LoadBy, Summary, Work};
use slackside::input::Shaft;
use slackside::units::{DeciCelsius, Micros, Ppm};
use slackside::verdict::{Change, Phase};
use slackside::wire::{Reason, Reply, Request, Today, Window};
use slackside_box::bench::{Line, Panel};
use slackside_box::store::{Days, Layout};

/// The longest round in which nothing is held up.
const ROUND_US: u64 = 40_000;

fn pass(rig: &mut Rig, seconds: u64) {
    for _ in 0..seconds * 1_000_000 / ROUND_US {
        rig.round_after(ROUND_US);
    }
}

/// A leg that has come to rest lets the time pass quickly; its box then finds that it was held up, which it tells and which ends with power.
fn rest(rig: &mut Rig, seconds: u64) {
    assert_eq!(rig.phase(), Phase::Standstill);
    for _ in 0..seconds / 2 {
        rig.round_after(2_000_000);
    }
}

fn stop(rig: &mut Rig) {
    rig.press_stop();
    rig.turn_both(0);
    pass(rig, 40);
}

/// Run for so long at so many per mille of slip, and stop.
fn run(rig: &mut Rig, seconds: u64, slip: u64) {
    rig.make_ready();
    rig.run_up();
    rig.turn(Shaft::Boot, 1_000 - slip);
    pass(rig, seconds);
    stop(rig);
}

fn window(rig: &mut Rig, line: &Line, window: Window) -> Result<Vec<u8>, Reason> {
    let mut bytes = Vec::new();
    loop {
        let request = Request::Read { window, offset: bytes.len() as u32 };
        let piece = ask(rig, line, request, |reply| match reply {
            Reply::Piece { bytes, .. } => Ok(bytes.to_vec()),
            Reply::Refused(reason) => Err(reason),
            other => panic!("{other:?}"),
        })?;
        if piece.is_empty() {
            return Ok(bytes);
        }
        bytes.extend(piece);
    }
}

fn today(rig: &mut Rig) -> Today {
    let line = rig.connect();
    let bytes = window(rig, &line, Window::Today).expect("it keeps days");
    Today::from_bytes(bytes.first_chunk().expect("whole")).expect("readable")
}

fn days(rig: &mut Rig) -> Vec<Summary> {
    let line = rig.connect();
    let bytes = window(rig, &line, Window::Days).expect("it keeps days");
    bytes.as_chunks::<24>().0.iter().filter_map(Summary::of_bytes).collect()
}

fn mark(rig: &mut Rig, work: Work, note: &[u8]) -> Option<Reason> {
    let line = rig.connect();
    ask(rig, &line, Request::Mark { work, note }, refused)
}

#[test]
fn a_day_is_24_hours_powered_and_says_what_was_there() {
    let mut rig = Rig::start(set_up());
    run(&mut rig, 1_200, 20);
    let seconds = rig.now / 1_000_000;
    rest(&mut rig, 86_400 - seconds - 60);
    let before = today(&mut rig);
    assert!((1, LOOKS_A_DAY - 40) < (before.day, before.looks) && before.looks < LOOKS_A_DAY, "{before:?}");
    assert_eq!(days(&mut rig), []);
    rest(&mut rig, 120);
    assert_eq!(today(&mut rig).day, 2);
    let kept = days(&mut rig);
    let [day] = kept[..] else { panic!("{kept:?}") };
    println!("{day:?}");
    assert_eq!((day.day, day.kind, day.settings_changed, day.starts), (1, Kind::Day, false, 1));
    assert!((595..=640).contains(&day.running), "twenty minutes: {}", day.running);
    let slip = day.slip[0].expect("known").get();
    assert!((19_000..=21_000).contains(&slip), "two per cent: {slip} ppm");
    assert_eq!(days(&mut Rig::start(rig.power_down())), [day]);
}

#[test]
fn a_day_that_power_cuts_is_a_short_one_or_goes_on_under_its_number() {
    // Too little to be a day: its number is used again.
    let mut rig = Rig::start(set_up());
    run(&mut rig, 1_500, 0);
    pass(&mut rig, 10);
    let mut rig = Rig::start(rig.power_down());
    pass(&mut rig, 10);
    assert_eq!((today(&mut rig).day, days(&mut rig)), (1, vec![]));
    // More than half an hour of running: kept when the leg came to rest.
    run(&mut rig, 4_000, 10);
    pass(&mut rig, 10);
    let mut rig = Rig::start(rig.power_down());
    pass(&mut rig, 10);
    assert_eq!(today(&mut rig).day, 2);
    let kept = days(&mut rig);
    assert_eq!(kept.iter().map(|day| (day.day, day.kind)).collect::<Vec<_>>(), [(1, Kind::PartOfDay)]);
    assert!((1_990..=2_040).contains(&kept[0].running), "{:?}", kept[0]);
    // It is kept once, however often power goes.
    for _ in 0..3 {
        rig = Rig::start(rig.power_down());
        pass(&mut rig, 1);
    }
    assert_eq!((today(&mut rig).day, days(&mut rig)), (2, kept));
    // While the leg runs it is written down every two hours.
    rig.make_ready();
    rig.run_up();
    pass(&mut rig, 3 * 3_600);
    let mut rig = Rig::start(rig.power_down());
    pass(&mut rig, 1);
    let kept = days(&mut rig);
    assert_eq!(
        kept.iter().map(|day| (day.day, day.kind)).collect::<Vec<_>>(),
        [1, 2].map(|day| (day, Kind::PartOfDay))
    );
    assert!((3_570..=3_600).contains(&kept[1].running), "two hours of three: {:?}", kept[1]);
}

/// The bench's air warms by 2.4 degrees in half a day and cools again. The sensor reads it, and 30 degrees more while the leg runs.
#[test]
fn a_day_says_how_warm_a_rub_point_got() {
    let mut fitted = settings();
    fitted.machine.temperatures[0] = true;
    let mut rig = Rig::start(Rig::set_up(&rig::KEY, &plan(&fitted)));
    rig.temperature = Some(150);
    rig.make_ready();
    rig.run_up();
    pass(&mut rig, 600);
    rig.temperature = Some(450);
    pass(&mut rig, 3_600);
    rig.temperature = Some(150);
    stop(&mut rig);
    let seconds = rig.now / 1_000_000;
    rest(&mut rig, 86_410 - seconds);
    let degrees = |degrees: i16| Some(DeciCelsius::new(10 * degrees));
    // The air is 0.2 degrees up by then, and the lowest is that of the first half hour.
    let first = days(&mut rig);
    let [day] = first[..] else { panic!("{first:?}") };
    assert_eq!((day.hottest, day.coolest, day.kind), ([degrees(45), None, None, None], degrees(15), Kind::Day));
    // Coarser steps: whole minutes of running.
    assert!((2_070..=2_130).contains(&day.running) && day.running.is_multiple_of(30), "{day:?}");
    // A day that power cuts short keeps what there was of it, beside the one before.
    let mut rig = Rig::start(rig.power_down());
    rig.temperature = Some(-52);
    run(&mut rig, 2_400, 10);
    pass(&mut rig, 10);
    let mut rig = Rig::start(rig.power_down());
    rig.temperature = Some(200);
    pass(&mut rig, 10);
    let kept = days(&mut rig);
    assert_eq!(kept.iter().map(|day| (day.day, day.kind)).collect::<Vec<_>>(), [(1, Kind::Day), (2, Kind::PartOfDay)]);
    assert_eq!(kept[0], day);
    assert_eq!((kept[1].hottest[0], kept[1].coolest), (degrees(-5), degrees(-5)), "the leg ran for less than an hour");
    // One that stands still says nothing, and the day is told in its finer steps.
    rig.temperature_stuck = Some(215);
    run(&mut rig, 5_000, 10);
    pass(&mut rig, 10);
    let mut rig = Rig::start(rig.power_down());
    pass(&mut rig, 10);
    let kept = days(&mut rig);
    assert_eq!((kept.len(), kept[2].hottest, kept[2].coolest), (3, [None; 4], None), "{:?}", kept[2]);
}

/// Days of before there were temperatures lie in the ring: they stay, are read, and the count goes on behind them.
#[test]
fn days_that_an_older_box_kept_stay_and_the_count_goes_on() {
    let mut fitted = settings();
    fitted.machine.temperatures[0] = true;
    let mut chip = Rig::set_up(&rig::KEY, &plan(&fitted));
    let layout = rig::layout();
    let begins = layout.album + layout.places * layout.place_length;
    let mut ring = Days::open(begins, 12, 1_024, &mut chip, &mut |_| {}).expect("flash");
    ring.tidy(&mut chip).expect("flash");
    // As they were written down then, low byte first: the sum is that of CRC-32/ISO-HDLC.
    let older = [7_u8, 0, 3, 0xC0, 0xA8, 0x85, 0xFF, 0, 0x80, 0xD2, 4, 0xFE, 0xFF, 0, 255, 10, 239, 3, 112, 0, 7, 52];
    let sum = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&older) as u16;
    let record: Vec<u8> = older.into_iter().chain(sum.to_le_bytes()).collect();
    ring.append(&mut chip, record.as_slice().try_into().expect("24 bytes")).expect("flash");
    let mut rig = Rig::start(chip);
    rig.temperature = Some(250);
    pass(&mut rig, 10);
    assert_eq!(today(&mut rig).day, 8);
    run(&mut rig, 2_400, 10);
    pass(&mut rig, 10);
    let mut rig = Rig::start(rig.power_down());
    pass(&mut rig, 10);
    let kept = days(&mut rig);
    assert_eq!(kept.iter().map(|day| day.day).collect::<Vec<_>>(), [7, 8]);
    assert_eq!((kept[0].load_by, kept[0].slip[2], kept[0].hottest), (LoadBy::Power, Some(Ppm::new(12_340)), [None; 4]));
    assert!(kept[1].hottest[0].is_some(), "{:?}", kept[1]);
}

/// Power goes while the day is filed, at some of its bytes: what was written down of it before is a short day.
#[test]
fn power_that_goes_while_a_day_is_filed_costs_little_of_it() {
    // The number of the page and the record.
    for (steps, torn, kind) in [
        (0, false, Kind::PartOfDay),
        (3, true, Kind::PartOfDay),
        (8, false, Kind::PartOfDay),
        (21, true, Kind::PartOfDay),
        (31, false, Kind::PartOfDay),
        (32, false, Kind::Day),
    ] {
        let mut rig = Rig::start(set_up());
        run(&mut rig, 4_000, 10);
        let seconds = rig.now / 1_000_000;
        rest(&mut rig, 86_400 - seconds - 10);
        rig.sensor_box.flash_mut().lose_power_after(steps, torn);
        rest(&mut rig, 20);
        let mut chip = rig.power_down();
        chip.restore_power();
        let mut rig = Rig::start(chip);
        // A page that was begun and not numbered is erased once the leg stands.
        pass(&mut rig, 12);
        let kept: Vec<_> = days(&mut rig).iter().map(|day| (day.day, day.kind)).collect();
        assert_eq!((kept, today(&mut rig).day), (vec![(1, kind)], 2), "{steps} bytes, torn {torn}");
    }
}

/// Power goes at every byte that a start writes with a short day to file: the day is there after the next, once.
#[test]
fn power_that_goes_while_a_short_day_is_filed_costs_nothing() {
    let mut rig = Rig::start(set_up());
    run(&mut rig, 4_000, 10);
    pass(&mut rig, 10);
    let chip = rig.power_down();
    let before = chip.steps();
    let mut rig = Rig::start(chip.clone());
    pass(&mut rig, 1);
    let steps = rig.sensor_box.flash_mut().steps() - before;
    let whole = days(&mut rig);
    assert!(whole.len() == 1 && steps > 32, "{steps}");
    for dies in 0..steps {
        for torn in [false, true] {
            let mut flash = chip.clone();
            flash.lose_power_after(dies, torn);
            let mut cut = Rig::start(flash);
            pass(&mut cut, 1);
            let mut flash = cut.power_down();
            flash.restore_power();
            let mut after = Rig::start(flash);
            pass(&mut after, 12);
            assert_eq!((days(&mut after), today(&mut after).day), (whole.clone(), 2), "step {dies}, torn {torn}");
        }
    }
    println!("power went at each of {steps} bytes");
}

#[test]
fn a_mark_stands_beside_the_days_and_few_are_taken() {
    let mut rig = Rig::start(set_up());
    pass(&mut rig, 1);
    assert_eq!(mark(&mut rig, Work::Lagging, b"ceramic"), None);
    let marked = Summary::mark(1, Work::Lagging, b"ceramic").expect("short");
    assert_eq!((days(&mut rig), today(&mut rig).doubt), (vec![marked], Some(marked)));
    // A desk that got no answer asks again.
    assert_eq!((mark(&mut rig, Work::Lagging, b"ceramic"), days(&mut rig).len()), (None, 1));
    assert_eq!(mark(&mut rig, Work::Other, &[b'x'; 20]), Some(Reason::TooLong));
    for work in [Work::Belt, Work::Splice, Work::TakeUp, Work::Sensor, Work::Other] {
        assert_eq!(mark(&mut rig, work, b""), None);
    }
    for power in 0..2 {
        for work in Work::ALL {
            assert_eq!(mark(&mut rig, work, b"again"), Some(Reason::TooOften), "power-up {power}");
        }
        assert_eq!(days(&mut rig).len(), 6);
        // What was done is not forgotten, nor that it asks for something.
        assert_eq!(today(&mut rig).doubt.map(|mark| mark.kind), Some(Kind::Done(Work::Sensor)));
        rig = Rig::start(rig.power_down());
        pass(&mut rig, 1);
    }
    // Whoever arms settings has seen to it; and that they changed is told of the day.
    pass(&mut rig, 10);
    rig.panel.key.set(true);
    rig.run(50);
    let mut other = settings();
    other.machine.service_factor = Ppm::new(1_100_000);
    let plan = plan(&other);
    let now = Micros::new(rig.now);
    assert_eq!(rig.sensor_box.arm(&plan, other.machine.leg.as_bytes(), plan.identity(), now), Ok(()));
    rig.panel.key.set(false);
    pass(&mut rig, 10);
    assert_eq!(today(&mut rig).doubt, None);
    let mut rig = Rig::start(rig.power_down());
    pass(&mut rig, 10);
    assert_eq!(today(&mut rig).doubt, None, "nor after a loss of power");
    run(&mut rig, 4_000, 0);
    let mut rig = Rig::start(rig.power_down());
    pass(&mut rig, 1);
    assert!(days(&mut rig).iter().any(|day| day.kind == Kind::PartOfDay && day.settings_changed));
}

/// Flash whose days are full of what may be: sound records up to the last place, or noise, or nothing at all and no room for any.
fn chips() -> [(&'static str, Chip, Layout); 4] {
    let layout = rig::layout();
    let sound = set_up();
    let with = |byte: fn(usize) -> u8| {
        let mut chip = sound.clone();
        let begins = (layout.album + layout.places * layout.place_length) as usize;
        for at in begins..begins + 14 * 1_024 {
            (0..8).filter(|bit| byte(at) >> bit & 1 == 0).for_each(|bit| chip.flip(at, bit));
        }
        chip
    };
    let full = {
        let mut chip = sound.clone();
        let begins = layout.album + layout.places * layout.place_length;
        let mut ring = Days::open(begins, 12, 1_024, &mut chip, &mut |_| {}).expect("power");
        for number in 1..12 * 42 {
            if ring.left() == 0 {
                ring.tidy(&mut chip).expect("erased");
            }
            ring.append(&mut chip, &Summary::empty(number, Kind::Day).to_bytes()).expect("stored");
        }
        chip
    };
    let noise = with(|at| (at as u32).wrapping_mul(2_654_435_761).rotate_left(9) as u8);
    let absent = Layout { keeps_days: false, ..layout };
    [("none yet", sound.clone(), layout), ("full", full, layout), ("rotten", noise, layout), ("absent", sound, absent)]
}

#[test]
fn full_rotten_or_absent_days_change_no_verdict() {
    let live = |chip: Chip, layout: Layout| {
        let mut rig = Rig::start_in(chip, layout, Panel::new());
        let line = rig.connect();
        rig.make_ready();
        rig.run_up();
        for second in 0..7_300 {
            pass(&mut rig, 1);
            if second % 600 == 0 {
                let _ = ask(&mut rig, &line, Request::Mark { work: Work::Belt, note: b"" }, refused);
            }
        }
        rig.turn(Shaft::Boot, 0);
        pass(&mut rig, 5);
        rig.turn(Shaft::Head, 0);
        pass(&mut rig, 60);
        let given = (rig.panel.may_run(), rig.panel.may_feed());
        (rig.changes.clone(), given, rig.faults.clone(), rig.panel.heartbeat.writes())
    };
    let mut lives = chips().map(|(what, chip, layout)| (what, live(chip, layout))).into_iter();
    let (_, first) = lives.next().expect("four");
    assert!(first.0.iter().any(|(_, change)| matches!(change, Change::FirstOut(Some(_)))), "it tripped");
    for (what, other) in lives {
        assert_eq!(first, other, "{what}");
    }
}

#[test]
fn a_box_without_room_keeps_no_days_and_says_so() {
    let mut rig = Rig::start_in(set_up(), Layout { keeps_days: false, ..rig::layout() }, Panel::new());
    let line = rig.connect();
    pass(&mut rig, 1);
    assert_eq!(window(&mut rig, &line, Window::Today), Err(Reason::NoSuchRecording));
    assert_eq!(window(&mut rig, &line, Window::Days), Err(Reason::NoSuchRecording));
    let request = Request::Mark { work: Work::Belt, note: b"" };
    assert_eq!(ask(&mut rig, &line, request, refused), Some(Reason::KeepsNoDays));
}

/// No page is erased for marks or days while the leg runs: what has no place is told.
#[test]
fn a_running_leg_has_no_page_erased_for_days() {
    let [_, (_, mut full, layout), ..] = chips();
    // Not even a place is left.
    let begins = layout.album + layout.places * layout.place_length;
    let mut ring = Days::open(begins, 12, 1_024, &mut full, &mut |_| {}).expect("power");
    while ring.left() > 0 {
        ring.append(&mut full, &Summary::empty(504, Kind::Day).to_bytes()).expect("stored");
    }
    let mut rig = Rig::start(full);
    rig.panel.drive.set(true);
    rig.turn_both(1_000);
    pass(&mut rig, 20);
    let erased = rig.sensor_box.flash_mut().erased();
    assert_eq!(mark(&mut rig, Work::Belt, b""), Some(Reason::LegTurns));
    pass(&mut rig, 60);
    assert_eq!(rig.sensor_box.flash_mut().erased(), erased, "nothing is erased while the leg runs");
    stop(&mut rig);
    pass(&mut rig, 20);
    assert_eq!(rig.sensor_box.flash_mut().erased() - erased, 1_024, "at rest one page is");
    assert_eq!(mark(&mut rig, Work::Belt, b""), None);
    let kept = days(&mut rig);
    assert!(kept.iter().any(|day| day.kind == Kind::Done(Work::Belt)));
    // The oldest page of eleven full ones was given up, and no other.
    assert_eq!(kept.iter().filter(|day| day.kind == Kind::Day).count(), 11 * 42);
}
