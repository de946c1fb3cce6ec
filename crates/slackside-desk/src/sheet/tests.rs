use super::*;
use crate::lines::WIDTH;
use crate::settings::parse;

fn legs() -> [Loaded; 3] {
    [
        Loaded::example(),
        parse(include_str!("../../../../legs/millbrook-leg-1.toml"), "leg 1").expect("sound"),
        parse(include_str!("../../../../legs/terminal-leg-7.toml"), "leg 7").expect("sound"),
    ]
}

#[test]
fn every_sheet_fits_eighty_columns_and_is_plain_text() {
    for loaded in legs() {
        let text = sheet(&loaded);
        for line in text.lines() {
            assert!(line.chars().count() <= WIDTH, "{} columns: {line}", line.chars().count());
            assert!(line.is_ascii(), "{line}");
        }
        assert!(!text.contains("NaN") && !text.contains("inf "), "{text}");
    }
}

#[test]
fn the_checklist_and_the_proof_record_say_what_the_trade_looks_at() {
    for loaded in legs() {
        let text = sheet(&loaded);
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in [
            "static-conductive, oil-resistant and flame-retardant",
            "bonded and grounded",
            "seen from below",
            "Crown on both pulleys",
            "travel left",
            "All guards on",
        ] {
            assert!(flat.contains(part), "{part}");
        }
        let record = proof_record(&loaded);
        assert!(record.lines().all(|line| line.chars().count() <= WIDTH && line.is_ascii()), "{record}");
        assert_eq!(record.matches("must show:").count(), 6);
        for part in ["Signature", "Lock out and tag out", "Passed: [ ] yes"] {
            assert!(record.contains(part), "{part}");
        }
        assert!(record.contains(&format!("{:08X}", loaded.checked.identity())));
    }
}

#[test]
fn the_example_sheet_says_what_can_be_reckoned_by_hand() {
    let text = sheet(&Loaded::example());
    for part in [
        // 1.910088 m × 1.361711 /s; × 60/0.3048 in feet a minute.
        "2.601 m/s (512 ft/min)",
        "632.0 mm (24.88 in)",
        "608.0 mm (23.94 in)",
        "1.039474 boot turns for each head turn",
        // 2 × 12 / 632
        "3.8 % slip at any load",
        // 350 mm × (1/8)/12
        "3.6 mm (0.144 in)",
        // 42.29/√0.632 = 53.2; 78.6 is 148 % of it.
        "53.2 rpm",
        "148 % of it",
        // 900 kJ / (0.9 × 40)
        "25.0 kg of rim and lagging together",
        // A pitch of 1.02/4 of 734.37 ms, over 0.8.
        "234 ms after the last edge",
        "Never jog a choked leg",
        "not a certified safety device",
        "<- fitted",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
}

#[test]
fn a_leg_with_the_boot_alone_says_that_slip_is_not_known() {
    let [_, boot_alone, _] = legs();
    let text = sheet(&boot_alone);
    assert!(text.contains("none: slip needs both shafts") && text.contains("no slip heat is reckoned"), "{text}");
    let out: Vec<_> = text.lines().filter(|line| line.contains("out of service: its sensor is not fitted")).collect();
    for condition in ["slip_very_high", "slip_high", "slip_heat", "belt_not_following", "head_underspeed", "rub_hot"] {
        assert!(out.iter().any(|line| line.trim_start().starts_with(condition)), "{condition}\n{text}");
    }
    assert!(!out.iter().any(|line| line.contains("deep_underspeed")), "{text}");
}
