//! The load of a leg without a power meter, told by its head's speed: how often that is right against the power of the simulated leg, and what
//! it does to trends where grain gets heavier or lighter, motors get colder, and lagging wears. The supply's frequency is off by 0.04 %
//! from shift to shift (a large grid, from memory).

mod plant;

use plant::{Measured, Shift, day};
use slackside::daily::Load;
use slackside_desk::plant::chance::Chance;
use slackside_desk::scenario::legs::NAMES;
use slackside_desk::trend::{Course, Date, Day, Figure, Wear, wear};

const WANDER: f64 = 0.000_4;

/// Looks by the load that was and the load told, the last column where none was: by the plant's power between that unloaded and that at
/// design flow, and by what a power meter calls it.
#[derive(Default)]
struct Counts {
    by_way: [[u32; 4]; 3],
    by_meter: [[u32; 4]; 3],
}

impl Counts {
    fn told(&self) -> u32 {
        self.by_way.iter().map(|row| row[..3].iter().sum::<u32>()).sum()
    }

    fn right(table: &[[u32; 4]; 3]) -> u32 {
        (0..3).map(|load| table[load][load]).sum()
    }

    fn all(&self) -> u32 {
        self.by_way.iter().flatten().sum()
    }

    /// Of the looks told unloaded, those that were.
    fn unloaded(&self) -> f64 {
        f64::from(self.by_way[0][0]) / f64::from((0..3).map(|row| self.by_way[row][0]).sum::<u32>())
    }
}

/// So many shifts of eight minutes, a quarter of the minutes without feed and the others with any up to 110 % of the design flow.
fn counts(measured: &Measured, wander: f64, lag: (f64, f64), shifts: u64) -> Counts {
    let rated = measured.leg.drive.motor.power_kw * 1e3;
    let [_, by_head, _] = measured.boxes();
    let mut counts = Counts::default();
    for seed in 0..shifts {
        let mut chance = Chance::new(900 + seed, 4);
        let feeds =
            (0..8).map(|_| if chance.between(0.0, 1.0) < 0.25 { 0.0 } else { chance.between(0.0, 110.0) }).collect();
        let (off, lag) = (wander * chance.normal(), chance.between(lag.0, lag.1));
        let seen = measured.run(&Shift { feeds, off, lag, worn: 0.0, seed });
        day(&seen.inputs, &by_head, &mut |at, load| {
            let power = seen.mean_power(at, 8.0);
            let told = load.map_or(3, |load| load as usize);
            let class = |share: f64, part: f64, full: f64| usize::from(share >= part) + usize::from(share >= full);
            let way = (power - measured.empty_w) / (measured.design_w - measured.empty_w);
            counts.by_way[class(way, 0.25, 0.75)][told] += 1;
            counts.by_meter[class(power / rated, 0.3, 0.7)][told] += 1;
        });
    }
    counts
}

fn percent(part: u32, whole: u32) -> f64 {
    100.0 * f64::from(part) / f64::from(whole)
}

#[test]
fn the_load_told_by_the_heads_speed_is_that_of_the_plant() {
    for name in NAMES {
        let measured = Measured::new(name);
        let rated = measured.leg.drive.motor.power_kw * 1e3;
        println!(
            "{name}: unloaded {:.0} % of rated power, at design flow {:.0} %",
            100.0 * measured.empty_w / rated,
            100.0 * measured.design_w / rated
        );
        // As measured, to and fro; a motor that is colder or a voltage that is higher; and a small grid.
        for (what, wander, lag) in [
            ("as measured", WANDER, (0.9, 1.1)),
            ("colder motor", WANDER, (0.8, 0.9)),
            ("small grid", SMALL_GRID, (0.9, 1.1)),
        ] {
            let counts = counts(&measured, wander, lag, 6);
            let right = percent(Counts::right(&counts.by_way), counts.told());
            println!(
                "  {what:<13} told {:.0} %, right {right:.1} %, of those told unloaded {:.1} %; as a meter has it {:.0} %; {:?}",
                percent(counts.told(), counts.all()),
                100.0 * counts.unloaded(),
                percent(Counts::right(&counts.by_meter), counts.told()),
                counts.by_way
            );
            if wander > WANDER {
                continue;
            }
            // A belt that runs empty within one reading, and no more.
            let contrary = counts.by_way[0][2] + counts.by_way[2][0];
            assert!(percent(contrary, counts.told()) < 0.3, "{what}: unloaded told full, or full unloaded");
            assert!(percent(counts.told(), counts.all()) > 70.0, "{what}");
            let is_colder = lag.1 < 1.0;
            assert!(counts.unloaded() > if is_colder { 0.75 } else { 0.88 }, "{what}");
            assert!(right > if is_colder { 70.0 } else { 85.0 }, "{what}");
        }
    }
}

