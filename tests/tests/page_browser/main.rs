//! The report's page in a real browser: what it shows, what can be done with it, and what it must never do. See `rig`.

mod look;
mod numbers;
mod rig;

use std::io::Cursor;
use std::path::PathBuf;

use rig::Browser;
use serde_json::json;
use slackside::input::Input;
use slackside::settings::{Checked, Settings};
use slackside_desk::demo;
use slackside_desk::replay::{Job, Outcome, replay};
use slackside_desk::report::bench::{Bench, CAUTION, recording};
use slackside_desk::report::{Story, page, pair};
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::score::checked;
use slackside_desk::scenario::settings::Commissioned;
use slackside_desk::trace::{HEADER, Reader, write_row};
use slackside_simulator::disk::Disk;
use slackside_simulator::heard::heard;

/// A page of a trip is kept below this, issue or not: it is sent by mail and opened at the leg.
const MOST_BYTES: usize = 1_500_000;
/// Script for one zoom, so that it keeps up with a screen of 60 pictures a second.
const MOST_MS: f64 = 16.0;
/// What a phone of 390 by 844 shows between the bars of its browser (common practice, no source).
const PHONE: (u32, u32) = (390, 664);

fn example() -> Checked {
    Settings::example().check().expect("the example leg is sound")
}

fn told(name: &str, inputs: &[Input], settings: &Checked) -> Outcome {
    let mut bytes = format!("{HEADER}\n").into_bytes();
    inputs.iter().for_each(|input| write_row(input, &mut bytes));
    let reader = Reader::from_read(name, Cursor::new(bytes)).expect("a trace");
    replay(Job::new(reader, settings, "leg.toml")).expect("a whole trace")
}

fn demo_outcome() -> Outcome {
    let settings = example();
    told("demo.csv", &demo::inputs(&settings), &settings)
}

/// Open a page and wait for its script.
fn opened(browser: &mut Browser, html: &str) {
    assert!(html.len() < MOST_BYTES, "{} bytes", html.len());
    browser.open(html);
    browser.wait_for("globalThis.slackside?.timelines.length > 0");
}

const LINE: &str = "slackside.timelines[0]";

fn view(browser: &mut Browser) -> (f64, f64) {
    (browser.number(&format!("{LINE}.view.from")), browser.number(&format!("{LINE}.view.to")))
}

#[test]
fn the_page_opens_and_can_be_zoomed_by_keys_wheel_and_drag() {
    let Some(mut browser) = Browser::start() else { return };
    let outcome = demo_outcome();
    let html = page(&outcome, &[]);
    println!("the page of the demo: {} bytes", html.len());
    browser.size(1280, 900, false);
    opened(&mut browser, &html);
    assert_eq!(browser.value("getComputedStyle(document.querySelector('.still')).display"), json!("none"));

    // It opens with the trip in the middle.
    let (from, to) = view(&mut browser);
    assert!((from + to).abs() < 1e-6 && to > 5.0, "{from} {to}");

    // By keys alone: into the picture, closer, along.
    browser.value("document.querySelector('.tools button').focus()");
    for _ in 0..12 {
        if browser.value("document.activeElement.className") == json!("stage") {
            break;
        }
        browser.key("Tab", false);
    }
    assert_eq!(browser.value("document.activeElement.className"), json!("stage"), "it cannot be reached by keys");
    browser.key("+", false);
    let (closer_from, closer_to) = view(&mut browser);
    assert!(((closer_to - closer_from) - (to - from) / 2.0).abs() < 1e-6);
    browser.key("ArrowRight", true);
    assert!(view(&mut browser).0 > closer_from);
    browser.key("w", false);
    let whole = view(&mut browser);
    let length = (outcome.last().get() - outcome.first().get()) as f64 / 1e6;
    assert!((whole.1 - whole.0 - length).abs() < 1e-3, "{whole:?}");
    browser.key("t", false);
    assert_eq!(view(&mut browser), (from, to));

    // By the wheel: what lies under it stays there.
    browser.value("document.querySelector('.stage').scrollIntoView({block: 'start'})");
    let place = |part: f64| {
        format!("(r => r.left + {part} * r.width)(document.querySelector('.stage').getBoundingClientRect())")
    };
    let x = browser.number(&place(0.6));
    browser
        .ask("Input.dispatchMouseEvent", json!({"type": "mouseWheel", "x": x, "y": 150, "deltaX": 0, "deltaY": -200}));
    browser.wait_for(&format!("{LINE}.view.to - {LINE}.view.from < {}", to - from - 1.0));

    // By dragging it to the left what comes later is seen.
    let before = view(&mut browser);
    browser.mouse("mousePressed", x, 150.0);
    browser.mouse("mouseMoved", x - 100.0, 150.0);
    browser.mouse("mouseReleased", x - 100.0, 150.0);
    let after = view(&mut browser);
    assert!(after.0 > before.0 && ((after.1 - after.0) - (before.1 - before.0)).abs() < 1e-6, "{before:?} {after:?}");
    assert_eq!(browser.complaints, Vec::<String>::new());
}

