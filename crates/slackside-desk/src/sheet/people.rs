//! The end of the sheet: what is worth knowing, the checklist, the cautions.

use slackside::conditions::Condition;

use super::page::Page;
use crate::cautions;
use crate::lines::WIDTH;
use crate::settings::Loaded;

/// What the trade looks at before a leg is commissioned at all: common practice, no source, unless one is named.
const LEG: [&str; 11] = [
    "Drive locked out and tagged out for all of this; proven dead by trying to start it.",
    "Belt: static-conductive, oil-resistant and flame-retardant, with the maker's paper on file.",
    "Lagging: static-conductive, whole all round, its thickness as entered in the settings.",
    "Casing, head, boot, spouts and both shafts bonded and grounded; resistance measured and noted.",
    "A door from which the head pulley's lagging can be seen from below with the casing shut and bolted.",
    "Crown on both pulleys, as on this sheet; no build-up.",
    "Take-up: free, even on both sides, and travel left for the belt's stretch; millimetres left noted.",
    "Splice square and its bolts tight; every bucket bolt looked at.",
    "Boot clean-out, casing vents and dust control as the local code has them.",
    "All guards on, on the drive, both shafts and the take-up; every door shut.",
    "Backstop fitted the right way round and holding.",
];

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
    "Normal operating speed entered as measured loaded; without a power meter the head's unloaded too.",
    "Coast-down timed, empty; the shortest entered.",
    "Prove the stop: boot signal withheld with the leg running; the drive stops. Time noted.",
    "Head signal withheld: the drive stops, and the message names the sensor.",
    "Each rub contact pressed: alarm at its own place.",
    "Start refused after a slip trip until reset and \"boot cleared\"; jogging refused.",
    "Power taken away during a trip: after its return the trip still holds.",
    "People who run the leg shown what each alarm means and what to do.",
];

fn steps(page: &mut Page, steps: &[&str]) {
    for (number, step) in steps.iter().enumerate() {
        page.wrapped(&format!("[ ] {:>2}. ", number + 1), "        ", step);
    }
}

pub(super) fn write(page: &mut Page, loaded: &Loaded) {
    if !loaded.advice.is_empty() {
        page.heading("Worth knowing");
        for advice in &loaded.advice {
            page.wrapped("- ", "  ", &advice.to_string());
        }
    }
    page.heading("The leg itself, before the monitor");
    steps(page, &LEG);
    page.heading("Commissioning checklist");
    steps(page, &CHECKLIST);
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

/// What a proof test does, and what it must show to be passed.
const PROOF: [(&str, &str); 6] = [
    (
        "Leg running empty, key on, proof test begun at the box. Withhold the boot signal.",
        "The drive stops. Time from withholding to the contactor opening, no more than the time below.",
    ),
    ("Withhold the head signal.", "The drive stops; the message names the head sensor."),
    ("Press each rub contact in turn.", "An alarm at its own place, and at no other."),
    ("Try to start with the trip standing.", "It does not start, from any place it can be started from."),
    ("Take the box's power away, and give it back.", "The trip still holds, and the motor does not start by itself."),
    ("Reset at the leg, report the boot clear.", "The leg can be started once; the feed comes at speed, not before."),
];

/// The record of a proof test, to sign and to file.
#[must_use]
pub fn proof_record(loaded: &Loaded) -> String {
    let settings = &loaded.checked;
    let mut page = Page::default();
    page.title(&format!("Proof test record: {}", settings.machine.leg));
    page.row("Settings", &loaded.source_name);
    page.row("Identity of the settings", &format!("{:08X}  (the box must show the same)", settings.identity()));
    page.row("Box, serial and firmware", "______________________________");
    page.gap();
    page.say(
        "Guards on, nobody at the leg, radio to the starter. Everything that is opened or touched is locked out and tagged out \
         first. One step that does not show what it must fails the test: the leg does not run until it is mended and the whole \
         test is done again.",
    );
    let machine = &settings.machine;
    if let (Some(boot), Some(_)) = (machine.boot_targets, settings.promptness(Condition::DeepUnderspeed)) {
        let turn_s = 1e6 / f64::from(machine.normal_boot.get()).max(1.0);
        let pitch_s = turn_s * f64::from(boot.widest_pitch().get()) / 1e6;
        let limit = settings.limits.of(Condition::DeepUnderspeed);
        let share = 1.0 - f64::from(limit.setpoint) / 1e6;
        let most_s = pitch_s / share + f64::from(limit.on_delay.get()) / 1e6 + 0.1;
        page.gap();
        page.row(
            "Longest from withholding",
            &format!("{most_s:.2} s: a pitch, the delay, and 0.1 s for relay and contactor"),
        );
    }
    page.heading("Steps");
    for (number, (does, shows)) in PROOF.into_iter().enumerate() {
        page.wrapped(&format!(" {}.  ", number + 1), "     ", does);
        page.wrapped("     must show: ", "       ", shows);
        page.line("     shown: [ ] yes  [ ] no    measured: ____________  by: ____________");
        page.gap();
    }
    page.line("  Passed: [ ] yes  [ ] no       Next test due: ____________________");
    page.gap();
    page.line("  Tested by                       Signature                       Date");
    page.line(&format!("  {}", ["______________________"; 3].join("    ")));
    page.gap();
    page.line("  Responsible engineer            Signature                       Date");
    page.line(&format!("  {}", ["______________________"; 3].join("    ")));
    page.heading("Cautions");
    for line in cautions::as_text(WIDTH).lines() {
        page.line(line);
    }
    page.into_text()
}
