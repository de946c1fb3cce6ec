//! How the page looks: on paper, in grey, to the colour-blind, and where words of limits lie.

use serde_json::{Value, json};
use slackside::input::{Input, Place, Signal};
use slackside::settings::Settings;
use slackside::units::{DeciCelsius, Micros};
use slackside_desk::demo;
use slackside_desk::replay::Outcome;
use slackside_desk::report::{page, pair};

use super::rig::Browser;
use super::{demo_outcome, opened, told, trips};

const PAPERS: [(&str, f64, f64); 2] = [("A4", 8.27, 11.69), ("Letter", 8.5, 11.0)];

#[test]
fn one_trip_and_two_side_by_side_print_on_two_pages_of_either_paper() {
    let Some(mut browser) = Browser::start() else { return };
    let demo = demo_outcome();
    let trips = trips(6);
    let mut printed = vec![("the demo".to_owned(), page(&demo, &demo::STORY))];
    printed.extend(
        trips.chunks_exact(2).map(|two| (format!("{} and {}", two[0].0, two[1].0), pair(&two[0].1, &two[1].1))),
    );
    for (what, html) in printed {
        opened(&mut browser, &html);
        for (name, width, height) in PAPERS {
            let pages = browser.pages(width, height);
            assert!((1..=2).contains(&pages), "{what} on {name}: {pages} pages");
        }
    }
}

/// The relative luminance of WCAG 2.2 of a colour.
fn luminance(colour: [f64; 3]) -> f64 {
    let [red, green, blue] = colour.map(|part| {
        let part = part / 255.0;
        if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
    });
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

/// The contrast ratio of WCAG 2.2 of two colours.
fn contrast(one: [f64; 3], other: [f64; 3]) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// The colours that the page computes for some names of its style sheet, and for each class of a part of a strip what it paints over the
/// card.
fn colours(browser: &mut Browser, names: &[&str]) -> Vec<[f64; 3]> {
    let told = browser.value(&format!(
        "(() => {{
            const probe = document.body.appendChild(document.createElement('i'));
            const found = {names}.map(name => {{
                probe.style.color = `var(--${{name}})`;
                return getComputedStyle(probe).color.match(/[0-9.]+/g).slice(0, 3).map(Number);
            }});
            probe.remove();
            return found;
        }})()",
        names = json!(names)
    ));
    serde_json::from_value(told).expect("colours")
}

/// What a class of a strip paints over the card.
fn painted(browser: &mut Browser, class: &str) -> [f64; 3] {
    let told: Value = browser.value(&format!(
        "(() => {{
            const svg = document.body.appendChild(document.createElementNS('http://www.w3.org/2000/svg', 'svg'));
            const rect = svg.appendChild(document.createElementNS('http://www.w3.org/2000/svg', 'rect'));
            rect.setAttribute('class', 'p-{class}');
            const {{ fill, opacity }} = getComputedStyle(rect);
            const found = [fill.match(/[0-9.]+/g).slice(0, 3).map(Number), Number(opacity)];
            svg.remove();
            return found;
        }})()"
    ));
    let (fill, opacity): ([f64; 3], f64) = serde_json::from_value(told).expect("a fill");
    let card = colours(browser, &["card"])[0];
    [0, 1, 2].map(|part| fill[part] * opacity + card[part] * (1.0 - opacity))
}

/// Classes of parts of strips that carry words.
const PARTS: [&str; 17] = [
    "unack", "ack", "over", "shelved", "rub", "plugged", "faulty", "on", "given", "dropped", "running", "between",
    "still", "unsure", "open", "shorted", "doubt",
];