#[test]
fn it_steps_from_event_to_event_in_the_words_of_the_story() {
    let Some(mut browser) = Browser::start() else { return };
    let outcome = demo_outcome();
    opened(&mut browser, &page(&outcome, &[]));
    browser.value("document.querySelector('.stage').focus()");
    browser.key("w", false);
    browser.key("Home", false);
    let story = Story::of(&outcome, 200);
    let events: Vec<_> = story.before.iter().chain(&story.after).collect();
    assert!(events.len() > 10);
    // The first one stands at the very beginning, where the cursor is.
    for event in &events[1..] {
        browser.key("n", false);
        let said = browser.text("document.querySelector('.told').textContent");
        assert_eq!(said, format!("{}: {}", event.time, event.what));
        // The script's own clock says what the story's says.
        let clock = browser.text(&format!(
            "(t => {{ t.point(t.cursor); return document.querySelector('.told').textContent }})({LINE})"
        ));
        assert!(clock.starts_with(&format!("{}, ", event.time)), "{clock:?} is not {}", event.time);
        browser.value(&format!("{LINE}.event = {LINE}.trip.events.findIndex(e => e[2] === {})", json!(event.what)));
    }
    browser.key("p", false);
    assert_ne!(browser.text("document.querySelector('.told').textContent"), "");

    // The values at the trip are those of the run-up's table.
    browser.key("t", false);
    let values =
        browser.text("[...document.querySelectorAll('.stage .lane-title output')].map(o => o.textContent).join('|')");
    let row = story.run_up.last().expect("a run-up");
    for wanted in
        [format!("{} rpm", row.head), format!("{} m/s", row.belt), row.slip_short.clone(), row.slip_long.clone()]
    {
        assert!(values.contains(wanted.trim_start_matches("≥ ")), "{wanted} is not in {values}");
    }
    assert_eq!(browser.complaints, Vec::<String>::new());
}

#[test]
fn the_first_screen_of_a_phone_has_cause_time_lockout_and_first_check() {
    let Some(mut browser) = Browser::start() else { return };
    let outcome = demo_outcome();
    browser.size(PHONE.0, PHONE.1, true);
    opened(&mut browser, &page(&outcome, &[]));
    first_screen(&mut browser, "the demo");
}

/// Nothing of it has to be scrolled to, neither down nor aside.
fn first_screen(browser: &mut Browser, name: &str) {
    let bottom = |browser: &mut Browser, what: &str| {
        browser.number(&format!("document.querySelector('{what}').getBoundingClientRect().bottom"))
    };
    for what in ["h1", ".lockout", ".first li"] {
        let at = bottom(browser, what);
        assert!(at <= f64::from(PHONE.1), "{name}: {what} ends at {at}, below a screen of {}", PHONE.1);
    }
    let title = browser.text("document.querySelector('h1').textContent");
    assert!(title.contains("STOPPED") && title.contains(" at "), "{name}: {title}");
    let wide = browser.number("document.documentElement.scrollWidth");
    assert!(wide <= f64::from(PHONE.0), "{name}: {wide} pixels wide");
}

