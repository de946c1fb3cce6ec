//! How the page looks: on paper, in grey, to the colour-blind, and where words of limits lie.

use serde_json::{Value, json};
use slackside_desk::demo;
use slackside_desk::report::{page, pair};

use super::rig::Browser;
use super::{demo_outcome, opened, trips};

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
const PARTS: [&str; 19] = [
    "unack", "ack", "over", "shelved", "rub", "plugged", "faulty", "on", "given", "dropped", "running", "between",
    "still", "unsure", "open", "shorted", "doubt", "rub", "on",
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

/// In grey and to the colour-blind, what tells lines apart is their dash and their marker; and stages of an alarm their height.
#[test]
fn nothing_is_told_by_colour_alone() {
    let Some(mut browser) = Browser::start() else { return };
    opened(&mut browser, &page(&demo_outcome(), &[]));
    let dashes = browser
        .text("slackside.timelines[0].lanes[0].drawn.series.slice(1).map(line => JSON.stringify(line.dash)).join('|')");
    let (head, belt) = dashes.split_once('|').expect("two lines");
    assert_ne!(head, belt);
    let shapes = browser
        .text("[...document.querySelectorAll('.stage .lane')][0].querySelectorAll('.key svg').length.toString()");
    assert_eq!(shapes, "2");
    browser.paper(true);
    let dash = |browser: &mut Browser, class: &str| {
        browser.text(&format!("getComputedStyle(document.querySelector('.still .s-{class}')).strokeDasharray"))
    };
    assert_ne!(dash(&mut browser, "head"), dash(&mut browser, "belt"));
    assert_ne!(dash(&mut browser, "short"), dash(&mut browser, "long"));
    let high = |browser: &mut Browser, class: &str| {
        browser.number(&format!(
            "document.querySelector('.still.close .p-{class}, .still.whole .p-{class}').getBBox().height"
        ))
    };
    assert_ne!(high(&mut browser, "unack"), high(&mut browser, "over"));
    assert_ne!(high(&mut browser, "given"), high(&mut browser, "dropped"));
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
                        await new Promise(done => setTimeout(done, 50));
                        const wrong = [];
                        for (const lane of line.lanes) {{
                            if (lane.labels.length !== lane.panel.marks.length) wrong.push('missing: ' + lane.panel.title);
                            for (const label of lane.labels) if (label.weight >= 1e5) wrong.push(label.words + ' ' + label.weight);
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
