//! Findings on some drawn runs that the model was not learned from: what the book says of all of them must hold of these.
//!
//! The book's page, `docs/src/engineer/findings.md`, counts some 1,800 runs; this is a small part of it on a seed of its own, the same runs
//! every time, of all built-in legs and of every means by which a cause is made. Where the page tells the truth, so few runs come out worse
//! than [`SURE`] allows once in a hundred draws; where model, core or plant changed and the page was not drawn anew, or the page is kinder
//! than the model, it shows here.

use slackside::diagnose::Rubs;
use slackside::input::Place;
use slackside_desk::crew::Crew as _;
use slackside_desk::findings::answer::Answer;
use slackside_desk::findings::cause::Cause;
use slackside_desk::findings::evidence::Evidence;
use slackside_desk::findings::learn::draw::{For, draw};
use slackside_desk::findings::learn::measure::{Measured, OfCause, Without, measure};
use slackside_desk::findings::learn::play::play;
use slackside_desk::findings::learn::row::Row;
use slackside_desk::findings::model::Model;
use slackside_simulator::cores::Cores;

/// Runs of each cause are drawn by its means in turn and, one round of them after another, on the built-in legs in turn: these turns hold
/// four of the five legs and, for all but four causes, every means.
const TURNS: [usize; 4] = [1, 5, 12, 18];
/// Standard errors of a mean below which one draw in a hundred falls (normal distribution, one-sided).
const SURE: f64 = 2.326;
/// The book's page.
const PAGE: &str = include_str!("../../docs/src/engineer/findings.md");

/// What the trees come to in the row of the page's first table that begins so.
fn published(row: &str) -> f64 {
    let line = PAGE.lines().find(|line| line.starts_with(&format!("| {row} |"))).expect("a row of the page");
    // An empty one, the row's name, the rules, the trees.
    let cell = line.split('|').nth(3).expect("a cell");
    cell.trim_matches(|of: char| !of.is_ascii_digit()).parse().expect("a figure")
}

fn played() -> Vec<Row> {
    let numbers = TURNS.iter().flat_map(|turn| (0..Cause::ALL.len()).map(move |cause| turn * Cause::ALL.len() + cause));
    let rows = Cores.each(numbers.collect(), |index| {
        let drawn = draw(For::Measuring, 77, index).ok()?;
        Some(Row::of(index, &drawn, play(&drawn).expect("a run")))
    });
    rows.into_iter().flatten().collect()
}

/// Whether runs come out no worse than the page says, as far as so many can tell: first, of two, Brier's score.
fn as_published(model: &Model, rows: &[Row]) -> [bool; 3] {
    let each: Vec<Measured> = rows
        .iter()
        .filter(|row| row.evidence.first.is_some())
        .map(|row| measure(model, std::slice::from_ref(row), Without::Nothing))
        .collect();
    let n = each.len() as f64;
    let mean = |of: &dyn Fn(&Measured) -> f64| each.iter().map(of).sum::<f64>() / n;
    let [first, second, alike] = [
        "likeliest cause is right, all causes equally likely",
        "one of the two likeliest is right, so too",
        "Brier's score, so too (0 a seer, 2 sure and wrong)",
    ]
    .map(published);
    let least = |share: f64| share - SURE * (share * (1.0 - share) / n).sqrt();
    let [ours_first, ours_second] = [|one: &Measured| one.first, |one: &Measured| one.second]
        .map(|of| mean(&move |one: &Measured| f64::from(of(one).right)));
    let brier = mean(&|one| one.brier_even);
    let scatter = (mean(&|one| one.brier_even * one.brier_even) - brier * brier).sqrt();
    let most = alike + SURE * scatter / n.sqrt();
    let floors = [first, second].map(|per_cent| least(per_cent / 100.0));
    println!("first {ours_first:.3}, at least {:.3}; of two {ours_second:.3}, at least {:.3}", floors[0], floors[1]);
    println!("Brier {brier:.3}, at most {most:.3}");
    [ours_first >= floors[0], ours_second >= floors[1], brier <= most]
}

#[test]
fn causes_are_named_as_well_as_the_book_says_and_better_than_by_the_rules_where_it_is_grave_too() {
    let rows = played();
    let Measured { first, second, rules, runs, causes, parted, groups, .. } =
        measure(Model::learned(), &rows, Without::Nothing);
    println!("{runs} runs: {first:?} {second:?} rules {rules:?} groups {groups:?}");
    assert!(runs > 100, "{runs} of {} runs alarmed", rows.len());
    assert_eq!(as_published(Model::learned(), &rows), [true; 3]);
    assert!(first.right > rules[0].right, "{first:?} {rules:?}");
    // What moves or holds the belt is told no worse than by the rules, both judged by the rules' own coarser names.
    let [ours, theirs] = [|of: &OfCause| of.alike.right, |of: &OfCause| of.rules.right]
        .map(|right| causes.iter().filter(|of| of.cause.is_grave()).map(right).sum::<u32>());
    assert!(ours > theirs, "{ours} {theirs}");
    assert_eq!(parted[0].right, parted[0].of, "a parted belt that is not on the list");
    assert!(groups.per_cent() <= 10.0, "{groups:?}");
    // It can be fallen through: by a model that knows nothing, and by one that has forgotten most of what it learned.
    assert_eq!(as_published(&Model::default(), &rows), [false; 3]);
    let learned = Model::learned();
    let forgot =
        Model { trees: learned.trees.iter().take(learned.trees.len() / 100).cloned().collect(), ..learned.clone() };
    assert!(as_published(&forgot, &rows).contains(&false));
}

#[test]
fn a_belt_that_may_have_parted_is_looked_at_before_any_sensor() {
    // Cause number 0 in turn; a run whose splice lets go may be told before it parts.
    let runs = Cores.each((0..6).collect(), |turn: usize| {
        let drawn = draw(For::Measuring, 78, turn * Cause::ALL.len()).expect("a leg");
        play(&drawn).expect("a run")
    });
    let parted: Vec<_> = runs.iter().filter(|run| run.cause == Cause::BeltParted && !run.evidence.is_quiet()).collect();
    assert!(parted.len() >= 3, "{}", parted.len());
    for run in parted {
        let answer = Answer::to(&run.evidence, &[Rubs::default(); Place::COUNT]);
        let place = answer.findings.iter().position(|finding| finding.cause == Cause::BeltParted);
        let sensor = answer.findings.iter().position(|finding| finding.cause.is_of_sensors());
        assert!(place.is_some_and(|place| sensor.is_none_or(|sensor| place < sensor)), "{:?}", answer.findings);
    }
}

#[test]
fn nothing_is_named_where_nothing_was_alarmed() {
    let quiet = Evidence::default();
    assert!(quiet.is_quiet() && Answer::to(&quiet, &[Rubs::default(); Place::COUNT]).findings.is_empty());
}