/// Two fingers that part zoom about what lies between them; one finger pans; a third that comes and goes does no harm.
#[test]
fn two_fingers_zoom_about_what_lies_between_them() {
    let Some(mut browser) = Browser::start() else { return };
    browser.size(PHONE.0, PHONE.1, true);
    browser.ask("Emulation.setTouchEmulationEnabled", json!({"enabled": true, "maxTouchPoints": 5}));
    opened(&mut browser, &page(&demo_outcome(), &[]));
    browser.value("document.querySelector('.stage').scrollIntoView({block: 'start'})");
    let stage = |side: &str| format!("document.querySelector('.stage').getBoundingClientRect().{side}");
    let (left, right) = (browser.number(&stage("left")) + 44.0, browser.number(&stage("right")) - 10.0);
    let (x, y) = (f64::midpoint(left, right), 100.0);
    let under = |view: (f64, f64), x: f64| view.0 + (view.1 - view.0) * (x - left) / (right - left);
    let before = view(&mut browser);
    browser.touch("touchStart", &[(x - 40.0, y)]);
    browser.touch("touchStart", &[(x - 40.0, y), (x + 40.0, y)]);
    for step in 1..=8 {
        let apart = 40.0 + 5.0 * f64::from(step);
        browser.touch("touchMove", &[(x - apart, y), (x + apart, y)]);
    }
    browser.touch("touchEnd", &[]);
    let after = view(&mut browser);
    let (was, is) = (before.1 - before.0, after.1 - after.0);
    assert!((was / is - 2.0).abs() < 0.1, "twice as far apart is half as long: {was} {is}");
    assert!((under(before, x) - under(after, x)).abs() < 0.02 * was, "{before:?} {after:?}");
    // Together again: as it was.
    browser.touch("touchStart", &[(x - 80.0, y)]);
    browser.touch("touchStart", &[(x - 80.0, y), (x + 80.0, y)]);
    for step in 1..=8 {
        let apart = 80.0 - 5.0 * f64::from(step);
        browser.touch("touchMove", &[(x - apart, y), (x + apart, y)]);
    }
    browser.touch("touchEnd", &[]);
    let (from, to) = view(&mut browser);
    assert!((to - from - was).abs() < 0.05 * was, "{from} {to}");
    // One finger pans.
    browser.touch("touchStart", &[(x, y)]);
    browser.touch("touchMove", &[(x - 30.0, y)]);
    browser.touch("touchMove", &[(x - 60.0, y)]);
    browser.touch("touchEnd", &[]);
    let panned = view(&mut browser);
    assert!((panned.1 - panned.0 - (to - from)).abs() < 1e-6, "one finger does not zoom");
    assert_eq!(browser.complaints, Vec::<String>::new());
}

#[test]
fn without_script_the_still_drawing_is_there() {
    let Some(mut browser) = Browser::start() else { return };
    browser.ask("Emulation.setScriptExecutionDisabled", json!({"value": true}));
    browser.open(&page(&demo_outcome(), &[]));
    assert_eq!(browser.value("document.querySelectorAll('.still .plot svg').length > 2"), json!(true));
    assert_eq!(browser.value("getComputedStyle(document.querySelector('.still')).display !== 'none'"), json!(true));
    assert_eq!(browser.value("document.querySelector('.live').hidden"), json!(true));
}

#[test]
fn names_from_files_stay_text() {
    let Some(mut browser) = Browser::start() else { return };
    let hostile = "</script><script>owned=1</script>";
    let mut settings = Settings::example();
    settings.machine.leg.clear();
    settings.machine.leg.push_str("<img onerror=owned=1 src=x>").expect("short enough");
    let settings = settings.check().unwrap_or_else(|violations| panic!("{violations:?}"));
    let outcome = told(&format!("{hostile}<!--<script>.csv"), &demo::inputs(&example()), &settings);
    opened(&mut browser, &page(&outcome, &[hostile, "<!--", "\u{2028}"]));
    assert_eq!(browser.value("typeof owned"), json!("undefined"));
    assert_eq!(browser.text(&format!("{LINE}.trip.leg")), "<img onerror=owned=1 src=x>");
    assert!(browser.text("document.querySelector('footer').textContent").contains(hostile));
    assert_eq!(browser.complaints, Vec::<String>::new());
}

