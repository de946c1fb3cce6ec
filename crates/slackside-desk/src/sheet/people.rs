//! The end of the sheet: what is worth knowing, the checklist, the cautions.

use super::page::{Page, WIDTH};
use crate::cautions;
use crate::settings::Loaded;

/// What is done before a leg is trusted to these settings, in order.
const CHECKLIST: [&str; 16] = [
    "Drive locked out; targets, sensors and rub contacts fixed, gaps as the sensor's maker has them.",
    "Each sensor named at the box as its own shaft turns by hand; left and right contacts at their own place.",
    "Run permit wired into the starter so that dropping it stops the motor and its return does not start it.",
    "Feed permit wired so that dropping it stops or turns away the feed no later than the drive.",
    "Sizes measured and entered: both pulleys, lagging, belt thickness, loop length.",
    "Settings read back from the box: leg's name and identity as on this sheet.",
    "Learn empty: run unloaded until ratio and target spacing are learned; ratio held against geometry, accepted.",
    "Run loaded: belt speed, slip and start time noted below.",
    "Normal operating speed entered as measured loaded.",
    "Coast-down timed, empty; the shortest entered.",
    "Prove the stop: boot signal withheld with the leg running; the drive stops. Time noted.",
    "Head signal withheld: the drive stops, and the message names the sensor.",
    "Each rub contact pressed: alarm at its own place.",
    "Start refused after a slip trip until reset and \"boot cleared\"; jogging refused.",
    "Power taken away during a trip: after its return the trip still holds.",
    "People who run the leg shown what each alarm means and what to do.",
];

pub(super) fn write(page: &mut Page, loaded: &Loaded) {
    if !loaded.advice.is_empty() {
        page.heading("Worth knowing");
        for advice in &loaded.advice {
            page.wrapped("- ", "  ", &advice.to_string());
        }
    }
    page.heading("Commissioning checklist");
    for (number, step) in CHECKLIST.into_iter().enumerate() {
        page.wrapped(&format!("[ ] {:>2}. ", number + 1), "        ", step);
    }
    page.gap();
    for (one, other) in [
        ("Ratio learned", "Spread"),
        ("Belt speed loaded", "Slip loaded"),
        ("Start time loaded", "Coast-down empty"),
        ("Stop proven after", "by withholding"),
    ] {
        page.line(&format!("  {one:<18} ________________  {other:<17} ________________"));
    }
    page.gap();
    page.line("  Name                            Signature                       Date");
    page.line(&format!("  {}", ["______________________"; 3].join("    ")));
    page.heading("Cautions");
    for line in cautions::as_text(WIDTH).lines() {
        page.line(line);
    }
}
