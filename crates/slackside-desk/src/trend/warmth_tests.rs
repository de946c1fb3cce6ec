//! Warmth of rub points over invented days: seasons are not wear, and what warms one side is told with its date.

use slackside::daily::{Kind, Summary};
use slackside::input::Place;
use slackside::settings::Settings;
use slackside::units::DeciCelsius;

use super::{Date, Day, Figure, Over, Wear, wear, words};
use crate::plant::chance::Chance;

const DAYS: i32 = 150;

/// What the leg of these days is like.
#[derive(Clone, Copy)]
struct Leg {
    /// Which rub points have sensors.
    fitted: [bool; 4],
    /// How much warmer the head's left gets each day, in kelvin.
    wears: f64,
    seed: u64,
}

const ALL: [bool; 4] = [true; 4];

/// Spring and summer: air about 10 °C that warms by 15 and scatters by 3, and swings by 8 to 12 within a day. The head stands in it, the boot in
/// a pit that lags behind; each bearing adds its own 20 to 26, and reads within a degree.
fn days(leg: Leg) -> Vec<Day> {
    let mut chance = Chance::new(leg.seed, 1);
    (1..=DAYS)
        .map(|number| {
            let season = (f64::from(number - 75) / 365.0 * std::f64::consts::TAU).sin();
            let air = 10.0 + 15.0 * season + 3.0 * chance.normal();
            let noon = air + 5.0 + season;
            let pit = 11.0 + 4.0 * season + chance.normal();
            let worn = leg.wears * f64::from(number);
            let hottest =
                [noon + 26.0 + worn, noon + 23.0, pit + 22.0, pit + 20.0].map(|degrees| degrees + chance.normal());
            let whole = |degrees: f64| Some(DeciCelsius::new(degrees.round() as i16 * 10));
            let mut summary = Summary::empty(number as u16, Kind::Day);
            summary.running = 20_000;
            for (place, degrees) in hottest.into_iter().enumerate().filter(|(place, _)| leg.fitted[*place]) {
                summary.hottest[place] = whole(degrees);
            }
            summary.coolest = whole((air - 5.0).min(pit));
            Day { date: Date::Counted(number), source: String::new(), summary }
        })
        .collect()
}

fn told(leg: Leg) -> Wear {
    let settings = Settings::example().check().expect("sound");
    wear(days(leg), Some(&settings))
}

/// Of so many legs, those that are told to get warmer or cooler.
fn telling(fitted: [bool; 4], wears: f64, legs: u64) -> usize {
    (0..legs).filter(|seed| !told(Leg { fitted, wears, seed: *seed }).trends().is_empty()).count()
}

#[test]
fn a_season_is_no_wear_where_both_sides_have_a_sensor_and_is_said_to_look_like_it_where_not() {
    let both = telling(ALL, 0.0, 40);
    let one = telling([true, false, false, false], 0.0, 40);
    // Trends are told with 90 % confidence for all figures together: four of 40, and no more than eight by chance.
    assert!(both <= 8, "{both}");
    assert!(one > 8, "{one}: else the warning would be for nothing");
    let warning = "Warmth at the head, left is held against the coolest of the day";
    let text = |fitted| {
        let told = words(&told(Leg { fitted, wears: 0.0, seed: 1 }));
        for line in told.lines() {
            assert!(line.chars().count() <= 80, "{line}");
        }
        told.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(text([true, false, false, false]).contains(warning));
    assert!(text([true, false, true, false]).contains("held against that at the boot, left"));
    assert!(!text(ALL).contains("may look like wear"));
}

#[test]
fn a_rub_point_that_gets_warmer_is_told_with_the_day_it_is_hot() {
    let leg = Leg { fitted: ALL, wears: 0.1, seed: 3 };
    let wear = told(leg);
    let trends = wear.trends();
    let [trend] = &trends[..] else { panic!("{trends:?}") };
    assert!(trend.starts_with("BEARING OR BELT EDGE: warmth at the head, left rises by 0.7"), "{trend}");
    // The alarm is at 80 °C, and the other side was never hotter than some 50: 3 K and 0.1 K a day come to 30 K after some 270 days.
    let course =
        wear.courses.iter().find(|course| matches!(course.figure, Figure::Warmth(Place::HeadLeft, _))).expect("known");
    let limit = course.limit.expect("an alarm").value;
    let hottest = days(leg)
        .iter()
        .filter_map(|day| day.summary.hottest[1])
        .map(|hot| f64::from(hot.get()) / 10.0)
        .fold(0.0, f64::max);
    assert!((limit - (80.0 - hottest)).abs() < 1e-9, "{limit} {hottest}");
    let about = course.reach.expect("it gets there").about;
    assert!((about - (limit - 3.0) / 0.1).abs() < 25.0, "{about} {limit}");
    assert!(trend.contains("(rub point hot) about day "), "{trend}");
    // With 40 legs it is told of each.
    assert_eq!(telling(ALL, 0.1, 40), 40);
}

#[test]
fn a_rub_point_is_held_against_the_other_side_of_its_shaft_before_anything_else() {
    let figures = |fitted: [bool; 4]| {
        let days = days(Leg { fitted, wears: 0.0, seed: 1 });
        Figure::warmth(days.iter().map(|day| &day.summary))
    };
    let [head_left, head_right, boot_left, boot_right] = Place::ALL;
    let warmth = |place, other| Figure::Warmth(place, Over::Place(other));
    assert_eq!(
        figures(ALL),
        [
            warmth(head_left, head_right),
            warmth(head_right, head_left),
            warmth(boot_left, boot_right),
            warmth(boot_right, boot_left)
        ]
    );
    assert_eq!(figures([true, false, false, true]), [warmth(head_left, boot_right), warmth(boot_right, head_left)]);
    assert_eq!(figures([false, false, true, false]), [Figure::Warmth(boot_left, Over::Coolest)]);
    assert_eq!(figures([false; 4]), []);
    // A sensor that is known on few of the days is nothing to hold against.
    let mut few = days(Leg { fitted: [true, true, false, false], wears: 0.0, seed: 1 });
    few.iter_mut().skip(60).for_each(|day| day.summary.hottest[1] = None);
    let figures = Figure::warmth(few.iter().map(|day| &day.summary));
    assert_eq!(figures, [Figure::Warmth(head_left, Over::Coolest), warmth(head_right, head_left)]);
}

#[test]
fn a_day_of_little_running_or_without_the_other_side_gives_no_warmth() {
    let figure = Figure::Warmth(Place::HeadLeft, Over::Place(Place::HeadRight));
    let mut day = days(Leg { fitted: ALL, wears: 0.0, seed: 1 })[0].summary;
    let degrees = |degrees: i16| Some(DeciCelsius::new(degrees));
    (day.hottest[0], day.hottest[1]) = (degrees(410), degrees(370));
    assert_eq!(figure.of(&day), Some(4.0));
    day.hottest[1] = degrees(450);
    assert_eq!(figure.of(&day), Some(0.0), "the cooler of two");
    day.running = 1_799;
    assert_eq!(figure.of(&day), None);
    (day.running, day.hottest[1]) = (1_800, None);
    assert_eq!(figure.of(&day), None);
}