#[test]
fn no_barrier_is_found_in_light_and_dark() {
    // axe-core, rules of WCAG 2.0 to 2.2, levels A and AA, and its best practices.
    const AXE: &str = include_str!("../../vendor/axe/axe.min.js");
    let Some(mut browser) = Browser::start() else { return };
    for (width, phone) in [(1280, false), (390, true)] {
        browser.size(width, 900, phone);
        opened(&mut browser, &page(&demo_outcome(), &demo::STORY));
        browser.wait_for("globalThis.slackside?.benchView");
        browser.value(&format!("{AXE};0"));
        for scheme in ["light", "dark"] {
            browser.scheme(scheme);
            let found = browser.text(
                "axe.run(document).then(r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.target + ' ' + n.failureSummary)\
                 .slice(0, 4).join('; ')).join('\\n'))",
            );
            assert!(found.is_empty(), "{width} pixels, {scheme}:\n{found}");
            assert!(browser.number("axe.run(document).then(r => r.passes.length)") > 10.0);
        }
    }
}

/// A million points in each of four channels. Counted is the processor's time of the page's own thread: on a computer with other work a
/// single zoom can take several times as long by the clock, and the same zoom again does not. The figure:
/// `cargo test -p slackside-tests --test page_browser -- --nocapture million`.
#[test]
fn a_million_samples_are_zoomed_within_a_picture() {
    let Some(mut browser) = Browser::start() else { return };
    browser.size(1280, 900, false);
    opened(&mut browser, &page(&demo_outcome(), &[]));
    browser.value(
        "(async () => {
            const count = 1_000_000, line = slackside.timelines[0];
            const make = seed => {
                const times = new Float64Array(count), least = new Int32Array(count);
                for (let at = 0; at < count; at += 1) {
                    times[at] = line.begin + (line.end - line.begin) * at / count;
                    least[at] = 40000 + 30000 * Math.sin(at / 5000 + seed) + (at * 7919 % 1000) * 9;
                }
                return new slackside.Column(times, least, least);
            };
            const many = [0, 1, 2, 3].map(make);
            const place = document.createElement('div');
            document.querySelector('.live').append(place);
            const lines = many.map((_, at) => ({ column: at, name: `${at}`, unit: '%', per: 1e4, scale: 1e4, places: 1 }));
            const trip = { ...line.trip, panels: [{ title: 'a million', lines, range: [0, 20], marks: [] }] };
            globalThis.big = new slackside.Timeline(place, trip, line.base, many, line.rows);
            await new Promise(done => setTimeout(done, 300));
            return 0;
        })()",
    );
    browser.ask("Performance.enable", json!({"timeDomain": "threadTicks"}));
    let mut took = Vec::new();
    for zoom in 0..60 {
        if zoom % 12 == 0 {
            browser.value("big.preset('whole'), 0");
        }
        let before = browser.script_ms();
        browser.value("(async () => { big.zoom(0.6, -3); await Promise.resolve(); return 0; })()");
        took.push(browser.script_ms() - before);
    }
    let first = took[0];
    took.sort_by(f64::total_cmp);
    let (median, most) = (took[30], took[59]);
    println!(
        "4 channels of 1,000,000 points: {median:.1} ms of script a zoom in the middle, {most:.1} ms at most, {first:.1} ms the first"
    );
    assert!(median <= MOST_MS, "{median} ms");
    assert!(most <= 2.0 * MOST_MS, "{most} ms");
}

/// The shortest scenarios in which the leg is stopped, so many of them, each with its name.
fn trips(count: usize) -> Vec<(String, Outcome)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../scenarios");
    let mut found: Vec<(Scenario, String)> = Vec::new();
    for entry in folder.read_dir().expect("scenarios") {
        let path = entry.expect("an entry").path();
        if path.extension().is_some_and(|extension| extension == "toml") {
            let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
            found.push((Scenario::read(&Disk, &path).expect("a scenario"), name));
        }
    }
    found.sort_by(|(one, a), (other, b)| one.duration_s.total_cmp(&other.duration_s).then(a.cmp(b)));
    let played = found.into_iter().map(|(scenario, name)| {
        let commissioned = Commissioned::measure(&scenario.leg);
        let settings = checked(&scenario.leg, &commissioned).expect("a sound leg");
        let inputs = heard(&scenario, &commissioned, &settings).expect("it runs");
        let outcome = told(&format!("{name}.csv"), &inputs, &settings);
        (name, outcome)
    });
    played.filter(|(_, outcome)| !outcome.first_outs.is_empty()).take(count).collect()
}

