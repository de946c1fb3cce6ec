//! Every number of the page leads to where it comes from: the row of the trace, the setting and its reason.

use serde_json::json;
use slackside::input::{ContactState, Input, Place, Shaft, Signal};
use slackside::settings::Settings;
use slackside::units::Micros;
use slackside_desk::demo;
use slackside_desk::report::{Story, page, pair};

use super::rig::Browser;
use super::{demo_outcome, example, opened, told, trips};

/// Numbers of the page that lead nowhere: text with a digit outside a link, but for scales, names, what is itself a source (settings with
/// their reasons, the notes), and the drawing whose values are told with their rows.
const LOOSE: &str = "(() => {
    const exempt = '.src, .y, .t, .leg, .live, .live-bench, .limits, .sources, .count, .line, code, h2, figcaption, script, style, footer';
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const loose = [];
    while (walk.nextNode()) {
        const node = walk.currentNode;
        if (/[0-9]/.test(node.data) && !node.parentElement.closest(exempt)) loose.push(node.data);
    }
    return loose.join('\\n');
})()";

/// Links whose note is not there or says nothing.
const DEAD: &str = "[...document.querySelectorAll('a.src')].filter(a => !(document.querySelector(a.getAttribute('href'))?.textContent.length > 10))\
    .map(a => a.textContent).join()";

#[test]
fn every_number_leads_to_the_line_of_the_trace_or_the_setting_behind_it() {
    let Some(mut browser) = Browser::start() else { return };
    let outcome = demo_outcome();
    opened(&mut browser, &page(&outcome, &demo::STORY));
    assert_eq!(browser.text(LOOSE), "");
    assert_eq!(browser.text(DEAD), "");
    // Each note that names a line of the trace says what stands there.
    let settings = example();
    let trace = String::from_utf8(demo::trace(&settings)).expect("text");
    let lines: Vec<&str> = trace.lines().collect();
    let notes = browser.text("[...document.querySelectorAll('.sources li')].map(note => note.textContent).join('\\n')");
    let mut named = 0;
    for note in notes.lines() {
        for part in note.split("Line ").skip(1) {
            let (number, rest) = part.split_once(": ").expect("a line of the trace");
            let number: usize = number.parse().expect("a number");
            let row = lines[number - 1];
            assert!(rest.starts_with(&format!("{row}.")), "line {number} is {row}, not {rest}");
            named += 1;
        }
    }
    assert!(named > 20, "{named} lines");
    let setpoint = "Setting limits.deep_underspeed.setpoint_pct: 14 %.";
    let note = notes.lines().find(|note| note.contains(setpoint)).expect("what stopped the leg was held against it");
    let reason = slackside::conditions::Condition::DeepUnderspeed.entry().reason;
    assert!(note.contains(reason), "{note}");
}

#[test]
fn the_rows_behind_the_seconds_before_are_the_newest_by_then() {
    let outcome = demo_outcome();
    let story = Story::of(&outcome, 10);
    let inputs = demo::inputs(&example());
    let trip = outcome.first_outs[0].at.get();
    for (row, before) in story.run_up.iter().zip([10_000_000, 5_000_000, 3_000_000, 2_000_000, 1_000_000, 500_000, 0]) {
        for shaft in [Shaft::Head, Shaft::Boot] {
            let is = |input: &Input| matches!(input.signal, Signal::Edge(of, _) if of == shaft);
            let wanted = inputs.iter().rposition(|input| is(input) && input.at.get() <= trip - before);
            let found = row.from.rows.iter().find(|row| is(&row.input)).expect("a row of that shaft");
            // The header is line 1.
            assert_eq!(Some(found.number as usize - 2), wanted, "{} {shaft:?}", row.before);
        }
    }
}

#[test]
fn the_numbers_of_twenty_trips_and_of_two_side_by_side_are_traced() {
    let Some(mut browser) = Browser::start() else { return };
    let trips = trips(20);
    for (name, outcome) in &trips {
        browser.open(&page(outcome, &[]));
        assert_eq!(browser.text(LOOSE), "", "{name}");
        assert_eq!(browser.text(DEAD), "", "{name}");
    }
    browser.open(&pair(&trips[0].1, &trips[1].1));
    assert_eq!(browser.text(LOOSE), "");
    assert_eq!(browser.text(DEAD), "");
}