#[test]
fn words_lines_and_bars_have_contrast_in_light_dark_and_on_paper() {
    let Some(mut browser) = Browser::start() else { return };
    opened(&mut browser, &page(&demo_outcome(), &[]));
    for look in ["light", "dark", "paper"] {
        if look == "paper" {
            browser.paper(true)
        } else {
            browser.scheme(look)
        }
        let grounds = colours(&mut browser, &["paper", "card"]);
        // WCAG 2.2, 1.4.3: text 4.5 to 1. 1.4.11: lines and marks 3 to 1.
        for (names, least) in
            [(&["ink", "soft", "bad", "warn", "quiet"][..], 4.5), (&["l0", "l1", "l2", "l3", "bad"][..], 3.0)]
        {
            for (name, colour) in names.iter().zip(colours(&mut browser, names)) {
                for ground in &grounds {
                    let ratio = contrast(colour, *ground);
                    assert!(ratio >= least, "{look}: --{name} has {ratio:.2} to 1, asked are {least}");
                }
            }
        }
        let ink = colours(&mut browser, &["barink"])[0];
        for class in PARTS {
            let ratio = contrast(ink, painted(&mut browser, class));
            assert!(ratio >= 4.5, "{look}: words on .p-{class} have {ratio:.2} to 1");
        }
    }
}

/// What a lane or a strip can show at one time, so that it must be told apart: the classes of lines, and those of parts of a strip.
const LINES: [&str; 4] = ["l0", "l1", "l2", "l3"];
const TOGETHER: [&[&str]; 8] = [
    &["unack", "ack", "over", "shelved"],
    &["given", "dropped"],
    &["running", "between", "still", "unsure"],
    &["rub", "faulty"],
    &["open", "shorted"],
    &["doubt", "faulty"],
    &["plugged", "unsure"],
    &["on", "unsure"],
];

/// The example leg's trip with a temperature at each rub point: a lane of four lines.
fn warm_outcome() -> Outcome {
    let mut settings = Settings::example();
    settings.machine.temperatures = [true; 4];
    let settings = settings.check().unwrap_or_else(|violations| panic!("{violations:?}"));
    let mut inputs = demo::inputs(&settings);
    for second in 0..180_u64 {
        for (place, warmer) in Place::ALL.into_iter().zip(0..) {
            let warmth = DeciCelsius::new(200 + 40 * warmer);
            inputs.push(Input::new(Micros::new(second * 1_000_000), Signal::Temperature(place, warmth)));
        }
    }
    inputs.sort_by_key(|input| input.at);
    told("warm.csv", &inputs, &settings)
}