/// How feed, motor and lagging go over the days: each from its first to its last.
#[derive(Clone, Copy)]
struct Going {
    feed: (f64, f64),
    lag: (f64, f64),
    worn: (f64, f64),
    /// How far the supply's frequency is off, of nominal: one deviation.
    wander: f64,
}

const SMALL_GRID: f64 = 0.002;
const EVEN: (f64, f64) = (70.0, 70.0);
const HEAVIER: (f64, f64) = (45.0, 90.0);
const LIGHTER: (f64, f64) = (90.0, 45.0);
const SAME: (f64, f64) = (1.0, 1.0);
const COLDER: (f64, f64) = (1.05, 0.85);
const WARMER: (f64, f64) = (0.85, 1.05);
const SOUND: (f64, f64) = (0.0, 0.0);
const WEARS: (f64, f64) = (0.0, 0.1);

/// So many days of six minutes of feed each, of the last of which seven in ten have none: what three boxes say of them.
fn months(measured: &Measured, how: Going, seed: u64, count: u32) -> [Wear; 3] {
    let boxes = measured.boxes();
    let mut chance = Chance::new(seed, 5);
    let mut days = [const { Vec::new() }; 3];
    for number in 0..count {
        let at = |(from, to): (f64, f64)| from + (to - from) * f64::from(number) / f64::from(count - 1);
        let mean = at(how.feed) + 8.0 * chance.normal();
        let mut feeds: Vec<f64> = (0..6).map(|_| (mean + 15.0 * chance.normal()).clamp(0.0, 110.0)).collect();
        if chance.between(0.0, 1.0) < 0.7 {
            feeds[5] = 0.0;
        }
        let shift = Shift {
            feeds,
            off: how.wander * chance.normal(),
            lag: at(how.lag) * (1.0 + 0.04 * chance.normal()),
            worn: at(how.worn),
            seed: seed * 1_000 + u64::from(number),
        };
        let seen = measured.run(&shift);
        for (days, settings) in days.iter_mut().zip(&boxes) {
            let summary = day(&seen.inputs, settings, &mut |_, _| ());
            days.push(Day { date: Date::Counted(number as i32 + 1), source: String::new(), summary });
        }
    }
    let mut days = days.into_iter().zip(&boxes).map(|(days, settings)| wear(days, Some(settings)));
    [(); 3].map(|()| days.next().expect("three"))
}

fn course(wear: &Wear, figure: Figure) -> &Course {
    wear.courses.iter().find(|course| course.figure == figure).expect("known")
}

/// Slip by what it is told at, in % a week; what is told as wear of the lagging stands with a mark.
fn line(wear: &Wear) -> String {
    let mut line = String::new();
    for course in &wear.courses {
        let word = match course.figure {
            Figure::Slip(Load::Full) => "full",
            Figure::Slip(Load::Part) => "part",
            Figure::Slip(Load::Unloaded) => "unloaded",
            Figure::SlipAtAnyLoad => "any",
            Figure::Ratio => "ratio",
            _ => continue,
        };
        let told = course.trend.as_ref().map_or("?".to_owned(), |trend| {
            let mark = if !trend.shows {
                ""
            } else if course.may_be_grain {
                "(!)"
            } else {
                "!"
            };
            format!("{:+.3}{mark}", trend.line.slope * 7.0)
        });
        line += &format!(" {word} {told}");
    }
    line
}

fn tells_lagging(wear: &Wear) -> bool {
    wear.trends().iter().any(|told| told.starts_with("LAGGING"))
}