#[test]
fn a_note_comes_by_keyboard_pointer_and_finger_and_goes_by_escape() {
    let Some(mut browser) = Browser::start() else { return };
    browser.size(1280, 900, false);
    opened(&mut browser, &page(&demo_outcome(), &[]));
    let note = "document.querySelector('.source-note')";
    let shown = |browser: &mut Browser| browser.value(&format!("!{note}.hidden")) == json!(true);
    // The first stop of the keyboard is the time of the trip.
    browser.key("Tab", false);
    assert_eq!(browser.text("document.activeElement.textContent"), "88.367 s");
    assert!(shown(&mut browser));
    let said = browser.text(&format!("{note}.textContent"));
    assert!(said.contains("Line ") && said.contains("limits.deep_underspeed.setpoint_pct"), "{said}");
    assert_eq!(
        browser.text("document.getElementById(document.activeElement.getAttribute('aria-describedby')).textContent"),
        said
    );
    browser.key("Escape", false);
    assert!(!shown(&mut browser));
    // By the pointer, which may rest on the note and leave it.
    let middle = |browser: &mut Browser, what: &str| {
        let side = |browser: &mut Browser, side: &str, half: &str| {
            browser.number(&format!(
                "(r => r.{side} + r.{half} / 2)(document.querySelector('{what}').getBoundingClientRect())"
            ))
        };
        (side(browser, "left", "width"), side(browser, "top", "height"))
    };
    let (x, y) = middle(&mut browser, ".figure .src");
    browser.mouse("hover", x, y);
    browser.wait_for(&format!("!{note}.hidden"));
    let (over, down) = middle(&mut browser, ".source-note");
    browser.mouse("hover", over, down);
    assert!(shown(&mut browser));
    browser.mouse("hover", 5.0, 5.0);
    browser.wait_for(&format!("{note}.hidden"));
    // By a finger: the page does not jump to its end.
    browser.size(390, 844, true);
    browser.ask("Emulation.setTouchEmulationEnabled", json!({"enabled": true}));
    browser.value("scrollTo(0, 0)");
    let (x, y) = middle(&mut browser, ".figure .src");
    browser.touch("touchStart", &[(x, y)]);
    browser.touch("touchEnd", &[]);
    browser.wait_for(&format!("!{note}.hidden"));
    assert_eq!(browser.number("scrollY"), 0.0);
    let (left, right) = (
        browser.number(&format!("{note}.getBoundingClientRect().left")),
        browser.number(&format!("{note}.getBoundingClientRect().right")),
    );
    assert!(left >= 0.0 && right <= 390.0, "{left} {right}");
    assert_eq!(browser.complaints, Vec::<String>::new());
}

#[test]
fn on_paper_a_number_carries_the_number_of_its_note() {
    let Some(mut browser) = Browser::start() else { return };
    opened(&mut browser, &page(&demo_outcome(), &[]));
    browser.paper(true);
    let mark = browser.text("getComputedStyle(document.querySelector('.figure .src[data-note]'), '::after').content");
    let note = browser.text("document.querySelector('.figure .src[data-note]').getAttribute('href').slice(2)");
    assert_eq!(mark, format!("\"{note}\""));
    let at = format!("document.querySelector('#s{note}')");
    assert!(browser.number(&format!("{at}.getBoundingClientRect().height")) > 0.0);
    assert_eq!(browser.number(&format!("{at}.value")), note.parse::<f64>().expect("a number"));
}

#[test]
fn the_rows_behind_the_values_at_the_cursor_are_told() {
    let Some(mut browser) = Browser::start() else { return };
    let outcome = demo_outcome();
    opened(&mut browser, &page(&outcome, &[]));
    let inputs = demo::inputs(&example());
    for seconds in [-7.3, -0.01, 0.0, 4.2] {
        browser.value(&format!("slackside.timelines[0].point({seconds})"));
        let told = browser.text("document.querySelector('.behind').textContent");
        let at = (outcome.first_outs[0].at.get() as f64 + seconds * 1e6).round() as u64;
        for (shaft, name) in [(Shaft::Head, "head"), (Shaft::Boot, "boot")] {
            let is = |input: &&Input| matches!(input.signal, Signal::Edge(of, _) if of == shaft);
            let found = inputs.iter().enumerate().rfind(|(_, input)| is(input) && input.at.get() <= at);
            let line = found.expect("it turned").0 + 2;
            assert!(told.contains(&format!("{name} line {line}")), "{seconds}: {line} is not in {told}");
        }
    }
}