/// In grey and to the colour-blind, what tells lines apart is their dash and their marker; and states their height in the bar, or that they
/// float in it. The words of a key have the same beside them.
#[test]
fn nothing_is_told_by_colour_alone() {
    let Some(mut browser) = Browser::start() else { return };
    opened(&mut browser, &page(&warm_outcome(), &[]));
    let distinct = |what: &str, mut of: Vec<String>, count: usize| {
        of.sort();
        of.dedup();
        assert_eq!(of.len(), count, "{what}: {of:?}");
    };
    // On the screen: dashes of the lines as they are drawn, and the shapes in their keys.
    let lane = "slackside.timelines[0].lanes.find(lane => lane.panel.lines.length === 4)";
    let list = |browser: &mut Browser, expression: &str| -> Vec<String> {
        serde_json::from_value(browser.value(expression)).expect("a list of texts")
    };
    let dashes = list(&mut browser, &format!("{lane}.drawn.series.slice(1).map(line => JSON.stringify(line.dash))"));
    distinct("dashes", dashes, 4);
    let shapes = list(
        &mut browser,
        &format!("[...{lane}.element.querySelectorAll('.key svg')].map(key => key.lastChild.outerHTML)"),
    );
    distinct("shapes in keys", shapes, 4);
    let dashed = list(
        &mut browser,
        &format!(
            "[...{lane}.element.querySelectorAll('.key svg path:first-child')].map(line => getComputedStyle(line).strokeDasharray)"
        ),
    );
    distinct("dashes in keys", dashed, 4);
    // Markers are drawn on the lines: a circle, a square, a triangle, a diamond, by the number of corners that the pen goes to.
    let corners = list(
        &mut browser,
        &format!(
            "(lane => {{
                const pen = lane.drawn.ctx, drawn = new Set();
                let path = '';
                pen.beginPath = () => {{ path = ''; }};
                for (const step of ['arc', 'rect', 'moveTo', 'lineTo', 'closePath']) pen[step] = () => {{ path += step + ' '; }};
                pen.fill = () => {{ drawn.add(path); }};
                lane.draw(lane.view, lane.ticks);
                lane.above(lane.drawn);
                for (const step of ['beginPath', 'arc', 'rect', 'moveTo', 'lineTo', 'closePath', 'fill']) delete pen[step];
                return [...drawn];
            }})({lane})"
        ),
    );
    distinct("markers", corners, 4);

    // States, by where in the bar they lie and how much of it they fill; and their keys.
    let lies = |browser: &mut Browser, class: &str| -> [f64; 2] {
        let told = browser.value(&format!(
            "(() => {{
                const svg = document.body.appendChild(document.createElementNS('http://www.w3.org/2000/svg', 'svg'));
                svg.setAttribute('height', '100');
                const rect = svg.appendChild(document.createElementNS('http://www.w3.org/2000/svg', 'rect'));
                rect.setAttribute('class', 'p-{class}');
                rect.setAttribute('width', '10');
                const {{ y, height }} = rect.getBBox();
                svg.remove();
                return [y, height];
            }})()"
        ));
        serde_json::from_value(told).expect("two numbers")
    };
    for paper in [false, true] {
        browser.paper(paper);
        for together in TOGETHER {
            let places: Vec<[f64; 2]> = together.iter().map(|class| lies(&mut browser, class)).collect();
            for (at, one) in places.iter().enumerate() {
                for (other, name) in places.iter().zip(together).skip(at + 1) {
                    let apart = (one[0] - other[0]).abs() + (one[1] - other[1]).abs();
                    assert!(apart >= 20.0, "{} and {name} lie alike: {one:?} {other:?}", together[at]);
                }
            }
        }
    }
    let wrong = browser.text(
        "[...document.querySelectorAll('.still.close .lane-title .key')].flatMap(key => {
            const class_ = [...key.classList].find(name => name.startsWith('k-'));
            const probe = document.createElementNS('http://www.w3.org/2000/svg', 'rect');
            probe.setAttribute('class', class_.replace('k-', 'p-'));
            document.querySelector('.bar svg').append(probe);
            const high = name => (getComputedStyle(name).getPropertyValue('--h') || '100%');
            const found = high(probe) === high(key) ? [] : [class_];
            probe.remove();
            return found;
        }).join()",
    );
    assert_eq!(wrong, "", "keys that do not look like what they name");
    let dash = |browser: &mut Browser, class: &str| {
        browser.text(&format!("getComputedStyle(document.querySelector('.still .s-{class}')).strokeDasharray"))
    };
    for together in [&["head", "belt"][..], &["short", "long"], &["t0", "t1", "t2", "t3"]] {
        let dashes: Vec<String> = together.iter().map(|class| dash(&mut browser, class)).collect();
        distinct("dashes on paper", dashes, together.len());
    }
}

