//! From the box's days to the trend: a box on the bench lives for weeks, loses power, has work marked, is asked for its days over its link,
//! and `slackside trend` begins anew at the mark.

mod program;

use std::fs;

use program::done;
use slackside::daily::{Kind, Summary, Work};
use slackside::input::Shaft;
use slackside::settings::Settings;
use slackside::verdict::Phase;
use slackside::wire::{Decoder, MOST_FRAME, Reply, Request, Window, encode};
use slackside_box::bench::{Chip, Rig};
use slackside_desk::trend::{Table, days_of_box, write_table};

/// The longest round in which nothing is held up.
const ROUND_US: u64 = 40_000;
const DAY_US: u64 = 86_400_000_000;

fn pass(rig: &mut Rig, seconds: u64) {
    for _ in 0..seconds * 1_000_000 / ROUND_US {
        rig.round_after(ROUND_US);
    }
}

/// Switch on, run for so many minutes at so many per mille of slip, and stop.
fn shift(chip: Chip, minutes: u64, slip: u64) -> Rig {
    let mut rig = Rig::start(chip);
    rig.make_ready();
    rig.run_up();
    rig.turn(Shaft::Boot, 1_000 - slip);
    pass(&mut rig, minutes * 60);
    rig.press_stop();
    rig.turn_both(0);
    pass(&mut rig, 40);
    assert_eq!(rig.phase(), Phase::Standstill);
    rig
}

/// The rest of a day passes quickly: a box that is held up at rest tells it, and keeps its days all the same.
fn until_the_day_is_over(rig: &mut Rig) {
    while rig.now < DAY_US + 10_000_000 {
        rig.round_after(2_000_000);
    }
}

/// A desk at the end of its line.
fn ask<T>(rig: &mut Rig, request: &Request<'_>, take: impl Fn(Reply<'_>) -> T) -> T {
    let line = rig.connect();
    let mut frame = [0; MOST_FRAME];
    line.put(encode(7, request, &mut frame).expect("it fits"));
    let mut decoder = Decoder::new();
    for _ in 0..200 {
        rig.run(1);
        for byte in line.take() {
            if let Some(frame) = decoder.feed(byte) {
                return take(frame.expect("whole").message().expect("understood"));
            }
        }
    }
    panic!("no answer to {request:?}");
}

fn fetch(rig: &mut Rig) -> Vec<u8> {
    let mut bytes = Vec::new();
    loop {
        let request = Request::Read { window: Window::Days, offset: bytes.len() as u32 };
        let piece = ask(rig, &request, |reply| match reply {
            Reply::Piece { bytes, .. } => bytes.to_vec(),
            other => panic!("{other:?}"),
        });
        if piece.is_empty() {
            return bytes;
        }
        bytes.extend(piece);
    }
}

#[test]
fn the_trend_of_a_boxs_days_begins_anew_at_the_mark() {
    let plan = Settings::example().check().expect("sound").plan();
    let mut chip = Rig::set_up(b"the bench's key.", &plan);
    // Sixteen days of lagging that wears, from 0.4 % on.
    for day in 0..16 {
        let mut rig = shift(chip, 8, 4 + day / 2);
        until_the_day_is_over(&mut rig);
        chip = rig.power_down();
        if day == 5 {
            // Power goes after minutes: no day.
            chip = shift(chip, 8, 4).power_down();
        }
    }
    // Power goes within a day: what is kept of it is a short one.
    let mut rig = shift(chip, 70, 12);
    pass(&mut rig, 5);
    let mut rig = Rig::start(rig.power_down());
    pass(&mut rig, 1);
    // New lagging.
    let mark = Request::Mark { work: Work::Lagging, note: b"ceramic" };
    assert!(ask(&mut rig, &mark, |reply| reply == Reply::Done));
    chip = rig.power_down();
    for day in 0..16 {
        let mut rig = shift(chip, 8, 2 + day % 2);
        until_the_day_is_over(&mut rig);
        chip = rig.power_down();
    }
    let mut rig = Rig::start(chip);
    pass(&mut rig, 1);
    let table =
        Table { leg: None, kept_by: Some("BENCH-1".to_owned()), days: days_of_box("BENCH-1", &fetch(&mut rig)) };
    let kinds = |what: fn(&Summary) -> bool| {
        table.days.iter().filter(|day| what(&day.summary)).map(|day| day.date.number()).collect::<Vec<_>>()
    };
    assert_eq!(kinds(|day| day.kind == Kind::PartOfDay), [17]);
    assert_eq!(kinds(|day| day.kind == Kind::Done(Work::Lagging)), [18]);
    assert_eq!(
        kinds(|day| day.kind == Kind::Day),
        [&(1..=16).collect::<Vec<_>>()[..], &(18..=33).collect::<Vec<_>>()].concat()
    );

    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path();
    let write = |name: &str, table: &Table| {
        let mut text = Vec::new();
        write_table(table, &mut text).expect("memory");
        fs::write(path.join(name), text).expect("written");
    };
    write("days.csv", &table);
    let told = |file: &str| done(path, &["trend", file]).split_whitespace().collect::<Vec<_>>().join(" ");
    let marked = told("days.csv");
    println!("{marked}");
    assert!(marked.contains("Wear: 33 days, day 1 to day 33"), "{marked}");
    assert!(marked.contains("- day 18: lagging (ceramic)"), "{marked}");
    // The day of the work is of both.
    assert!(marked.contains("Counted since day 19, after work on it (lagging): 15 days."), "{marked}");
    assert!(marked.contains("No trend: nothing that was measured goes one way"), "{marked}");
    // Without the mark that is a change whose reason nobody knows.
    let mut unmarked = table.clone();
    unmarked.days.retain(|day| !matches!(day.summary.kind, Kind::Done(_)));
    write("unmarked.csv", &unmarked);
    let unmarked = told("unmarked.csv");
    assert!(!unmarked.contains("after work on it"), "{unmarked}");
    // And before it the lagging wore.
    let mut before = table;
    before.days.retain(|day| day.date.number() < 18);
    write("before.csv", &before);
    let before = told("before.csv");
    println!("{before}");
    assert!(before.contains("slip (load not known) rises by"), "{before}");
}