/// The belt runs at some 2.3 m/s and the contact sits at the head's end of the up side: half a second later the place that rubbed is still
/// below the head or on it, three seconds later it is on the down side. It is drawn there.
#[test]
fn the_leg_shows_where_on_the_belt_it_rubbed() {
    let Some(mut browser) = Browser::start() else { return };
    let settings = example();
    let plain = demo_outcome();
    let trip = plain.first_outs[0].at.get();
    let mut inputs = demo::inputs(&settings);
    for before in [3_000_000, 500_000] {
        for (late, state) in [(0, ContactState::Rubbing), (40_000, ContactState::Clear)] {
            inputs.push(Input::new(Micros::new(trip - before + late), Signal::Contact(Place::HeadLeft, state)));
        }
    }
    inputs.sort_by_key(|input| input.at);
    let outcome = told("rubs.csv", &inputs, &settings);
    assert_eq!(outcome.first_outs[0].at.get(), trip);
    opened(&mut browser, &page(&outcome, &[]));
    let marks = browser.value(
        "[...document.querySelectorAll('.leg-picture .rub-left')].map(mark => [+mark.getAttribute('cx'), +mark.getAttribute('cy')])",
    );
    let marks: Vec<(f64, f64)> = serde_json::from_value(marks).expect("places");
    // The first is the one beside the contact itself.
    let [(beside, _), (older, far), (newer, _)] = marks[..] else { panic!("{marks:?}") };
    assert!(beside < 130.0, "{marks:?}");
    assert!(older > 200.0 && far < 140.0, "three seconds before it lies on the down side near the head: {marks:?}");
    assert!(newer < older, "{marks:?}");
    let label = browser.text("document.querySelector('.leg-picture svg').getAttribute('aria-label')");
    assert!(label.contains(": 2 at a left edge"), "{label}");
    assert_eq!(browser.text("document.querySelector('.leg-picture svg').getAttribute('role')"), "img");
    // Two rubs say nothing of the shaft's angle.
    assert_eq!(browser.value("document.querySelector('.shaft-picture')"), json!(null));
}

#[test]
fn a_cut_wire_and_edges_lost_have_lanes_of_their_own() {
    let Some(mut browser) = Browser::start() else { return };
    let mut settings = Settings::example();
    settings.machine.boot_targets.as_mut().expect("targets").supervised = true;
    let settings = settings.check().unwrap_or_else(|violations| panic!("{violations:?}"));
    let mut inputs = demo::inputs(&settings);
    let at = Micros::new(60_000_000);
    inputs.push(Input::new(Micros::new(30_000_000), Signal::EdgesLost(Shaft::Head)));
    inputs.push(Input::new(at, Signal::Line(Shaft::Boot, slackside::input::LineState::Open)));
    inputs.sort_by_key(|input| input.at);
    let outcome = told("cut.csv", &inputs, &settings);
    opened(&mut browser, &page(&outcome, &[]));
    let strips = "slackside.timelines[0].strips.flatMap(lane => lane.rows.map(row => row.strip))";
    let part = |name: &str| format!("{strips}.find(strip => strip.name === {})?.parts[0]", json!(name));
    let cut = browser.value(&part("boot sensor's wire"));
    assert_eq!((&cut[0], &cut[2], &cut[3]), (&json!(60_000_000), &json!("open"), &json!("wire cut")), "{cut}");
    let lost = browser.value(&part("head sensor's edges"));
    assert_eq!((&lost[0], &lost[3]), (&json!(30_000_000), &json!("edges were lost on the way")), "{lost}");
    // In the drawing for paper too.
    assert!(
        browser.text("document.querySelector('.still.whole, .still.close').textContent").contains("boot sensor's wire")
    );
}