#[test]
fn twenty_trips_tell_their_story_on_the_first_screen_and_fit_on_two_pages() {
    let Some(mut browser) = Browser::start() else { return };
    let trips = trips(20);
    assert_eq!(trips.len(), 20);
    for (name, outcome) in &trips {
        let html = page(outcome, &[]);
        browser.size(PHONE.0, PHONE.1, true);
        opened(&mut browser, &html);
        first_screen(&mut browser, name);
        let pages = browser.pages(8.27, 11.69);
        assert!(pages <= 2, "{name}: {pages} pages of A4");
        println!("{name}: {} bytes, {pages} pages", html.len());
    }
    assert_eq!(browser.complaints, Vec::<String>::new());
}

#[test]
fn a_limit_is_turned_and_the_recorded_stop_is_the_edge_of_what_is_known() {
    let Some(mut browser) = Browser::start() else { return };
    let outcome = demo_outcome();
    browser.size(1280, 900, false);
    opened(&mut browser, &page(&outcome, &[]));
    browser.wait_for("globalThis.slackside?.benchView");
    assert_eq!(browser.text("document.querySelector('.bench-caution').textContent"), CAUTION);
    let turned = |browser: &mut Browser, value: i64, together: bool| {
        browser.text(&format!(
            "(view => {{ view.together.checked = {together}; view.slider.step = 1; view.slider.value = {value}; view.turn(); \
             return view.answer.textContent }})(slackside.benchView)"
        ))
    };
    // It begins with the setpoint of what stopped the leg: belt far too slow, 14 %.
    let key = browser.text("slackside.bench.knobs[0].key");
    assert_eq!(key, "limits.deep_underspeed.setpoint_pct");
    let same = turned(&mut browser, 140_000, false);
    assert!(same.contains("at the same moment, 88.367 s"), "{same}");
    assert!(same.contains(&slackside_desk::report::identity(outcome.settings.plan().identity())), "{same}");
    // Tighter: sooner, and the picture marks it.
    let sooner = turned(&mut browser, 120_000, false);
    assert!(
        sooner.contains("would have stopped the leg at 8") && sooner.contains("sooner: belt far too slow"),
        "{sooner}"
    );
    assert_eq!(browser.value("document.querySelector('.would-line').hidden"), json!(false));
    // Looser: the recording shows a leg that was being stopped, and knows no more.
    let looser = turned(&mut browser, 160_000, true);
    assert!(looser.contains("Not by 88.367 s; after that the leg was being stopped."), "{looser}");
    assert!(looser.contains("this recording cannot know"), "{looser}");
    assert_eq!(browser.value("document.querySelector('.would-line').hidden"), json!(true));
    // Coupled by a rule: refused in the rule's words, or moved together if asked.
    let refused = turned(&mut browser, 90_000, false);
    assert!(refused.contains("The rules refuse it") && refused.contains("alarm"), "{refused}");
    let together = turned(&mut browser, 90_000, true);
    assert!(
        together.contains("limits.underspeed.setpoint_pct moved to") && together.contains("would have stopped"),
        "{together}"
    );
    // The allowed range is marked, and it is not all of it.
    let wide = browser.number(
        "[...document.querySelectorAll('.allowed span')].reduce((sum, mark) => sum + mark.getBoundingClientRect().width, 0) \
         / document.querySelector('.allowed').getBoundingClientRect().width",
    );
    assert!((0.02..0.98).contains(&wide), "{wide}");
    // By keys.
    browser.value("slackside.benchView.choose(), slackside.benchView.slider.focus()");
    let before = browser.text("document.querySelector('.bench-value').textContent");
    browser.ask(
        "Input.dispatchKeyEvent",
        json!({"type": "keyDown", "key": "ArrowLeft", "code": "ArrowLeft", "windowsVirtualKeyCode": 37}),
    );
    browser.ask(
        "Input.dispatchKeyEvent",
        json!({"type": "keyUp", "key": "ArrowLeft", "code": "ArrowLeft", "windowsVirtualKeyCode": 37}),
    );
    assert_ne!(browser.text("document.querySelector('.bench-value').textContent"), before);
    assert_eq!(browser.complaints, Vec::<String>::new());
}