/// Whoever sees some colours otherwise, or none, as the browser simulates it: lines and words keep the contrast that WCAG 2.2 asks
/// (1.4.11 and 1.4.3), and so do words on bars.
#[test]
fn lines_and_words_keep_their_contrast_to_the_colour_blind() {
    let Some(mut browser) = Browser::start() else { return };
    browser.size(800, 600, false);
    opened(&mut browser, &page(&demo_outcome(), &[]));
    const NAMES: [&str; 12] =
        ["paper", "card", "ink", "soft", "bad", "warn", "quiet", "l0", "l1", "l2", "l3", "barink"];
    // A square of each colour, over everything; those of bars as they are painted over the card.
    browser.value(&format!(
        "(() => {{
            const over = document.body.appendChild(document.createElement('div'));
            over.style.cssText = 'position: fixed; inset: 0; z-index: 9; background: var(--card)';
            {names}.forEach((name, at) => {{
                const square = over.appendChild(document.createElement('i'));
                square.style.cssText = `position: absolute; left: ${{20 * at}}px; top: 0; width: 20px; height: 20px; background: var(--${{name}})`;
            }});
            over.insertAdjacentHTML('beforeend', '<svg style=\"position: absolute; left: 0; top: 20px; width: 800px; height: 20px\">' +
                {parts}.map((name, at) => `<rect class=\"p-${{name}}\" x=\"${{20 * at}}\" width=\"20\" style=\"y: 0; height: 20px\"/>`).join('') + '</svg>');
        }})()",
        names = json!(NAMES),
        parts = json!(PARTS)
    ));
    let middle = |at: usize| 20.0 * at as f64 + 10.0;
    let places: Vec<(f64, f64)> =
        (0..NAMES.len()).map(|at| (middle(at), 10.0)).chain((0..PARTS.len()).map(|at| (middle(at), 30.0))).collect();
    for look in ["light", "dark"] {
        browser.scheme(look);
        let mut plain = Vec::new();
        for lack in ["none", "deuteranopia", "protanopia", "tritanopia", "achromatopsia"] {
            browser.sight(lack);
            let seen = browser.seen(&places);
            let colour = |name: &str| seen[NAMES.iter().position(|it| *it == name).expect("one of them")];
            if lack == "none" {
                plain.clone_from(&seen);
            } else {
                assert_ne!(seen, plain, "{lack} changes nothing: it is not simulated");
            }
            for (names, least) in [(&["ink", "soft", "bad", "warn", "quiet"][..], 4.5), (&LINES[..], 3.0)] {
                for name in names {
                    for ground in ["paper", "card"] {
                        let ratio = contrast(colour(name), colour(ground));
                        assert!(ratio >= least, "{look}, {lack}: --{name} has {ratio:.2} to 1 on --{ground}");
                    }
                }
            }
            for (class, painted) in PARTS.iter().zip(&seen[NAMES.len()..]) {
                let ratio = contrast(colour("barink"), *painted);
                assert!(ratio >= 4.5, "{look}, {lack}: words on .p-{class} have {ratio:.2} to 1");
            }
        }
    }
}

#[test]
fn words_of_limits_never_lie_on_each_other_nor_on_a_limits_line() {
    let Some(mut browser) = Browser::start() else { return };
    let demo = demo_outcome();
    let trips = trips(4);
    for (width, phone) in [(1280, false), (390, true)] {
        browser.size(width, 900, phone);
        for (name, outcome) in trips.iter().map(|(name, outcome)| (name.as_str(), outcome)).chain([("the demo", &demo)])
        {
            opened(&mut browser, &page(outcome, &[]));
            for preset in ["trip", "run-up", "whole"] {
                let wrong = browser.text(&format!(
                    "(async () => {{
                        const line = slackside.timelines[0];
                        line.preset('{preset}');
                        let wrong = [];
                        // It is drawn when the browser gets round to it: what is wrong is what stays so.
                        for (let turn = 0; turn < 200; turn += 1) {{
                            await new Promise(done => setTimeout(done, 50));
                            wrong = [];
                            for (const lane of line.lanes) {{
                                if (lane.labels.length !== lane.panel.marks.length) wrong.push('missing: ' + lane.panel.title);
                                for (const label of lane.labels) if (label.weight >= 1e5) wrong.push(label.words + ' ' + label.weight);
                            }}
                            if (wrong.length === 0) break;
                        }}
                        return wrong.join('; ');
                    }})()"
                ));
                assert_eq!(wrong, "", "{name}, {width} pixels, {preset}");
            }
        }
    }
    // On paper they stand beside the lane, apart from each other.
    browser.paper(true);
    let crossed = browser.text(
        "[...document.querySelectorAll('.still.close .plot')].flatMap(plot => {
            const edge = plot.getBoundingClientRect().right;
            const boxes = [...plot.querySelectorAll('.mark')].map(mark => mark.getBoundingClientRect());
            boxes.sort((one, other) => one.top - other.top);
            return boxes.flatMap((box, at) => [
                box.left < edge ? ['inside'] : [],
                at > 0 && box.top < boxes[at - 1].bottom - 1 ? ['over another'] : [],
            ].flat());
        }).join()",
    );
    assert_eq!(crossed, "");
}