#[test]
fn heavier_grain_looks_no_more_like_wear_than_with_the_load_unknown() {
    for name in ["millbrook-leg-3", "harbour-terminal-leg"] {
        let measured = Measured::new(name);
        for (what, lag) in [("heavier", SAME), ("heavier, colder", COLDER)] {
            let [by_power, by_head, unknown] =
                months(&measured, Going { feed: HEAVIER, lag, worn: SOUND, wander: WANDER }, 31, 28);
            println!("{name}, {what}: power{}; head{}; unknown{}", line(&by_power), line(&by_head), line(&unknown));
            assert!(tells_lagging(&unknown), "what it is to be better than: {}", line(&unknown));
            assert!(!tells_lagging(&by_head), "{:#?}", by_head.trends());
            assert!(
                !by_head.grain().is_empty() && by_head.headlines()[0].contains("surely wear"),
                "it is not kept back"
            );
        }
    }
}

#[test]
fn wear_is_told_though_grain_gets_lighter() {
    let measured = Measured::new("harbour-terminal-leg");
    let [_, even, _] = months(&measured, Going { feed: EVEN, lag: SAME, worn: WEARS, wander: WANDER }, 32, 28);
    let [_, by_head, unknown] =
        months(&measured, Going { feed: LIGHTER, lag: SAME, worn: WEARS, wander: WANDER }, 32, 28);
    println!("even{}; lighter, head{}; unknown{}", line(&even), line(&by_head), line(&unknown));
    let slope = |wear: &Wear, figure| course(wear, figure).trend.as_ref().expect("days enough").line.slope;
    let true_slope = slope(&even, Figure::Slip(Load::Unloaded));
    let told = slope(&by_head, Figure::Slip(Load::Unloaded));
    assert!(tells_lagging(&by_head) && (told / true_slope - 1.0).abs() < 0.1, "{told} {true_slope}");
    assert!(slope(&unknown, Figure::SlipAtAnyLoad) < 0.5 * true_slope, "what lighter grain hides");
}

/// The table of the technician's page.
#[test]
#[ignore = "minutes; few months of it are run with the tests"]
fn months_of_every_leg() {
    let kinds = [
        ("even grain", EVEN, SAME, SOUND, WANDER),
        ("heavier grain", HEAVIER, SAME, SOUND, WANDER),
        ("lighter grain", LIGHTER, SAME, SOUND, WANDER),
        ("colder motor", EVEN, COLDER, SOUND, WANDER),
        ("heavier, colder", HEAVIER, COLDER, SOUND, WANDER),
        ("heavier, warmer", HEAVIER, WARMER, SOUND, WANDER),
        ("worn, even", EVEN, SAME, WEARS, WANDER),
        ("worn, lighter", LIGHTER, SAME, WEARS, WANDER),
        ("worn, heavier", HEAVIER, SAME, WEARS, WANDER),
        ("heavier, island", HEAVIER, SAME, SOUND, SMALL_GRID),
        ("lighter, island", LIGHTER, SAME, SOUND, SMALL_GRID),
    ];
    let mut told = [[0_u32; 3]; 11];
    for name in NAMES {
        let measured = Measured::new(name);
        // Bare pulleys have no lagging to wear.
        let wears = measured.leg.head.lagging_mm > 0.0;
        println!("{name}");
        for ((kind, feed, lag, worn, wander), told) in kinds.into_iter().zip(&mut told) {
            for seed in 51..54 {
                if worn == WEARS && !wears {
                    continue;
                }
                let wears = months(&measured, Going { feed, lag, worn, wander }, seed, 40);
                let [by_power, by_head, unknown] = wears.each_ref().map(line);
                println!("  {kind:<16}| {by_power} | {by_head} | {unknown}");
                for (told, wear) in told.iter_mut().zip(&wears) {
                    *told += u32::from(tells_lagging(wear));
                }
            }
        }
    }
    for ((kind, ..), [power, head, unknown]) in kinds.iter().zip(told) {
        println!(
            "{kind:<16} wear of lagging told: by power {power}, by the head's speed {head}, load unknown {unknown}"
        );
    }
    for ((.., worn, _), [_, head, unknown]) in kinds.into_iter().zip(told) {
        assert!(worn == WEARS || head <= unknown, "never more false wear than with the load unknown");
    }
}