/// Over the demo and scenarios, each with its first knobs at several values: the bytes that the page's core gives are the desk's.
#[test]
fn the_core_in_the_page_gives_the_verdicts_of_the_desk_byte_for_byte() {
    let Some(mut browser) = Browser::start() else { return };
    let demo = demo_outcome();
    opened(&mut browser, &page(&demo, &[]));
    browser.wait_for("globalThis.slackside?.bench");
    let mut corpus = trips(8);
    corpus.push(("the demo".to_owned(), demo));
    let (mut compared, mut bytes) = (0, 0);
    for (name, outcome) in &corpus {
        let recording = recording(outcome).expect("something was kept");
        let mut bench = Bench::of(&recording).expect("it opens");
        let list = |bytes: &[u8]| bytes.iter().map(u8::to_string).collect::<Vec<_>>().join(",");
        browser.value(&format!("slackside.bench.open(new Uint8Array([{}])), 0", list(&recording)));
        for (index, knob) in bench.knobs().into_iter().enumerate().take(6) {
            let recorded = knob.get(&outcome.settings).expect("it is set");
            for value in [recorded, recorded * 9 / 10, recorded * 11 / 10] {
                let desk = bench.turn(knob, value, true).to_string();
                let page = browser.value(&format!("slackside.bench.turn({index}, {value}, true)"));
                assert_eq!(
                    page,
                    serde_json::from_str::<serde_json::Value>(&desk).expect("JSON"),
                    "{name} {index} {value}"
                );
                let theirs = browser.text("[...slackside.bench.verdicts()].join()");
                assert_eq!(theirs, list(&bench.bytes()), "{name} {index} {value}");
                compared += 1;
                bytes += bench.bytes().len();
            }
        }
    }
    println!("{compared} runs, {bytes} bytes of verdicts: the same in the page and at the desk");
    assert!(bytes > 10_000);
}

#[test]
fn two_trips_stand_side_by_side_and_move_together() {
    let Some(mut browser) = Browser::start() else { return };
    let settings = example();
    let first = demo_outcome();
    // The same trip a minute later, by the clock of another recorder.
    let later: Vec<Input> = demo::inputs(&settings)
        .into_iter()
        .map(|input| Input { at: slackside::units::Micros::new(input.at.get() + 60_000_000), ..input })
        .collect();
    // And it ends sooner: aligned at the trip all the same.
    let later: Vec<Input> = later.into_iter().filter(|input| input.at.get() < 150_000_000).collect();
    let second = told("later.csv", &later, &settings);
    browser.size(1280, 900, false);
    opened(&mut browser, &pair(&first, &second));
    browser.wait_for("slackside.timelines.length === 2");
    for preset in ["trip", "run-up", "whole"] {
        browser.value(&format!("slackside.timelines[0].preset('{preset}')"));
        assert_eq!(browser.value("slackside.timelines[1].view"), browser.value("slackside.timelines[0].view"));
    }
    // What the shorter one does not have is not known.
    assert_eq!(browser.value("slackside.timelines[1].columns[0].at(5)"), json!(null));
    browser.size(390, 844, true);
    browser.wait_for("document.documentElement.scrollWidth <= 390");
    assert_eq!(browser.value("slackside.timelines[1].view"), browser.value("slackside.timelines[0].view"));
    let heads = browser.text("[...document.querySelectorAll('.side h2 .state')].map(h => h.textContent).join()");
    assert_eq!(heads, "STOPPED,STOPPED");
    assert_eq!(browser.complaints, Vec::<String>::new());
}
